"""The colour chart: found, read, and what it does for colours; against the published patches and a second finder."""

import io
from typing import Any

import numpy as np
import pytest
from PIL import Image

from autoprep.correction import chart as charts
from autoprep.correction.chart import (
    PATCHES,
    Chart,
    _grow,
    _to_grid,
    bent,
    find_chart,
    fit_chart,
    fit_patches,
    referred,
    seen_through_chart,
)
from autoprep.correction.planning import Wishes, make_plan
from autoprep.domain import Declined, Outline, PhotoFacts
from autoprep.files.reading import read_photo
from autoprep.files.spaces import SPACES
from autoprep.imaging.arrays import float32
from autoprep.imaging.colour import ciede2000, lab_from_linear, mixed
from autoprep.pixels import Photo
from tests import photos
from tests.lab.measures import measure_colour
from tests.lab.scene import Shot, encode_jpeg, random_spec, render


def test_the_patches_are_the_published_ones() -> None:
    """xyY of the 24 patches (D50, after November 2014) in colour-science, adapted to D65 with Bradford's matrix."""
    colour = pytest.importorskip("colour")
    chart = colour.CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"]
    d65 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        colour.xy_to_XYZ(chart.illuminant), colour.xy_to_XYZ(d65), transform="Bradford"
    )
    xyz = colour.xyY_to_XYZ(np.array(list(chart.data.values()))) @ adapt.T
    linear = xyz @ np.array(colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB).T
    assert pytest.approx(linear, abs=2e-3) == PATCHES


def shot_with_chart(seed: int, kind: str) -> tuple[Shot, Photo]:
    spec = random_spec(
        seed, kind, None, reference="chart", fill=0.62, offset=(-0.9, -0.9), over="none", shadow="none", glare=0.0
    )
    shot = render(spec, 1200)
    return shot, read_photo(encode_jpeg(shot, spec.jpeg_quality))


@pytest.mark.slow
@pytest.mark.parametrize(("seed", "kind"), [(30060, "painting"), (30061, "toned"), (30062, "painting")])
def test_colours_follow_the_chart(seed: int, kind: str) -> None:
    """Mean CIEDE2000 within FADGI 2016's 3 stars for paintings (4), at the chart's own exposure."""
    shot, photo = shot_with_chart(seed, kind)
    seen, fit = seen_through_chart(photo)
    assert fit is not None
    assert fit.delta_e < 2
    corners = tuple((float(x), float(y)) for x, y in shot.truth.corners_px)
    outline = Outline(corners_px=corners, confidence=1.0)  # type: ignore[arg-type]
    plan, judged, _ = make_plan(seen, outline, Wishes(size_mm=shot.truth.size_mm), fit)
    assert judged.kind == kind
    assert not isinstance(plan.neutral, Declined)
    assert plan.neutral.source == "grey reference"
    assert measure_colour(seen, plan, shot).delta_e < 4


def test_a_photo_without_a_chart_is_left_alone() -> None:
    photo = read_photo(photos.jpeg())
    assert find_chart(photo) is None
    assert seen_through_chart(photo) == (photo, None)


def patches_in(size: tuple[int, int], pitch: int, light: tuple[float, float, float]) -> Photo:
    """A photo of a grey wall and the published patches on it, in a light of so much of each colour."""
    width, height = size
    linear = np.full((height, width, 3), 0.3)
    top, left = height // 3, width // 3
    linear[top : top + 4 * pitch + 8, left : left + 6 * pitch + 8] = 0.03
    for k, patch in enumerate(PATCHES):
        row, column = top + 8 + k // 6 * pitch, left + 8 + k % 6 * pitch
        linear[row : row + pitch - 8, column : column + pitch - 8] = np.clip(patch, 0, 1)
    lit = float32(linear * light + np.random.default_rng(3).normal(0, 0.001, linear.shape))
    return Photo(lit, PhotoFacts("raw", width, height))


@pytest.mark.parametrize("light", [(0.8, 0.8, 0.8), (1.0, 0.6, 0.25), (0.35, 0.6, 0.9), (0.16, 0.13, 0.1)])
def test_a_chart_is_seen_in_any_light_and_looked_for_once(
    light: tuple[float, float, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    photo = patches_in((1500, 1100), 34, light)
    found = find_chart(photo)
    assert found is not None
    assert found.pitch_px == pytest.approx(34, rel=0.03)
    assert found.centres_px[0] == pytest.approx((500 + 8 + 13, 366 + 8 + 13), abs=4)
    monkeypatch.setattr(charts, "_squares", None)
    assert find_chart(photo) is found


def test_no_chart_is_looked_for_among_the_squares_of_a_drawing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Writing and ruled lines make a thousand squares, in which to look takes longer than all else about a chart."""
    photo = patches_in((1500, 1100), 34, (0.8, 0.8, 0.8))
    brown = photo.linear().mean(axis=2, keepdims=True) ** np.array([0.8, 1.0, 1.9])  # more so where there is more ink
    for at, channel in ((8, 0), (48, 1), (88, 2)):
        brown[at : at + 2, at : at + 2, channel] = 20  # a glint
    monkeypatch.setattr(charts, "_squares", None)
    assert find_chart(Photo(float32(brown), photo.facts)) is None


@pytest.mark.parametrize("size", [(1, 1), (2, 1), (3, 3), (1, 300)])
def test_a_photo_of_a_few_pixels_has_no_chart(size: tuple[int, int]) -> None:
    out = io.BytesIO()
    Image.new("RGB", size, (200, 60, 40)).save(out, "PNG")
    assert find_chart(read_photo(out.getvalue())) is None


@pytest.mark.slow
def test_the_fit_takes_a_known_cast_out_again() -> None:
    """A chart seen through known gains and a known curve: what is fitted on it undoes them."""
    _, photo = shot_with_chart(30063, "painting")
    chart = find_chart(photo)
    assert chart is not None
    once = referred(photo, fit_chart(photo, chart))
    again = fit_chart(once, chart)
    assert np.allclose(again.gain, 1, atol=0.06)
    assert np.allclose(np.array(again.matrix), np.eye(3), atol=0.08)


def test_the_curve_goes_on_straight_beyond_the_chart() -> None:
    values = np.linspace(0, 1.4, 400)[:, None].repeat(3, axis=1)
    out = bent(values, np.ones(3), np.array([0.95, 0.02]))[:, 0]
    assert out[0] == 0
    assert (np.diff(out) > 0).all()
    assert out[-1] / values[-1, 0] == pytest.approx(out[300] / values[300, 0], rel=0.05)


@pytest.mark.parametrize("turn", range(4), ids=["right", "top", "left", "bottom"])
def test_a_chart_that_the_border_cuts_is_read_at_every_side(turn: int) -> None:
    """Its last column stands half outside; the photo is the same one turned."""
    pitch, height, width = 60, 600, 800
    linear = np.full((height, width, 3), 0.12, np.float32)
    left, top = width - 6 * pitch + 50, 150  # 10 px of the last column's patches are seen
    linear[top - 15 : top + 4 * pitch + 10, left - 15 :] = 0.02
    for k, patch in enumerate(PATCHES):
        row, column = top + k // 6 * pitch, left + k % 6 * pitch
        linear[row : row + 47, column : column + 47] = np.clip(patch, 0, 1) * 0.8
    linear += np.random.default_rng(0).normal(0, 0.002, linear.shape).astype(np.float32)
    centres = np.array([(left + k % 6 * pitch + 6, top + k // 6 * pitch + 23.5) for k in range(24)])
    for _ in range(turn):
        linear = np.ascontiguousarray(np.rot90(linear))
        centres = np.stack([centres[:, 1], linear.shape[0] - centres[:, 0]], axis=1)
    photo = Photo(linear, PhotoFacts("raw", linear.shape[1], linear.shape[0]))
    fit = fit_chart(photo, Chart(centres, pitch))
    assert fit.delta_e < 0.5


def test_burnt_out_patches_are_no_part_of_the_fit() -> None:
    """They tell how much a channel holds, not how much light there was."""
    usual = np.eye(3)
    whole, burnt = fit_patches(PATCHES * 0.9, usual), fit_patches(np.clip(PATCHES * 1.2, 0, 1), usual)
    assert (PATCHES * 1.2 > 1).any()
    assert burnt.delta_e < 0.2
    assert np.array(burnt.gain) * 1.2 == pytest.approx(np.array(whole.gain) * 0.9, rel=0.02)


def test_a_chart_in_a_photo_of_wide_colours_is_read_as_it_is_stored() -> None:
    """Display P3: its matrix comes once between what the sensor saw and what is published."""
    to_srgb = np.linalg.inv(SPACES["display-p3"].from_srgb())
    patches = 0.8 * np.clip(PATCHES, 0, 1) @ np.linalg.inv(to_srgb).T
    codes = np.kron(
        (patches * 65535).clip(0, 65535).astype(np.uint16).reshape(4, 6, 3), np.ones((60, 60, 1), np.uint16)
    )
    tables = np.tile(np.linspace(0, 1, 65536, dtype=np.float32), (3, 1))
    centres = np.array([(30.0 + k % 6 * 60, 30.0 + k // 6 * 60) for k in range(24)])
    photo = Photo(codes, PhotoFacts("png", 360, 240), tables, float32(to_srgb))
    seen = referred(photo, fit_chart(photo, Chart(centres, 60))).linear()[30::60, 30::60].reshape(-1, 3)
    labs = [lab_from_linear(np.clip(values, 0, 1)) for values in (seen, PATCHES)]
    assert ciede2000(*labs).max() < 1


def test_the_patches_differ_enough_to_be_told_apart() -> None:
    labs = lab_from_linear(np.clip(PATCHES, 0, 1))
    nearest = [min(float(ciede2000(labs[i], labs[j])) for j in range(24) if j != i) for i in range(24)]
    assert min(nearest) > 5


def test_a_referred_photo_keeps_its_codes() -> None:
    photo = read_photo(photos.jpeg())
    from autoprep.domain import ChartFit

    fit = ChartFit(gain=(1.2, 1.0, 0.9), bend=(1.0, 0.0), matrix=((1, 0, 0), (0, 1, 0), (0, 0, 1)), delta_e=1.0)
    seen = referred(photo, fit)
    assert seen.codes is photo.codes
    assert seen.linear()[100, 100] == pytest.approx(photo.linear()[100, 100] * [1.2, 1.0, 0.9], rel=1e-4)


@pytest.mark.parametrize("illuminant", ["A", "D65", "FL2", "LED-B3"])
@pytest.mark.parametrize("camera", ["Nikon 5100 (NPL)", "Sigma SDMerill (NPL)"])
def test_a_real_sensors_colours_come_right_in_patches_that_the_fit_has_not_seen(camera: str, illuminant: str) -> None:
    """Spectral sensitivities of two cameras (National Physical Laboratory), the 24 patches' spectra (averages of 30
    charts) and CIE illuminants, all as the package colour-science carries them; the bar is 2.5 but for three-layer
    sensors, whose channels overlap so much that 3.5 is what any matrix of this kind reached."""
    colour = pytest.importorskip("colour")
    shape = colour.SpectralShape(400, 700, 10)

    def at(curve: Any) -> Any:
        return curve.copy().align(shape).values

    spectra = np.array([at(sd) for sd in colour.SDS_COLOURCHECKERS["BabelColor Average"].values()])
    raw = (spectra * at(colour.SDS_ILLUMINANTS[illuminant])) @ at(colour.MSDS_CAMERA_SENSITIVITIES[camera])
    observer = at(colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"])
    daylight = at(colour.SDS_ILLUMINANTS["D65"])
    xyz = (spectra * daylight) @ observer / (daylight @ observer[:, 1])
    published = xyz @ np.array(colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB).T
    fit = fit_patches(0.9 * raw / raw.max(), np.eye(3), published)
    assert fit.left_out_delta_e is not None
    assert fit.left_out_delta_e < (2.5 if camera.startswith("Nikon") else 3.5)
    seen = bent(0.9 * raw / raw.max(), np.array(fit.gain), np.array(fit.bend)).astype(np.float32)
    lab = [lab_from_linear(np.clip(v, 0, 1)) for v in (mixed(seen[None], float32(fit.matrix))[0], published)]
    assert ciede2000(*lab).mean() == pytest.approx(fit.delta_e, abs=0.3)


def test_a_point_on_the_horizon_lies_nowhere_on_the_grid() -> None:
    """Four squares that are seen steeply put other things of the photo onto the line where their plane ends."""
    matrix = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.01, 0.0, 1.0]])
    back = np.linalg.inv(matrix)
    horizon = np.array([[1 / 0.01, 5.0], [30.0, 40.0]])
    assert horizon[0] @ back[2, :2] + back[2, 2] == 0.0
    with np.errstate(all="raise"):
        place = _to_grid(matrix, horizon)
    assert np.abs(place[0] - np.rint(place[0])).max() > 0.2  # on no place of the grid
    assert np.isfinite(place).all()


def test_a_slanting_shape_whose_ways_lead_to_one_neighbour_makes_no_grid() -> None:
    """Found in a photo of a page with writing: such ways make a line and no plane, and nothing has a place on it."""
    long, short = np.cos(np.pi / 8), np.sin(np.pi / 8)
    seed = 20 * np.array([[-long, 0.0], [0.0, short], [long, 0.0], [0.0, -short]])
    centres = np.array([[18.0, 0.0], [-18.0, 0.0], [60.0, 40.0], [0.0, 0.0], [70.0, -30.0]])
    assert _grow(seed, centres, 20.0) is None
