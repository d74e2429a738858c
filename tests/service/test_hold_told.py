"""What holds a work, and what does not, is said as it is."""

import json
import shutil
import sqlite3

import pytest

from autoprep.cli import main
from autoprep.service.rebuild import rebuild
from autoprep.told.explanations import HOLD
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    return Studio(studio, monkeypatch)


def logged(wren: Studio, event: str) -> list[dict[str, str]]:
    text = (wren.settings.folders.records / "log.jsonl").read_text(encoding="utf-8")
    return [line for line in map(json.loads, text.splitlines()) if line["event"] == event]


def test_a_copy_on_hold_holds_the_work(wren: Studio) -> None:
    """On a phone "copy to" is as near as "move to"."""
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    before = wren.files()
    wren.put("hold/Reeds.jpg", photo(1))
    records = wren.run()
    assert records["hold/Reeds.jpg"].outcome == "duplicate"
    assert records["hold/Reeds.jpg"].reasons[0] == (
        "the same photo as Reeds.jpg; nothing was made twice. By where this copy lies it is on hold"
    )
    (line,) = [line for line in logged(wren, "finished") if line["outcome"] == "duplicate"]
    assert "on hold" in line["reason"]
    assert not wren.files()
    (wren.inbox / "hold/Reeds.jpg").unlink()
    wren.run()
    assert wren.files() == before
    wren.put("Reeds.txt", "hold: no")
    wren.put("hold/Reeds.jpg", photo(1))
    wren.run()
    assert wren.files() == before


def begun_anew(wren: Studio, way: str) -> None:
    """All files of the inbox are read again, one after the other."""
    if way == "rebuilt":
        rebuild(wren.settings, sound_too=True)
        return
    old = wren.inbox.rename(wren.inbox.with_name(f"old {len(list(wren.inbox.parent.iterdir()))}"))
    shutil.copytree(old, wren.inbox)


@pytest.mark.parametrize("way", ["rebuilt", "another disk"])
@pytest.mark.parametrize("where", ["Reeds.jpg", "A/Reeds.jpg", "Z/Reeds.jpg"])
def test_what_a_copy_holds_is_not_brought_back_while_that_copy_is_not_read_yet(
    wren: Studio, where: str, way: str
) -> None:
    wren.put(where, photo(1))
    wren.put("Rocks.jpg", photo(2))
    wren.run()
    wren.put("hold/Reeds.jpg", photo(1))
    wren.run()
    before = wren.files()
    assert not any("Reeds" in name for name in before)
    begun_anew(wren, way)
    wren.run()
    assert wren.files() == before
    assert logged(wren, "brought back") == []
    assert len(logged(wren, "withdrawn")) == 1
    begun_anew(wren, way)
    (wren.inbox / "hold/Reeds.jpg").unlink()
    wren.run()
    assert any("Reeds" in name for name in wren.files())


@pytest.mark.parametrize("way", ["rebuilt", "another disk"])
def test_nor_what_a_copy_keeps_from_a_destination(wren: Studio, way: str) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    wren.put("not for square/Reeds.jpg", photo(1))
    wren.run()
    before = wren.files()
    assert {*before} == {"master/Reeds.tif"}
    begun_anew(wren, way)
    wren.run()
    assert wren.files() == before
    assert logged(wren, "brought back") == []


def test_an_unread_file_on_hold_that_turns_out_another_photo_holds_nothing_up(
    wren: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.put("Reeds.txt", "hold: yes")
    wren.run()
    assert not wren.files()
    (wren.inbox / "Reeds.txt").unlink()
    wren.put("hold/Rocks.jpg", photo(2))
    assert (wren.inbox / "hold/Rocks.jpg").stat().st_size == (wren.inbox / "Reeds.jpg").stat().st_size
    wren.run()
    assert {*wren.files()} == {"square/Reeds.jpg", "master/Reeds.tif"}


def test_a_copy_that_is_sent_somewhere_sends_the_work_there_besides(wren: Studio) -> None:
    place = wren.config.with_name("destinations.toml")
    more = "".join(f'\n[{name}]\nlong_side_px = 900\nwhen = "asked"\n' for name in ("submission", "print"))
    place.write_text(place.read_text(encoding="utf-8") + more, encoding="utf-8")
    wren.put("Reeds.jpg", photo(1))
    usual = {out.destination for out in wren.run()["Reeds.jpg"].outputs}
    wren.put("also for submission/Reeds.jpg", photo(1))
    wren.put("for print/Reeds.jpg", photo(1))
    wren.put("for squaer/Reeds.jpg", photo(1))
    records = wren.run()
    assert {out.destination for out in records["Reeds.jpg"].outputs} == {*usual, "submission", "print"}
    assert "goes to print besides" in records["for print/Reeds.jpg"].reasons[0]
    (unclear,) = records["Reeds.jpg"].work.unclear  # the work itself is not held by that
    assert "squaer" in unclear
    assert "said beside for squaer/Reeds.jpg" in unclear
    for name in ("also for submission", "for print", "for squaer"):
        (wren.inbox / name / "Reeds.jpg").unlink()
    record = wren.run()["Reeds.jpg"]
    assert ({out.destination for out in record.outputs}, record.work.unclear) == (usual, ())


@pytest.mark.parametrize("hold", ["", "hold: yes\n"])
def test_a_photo_that_is_renamed_beside_its_copy_keeps_its_work(
    wren: Studio, hold: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.put("Reeds.txt", f"{hold}price: 240")
    wren.run()
    wren.put("Backup/IMG_1.jpg", photo(1))
    wren.run()
    if hold:  # not even for a moment
        monkeypatch.setattr("autoprep.service.hands.publish", None)
    for ending in (".jpg", ".txt"):
        (wren.inbox / f"Reeds{ending}").rename(wren.inbox / f"Grain study, 2021{ending}")
    records = wren.run()
    record = records["Grain study, 2021.jpg"]
    assert (record.outcome, record.work.title, record.work.year) == ("ready", "Grain study", "2021")
    assert records["Backup/IMG_1.jpg"].outcome == "duplicate"
    assert all("Grain study" in name for name in wren.files())
    assert bool(wren.files()) != bool(hold)


def test_the_words_of_a_copy_are_told_where_the_work_lacks_them(wren: Studio) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.run()
    wren.put("IMG_1 (conflicted copy).jpg", photo(1))
    wren.put("Backup/IMG_1.jpg", photo(1))
    assert wren.run()["IMG_1.jpg"].work.unclear == ()
    wren.put("IMG_1 (conflicted copy).txt", "title: Oystercatcher\nprice: 75 EUR")
    wren.put("Tidy/Little Ferrant - 3 May 2026.jpg", photo(1))
    work = wren.run()["IMG_1.jpg"].work
    note, name = work.unclear
    assert "its words are not heard" in note
    assert "title “Oystercatcher”, price “75 EUR” (said beside IMG_1 (conflicted copy).jpg)" in note
    assert "title “Little Ferrant”, year “2026” (said beside Tidy/Little Ferrant" in name
    assert (work.title, work.price) == ("", "")
    wren.put("IMG_1.txt", "title: Oystercatcher\nprice: 75 EUR\nyear: 2026")
    (name,) = wren.run()["IMG_1.jpg"].work.unclear
    assert "title “Little Ferrant” (said" in name


def test_where_both_or_none_are_on_hold_nothing_changes(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    before = wren.files()
    wren.put("more/Reeds.jpg", photo(1))
    assert "hold" not in wren.run()["more/Reeds.jpg"].reasons[0]
    assert wren.files() == before


def test_the_log_says_why_a_work_is_withdrawn(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.put("Gull.jpg", photo(9))
    wren.run()
    wren.put("Reeds.txt", "for: everything")
    wren.put("Gull.txt", "hold: yes")
    wren.run()
    reasons = {line["photo"]: line["reason"] for line in logged(wren, "withdrawn")}
    assert reasons["Reeds.jpg"].startswith("no destination is called everything")
    assert reasons["Gull.jpg"] == HOLD


@pytest.mark.parametrize("word", ["hold: yes", "for: print"])
def test_a_picture_that_you_changed_is_not_taken_back_and_that_is_told_until_it_is_gone(
    wren: Studio, capsys: pytest.CaptureFixture[str], word: str
) -> None:
    def said(*command: str) -> tuple[int, str]:
        capsys.readouterr()
        return main([*command, "--config", str(wren.config)]), capsys.readouterr().out

    table = "long_side_px = 900\nmark = false\n"
    wren.config.with_name("destinations.toml").write_text(f"[site]\n{table}[print]\n{table}", encoding="utf-8")
    wren.put("Gull.jpg", photo(1))
    wren.put("Tern.jpg", photo(2))
    wren.run()
    changed = wren.settings.folders.ready / "site" / "Gull.jpg"
    changed.write_bytes(b"retouched")
    wren.put("Gull.txt", f"{word}\n")
    wren.put("Tern.txt", f"{word}\n")
    record = wren.run()["Gull.jpg"]
    assert record.held["site"].endswith("so it was left where it lies; take it out yourself")
    assert changed.read_bytes() == b"retouched"
    code, told = said("status")
    assert code == 1
    assert "held, or not sent there: 1 (site/Gull.jpg); take them out yourself" in told
    if word == "hold: yes":
        assert "on hold, as you said; but in site lies one that you changed: take it out yourself" in said("works")[1]
    changed.unlink()
    assert said("status")[0] == 0
    assert "lies one" not in said("works")[1]
    changed.write_bytes(b"retouched")
    wren.put("Gull.txt", "")
    wren.run()
    assert said("status")[0] == 0  # it is wanted there again


def test_status_names_what_waits_for_a_better_photo_or_a_word(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    place = wren.config.with_name("destinations.toml")
    jury = "\n[jury]\nlong_side_px = 900\nrights = 'none'\ntitle = true\n"
    place.write_text(place.read_text(encoding="utf-8") + jury, encoding="utf-8")
    for number, name in enumerate(("Self, Wren Halloway.jpg", "Gull.jpg", "hold/Boat by Wren Halloway.jpg")):
        wren.put(name, photo(number + 1))
    wren.run()
    line = "waits for a better photo or a word of yours: 1 (Self, Wren Halloway.jpg); `autoprep show PHOTO` says for"
    for why in ("names the artist", "glare", "too few pixels", "size not known", "another take"):
        ledger = sqlite3.connect(ledger_path(wren.settings))
        ledger.execute("UPDATE renditions SET why = ? WHERE why <> 'on hold'", (why,))
        ledger.commit()
        ledger.close()
        assert main(["status", "--config", str(wren.config)]) == 0  # it waits, and nothing is wrong
        assert (line in capsys.readouterr().out) == (why != "another take")


def test_a_note_whose_hold_nobody_hears_is_told(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    """A sync tool had renamed it, and the work was given out without a word."""
    wren.put("J/b.jpg", photo(1))
    wren.put("J/a.jpg", photo(2))
    for name, note in (
        ("J/note (1).txt", "hold: yes"), ("Kelp.md", "keep this private"), ("J/diary.txt", "A fine day"),
        ("J/b.txt", "hold: yes"), ("J/A.jpg.txt", "hold: yes"), ("note.txt", "hold: yes"), ("J/.x.txt", "hold"),
    ):  # fmt: skip
        wren.put(name, note)

    def told() -> list[str]:
        capsys.readouterr()
        main(["status", "--config", str(wren.config)])
        return [line for line in capsys.readouterr().out.splitlines() if line.startswith("Notes that ask to hold")]

    words = "Notes that ask to hold, and are called like no photo beside them"
    both = [f"{words}: 2 (Kelp.md, J/note (1).txt); one for a whole folder is called note.txt"]
    assert told() == both  # before anything came in
    wren.run()
    assert told() == both
    (wren.inbox / "J" / "b.jpg").rename(wren.inbox / "c.jpg")
    (wren.inbox / "J" / "a.jpg").unlink()
    wren.run()
    (wren.inbox / "Kelp.md").unlink()
    assert told() == [f"{words}: 1 (J/note (1).txt); one for a whole folder is called note.txt"]
    (wren.inbox / "J" / "note (1).txt").unlink()
    marks = r"{\rtf1\ansi\deff0 {\fonttbl {\f0 Courier;}} \f0\fs24 "
    wren.put("Kelp.rtf", marks + r"\b title:\b0  Kelp\par \i please\i0  \b hold\b0\par}")
    wren.put("letter.rtf", marks + r"Dear Ida, the boats are in.\par Yours\par}")
    wren.put("Wrack.rtf", marks + r"\par hold: no\par}")
    assert told() == [f"{words}: 1 (Kelp.rtf); one for a whole folder is called note.txt"]
