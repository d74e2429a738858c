"""The names of takes: a better take has the name and the number of the work; and numbers that the artist gives."""

import csv
import io
import os
import random
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from autoprep.files import storage
from autoprep.ledger import Ledger
from autoprep.logs import open_log
from autoprep.service import hands, keeping
from autoprep.service.engine import Engine
from autoprep.service.messages import Failed, Finished
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
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


class Several(InlinePool):
    """Three workers: of what they have, any one is done next."""

    dice = random.Random(0)

    @property
    def free(self) -> int:
        return 3 - len(self._orders)

    def collect(self) -> Iterator[Finished | Failed]:
        if self._orders:
            done = self._orders.pop(self.dice.randrange(len(self._orders)))
            rest, self._orders = self._orders, [done]
            yield from super().collect()
            self._orders = rest


@pytest.mark.parametrize("seed", range(12))
def test_works_that_come_together_are_numbered_as_they_came(
    wren: Studio, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    """Five works with two takes each, in any order, done in any order by several workers; cut off now and then."""
    monkeypatch.setattr("autoprep.service.engine.Pool", Several)
    Several.dice = dice = random.Random(seed)
    takes = [(work, take) for work in range(1, 6) for take in (0, 1)]
    dice.shuffle(takes)
    sharp = {take: dice.choice((4, 8)) + 0.5 * take[1] for take in takes}
    for place, (work, take) in enumerate(takes):
        wren.put(f"for jury/IMG_{place:02d}.jpg", photo(work, int(2 * sharp[work, take]), take=take))
    if seed % 2:
        cut_off_after(wren, dice.randrange(3, 12))
    wren.run()
    came = list(dict.fromkeys(work for work, _ in takes))
    expected = {}
    for number, work in enumerate(came, 1):
        best = max((0, 1), key=lambda take: sharp[work, take])
        expected[f"for jury/IMG_{takes.index((work, best)):02d}.jpg"] = f"{number:02d}.jpg"
    assert numbers(wren) == expected
    assert names(wren, "jury") == [f"{number:02d}.jpg" for number in range(1, 6)]


def cut_off_after(wren: Studio, steps: int) -> None:
    engine = Engine(wren.settings, open_log(wren.settings.folders.records, None), follow=False)
    for _ in range(steps):
        engine._next_scan = engine._next_page = 0.0
        engine.step(0.0)
    wren.cut_off(engine)


def test_a_number_is_not_waited_for_longer_than_a_while(wren: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    """A photo that takes very long keeps no other from its place."""
    monkeypatch.setattr("autoprep.service.engine.Pool", SlowFirst)
    for work in (1, 2):
        wren.put(f"for jury/IMG_{work}.jpg", photo(work))
    engine = Engine(wren.settings, open_log(wren.settings.folders.records, None), follow=False)

    def go_on() -> list[str]:
        for _ in range(20):
            engine._next_scan = 0.0
            engine.step(0.0)
        return names(wren, "jury")

    assert go_on() == []
    monkeypatch.setattr("autoprep.service.desk._IN_TURN_S", 0.0)
    assert go_on() == ["01.jpg"]
    assert numbers(wren) == {"for jury/IMG_2.jpg": "01.jpg"}
    wren.cut_off(engine)


class SlowFirst(Several):
    """The photo that came first is never done."""

    def collect(self) -> Iterator[Finished | Failed]:
        slow = [order for order in self._orders if order.photo.endswith("IMG_1.jpg")]
        self._orders = [order for order in self._orders if order not in slow]
        yield from super().collect()
        self._orders += slow


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
    assert wren.files() == first
    wren.put("IMG_2.txt", "not a work: no")  # and the better one again
    wren.run()
    assert wren.files().keys() == first.keys()
    assert wren.files() != first


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


@pytest.mark.parametrize("link", [True, False])
def test_a_work_is_never_missing_while_a_better_take_is_made(
    wren: Studio, monkeypatch: pytest.MonkeyPatch, link: bool
) -> None:
    """Its words and its number belong to the work, so the better take's files are made when it is known for one."""
    if not link:
        monkeypatch.delattr("os.link")
        monkeypatch.setattr(os, "link", no_link, raising=False)
    wren.put("IMG_1.jpg", photo(1))
    wren.put("IMG_1.txt", "title: Thrift\nalso for: jury, fair")
    wren.run()
    before = wren.files()
    seen: list[set[str]] = []
    monkeypatch.setattr(hands, "boundary", lambda _: seen.append(set(wren.files())))
    wren.put("IMG_2.jpg", photo(1, sharp=9, take=1))
    wren.run()
    assert seen
    assert all(set(before) <= there for there in seen)
    after = wren.files()
    assert after.keys() == before.keys()
    assert all(after[name] != before[name] for name in before if "list" not in name)
    away = {place.read_bytes() for place in (wren.settings.folders.records / "withdrawn").rglob("*.jpg")}
    assert away == {before[name] for name in before if name.endswith(".jpg")}
    wren.put("IMG_1.txt", "title: Thrift\nalso for: jury, fair\nhold: yes")
    wren.run()
    assert [name for name in wren.files() if name.endswith(".jpg")] == []


def no_link(*_: object) -> None:
    raise OSError("no links here")


@pytest.mark.parametrize("goes", [False, True])
def test_a_better_take_that_is_not_made_leaves_the_other_in_place(wren: Studio, goes: bool) -> None:
    """The better take is known, and before its files are there the service ends, and perhaps its photo goes."""
    wren.put("IMG_1.jpg", photo(1))
    wren.put("IMG_1.txt", "title: Thrift")
    wren.run()
    wren.put("IMG_2.jpg", photo(1, sharp=9, take=1))
    engine = Engine(wren.settings, open_log(wren.settings.folders.records, None), follow=False)
    for _ in range(400):
        engine._next_scan = 0.0
        engine.step(0.0)
        if wren.made()[-1:] == [("AgainOrder", "IMG_2.jpg", ("site",))]:
            assert names(wren, "site") == ["Thrift.jpg"]
            break
    else:
        raise AssertionError("it was not made anew")
    first = wren.files()["site/Thrift.jpg"]
    wren.cut_off(engine)
    if goes:
        (wren.inbox / "IMG_2.jpg").rename(wren.inbox.parent / "IMG_2.jpg")
        wren.run()
        assert wren.files()["site/Thrift.jpg"] == first
        assert wren.records()["IMG_1.jpg"].outcome == "ready"
        (wren.inbox.parent / "IMG_2.jpg").rename(wren.inbox / "IMG_2.jpg")
    wren.run()
    assert names(wren, "site") == ["Thrift.jpg"]
    assert wren.files()["site/Thrift.jpg"] != first
    assert wren.records()["IMG_1.jpg"].outcome == "alternate"


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


def test_a_better_take_that_comes_while_the_work_is_held_has_its_name_and_number(wren: Studio) -> None:
    """The first take's files are withdrawn by then, and their names are kept for the work."""
    wren.put("IMG_1.jpg", photo(1))
    wren.put("IMG_1.txt", "title: Thrift\nalso for: jury, fair")
    wren.put("IMG_3.jpg", photo(3))
    wren.put("IMG_3.txt", "also for: jury, fair")
    wren.run()
    before = wren.files().keys()
    wren.put("IMG_1.txt", "title: Thrift\nalso for: jury, fair\nhold: yes")
    wren.run()
    wren.put("IMG_2.jpg", photo(1, sharp=9, take=1))
    wren.run()
    wren.put("IMG_1.txt", "title: Thrift\nalso for: jury, fair")
    wren.run()
    assert wren.files().keys() == before
    assert numbers(wren)["IMG_2.jpg"] == "01.jpg"


def test_a_file_that_was_kept_aside_and_not_replaced_is_still_taken_out(wren: Studio) -> None:
    """Cut off in between, it has two names on the disk, and to rename one to the other would do nothing."""
    wren.put("IMG_1.jpg", photo(1))
    wren.run()
    ledger = Ledger(ledger_path(wren.settings))
    (job,) = ledger.jobs()
    made = ledger.renditions(job.job)["site"]
    ledger.close()
    assert made.path is not None
    data = made.path.read_bytes()
    for _ in range(2):  # cut off twice
        keeping.keep_aside(wren.settings, job.job, made)
        assert made.path.read_bytes() == data
    assert keeping.take_out(wren.settings, job.job, made)
    away = keeping.withdrawn_place(wren.settings, job.job, made)
    assert away.read_bytes() == data
    assert not made.path.exists()
    assert [place.name for place in away.parent.iterdir()] == [away.name]


def test_what_the_artist_has_put_in_a_pictures_place_is_neither_kept_aside_nor_replaced(wren: Studio) -> None:
    """Also where a crash left ours among the withdrawn ones."""
    wren.put("IMG_1.jpg", photo(1))
    wren.run()
    ledger = Ledger(ledger_path(wren.settings))
    (job,) = ledger.jobs()
    made = ledger.renditions(job.job)["site"]
    assert made.path is not None
    ours, away = made.path.read_bytes(), keeping.withdrawn_place(wren.settings, job.job, made)
    made.path.write_bytes(b"the artist's")
    keeping.keep_aside(wren.settings, job.job, made)
    assert not away.exists()
    away.parent.mkdir(parents=True, exist_ok=True)
    away.write_bytes(ours)
    assert keeping.sweep(wren.settings, ledger) == 0
    assert (made.path.read_bytes(), away.read_bytes()) == (b"the artist's", ours)
    made.path.unlink()
    assert keeping.sweep(wren.settings, ledger) == 1
    assert made.path.read_bytes() == ours
    ledger.close()


def test_the_next_free_name_is_one_that_no_work_is_about_to_have(wren: Studio) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.run()
    ledger = Ledger(ledger_path(wren.settings))
    (job,) = ledger.jobs()
    place = wren.settings.folders.ready / "site" / "Thrift.jpg"
    place.with_stem("Thrift-2").write_bytes(b"the artist's")
    ledger.reserve(job.job, {"site": place.with_stem("Thrift-3")})
    assert keeping.next_free(place, ledger) == place.with_stem("Thrift-4")
    ledger.close()


def test_takes_that_are_made_side_by_side_have_the_name_of_the_work(
    wren: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both are begun as works of their own, with one title: the second name is not needed when they are one."""
    monkeypatch.setattr("autoprep.service.engine.Pool", Several)
    for take, sharp in enumerate((4, 8)):
        wren.put(f"IMG_{take}.jpg", photo(1, sharp, take=take))
        wren.put(f"IMG_{take}.txt", "title: Thrift\nalso for: fair")
    wren.run()
    assert {out.destination: out.path for out in wren.records()["IMG_1.jpg"].outputs} == {
        "site": "ready/site/Thrift.jpg", "fair": "ready/fair/01 Thrift.jpg",
    }  # fmt: skip
    assert (names(wren, "site"), names(wren, "fair")) == (["Thrift.jpg"], ["01 Thrift.jpg"])


def in_place(wren: Studio, destination: str) -> list[str]:
    """The numbers of the files that lie there."""
    return [name[:2] for name in names(wren, destination)]


def fair(wren: Studio, **works: int) -> None:
    """Works for the fair, with these titles, one after the other."""
    for title, work in works.items():
        wren.put(f"{title}.jpg", photo(work))
        wren.put(f"{title}.txt", "also for: fair")
        wren.run()


def test_a_number_that_is_said_is_no_other_work_s_whatever_the_titles_are(wren: Studio) -> None:
    fair(wren, Thrift=1, Gulls=2, Reeds=3)
    wren.put("Reeds.txt", "also for: fair\norder: 1")
    wren.put("Gulls.txt", "also for: fair\norder: 1")
    wren.run()
    assert names(wren, "fair") == ["01 Thrift.jpg", "02 Gulls.jpg", "03 Reeds.jpg"]
    wren.put("Kelp.jpg", photo(4))  # a new one asks for a number that another has
    wren.put("Kelp.txt", "also for: fair\norder: 2")
    wren.run()
    assert names(wren, "fair")[3:] == ["04 Kelp.jpg"]
    wren.put("Thrift.txt", "also for: fair\norder: 9")
    wren.run()
    assert in_place(wren, "fair") == ["01", "02", "03", "09"]  # it is free now, for one of both
    assert names(wren, "fair")[0] in ("01 Gulls.jpg", "01 Reeds.jpg")


def test_works_with_titles_change_numbers(wren: Studio) -> None:
    fair(wren, Thrift=1, Gulls=2, Reeds=3)
    for title, number in (("Thrift", 3), ("Gulls", 1), ("Reeds", 2)):
        wren.put(f"{title}.txt", f"also for: fair\norder: {number}")
    wren.run()
    assert sorted(in_place(wren, "fair")) == ["01", "02", "03"]


def test_a_work_on_hold_keeps_its_number_from_others_that_ask_for_it(wren: Studio) -> None:
    fair(wren, Thrift=1, Gulls=2)
    wren.put("Thrift.txt", "also for: fair\nhold: yes")
    wren.put("Gulls.txt", "also for: fair\norder: 1")
    wren.run()
    assert names(wren, "fair") == ["02 Gulls.jpg"]
    wren.put("Thrift.txt", "also for: fair")
    wren.run()
    assert names(wren, "fair") == ["01 Thrift.jpg", "02 Gulls.jpg"]


@pytest.mark.parametrize("title", ["Thrift", "Sea Thrift"])
def test_a_released_work_whose_number_another_has_by_now_is_given_the_next_one(wren: Studio, title: str) -> None:
    """A ledger of an earlier version has given it away; its title stayed, or is another one by now."""
    fair(wren, Thrift=1, Gulls=2)
    wren.put("Thrift.txt", "also for: fair\nhold: yes")
    wren.run()
    place = wren.settings.folders.ready / "fair"
    (place / "02 Gulls.jpg").rename(place / "01 Gulls.jpg")
    ledger = sqlite3.connect(ledger_path(wren.settings))
    ledger.execute(
        "UPDATE renditions SET path = CAST(replace(CAST(path AS TEXT), '02 Gulls', '01 Gulls') AS BLOB), "
        "key = replace(key, '02 gulls', '01 gulls') WHERE destination = 'fair'"
    )
    ledger.commit()
    ledger.close()
    wren.put("Thrift.txt", f"also for: fair\ntitle: {title}")
    wren.run()
    assert names(wren, "fair") == ["01 Gulls.jpg", f"02 {title}.jpg"]
    (output,) = (out for out in wren.records()["Thrift.jpg"].outputs if out.destination == "fair")
    assert output.path == f"ready/fair/02 {title}.jpg"
    assert bool(output.notes) == (title == "Thrift")


def test_a_number_that_the_artist_s_own_file_bears_is_not_free(wren: Studio) -> None:
    fair(wren, Thrift=1)
    (wren.settings.folders.ready / "fair" / "05 from last year.jpg").write_bytes(b"mine")
    wren.put("Thrift.txt", "also for: fair\norder: 5")
    wren.run()
    assert names(wren, "fair") == ["05 from last year.jpg", "06 Thrift.jpg"]


def test_a_worse_take_that_was_made_before_it_was_known_for_one_is_not_published(
    wren: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two workers had a take each: neither knew of the other."""
    monkeypatch.setattr("tests.service.pretend.is_late", lambda *_: False)
    published: list[Path] = []
    publish = storage.publish

    def noted(part: Path, final: Path) -> None:
        published.append(final)
        publish(part, final)

    monkeypatch.setattr(hands, "publish", noted)
    wren.put("Gull.jpg", photo(1, sharp=9))
    wren.run()
    first = list(published)
    wren.put("Later.jpg", photo(1, sharp=2, take=1))
    assert wren.run()["Later.jpg"].outcome == "alternate"
    assert published == first
    assert not list(wren.settings.folders.ready.rglob(".*"))
