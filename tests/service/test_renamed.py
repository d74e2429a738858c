"""Photos that are called otherwise than before: works follow their bytes, and words stay with their works."""

import os

import pytest

from autoprep.domain import JobRecord
from autoprep.logs import open_log
from autoprep.service.arrivals import Arrivals
from autoprep.service.desk import Desk
from autoprep.service.engine import Engine
from autoprep.service.outlook import outlook
from autoprep.service.rebuild import rebuild
from autoprep.wishes.tables import Settings
from tests.service.pretend import InlinePool, Studio, photo
from tests.service.test_week import each, swap


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    return Studio(studio, monkeypatch)


def titles(wren: Studio) -> dict[str, tuple[str, str]]:
    """Bytes -> outcome and title, with the name of the photo that the record tells."""
    return {record.sha256: (record.outcome, record.work.title) for record in wren.records().values()}


def named(wren: Studio) -> dict[str, str]:
    return {record.sha256: shown for shown, record in wren.records().items() if record.outcome != "duplicate"}


def log(wren: Studio) -> str:
    return "".join(place.read_text(encoding="utf-8") for place in wren.settings.folders.records.glob("log*.jsonl*"))


def digests(wren: Studio, *names: str) -> list[str]:
    records = wren.records()
    return [records[name].sha256 for name in names]


def test_two_photos_change_names(wren: Studio) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.put("Heron.jpg", photo(2))
    wren.run()
    gull, heron = digests(wren, "Gull.jpg", "Heron.jpg")
    swap("Gull.jpg", "Heron.jpg")(wren)
    wren.run()
    assert named(wren) == {gull: "Heron.jpg", heron: "Gull.jpg"}
    assert titles(wren) == {gull: ("ready", "Heron"), heron: ("ready", "Gull")}


@pytest.mark.parametrize("free", ["Avocet", "Heron"])  # looked at before, and after, the name that it leaves
def test_one_photo_takes_the_name_that_another_leaves(wren: Studio, free: str) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.put("Tern.jpg", photo(2))
    wren.run()
    gull, tern = digests(wren, "Gull.jpg", "Tern.jpg")
    (wren.inbox / "Gull.jpg").rename(wren.inbox / f"{free}.jpg")
    (wren.inbox / "Tern.jpg").rename(wren.inbox / "Gull.jpg")
    wren.run()
    assert named(wren) == {gull: f"{free}.jpg", tern: "Gull.jpg"}
    assert titles(wren) == {gull: ("ready", free), tern: ("ready", "Gull")}
    assert "duplicate" not in log(wren)  # not even for a moment


def test_a_copy_is_the_photo_where_another_has_taken_its_name(wren: Studio) -> None:
    """The copy was known for long, and nothing is new of its file."""
    wren.put("Gull.jpg", photo(1))
    wren.put("Tern.jpg", photo(2))
    wren.put("Kept/Gull.jpg", photo(1))
    wren.run()
    gull, tern = digests(wren, "Gull.jpg", "Tern.jpg")
    (wren.inbox / "Tern.jpg").replace(wren.inbox / "Gull.jpg")
    wren.run()
    assert named(wren) == {gull: "Kept/Gull.jpg", tern: "Gull.jpg"}


def test_a_photo_that_was_only_touched_keeps_its_name_beside_a_copy(wren: Studio) -> None:
    """Its file is another one to the ledger, and holds the same bytes: these are read."""
    first = wren.put("Gull.jpg", photo(1))
    wren.run()
    wren.put("A copy.jpg", first.read_bytes())
    wren.put("Gull.jpg", photo(1))
    wren.run()
    records = wren.records()
    assert (records["Gull.jpg"].outcome, records["A copy.jpg"].outcome) == ("ready", "duplicate")


def test_a_swap_in_pieces(wren: Studio) -> None:
    """A photo is written over by another, and comes back later under the other's name."""
    wren.put("Gull.jpg", photo(1))
    wren.put("Heron.jpg", photo(2))
    wren.run()
    gull, heron = digests(wren, "Gull.jpg", "Heron.jpg")
    (wren.inbox / "Heron.jpg").replace(wren.inbox / "Gull.jpg")
    wren.run()
    assert named(wren)[heron] == "Gull.jpg"
    wren.put("Heron.jpg", photo(1))
    wren.run()
    assert titles(wren) == {gull: ("ready", "Heron"), heron: ("ready", "Gull")}


def rename(wren: Studio, one: str, other: str) -> None:
    (wren.inbox / other).parent.mkdir(parents=True, exist_ok=True)
    (wren.inbox / one).rename(wren.inbox / other)


@pytest.mark.parametrize("name", ["Heron.jpg", "Birds/Gull.jpg", "Birds/Heron.jpg"])
def test_a_note_that_is_left_behind_still_holds(wren: Studio, name: str) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.put("Gull.txt", "hold: yes\nprice: 240")
    wren.run()
    rename(wren, "Gull.jpg", name)
    wren.run()
    assert wren.files() == {}
    assert (wren.records()[name].work.price, wren.records()[name].was) == ("240", ("Gull.jpg",))
    assert ahead(wren) == [f"Gull.txt: speaks of {name}, which was called Gull.jpg"]
    wren.put("Gull.txt", "price: 250")  # and can be written to
    wren.run()
    assert wren.records()[name].work.price == "250"
    assert wren.files()
    wren.put(name.replace(".jpg", ".txt"), "medium: ink")  # a note of its own name is the one that counts
    wren.run()
    assert (wren.records()[name].work.price, wren.records()[name].work.medium) == ("", "ink")
    assert ahead(wren) == ["Gull.txt: speaks of no photo, because none beside it is called so"]
    (wren.inbox / name).with_suffix(".txt").unlink()
    (wren.inbox / "Gull.txt").unlink()
    wren.run()
    assert wren.records()[name].work.price == wren.records()[name].work.medium == ""


def ahead(wren: Studio) -> list[str]:
    return list(outlook(wren.settings))


def test_a_name_that_another_photo_has_now_is_that_one_s(wren: Studio) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.put("Gull.txt", "price: 240")
    wren.run()
    rename(wren, "Gull.jpg", "Heron.jpg")
    wren.run()
    wren.put("Gull.jpg", photo(2))
    wren.run()
    records = wren.records()
    assert (records["Gull.jpg"].work.price, records["Heron.jpg"].work.price) == ("240", "")
    place = wren.settings.folders.records / "proof" / records["Heron.jpg"].job / "record.json"
    assert JobRecord.model_validate_json(place.read_text(encoding="utf-8")).was == records["Heron.jpg"].was == ()
    rename(wren, "Gull.jpg", "Tern.jpg")  # its note is this one's from now on, though two photos were called so
    wren.run()
    assert (wren.records()["Tern.jpg"].work.price, wren.records()["Heron.jpg"].work.price) == ("240", "")


def test_a_photo_of_the_old_name_in_another_format_has_the_note(wren: Studio) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.put("Gull.txt", "price: 240")
    wren.run()
    rename(wren, "Gull.jpg", "Heron.jpg")
    wren.put("Gull.png", photo(2))
    wren.run()
    assert (wren.records()["Gull.png"].work.price, wren.records()["Heron.jpg"].work.price) == ("240", "")
    (wren.inbox / "Gull.png").unlink()
    wren.run()
    assert wren.records()["Heron.jpg"].work.price == "240"


def test_two_photos_that_change_names_do_not_mix_up_their_notes(wren: Studio) -> None:
    for work, name in enumerate(("Gull", "Heron")):
        wren.put(f"{name}.jpg", photo(work))
        wren.put(f"{name}.txt", f"price: {work}00")
    wren.run()
    gull, heron = digests(wren, "Gull.jpg", "Heron.jpg")
    swap("Gull.jpg", "Heron.jpg")(wren)
    wren.run()
    assert prices(wren) == {gull: "100", heron: "000"}
    (wren.inbox / "Heron.txt").unlink()  # nor does the other's speak for it now, or when that is away
    (wren.inbox / "Gull.jpg").unlink()
    wren.run()
    assert prices(wren) == {gull: "", heron: "000"}
    assert {record.was for record in wren.records().values()} == {()}


@pytest.mark.parametrize("said", ["Gull.txt", "works.csv"])
@pytest.mark.parametrize("at_once", [True, False])
def test_a_hold_stays_with_its_photo_when_another_takes_the_old_name(wren: Studio, said: str, at_once: bool) -> None:
    word = wren.put(said, "hold: yes" if said == "Gull.txt" else "photo,hold\nGull,yes\n")
    wren.put("Gull.jpg", photo(1))
    wren.put("Tern.jpg", photo(2))
    wren.run()
    rename(wren, "Gull.jpg", "Heron.jpg")
    if not at_once:
        wren.run()
    rename(wren, "Tern.jpg", "Gull.jpg")
    wren.run()
    assert wren.files() == {}
    records = wren.records()
    assert [records[name].work.hold for name in ("Gull.jpg", "Heron.jpg")] == [True, True]
    (told,) = records["Heron.jpg"].work.unclear
    assert told.startswith("it was held when it was called Gull.jpg, as another photo is called now")
    assert records["Gull.jpg"].work.unclear == ()
    word.unlink()  # which may be meant of the other
    wren.run()
    assert {name.partition("/")[2] for name in wren.files()} == {"Gull.jpg", "Gull.tif"}
    rename(wren, "Gull.jpg", "Tern.jpg")
    wren.run()
    assert len(wren.files()) == 4  # nothing holds that name any more, and no photo has it


def held_and_overtaken(wren: Studio) -> None:
    """Held by a note, it is called otherwise, and another photo takes its name."""
    wren.put("Gull.txt", "hold: yes")
    wren.put("Gull.jpg", photo(1))
    wren.run()
    rename(wren, "Gull.jpg", "Heron.jpg")
    wren.run()
    wren.put("Gull.jpg", photo(2))
    wren.run()


@pytest.mark.parametrize("said", ["Heron.txt", "works.csv"])
def test_a_hold_of_an_earlier_name_ends_when_the_new_one_is_released(wren: Studio, said: str) -> None:
    held_and_overtaken(wren)
    assert wren.files() == {}
    own = wren.put(said, "hold: no" if said == "Heron.txt" else "photo,hold\nHeron,no\n")
    wren.run()
    assert {name.partition("/")[2] for name in wren.files()} == {"Heron.jpg", "Heron.tif"}
    own.unlink()
    wren.run()
    assert len(wren.files()) == 2  # what was lifted does not come back by itself


def test_a_hold_that_was_no_note_s_ends_with_the_folder(wren: Studio) -> None:
    wren.put("hold/Gull.jpg", photo(1))
    wren.run()
    rename(wren, "hold/Gull.jpg", "Heron.jpg")
    wren.run()
    wren.put("hold/Gull.jpg", photo(2))
    wren.run()
    assert {name.partition("/")[2] for name in wren.files()} == {"Heron.jpg", "Heron.tif"}
    assert wren.records()["Heron.jpg"].was == ()


def test_one_of_several_works_stays_on_hold_when_another_photo_takes_the_old_name(wren: Studio) -> None:
    wren.put("Cards.jpg", photo(7, answer="several"))
    wren.run()
    each("Cards")(wren)
    wren.put("Cards-2.txt", "hold: yes")
    wren.run()
    rename(wren, "Cards.jpg", "Post.jpg")
    wren.run()
    wren.put("Cards.jpg", photo(8))
    wren.run()
    assert {shown: record.work.hold for shown, record in wren.records().items() if record.part} == {
        "Post-1.jpg": False, "Post-2.jpg": True,
    }  # fmt: skip
    wren.put("Post-2.txt", "hold: no")
    wren.run()
    assert not any(record.work.hold for record in wren.records().values())


def test_a_rebuilt_ledger_knows_by_which_name_a_photo_is_held(wren: Studio) -> None:
    held_and_overtaken(wren)
    for place in wren.settings.folders.records.glob("ledger*"):
        if place.is_file():
            place.unlink()
    rebuild(wren.settings)
    wren.run()
    assert wren.files() == {}


def prices(wren: Studio) -> dict[str, str]:
    return {record.sha256: record.work.price for record in wren.records().values()}


CORNERS = "corners: 2,2 80,3 81,50 1,52\n"


@pytest.mark.parametrize("note", ["Gull.corners.txt", "Birds/Gull.corners (1).txt"])
def test_a_corner_note_that_is_left_behind_still_holds(wren: Studio, note: str) -> None:
    wren.put("Birds/Gull.jpg", photo(1))
    wren.put(note, f"photo: Birds/Gull.jpg\n{CORNERS}")
    wren.run()
    rename(wren, "Birds/Gull.jpg", "Heron.jpg")
    wren.run()
    assert wren.records()["Heron.jpg"].work.corners_px is not None
    assert ahead(wren) == [f"{note}: speaks of Heron.jpg, which was called Birds/Gull.jpg"]
    wren.put("Heron.txt", "price: 9")  # a note of another kind does not end it
    wren.run()
    assert wren.records()["Heron.jpg"].work.corners_px is not None
    wren.put("Heron.corners.txt", "photo: Heron.jpg\ncorners: 9,9 80,3 81,50 1,52\n")
    wren.run()
    corners = wren.records()["Heron.jpg"].work.corners_px
    assert corners is not None
    assert corners[0] == (9, 9)


def test_a_corner_note_that_fits_no_photo_is_named(wren: Studio) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.put("Gull.corners.txt", f"photo: Birds/Gull.jpg\n{CORNERS}")  # of a photo beside it
    wren.put("Heron.corners.txt", f"photo: Birds/Heron.jpg\n{CORNERS}")
    wren.put("Birds/Tern.corners.txt", CORNERS)
    wren.put("My.corners.txt", f"photo: Gull.jpg\n{CORNERS}")
    wren.run()
    assert ahead(wren) == [
        "Heron.corners.txt: speaks of no photo, because none is called Birds/Heron.jpg",
        "My.corners.txt: is not read for Gull.jpg, because it is not called Gull.corners.txt at the top of the inbox "
        "or beside the photo",
        "Birds/Tern.corners.txt: speaks of no photo, because none beside it is called so",
    ]


def test_a_corner_note_that_a_browser_has_renamed_fits_its_photo(wren: Studio) -> None:
    wren.put("Gull?.jpg", photo(1))
    wren.put("Birds/Heron: a.jpg", photo(2))
    wren.run()
    wren.put("Gull_.corners.txt", f"photo: Gull?.jpg\n{CORNERS}")
    wren.put("Heron_ a.corners.txt", f"photo: Birds/Heron: a.jpg\n{CORNERS}")
    wren.run()
    records = wren.records()
    assert all(records[name].work.corners_px is not None for name in ("Gull?.jpg", "Birds/Heron: a.jpg"))
    assert ahead(wren) == []
    rename(wren, "Gull?.jpg", "Tern.jpg")
    wren.run()
    assert ahead(wren) == ["Gull_.corners.txt: speaks of Tern.jpg, which was called Gull?.jpg"]


@pytest.mark.skipif(os.name == "nt", reason="names are text there")
def test_notes_beside_names_that_are_no_text_are_heard(wren: Studio) -> None:
    folder = os.fsdecode(b"\xe9t\xe9")
    wren.put(f"{folder}/{folder}.jpg", photo(1))
    wren.run()
    wren.put(f"{folder}/{folder}.txt", "price: 9")
    wren.run()
    assert [record.work.price for record in wren.records().values()] == ["9"]
    wren.put("_xe9t_xe9.corners.txt", f"photo: \\xe9t\\xe9/\\xe9t\\xe9.jpg\n{CORNERS}")
    wren.run()
    (record,) = wren.records().values()
    assert record.work.corners_px is not None
    assert ahead(wren) == []


def test_works_in_a_photo_keep_what_was_said_of_them(wren: Studio) -> None:
    wren.put("Cards.jpg", photo(7, answer="several"))
    wren.run()
    each("Cards")(wren)
    wren.put("Cards.txt", "medium: ink")
    wren.put("Cards-2.txt", "price: 40")
    wren.run()
    rename(wren, "Cards.jpg", "Post.jpg")
    wren.run()
    records = wren.records()
    assert {shown: (record.work.medium, record.work.price) for shown, record in records.items()} == {
        "Post.jpg": ("ink", ""), "Post-1.jpg": ("ink", ""), "Post-2.jpg": ("ink", "40"),
    }  # fmt: skip
    assert {record.was for record in records.values()} == {("Cards.jpg",)}
    assert ahead(wren) == [
        "Cards-2.txt: speaks of Post-2.jpg, which was called Cards-2.jpg",
        "Cards.txt: speaks of Post.jpg, which was called Cards.jpg",
    ]


def test_a_rebuilt_ledger_knows_the_earlier_names(wren: Studio) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.put("Gull.txt", "hold: yes")
    wren.run()
    for name in ("Tern", "Heron"):
        rename(wren, *(f"{one}.jpg" for one in (("Gull", "Tern") if name == "Tern" else ("Tern", "Heron"))))
        wren.run()
    assert wren.records()["Heron.jpg"].was == ("Tern.jpg", "Gull.jpg")
    for place in wren.settings.folders.records.glob("ledger*"):
        if place.is_file():
            place.unlink()
    rebuild(wren.settings)
    wren.run()
    assert wren.records()["Heron.jpg"].was == ("Tern.jpg", "Gull.jpg")
    assert wren.files() == {}


def test_a_photo_remembers_few_names_and_that_it_was_measured_anew(wren: Studio) -> None:
    wren.put("Gull 0.jpg", photo(1))
    wren.run()
    for number in range(8):
        rename(wren, f"Gull {number}.jpg", f"Gull {number + 1}.jpg")
        wren.run()
    assert wren.records()["Gull 8.jpg"].was == tuple(f"Gull {number}.jpg" for number in (7, 6, 5, 4, 3))
    wren.put("Gull 8.txt", "kind: painting")
    wren.run()
    rename(wren, "Gull 8.jpg", "Gull 5.jpg")
    wren.run()
    assert wren.records()["Gull 5.jpg"].was == tuple(f"Gull {number}.jpg" for number in (8, 7, 6, 4, 3))


def test_a_corner_note_that_names_what_can_be_no_file_is_answered(wren: Studio) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.put("Long.corners.txt", f"photo: {'long' * 99}.jpg\n{CORNERS}")
    wren.run()
    (line,) = ahead(wren)
    assert line.startswith("Long.corners.txt: speaks of no photo, because none is called long")


@pytest.mark.parametrize("full", [False, True])
@pytest.mark.parametrize("copied", [False, True])
def test_what_is_moved_to_hold_waits_for_no_worker_and_no_room(
    wren: Studio, monkeypatch: pytest.MonkeyPatch, copied: bool, full: bool
) -> None:
    """While hundreds of photos are worked on, no worker is free for long."""
    data = photo(1)
    wren.put("IMG_1.jpg", data)
    wren.run()
    assert wren.files()
    for number in range(2, 9):
        wren.put(f"IMG_{number}.jpg", photo(number) + b"\0" * number)
    wren.put("hold/IMG_1.jpg", data)
    if not copied:
        (wren.inbox / "IMG_1.jpg").unlink()
    if full:
        monkeypatch.setattr(Desk, "room", lambda *_: False)
    else:
        monkeypatch.setattr(InlinePool, "free", 0)
    engine = Engine(wren.settings, open_log(wren.settings.folders.records, None), follow=False)
    for _ in range(4):
        wren.at_once(engine)
        engine.step(0.0)
    assert wren.files() == {}
    assert wren.made()[1:] == []
    wren.cut_off(engine)


@pytest.mark.parametrize("in_time", [True, False])
def test_of_many_files_of_one_size_each_is_asked_about_once(
    wren: Studio, monkeypatch: pytest.MonkeyPatch, in_time: bool
) -> None:
    """A scanner gives all its files one size, and an archive has thousands; each message of a worker is a step."""
    asked: list[bytes] = []
    real = Arrivals.is_on_hold

    def counted(arrivals: Arrivals, path: bytes) -> bool:
        asked.append(path)
        return real(arrivals, path)

    def of_one_size(number: int) -> bytes:
        return photo(number).ljust(4000, b"\0")

    wren.put("IMG_1.jpg", of_one_size(1))
    wren.run()
    for number in range(2, 9):
        wren.put(f"IMG_{number}.jpg", of_one_size(number))
    monkeypatch.setattr(InlinePool, "free", 0)
    monkeypatch.setattr(Arrivals, "is_on_hold", counted)
    if not in_time:  # where it takes long, one at a step
        monkeypatch.setattr("autoprep.service.engine._AT_ONCE_S", -1.0)
    engine = Engine(wren.settings, open_log(wren.settings.folders.records, None), follow=False)
    for _ in range(3):
        wren.at_once(engine)
        engine.step(0.0)
    assert engine._ready.keys() == {f"IMG_{number}.jpg".encode() for number in range(2, 9)}
    assert len(asked) == 7 if in_time else 0 < len(asked) < 4
    engine._next_scan = float("inf")
    for _ in range(8):
        engine.step(0.0)
    assert sorted(asked) == sorted(engine._ready)
    wren.put("IMG_5.txt", "hold: yes")
    for _ in range(9):
        wren.at_once(engine)
        engine.step(0.0)
    assert engine.ledger.overview.states() == {"done": 1, "queued": 1}  # it was taken in, and waits
    wren.cut_off(engine)


def test_what_may_have_become_held_is_asked_about_again(wren: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    """A copy of what was just taken in, all files when the settings are others, and one that could not be taken in."""
    data, asked = photo(2).ljust(4000, b"\0"), list[bytes]()
    real = Arrivals.is_on_hold

    def noted(arrivals: Arrivals, path: bytes) -> bool:
        asked.append(path)
        return real(arrivals, path)

    monkeypatch.setattr(Arrivals, "is_on_hold", noted)
    monkeypatch.setattr(InlinePool, "free", 0)
    wren.put("Gull.jpg", data)
    for shown in ("Tern.jpg", "hold/Gull.jpg"):
        wren.put(shown, data if shown.startswith("hold") else photo(3).ljust(4000, b"\0"))
    engine = Engine(wren.settings, open_log(wren.settings.folders.records, None), follow=False)
    for _ in range(3):
        wren.at_once(engine)
        engine.step(0.0)
    held = engine._ready[b"hold/Gull.jpg"]
    engine._take_held()
    assert asked == []  # no photo is known yet
    assert engine._take(b"Gull.jpg")
    with monkeypatch.context() as patch:
        patch.setattr(Arrivals, "take", lambda *_: 1 / 0)
        engine._take_held()
    assert sorted(asked) == [b"Tern.jpg", b"hold/Gull.jpg"]
    assert b"hold/Gull.jpg" not in engine._ready  # its next try waits
    engine._ready[held.path] = held
    engine._look_through()
    engine._ready.setdefault(held.path, held)
    engine._take_held()
    assert b"hold/Gull.jpg" not in engine._ready
    assert sorted(asked) == [b"Tern.jpg", b"hold/Gull.jpg", b"hold/Gull.jpg"]
    engine._take_over(wren.settings)
    engine._take_held()
    assert asked[-1] == b"Tern.jpg"
    assert len(asked) == 4
    wren.cut_off(engine)


def test_a_wish_in_a_photo_s_new_name_leaves_its_file_s_name(wren: Studio) -> None:
    """The file is sent elsewhere under the name that it has, and there is no second one."""

    def files() -> list[str]:
        ready = wren.settings.folders.ready
        return sorted(path.relative_to(ready).as_posix() for path in ready.rglob("*") if path.is_file())

    wren.put("Blue Jug.jpg", photo(1))
    wren.run()
    assert files() == ["master/Blue Jug.tif", "square/Blue Jug.jpg"]
    for name, left in (("only for square", "square/Blue Jug.jpg"), ("only for master", "master/Blue Jug.tif")):
        was = next(wren.inbox.glob("Blue Jug*"))
        was.rename(wren.inbox / f"Blue Jug, {name}.jpg")
        wren.run()
        assert files() == [left]
