"""A sheet to print, read back by a reader of another make: pages, pictures, words, and no name on a blind one."""

import io
from datetime import UTC, datetime
from pathlib import Path

import pytest
from PIL import Image
from pypdf import PdfReader

from autoprep.cli.main import main
from autoprep.told.paper import Cell, sheet
from autoprep.wishes.settings import Settings
from tests import photos
from tests.service.engines import run_once

MADE = datetime(2026, 11, 26, 12, 0, tzinfo=UTC)


def cells(folder: Path, count: int) -> list[Cell]:
    found = []
    for number in range(1, count + 1):
        place = folder / f"{number}.png"
        Image.new("RGB", (900 if number % 2 else 300, 600), (number * 9, 90, 90)).save(place)
        found.append(Cell(place, f"{number:02d}", f"Möwe Чайка {number}", ("ink, 20 x 30 cm", "240 €"), "a gull"))
    return found


def test_every_picture_has_its_place_number_and_caption(tmp_path: Path) -> None:
    reader = PdfReader(io.BytesIO(sheet("Works", cells(tmp_path, 14), author="Wren Halloway", made=MADE)))
    assert len(reader.pages) == 2
    assert [len(page.images) for page in reader.pages] == [12, 2]
    text = reader.pages[1].extract_text()
    for word in ("13 Möwe Чайка 13", "ink, 20 x 30 cm", "240 €", "2 / 2"):
        assert word in text
    wide, high = (image.image for image in reader.pages[0].images[:2])
    assert wide is not None
    assert high is not None
    assert wide.size[0] / wide.size[1] == pytest.approx(1.5, rel=0.01)
    assert high.size[0] / high.size[1] == pytest.approx(0.5, rel=0.01)
    # A4 is 210 x 297 mm (ISO 216); a point is 1/72 inch (ISO 32000-1).
    assert [float(side) * 25.4 / 72 for side in reader.pages[0].mediabox[2:]] == pytest.approx([210, 297], abs=0.1)
    fonts = reader.pages[0]["/Resources"]["/Font"]  # type: ignore[index]
    below = next(iter(fonts.values())).get_object()["/DescendantFonts"][0].get_object()["/FontDescriptor"]
    assert "/FontFile2" in below.get_object()  # embedded: it prints the same everywhere
    catalogue = reader.trailer["/Root"]
    assert catalogue["/Lang"] == "en"  # type: ignore[index]
    assert "/StructTreeRoot" in catalogue  # type: ignore[operator]


def test_a_blind_sheet_names_nobody_and_a_broken_picture_leaves_its_caption(tmp_path: Path) -> None:
    some = cells(tmp_path, 2)
    some[1].picture.write_bytes(b"no picture")
    data = sheet("Works", some, made=MADE)
    reader = PdfReader(io.BytesIO(data))
    assert reader.metadata is not None
    assert reader.metadata.author is None
    assert b"Halloway" not in data
    assert len(reader.pages[0].images) == 1
    assert "02 Möwe" in reader.pages[0].extract_text()


def test_the_command_takes_works_by_their_words_or_a_destination(
    studio: Settings, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (studio.folders.inbox / "Reeds, 2026, ink.jpg").write_bytes(photos.jpeg())
    run_once(studio)
    place, config = tmp_path / "sheet.pdf", ["--config", str(studio.config_file)]
    assert main(["sheet", str(place), "reeds", "2026", *config]) == 0
    (page,) = PdfReader(place).pages
    assert len(page.images) == 1
    assert "1 Reeds" in page.extract_text()
    assert main(["sheet", str(place), *config]) == 2  # never over another file unasked
    assert main(["sheet", str(place), "gulls", "--anyway", *config]) == 1
    assert main(["sheet", str(place), "--for", "square", "--anyway", *config]) == 0
    assert "01 Reeds" in PdfReader(place).pages[0].extract_text()
    assert main(["sheet", str(tmp_path / "sheet.txt"), *config]) == 2
    assert "Traceback" not in capsys.readouterr().err
