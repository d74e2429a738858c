"""A mark in any script: a font of the machine stands in for missing letters; else there is no mark, and it is said."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.ttGlyphPen import TTGlyphPen

from autoprep.told.paper import OWN_FONT
from autoprep.wishes import fonts
from autoprep.wishes.destinations import Preset
from autoprep.wishes.tables import Settings
from tests import photos
from tests.test_job import done, order_for, with_presets

pytestmark = pytest.mark.usefixtures("looked_at_once")


def made_font(place: Path, letters: str) -> None:
    """A font of boxes, each as wide as its letter's place in the text, so that no two are alike."""

    def box(width: int) -> object:
        pen = TTGlyphPen(None)
        for step, at in enumerate(((0, 0), (0, 700), (width, 700), (width, 0))):
            (pen.moveTo if step == 0 else pen.lineTo)(at)
        pen.closePath()
        return pen.glyph()

    names = [".notdef", *(f"g{number}" for number in range(len(letters)))]
    builder = FontBuilder(1000, isTTF=True)
    builder.setupGlyphOrder(names)
    builder.setupCharacterMap({ord(letter): names[number + 1] for number, letter in enumerate(letters)})
    builder.setupGlyf({name: box(500 + 20 * number) for number, name in enumerate(names)})
    builder.setupHorizontalMetrics({name: (600 + 20 * number, 0) for number, name in enumerate(names)})
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupNameTable({"familyName": "Saltmere", "styleName": "Regular"})
    builder.setupOS2(sTypoAscender=800, usWinAscent=800, usWinDescent=200)
    builder.setupPost()
    builder.save(place)


@pytest.fixture
def machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A machine whose fonts lie in one folder."""
    folder = tmp_path / "fonts"
    folder.mkdir()
    monkeypatch.setattr(fonts, "_places", lambda: [folder])
    fonts.fonts_for.cache_clear()
    yield folder
    fonts.fonts_for.cache_clear()


def test_the_own_font_is_used_where_it_holds_all(machine: Path) -> None:
    made_font(machine / "a.ttf", "© Wren")
    assert fonts.fonts_for("© Wren Ж é", OWN_FONT) == ((OWN_FONT,), "")


def test_a_font_of_the_machine_stands_in_only_where_it_holds_all_that_is_missing(machine: Path) -> None:
    made_font(machine / "a half.ttf", "海")
    made_font(machine / "b bold.ttf", "海鷗")
    (machine / "c.ttf").write_bytes(b"no font")
    made_font(machine / "d.ttf", "海鷗")
    assert fonts.fonts_for("© 海鷗", OWN_FONT) == ((OWN_FONT, machine / "d.ttf"), "")
    assert fonts.fonts_for("© 海鷗里", OWN_FONT) == ((OWN_FONT,), "海鷗里")


def test_a_mark_is_drawn_in_it_or_not_at_all(machine: Path, studio: Settings) -> None:
    mark = studio.mark.model_copy(update={"text": "© 海鷗"})
    settings = with_presets(studio.model_copy(update={"mark": mark}), square=Preset(width_px=500, height_px=500))
    (without,) = done(order_for(settings, photos.jpeg())).record.outputs
    assert "no font on this machine holds 海鷗" in without.notes[-1]
    plain = (studio.studio / without.path).read_bytes()
    made_font(machine / "d.ttf", "海鷗")
    fonts.fonts_for.cache_clear()
    (marked,) = done(order_for(settings, photos.jpeg())).record.outputs
    assert "letters of the mark stand in d.ttf" in marked.notes[-1]
    assert (studio.studio / marked.path).read_bytes() != plain


@pytest.mark.usefixtures("machine")
def test_nothing_is_said_of_the_letters_of_a_mark_that_there_is_not(studio: Settings) -> None:
    """Without a name there is none, whatever letters the rest of it has."""
    nameless = studio.artist.model_copy(update={"name": ""})
    mark = studio.mark.model_copy(update={"text": "© {artist} 海鷗"})
    settings = studio.model_copy(update={"artist": nameless, "mark": mark})
    (output,) = done(order_for(with_presets(settings, small=Preset(long_side_px=500)), photos.jpeg())).record.outputs
    assert not any("mark" in note for note in output.notes)
