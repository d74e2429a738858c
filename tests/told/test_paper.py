"""A sheet to print, read back by a reader of another make: pages, pictures, words, and no name on a blind one."""

import io
import os
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from PIL import Image
from pypdf import PdfReader

from autoprep.cli.main import main
from autoprep.domain import OutputRecord, WorkFacts
from autoprep.files.encoders import Carried, encode
from autoprep.files.spaces import SPACES
from autoprep.service.studio import _print_of, list_pdf
from autoprep.told.lists import Entry
from autoprep.told.paper import Cell, Row, image_list, sheet
from autoprep.wishes.tables import Settings
from tests import photos
from tests.service.engines import run_once
from tests.service.pretend import Studio, photo
from tests.test_one_place import with_table

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
    assert main(["sheet", str(place), "ink", "reeds", "--for", "square", "--anyway", *config]) == 0
    assert main(["sheet", str(place), "gulls", "--for", "square", "--anyway", *config]) == 1
    assert main(["sheet", str(tmp_path / "sheet.txt"), *config]) == 2
    assert "Traceback" not in capsys.readouterr().err


def rows(folder: Path, count: int) -> list[Row]:
    long = "A gull on a post, seen from the harbour wall in the morning, with its head turned away from the wind. " * 6
    return [
        Row(cell.picture, cell.number, f"{cell.number} Möwe.jpg", f"Wren Halloway, {cell.title}, 2026", long, "240 €")
        for cell in cells(folder, count)
    ]


def test_an_image_list_has_six_pictures_to_a_page_with_all_that_is_said(tmp_path: Path) -> None:
    """Read by pypdf, and by pikepdf, which checks the file from its header to its cross-reference table."""
    some = rows(tmp_path, 8)
    data = image_list("Image list", some, author="Wren Halloway", made=MADE)
    assert data == image_list("Image list", some, author="Wren Halloway", made=MADE)
    reader = PdfReader(io.BytesIO(data))
    assert [len(page.images) for page in reader.pages] == [6, 2]
    text = " ".join(reader.pages[1].extract_text().split())
    for said in ("07 Wren Halloway, Möwe Чайка 7, 2026", "07 Möwe.jpg", "240 €", "A gull on a post", "…", "2 / 2"):
        assert said in text
    assert text.count("harbour wall") < 2 * 6  # cut, so that entries do not run into one another
    with pikepdf.open(io.BytesIO(data)) as pdf:
        assert pdf.check_pdf_syntax() == []
        figures = [one for one in pdf.objects if isinstance(one, pikepdf.Dictionary) and one.get("/S") == "/Figure"]
        assert len(figures) == 8
        assert all("gull" in str(figure.Alt) for figure in figures)
        assert pdf.Root.MarkInfo.Marked
        files = [one for one in pdf.objects if isinstance(one, pikepdf.Dictionary) and "/FontFile2" in one]
        assert files  # embedded


def test_colours_of_a_wide_space_are_turned_into_those_of_the_page(tmp_path: Path) -> None:
    """(200, 100, 50) of the wide space is (227, 100, 42) in sRGB (computed with lcms on Debian's profiles)."""
    place = tmp_path / "wide.png"
    picture = np.full((60, 90, 3), (200, 100, 50), np.uint8)
    place.write_bytes(encode(picture, "png", Carried(icc=SPACES["a98-rgb"].profile())))
    data = image_list("Image list", [Row(place, "01", "wide.png", "Reeds")], author="", made=MADE)
    image = PdfReader(io.BytesIO(data)).pages[0].images[0].image
    assert image is not None
    assert np.asarray(image.convert("RGB"))[30, 45] == pytest.approx((227, 100, 42), abs=4)


def test_a_blind_list_names_nobody_and_prices_stand_where_they_are_asked_for(studio: Settings) -> None:
    settings = with_table(
        studio,
        '[jury]\nlong_side_px = 300\nrights = "none"\nlisting = true\n[shop]\nlong_side_px = 300\nprices = true\n',
    )
    place = settings.folders.ready / "jury" / "01.jpg"
    place.parent.mkdir(parents=True, exist_ok=True)
    Image.new("RGB", (90, 60), (9, 90, 90)).save(place, exif=b"Exif\0\0Wren Halloway")
    os.utime(place, (MADE.timestamp(), MADE.timestamp()))
    facts = WorkFacts(title="Reeds", year="2026", medium="ink", inventory="WH-017", price="240 €")
    output = OutputRecord(
        destination="jury", path="ready/jury/01.jpg", width_px=90, height_px=60, bytes=1, sha256="0" * 64
    )
    listed = [Entry(output, facts, 1)]
    blind, full = (list_pdf(settings, name, listed)[0] for name in ("jury", "shop"))
    reader = PdfReader(io.BytesIO(blind))
    text = reader.pages[0].extract_text()
    assert "Reeds, 2026, ink" in text
    assert "240" not in text
    assert len(reader.pages[0].images) == 1
    assert reader.metadata is not None
    assert reader.metadata.author is None
    assert reader.metadata.creation_date == MADE.replace(hour=0)  # its picture's day: the same each time
    # What is packed inside is looked into too.
    with pikepdf.open(io.BytesIO(blind)) as pdf:
        streams = [one for one in pdf.objects if isinstance(one, pikepdf.Stream)]
        packed = blind + b"".join(one.read_raw_bytes() for one in streams)
        packed += b"".join(one.read_bytes() for one in streams if "DCT" not in str(one.get("/Filter")))
    assert not any(word in packed or word in text.encode() for word in (b"Halloway", b"Wren", b"WH-017"))
    other = PdfReader(io.BytesIO(full))
    assert "Wren Halloway, Reeds, 2026, ink" in other.pages[0].extract_text()
    assert "240 €" in other.pages[0].extract_text()
    assert other.metadata is not None
    assert other.metadata.author == "Wren Halloway"


def test_whatever_a_list_shows_makes_it_another_list(tmp_path: Path) -> None:
    (row,) = rows(tmp_path, 1)
    others = [
        replace(row, number="other"), replace(row, file="other"), replace(row, caption="other"),
        replace(row, words="other"), replace(row, price="other"),
    ]  # fmt: skip
    prints = {_print_of("Image list", [one]) for one in (row, *others)} | {_print_of("Other", [row])}
    os.utime(row.picture, (MADE.timestamp(), MADE.timestamp()))
    assert len(prints | {_print_of("Image list", [row])}) == 8


def test_the_words_of_a_sheet_are_found_however_they_are_written(
    studio: Settings, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (studio.folders.inbox / "Cafe\u0301 Straße, 2026.jpg").write_bytes(photos.jpeg())
    run_once(studio)
    place, config = str(tmp_path / "sheet.pdf"), ["--config", str(studio.config_file)]
    assert main(["sheet", place, "CAFÉ", "STRASSE", *config]) == 0
    assert main(["sheet", place, "cafe\u0301", "--for", "square", "--anyway", *config]) == 0
    assert "Nothing fits" not in capsys.readouterr().out


def test_a_sheet_of_all_works_leaves_out_what_is_on_hold(
    studio: Settings, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    wren = Studio(studio, monkeypatch)
    for work, name in enumerate(("Reeds", "Gulls"), 1):
        wren.put(f"{name}.jpg", photo(work))
    wren.put("Gulls.txt", "hold: yes\nprice: 240")
    wren.run()
    cells: list[Cell] = []

    def kept(_: str, found: list[Cell], **__: object) -> bytes:
        cells.extend(found)
        return b""

    monkeypatch.setattr("autoprep.cli.sheet.sheet", kept)
    place, config = wren.settings.studio / "sheet.pdf", ["--config", str(studio.config_file)]
    assert main(["sheet", str(place), *config]) == 0
    assert [cell.title for cell in cells] == ["Reeds"]
    assert "1 work is on hold and left out" in capsys.readouterr().out
    assert main(["sheet", str(place), "gulls", "--anyway", *config]) == 0
    assert (cells[-1].title, cells[-1].lines) == ("Gulls", ["240", "on hold"])
    assert "left out" not in capsys.readouterr().out
