"""Files between a least and a most number of bytes: a search on quality, then on size, with a floor."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

from autoprep.errors import CannotMeet


class Picture(Protocol):
    """What can be written: pixels with all that goes along."""

    @property
    def size_px(self) -> tuple[int, int]:
        """(width, height)."""


P = TypeVar("P", bound=Picture)

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
class Fitted(Generic[P]):
    """The bytes, the picture that is in them, the quality it took, and what has to be said."""

    data: bytes
    picture: P
    quality: int
    notes: tuple[str, ...] = ()


def fit_bytes(make: Callable[[float], P], quality: int, limits: Limits, write: Callable[[P, int], bytes]) -> Fitted[P]:
    """Write within the limits, at the best quality and size that fit. Raises CannotMeet with the reason.

    make(scale) -> the picture with sides of so much of the wanted ones, 1 at first: it is rendered anew, for finished
    pixels that are reduced lose the light between fine lines, and their sharpness; write(picture, quality) -> its file.
    """
    picture = make(1.0)
    data = write(picture, quality)
    if limits.most is not None and len(data) > limits.most:
        return _smaller(picture, make, quality, limits, write)
    if limits.least is not None and len(data) < limits.least:
        return _larger(picture, quality, limits, write)
    return Fitted(data, picture, quality)


def _smaller(
    current: P, make: Callable[[float], P], quality: int, limits: Limits, write: Callable[[P, int], bytes]
) -> Fitted[P]:
    assert limits.most is not None
    scale, floor = 1.0, min(quality, limits.least_quality)
    while True:
        best = _best_quality(current, floor, quality, limits.most, write)
        if best is not None:
            _check_least(len(best[1]), limits)
            said = f"quality {best[0]} instead of {quality}" if best[0] < quality else ""
            if scale < 1:
                sides = "{} x {} px".format(*current.size_px)
                said = f"{said}, and {sides}" if said else sides
            return Fitted(best[1], current, best[0], (f"to stay under {limits.most / 1000:.0f} kB: {said}",))
        scale *= _STEP
        if not limits.may_shrink or scale < _FLOOR:
            how = "even at half its size" if limits.may_shrink else "and its size is fixed"
            raise CannotMeet(
                f"{limits.most / 1000:.0f} kB cannot be met: at quality {floor} the picture still takes more, {how}"
            )
        current = make(scale)


def _check_least(size: int, limits: Limits) -> None:
    """The best file under a cap may be far below it: WebP and others jump where they begin to lose something."""
    if limits.least is not None and size < limits.least:
        raise CannotMeet(
            f"{_between(limits)} cannot be met: of the files that this picture can make, the largest below that takes "
            f"{size / 1000:.0f} kB, and the next one more"
        )


def _between(limits: Limits) -> str:
    return f"{(limits.least or 0) / 1000:.0f} to {(limits.most or 0) / 1000:.0f} kB"


def _best_quality(
    picture: P, low: int, high: int, most: int, write: Callable[[P, int], bytes]
) -> tuple[int, bytes] | None:
    """The highest quality in low..high that fits, by halving."""
    found: tuple[int, bytes] | None = None
    while low <= high:
        middle = (low + high) // 2
        data = write(picture, middle)
        if len(data) <= most:
            found, low = (middle, data), middle + 1
        else:
            high = middle - 1
    return found


def _larger(picture: P, quality: int, limits: Limits, write: Callable[[P, int], bytes]) -> Fitted[P]:
    assert limits.least is not None
    for raised in range(quality + 1, 101):
        data = write(picture, raised)
        if limits.most is not None and len(data) > limits.most:
            raise CannotMeet(
                f"{_between(limits)} cannot be met: at quality {raised - 1} the picture takes less, at {raised} more"
            )
        if len(data) >= limits.least:
            note = f"to reach {limits.least / 1000:.0f} kB: quality {raised} instead of {quality}"
            return Fitted(data, picture, raised, (note,))
    raise CannotMeet(f"{limits.least / 1000:.0f} kB cannot be reached: the picture holds less, even at full quality")
