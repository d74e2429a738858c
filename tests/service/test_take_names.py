"""The names of takes: a better take has the name and the number of the work; and numbers that the artist gives."""

import csv
import io

import pytest

from autoprep.ledger import Ledger
from autoprep.wishes.settings import Settings, ledger_path
from tests.service.pretend import InlinePool, Studio, photo

DESTINATIONS = """
[site]
long_side_px = 900
name = "{title}"

[jury]
when = "asked"
long_side_px = 900
rights = "none"
name = "{nn}"
listing = true

[fair]
when = "asked"
long_side_px = 900
name = "{nn} {title}"
"""


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    studio.config_file.with_name("destinations.toml").write_text(DESTINATIONS, encoding="utf-8")
    return Studio(studio, monkeypatch)


def names(wren: Studio, destination: str) -> list[str]:
    folder = wren.settings.folders.ready / destination
    return sorted(place.name for place in folder.glob("*.jpg")) if folder.is_dir() else []


def numbers(wren: Studio, destination: str = "jury") -> dict[str, str]:
    """Photo -> the file that it has there."""
    return {
        shown: out.path.rpartition("/")[2]
        for shown, record in wren.records().items() for out in record.outputs if out.destination == destination
    }  # fmt: skip


def test_a_better_take_has_the_name_and_the_number_of_the_work(wren: Studio) -> None:
    for work, title in ((1, "Thrift"), (2, "Gulls"), (3, "Reeds")):
        wren.put(f"IMG_{work}.jpg", photo(work))
        wren.put(f"IMG_{work}.txt", f"title: {title}\nalso for: jury, fair")
    wren.run()
    was = {name: names(wren, name) for name in ("site", "jury", "fair")}
    before = numbers(wren)["IMG_2.jpg"]
    wren.put("IMG_9.jpg", photo(2, sharp=9, take=1))
    wren.run()
    assert {name: names(wren, name) for name in was} == was
    assert numbers(wren)["IMG_9.jpg"] == before
    assert wren.records()["IMG_2.jpg"].outcome == "alternate"
    wren.put("IMG_10.jpg", photo(2, sharp=12, take=2))  # and one that is better still
    wren.run()
    assert {name: names(wren, name) for name in was} == was
    assert numbers(wren)["IMG_10.jpg"] == before
    wren.put("IMG_4.jpg", photo(4))  # no number is left out
    wren.put("IMG_4.txt", "for: jury")
    wren.run()
    assert names(wren, "jury") == ["01.jpg", "02.jpg", "03.jpg", "04.jpg"]


def test_takes_that_come_together_leave_no_gap(wren: Studio) -> None:
    for work in (1, 2, 3):
        for take, sharp in enumerate((4, 8)):
            wren.put(f"for jury/IMG_{work}{take}.jpg", photo(work, sharp, take=take))
    wren.run()
    assert sorted(numbers(wren).values()) == ["01.jpg", "02.jpg", "03.jpg"]
    assert all(shown.endswith("1.jpg") for shown in numbers(wren))


def test_of_takes_that_are_measured_side_by_side_the_later_keeps_the_number(
    wren: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither was there when the other was ordered, so both had names of their own; the worse one is done first."""
    monkeypatch.setattr(InlinePool, "free", property(lambda pool: 2 - len(pool._orders)))
    for take, sharp in enumerate((8, 4)):
        wren.put(f"for jury/IMG_{take}.jpg", photo(1, sharp, take=take))
    wren.run()
    assert numbers(wren) == {"for jury/IMG_0.jpg": "02.jpg"}


@pytest.mark.parametrize("lost", [False, True])
def test_the_first_take_comes_back_when_the_better_one_goes(wren: Studio, lost: bool) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.put("IMG_1.txt", "title: Thrift")
    wren.run()
    first = wren.files()
    wren.put("IMG_2.jpg", photo(1, sharp=9, take=1))
    wren.run()
    assert wren.files().keys() == first.keys()
    assert wren.files() != first
    for place in (wren.settings.folders.records / "withdrawn").rglob("*.jpg") if lost else ():
        place.unlink()
    wren.put("IMG_2.txt", "not a work: yes")
    wren.run()
    assert list(wren.files().values()) == list(first.values())


def test_what_was_lost_comes_back_beside_a_file_in_place(wren: Studio) -> None:
    """Both takes are wanted, the better one has the name, and the withdrawn file of the first one is gone."""
    wren.put("IMG_1.jpg", photo(1))
    wren.put("IMG_1.txt", "title: Thrift")
    wren.run()
    wren.put("IMG_2.jpg", photo(1, sharp=9, take=1))
    wren.run()
    for place in (wren.settings.folders.records / "withdrawn").rglob("*.jpg"):
        place.unlink()
    ledger = Ledger(ledger_path(wren.settings))
    first = next(job for job in ledger.jobs() if job.shown == "IMG_1.jpg")
    ledger._db.execute("UPDATE jobs SET chosen = 1, settled = '' WHERE job = ?", (first.job,))
    ledger.close()
    wren.run()
    assert names(wren, "site") == ["Thrift-2.jpg", "Thrift.jpg"]


def test_a_take_that_somebody_has_edited_keeps_its_name(wren: Studio) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.put("IMG_1.txt", "title: Thrift\nalso for: jury")
    wren.run()
    edited = wren.settings.folders.ready / "jury" / "01.jpg"
    edited.write_bytes(b"retouched by hand")
    wren.put("IMG_2.jpg", photo(1, sharp=9, take=1))
    wren.run()
    assert edited.read_bytes() == b"retouched by hand"
    assert names(wren, "jury") == ["01.jpg", "02.jpg"]
    assert names(wren, "site") == ["Thrift.jpg"]


def test_the_first_take_stands_beside_the_better_one_when_it_is_asked_for(wren: Studio) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.put("IMG_1.txt", "title: Thrift")
    wren.run()
    first = wren.files()["site/Thrift.jpg"]
    wren.put("IMG_2.jpg", photo(1, sharp=9, take=1))
    wren.run()
    second = wren.files()["site/Thrift.jpg"]
    assert second != first
    wren.redo("IMG_1.jpg", "site")
    wren.run()
    assert wren.files() == {"site/Thrift.jpg": second, "site/Thrift-2.jpg": wren.files()["site/Thrift-2.jpg"]}
    wren.put("IMG_1.txt", "title: Thrift\nhold: yes")
    wren.run()
    assert wren.files() == {}
    wren.put("IMG_1.txt", "title: Thrift\nhold: no")
    wren.run()
    assert sorted(wren.files()) == ["site/Thrift-2.jpg", "site/Thrift.jpg"]
    ledger = Ledger(ledger_path(wren.settings))
    assert ledger.check() == "ok"
    ledger.close()


def test_a_picture_that_was_picked_up_lends_its_name_and_comes_back_beside(wren: Studio) -> None:
    """The first take's withdrawn file is lost, and the better one's was picked up: both names are still told apart."""
    wren.put("IMG_1.jpg", photo(1))
    wren.put("IMG_1.txt", "title: Thrift")
    wren.run()
    wren.put("IMG_2.jpg", photo(1, sharp=9, take=1))
    wren.run()
    (wren.settings.folders.ready / "site" / "Thrift.jpg").unlink()
    for place in (wren.settings.folders.records / "withdrawn").rglob("*.jpg"):
        place.unlink()
    wren.redo("IMG_1.jpg", "site")
    wren.run()
    assert names(wren, "site") == ["Thrift-2.jpg"]


def test_a_take_of_a_work_with_words_is_rendered_once(wren: Studio) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.put("IMG_1.txt", "title: Thrift\nprice: 40")
    wren.run()
    wren.made()
    wren.rendered()
    wren.put("IMG_2.jpg", photo(1, sharp=9, take=1))
    wren.run()
    made = [(kind, shown) for kind, shown, places in wren.made() if places]
    rendered = [(kind, shown, lists) for kind, shown, lists in wren.rendered()]
    assert rendered == [("AgainOrder", "IMG_2.jpg", ("site",))]
    assert len(made) == 2  # it was ordered, and not done, before it was known for a take
    assert wren.records()["IMG_2.jpg"].work.price == "40"


def test_a_take_of_a_work_without_words_goes_into_place_at_once(wren: Studio) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.run()
    wren.rendered()
    wren.put("IMG_2.jpg", photo(1, sharp=9, take=1))
    wren.run()
    assert wren.rendered() == [("JobOrder", "IMG_2.jpg", ("site",))]


@pytest.mark.parametrize("at_once", [True, False])
def test_numbers_that_the_artist_gives_are_reached(wren: Studio, at_once: bool) -> None:
    """Names that are nothing but a number: a place that is wanted is free only when another file has left it."""
    for work in range(1, 6):
        wren.put(f"for jury/IMG_{work}.jpg", photo(work))
    wren.run()
    given = numbers(wren)
    order = {"IMG_1": 4, "IMG_2": 2, "IMG_3": 3, "IMG_4": 1, "IMG_5": 5}
    for name, number in order.items():
        wren.put(f"for jury/{name}.txt", f"order: {number}")
        if not at_once:
            wren.run()
    wren.run()
    assert numbers(wren) == {f"for jury/{name}.jpg": f"{number:02d}.jpg" for name, number in order.items()} != given
    page = (wren.settings.folders.ready / "jury" / "image-list.csv").read_text(encoding="utf-8-sig")
    assert [row[0] for row in list(csv.reader(io.StringIO(page)))[1:]] == ["01", "02", "03", "04", "05"]


def test_a_number_that_another_work_keeps_is_not_taken(wren: Studio) -> None:
    for work in (1, 2, 3):
        wren.put(f"for jury/IMG_{work}.jpg", photo(work))
    wren.run()
    third = next(shown for shown, file in numbers(wren).items() if file == "03.jpg")
    second = next(shown for shown, file in numbers(wren).items() if file == "02.jpg")
    wren.put(third.replace(".jpg", ".txt"), "order: 2")  # 02 is another's; its own 03 is as good as any later one
    wren.run()
    assert numbers(wren)[third] == "03.jpg"
    wren.put(second.replace(".jpg", ".txt"), "hold: yes")
    wren.run()
    assert names(wren, "jury") == ["01.jpg", "03.jpg"]  # a work on hold keeps its number
