"""Files that end too soon, and pictures with an empty rest."""

import io
import time

import cv2
import numpy as np
import pytest
import tifffile
from PIL import Image

from autoprep.errors import Unreadable
from autoprep.files.containers import is_whole, sniff
from autoprep.files.damage import empty_rest
from autoprep.files.reading import read_photo
from tests import photos


@pytest.mark.parametrize("progressive", [False, True])
@pytest.mark.parametrize("share", [0.3, 0.6, 0.9])
def test_a_jpeg_that_was_cut_and_closed_is_not_taken_for_whole(progressive: bool, share: float) -> None:
    """The end marker is there, so the container is whole; the picture is not."""
    out = io.BytesIO()
    Image.open(io.BytesIO(photos.jpeg())).save(out, "JPEG", quality=90, progressive=progressive)
    data = out.getvalue()
    broken = data[: int(len(data) * share)] + b"\xff\xd9"
    if progressive:
        # A progressive file that lacks its last scans is a coarser picture, but whole to its last row.
        assert empty_rest(np.asarray(read_photo(broken).codes)) == 0
    else:
        with pytest.raises(Unreadable, match=r"damaged|decoded"):
            read_photo(broken)


def test_plain_parts_of_a_real_picture_are_no_damage() -> None:
    rng = np.random.default_rng(3)
    picture = rng.integers(90, 110, (300, 400, 3)).astype(np.uint8)
    assert empty_rest(picture) == 0
    cut = picture.copy()
    cut[240:] = 128
    assert empty_rest(cut) == 60
    thin = picture.copy()
    thin[-4:] = 128  # a line of a frame
    assert empty_rest(thin) == 0
    assert empty_rest(np.full((300, 400, 3), 128, np.uint8)) == 0  # one tone throughout is another matter
    deep = picture.astype(np.uint16) * 257
    deep[200:] = 30000
    assert empty_rest(deep) == 100


def test_a_plain_ground_is_no_damage() -> None:
    """A drawn picture on a ground of one exact tone has an empty rest too; but its data does not run out."""
    picture = np.full((400, 600, 3), 200, np.uint8)
    picture[40:300, 50:550] = np.random.default_rng(4).integers(0, 255, (260, 500, 3))
    out = io.BytesIO()
    Image.fromarray(picture).save(out, "JPEG", quality=90)
    photo = read_photo(out.getvalue())
    assert empty_rest(np.asarray(photo.codes)) > 80


@pytest.mark.parametrize("compression", [None, "zlib"])
@pytest.mark.parametrize("tiles", [None, (64, 64)])
def test_a_tiff_that_still_grows_is_not_whole(compression: str | None, tiles: tuple[int, int] | None) -> None:
    out = io.BytesIO()
    pixels = cv2.resize(photos.sheet(), (320, 256))
    tifffile.imwrite(out, pixels, compression=compression, tile=tiles, photometric="rgb")
    data = out.getvalue()
    assert sniff(data) == "tiff"
    assert is_whole(data, "tiff")
    for share in (0.1, 0.5, 0.9, 0.99):
        assert not is_whole(data[: int(len(data) * share)], "tiff"), share


def test_a_file_of_nothing_but_escapes_costs_little() -> None:
    data = b"\xff\xd8\xff\xda\x00\x02" + b"\xff\x00" * 15_000_000
    began = time.perf_counter()
    assert not is_whole(data, "jpeg")
    taken = time.perf_counter() - began
    began = time.perf_counter()
    data.count(b"\xff\xd9")
    assert taken < 3 * (time.perf_counter() - began) + 0.01  # one pass over the bytes, and no more


def test_a_file_of_escapes_that_ends_costs_one_walk() -> None:
    data = b"\xff\xd8\xff\xda\x00\x02" + b"\xff\x00" * 5_000_000 + b"\xff\xd9"
    began = time.perf_counter()
    assert is_whole(data, "jpeg")
    taken = time.perf_counter() - began
    began = time.perf_counter()
    for _ in data[: len(data) // 100]:
        pass
    assert taken < 100 * (time.perf_counter() - began)  # quicker than a walk byte by byte
