"""Files that were damaged on their way, thousands of them: never a crash, and never a part of a picture for the whole.

What is done to a file is drawn from a seed, so that each can be made again. Every one ends in one of five ways: the
service waits for the rest, the file is set aside with a plain reason, its picture is asked about, it is whole, or its
damage can't be seen. The last may happen to single changed bytes alone, and is counted.
"""

import io
import re
from collections import Counter
from collections.abc import Callable

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image

from autoprep.errors import PhotoError
from autoprep.files.containers import is_whole, sniff
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import UInt8
from tests import photos

pillow_heif.register_heif_opener()
FORMATS: dict[str, dict[str, object]] = {
    "jpeg": {"format": "JPEG", "quality": 90},
    "progressive jpeg": {"format": "JPEG", "quality": 90, "progressive": True},
    "png": {"format": "PNG", "compress_level": 1},
    "webp": {"format": "WEBP", "quality": 85},
    "tiff": {"format": "TIFF"},
    "packed tiff": {"format": "TIFF", "compression": "tiff_lzw"},
    "heic": {"format": "HEIF", "quality": 80},
    "avif": {"format": "AVIF", "quality": 80, "speed": 9},
}
# These take ten times as long to decode as the others.
_MANY = {"heic": 120, "avif": 160}
_BAD_SHARE, _OFF = 0.01, 24.0  # a picture is whole when less than this share of its cells is off by more than this


def _cut(data: bytes, rng: np.random.Generator) -> bytes:
    return data[: int(rng.integers(1, len(data)))]


def _emptied(data: bytes, rng: np.random.Generator) -> bytes:
    size = int(rng.integers(8192, max(8193, len(data) // 2)))
    at = int(rng.integers(0, len(data) - min(size, len(data) - 1)))
    return data[:at] + bytes(size) + data[at + size :]


def _emptied_end(data: bytes, rng: np.random.Generator) -> bytes:
    at = int(rng.integers(len(data) // 10, len(data) * 9 // 10))
    return data[:at] + bytes(len(data) - at)


def _emptied_but_the_last(data: bytes, rng: np.random.Generator) -> bytes:
    at = int(rng.integers(len(data) // 10, len(data) * 8 // 10))
    return data[:at] + bytes(len(data) - at - 64) + data[-64:]


def _changed(data: bytes, rng: np.random.Generator) -> bytes:
    at = int(rng.integers(0, len(data)))
    return data[:at] + bytes([int(rng.integers(0, 256))]) + data[at + 1 :]


def _swapped(data: bytes, rng: np.random.Generator) -> bytes:
    size = 4096
    one, two = sorted(int(n) for n in rng.integers(0, len(data) // size, 2))
    parts = [data[n * size : (n + 1) * size] for n in range(-(-len(data) // size))]
    parts[one], parts[two] = parts[two], parts[one]
    return b"".join(parts)


LOST: tuple[Callable[[bytes, np.random.Generator], bytes], ...] = (_cut, _emptied, _emptied_end, _emptied_but_the_last)
"""What copies that break off, full disks and sync tools do: parts are missing, or filled with nothing."""
CHANGED = (_changed, _swapped)
"""What failing disks do: bytes are other bytes."""


@pytest.fixture(scope="module")
def files() -> dict[str, bytes]:
    return whole_files()


def whole_files() -> dict[str, bytes]:
    """The same picture, 640 x 480 with a sensor's noise, in each of the formats."""
    pixels = cv2.resize(np.asarray(Image.open(io.BytesIO(photos.jpeg()))), (640, 480), interpolation=cv2.INTER_AREA)
    noise = np.random.default_rng(0).normal(0, 3, pixels.shape)
    image = Image.fromarray(np.clip(pixels + noise, 0, 255).astype(np.uint8))
    found = {}
    for name, how in FORMATS.items():
        out = io.BytesIO()
        image.save(out, **how)  # type: ignore[arg-type]
        found[name] = out.getvalue()
    return found


def ending(data: bytes, whole: UInt8) -> str:
    """How a file ends: waits, set aside, asked, whole or unseen; anything else is a failure of the test."""
    kind = sniff(data)
    if kind is None:
        return "set aside"
    if not is_whole(data, kind):
        return "waits"
    try:
        photo = read_photo(data)
    except PhotoError as problem:
        reason = str(problem)
        assert not re.search(r"0x|<|Error|Exception|\bNone\b", reason), reason
        return "waits" if problem.retry else "set aside"
    if photo.facts.suspect:
        return "asked"
    codes = photo.codes if photo.codes.dtype == np.uint8 else (photo.codes >> 8).astype(np.uint8)
    if codes.shape != whole.shape:
        return "unseen"
    off = cv2.resize(cv2.absdiff(codes, whole).astype(np.float32), (60, 45), interpolation=cv2.INTER_AREA).mean(-1)
    return "whole" if (off > _OFF).mean() < _BAD_SHARE else "unseen"


def endings(data: bytes, ways: object, seed: int, count: int) -> Counter[tuple[str, str]]:
    rng = np.random.default_rng(seed)
    whole = np.asarray(read_photo(data).codes)
    found: Counter[tuple[str, str]] = Counter()
    for number in range(count):
        way = ways[number % len(ways)]  # type: ignore[arg-type, index]
        found[way.__name__, ending(way(data, rng), whole)] += 1
    return found


@pytest.mark.parametrize("name", FORMATS)
def test_a_file_that_is_as_it_was_is_whole(files: dict[str, bytes], name: str) -> None:
    whole = np.asarray(read_photo(files[name]).codes)
    assert ending(files[name], whole) == "whole"
    assert ending(files[name] + b"appended" * 9, whole) in ("whole", "waits")


@pytest.mark.parametrize("name", FORMATS)
def test_what_has_lost_a_part_is_never_taken_for_whole(files: dict[str, bytes], name: str) -> None:
    found = endings(files[name], LOST, 1, 48)
    assert not {way: count for (way, end), count in found.items() if end == "unseen"}, found


@pytest.mark.parametrize("name", FORMATS)
def test_other_bytes_end_nothing(files: dict[str, bytes], name: str) -> None:
    assert sum(endings(files[name], CHANGED, 2, 24).values()) == 24


@pytest.mark.slow
@pytest.mark.parametrize("name", FORMATS)
def test_many_that_have_lost_a_part(files: dict[str, bytes], name: str) -> None:
    found = endings(files[name], LOST, 3, _MANY.get(name, 400))
    assert not {way: count for (way, end), count in found.items() if end == "unseen"}, found


@pytest.mark.slow
@pytest.mark.parametrize("name", FORMATS)
def test_many_with_other_bytes(files: dict[str, bytes], name: str) -> None:
    count = _MANY.get(name, 225)
    assert sum(endings(files[name], CHANGED, 4, count).values()) == count
