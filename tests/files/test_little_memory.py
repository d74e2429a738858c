"""A photo for which there is too little memory is no damaged one: that is said, and it is tried again."""

import io
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile
from PIL import Image

from autoprep.errors import lacks_memory
from autoprep.files import deep
from autoprep.files.reading import read_photo
from autoprep.service import worker
from autoprep.service.messages import Failed

_SIDE, _ROOM_MB = 3000, 15  # of 8 bits 26 MiB at least, of 16 bits 51


def _packed(kind: str) -> bytes:
    """A picture of many pixels and few bytes."""
    out = io.BytesIO()
    if kind == "PNG of 16 bits":
        return cv2.imencode(".png", np.full((_SIDE, _SIDE, 3), 40_000, np.uint16))[1].tobytes()
    Image.new("RGB", (_SIDE, _SIDE), (200, 180, 160)).save(out, kind)
    return out.getvalue()


# A process of its own: one in which other tests ran has room in what they have given back.
_READ = f"""
import resource, sys
from pathlib import Path
from autoprep.files.reading import read_photo
files = [Path(name).read_bytes() for name in sys.argv[1:]]
used = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
resource.setrlimit(resource.RLIMIT_AS, (used + {_ROOM_MB} * 2**20, used + {_ROOM_MB} * 2**20))
for data in files:
    try:
        print(read_photo(data).facts.format)
    except Exception as problem:
        print(type(problem).__name__)
"""


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="the system does not count as Linux does")
def test_too_little_memory_is_not_called_damage(tmp_path: Path) -> None:
    """Of WebP the library does not tell: such a photo is set aside as one that can't be decoded."""
    kinds = ("PNG", "PNG of 16 bits", "JPEG", "TIFF")
    for kind in kinds:
        (tmp_path / kind).write_bytes(_packed(kind))
    small = io.BytesIO()
    Image.new("RGB", (60, 60), (200, 180, 160)).save(small, "PNG")
    (tmp_path / "small").write_bytes(small.getvalue())
    places = [str(tmp_path / name) for name in (*kinds, "small")]
    said = subprocess.run([sys.executable, "-c", _READ, *places], capture_output=True, text=True, check=True).stdout
    assert said.split() == ["MemoryError"] * len(kinds) + ["png"]


def test_a_scan_for_which_there_is_too_little_memory_is_not_read_with_fewer_bits(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The library that is asked where the first one can't read a TIFF makes 8 bits of its 16 and needs half of it."""
    out, ramp = io.BytesIO(), np.linspace(0, 65535, 64 * 64 * 3).reshape(64, 64, 3).astype(np.uint16)
    tifffile.imwrite(out, ramp, photometric="rgb")
    assert read_photo(out.getvalue()).codes.dtype == np.uint16

    def decoded(_: object) -> None:
        np.empty((2**40, 2**10), np.uint16)

    monkeypatch.setattr(deep, "_decoded", decoded)
    with pytest.raises(MemoryError):
        read_photo(out.getvalue())


def test_a_library_that_lacks_memory_is_understood() -> None:
    with pytest.raises(cv2.error) as told:
        cv2.resize(np.zeros((2, 2), np.uint8), (2**30, 2**15))
    assert lacks_memory(told.value)
    with pytest.raises(cv2.error) as other:
        cv2.imdecode(np.zeros(0, np.uint8), cv2.IMREAD_COLOR)
    assert not lacks_memory(other.value)


def test_a_worker_that_lacks_memory_says_so_and_another_try_follows() -> None:
    class Order:
        job = "a"

    def process(*_: object) -> None:
        cv2.resize(np.zeros((2, 2), np.uint8), (2**30, 2**15))

    ended = worker._do(process, Order(), None)  # type: ignore[arg-type]  # nothing is reported
    assert isinstance(ended, Failed)
    assert (ended.retry, ended.trace) == (True, "")
    assert "memory" in ended.reason
    assert "service.worker_memory_mb" in ended.reason
