"""The commands as a person types them."""

import json
import shlex
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from autoprep import cli
from autoprep.domain import JobRecord, OutputRecord
from autoprep.errors import DeliveryError
from autoprep.ledger import Ledger
from autoprep.service.lock import StudioLock
from autoprep.told.pages import Front, Place, index_html
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests import photos
from tests.service.engines import run_once
from tests.service.pretend import Studio, photo


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    code = cli.main(list(arguments))
    out = capsys.readouterr()
    return code, out.out, out.err


def test_init_lays_out_a_studio_and_overwrites_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "My Studio"
    code, out, _ = run(capsys, "init", str(folder))
    assert code == 0
    assert "inbox" in out
    assert shlex.split(out.splitlines()[-1])[-4:] == ["autoprep", "watch", "--config", str(folder)]
    for name in ("inbox", "needs-a-look", "records", "ready/square", "ready/print-a4", "config/autoprep.toml"):
        assert (folder / name).exists(), name
    config = folder / "config" / "autoprep.toml"
    config.write_text(
        config.read_text(encoding="utf-8").replace('name = ""', 'name = "Wren Halloway"', 1), encoding="utf-8"
    )
    assert run(capsys, "init", str(folder))[0] == 0
    assert "Wren Halloway" in config.read_text(encoding="utf-8")
    code, out, _ = run(capsys, "check", "--config", str(folder))
    assert code == 0
    assert "Wren Halloway" in out
    assert "210 x 297 mm + 3 mm bleed at 300 ppi" in out


def test_no_studio_is_made_in_what_another_one_works_on(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Its pictures would be photos there. Beside the other's folders it may lie, and where that one can't be read."""
    studio = tmp_path / "Studio"
    assert run(capsys, "init", str(studio))[0] == 0
    for place in ("inbox/June", "ready", "needs-a-look/second", "records/second"):
        before = set(studio.rglob("*"))
        code, _, err = run(capsys, "init", str(studio / place))
        assert code == 2
        assert "a studio does not belong into the folder" in err
        assert set(studio.rglob("*")) == before
    assert run(capsys, "init", str(studio / "second"))[0] == 0
    (studio / "config" / "autoprep.toml").write_text("[[[", encoding="utf-8")
    assert run(capsys, "init", str(studio / "inbox" / "June"))[0] == 0


def test_check_names_file_line_and_nearest_key(studio: Settings, capsys: pytest.CaptureFixture[str]) -> None:
    place = studio.studio / "config" / "destinations.toml"
    place.write_text("[square]\nlong_side_px = 900\nqualty = 90\n", encoding="utf-8")
    code, _, err = run(capsys, "check", "--config", str(studio.studio))
    assert code == 2
    assert "destinations.toml, line 3" in err
    assert "`quality`" in err


@pytest.mark.slow
def test_once_jobs_show_and_redo(studio: Settings, capsys: pytest.CaptureFixture[str]) -> None:
    at = ("--config", str(studio.studio))
    (studio.folders.inbox / "as ink").mkdir()
    (studio.folders.inbox / "as ink" / "Blue Jug.jpg").write_bytes(photos.jpeg())
    (studio.folders.inbox / "copy.jpg").write_bytes(photos.jpeg())
    (studio.folders.inbox / "cut.jpg").write_bytes(photos.jpeg()[:20_000])
    code, out, _ = run(capsys, "once", *at)
    assert code == 1  # something was set aside
    assert "1 ready" in out
    assert "1 duplicate" in out
    assert "ends before the picture does" in out
    code, out, _ = run(capsys, "jobs", "--json", *at)
    records = [JobRecord.model_validate(item) for item in json.loads(out)]
    assert sorted(record.outcome for record in records) == ["duplicate", "ready", "set aside"]
    ready = next(record for record in records if record.outcome == "ready")
    assert ready.kind == "ink"
    code, out, _ = run(capsys, "show", "Blue Jug", *at)
    assert code == 0
    assert "Straightened" in out

    square = studio.folders.ready / "square" / "Blue Jug.jpg"
    was = square.read_bytes()
    config = studio.studio / "config" / "destinations.toml"
    text = config.read_text(encoding="utf-8").replace("400", "300") + "\n[card]\nlong_side_px = 200\n"
    config.write_text(text, encoding="utf-8")
    code, out, _ = run(capsys, "redo", *at, "--destination", "square")
    assert code == 0
    assert square.read_bytes() != was
    code, out, _ = run(capsys, "redo", "Blue Jug", *at, "--json")
    again = JobRecord.model_validate(json.loads(out)[0])
    assert [o.destination for o in again.outputs] == ["square", "master", "card"]
    assert (studio.folders.ready / "card" / "Blue Jug.jpg").exists()
    assert again.plan == ready.plan
    assert again.seconds["measure"] == ready.seconds["measure"]  # measured once
    page = (studio.folders.records / "proof" / "index.html").read_text(encoding="utf-8")
    assert "as ink/Blue Jug.jpg" in page
    assert (studio.folders.records / "proof" / ready.job / "record.json").exists()


def test_questions_to_what_is_not_there(studio: Settings, capsys: pytest.CaptureFixture[str]) -> None:
    at = ("--config", str(studio.studio))
    assert run(capsys, "show", "nothing", *at)[0] == 2
    assert run(capsys, "redo", *at)[0] == 2
    code, _, err = run(capsys, "redo", *at, "--destination", "squire")
    assert code == 2
    assert "there are square, master" in err
    assert run(capsys, "check", "--config", "/nowhere")[0] == 2


@pytest.mark.slow
def test_demo_on_two_small_photos(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    photos_folder = tmp_path / "photos"
    photos_folder.mkdir()
    (photos_folder / "IMG_1.jpg").write_bytes(photos.jpeg(seed=1))
    (photos_folder / "IMG_2.jpg").write_bytes(photos.jpeg(seed=2))
    code, out, _ = run(capsys, "demo", "--dir", str(tmp_path / "demo"), "--photos", str(photos_folder))
    assert code == 0
    assert "2 ready" in out
    assert "index.html" in out
    for name in ("square", "banner", "site", "master"):
        assert len(list((tmp_path / "demo" / "ready" / name).iterdir())) == 2
    assert "print-a4 not given out: the photo holds the work with" in out  # too small for a sheet of paper
    shutil.rmtree(tmp_path / "demo")


def test_the_proof_page_escapes_everything_and_needs_no_network(tmp_path: Path) -> None:
    bad = '<script>alert(1)</script>" onerror="x'
    out = OutputRecord(destination=bad, path="ready/" + bad, width_px=1, height_px=1, bytes=1, sha256="x", notes=(bad,))
    record = JobRecord(
        job="00001-x",
        photo=bad,
        sha256="x",
        outcome="ready",
        reasons=(bad,),
        outputs=(out,),
        pages={"before": "a", "after": "b"},
    )
    page = index_html(bad, Place(tmp_path, tmp_path / "records" / "proof"), Front(latest=[record]))
    assert page.count("<script>") == 1
    assert 'onerror="x' not in page
    assert "http" not in page.replace("http-equiv", "")
    assert "Content-Security-Policy" in page


def test_help_reads_well(capsys: pytest.CaptureFixture[str]) -> None:
    for command in ([], ["watch"], ["redo"]):
        with pytest.raises(SystemExit) as stopped:
            cli.main([*command, "--help"])
        assert stopped.value.code == 0
        assert "exit codes" in " ".join(capsys.readouterr().out.split())


def test_a_photo_whose_turn_has_not_come_is_not_called_unknown(
    studio: Settings, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    wren, config = Studio(studio, monkeypatch), str(studio.config_file)
    place = wren.put("June/Gull.jpg", photo(1))
    for first in (True, False):
        for name in ("June/Gull.jpg", str(place)):
            code, _, err = run(capsys, "say", name, "hold", "--config", config)
            assert (code, "lies in the inbox and is not read yet" in err, "a note beside it" in err) == (2, True, True)
        code, _, err = run(capsys, "say", "../config/autoprep.toml", "hold", "--config", config)
        assert (code, "lies in the inbox" in err) == (2, False)
        if first:
            place.unlink()
            wren.run()
            wren.put("June/Gull.jpg", photo(1))
    wren.run()
    assert run(capsys, "say", "June/Gull.jpg", "hold", "--config", config)[0] == 0


def test_a_folder_of_ready_that_cant_be_made_stops_no_start(
    studio: Settings, capsys: pytest.CaptureFixture[str]
) -> None:
    folders = studio.folders
    (folders.ready / "square").rmdir()
    (folders.ready / "square").symlink_to(studio.studio / "share", target_is_directory=True)
    (folders.ready / "master").rmdir()
    code, out, err = run(capsys, "once", "--config", str(studio.config_file))
    assert (code, "nothing was waiting" in out, (folders.ready / "master").is_dir()) == (0, True, True)
    assert f"square can't be made: what it links to, {studio.studio / 'share'}, is not there; pictures that" in err
    shutil.rmtree(folders.ready)
    folders.ready.write_text("in the way")
    code, _, err = run(capsys, "once", "--config", str(studio.config_file))
    assert (code, err.endswith("ready can't be made: a file of that name stands in its place\n")) == (2, True)


@pytest.mark.slow
def test_an_empty_file_and_a_file_in_the_way_hold_nothing_up(
    studio: Settings, capsys: pytest.CaptureFixture[str]
) -> None:
    at = ("--config", str(studio.studio / "config"))
    (studio.folders.inbox / "empty.jpg").touch()
    code, out, _ = run(capsys, "once", *at)
    assert code == 0
    assert "empty.jpg: this file holds nothing yet" in out
    square = studio.folders.ready / "square"
    shutil.rmtree(square)
    square.write_text("in the way")
    code, _, err = run(capsys, "once", *at)
    assert code == 0
    assert "square can't be made: a file of that name stands in its place; pictures that belong there wait" in err
    shutil.rmtree(studio.folders.ready / "master", ignore_errors=True)
    (studio.folders.ready / "master").symlink_to(studio.studio / "share", target_is_directory=True)
    (studio.folders.inbox / "a.jpg").write_bytes(photos.jpeg(photos.sheet()))
    code, _, err = run(capsys, "once", *at)
    assert code == 1  # what belongs there waits
    assert f"master can't be made: what it links to, {studio.studio / 'share'}, is not there; pictures that" in err
    code, out, _ = run(capsys, "status", *at)
    assert (code, "so pictures wait for it: ready/square, ready/master\n" in out) == (1, True)
    square.unlink()
    (studio.studio / "share").mkdir()
    assert run(capsys, "once", *at)[0] == 0
    assert len([*square.iterdir()]) == len([*(studio.studio / "share").iterdir()]) == 1


def test_status_says_what_needs_a_look_and_retry_starts_it_over(
    studio: Settings, capsys: pytest.CaptureFixture[str]
) -> None:
    config = str(studio.studio)
    (studio.folders.inbox / "page.jpg").write_bytes(photos.jpeg())
    assert run(capsys, "once", "--config", config)[0] == 0
    code, out, _ = run(capsys, "status", "--config", config)
    assert (code, "Finished: 1 photo," in out) == (0, True)
    ledger = Ledger(ledger_path(studio))
    job = ledger.jobs()[0]
    assert job.record is not None
    ledger.finish(job.record.model_copy(update={"outcome": "set aside", "outputs": ()}))
    ledger.close()
    code, out, _ = run(capsys, "status", "--json", "--config", config)
    assert code == 1
    assert json.loads(out)["set_aside"] == 1
    assert len(json.loads(out)["photos_set_aside"]) == 1
    code, out, _ = run(capsys, "retry", "--config", config)
    assert code == 0
    assert "1 of 1" in out
    run(capsys, "once", "--config", config)
    assert run(capsys, "status", "--config", config)[0] == 0


def test_whatever_is_asked_for_as_json_is_json(
    studio: Settings, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    wren = Studio(studio, monkeypatch)
    wren.put("Reeds, 2026.jpg", photo(1))
    wren.run()
    at = ("--config", str(studio.studio))
    lock = StudioLock(studio.folders.records)  # as while `watch` runs
    code, out, err = run(capsys, "redo", "Reeds, 2026", "--json", *at)
    lock.close()
    assert (code, json.loads(out)) == (0, [])
    assert "1 photo is noted; the service that is running will render it again." in err
    code, out, _ = run(capsys, "works", "--for", "square", "--json", *at)
    call = json.loads(out)
    assert code == 1  # no medium, no size
    assert call["destination"] == "square"
    assert [(one["number"], one["title"], one["year"]) for one in call["pictures"]] == [(1, "Reeds", "2026")]
    assert any("without a size" in line for line in call["check"])
    assert call["left_behind"] == []
    ledger = Ledger(ledger_path(studio))
    ledger.claim("f" * 64, b"new.jpg", "new.jpg", lambda _: {})
    ledger.close()
    assert json.loads(run(capsys, "show", "new.jpg", "--json", *at)[1])["photo"] == "new.jpg"


@pytest.mark.parametrize("words", [("--json",), ("--for", "square")])
def test_two_forms_of_a_list_at_once_are_refused(
    studio: Settings, capsys: pytest.CaptureFixture[str], words: tuple[str, ...]
) -> None:
    code, out, err = run(capsys, "works", "--csv", *words, "--config", str(studio.studio))
    assert (code, out) == (2, "")
    assert f"--csv does not go with {words[0]}" in err


def test_a_redo_of_a_destination_that_went_away_ends_nothing(studio: Settings) -> None:
    (studio.folders.inbox / "page.jpg").write_bytes(photos.jpeg())
    job = run_once(studio)["page.jpg"].job
    ledger = Ledger(ledger_path(studio))
    ledger.ask_redo(job, ["gone"])
    ledger.close()
    assert run_once(studio)["page.jpg"].outcome == "ready"
    ledger = Ledger(ledger_path(studio))
    assert ledger.redos() == {}
    ledger.close()


@pytest.fixture
def history(studio: Settings) -> Settings:
    """A studio that knows of 120 photos: every third a question, the rest set aside."""
    ledger = Ledger(ledger_path(studio))
    for number in range(1, 121):
        outcome = "needs a look" if number % 3 == 0 else "set aside"
        sha256 = f"{number:064x}"
        job = ledger.claim(sha256, b"%d.jpg" % number, f"{number}.jpg", lambda _: {}).job
        ledger.finish(JobRecord(job=job, photo=f"{number}.jpg", sha256=sha256, outcome=outcome))  # type: ignore[arg-type]
    ledger.close()
    return studio


def listed(capsys: pytest.CaptureFixture[str], settings: Settings, *words: str) -> tuple[int, str, str]:
    return run(capsys, "jobs", "--config", str(settings.studio), *words)


def _numbers(text: str) -> list[int]:
    return [int(line.rsplit("  ", 1)[1].removesuffix(".jpg")) for line in text.splitlines() if line.endswith(".jpg")]


def test_the_list_of_photos_comes_in_pages(history: Settings, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = listed(capsys, history)
    assert (code, _numbers(out)) == (0, list(range(71, 121)))
    assert "Page 1 of 3" in out
    assert "120 photos in all" in out
    assert _numbers(listed(capsys, history, "--page", "3")[1]) == list(range(1, 21))
    assert _numbers(listed(capsys, history, "--page", "2", "--per-page", "30")[1]) == list(range(61, 91))
    assert _numbers(listed(capsys, history, "--all")[1]) == list(range(1, 121))
    asked = _numbers(listed(capsys, history, "--outcome", "needs-a-look", "--per-page", "2")[1])
    assert asked == [117, 120]
    assert "older" not in listed(capsys, history, "--page", "3")[1]
    assert listed(capsys, history, "--page", "4")[1] == "There is no page 4: there are 3 pages, of 120 photos in all.\n"
    today = time.strftime("%Y-%m")
    assert len(_numbers(listed(capsys, history, "--month", today, "--all")[1])) == 120
    assert "There is none." in listed(capsys, history, "--month", "1999-01")[1]


def test_what_a_list_calls_held_back_can_be_asked_for(
    studio: Settings, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    wren = Studio(studio, monkeypatch)
    wren.put("hold/1.jpg", photo(1))
    wren.put("2.jpg", photo(2))
    wren.run()
    for word in ("held back", "held-back"):
        code, out, _ = listed(capsys, studio, "--outcome", word)
        assert (code, out.count("held back"), "hold/1.jpg" in out, "2.jpg" in out) == (0, 2, True, False)


def test_a_retry_of_what_was_not_set_aside_says_why_not(
    studio: Settings, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    wren = Studio(studio, monkeypatch)
    wren.put("1.jpg", photo(1))
    wren.run()
    code, _, err = run(capsys, "retry", "1", "--config", str(studio.studio))
    assert code == 2
    assert "1.jpg was not set aside: it is ready; `autoprep redo` renders it again" in err


def test_one_is_no_plural(
    studio: Settings, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    wren = Studio(studio, monkeypatch)
    wren.put("1.jpg", photo(1))
    wren.run()
    at = ("--config", str(studio.studio))
    assert "1 picture on 1 page: " in run(capsys, "sheet", str(studio.studio / "a.pdf"), *at)[1]
    assert "Rendered again: 1 of 1 photo." in run(capsys, "redo", *at)[1]


def test_the_list_as_json_is_whole_and_streamed(history: Settings, capsys: pytest.CaptureFixture[str]) -> None:
    records = json.loads(listed(capsys, history, "--json")[1])
    assert [record["photo"] for record in records] == [f"{n}.jpg" for n in range(1, 121)]
    page = json.loads(listed(capsys, history, "--json", "--per-page", "2")[1])
    assert [record["photo"] for record in page] == ["119.jpg", "120.jpg"]
    assert json.loads(listed(capsys, history, "--json", "--outcome", "ready")[1]) == []


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        (("--page", "0"), "counted from 1"),
        (("--outcome", "fine"), "no photo is ever 'fine'"),
        (("--month", "May"), "2026-11"),
        (("--month", "20261126"), "2026-11"),
        (("--month", "2026-W48"), "2026-11"),
        (("--month", "2026-W48-4"), "2026-11"),
        (("--month", "2026-11-31"), "2026-11"),
    ],
)
def test_a_list_that_can_not_be_is_told(
    history: Settings, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], reason: str
) -> None:
    code, _, err = listed(capsys, history, *words)
    assert code == 2
    assert reason in err


@pytest.mark.parametrize(
    ("command", "unused"),
    [
        (["--help"], ["pydantic", "numpy", "structlog", "sqlite3"]),
        (["status"], ["numpy", "cv2", "PIL", "autoprep.service", "autoprep.job.story", "structlog", "watchdog"]),
        (["jobs"], ["numpy", "cv2", "PIL", "autoprep.service", "autoprep.job.story", "structlog", "watchdog"]),
        (["check", "--ahead"], ["autoprep.correction", "autoprep.rendering.render"]),
    ],
)
def test_a_command_loads_what_it_needs(history: Settings, command: list[str], unused: list[str]) -> None:
    """Loading all that the corrections need takes longer than most commands do."""
    config = [] if command == ["--help"] else ["--config", str(history.studio)]
    code = (
        "import sys\nfrom autoprep.cli import main\n"
        f"try:\n    main({[*command, *config]!r})\nexcept SystemExit:\n    pass\n"
        f"print([name for name in {unused!r} if name in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"


def test_once_names_what_is_tried_again_later_and_retry_ends_the_pause(
    studio: Settings, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    wren, at = Studio(studio, monkeypatch), ("--config", str(studio.studio))

    def fails(_order: object) -> None:
        raise DeliveryError("the card was full")

    wren.put("Gull.jpg", photo(1))
    with monkeypatch.context() as patch:
        patch.setattr("tests.service.pretend.pretend", fails)
        code, out, _ = run(capsys, "once", *at)
        assert code == 1
        first, second, *_ = out.splitlines()
        assert first == "Done: 1 to be tried again."
        assert second.startswith("  Gull.jpg: the card was full; it is tried again by")
        assert "`autoprep retry Gull.jpg`" in second
    code, out, err = run(capsys, "once", "--json", *at)  # in the pause, by another process
    assert (code, json.loads(out)) == (1, [])
    assert "Gull.jpg: the card was full" in err
    assert "Waiting: 1 (1 of them once more, after a try that failed), being" in run(capsys, "status", *at)[1]
    code, out, _ = run(capsys, "retry", "Gull.jpg", *at)
    assert (code, "1 of 1 photo" in out) == (0, True)
    assert "Waiting: 1, being" in run(capsys, "status", *at)[1]
    assert run(capsys, "once", *at)[0] == 0
    assert wren.records()["Gull.jpg"].outcome == "ready"


def test_a_fault_in_working_out_what_follows_is_told_by_once_too(
    studio: Settings, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    wren = Studio(studio, monkeypatch)
    wren.put("Gull.jpg", photo(1))

    def fails(*_: object) -> None:
        raise ValueError("planted")

    monkeypatch.setattr("autoprep.service.knowledge.Knowledge.known", fails)
    code, out, _ = run(capsys, "once", "--config", str(studio.studio))
    assert (code, "Gull.jpg: Autoprep itself made a mistake (ValueError); the log tells where" in out) == (1, True)
