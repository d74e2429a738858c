"""What else tells the light of a photo: a chart in it, a grey card beside the work, reference shots in its folder."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from pathlib import Path

import numpy as np

from autoprep.correction.chart import TRUSTED_DELTA_E, bent, referred, seen_through_chart
from autoprep.correction.references import (
    Reference,
    at_exposure,
    grey_card_beside,
    read_reference,
    with_warning,
)
from autoprep.domain import ChartFit, Declined, Outline, ReferenceShot, ToldBy
from autoprep.errors import PhotoError
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import float32
from autoprep.imaging.colour import mixed
from autoprep.pixels import Photo

# Daylight turns within a few hours; a reference from another time is none.
_WITHIN = timedelta(hours=3)
BESIDE = "the grey card beside the work"


@dataclass(frozen=True)
class Seen:
    """The photo as the correction sees it: through a chart, if there is one; with what a reference tells.

    absolute: its levels are reflectances.
    """

    photo: Photo
    chart: ChartFit | None = None
    reference: Reference | None = None
    absolute: bool = False


def with_references(
    photo: Photo, outline: Outline, grey_card: bool, shots: tuple[tuple[Path, ReferenceShot], ...]
) -> Seen:
    """The photo with the best that tells its light: a chart in it, then a card beside the work, then other shots.

    What lies beside the work tells the colours; the light over the frame is told by a shot all the same.
    """
    photo, chart = seen_through_chart(photo)
    beside = grey_card_beside(photo, outline, BESIDE) if grey_card and chart is None else None
    if grey_card and chart is None and beside is None:
        photo = with_warning(photo, "a grey card should lie beside the work, but none was seen that is plain and grey")
    photo, told = _told_by(shots, photo)
    if chart is None and beside is None:
        return seen_with(told, photo) if told.name else Seen(photo)
    over = _light_alone(told)
    told = _joined(beside, over) if beside is not None else over
    return Seen(photo, chart, told if told.name else None, absolute=chart is not None)


def _told_by(shots: tuple[tuple[Path, ReferenceShot], ...], photo: Photo) -> tuple[Photo, Reference]:
    """The photo with what is to be said of shots that can't serve it, and what all others tell together."""
    told = Reference(name="")
    for path, said in shots:
        found = reference_in(path, said)
        if isinstance(found, Declined):
            photo = with_warning(photo, f"the reference {path.name} was not used: {found.reason}")
        elif not same_light(found.taken_at, photo.facts.taken_at):
            photo = with_warning(photo, f"the reference {path.name} was not used: it was taken at another time")
        else:
            told = _joined(told, found)
    return photo, told


def _light_alone(told: Reference) -> Reference:
    """What shots tell of the light over the frame, and nothing else."""
    return Reference(name=told.told_by.light, light=told.light, told_by=ToldBy(light=told.told_by.light))


def seen_with(told: Reference, photo: Photo) -> Seen:
    """The photo with what a reference shot tells; at its own exposure where that of one of them is not known."""
    if told.chart is None:
        return Seen(photo, reference=told)
    fit = at_exposure(told.chart, told, photo)
    used = fit or _exposure_left(told.chart)
    # Seen through a chart, the card's gain is spoken for.
    return Seen(referred(photo, used), used, told.model_copy(update={"gain": None}), absolute=fit is not None)


def _joined(told: Reference, found: Reference) -> Reference:
    """What was told before holds; another shot adds what is missing."""
    if told.chart is None and found.chart is not None:
        # The exposure goes with the chart.
        told = told.model_copy(update={"chart": found.chart, "exposure": found.exposure})
    one, two = told.told_by, found.told_by
    told_by = ToldBy(chart=one.chart or two.chart, colour=one.colour or two.colour, light=one.light or two.light)
    names = dict.fromkeys(name for name in (told_by.chart, told_by.colour, told_by.light) if name)
    return told.model_copy(
        update={
            "name": " and ".join(names),
            "gain": told.gain or found.gain,
            "light": told.light or found.light,
            "told_by": told_by,
        }
    )


def _exposure_left(fit: ChartFit) -> ChartFit:
    """The fit without what it says of the exposure: a middle grey stays as light as it was."""
    grey = np.full((1, 1, 3), 0.18)
    seen = float32(bent(grey, np.array(fit.gain), np.array(fit.bend), fit.between))
    after = float(mixed(seen, float32(fit.matrix)).mean())
    red, green, blue = (round(g * 0.18 / after, 6) for g in fit.gain)
    return fit.model_copy(update={"gain": (red, green, blue)})


def same_light(one: str | None, two: str | None) -> bool:
    """Whether two photos were taken within a few hours; one without a date is taken at its word."""
    try:
        return not one or not two or abs(datetime.fromisoformat(one) - datetime.fromisoformat(two)) <= _WITHIN
    except (ValueError, TypeError):
        return True


def reference_in(path: Path, said: ReferenceShot) -> Reference | Declined:
    """What a reference shot tells; read once as long as the file does not change. The file is only read."""
    try:
        about = path.stat()
        return _read(path, about.st_mtime_ns, about.st_size, said)
    except (OSError, PhotoError) as problem:
        return Declined(reason=f"it can't be read ({problem})")


@lru_cache(maxsize=8)
def _read(path: Path, _mtime_ns: int, _size: int, said: ReferenceShot) -> Reference | Declined:
    return usable(read_reference(read_photo(path.read_bytes()), said, path.name))


def usable(found: Reference | Declined) -> Reference | Declined:
    """The reference, or why what it tells is not to be trusted."""
    if not isinstance(found, Declined) and found.chart is not None and found.chart.delta_e > TRUSTED_DELTA_E:
        return Declined(reason="shine or shadow lies on the colour chart")
    return found


def tells(found: Reference | Declined) -> tuple[str, ...]:
    """What a reference shot tells, each in plain words; nothing where it can't serve."""
    if isinstance(found, Declined):
        return ()
    use = []
    if found.chart is not None:
        use.append(f"colours and exposure by a chart ({found.chart.delta_e:.1f} CIEDE2000 from its published values)")
    if found.gain is not None:
        use.append("the colour of the light")
    if found.light is not None:
        use.append("the light over the frame")
    return tuple(use)


def reference_words(found: Reference | Declined) -> str:
    """What a reference shot is good for, in plain words."""
    if isinstance(found, Declined):
        return f"A reference shot that can't serve: {found.reason}. If it shows a work, give it another name or place."
    return (
        f"A reference shot for this folder: it tells {', '.join(tells(found))}. It serves photos of the same light, if "
        "the camera's white balance is set by hand."
    )
