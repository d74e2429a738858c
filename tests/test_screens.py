"""Screenshots among the photos of a roll are left alone; whatever else is called so, or is flat, is not."""

import io

import cv2
import numpy as np
import piexif
import pytest
from PIL import Image

from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import UInt8
from autoprep.job.screens import is_screenshot
from autoprep.wishes.tables import Settings
from tests import photos
from tests.service.engines import run_once


def ferries() -> UInt8:
    """A list of ferries on a phone's screen."""
    screen = np.full((1266, 585, 3), 250, np.uint8)
    screen[:90] = (30, 90, 140)
    for row in range(8):
        top = 120 + row * 130
        screen[top : top + 110, 20:565] = (255, 255, 255)
        screen[top + 108 : top + 110, 20:565] = 200
        cv2.putText(screen, f"Saltmere {row + 7}:15", (40, top + 65), cv2.FONT_HERSHEY_SIMPLEX, 1.1, (20, 20, 20), 2)
    return screen


def saved(codes: UInt8, format_: str = "PNG", **how: int) -> bytes:
    out = io.BytesIO()
    Image.fromarray(codes).save(out, format_, **how)
    return out.getvalue()


@pytest.mark.parametrize(
    "name",
    ["Screenshot 2026-11-21 at 10.15.png", "Screenshot_20261121-101502.png", "Bildschirmfoto 2026-11-21.png",
     "Capture d’écran 2026-11-21.png", "Captura de pantalla 3.png", "Ska\u0308rmavbild 3.png"],
)  # fmt: skip
def test_a_screenshot_is_one_by_its_name_and_its_flat_areas(name: str) -> None:
    assert is_screenshot(read_photo(saved(ferries())), name)
    assert is_screenshot(read_photo(saved(ferries(), "JPEG", quality=90)), name)


def test_a_photo_that_is_called_one_and_a_flat_scan_that_is_not_are_works() -> None:
    sensed = np.random.default_rng(3).normal(0, 3, ferries().shape)
    photo = np.clip(ferries() + sensed, 0, 255).astype(np.uint8)
    assert not is_screenshot(read_photo(saved(photo, "JPEG", quality=92)), "Screenshot of my page.jpg")
    assert not is_screenshot(read_photo(saved(ferries())), "Tide table.png")


def commented(text: bytes, format_: str, make: bytes = b"") -> bytes:
    """The ferries with a comment in their Exif, as phones write it (from memory)."""
    exif = {"0th": {piexif.ImageIFD.Make: make} if make else {}, "Exif": {piexif.ExifIFD.UserComment: text}}
    out = io.BytesIO()
    Image.fromarray(ferries()).save(out, format_, exif=piexif.dump(exif))
    return out.getvalue()


@pytest.mark.parametrize("format_", ["PNG", "JPEG"])
@pytest.mark.parametrize("text", [b"ASCII\0\0\0Screenshot", b"UNICODE\0" + "Screenshot".encode("utf-16-be")])
def test_a_screenshot_that_says_so_needs_no_name(text: bytes, format_: str) -> None:
    assert is_screenshot(read_photo(commented(text, format_)), "IMG_2051.PNG")


def test_no_other_comment_makes_a_screenshot() -> None:
    for said in (b"ASCII\0\0\0Screenshots of Saltmere", b"Screenshot", b"ASCII\0\0\0"):
        assert not is_screenshot(read_photo(commented(said, "JPEG")), "IMG_2051.JPG")
    taken = commented(b"ASCII\0\0\0Screenshot", "JPEG", make=b"Saltmere Optics")
    assert not is_screenshot(read_photo(taken), "IMG_2051.JPG")


def test_what_a_camera_took_is_no_screenshot_whatever_it_is_called() -> None:
    """A bleached page on a copy stand is as flat; its name came from whoever renamed it."""
    name = "Screenshot wall, Saltmere.jpg"
    taken, plain = (read_photo(photos.jpeg(ferries(), exif=exif)) for exif in (photos.exif_with_secrets(), b""))
    assert taken.facts.camera
    assert not is_screenshot(taken, name)
    assert is_screenshot(plain, name)


@pytest.mark.usefixtures("looked_at_once")
def test_a_screenshot_is_left_alone_until_somebody_says_that_it_is_a_work(studio: Settings) -> None:
    name = "Screenshot 2026-11-21 at 10.15.png"
    (studio.folders.inbox / name).write_bytes(saved(ferries()))
    record = run_once(studio)[name]
    assert record.outcome == "no work seen"
    assert "screenshot" in record.reasons[0]
    (studio.folders.inbox / name).with_suffix(".txt").write_text("kind: ink\n", encoding="utf-8")
    assert run_once(studio)[name].outcome != "no work seen"
