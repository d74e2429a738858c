"""Each how-to of DEVELOPERS.md, done for real: one place is changed, and the change arrives in an output."""

import io
import json
import sqlite3
from collections.abc import Iterator
from dataclasses import fields, replace
from pathlib import Path
from typing import Any, cast

import numpy as np
import pytest
from PIL import Image, ImageCms

from autoprep.correction import planning
from autoprep.correction.outline import candidates, features, find_outline
from autoprep.correction.planned import planned
from autoprep.domain import Corners, Outline, Tone
from autoprep.files import encoders, formats, spaces
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import AnyArray, Float64
from autoprep.job.orders import JobOrder, OutlinedOrder
from autoprep.job.story import process
from autoprep.ledger import Ledger, migrations
from autoprep.metadata import statement as rights
from autoprep.pixels import quad_of
from autoprep.wishes.schema import destinations_schema
from autoprep.wishes.settings import load
from autoprep.wishes.tables import Settings
from tests import photos
from tests.conftest import studio_in
from tests.test_job import done, order_for

ROOT = Path(__file__).parent.parent


OUTLINE = Outline(corners_px=cast(Corners, tuple(map(tuple, photos.corners().tolist()))), confidence=1.0)


def made(settings: Settings, name: str) -> bytes:
    """The one file of a destination, of a photo whose outline is known (finding it is tried elsewhere)."""
    order = order_for(settings, photos.jpeg())
    place = settings.folders.ready / name / f"Blue Jug{formats.ENCODERS[settings.destinations[name].format].suffix}"
    told = {key.name: getattr(order, key.name) for key in fields(JobOrder)}
    result = done(OutlinedOrder(**{**told, "places": {name: place}}, outline=OUTLINE, chosen=True))
    assert result.record.outcome == "ready", result.record.reasons
    assert result.record.failed == {}
    return place.read_bytes()


def with_table(settings: Settings, text: str) -> Settings:
    settings.config_file.with_name("destinations.toml").write_text(text, encoding="utf-8")
    return load(settings.config_file)


def test_a_destination_is_a_table(studio: Settings) -> None:
    settings = with_table(studio, "[harbour-wall]\nlong_side_px = 444\n")
    with Image.open(io.BytesIO(made(settings, "harbour-wall"))) as image:
        assert max(image.size) == 444


def test_a_step_is_a_line(monkeypatch: pytest.MonkeyPatch) -> None:
    photo = read_photo(photos.jpeg())

    def work() -> AnyArray:
        return planned(photo, planning.make_plan(photo, OUTLINE, planning.Wishes())[0]).picture(40_000)

    def dim(draft: planning.Draft) -> None:
        draft.tone = Tone(gain=draft.tone.gain / 4)

    before = work()
    monkeypatch.setattr(planning, "STEPS", (*planning.STEPS, ("dim", dim)))
    assert work().mean() < 0.7 * before.mean()


def test_an_outline_generator_is_a_line(monkeypatch: pytest.MonkeyPatch) -> None:
    """With no other generator left, the work is found by the new one."""

    def knows(evidence: Any) -> Iterator[Float64]:
        scale = evidence.shape[1] / photos.SIZE[0]
        yield photos.CORNERS * scale

    monkeypatch.setattr(candidates, "GENERATORS", {"edges": knows})
    photo = read_photo(photos.jpeg())
    found = find_outline(photo)
    assert isinstance(found, Outline)
    assert np.abs(quad_of(found) - photos.corners()).max() < 3
    assert {f"is_{name}" for name in ("edges", "background", "colour", "lines")} <= set(features.NAMES)


def test_a_format_is_a_row(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    def bitmap(pixels: AnyArray, _carried: encoders.Carried, _how: encoders.How) -> bytes:
        out = io.BytesIO()
        Image.fromarray(pixels).save(out, "BMP")
        return out.getvalue()

    row = formats.Encoder(bitmap, ".bmp")
    monkeypatch.setitem(formats.ENCODERS, "bitmap", row)
    settings = with_table(studio, '[old]\nlong_side_px = 300\nformat = "bitmap"\n')
    with Image.open(io.BytesIO(made(settings, "old"))) as image:
        assert (image.format, max(image.size)) == ("BMP", 300)
    for refused in ("bits = 16", "max_kb = 100"):
        with pytest.raises(Exception, match="bitmap"):
            with_table(studio, f'[old]\nlong_side_px = 300\nformat = "bitmap"\n{refused}\n')


def test_what_a_format_can_hold_is_in_its_row(studio: Settings) -> None:
    """The schema names all formats and spaces; what a row does not say is refused, what it says is written."""
    schema = json.loads(destinations_schema())["additionalProperties"]["properties"]
    assert schema["format"]["enum"] == [*formats.ENCODERS]
    assert schema["colour"]["enum"] == [*spaces.SPACES]
    deep = np.full((8, 8, 3), 40_000, np.uint16)
    inks = np.full((8, 8, 4), 90, np.uint8)
    carried = encoders.Carried(icc=spaces.SPACES["srgb"].profile())
    for name, row in formats.ENCODERS.items():
        for pixels, able in ((deep, row.deep), (inks, row.inks)):
            if able:
                assert encoders.encode(pixels, name, carried)
            else:
                with pytest.raises(ValueError, match=name):
                    encoders.encode(pixels, name, carried)


def test_a_colour_space_is_a_row(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    """A space with the primaries of ITU-R BT.2020, and a curve of its own."""
    space = spaces.RgbSpace("Wide", ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046)), 2.4)
    monkeypatch.setitem(spaces.SPACES, "wide", space)
    settings = with_table(studio, '[wall]\nlong_side_px = 300\nformat = "png"\ncolour = "wide"\n')
    with Image.open(io.BytesIO(made(settings, "wall"))) as image:
        profile = ImageCms.ImageCmsProfile(io.BytesIO(image.info["icc_profile"]))
        assert "Wide" in ImageCms.getProfileDescription(profile)
        there = ImageCms.profileToProfile(image, profile, ImageCms.createProfile("sRGB"))
        assert there is not None
        shown = np.asarray(there, float)
    plain = with_table(studio, '[wall]\nlong_side_px = 300\nformat = "png"\n')
    usual = np.asarray(Image.open(io.BytesIO(made(plain, "wall"))), float)
    assert np.abs(shown - usual).mean() < 2.0


def test_a_rights_field_is_a_line_and_arrives_under_its_name(studio: Settings) -> None:
    """Every field that is filled in is read by Exiv2 (pyexiv2) under the name that it declares for XMP."""
    import pyexiv2

    settings = with_table(studio, "[site]\nlong_side_px = 300\n")
    order = order_for(settings, photos.jpeg())
    place = settings.folders.ready / "site" / "Blue Jug.jpg"
    facts = order.facts.model_copy(update={
        "title": "Sea Thrift", "medium": "ink", "description": "thrift on a ledge", "alt_text": "a plant",
        "keywords": ("thrift",), "inventory": "WH-1", "year": "2026", "size_mm": None,
    })  # fmt: skip
    done(replace(order, settings=settings, facts=facts, places={"site": place}))
    with pyexiv2.Image(str(place)) as image:
        xmp = image.read_xmp()
    filled = {
        name for name, _, _ in rights.make_statement(rights.Maker(artist="Wren Halloway"), facts, "2026").fields()
    }
    for name, info in rights.RightsStatement.model_fields.items():
        ids = next(item for item in info.metadata if isinstance(item, rights.Ids))
        if name in filled:
            key = "Xmp." + ids.xmp.replace(":", ".", 1)
            assert any(found.startswith(key) or ids.xmp.split(":")[1] in found for found in xmp), (name, key)


def test_a_migration_is_a_script(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    Ledger(tmp_path / "l.sqlite3").close()
    more = (*migrations.MIGRATIONS, "CREATE TABLE tides (hour TEXT); INSERT INTO tides VALUES ('noon');")
    monkeypatch.setattr(migrations, "MIGRATIONS", more)
    monkeypatch.setattr("autoprep.ledger.connection.MIGRATIONS", more)
    Ledger(tmp_path / "l.sqlite3").close()
    db = sqlite3.connect(tmp_path / "l.sqlite3")
    assert db.execute("SELECT hour FROM tides").fetchall() == [("noon",)]
    assert db.execute("PRAGMA user_version").fetchone()[0] == len(more)
    db.close()
    assert (tmp_path / f"l-before-{len(more)}.sqlite3").exists()


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The file of a studio as it is set up; the same twice, so that what differs comes from a setting."""
    once, again = (made(a_studio(tmp_path_factory.mktemp("usual")), "site") for _ in range(2))
    assert once == again
    return once


def a_studio(folder: Path) -> Settings:
    return with_table(studio_in(folder), "[site]\nlong_side_px = 300\n")


@pytest.mark.parametrize(
    ("table", "line"),
    [
        ("correction", "paper_lightness = 88.0"), ("correction", "sharpening = 2.0"), ("correction", 'paper = "keep"'),
        ("mark", "opacity_percent = 100.0"), ("mark", 'text = "W. H."'), ("mark", "height_percent = 6.0"),
        ("mark", 'contrast = "readable"'),
        ("mark", 'corner = "top-left"'), ("rights", 'notice = "(c) {artist}"'), ("rights", 'usage_terms = "ask"'),
        ("rights", 'credit = "Saltmere"'), ("rights", 'keywords = ["sea"]'), ("rights", 'data_mining = "prohibited"'),
        ("artist", 'website = "https://saltmere.example"'), ("artist", 'email = "wren@saltmere.example"'),
    ],
)  # fmt: skip
@pytest.mark.usefixtures("looked_at_once")
def test_a_setting_arrives_in_the_file(tmp_path: Path, usual: bytes, table: str, line: str) -> None:
    settings = a_studio(tmp_path)
    text = settings.config_file.read_text(encoding="utf-8")
    text = (
        text.replace(f"[{table}]\n", f"[{table}]\n{line}\n") if f"[{table}]" in text else f"{text}\n[{table}]\n{line}\n"
    )
    settings.config_file.write_text(text, encoding="utf-8")
    assert made(load(settings.config_file), "site") != usual


def test_process_is_what_a_worker_does() -> None:
    assert process.__module__ == "autoprep.job.story"
