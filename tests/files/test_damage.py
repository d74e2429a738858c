"""Files that end too soon, and pictures with an empty rest."""

import io
import time
from typing import Any

import cv2
import numpy as np
import pytest
import tifffile
from PIL import ExifTags, Image

from autoprep.errors import Unreadable
from autoprep.files.containers import is_whole, sniff
from autoprep.files.damage import empty_rest, flat_part, flat_rows, is_flat, suspicion
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import AnyArray
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


def _textured(tone_dtype: type = np.uint8) -> AnyArray:
    rng = np.random.default_rng(3)
    return rng.integers(40, 200, (480, 640, 3)).astype(tone_dtype)


@pytest.mark.parametrize(
    ("part", "tone", "share"),
    [
        (np.s_[300:, :], (128, 128, 128), 0.375),
        (np.s_[160:240, :], (0, 0, 0), 1 / 6),
        (np.s_[:, 512:], (0, 135, 0), 0.2),
        (np.s_[128:384, 128:384], (0, 0, 0), 0.2133),
    ],
)
def test_a_flat_rectangle_with_hard_edges_is_seen(part: Any, tone: tuple[int, ...], share: float) -> None:
    codes = _textured()
    codes[part] = tone
    assert flat_part(codes) == pytest.approx(share, abs=0.01)
    assert "one flat tone" in suspicion(codes, b"", "png")
    deep = codes.astype(np.uint16) * 257
    assert flat_part(deep) == pytest.approx(share, abs=0.01)


@pytest.mark.parametrize("top", [0, 368])
@pytest.mark.parametrize("left", [0, 544])
def test_a_small_flat_rectangle_is_seen_in_every_corner(top: int, left: int) -> None:
    codes = _textured()
    codes[top : top + 112, left : left + 96] = (90, 91, 92)
    assert flat_part(codes) == pytest.approx(112 * 96 / (480 * 640))


def _bordered(bars: tuple[int, int, int, int], dtype: Any = np.uint8) -> AnyArray:
    top, bottom, left, right = bars
    codes = _textured().astype(dtype) * (1 if dtype == np.uint8 else 257)
    codes[:top], codes[480 - bottom :], codes[:, :left], codes[:, 640 - right :] = 0, 0, 0, 0
    return codes


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize("kind", ["png", "tiff"])
@pytest.mark.parametrize("bars", [(60, 60, 0, 0), (0, 0, 70, 90), (50, 80, 60, 90), (96, 50, 50, 50)])
def test_a_black_ground_and_the_bars_around_a_picture_are_no_damage(bars: Any, kind: str, dtype: Any) -> None:
    codes = _bordered(bars, dtype)
    assert suspicion(codes, b"", kind) == ""
    codes[200:280, bars[2] : 640 - bars[3]] = 0  # a hole within it is one still
    assert suspicion(codes, b"", kind)


@pytest.mark.parametrize("bars", [(0, 60, 0, 0), (60, 0, 60, 60), (20, 150, 20, 20), (0, 0, 0, 128)])
def test_what_is_missing_at_one_side_is_no_border(bars: Any) -> None:
    assert suspicion(_bordered(bars), b"", "png")
    assert suspicion(_bordered(bars), b"", "tiff")


def test_bars_of_two_tones_are_no_border() -> None:
    codes = _bordered((0, 60, 0, 0))
    codes[:60] = 90
    assert suspicion(codes, b"", "png")


def test_the_bars_of_a_boxed_jpeg_are_no_damage() -> None:
    out = io.BytesIO()
    Image.fromarray(_bordered((60, 58, 0, 0))).save(out, "JPEG", quality=80)
    assert read_photo(out.getvalue()).facts.suspect == ""


def test_a_few_whole_rows_are_seen_and_white_ones_are_not() -> None:
    codes = _textured()
    codes[101:109] = 0
    assert flat_part(codes) == 0.0  # too thin for cells
    assert flat_rows(codes) == pytest.approx(8 / 480)
    codes[99:101, ::2], codes[109:111, ::2] = 3, 3  # as a lossy format leaves what lies beside them
    codes[99:101, 1::2], codes[109:111, 1::2] = 5, 5
    assert flat_rows(codes) == pytest.approx(8 / 480)
    codes[101:109] = 255
    assert flat_rows(codes) == 0.0
    codes[200:] = 255
    assert flat_part(codes) == flat_rows(codes) == 0.0


def test_what_ends_softly_or_is_no_rectangle_is_a_picture() -> None:
    rows = np.linspace(0, 120, 480).clip(20, None).astype(np.uint8)  # a dark cloth that runs into its shadow
    soft = np.repeat(np.repeat(rows[:, None, None], 640, axis=1), 3, axis=2)
    assert flat_part(soft) == flat_rows(soft) == 0.0
    blob = _textured()
    y, x = np.mgrid[:480, :640]
    blob[(y - 240) ** 2 + (x - 320) ** 2 < 150**2] = 0
    assert flat_part(blob) == 0.0
    assert suspicion(_textured(), b"", "png") == ""


def test_a_whole_flat_picture_shows_nothing() -> None:
    assert is_flat(np.zeros((40, 60, 3), np.uint8))
    assert is_flat(np.full((40, 60, 3), 40000, np.uint16))
    assert not is_flat(_textured())


def test_zeros_in_packed_data_are_a_hole_and_elsewhere_are_not() -> None:
    out = io.BytesIO()
    Image.fromarray(_textured()).save(out, "JPEG", quality=90)
    data, codes = out.getvalue(), _textured()
    assert suspicion(codes, data, "jpeg") == ""
    assert suspicion(codes, data + bytes(9000), "jpeg") == ""  # appended, as phones append films
    middle = len(data) // 2
    assert "is empty" in suspicion(codes, data[:middle] + bytes(5000) + data[middle + 5000 :], "jpeg")
    assert suspicion(codes, bytes(9000), "tiff") == ""
    assert "is empty" in suspicion(codes, bytes(1024), "webp")


def test_disturbed_data_is_asked_about() -> None:
    out = io.BytesIO()
    Image.fromarray(_textured()).save(out, "JPEG", quality=90)
    data = out.getvalue()
    at = data.rfind(b"\xff\xda") + 600
    disturbed = data[:at] + b"\xff\xd3" + data[at + 2 :]
    assert "disturbed" in suspicion(_textured(), disturbed, "jpeg")
    late = data[:-600] + b"\xff\xd3" + data[-598:]  # too few rows are empty to refuse it
    assert "disturbed" in read_photo(late).facts.suspect
    assert read_photo(data).facts.suspect == ""


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_a_few_rows_of_zeros_in_a_tiff_are_a_hole(dtype: Any) -> None:
    codes = np.random.default_rng(5).integers(60, 200, (400, 600, 3)).astype(dtype) * (1 if dtype == np.uint8 else 257)
    assert suspicion(codes, b"", "tiff") == ""
    one, hole, frame = codes.copy(), codes.copy(), codes.copy()
    one[200] = 0
    assert suspicion(one, b"", "tiff") == ""  # a line that somebody drew
    hole[200:202] = 0
    hole[199, 300:], hole[202, :300] = 0, 0
    assert "a part of its data is empty" in suspicion(hole, b"", "tiff")
    assert suspicion(hole, b"", "png") == ""  # it has check sums
    frame[200:203] = 0
    frame[190:213] //= 20  # dark before and behind: it is a picture of something dark
    assert suspicion(frame, b"", "tiff") == ""


def _noted(format_: str, zeros: int) -> bytes:
    """A sheet with a maker's note of nothing but zeros."""
    exif = Image.Exif()
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.MakerNote] = bytes(zeros)
    out = io.BytesIO()
    Image.fromarray(cv2.resize(photos.sheet(), (640, 480))).save(out, format_, quality=90, exif=exif.tobytes())
    return out.getvalue()


@pytest.mark.parametrize(("format_", "kind"), [("WEBP", "webp"), ("HEIF", "heic"), ("AVIF", "avif")])
def test_zeros_in_what_the_camera_notes_are_no_hole(format_: str, kind: str) -> None:
    data, codes = _noted(format_, 5000), _textured()
    assert bytes(5000) in data
    assert sniff(data) == kind
    assert suspicion(codes, data, kind) == ""
    assert read_photo(data).facts.suspect == ""
    note = data.index(bytes(5000))
    start = note - 5200 if note > len(data) // 2 else len(data) - 5200  # among the pixels, before or behind it
    hole = data[:start] + bytes(4500) + data[start + 4500 :]
    assert "is empty" in suspicion(codes, hole, kind)
    assert "is empty" in suspicion(codes, b"\0\0\0\3box!" + bytes(9000), kind)  # no container: all is looked at


def test_of_an_animated_webp_only_the_picture_that_is_used_counts() -> None:
    """What a later one leaves as it was is packed as zeros."""
    sheet = photos.sheet()
    first, second, out = Image.fromarray(sheet), Image.fromarray(sheet[::-1, ::-1].copy()), io.BytesIO()
    first.save(out, "WEBP", save_all=True, append_images=[second], duration=100)
    data = out.getvalue()
    assert bytes(1024) in data
    assert read_photo(data).facts.suspect == ""
    start = data.index(b"ANMF") + 2000
    hole = data[:start] + bytes(1100) + data[start + 1100 :]
    assert "is empty" in suspicion(sheet, hole, "webp")


def test_a_file_that_is_cut_in_a_picture_below_its_first_one_is_not_whole() -> None:
    """As cameras store it: a small picture first, and below it the large one."""
    out = io.BytesIO()
    large = np.random.default_rng(6).integers(0, 255, (400, 600, 3)).astype(np.uint8)
    with tifffile.TiffWriter(out) as file:
        file.write(large[::8, ::8], photometric="rgb", subfiletype=1, subifds=1, metadata=None)
        file.write(large, photometric="rgb", metadata=None)
    data = out.getvalue()
    assert is_whole(data, "tiff")
    for share in (0.3, 0.6, 0.99):
        assert not is_whole(data[: int(len(data) * share)], "tiff"), share


def test_a_heic_whose_last_box_goes_to_the_end_of_the_file_is_whole() -> None:
    """ISO/IEC 14496-12, 4.2: a size of 0 says so."""
    out = io.BytesIO()
    Image.fromarray(cv2.resize(photos.sheet(), (320, 240))).save(out, "HEIF", quality=80)
    data = bytearray(out.getvalue())
    at = data.index(b"mdat") - 4
    assert at + int.from_bytes(data[at : at + 4], "big") == len(data)
    data[at : at + 4] = bytes(4)
    assert is_whole(bytes(data), "heic")
    assert read_photo(bytes(data)).full_px == (320, 240)
