"""Names that are safe anywhere, and files that are whole or not there."""

import errno
import os
from pathlib import Path
from typing import BinaryIO

import pytest

from autoprep.errors import DeliveryError
from autoprep.files.storage import is_reserved, make_part, publish, safe_stem, write_now, write_part


@pytest.mark.parametrize("name", ["CON", "nul", "Com1", "LPT9", "aux", "PRN", "con 2", "COM¹", "lpt³"])
def test_names_that_a_system_keeps_for_itself_are_not_given(name: str) -> None:
    """Names of devices (Microsoft, "Naming Files, Paths, and Namespaces")."""
    assert safe_stem(name).casefold().split(" ")[0] not in ("con", "nul", "com1", "lpt9", "aux", "prn", "com¹", "lpt³")
    assert safe_stem(name).endswith(name)
    assert is_reserved(name) == (name != "con 2")


@pytest.mark.parametrize(("text", "stem"), [
    ("../../etc/passwd", "etc-passwd"), ("a/b\\c:d", "a-b-c-d"), ("  Blue   Jug ", "Blue Jug"), ("...", "photo"),
    ("Dünenlicht", "Dünenlicht"), ("x" * 400, "x" * 120),
])  # fmt: skip
def test_nothing_in_a_name_leads_out_of_its_folder(text: str, stem: str) -> None:
    assert safe_stem(text) == stem


def test_a_file_is_synced_before_it_gets_its_name_and_the_name_after(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    acts: list[str] = []
    real_sync, real_replace = os.fsync, Path.replace

    def fsync(handle: int) -> None:
        acts.append("folder" if os.path.isdir(f"/proc/self/fd/{handle}") else "file")
        real_sync(handle)

    def replace(self: Path, target: Path) -> Path:
        acts.append("name")
        return real_replace(self, target)

    monkeypatch.setattr(os, "fsync", fsync)
    monkeypatch.setattr(Path, "replace", replace)
    write_now(tmp_path / "a.jpg", b"picture", "token")
    assert acts == ["file", "name", "folder"]
    assert (tmp_path / "a.jpg").read_bytes() == b"picture"


def test_a_part_is_never_under_its_final_name(tmp_path: Path) -> None:
    part = write_part(tmp_path / "deep" / "a.jpg", b"picture", "token")
    assert part.name.startswith(".")
    assert not (tmp_path / "deep" / "a.jpg").exists()
    publish(part, tmp_path / "deep" / "a.jpg")
    assert [path.name for path in (tmp_path / "deep").iterdir()] == ["a.jpg"]


def test_what_can_not_be_written_is_said_in_plain_words(tmp_path: Path) -> None:
    (tmp_path / "in the way").write_bytes(b"x")
    with pytest.raises(DeliveryError, match=r"a\.jpg can't be written"):
        write_part(tmp_path / "in the way" / "a.jpg", b"x", "t")


@pytest.mark.parametrize("closed", [errno.EACCES, errno.EROFS])
def test_a_folder_that_may_not_be_written_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, closed: int
) -> None:
    def refused(*_: object, **__: object) -> None:
        raise OSError(closed, os.strerror(closed))

    part = write_part(tmp_path / "shop" / "a.jpg", b"x", "t")
    told = rf"^shop/a\.jpg can't be .* \({os.strerror(closed)}\); see that this computer's user may write there$"
    monkeypatch.setattr(Path, "replace", refused)
    with pytest.raises(DeliveryError, match=told):
        publish(part, tmp_path / "shop" / "a.jpg")
    monkeypatch.setattr(Path, "open", refused)
    with pytest.raises(DeliveryError, match=told) as raised:
        write_part(tmp_path / "shop" / "a.jpg", b"x", "t")
    assert raised.value.closed


@pytest.mark.parametrize("problem", [OSError(errno.ENOSPC, "No space left on device"), ValueError("no such codes")])
def test_a_file_that_fails_half_way_does_not_lie_about(tmp_path: Path, problem: Exception) -> None:
    def write(file: BinaryIO) -> None:
        file.write(b"half")
        raise problem

    with pytest.raises(DeliveryError if isinstance(problem, OSError) else ValueError) as raised:
        make_part(tmp_path / "a.tif", write, "token")
    assert getattr(raised.value, "full", False) is isinstance(problem, OSError)
    assert not getattr(raised.value, "closed", False)
    assert not list(tmp_path.iterdir())


def test_a_folder_that_was_there_is_not_made_anew(tmp_path: Path) -> None:
    """What it lies on is away: a file put into a new one would lie below the disk when that is back."""
    final = tmp_path / "ready" / "site" / "Gull.jpg"
    with pytest.raises(DeliveryError, match="can't be written") as refused:
        write_part(final, b"picture", "job", there=True)
    assert not refused.value.closed
    assert not final.parent.parent.exists()
    assert write_part(final, b"picture", "job").read_bytes() == b"picture"
