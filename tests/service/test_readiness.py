"""What a machine lacks is said in plain words, and what it has is tried, not guessed."""

import json
import os
from pathlib import Path

import pytest

from autoprep.cli import main
from autoprep.domain import JobRecord
from autoprep.ledger import Ledger
from autoprep.service import readiness
from autoprep.service.readiness import Finding, look_over, mount_of
from autoprep.wishes import fonts
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings


def _grades(settings: Settings) -> dict[str, str]:
    """The worst grade of each thing that was tried."""
    order = ("good", "note", "missing")
    found: dict[str, str] = {}
    for finding in look_over(settings):
        found[finding.about] = max(found.get(finding.about, "good"), finding.grade, key=order.index)
    return found


def _words(settings: Settings, about: str) -> str:
    return " ".join(finding.words for finding in look_over(settings) if finding.about == about)


def test_a_machine_that_has_all_is_told_so(studio: Settings, capsys: pytest.CaptureFixture[str]) -> None:
    before = sorted(path for path in studio.studio.rglob("*"))
    code = main(["service-check", "--config", str(studio.studio)])
    out = capsys.readouterr().out
    assert code == 0, out
    assert "The service can run here." in out
    for about in ("JPEG", "HEIC", "AVIF", "RAW", "WebP", "inbox", "room", "font", "clock", "watches"):
        assert f"ok       {about}" in out
    assert sorted(path for path in studio.studio.rglob("*")) == before


def test_folders_that_are_not_there_or_closed_are_missing(
    studio: Settings, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    studio.folders.needs_a_look.rmdir()
    studio.folders.inbox.rmdir()
    real = Path.open

    def closed(self: Path, *args: object, **more: object) -> object:
        if self.parent == studio.folders.ready:
            raise PermissionError(13, "Permission denied")
        return real(self, *args, **more)  # type: ignore[call-overload]

    monkeypatch.setattr(Path, "open", closed)
    found = _grades(studio)
    assert (found["inbox"], found["needs-a-look"], found["ready"], found["records"]) == (*["missing"] * 3, "good")
    assert "Permission denied" in _words(studio, "ready")
    assert main(["service-check", "--json", "--config", str(studio.studio)]) == 1
    said = json.loads(capsys.readouterr().out)
    assert {row["grade"] for row in said} <= {"good", "note", "missing"}


def test_a_full_disk_is_missing_room(studio: Settings) -> None:
    service = studio.service.model_copy(update={"min_free_mb": 1e12})
    assert _grades(studio.model_copy(update={"service": service}))["room"] == "missing"


def test_a_decoder_that_fails_is_named(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    from autoprep.files import reading

    real = reading._read_pillow

    def without(data: bytes, kind: str, most: int) -> object:
        if kind == "heic":
            raise OSError("no decoder")
        return real(data, kind, most)

    monkeypatch.setattr(reading, "_read_pillow", without)
    found = _grades(studio)
    assert (found["HEIC"], found["AVIF"]) == ("missing", "good")
    service = studio.service.model_copy(update={"heic": False})
    assert _grades(studio.model_copy(update={"service": service}))["HEIC"] == "note"


def test_too_few_watches_are_a_note(studio: Settings, tmp_path: Path) -> None:
    limits = tmp_path / "inotify"
    limits.mkdir()
    (limits / "max_user_watches").write_text("2")
    (limits / "max_user_instances").write_text("128")
    (studio.folders.inbox / "a" / "b").mkdir(parents=True)
    (finding,) = readiness._watches(studio, limits)
    assert (finding.grade, "3 folders" in finding.words) == ("note", True)
    (limits / "max_user_watches").write_text("3")
    (finding,) = readiness._watches(studio, limits)
    assert finding.grade == "good"


def test_a_wrong_clock_is_told(studio: Settings) -> None:
    (long_ago,) = readiness._clock(studio, lambda: 1e9)
    assert long_ago.grade == "missing"
    ledger = Ledger(ledger_path(studio))
    job = ledger.claim("a" * 64, b"a.jpg", "a.jpg", lambda _: {}).job
    ledger.finish(
        JobRecord(job=job, photo="a.jpg", sha256="a" * 64, outcome="ready", finished_at="2027-05-01T10:00:00+00:00")
    )
    ledger.close()
    (put_back,) = readiness._clock(studio, lambda: 1_796_000_000.0)  # November 2026
    assert put_back.grade == "note"
    assert "put back" in put_back.words
    (good,) = readiness._clock(studio, lambda: 1_809_300_000.0)  # May 2027
    assert good.grade == "good"


def test_a_share_is_no_place_for_the_ledger(studio: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    mounts = tmp_path / "mounts"
    mounts.write_text(f"/dev/x / ext4 rw 0 0\nserver:/x {studio.folders.records} nfs4 rw 0 0\n")
    assert mount_of(studio.folders.records / "proof", mounts) == "nfs4"
    assert mount_of(studio.folders.ready, mounts) == "ext4"
    monkeypatch.setattr(readiness, "mount_of", lambda _: "nfs4")
    assert _grades(studio)["ledger"] == "missing"


def test_a_damaged_ledger_and_letters_that_no_font_holds_are_told(
    studio: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(fonts, "_places", list)
    fonts.fonts_for.cache_clear()
    ledger_path(studio).write_bytes(b"no database" * 999)
    artist = studio.artist.model_copy(update={"name": "海の人"})
    found = _grades(studio.model_copy(update={"artist": artist}))
    assert found["ledger"] == "missing"
    assert found["font"] == "note"


def test_what_can_not_be_tried_ends_nothing(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    def failing(_: Settings) -> object:
        raise RuntimeError("planted")

    monkeypatch.setattr(readiness, "CHECKS", (failing, *readiness.CHECKS))
    findings = list(look_over(studio))
    assert findings[0] == Finding("failing", "missing", "can't be tried: planted")
    assert len(findings) > 10
    assert os.listdir(studio.folders.inbox) == []
