"""The list of all works: line by line, for people, for spreadsheets and for programs; and before a deadline."""

import csv
import io
import json
import re
import shutil
import sqlite3
import subprocess
import time
from dataclasses import replace
from html import escape, unescape
from pathlib import Path

import pytest
from pypdf import PdfReader

from autoprep.cli.main import main
from autoprep.domain import JobRecord, WorkFacts, kind_of
from autoprep.ledger import BLOCK, Ledger, Sent, WorkRow
from autoprep.told import gallery, works
from autoprep.told.explanations import NO_SIZE, glare_hides, names_the_artist, too_few_pixels
from autoprep.told.gallery import works_html
from autoprep.told.pages import Place, month_html, page_name
from autoprep.wishes.destinations import Preset
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests.service import pretend
from tests.service.pretend import Studio, photo

PRESETS = {"site": Preset(long_side_px=900, public=True), "jury": Preset(long_side_px=900)}
THRIFT = WorkRow(
    7, "00007-a", "00009-b", "Book/IMG_1.jpg", "2026-11-20", "ink",
    WorkFacts(title="=Thrift <on> a cliff", year="2026", medium="ink", size_mm=(11.75 * 25.4, 16.5 * 25.4), unit="in",
              keywords=("sea",)),
    3,
    (
        Sent("site", "in place", Path("/x/ready/site/Thrift.jpg"), "2026-11-24T10:00:00", "2026-11-21T09:00:00"),
        Sent("jury", "held", None, "", "", "glare"),
    ),
)  # fmt: skip
GULL = WorkRow(8, "00008-c", "00008-c", "Gull.jpg", "2026-11-21", "painting", WorkFacts(title="Gull", hold=True), 1)


def test_a_destination_whose_table_is_gone_may_have_been_public() -> None:
    """A table that was renamed took the day with it, and a work that everybody had seen looked unpublished."""
    told = "from 2026-11-21 on in site, which has no table now: was it public there?"
    jury = {"jury": PRESETS["jury"]}
    assert told in works.notes(THRIFT, jury)
    assert told not in works.notes(THRIFT, PRESETS)
    page = Sent("page", "in place", Path("/x/ready/page/Thrift.jpg"), "2026-11-24T10:00:00", "2026-11-24T09:00:00")
    both = replace(THRIFT, sent=(*THRIFT.sent, page))
    assert works.public_since(both, {**jury, "page": PRESETS["site"]}) == "2026-11-24"
    assert told in works.notes(both, {**jury, "page": PRESETS["site"]})
    earlier = replace(THRIFT, sent=(*THRIFT.sent, replace(page, first="2026-11-20T09:00:00")))
    assert told not in works.notes(earlier, {**jury, "page": PRESETS["site"]})
    sent = replace(page, destination="jury", first="2026-11-01T09:00:00")
    assert not [note for note in works.notes(replace(THRIFT, sent=(*THRIFT.sent, sent)), PRESETS) if "table" in note]


def test_days_are_those_of_the_place_as_on_the_day_on_which_a_photo_came_in(monkeypatch: pytest.MonkeyPatch) -> None:
    """East of Greenwich the first of a month begins while the record, in UTC, still has the last of the one before."""
    site = Sent(
        "site", "in place", Path("/x/ready/site/a.jpg"), "2026-11-30T23:30:00+00:00", "2026-11-30T22:30:00+00:00"
    )
    unknown = Sent("site", "in place", Path("/x/ready/site/a.jpg"), "", "")
    with monkeypatch.context() as patch:
        patch.setenv("TZ", "UTC-1")
        time.tzset()
        (row,) = csv.DictReader(io.StringIO(works.as_csv([replace(THRIFT, sent=(site,))], PRESETS)))
        days = [
            works.day_of(moment) for moment in ("2026-11-30T23:00:00+00:00", "2026-11-30T23:30:00", "2026-11-30", "")
        ]
    time.tzset()
    assert (row["public since"], row["went to"]) == ("2026-11-30", "site: a.jpg (2026-12-01)")
    assert days == ["2026-12-01", "2026-11-30", "2026-11-30", ""]
    (row,) = csv.DictReader(io.StringIO(works.as_csv([replace(THRIFT, sent=(unknown,))], PRESETS)))
    assert (row["public since"], row["went to"]) == ("", "site: a.jpg")


def test_a_work_is_a_row() -> None:
    rows = list(csv.DictReader(io.StringIO(works.as_csv([THRIFT, GULL], PRESETS))))
    assert rows[0] == {
        "work number": "7", "title": "'=Thrift <on> a cliff", "year": "2026", "medium": "ink", "height": "16.5",
        "width": "11.75", "unit": "in", "size": "16.5 x 11.75 in", "kind seen": "ink", "kind said": "", "inventory": "",
        "price": "", "photo": "Book/IMG_1.jpg", "takes": "3", "held": "",
        "public since": "2026-11-21", "went to": "site: Thrift.jpg (2026-11-24)",
        "nowhere because": "", "alternative text": "",
    }  # fmt: skip
    assert (rows[1]["held"], rows[1]["public since"], rows[1]["went to"]) == ("held", "", "")
    assert rows[1]["nowhere because"] == "on hold, as you said"


def test_a_list_can_be_written_where_this_machines_names_are_in_no_utf_8() -> None:
    """A shell that was told so gives Python the bytes of a name that it can't read."""
    sent = Sent("site", "in place", Path("/x/ready/site/M\udcc3\udcb6we.jpg"), "2026-11-24T10:00:00", "")
    text = works.as_csv([replace(THRIFT, sent=(sent,))], PRESETS)
    assert works.too_long(text, 1) == ""
    (row,) = csv.DictReader(io.StringIO(text))
    assert row["went to"] == "site: Möwe.jpg (2026-11-24)"


def test_no_word_on_a_works_page_is_html(tmp_path: Path) -> None:
    hold = "no destination is called <u>spring"
    said = WorkFacts(
        title="<u>title", medium="<u>medium", price="<u>price", alt_text="<u>alt", description="<u>description",
        keywords=("<u>key",), inventory="<u>inventory", hold=True, unclear=(hold,),
    )  # fmt: skip
    base = JobRecord(job="00008-c", photo="<u>Gull.jpg", sha256="", outcome="ready", work=said, reasons=("<u>reason",))
    other = base.model_copy(update={"photo": "<u>Tern.jpg", "outcome": "alternate"})
    row = replace(GULL, shown="<u>Gull.jpg", said=said, kind="<u>kind")
    page = gallery.work_html(Place(tmp_path, tmp_path), PRESETS, gallery.Shown(row, [base, other], ["<u>rights"]))
    assert "<u>" not in page
    words = "title medium price alt description key inventory Gull.jpg Tern.jpg reason kind rights spring"
    for word in words.split():
        assert f"&lt;u&gt;{word}" in page, word


def test_a_line_says_where_a_work_is() -> None:
    lines = works.lines([THRIFT, GULL], PRESETS)
    assert lines[0].endswith("(in site; public since 2026-11-21; 3 takes)")
    assert lines[1].endswith("Gull  (given out nowhere: on hold, as you said)")


def test_a_work_without_a_title_is_called_by_its_photo() -> None:
    plain = replace(GULL, said=WorkFacts(year="2026"))
    assert works.lines([plain], PRESETS)[0].startswith("    8  Gull.jpg, 2026  (")
    assert works.lines([replace(GULL, said=WorkFacts())], PRESETS)[0].startswith("    8  Gull.jpg  (")


def waits(destination: str, reason: str) -> Sent:
    return Sent(destination, "held", None, "", "", reason, kind_of(reason))


@pytest.mark.parametrize(
    ("changes", "why", "short"),
    [
        ({"said": WorkFacts(hold=True)}, "on hold, as you said", "on hold"),
        ({"said": WorkFacts(hold=True, unclear=("a turn", "it says “private”; the work is held until it says so"))},
         "on hold: it says “private”; the work is held until it says so", "on hold"),
        ({"said": WorkFacts(hold=True, unclear=("no destination is called spring",))},
         "no destination is called spring", "no such destination"),
        ({"sent": (waits("print", NO_SIZE), waits("wall", NO_SIZE))}, f"print, wall wait: {NO_SIZE}",
         "its size is not known"),
        ({"sent": (waits("print", glare_hides(2.5)), waits("site", too_few_pixels(0.2, (9, 9))))},
         f"print waits: {glare_hides(2.5)}; site waits: {too_few_pixels(0.2, (9, 9))}", "glare, too few pixels"),
        ({"sent": (waits("jury", names_the_artist("title")),)}, f"jury waits: {names_the_artist('title')}",
         "it names the artist"),
        ({"asks": True}, "a question waits for your answer", ""),
        ({}, "no destination takes it by itself; say “for: …”", ""),
    ],
)  # fmt: skip
def test_why_a_work_is_nowhere(changes: dict[str, object], why: str, short: str) -> None:
    row = replace(THRIFT, **{"sent": (), **changes})  # type: ignore[arg-type]
    assert works.why_nowhere(row) == why
    assert works.held_by(row) == short
    assert f"given out nowhere: {why}" in works.lines([row], PRESETS)[0]
    assert json.loads(works.as_json([row], PRESETS))[0]["nowhere_because"] == why
    page = works_html(Place(Path("/x"), Path("/x/records/proof")), PRESETS, [row], "")
    assert escape(why) in page
    assert ">nowhere<" in page
    assert 'data-state="' + ("held " if row.said.hold else "") + "nowhere not-public" in page


def test_a_reason_is_known_by_its_kind_and_not_by_its_words() -> None:
    """Words may be put better one day; one that begins like another is told whole where nothing is known of it."""
    other = Sent("site", "held", None, "", "", "glare hides, as the frame does", "on hold")
    unknown = replace(other, destination="wall", reason="glare hides it, says an older record", why="")
    row = replace(THRIFT, sent=(replace(other, why="glare"), unknown), said=WorkFacts())
    assert works.held_by(row) == "glare, glare hides it, says an older record"
    row = replace(row, sent=(other, unknown))  # that hold is over
    assert works.held_by(row) == "glare hides it, says an older record"
    assert works.why_nowhere(row) == f"wall waits: {unknown.reason}"


def test_programs_get_every_file_with_its_days() -> None:
    thrift = json.loads(works.as_json([THRIFT], PRESETS))[0]
    assert (thrift["number"], thrift["kind"]) == (7, "ink")
    assert not {"work_number", "kind_seen"} & thrift.keys()
    assert (thrift["height_mm"], thrift["width_mm"]) == pytest.approx((419.1, 298.45))
    assert [(to["destination"], to["state"], to["file"], to["first"][:10]) for to in thrift["went_to"]] == [
        ("site", "in place", "Thrift.jpg", "2026-11-21"),
        ("jury", "held", None, ""),
    ]


def test_a_blind_or_private_destination_makes_nothing_public() -> None:
    assert works.public_since(THRIFT, {"site": PRESETS["jury"]}) == ""


def test_the_page_is_escaped_and_can_be_searched() -> None:
    page = works_html(Place(Path("/x"), Path("/x/records/proof")), PRESETS, [THRIFT, GULL], "Wren <Halloway>")
    assert "<on>" not in page
    assert "Wren <H" not in page
    assert 'data-words="=thrift &lt;on&gt; a cliff book/img_1.jpg 2026, ink, 16.5 x 11.75 in, ink  sea"' in page
    assert page.index("work-00008-c.html") < page.index("work-00007-a.html")  # the newest first


def test_a_question_leads_to_the_page_of_its_month(tmp_path: Path) -> None:
    (tmp_path / "00009-d").mkdir()
    (tmp_path / "00009-d/photo.jpg").write_bytes(b"x")
    row = WorkRow(9, "", "00009-d", "Boat.jpg", "2026-11-21", "", WorkFacts(), 1, asks=True)
    far = replace(row, number=2 * BLOCK, job="00200-e")
    place = Place(Path("/x"), tmp_path)
    page = works_html(place, PRESETS, [GULL, row, far], "")
    assert 'href="2026-11.00000.html#00009-d"><img src="00009-d/photo.jpg"' in page
    assert "<p>1 work, 2 more wait for your answer;" in page
    # The first page shows the newest questions only; each stands on the page of its hundred.
    assert f'href="{page_name("2026-11", 2)}#00200-e"' in page
    asked = JobRecord(job="00200-e", photo="Boat.jpg", sha256="0" * 64, outcome="needs a look", reasons=("not sure",))
    assert '<article id="00200-e"' in month_html("", place, "2026-11", [asked])


WORDS = """
const row = {dataset: {words: process.argv[2], kind: '', year: '', went: '', state: ''}}
const field = id => ({id, value: '', addEventListener(_, act) { this.act = act }})
const fields = Object.fromEntries(['words', 'kind', 'year', 'went', 'state', 'count'].map(id => [id, field(id)]))
globalThis.document = {querySelectorAll: () => [row], getElementById: id => fields[id]}
require(process.argv[3])
for (const word of process.argv.slice(4)) {
  fields.words.value = word
  fields.words.act()
  console.log(row.hidden ? 'hidden' : 'found')
}
"""


@pytest.mark.skipif(shutil.which("node") is None, reason="the page's script needs something to run it")
def test_the_search_finds_letters_however_they_are_written(tmp_path: Path) -> None:
    row = replace(THRIFT, said=WorkFacts(title="Weiße Cafe\u0301 İle ΌΔΟΣ Ångström"))
    page = works_html(Place(Path("/x"), tmp_path), PRESETS, [row], "")
    found = re.search('data-words="([^"]*)"', page)
    assert found is not None
    script, works_js = tmp_path / "try.js", Path(gallery.__file__).parent / "assets" / "works.js"
    script.write_text(WORDS, encoding="utf-8")
    asked = ["Weiße", "WEIß", "café", "cafe\u0301", "CAFÉ", "İle", "Όδος", "A\u030angström", "ångström"]
    command = ["node", str(script), unescape(found[1]), str(works_js), *asked, "gull"]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["found"] * len(asked) + ["hidden"]


def test_the_words_of_a_work_are_lowered_and_composed_as_the_page_does_it() -> None:
    row = replace(THRIFT, said=WorkFacts(title="Weiße Cafe\u0301"))
    assert 'data-words="weiße café ' in works_html(Place(Path("/x"), Path("/x")), PRESETS, [row], "")


DESTINATIONS = """
[site]
long_side_px = 900
public = true

[jury]
when = "asked"
long_side_px = 900
name = "{nn} {title}"
listing = true
"""


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    studio.config_file.with_name("destinations.toml").write_text(DESTINATIONS, encoding="utf-8")
    return Studio(studio, monkeypatch)


def rows(wren: Studio) -> list[WorkRow]:
    ledger = Ledger(ledger_path(wren.settings))
    try:
        return ledger.overview.works()
    finally:
        ledger.close()


def test_a_call_says_what_would_go_what_waits_and_what_is_missing(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    command = ["works", "--for", "jury", "--config", str(wren.settings.studio)]
    assert main(command) == 1
    assert "jury: 0 pictures would go now" in capsys.readouterr().out
    full = "year: 2026\nmedium: ink\nsize: 20 x 30 cm\nalt: Reeds by a pond\n"
    wren.put("for jury/Reeds.jpg", photo(1))
    wren.put("for jury/Gulls.jpg", photo(2))
    wren.put("for jury/Reeds.txt", full)
    wren.put("for jury/Gulls.txt", "hold: yes")
    wren.run()
    assert main(command) == 1
    said = capsys.readouterr().out
    assert "  01  01 Reeds.jpg  Reeds, 2026, ink, 20 x 30 cm" in said
    assert "not: Gulls" in said
    wren.put("for jury/Gulls.txt", full.replace("Reeds", "Gulls"))
    wren.run()
    assert main(command) == 0
    assert "without" not in capsys.readouterr().out
    wren.put("for jury/Gulls.txt", "")
    wren.run()
    assert main(command) == 1
    assert "1 without a medium: 02 Gulls.jpg" in capsys.readouterr().out


def test_a_question_that_would_go_by_itself_is_not_forgotten_before_a_date(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    wren.put("Reeds.jpg", photo(1, answer="ask"))
    wren.put("as ink/Gulls.jpg", photo(2))
    wren.run()
    at = ["--config", str(wren.settings.studio)]
    assert main(["works", "--for", "site", *at]) == 1
    assert "not yet made: Reeds: a question waits for your answer" in capsys.readouterr().out
    main(["works", "--for", "jury", *at])  # nobody has sent it there
    assert "Reeds" not in capsys.readouterr().out


def test_the_list_shows_no_picture_that_was_cleared_away(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    (row,) = rows(wren)
    folder = wren.settings.folders.records / "proof"
    (folder / row.job / "after.jpg").write_bytes(b"x")
    place = Place(wren.settings.studio, folder)
    assert f"{row.job}/after.jpg" in works_html(place, {}, [row], "Wren Halloway")
    (folder / row.job / "after.jpg").unlink()
    assert "<img" not in works_html(place, {}, [row], "Wren Halloway")


def test_a_question_stands_in_the_list_until_it_is_answered(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    command = ["works", "--config", str(wren.settings.studio)]
    page = wren.settings.folders.records / "proof" / "works.html"
    wren.put("for jury/Reeds.jpg", photo(1))
    wren.put("for jury/Gulls.jpg", photo(2, answer="ask"))
    wren.run()
    assert main(command) == 0
    assert "Gulls  (given out nowhere: a question waits for your answer)" in capsys.readouterr().out
    assert "a question waits" in page.read_text(encoding="utf-8")
    assert main([*command, "--for", "jury"]) == 1
    assert "not yet made: Gulls: a question waits for your answer" in capsys.readouterr().out
    wren.put("Boats.jpg", photo(3, answer="ask"))  # nothing else is new
    wren.run()
    assert "Boats" in page.read_text(encoding="utf-8")
    (wren.inbox / "Boats.txt").write_text("not a work: yes", encoding="utf-8")
    wren.run()
    assert "Boats" not in page.read_text(encoding="utf-8")
    wren.put("for jury/Gulls.txt", "corners: 1,1 80,1 80,50 1,50\nhold: yes")
    for place in wren.settings.folders.needs_a_look.rglob("choice-2.jpg"):
        place.unlink()
    for place in wren.settings.folders.needs_a_look.rglob("none-of-these.jpg"):
        place.unlink()
    wren.run()
    main(command)
    assert "Gulls  (given out nowhere: on hold, as you said)" in capsys.readouterr().out
    assert "a question waits" not in page.read_text(encoding="utf-8")
    main(["jobs", "--config", str(wren.settings.studio)])
    assert "Gulls.jpg  (held back: on hold)" in capsys.readouterr().out


def test_a_work_that_asks_again_was_public_even_so(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    """Calls ask since when a work is public; that a question withdraws its pictures changes nothing of that."""
    at = ["--config", str(wren.settings.studio)]
    wren.put("also for jury/Reeds.jpg", photo(1))
    wren.put("Gulls.jpg", photo(2))
    wren.run()
    wren.put("also for jury/Reeds.txt", "outline: ask\nhold: yes")
    wren.run()
    main(["works", "--json", *at])
    reeds, gulls = sorted(json.loads(capsys.readouterr().out), key=lambda row: str(row["photo"]), reverse=True)
    assert (reeds["nowhere_because"], reeds["held"]) == ("a question waits for your answer", True)
    assert reeds["public_since"] == gulls["public_since"] != ""
    main(["works", "--for", "jury", *at])
    assert "not yet made: Reeds: a question waits for your answer" in capsys.readouterr().out


def test_the_artist_orders_a_call_and_the_numbers_follow(wren: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    for number, title in enumerate(("Reeds", "Gulls", "Boats"), 1):
        wren.put(f"for jury/{title}.jpg", photo(number))
    wren.run()
    jury = wren.settings.folders.ready / "jury"
    assert sorted(place.name for place in jury.glob("*.jpg")) == ["01 Boats.jpg", "02 Gulls.jpg", "03 Reeds.jpg"]
    wren.put("for jury/Boats.txt", "order: 3")
    wren.put("for jury/Reeds.txt", "order: 1")
    wren.run()
    assert sorted(place.name for place in jury.glob("*.jpg")) == ["01 Reeds.jpg", "02 Gulls.jpg", "03 Boats.jpg"]
    listed = list(csv.reader(io.StringIO((jury / "image-list.csv").read_text(encoding="utf-8-sig"))))
    assert [row[:2] for row in listed[1:]] == [["01", "01 Reeds.jpg"], ["02", "02 Gulls.jpg"], ["03", "03 Boats.jpg"]]
    in_pictures = PdfReader(jury / "image-list.pdf").pages[0].extract_text()
    assert in_pictures.index("01 Reeds.jpg") < in_pictures.index("02 Gulls.jpg") < in_pictures.index("03 Boats.jpg")

    def unwanted(*_: object) -> bytes:
        raise AssertionError("nothing is new, and it is made again")

    with monkeypatch.context() as patched:  # another start
        patched.setattr("autoprep.service.studio.list_pdf", unwanted)
        wren.run()
    wren.put("for jury/Boats.txt", "order: 3\ntitle: Two boats")
    wren.run()
    assert "Two boats" in PdfReader(jury / "image-list.pdf").pages[0].extract_text()
    # A number in the list is the number in the file's name, also where one was taken away.
    (jury / "02 Gulls.jpg").unlink()
    wren.put("for jury/Boats.txt", "order: 3\nyear: 2026")
    wren.run()
    listed = list(csv.reader(io.StringIO((jury / "image-list.csv").read_text(encoding="utf-8-sig"))))
    assert [row[0] for row in listed[1:]] == ["01", "03"]
    assert "Gulls" not in PdfReader(jury / "image-list.pdf").pages[0].extract_text()


def test_a_file_has_its_first_day_for_ever_and_a_new_day_when_it_is_another(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    (first,) = rows(wren)[0].sent
    assert first.made == first.first != ""
    db = Ledger(ledger_path(wren.settings))
    db._db.execute("UPDATE renditions SET made = '2026-01-02T00:00:00', first = '2026-01-01T00:00:00'")
    db.close()
    for words in ("price: 30", "hold: yes", "hold: no"):  # none of them makes another file
        wren.put("Reeds.txt", words)
        wren.run()
    assert rows(wren)[0].sent[0].made == "2026-01-02T00:00:00"
    wren.put("Reeds.txt", "title: Reeds by a pond")
    wren.run()
    (sent,) = rows(wren)[0].sent
    assert sent.made > "2026-01-02T00:00:00"
    assert sent.first == "2026-01-01T00:00:00"
    wren.put("Reeds.txt", "title: Reeds by a pond\nhold: yes")
    wren.run()
    assert rows(wren)[0].sent[0].first == "2026-01-01T00:00:00"  # it was public once


def test_takes_are_one_work_with_a_page_of_its_own(wren: Studio) -> None:
    wren.put("a.jpg", photo(1))
    wren.put("b.jpg", photo(1, sharp=9, take=1))
    wren.run()
    (row,) = rows(wren)
    assert (row.takes, row.shown) == (2, "b.jpg")
    page = wren.settings.folders.records / "proof" / f"work-{row.work}.html"
    assert "b.jpg is the better take" in page.read_text(encoding="utf-8")
    wren.put("b.txt", "title: <Reeds>")
    wren.run()
    assert "&lt;Reeds&gt;" in page.read_text(encoding="utf-8")


@pytest.mark.parametrize("artist", ["Wren Halloway", ""])
def test_a_work_s_page_shows_the_rights_that_its_files_hold(
    wren: Studio, monkeypatch: pytest.MonkeyPatch, artist: str
) -> None:
    monkeypatch.setattr(pretend, "_PHOTO", replace(pretend._PHOTO, taken_at=None))
    text = wren.config.read_text(encoding="utf-8").replace("Wren Halloway", artist)
    text += '\n[rights]\nnotice = "©  {year}  on Saltmere"\nusage_terms = "{year}: all rights reserved"\n'
    wren.config.write_text(text, encoding="utf-8")
    wren.put("a.jpg", photo(1))
    wren.run()
    ledger = sqlite3.connect(ledger_path(wren.settings))
    ledger.execute("UPDATE jobs SET came = '2019-03-09'")
    ledger.commit()
    ledger.close()
    wren.put("a.txt", "title: Reeds")
    wren.run()
    held = json.loads(next(text for name, text in wren.files().items() if name.startswith("site/")))[2]
    assert (held["notice"], held.get("usage_terms")) == (
        "© 2019 on Saltmere",
        "2019: all rights reserved" if artist else None,
    )
    (row,) = rows(wren)
    page = (wren.settings.folders.records / "proof" / f"work-{row.work}.html").read_text(encoding="utf-8")
    assert held["notice"] in page
    assert ("all rights reserved" in page) == bool(artist)
