"""What the commands say is so, can be read, and can be typed as it stands."""

import errno
import shlex
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from autoprep.cli import main
from autoprep.domain import CorrectionPlan, Declined, Geometry, JobRecord, Sharpening, Tone
from autoprep.errors import DeliveryError, in_plain_words
from autoprep.ledger import Ledger
from autoprep.logs import open_log
from autoprep.service.engine import Engine
from autoprep.service.inbox import Settling, scan
from autoprep.service.lock import StudioLock
from autoprep.service.outlook import outlook
from autoprep.service.takes import why_used
from autoprep.told.done import advice
from autoprep.told.pages import Place, article
from autoprep.told.summary import warnings_of
from autoprep.wishes.notes import facts_of
from autoprep.wishes.places import ledger_path
from autoprep.wishes.settings import for_looking, load
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo
from tests.test_settings import studio as a_studio


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    return Studio(studio, monkeypatch)


def run(wren: Studio, capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    code = main([*words, "--config", str(wren.config)])
    out = capsys.readouterr()
    return code, out.out, out.err


def test_a_sheet_for_a_destination_knows_months(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.put("Reeds.jpg", photo(2))
    wren.run()
    ledger = sqlite3.connect(ledger_path(wren.settings))
    ledger.execute("UPDATE jobs SET came = '2026-03-09' WHERE shown = 'Gull.jpg'")
    ledger.commit()
    ledger.close()
    place = str(wren.inbox.parent / "sheet.pdf")
    for words in (("--for", "square"), ()):
        made = run(wren, capsys, "sheet", place, "--anyway", *words, "--month", "2026-03")
        assert made[:2] == (0, f"1 picture on 1 page: {place}\n")
        assert run(wren, capsys, "sheet", place, "--anyway", *words, "--month", "2026-02")[0] == 1
        code, _, err = run(wren, capsys, "sheet", place, "--anyway", *words, "--month", "2026-13")
        assert (code, "a month is written as 2026-11" in err) == (2, True)


def record(name: str, **measures: float) -> JobRecord:
    usual = {"work_long_side_px": 3000.0, "blur_px": 1.0, "sharpness": 0.2, "lightness": 90.0, "grain": 0.1}
    return JobRecord(job=name, photo=name, sha256="", outcome="ready", measures={**usual, **measures})


def test_the_take_that_is_used_is_the_one_that_is_praised(wren: Studio) -> None:
    assert why_used(record("one"), record("two", blur_px=2.0)) == "one is the better take: sharper"
    first, close = record("one", grain=0.2), record("two")  # better by less than counts
    assert why_used(first, close) == "one came first, and this one is not clearly better"
    third = record("three", blur_px=0.99)  # it replaced the first, and is hardly better than the second
    assert why_used(third, close).startswith("three is the better take")
    wren.put("IMG_1.jpg", photo(1, sharp=100))
    wren.put("IMG_2.jpg", photo(1, sharp=101))
    reason = wren.run()["IMG_2.jpg"].reasons[0]
    assert reason.startswith("Another take of the same work is used: IMG_1.jpg came first")


@pytest.mark.parametrize(
    "name", ["A boat, at last.jpg", "-slack.jpg", "Wren's page.jpg", "Box/$HOME.jpg", "می\u200cخواهم.jpg"]
)
def test_the_command_that_is_offered_can_be_typed(wren: Studio, capsys: pytest.CaptureFixture[str], name: str) -> None:
    wren.put("IMG_1.jpg", photo(1, sharp=9))
    wren.run()
    wren.put(name, photo(1, sharp=2))
    reason = wren.run()[name].reasons[0]
    typed = shlex.split(reason.partition("To have this one too: ")[2])
    assert typed[:2] == ["autoprep", "redo"]
    assert main(["redo", "--config", str(wren.config), *typed[2:]]) == 0
    assert "1 of 1 photo" in capsys.readouterr().out


def test_mistakes_of_the_settings_have_a_line_each(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.config.with_name("destinations.toml").write_text(
        "[square]\nlong_side_px = 'x'\n[site]\nqualty = 9\n", encoding="utf-8"
    )
    code, _, err = run(wren, capsys, "check")
    assert code == 2
    first, *rest = err.splitlines()
    assert first.startswith("autoprep: ")
    assert first.endswith("mistakes in the settings:")
    assert len(rest) >= 2
    assert all("destinations.toml, line" in line for line in rest)
    assert "\\x0a" not in err


def test_what_is_told_of_a_photo_stays_in_its_line(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = run(wren, capsys, "show", "a\nb")
    assert (code, len(err.splitlines())) == (2, 1)


def test_an_empty_file_is_spoken_of_in_the_end(wren: Studio) -> None:
    now = [0.0]
    settling = Settling(0.0, lambda: now[0])
    place = wren.put("IMG_1.jpg", b"")
    assert ahead(wren) == ["IMG_1.jpg: holds nothing yet; it is left alone until it does"]
    found = scan(wren.inbox)
    for now[0] in (0.0, 599.0):
        assert settling.look(found, {}) == []
    now[0] = 600.0
    assert settling.look(found, {}) == found
    wren.put("IMG_2.jpg", photo(2))
    wren.run()
    engine = Engine(wren.settings, open_log(wren.settings.folders.records, None), follow=True)
    engine._arrivals.take(found[0])
    wren.cut_off(engine)
    record = wren.records()["IMG_1.jpg"]
    assert (record.outcome, record.reasons) == ("set aside", ("the file holds nothing; copy it again",))
    wren.run()
    assert ahead(wren) == []
    place.write_bytes(photo(1))
    assert wren.run()["IMG_1.jpg"].outcome == "ready"


def ahead(wren: Studio) -> list[str]:
    return list(outlook(wren.settings))


def test_show_says_what_jobs_says_and_says_it_once(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.put("Gull.txt", "for: nowhere\ntitel: Gull")
    wren.run()
    out = run(wren, capsys, "show", "Gull.jpg")[1]
    assert "  held back, ink" in out
    assert "held back" in run(wren, capsys, "jobs")[1]
    assert out.count("no destination is called nowhere") == 1
    assert "about your words: the note Gull.txt: “titel” was read as “title”" in out
    page = article(Place(wren.settings.studio, wren.settings.folders.records / "proof"), wren.records()["Gull.jpg"])
    assert page.count("<li>no destination is called nowhere") == 0
    assert page.count("no destination is called nowhere") == 2  # of each destination, and not once more
    wren.put("Gull.txt", "title: Gull")
    wren.run()
    assert "  ready, ink" in run(wren, capsys, "show", "Gull.jpg")[1]


def test_a_title_in_a_note_contradicts_no_file_name(tmp_path: Path) -> None:
    (tmp_path / "Gull.txt").write_text("title: A Gull at Rest\n", encoding="utf-8")
    assert facts_of(tmp_path, "Gull.jpg")[1] == ()
    (tmp_path / "Gull, 2025, ink.txt").write_text("title: A Gull\nyear: 2026\n", encoding="utf-8")
    assert [line.partition(" on ")[2] for line in facts_of(tmp_path, "Gull, 2025, ink.jpg")[1]] == [
        "the title; the note holds", "the year; the note holds",
    ]  # fmt: skip


def test_a_file_beside_the_artist_s_own_says_why_it_is_called_so(wren: Studio) -> None:
    own = wren.settings.folders.ready / "square" / "Gull.jpg"
    own.parent.mkdir(parents=True, exist_ok=True)
    own.write_bytes(b"mine")
    wren.put("Gull.jpg", photo(1))
    wren.put("Tern-2.jpg", photo(2))
    wren.run()
    (output,) = (out for out in wren.records()["Gull.jpg"].outputs if out.destination == "square")
    assert output.path == "ready/square/Gull-2.jpg"
    assert output.notes[-1].startswith("Gull.jpg was there already")
    assert not any("was there already" in note for out in wren.records()["Tern-2.jpg"].outputs for note in out.notes)
    assert own.read_bytes() == b"mine"


def test_a_folder_without_a_name_is_no_studio(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(SystemExit):
        main(["init", ""])
    assert list(tmp_path.iterdir()) == []
    assert "the folder has no name" in capsys.readouterr().err
    with pytest.raises(SystemExit):
        main(["say"])
    assert capsys.readouterr().err.rstrip().endswith("required: PHOTO")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device of Linux")
@pytest.mark.parametrize("target", ["> /dev/full", ">&-"])
def test_what_can_not_be_said_ends_without_a_traceback(wren: Studio, target: str) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.run()
    line = f"{shlex.quote(sys.executable)} -m autoprep works --config {shlex.quote(str(wren.config))} {target}"
    done = subprocess.run(["sh", "-c", line], capture_output=True, text=True, check=False)
    assert "Traceback" not in done.stderr
    assert "Exception" not in done.stderr
    assert done.returncode == (1 if "full" in target else 0)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device of Linux")
@pytest.mark.parametrize(
    ("typed", "code", "told"),
    [("--help > /dev/full", 1, "could not be written"), ("say --help > /dev/full", 1, "could not be written"),
    ("--version > /dev/full", 1, "could not be written"),
    ("--help >&-", 0, "commands:"), ("--odd 2> /dev/full", 2, "")],
)  # fmt: skip
def test_a_help_that_can_not_be_said_is_an_error(typed: str, code: int, told: str) -> None:
    line = f"{shlex.quote(sys.executable)} -m autoprep {typed}"
    done = subprocess.run(["sh", "-c", line], capture_output=True, text=True, check=False)
    assert (done.returncode, "Traceback" in done.stderr) == (code, False)
    assert told in done.stderr


@pytest.mark.parametrize(
    ("problem", "told"),
    [
        (PermissionError(errno.EACCES, "Permission denied", "/studio/records/log.jsonl"),
        "/studio/records/log.jsonl can't be opened or written to (Permission denied); see that"),
        (sqlite3.OperationalError("attempt to write a readonly database"), "the ledger can't be written to; see that"),
    ],
)  # fmt: skip
def test_records_that_may_not_be_written_are_told_and_end_no_command_with_a_traceback(
    wren: Studio, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, problem: Exception, told: str
) -> None:
    def closed(*_: object) -> None:
        raise problem

    monkeypatch.setattr("autoprep.cli.work.open_log", closed)
    assert main(["watch", "--config", str(wren.config)]) == 1
    assert capsys.readouterr().err.startswith(f"autoprep: {told}")
    assert in_plain_words(problem).startswith(told)


def test_settings_are_answered_by_name(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    text = wren.config.read_text(encoding="utf-8")
    wren.config.write_text(f'[folders]\ninbox = ""\n{text.replace("[folders]", "")}', encoding="utf-8")
    assert "folders.inbox is empty" in run(wren, capsys, "check")[2]
    wren.config.write_text(text, encoding="utf-8")
    tables = wren.config.with_name("destinations.toml")
    before = tables.read_text(encoding="utf-8")
    tables.write_text("[Site]\nlong_side_px = 90\n[site]\nlong_side_px = 90\n", encoding="utf-8")
    assert "Site and site differ only in capitals" in run(wren, capsys, "check")[2]
    tables.write_text(before, encoding="utf-8")


@pytest.mark.parametrize(
    ("email", "website", "told"),
    [
        ("wren@saltmere.example", "saltmere.example/wren", []),
        ("wren", "my site", ["email", "website"]),
        ("wren@saltmere.example", "nonsense zz", ["website"]),
        ("", "https://a.example", []),
        ("", "", []),
    ],
)
def test_addresses_that_can_be_none_are_told(tmp_path: Path, email: str, website: str, told: list[str]) -> None:
    settings = load(a_studio(tmp_path, f"[artist]\nemail = '{email}'\nwebsite = '{website}'\n"))
    said = [note for note in warnings_of(settings) if "goes into every file" in note]
    assert [note.split()[0] for note in said] == [f"artist.{key}" for key in told]


def test_a_hold_that_is_not_understood_says_that_it_holds(tmp_path: Path) -> None:
    (tmp_path / "Gull.txt").write_text("hold: maybe\n", encoding="utf-8")
    facts, (warning,) = facts_of(tmp_path, "Gull.jpg")
    assert facts.hold
    assert warning.endswith("; the work is held until it is")


def test_a_busy_ledger_is_told_in_words(
    wren: Studio, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.run()

    def busy(*_: object) -> None:
        raise sqlite3.OperationalError("database is locked")

    monkeypatch.setattr("autoprep.ledger.connection.Connection._version", busy)
    code, out, err = run(wren, capsys, "jobs")
    assert (code, out) == (1, "")
    assert "database is locked" in err
    assert "try it again" in err


@pytest.mark.parametrize(
    ("photo_px", "work", "near"),
    [
        ((4000, 1800), (10, 10, 1790, 1790), True),  # square, in a photo that is much wider than high
        ((1800, 4000), (10, 10, 1790, 1790), True),
        ((4000, 3000), (0, 0, 1900, 1400), False),
        ((4000, 3000), (100, 100, 1400, 2000), True),
    ],
)
def test_come_nearer_is_said_where_there_is_room_to(
    photo_px: tuple[int, int], work: tuple[int, int, int, int], near: bool
) -> None:
    left, top, right, bottom = work
    corners = ((left, top), (right, top), (right, bottom), (left, bottom))
    plan = CorrectionPlan(
        geometry=Geometry(photo_px=photo_px, corners_px=corners, ratio=1.0, ratio_from="corners"), kind="ink",
        paper="none", light=Declined(reason="-"), neutral=Declined(reason="-"), tone=Tone(gain=1.0),
        sharpening=Sharpening(),
    )  # fmt: skip
    measures = {"blur_px": 1.0, "oblique_degrees": 2.0, "clipped_percent": 0.0}
    measures["work_long_side_px"] = float(max(right - left, bottom - top))
    assert any("Come nearer" in line for line in advice(plan, measures)) != near


def test_check_tells_of_files_that_other_settings_made(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    """A misspelt name stays in the files that were made with it: settings hold for the next photo."""
    wren.put("Gull.jpg", photo(1))
    wren.run()
    assert "made before the name" not in run(wren, capsys, "check")[1]
    assert "made before the name" not in run(wren, capsys, "check", "--ahead")[1]
    settings = wren.settings.config_file
    mine = 'name = "Wren Hallöway"\nwebsite = "wren-halloway.example"\n'
    settings.write_text(settings.read_text().replace('name = "Wren Halloway"\n', mine))
    for command in (("check",), ("check", "--ahead")):
        out = run(wren, capsys, *command)[1]
        assert "Note: square: 1 file in its folder was made before the name" in out
        assert "autoprep redo --destination square` makes it by those of today" in out
    assert "artist.website has no https:// before it" in run(wren, capsys, "check")[1]
    run(wren, capsys, "redo", "--destination", "square")
    assert "square: 1 file" not in run(wren, capsys, "check", "--ahead")[1]
    wren.put("Gull.txt", "hold: yes")
    wren.run()
    assert "made before the name" not in run(wren, capsys, "check")[1]  # what is withdrawn lies in no folder


def test_what_lies_in_the_inbox_and_is_not_read_yet_is_counted(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    """Photos are read one by one: of hundreds that were dropped at once nearly none was said to wait."""
    for number in range(3):
        wren.put(f"June/Gull {number}.jpg", photo(number))
    wren.put("empty.jpg", b"")
    assert "In the inbox, not read yet: 3 photos" in run(wren, capsys, "status")[1]
    wren.run()
    assert "not read yet" not in run(wren, capsys, "status")[1]
    wren.put("Tern.jpg", photo(7))
    assert "In the inbox, not read yet: 1 photo" in run(wren, capsys, "status")[1].splitlines()
    assert '"not_begun": 1' in run(wren, capsys, "status", "--json")[1]


@pytest.mark.parametrize(
    ("problem", "told"),
    [
        (OSError(errno.ENOSPC, "No space left", "/a"), "there is no free space on the disk, so /a can't be written"),
        (OSError(errno.EDQUOT, "Quota exceeded"), "there is no free space on the disk"),
        (OSError(errno.EIO, "Input/output error", b"/a\xff"), "/a\\xff: Input/output error"),
        (OSError(errno.EIO, "Input/output error"), "Input/output error"),
        (OSError("no words of the system"), "no words of the system"),
        (DeliveryError("the artist is told so"), "the artist is told so"),
        (sqlite3.OperationalError("database is locked"), "database is locked"),
        (KeyError("Gull"), "Autoprep itself made a mistake (KeyError); the log tells where"),
    ],
    ids=lambda value: str(value)[:20],
)  # fmt: skip
def test_what_goes_wrong_is_told_without_numbers_or_a_programs_own_words(problem: Exception, told: str) -> None:
    assert in_plain_words(problem) == told


def test_a_full_disk_ends_a_command_in_plain_words(
    wren: Studio, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device", "log.jsonl")

    monkeypatch.setattr("autoprep.cli.work.open_log", full)
    assert main(["once", "--config", str(wren.config)]) == 1
    assert capsys.readouterr().err == "autoprep: there is no free space on the disk, so log.jsonl can't be written\n"


@pytest.mark.parametrize(
    "slip", ["[mark]\nsize_percnt = 2\n", "[rights]\nnotice = Wren\n", "[inbox]\nholds = “works”\n"]
)
def test_status_tells_how_things_stand_and_which_mistakes_the_settings_have(
    wren: Studio, capsys: pytest.CaptureFixture[str], slip: str
) -> None:
    """Who mends the settings of a running service was told nothing of what it does meanwhile."""
    wren.put("Gull.jpg", photo(1, answer="ask"))
    wren.run()
    for folders in ("", '[folders] # mine\ninbox = "inbox"\n'):
        before = wren.config.read_text(encoding="utf-8")
        wren.config.write_text(before + folders + slip, encoding="utf-8")
        code, told, mistakes = run(wren, capsys, "status")
        assert (code, "Questions for you: 1" in told) == (2, True)
        assert "autoprep.toml" in mistakes
        wren.config.write_text(before, encoding="utf-8")
    wren.config.write_text(before + '[folders]\ninbox = ""\n', encoding="utf-8")
    code, told, mistakes = run(wren, capsys, "status")
    assert (code, told, "folders.inbox is empty" in mistakes) == (2, "", True)


@pytest.mark.parametrize(
    "command",
    [
        ("jobs",), ("jobs", "--json"), ("show", "Gull.jpg"), ("show", "Gull.jpg", "--json"), ("works",),
        ("works", "--csv"), ("works", "--json"),
    ],
)  # fmt: skip
def test_what_was_made_is_told_in_spite_of_mistakes_in_the_settings(
    wren: Studio, capsys: pytest.CaptureFixture[str], command: tuple[str, ...]
) -> None:
    nothing = run(wren, capsys, "jobs")
    wren.put("Gull.jpg", photo(1))
    wren.run()
    code, before, _ = run(wren, capsys, *command)
    assert (code, "Gull" in before, before == nothing[1]) == (0, True, False)
    wren.config.write_text(wren.config.read_text(encoding="utf-8") + "[mark]\nsize_percnt = 2\n", encoding="utf-8")
    code, told, mistakes = run(wren, capsys, *command)
    assert (code, told, "size_percnt" in mistakes) == (2, before, True)


def test_status_knows_the_destinations_that_have_no_mistake(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.run()
    table = wren.config.with_name("destinations.toml")
    table.write_text(table.read_text(encoding="utf-8") + "[site]\nlong_side = 3\n", encoding="utf-8")
    code, told, mistakes = run(wren, capsys, "status")
    assert (code, "Finished: 1 photo" in told, "long_side" in mistakes) == (2, True, True)
    found = for_looking(wren.config)
    assert found is not None
    assert [*found.destinations] == ["square", "master"]


def spoil(wren: Studio) -> None:
    wren.config.write_text(wren.config.read_text(encoding="utf-8") + "[mark]\nsize_percnt = 2\n", encoding="utf-8")


def test_a_call_by_a_table_with_a_mistake_is_told_by_that(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.run()
    table = wren.config.with_name("destinations.toml")
    table.write_text(table.read_text(encoding="utf-8").replace("[square]", "[square]\nlong_side = 3"), encoding="utf-8")
    code, told, mistakes = run(wren, capsys, "works", "--for", "square")
    assert (code, told, "long_side" in mistakes, "no destination" in mistakes) == (2, "", True, False)
    code, told, mistakes = run(wren, capsys, "works", "--for", "master")
    assert (code, "master: 1 picture would go now" in told, "long_side" in mistakes) == (2, True, True)


def test_a_hold_is_heard_in_spite_of_mistakes_in_the_settings(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.run()
    right = wren.config.read_text(encoding="utf-8")
    table = wren.config.with_name("destinations.toml")
    tables = table.read_text(encoding="utf-8")
    spoil(wren)
    table.write_text(tables.replace("[square]", "[square]\nlong_side = 3"), encoding="utf-8")
    code, told, mistakes = run(wren, capsys, "say", "Gull.jpg", "hold", "not for: square")
    assert (code, "size_percnt" in mistakes, "no destination is called" in told) == (2, True, False)
    assert "said here is now: hold; not for: square" in told
    assert "A service that runs goes on with the settings of before these mistakes" in told
    wren.config.write_text(right, encoding="utf-8")
    table.write_text(tables, encoding="utf-8")
    wren.run()
    assert wren.files() == {}


def test_a_redo_is_noted_for_the_service_alone_where_the_settings_have_mistakes(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.run()
    right = wren.config.read_text(encoding="utf-8")
    records = wren.settings.folders.records
    spoil(wren)
    code, told, mistakes = run(wren, capsys, "redo", "Gull.jpg")
    assert (code, told, "size_percnt" in mistakes) == (2, "", True)
    assert "Nothing was asked for: no service runs" in mistakes
    lock = StudioLock(records)
    code, told, mistakes = run(wren, capsys, "redo", "Gull.jpg")
    assert (code, "size_percnt" in mistakes) == (2, True)
    assert told.startswith("1 photo is noted; the service that is running will render it again. It goes on with")
    table = wren.config.with_name("destinations.toml")
    tables = table.read_text(encoding="utf-8")
    table.write_text(tables.replace("[square]", "[square]\nlong_side = 3"), encoding="utf-8")
    assert "not all tables in destinations.toml are known" in run(wren, capsys, "redo", "Gull.jpg")[2]
    lock.close()
    wren.config.write_text(right, encoding="utf-8")
    table.write_text(tables, encoding="utf-8")
    ledger = Ledger(ledger_path(wren.settings))
    assert ledger.redos().keys() == {job.job for job in ledger.jobs()}
    ledger.close()
