"""The list, the captions and the checklist that go along with a destination's pictures."""

import csv
import io
import re
from datetime import date

from autoprep.domain import JobRecord, OutputRecord, WorkFacts
from autoprep.ledger import Delivered
from autoprep.told.lists import Entry, as_csv, as_page, caption, checklist, entries
from autoprep.wishes.destinations import Preset

PRESET = Preset(long_side_px=1920, max_kb=5000, listing=True, name="{nn}", mark=False, checked=date(2026, 11, 25))
THRIFT = WorkFacts(
    title="Sea <Thrift>", year="2026", medium="ink", size_mm=(400, 300), price="120", alt_text="Pink flowers by the sea"
)


def of_records(destination: str, records: list[JobRecord]) -> list[Entry]:
    """What the ledger finds of these records, as a list."""
    found = (Delivered(output, one.work, one.photo, one.job) for one in records for output in one.outputs)
    return entries((each for each in found if each.output.destination == destination), PRESET, "Wren Halloway")


def record(job: str, file: str, work: WorkFacts, size: int = 900_000, long_px: int = 1920) -> JobRecord:
    output = OutputRecord(
        destination="jury", path=f"ready/jury/{file}", width_px=long_px, height_px=1200, bytes=size, sha256="0" * 64
    )
    return JobRecord(job=job, photo="a.jpg", sha256="1" * 64, outcome="ready", outputs=(output,), work=work)


RECORDS = [
    record("2", "02.jpg", WorkFacts(title="=cmd()")),
    record("1", "01.jpg", THRIFT),
    record("3", "03.jpg", WorkFacts(), size=6_000_000, long_px=1800),
]


def test_the_list_is_numbered_in_the_order_of_the_files() -> None:
    rows = list(csv.reader(io.StringIO(as_csv(of_records("jury", RECORDS), "Wren Halloway", prices=True))))
    assert [row[:3] for row in rows[1:]] == [
        ["01", "01.jpg", "Sea <Thrift>"],
        ["02", "02.jpg", "'=cmd()"],  # a spreadsheet must not run it
        ["03", "03.jpg", ""],
    ]
    assert rows[1][5] == "Wren Halloway, Sea <Thrift>, 2026, ink, 30 x 40 cm"
    assert rows[1][6] == "Pink flowers by the sea"
    assert rows[2][6] == ""  # absent rather than invented
    assert rows[1][8] == "120"
    assert of_records("elsewhere", RECORDS) == []


def test_the_artists_order_goes_before_the_numbers_of_the_files() -> None:
    records = [record("1", "02.jpg", WorkFacts(order=2)), record("2", "05.jpg", WorkFacts(order=1)), RECORDS[2]]
    assert [entry.file for entry in of_records("jury", records)] == ["05.jpg", "02.jpg", "03.jpg"]
    assert [entry.number for entry in of_records("jury", records)] == [5, 2, 3]


def test_no_word_of_a_list_is_html() -> None:
    said = WorkFacts(title="<u>title", alt_text="<u>alt", price="<u>price", medium="<u>medium")
    page = as_page(of_records("jury", [record("1", "<u>01.jpg", said)]), "<u>Wren", PRESET.model_copy(
        update={"prices": True}
    ))  # fmt: skip
    assert "<u>" not in page
    for word in ("title", "alt", "price", "medium", "01.jpg", "Wren"):
        assert f"&lt;u&gt;{word}" in page


def test_a_list_can_be_read_on_a_phone() -> None:
    page = as_page(of_records("jury", RECORDS), "", PRESET)
    assert '<meta name="viewport" content="width=device-width, initial-scale=1">' in page
    (cell,) = re.findall(r"td,th\{([^}]*)\}", page)  # the names of files are long and have no blanks
    assert "overflow-wrap:anywhere" in cell


def test_the_checklist_counts_what_holds() -> None:
    said = checklist(of_records("jury", RECORDS), PRESET)
    assert "2 of 3 under 5 MB; not 03.jpg" in said
    assert "2 of 3 long side 1920 px; not 03.jpg" in said
    assert "name and rights inside the files" in said
    assert any("1 without a title: 03.jpg" in line for line in said)
    assert any("2026-11-25" in line for line in said)


def test_the_checklist_names_what_can_not_be_meant() -> None:
    def delivered(file: str, work: str, **said: object) -> Delivered:
        made = record(work, file, WorkFacts.model_validate(said))
        return Delivered(made.outputs[0], made.work, made.photo, work)

    listed = entries(
        [
            delivered("01.jpg", "a", order=1, inventory="WH-017"),
            delivered("02.jpg", "b", order=1, inventory="WH-017"),
            delivered("03.jpg", "c", inventory="WH-018"),
            delivered("04.jpg", "c", inventory="WH-018"),  # another take of that work
        ],
        PRESET,
        "Wren Halloway",
    )
    said = checklist(listed, PRESET)
    assert "inventory number WH-017 is said of 01.jpg, 02.jpg" in said
    assert "“order: 1” is said of 01.jpg, 02.jpg" in said
    assert "02.jpg is number 02; you said “order: 1”" in said
    assert "one work stands in the list more than once, by several takes: 03.jpg, 04.jpg" in said
    assert not any("WH-018" in line or "01.jpg is number" in line for line in said)
    blind = checklist(listed, PRESET.model_copy(update={"rights": "none"}))
    assert "one inventory number is said of 01.jpg, 02.jpg" in blind
    assert not any("WH-" in line for line in blind)


def test_the_page_is_escaped_and_blind_when_asked() -> None:
    page = as_page(of_records("jury", RECORDS), "", PRESET)
    assert "Sea &lt;Thrift&gt;" in page
    assert "Halloway" not in page
    assert "<script" not in page


def test_captions_leave_out_what_is_not_known() -> None:
    assert caption(WorkFacts(title="Boats"), "Wren Halloway") == "Wren Halloway, Boats"
    assert caption(THRIFT, "", "Collection of the harbour office").endswith("cm, Collection of the harbour office")


def test_a_blind_list_tells_nothing_that_tells_whose_it_is() -> None:
    listed = of_records("jury", [record("1", "01.jpg", THRIFT.model_copy(update={"inventory": "WH-017"}))])
    assert "WH-017" in as_csv(listed, "Wren Halloway", prices=False)
    blind = as_csv(listed, "", prices=False)
    assert "WH-017" not in blind
    assert "inventory" not in blind
    assert "WH-017" not in as_page(listed, "", PRESET)
