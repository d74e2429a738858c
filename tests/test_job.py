"""A whole job in one process: outputs, record, what must never leave, and questions."""

import io
import re
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any, Literal, cast

import numpy as np
import piexif
import pyexiv2
import pytest
import skimage.data
import tifffile
from PIL import ExifTags, Image, ImageCms

from autoprep.correction.camera import without_contrast
from autoprep.correction.planned import planned
from autoprep.correction.planning import Wishes, make_plan
from autoprep.domain import Outline, OutlineWord, WorkFacts
from autoprep.errors import DeliveryError
from autoprep.files.conversion import convert
from autoprep.files.formats import ENCODERS
from autoprep.files.reading import read_photo
from autoprep.files.spaces import SPACES
from autoprep.files.storage import make_part, write_part
from autoprep.imaging.arrays import AnyArray
from autoprep.imaging.geometry import rectangle
from autoprep.imaging.transfer import srgb_to_linear
from autoprep.job import comparison, delivery, story
from autoprep.job.delivery import Delivery, deliver, mark_style
from autoprep.job.orders import AgainOrder, JobOrder, JobResult
from autoprep.job.story import known_size, process, why_held
from autoprep.pixels import photo as pixels
from autoprep.pixels import quad_of
from autoprep.wishes.destinations import Preset
from autoprep.wishes.tables import Settings
from tests import photos

pytestmark = pytest.mark.usefixtures("looked_at_once")

# Long enough that compressed pixels do not hold them by chance, as they may three or four letters.
SECRETS = (b"PLANTED", b"GPSLatitude", b"GPSVersion", b"Saltmere Optics")


def order_for(settings: Settings, data: bytes, name: str = "Blue Jug.jpg") -> JobOrder:
    places = {
        key: settings.folders.ready / key / f"Blue Jug{ENCODERS[preset.format].suffix}"
        for key, preset in settings.destinations.items()
    }
    return JobOrder(
        job="00001-test",
        photo=name,
        sha256="0" * 64,
        data=data,
        settings=settings,
        places=places,
        look_folder=settings.folders.needs_a_look / "Blue Jug",
        proof_folder=settings.folders.records / "proof" / "00001-test",
        facts=WorkFacts(title="Blue Jug"),
    )


def done(order: JobOrder) -> JobResult:
    stages: list[str] = []
    result = process(order, lambda stage, seconds, facts: stages.append(stage))
    for part, final in result.parts:
        part.replace(final)
    assert stages[0] == "read"
    return result


def with_presets(settings: Settings, **presets: Preset) -> Settings:
    return settings.model_copy(update={"destinations": presets})


def test_a_job_makes_everything_and_says_so(studio: Settings) -> None:
    record = done(order_for(studio, photos.jpeg())).record
    assert record.outcome == "ready"
    assert record.outline is not None
    assert np.abs(quad_of(record.outline) - photos.corners()).max() < 1.5
    assert record.kind in ("ink", "pencil")
    assert {out.destination for out in record.outputs} == {"square", "master"}
    assert {"ratio_width_to_height", "blur_px", "bare_paper_percent", "paper_L", "paper_C"} <= record.measures.keys()
    assert record.seconds.keys() >= {"read", "outline", "measure", "render square", "proof"}
    assert any("Straightened" in reason for reason in record.reasons)
    square = Image.open(studio.folders.ready / "square" / "Blue Jug.jpg")
    assert square.size == (400, 400)
    deep = tifffile.imread(studio.folders.ready / "master" / "Blue Jug.tif")
    assert deep.dtype == np.uint16
    assert len(np.unique(deep)) > 5000  # 16 bits that hold more than 8


@pytest.mark.parametrize(("came", "year"), [("2024-11-20", "2024"), ("2025-06-13", "2025"), ("", "2025")])
def test_a_date_after_the_day_on_which_the_photo_came_in_is_told_and_reaches_no_file(
    studio: Settings, came: str, year: str
) -> None:
    settings = with_presets(studio, site=Preset(long_side_px=400))
    record = done(replace(order_for(settings, photos.jpeg()), came=came)).record
    with Image.open(settings.folders.ready / "site" / "Blue Jug.jpg") as image:
        exif = image.getexif()
    assert f"© {year} Wren Halloway" in exif[ExifTags.Base.Copyright].encode("latin-1").decode()
    assert (ExifTags.Base.DateTimeOriginal in exif.get_ifd(ExifTags.IFD.Exif)) == (year == "2025")
    told = [reason for reason in record.reasons if "clock was ahead: it says 2025-06-14" in reason]
    assert len(told) == (year == "2024")
    assert record.taken_at == "2025-06-14T10:11:12"  # two shots of one clock are takes all the same


FORMATS = {
    "jpeg": Preset(long_side_px=600, format="jpeg", ppi=300),
    "webp": Preset(long_side_px=600, format="webp"),
    "avif": Preset(long_side_px=600, format="avif"),
    "png": Preset(long_side_px=600, format="png"),
    "png16": Preset(long_side_px=600, format="png", bits=16, mark=False),
    "tiff": Preset(long_side_px=600, format="tiff", ppi=300),
    "p3": Preset(long_side_px=600, format="jpeg", colour="display-p3"),
}


def test_nothing_private_leaves_in_any_format(studio: Settings) -> None:
    """Read back by Exiv2, and by searching every byte for what was planted in the photo."""
    data = photos.jpeg(comment=b"PLANTED-COMMENT") + b"PLANTED-TRAILER"
    assert all(
        secret in data for secret in (b"PLANTED-SERIAL", b"PLANTED-COMMENT", b"PLANTED-MODEL", b"PLANTED-TRAILER")
    )
    settings = with_presets(studio, **FORMATS)
    for out in done(order_for(settings, data)).record.outputs:
        path = settings.studio / out.path
        assert not any(secret in path.read_bytes() for secret in SECRETS), out.destination
        image = pyexiv2.Image(str(path))
        exif, found = image.read_exif(), image.read_xmp()
        image.close()
        assert not [key for key in exif if "GPS" in key or "Serial" in key or "MakerNote" in key or "Thumbnail" in key]
        assert exif["Exif.Image.Artist"] == "Wren Halloway"
        assert exif["Exif.Image.Copyright"] == "© 2025 Wren Halloway"  # the year of the photo
        assert found["Xmp.dc.creator"] == ["Wren Halloway"]
        assert found["Xmp.dc.title"] == {'lang="x-default"': "Blue Jug"}


def test_profiles_density_and_sampling_of_a_jpeg(studio: Settings) -> None:
    told = Preset(long_side_px=600, camera=True)
    settings = with_presets(studio, jpeg=FORMATS["jpeg"], p3=FORMATS["p3"], told=told)
    done(order_for(settings, photos.jpeg()))
    # A destination may ask for the camera's name; its serial numbers and its owner stay away all the same.
    data = (settings.folders.ready / "told" / "Blue Jug.jpg").read_bytes()
    assert b"Saltmere Optics" in data
    assert b"PLANTED-MODEL" in data
    assert not any(word in data for word in (b"PLANTED-SERIAL", b"PLANTED-LENS", b"PLANTED-OWNER", b"GPS"))
    with Image.open(settings.folders.ready / "jpeg" / "Blue Jug.jpg") as image:
        assert image.info["dpi"] == (300, 300)
        assert [component[1:3] for component in image.layer] == [(1, 1)] * 3  # type: ignore[attr-defined]  # 4:4:4
        assert piexif.load(image.info["exif"])["0th"][piexif.ImageIFD.XResolution] == (30000, 100)
        profile = ImageCms.ImageCmsProfile(io.BytesIO(image.info["icc_profile"]))
        assert ImageCms.getProfileDescription(profile).strip() == "sRGB"
    with Image.open(settings.folders.ready / "p3" / "Blue Jug.jpg") as image:
        profile = ImageCms.ImageCmsProfile(io.BytesIO(image.info["icc_profile"]))
        assert "P3" in ImageCms.getProfileDescription(profile)


def test_a_format_that_holds_fewer_pixels_than_the_photo_has_waits_and_says_so(
    studio: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    small = replace(ENCODERS["webp"], most_px=500)
    monkeypatch.setattr("autoprep.job.delivery.ENCODERS", {**ENCODERS, "webp": small})
    presets = {"all": Preset(full_size=True, format="webp"), "site": Preset(long_side_px=400, format="webp")}
    record = done(order_for(with_presets(studio, **presets), photos.jpeg())).record
    assert [output.destination for output in record.outputs] == ["site"]
    assert re.fullmatch(r"\d+ pixels are more than webp holds: 500 a side", record.held["all"])


def test_where_the_size_of_the_work_is_known_the_file_tells_its_scale(studio: Settings) -> None:
    """Pixels per inch of the work itself: from its longer side, 256 mm, and not from the camera's words."""
    settings = with_presets(studio, whole=Preset(full_size=True, format="png", mark=False))
    order = order_for(settings, photos.jpeg())
    facts = WorkFacts(title="Blue Jug", size_mm=(256.0, 200.0))
    result = done(replace(order, facts=facts))
    (output,) = result.record.outputs
    assert result.record.plan is not None
    with Image.open(settings.studio / output.path) as image:
        across = image.width / (256 / 25.4)
        assert image.info["dpi"][0] == pytest.approx(across, rel=0.02)
    unsaid = done(order_for(settings, photos.jpeg(), "Other Jug.jpg"))
    with Image.open(settings.studio / unsaid.record.outputs[0].path) as image:
        assert "dpi" not in image.info


def test_a_file_that_had_to_become_smaller_keeps_the_density_that_is_asked_for(studio: Settings) -> None:
    """A jury that wants 300 ppi gets 300; the true scale of a work follows its pixels."""
    capped: dict[str, Any] = {"long_side_px": 600, "max_kb": 25, "least_quality": 90, "mark": False}
    settings = with_presets(studio, jury=Preset(**capped, ppi=300), own=Preset(**capped))
    facts = WorkFacts(title="Blue Jug", size_mm=(256.0, 200.0))
    outputs = done(replace(order_for(settings, photos.jpeg()), facts=facts)).record.outputs
    for output in outputs:
        with Image.open(settings.studio / output.path) as image:
            assert image.width < 590
            wanted = 300 if output.destination == "jury" else image.width / (256 / 25.4)
            assert image.info["dpi"][0] == pytest.approx(wanted, rel=0.03)


def test_blind_copies_carry_no_name(studio: Settings) -> None:
    settings = with_presets(studio, jury=Preset(long_side_px=600, rights="none"))
    done(order_for(settings, photos.jpeg()))
    data = (settings.folders.ready / "jury" / "Blue Jug.jpg").read_bytes()
    assert not any(word in data for word in (b"Wren", b"Halloway", b"Blue Jug", b"2025"))


def test_a_question_has_a_picture_and_a_plain_reason(studio: Settings) -> None:
    settings = studio.model_copy(update={"correction": studio.correction.model_copy(update={"sure_enough": 1.0})})
    record = done(order_for(settings, photos.jpeg())).record
    assert record.outcome == "needs a look"
    assert record.outputs == ()
    folder = settings.folders.needs_a_look / "Blue Jug"
    with Image.open(folder / "where.jpg") as image:
        assert max(image.size) <= 1280
    words = (folder / "why.txt").read_text(encoding="utf-8")
    assert "not sure" in words
    assert "Ways to settle it" in words
    made = [Image.open(folder / f"choice-{number}.jpg") for number in range(1, len(record.choices) + 1)]
    assert len(made) > 1
    assert all(700 < max(image.size) <= 1800 for image in made)  # finished pictures, no thumbnails of lines
    assert not any(secret in (folder / "where.jpg").read_bytes() for secret in SECRETS)


def test_a_redo_renders_from_the_plan_and_measures_nothing(studio: Settings) -> None:
    first = order_for(studio, photos.jpeg())
    record = done(first).record
    before = (studio.folders.ready / "square" / "Blue Jug.jpg").read_bytes()
    stages: list[str] = []
    again = AgainOrder(**{**vars(first), "places": {"square": first.places["square"]}}, earlier=record)
    result = process(again, lambda stage, seconds, facts: stages.append(stage))
    for part, final in result.parts:
        part.replace(final)
    assert stages == ["read", "as shot", "render square", "proof"]
    assert (studio.folders.ready / "square" / "Blue Jug.jpg").read_bytes() == before  # reproducible to the byte
    assert {out.destination for out in result.record.outputs} == {"square", "master"}


def broken_png() -> bytes:
    out = io.BytesIO()
    Image.fromarray(photos.sheet()).save(out, "PNG")
    data = bytearray(out.getvalue())
    data[len(data) // 2 : len(data) // 2 + 400] = b"\x55" * 400
    return bytes(data)


@pytest.mark.parametrize("data", [lambda: b"not a picture" * 50, broken_png], ids=["text", "damaged"])
def test_what_can_not_be_read_is_set_aside(studio: Settings, data: Callable[[], bytes]) -> None:
    record = process(order_for(studio, data()), lambda *_: None).record
    assert record.outcome == "set aside"
    assert record.reasons[0]


def test_a_fault_of_one_destination_costs_no_other(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    real = deliver

    def faulty(work: Delivery, name: str, place: Path) -> object:
        if name == "square":
            raise ValueError("planted")
        return real(work, name, place)

    monkeypatch.setattr("autoprep.job.story.deliver", faulty)
    record = done(order_for(studio, photos.jpeg())).record
    assert record.outcome == "ready"
    assert [out.destination for out in record.outputs] == ["master"]
    said = "it could not be made: Autoprep itself made a mistake (ValueError); the log tells where"
    assert record.failed["square"] == said
    assert record.not_given_out == record.failed


def test_a_closed_folder_costs_no_other_destination(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    some = with_presets(studio, square=Preset(long_side_px=90), site=Preset(long_side_px=90))
    (studio.folders.ready / "square").rmdir()
    (studio.folders.ready / "square").write_bytes(b"a file of the artist's")  # root may write into any folder
    record = done(order_for(some, photos.jpeg())).record
    assert [output.destination for output in record.outputs] == ["site"]
    assert record.failed["square"].startswith("it could not be made: square/Blue Jug.jpg can't be written (")
    assert record.held_kinds == {"square": "closed folder"}
    monkeypatch.setattr("autoprep.job.folders.answers", lambda _ready: False)
    with pytest.raises(DeliveryError):  # where none can be written to, all of it is tried again
        done(order_for(some, photos.jpeg()))


def test_a_mark_that_can_not_be_read_costs_what_carries_it_and_is_named(studio: Settings) -> None:
    (studio.studio / "seal.png").write_bytes(broken_png())
    marked = studio.model_copy(update={"mark": studio.mark.model_copy(update={"picture": "seal.png"})})
    kept = marked.destinations["master"].model_copy(update={"mark": False})
    record = done(order_for(with_presets(marked, **{**marked.destinations, "master": kept}), photos.jpeg())).record
    assert [out.destination for out in record.outputs] == ["master"]
    assert "the mark's picture seal.png can't be read: it is damaged, or not whole" in record.failed["square"]
    assert record.held_kinds == {"square": "mark"}


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({"title": "Self, W. Hallo\u0301way"}, "title"),
        ({"medium": "ink on HALLOWAY's own paper"}, "medium"),
        ({"alt_text": "A jug, by Wren-Halloway"}, "alternative text"),
        ({"title": "A wren on a wall"}, "title"),
        ({"title": "Blue jug"}, ""),
    ],
)
def test_a_blind_destination_waits_for_words_that_name_the_artist(
    studio: Settings, said: dict[str, str], told: str
) -> None:
    settings = with_presets(studio, jury=Preset(long_side_px=600, rights="none", listing=True))
    order = replace(order_for(settings, photos.jpeg()), facts=WorkFacts(**said))  # type: ignore[arg-type]
    record = done(order).record
    if told:
        assert told in record.held["jury"]
        assert record.outputs == ()
    else:
        assert [out.destination for out in record.outputs] == ["jury"]


def test_blind_means_no_mark_and_saying_both_is_a_mistake() -> None:
    assert not Preset(long_side_px=600, rights="none").mark
    with pytest.raises(ValueError, match="contradict"):
        Preset(long_side_px=600, rights="none", mark=True)


@pytest.mark.parametrize("compression", ["deflate", "lzw", "none"])
@pytest.mark.parametrize("bits", [8, 16])
def test_every_word_for_the_compression_of_tiff_works(studio: Settings, compression: str, bits: int) -> None:
    preset = Preset(long_side_px=300, format="tiff", compression=compression, bits=bits, mark=False)  # type: ignore[arg-type]
    record = done(order_for(with_presets(studio, archive=preset), photos.jpeg())).record
    with tifffile.TiffFile(studio.studio / record.outputs[0].path) as file:
        assert (
            tifffile.COMPRESSION(int(file.pages[0].compression)).name
            == {"deflate": "ADOBE_DEFLATE", "lzw": "LZW", "none": "NONE"}[compression]
        )
        assert file.asarray().shape[2] == 3


def scene_without_work() -> bytes:
    """A portrait that scikit-image carries. The eye may have been trained with it: what is tested here is the job."""
    return photos.jpeg(skimage.data.astronaut())  # type: ignore[no-untyped-call]


def test_a_photo_that_shows_no_work_is_left_alone(studio: Settings) -> None:
    order = replace(order_for(studio, scene_without_work()), facts=WorkFacts())
    result = done(order)
    assert result.record.outcome == "no work seen"
    assert result.record.outputs == ()
    assert result.parts == []
    assert not studio.folders.needs_a_look.exists() or not any(studio.folders.needs_a_look.iterdir())


def test_the_artists_word_or_an_inbox_of_works_makes_it_a_question(studio: Settings) -> None:
    order = order_for(studio, scene_without_work())
    said = replace(order, facts=WorkFacts(kind="painting"))
    assert done(said).record.outcome != "no work seen"
    works = studio.model_copy(update={"inbox": studio.inbox.model_copy(update={"holds": "works"})})
    assert done(replace(order, settings=works, facts=WorkFacts())).record.outcome != "no work seen"


def test_glare_and_hold_keep_a_picture_back(studio: Settings) -> None:
    order = order_for(studio, b"")
    print_ = Preset(long_side_px=600, hold_for_glare=True)
    post = Preset(long_side_px=600)
    assert why_held(order, print_, {"glare_percent": 0.1}) == ""
    assert "glare hides 3.0 %" in why_held(order, print_, {"glare_percent": 3.0})
    assert why_held(order, post, {"glare_percent": 3.0}) == ""
    held = replace(order, facts=WorkFacts(hold=True))
    assert "on hold" in why_held(held, post, {})


def test_a_size_that_does_not_go_with_the_outline_is_a_question() -> None:
    assert known_size(WorkFacts(size_mm=(300.0, 400.0)), 0.76)[0] == (300.0, 400.0)
    assert known_size(WorkFacts(size_mm=(300.0, 400.0)), 1.32)[0] == (400.0, 300.0)  # said the other way round
    nearly_square = WorkFacts(size_mm=(304.0, 300.0))
    assert known_size(nearly_square, 0.99)[0] == (304.0, 300.0)
    assert known_size(nearly_square.model_copy(update={"turn": 90}), 0.99)[0] == (300.0, 304.0)  # it lies on its side
    assert known_size(WorkFacts(size_mm=(420.0, 300.0)), 1.33, (1.3, 1.42))[0] == (420.0, 300.0)  # whatever the lens
    assert known_size(WorkFacts(size_mm=(420.0, 300.0)), 1.33, (1.3, 1.34))[0] is None
    # A page of a pad that is nearly A5 (148 x 210 mm, ISO 216): the sheet that is meant is named.
    assert known_size(WorkFacts(size_mm=(140.0, 210.0)), 0.71)[1].endswith(
        "1.41 times. The format A5 would agree with it."
    )
    assert "The format letter would agree" in known_size(WorkFacts(size_mm=(210.0, 297.0)), 1.29)[1]
    assert "would agree" not in known_size(WorkFacts(size_mm=(100.0, 210.0)), 0.71)[1]  # no sheet is near that
    size, doubt = known_size(WorkFacts(size_mm=(300.0, 400.0)), 1.0)
    assert size is None
    assert "40 x 30 cm" in doubt


@pytest.mark.parametrize("turn", [0, 90])
def test_a_size_that_is_used_the_other_way_round_is_told(studio: Settings, turn: Literal[0, 90]) -> None:
    """The sheet lies across in the photo: 25.6 cm wide and 20 cm high."""
    order = order_for(with_presets(studio, post=Preset(long_side_px=600)), photos.jpeg())
    for size in ((256.0, 200.0), (200.0, 256.0)):
        record = done(replace(order, facts=WorkFacts(size_mm=size, turn=turn))).record
        assert record.plan is not None
        assert record.plan.geometry.ratio == pytest.approx(1.28 if turn == 0 else 1 / 1.28)
        told = any("the other way round" in reason for reason in record.reasons)
        assert told == ((size[0] > size[1]) != (turn == 0))


def test_a_paper_format_that_lies_across_is_no_slip_and_it_is_told_how_to_say_so(studio: Settings) -> None:
    order = order_for(with_presets(studio, post=Preset(long_side_px=300)), photos.jpeg())
    record = done(replace(order, facts=WorkFacts(size_mm=(200.0, 256.0), size_free=True))).record
    assert not any("the other way round" in reason for reason in record.reasons)
    assert any("add “wide” to it" in reason for reason in record.reasons)


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({"lighter": 0.4}, "white paper has its own level"),
        ({"lighter": 0.4, "as_shot": True}, "as shot won"),
        ({"lighter": 0.4, "paper": "none"}, ""),
        ({}, ""),
    ],
    ids=str,
)
def test_a_word_that_does_nothing_is_answered(studio: Settings, said: dict[str, Any], told: str) -> None:
    order = order_for(with_presets(studio, post=Preset(long_side_px=300)), photos.jpeg())
    reasons = done(replace(order, facts=WorkFacts(**said))).record.reasons
    assert any("nothing was changed" in reason for reason in reasons) == bool(told)
    assert any(told in reason for reason in reasons)


def test_a_mark_needs_a_name_and_a_cap_is_kept(studio: Settings) -> None:
    settings = with_presets(studio, small=Preset(long_side_px=1200, max_kb=60))
    record = done(order_for(settings, photos.jpeg())).record
    assert record.outputs[0].bytes <= 60_000
    nameless = studio.model_copy(update={"artist": studio.artist.model_copy(update={"name": ""})})
    delivery = Delivery(
        "1", nameless, planned(read_photo(photos.jpeg()), cast(Any, record.plan)), WorkFacts(year="2026")
    )
    assert mark_style(delivery, Preset(long_side_px=300)) == (None, ())
    named = replace(delivery, settings=studio)
    assert mark_style(named, Preset(long_side_px=300))[0] is not None
    assert mark_style(named, Preset(long_side_px=300, mark=False)) == (None, ())


def test_a_photo_never_changes_and_its_copies_go_with_it() -> None:
    import dataclasses
    import gc
    import weakref

    photo = read_photo(photos.jpeg())
    assert {field.name for field in dataclasses.fields(photo)} == {
        "codes", "facts", "tables", "matrix", "scale", "scale_down",
    }  # fmt: skip
    with pytest.raises(dataclasses.FrozenInstanceError):
        photo.scale = 2.0  # type: ignore[misc]
    small = photo.reduced(4)
    assert photo.reduced(4) is small
    dark = dataclasses.replace(photo, tables=cast(Any, photo.tables) / 2)
    assert dark.reduced(4).linear().mean() == pytest.approx(small.linear().mean() / 2, rel=0.01)
    gone = weakref.ref(small)
    del photo, small
    gc.collect()
    assert gone() is None


def _with_grey_rest(kind: str) -> bytes:
    pixels = np.asarray(Image.open(io.BytesIO(photos.jpeg()))).copy()
    pixels[pixels.shape[0] * 6 // 10 :] = 128
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, kind)
    return out.getvalue()


@pytest.mark.parametrize("kind", ["PNG", "WEBP", "TIFF", "JPEG", "HEIF", "AVIF"])
def test_a_half_grey_picture_is_suspect_in_any_format(kind: str) -> None:
    assert read_photo(_with_grey_rest(kind)).facts.suspect
    assert not read_photo(photos.jpeg()).facts.suspect


@pytest.mark.slow
@pytest.mark.parametrize("outline", [None, "whole photo"])
def test_a_half_grey_picture_is_asked_about_whatever_is_said(studio: Settings, outline: OutlineWord | None) -> None:
    order = replace(order_for(studio, _with_grey_rest("JPEG")), facts=WorkFacts(kind="ink", outline=outline))
    record = process(order, lambda *_: None).record
    assert record.outcome == "needs a look", record.reasons
    assert "may be damaged" in record.reasons[0]
    assert len(record.choices) > 1  # it can be answered


@pytest.mark.parametrize("tone", [0, 128, 255])
def test_a_picture_of_one_tone_is_set_aside(studio: Settings, tone: int) -> None:
    out = io.BytesIO()
    Image.new("RGB", (1200, 900), (tone,) * 3).save(out, "PNG")
    record = process(order_for(studio, out.getvalue()), lambda *_: None).record
    assert record.outcome == "set aside"
    assert "flat tone" in record.reasons[0]


def test_noise_is_never_ready(studio: Settings) -> None:
    out = io.BytesIO()
    noise = np.random.default_rng(5).integers(0, 255, (900, 1200, 3), dtype=np.uint8)
    Image.fromarray(noise).save(out, "PNG")
    assert process(order_for(studio, out.getvalue()), lambda *_: None).record.outcome in (
        "no work seen",
        "needs a look",
    )


def test_a_job_that_finds_no_room_leaves_none_taken(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    written: list[str] = []

    def full(write: Callable[..., Path], final: Path, *more: Any, **how: Any) -> Path:
        if written:
            raise DeliveryError("master.tif can't be written (No space left on device)")
        written.append(final.name)
        return write(final, *more, **how)

    for write in (write_part, make_part):
        monkeypatch.setattr(f"autoprep.job.delivery.{write.__name__}", partial(full, write))
    with pytest.raises(DeliveryError):
        process(order_for(studio, photos.jpeg()), lambda *_: None)
    assert len(written) == 1
    assert not list(studio.studio.rglob("*.part"))


def test_a_photo_with_too_few_pixels_waits_and_says_how_many_it_has(studio: Settings) -> None:
    """A tiny picture is no print of two centimetres, and no stamp in the middle of a post."""
    presets = {
        "square": Preset(width_px=1080, height_px=1080),
        "large": Preset(width_mm=900.0, height_mm=700.0, ppi=300),
        "small": Preset(long_side_px=900),
        "any": Preset(width_mm=900.0, height_mm=700.0, ppi=300, least_percent=0.0),
    }
    record = done(order_for(with_presets(studio, **presets), photos.jpeg())).record
    assert [output.destination for output in record.outputs] == ["square", "small", "any"]
    assert "8" in record.held["large"]
    assert record.held_kinds == {"large": "too few pixels"}
    assert "pixels" in record.held["large"]


def test_a_print_in_the_works_own_size_waits_until_the_size_is_said(studio: Settings) -> None:
    presets = {"own": Preset(size="work", ppi=100, least_percent=0.0, format="tiff", mark=False)}
    order = order_for(with_presets(studio, **presets), photos.jpeg())
    waits = done(order).record
    assert "say it" in waits.held["own"]
    assert waits.held_kinds == {"own": "size not known"}
    # 195.072 x 152.4 mm are 7.68 x 6 inches: 768 x 600 pixels at 100 ppi, which the photo has.
    said = WorkFacts(size_mm=(195.072, 152.4))
    (output,) = done(replace(order, facts=said)).record.outputs
    assert (output.width_px, output.height_px) == (768, 600)
    with tifffile.TiffFile(studio.studio / output.path) as file:
        tags = file.pages[0].tags  # type: ignore[union-attr]
        assert tags["XResolution"].value == (100, 1)
    large = done(replace(order, facts=WorkFacts(size_mm=(7680.0, 6000.0)))).record
    assert "more than 30000 pixels" in large.held["own"]


@pytest.mark.parametrize("form", ["tiff", "jpeg"])
@pytest.mark.parametrize("bleed_mm", [0.0, 3.0])
def test_a_print_in_the_works_own_size_keeps_it_where_the_photo_has_fewer_pixels(
    studio: Settings, form: str, bleed_mm: float
) -> None:
    """The file has the pixels that there are, and says that fewer of them make an inch; no border of ground."""
    presets = {"own": Preset(size="work", ppi=300, format=form, mark=False, bleed_mm=bleed_mm)}
    order = order_for(with_presets(studio, **presets), photos.jpeg())
    said = WorkFacts(size_mm=(195.072, 152.4))  # 2304 x 1800 pixels would be wanted, and the photo has about half
    (output,) = done(replace(order, facts=said)).record.outputs
    with Image.open(studio.studio / output.path) as image:
        ppi = float(image.info["dpi"][0])
        assert 100 < ppi < 200
        assert image.size == (output.width_px, output.height_px)
        inches = [(195.072 + 2 * bleed_mm) / 25.4, (152.4 + 2 * bleed_mm) / 25.4]
        assert [side / ppi for side in image.size] == pytest.approx(inches, abs=1 / ppi)
    assert f"the photo's pixels give {ppi:g} ppi at the work's own size, where 300 were wanted" in output.notes
    assert not any("stands at" in note for note in output.notes)
    few = {"own": presets["own"].model_copy(update={"least_percent": 70.0})}
    waits = done(replace(order_for(with_presets(studio, **few), photos.jpeg()), facts=said)).record
    assert waits.held_kinds == {"own": "too few pixels"}


def test_what_is_only_measured_on_is_let_go_before_pictures_are_made(
    studio: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A worker's memory is that of the photo's own pixels and of the picture that is made; small copies lie apart."""
    kept: list[int] = []

    def counted(*given: Any) -> Any:
        kept.append(len(pixels._REDUCED))
        return deliver(*given)

    monkeypatch.setattr("autoprep.job.story.deliver", counted)
    process(order_for(studio, photos.jpeg()), lambda *_: None)
    assert kept
    assert not any(kept)


def test_small_copies_of_a_photo_and_of_what_is_measured_are_never_held_at_a_time(
    studio: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of 12 megapixels the copies of either take 48 MB; and neither is searched for a chart through the other."""
    held: list[list[bool]] = []
    data = photos.jpeg(quality=91)  # what no other test has measured
    photo = read_photo(data)
    lit = without_contrast(photo, studio.correction.camera_contrast)
    assert lit is not photo
    monkeypatch.setattr("autoprep.job.story.read_photo", lambda *_: photo)
    for module, name in ((story, "make_plan"), (comparison, "rectify")):
        monkeypatch.setattr(module, name, _told(getattr(module, name), held, photo, lit))
    process(order_for(studio, data), lambda *_: None)
    assert held == [[False, False], [False, False]]


def _told(act: Any, held: list[list[bool]], *of: Any) -> Any:
    """The act, which first notes of which photos there are small copies."""

    def told(*given: Any) -> Any:
        held.append([photo in pixels._REDUCED for photo in of])
        return act(*given)

    return told


def test_a_picture_that_must_be_small_keeps_the_light_of_fine_hatching(studio: Settings, tmp_path: Path) -> None:
    """It is rendered anew: finished codes that are averaged are darker than the light between the lines."""
    y, x = np.mgrid[0:1050, 0:1400]
    lines = np.where((0.94 * x + 0.34 * y) % 3 < 1.2, 52, 240) + np.random.default_rng(1).normal(0, 3, x.shape)
    lines[:120] = lines[-120:] = 240  # bare paper
    codes = np.repeat(np.clip(lines, 0, 255).astype(np.uint8)[..., None], 3, axis=-1)
    photo = read_photo(photos.jpeg(codes, quality=98))
    corners = tuple((float(x), float(y)) for x, y in rectangle(1400, 1050))
    plan, _, _ = make_plan(photo, Outline(corners_px=corners, confidence=1.0, whole_photo=True), Wishes())  # type: ignore[arg-type]
    work = Delivery("1", studio, planned(photo, plan), WorkFacts())

    def light(preset: Preset) -> tuple[int, float]:
        settings = with_presets(studio, small=preset)
        output, part = deliver(replace(work, settings=settings), "small", tmp_path / "small.jpg")
        picture = np.asarray(Image.open(part).convert("RGB"), np.float64) / 255
        assert output.width_px == picture.shape[1]
        return picture.shape[1], float(srgb_to_linear(picture[len(picture) // 4 : -len(picture) // 4]).mean())

    narrow, small = light(Preset(long_side_px=1400, mark=False, max_kb=180, least_quality=75))
    assert narrow < 0.8 * 1400
    _, asked = light(Preset(long_side_px=narrow, mark=False, quality=95))
    assert abs(np.log2(small / asked)) < 0.03


def test_a_labs_profile_is_reached_from_16_bits(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    """Also where the file has 8: each code is rounded once."""
    (studio.studio / "lab.icc").write_bytes(SPACES["a98-rgb"].profile())
    depths = []

    def noted(pixels: AnyArray, *more: Any) -> Any:
        depths.append(pixels.dtype)
        return convert(pixels, *more)

    monkeypatch.setattr(delivery, "convert", noted)
    record = done(
        order_for(with_presets(studio, lab=Preset(long_side_px=300, profile="lab.icc")), photos.jpeg())
    ).record
    assert [output.destination for output in record.outputs] == ["lab"]
    assert depths == [np.uint16]


def test_only_files_in_srgb_say_that_they_are(studio: Settings) -> None:
    """Exif 2.32, ColorSpace: 1 is sRGB, 0xFFFF another one; a lab's own profile is another one."""
    (studio.studio / "lab.icc").write_bytes(SPACES["a98-rgb"].profile())
    presets = {
        "site": Preset(long_side_px=300),
        "wide": Preset(long_side_px=300, colour="display-p3"),
        "lab": Preset(long_side_px=300, profile="lab.icc"),
    }
    said = {}
    for output in done(order_for(with_presets(studio, **presets), photos.jpeg())).record.outputs:
        exif = piexif.load((studio.studio / output.path).read_bytes())["Exif"]
        said[output.destination] = exif[piexif.ExifIFD.ColorSpace]
    assert said == {"site": 1, "wide": 0xFFFF, "lab": 0xFFFF}
