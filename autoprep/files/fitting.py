"""Files between a least and a most number of bytes: a search on quality, then on size, with a floor."""

from collections.abc import Callable
from dataclasses import dataclass

import cv2

from autoprep.errors import CannotMeet
from autoprep.imaging.arrays import AnyArray

Write = Callable[[AnyArray, int], bytes]
"""(pixels, quality) -> file bytes."""

_STEP = 0.88  # each step takes a quarter of the pixels
_FLOOR = 0.5  # below half the wanted sides a picture is another picture


@dataclass(frozen=True)
class Limits:
    """Bytes a file may and must have, the least quality, and whether its sides may shrink."""

    most: int | None = None
    least: int | None = None
    least_quality: int = 60
    may_shrink: bool = False


@dataclass(frozen=True)
class Fitted:
    """The bytes, the pixels that are in them, the quality they took, and what has to be said."""

    data: bytes
    pixels: AnyArray
    quality: int
    notes: tuple[str, ...] = ()


def fit_bytes(pixels: AnyArray, quality: int, limits: Limits, write: Write) -> Fitted:
    """Write within the limits, at the best quality and size that fit. Raises CannotMeet with the reason."""
    data = write(pixels, quality)
    if limits.most is not None and len(data) > limits.most:
        return _smaller(pixels, quality, limits, write)
    if limits.least is not None and len(data) < limits.least:
        return _larger(pixels, quality, limits, write)
    return Fitted(data, pixels, quality)


def _smaller(pixels: AnyArray, quality: int, limits: Limits, write: Write) -> Fitted:
    assert limits.most is not None
    scale, floor = 1.0, min(quality, limits.least_quality)
    current = pixels
    while True:
        best = _best_quality(current, floor, quality, limits.most, write)
        if best is not None:
            _check_least(len(best[1]), limits)
            said = f"quality {best[0]} instead of {quality}" if best[0] < quality else ""
            if scale < 1:
                sides = f"{current.shape[1]} x {current.shape[0]} px"
                said = f"{said}, and {sides}" if said else sides
            return Fitted(best[1], current, best[0], (f"to stay under {limits.most / 1000:.0f} kB: {said}",))
        scale *= _STEP
        if not limits.may_shrink or scale < _FLOOR:
            how = "even at half its size" if limits.may_shrink else "and its size is fixed"
            raise CannotMeet(
                f"{limits.most / 1000:.0f} kB cannot be met: at quality {floor} the picture still takes more, {how}"
            )
        size = max(1, round(pixels.shape[1] * scale)), max(1, round(pixels.shape[0] * scale))
        current = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)


def _check_least(size: int, limits: Limits) -> None:
    """The best file under a cap may be far below it: WebP and others jump where they begin to lose something."""
    if limits.least is not None and size < limits.least:
        raise CannotMeet(
            f"{_between(limits)} cannot be met: of the files that this picture can make, the largest below that takes "
            f"{size / 1000:.0f} kB, and the next one more"
        )


def _between(limits: Limits) -> str:
    return f"{(limits.least or 0) / 1000:.0f} to {(limits.most or 0) / 1000:.0f} kB"


def _best_quality(pixels: AnyArray, low: int, high: int, most: int, write: Write) -> tuple[int, bytes] | None:
    """The highest quality in low..high that fits, by halving."""
    found: tuple[int, bytes] | None = None
    while low <= high:
        middle = (low + high) // 2
        data = write(pixels, middle)
        if len(data) <= most:
            found, low = (middle, data), middle + 1
        else:
            high = middle - 1
    return found


def _larger(pixels: AnyArray, quality: int, limits: Limits, write: Write) -> Fitted:
    assert limits.least is not None
    for raised in range(quality + 1, 101):
        data = write(pixels, raised)
        if limits.most is not None and len(data) > limits.most:
            raise CannotMeet(
                f"{_between(limits)} cannot be met: at quality {raised - 1} the picture takes less, at {raised} more"
            )
        if len(data) >= limits.least:
            note = f"to reach {limits.least / 1000:.0f} kB: quality {raised} instead of {quality}"
            return Fitted(data, pixels, raised, (note,))
    raise CannotMeet(f"{limits.least / 1000:.0f} kB cannot be reached: the picture holds less, even at full quality")
