"""Several takes of one work: the best is used, whichever came first, and the others are kept and explained."""

import cv2
import numpy as np
import pytest
import skimage.data

from autoprep.cli.main import main
from autoprep.correction.assessment import blur_px
from autoprep.domain import JobRecord
from autoprep.imaging.transfer import srgb_to_linear
from autoprep.ledger import Ledger
from autoprep.service.rule import is_better
from autoprep.service.takes import merit, merits
from autoprep.wishes.places import ledger_path
from autoprep.wishes.settings import load
from autoprep.wishes.tables import Settings
from tests import photos
from tests.service.engines import run_once

pytestmark = pytest.mark.usefixtures("looked_at_once")


def take(seed: int = 0, blur_px: float = 0.0, wobble: int = 0) -> bytes:
    """A take of the work with this seed: blurred, or with other noise, so that its bytes are its own."""
    pixels = photos.sheet(seed)
    if blur_px:
        pixels = np.asarray(cv2.GaussianBlur(pixels, (0, 0), blur_px), np.uint8)
    pixels = np.clip(pixels.astype(int) + wobble, 0, 255).astype(np.uint8)
    return photos.jpeg(pixels=pixels)


def run(settings: Settings, **files: bytes) -> dict[str, JobRecord]:
    """Drop the photos one after the other and process them; the records by photo."""
    records: dict[str, JobRecord] = {}
    for name, data in files.items():
        (settings.folders.inbox / f"{name}.jpg").write_bytes(data)
        records = run_once(settings)
    return {shown.removesuffix(".jpg"): record for shown, record in records.items()}


def squares(settings: Settings) -> list[str]:
    return sorted(path.name for path in (settings.folders.ready / "square").glob("*.jpg"))


@pytest.mark.parametrize("order", [("sharp", "soft"), ("soft", "sharp")])
def test_the_sharper_take_is_used_whichever_came_first(studio: Settings, order: tuple[str, str]) -> None:
    data = {"sharp": take(), "soft": take(blur_px=2.5)}
    records = run(studio, **{name: data[name] for name in order})
    assert records["sharp"].outcome == "ready"
    assert records["soft"].outcome == "alternate"
    assert records["soft"].take_of == records["sharp"].job
    assert "sharper" in records["soft"].reasons[0]
    assert squares(studio) == ["sharp.jpg"]
    assert (studio.folders.inbox / "soft.jpg").read_bytes() == data["soft"]


def test_other_works_are_no_takes(studio: Settings) -> None:
    for number in range(2):
        (studio.folders.inbox / f"work {number}.jpg").write_bytes(take(number))
    records = run(studio, last=take(2))
    assert {record.outcome for record in records.values()} == {"ready"}
    assert len(squares(studio)) == 3


def test_the_artist_has_the_last_word(studio: Settings) -> None:
    """Asked for by name, an alternate is rendered, and stays."""
    records = run(studio, sharp=take(), soft=take(blur_px=2.5))
    ledger = Ledger(ledger_path(studio))
    ledger.ask_redo(records["soft"].job, ["square"])
    ledger.close()
    again = run(studio, other=take(3))
    assert again["soft"].outcome == "ready"
    assert again["sharp"].outcome == "ready"
    assert squares(studio) == ["other.jpg", "sharp.jpg", "soft.jpg"]


def test_redo_of_another_take_puts_no_work_into_a_call_twice(
    studio: Settings, capsys: pytest.CaptureFixture[str]
) -> None:
    """A call holds a work once: the take that is asked for besides goes where all works go, unless it is said."""
    config, calls = studio.studio / "config" / "destinations.toml", studio.folders.ready / "call"
    config.write_text(
        config.read_text() + '\n[call]\nlong_side_px = 300\nwhen = "asked"\nmark = false\nname = "{nn}"\n'
    )
    studio = load(studio.config_file)
    (studio.folders.inbox / "sharp.txt").write_text("also for: call")
    run(studio, sharp=take(), soft=take(blur_px=2.5))
    at = ("--config", str(studio.config_file))
    assert main(["redo", "soft", *at]) == 0
    assert squares(studio) == ["sharp.jpg", "soft.jpg"]
    assert [place.name for place in calls.iterdir()] == ["01.jpg"]

    (studio.folders.inbox / "sharp.txt").write_text("for: call")
    run_once(studio)
    assert squares(studio) == []  # neither take lies in the open now
    assert main(["redo", "soft", *at]) == 2
    assert "another take of a work that you send to call alone" in capsys.readouterr().err
    assert main(["redo", "soft", "--destination", "call", *at]) == 0
    assert sorted(place.name for place in calls.iterdir()) == ["01.jpg", "02.jpg"]
    assert main(["works", "--for", "call", *at]) == 1
    assert "one work stands in the list more than once, by several takes: 01.jpg, 02.jpg" in capsys.readouterr().out


def test_redo_of_what_is_sent_nowhere_says_so(studio: Settings, capsys: pytest.CaptureFixture[str]) -> None:
    run(studio, sharp=take())
    config = studio.studio / "config" / "destinations.toml"
    config.write_text('[call]\nlong_side_px = 300\nwhen = "asked"\n')
    assert main(["redo", "sharp", "--config", str(studio.config_file)]) == 2
    assert "sharp.jpg is sent nowhere; name a place with --destination" in capsys.readouterr().err


def test_what_a_take_is_worth() -> None:
    def record(**measures: float) -> JobRecord:
        usual = {
            "work_long_side_px": 3000.0, "blur_px": 1.0, "oblique_degrees": 3.0, "light_unevenness_percent": 8.0,
            "sharpness": 0.2, "lightness": 90.0, "grain": 0.1,
        }  # fmt: skip
        return JobRecord(job="j", photo="p.jpg", sha256="", outcome="ready", measures={**usual, **measures})

    best = record()
    for fault in (
        {"blur_px": 2.0},
        {"glare_percent": 2.0},
        {"oblique_degrees": 20.0},
        {"light_unevenness_percent": 40.0},
        {"sharpness": 0.1},  # shaken along its strongest edges: their width tells nothing
        {"lightness": 60.0},
        {"grain": 0.8},
        {"clipped_percent": 3.0},
    ):
        assert is_better(merit(best), merit(record(**fault)))
        assert not is_better(merit(record(**fault)), merit(best))
    assert not is_better(merit(record()), merit(best))  # as good: the earlier one stays
    # Burnt-out paper is white anyway: it weighs less than a picture of half the detail.
    burnt = record(clipped_percent=90.0)
    assert is_better(merit(burnt), merit(record(blur_px=4.0, sharpness=0.0125)))
    assert merits(burnt) == merits(record(clipped_percent=60.0))
    without = {"work_long_side_px": 3000.0, "blur_px": 1.0}  # a record of an earlier version
    assert merits(JobRecord(job="j", photo="p.jpg", sha256="", outcome="ready", measures=without))["less noise"] == 0
    assert sum(merits(record(glare_percent=3.0)).values()) < sum(merits(record(oblique_degrees=12.0)).values())


_PICTURES = ("camera", "coins", "page", "text", "moon", "astronaut")


@pytest.mark.parametrize("name", _PICTURES)
def test_a_sharp_take_wins_however_noisy_and_dim_the_others_are(name: str) -> None:
    """Open pictures that scikit-image carries. Noise as standard deviation in codes, blur in pixels: the variance of
    the Laplacian, which many use, is right in two of six of the first pairs (computed; the family of measures: Pertuz,
    Puig, Garcia, Pattern Recognition 46, 2013)."""
    picture = np.asarray(getattr(skimage.data, name)(), np.float64)
    codes = picture[..., :3] if picture.ndim == 3 else np.repeat(picture[..., None], 3, axis=-1)
    rng = np.random.default_rng(1)

    def seen(blur: float, noise: float, exposure: float = 1.0) -> float:
        soft = cv2.GaussianBlur(codes, (0, 0), blur) if blur else codes
        noisy = np.clip(soft + rng.normal(0, noise, soft.shape), 0, 255) / 255
        found = blur_px(np.asarray(srgb_to_linear(noisy) * exposure, np.float32))
        assert found is not None
        return found

    sharp = seen(0.0, 2.0)
    for blur, noise in ((2.0, 8.0), (1.2, 8.0), (1.2, 12.0)):
        assert sharp < 0.85 * seen(blur, noise)
    assert seen(0.0, 0.0, exposure=0.6) < 0.85 * seen(0.8, 0.0)
