"""Files between a least and a most number of bytes: a search on quality, then on size, with a floor."""

import math
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

_STEP = 0.88  # each step takes a quarter of the pixels at the least
_AIM = 0.95  # bytes go about with the pixels; of a smaller picture each pixel takes some more
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
        return _smaller(picture, data, make, quality, limits, write)
    if limits.least is not None and len(data) < limits.least:
        return _larger(picture, quality, limits, write)
    return Fitted(data, picture, quality)


def _smaller(
    current: P, data: bytes, make: Callable[[float], P], quality: int, limits: Limits, write: Callable[[P, int], bytes]
) -> Fitted[P]:
    """At the first size that can do, the best quality. Each file takes seconds to write, so the least quality is
    written first, and tells whether a size can do at all.
    """
    assert limits.most is not None
    scale, floor = 1.0, min(quality, limits.least_quality)
    data = write(current, floor) if floor < quality else data
    while len(data) > limits.most:
        if not limits.may_shrink or scale <= _FLOOR:
            how = "even at half its size" if limits.may_shrink else "and its size is fixed"
            raise CannotMeet(
                f"{limits.most / 1000:.0f} kB cannot be met: at quality {floor} the picture still takes more, {how}"
            )
        scale = max(_FLOOR, scale * min(_STEP, _AIM * math.sqrt(limits.most / len(data))))
        current = make(scale)
        data = write(current, floor)
    found, data = _best_quality(current, data, (floor, quality), limits.most, write)
    _check_least(len(data), limits)
    said = f"quality {found} instead of {quality}" if found < quality else ""
    if scale < 1:
        sides = "{} x {} px".format(*current.size_px)
        said = f"{said}, and {sides}" if said else sides
    return Fitted(data, current, found, (f"to stay under {limits.most / 1000:.0f} kB: {said}",))


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
    picture: P, data: bytes, qualities: tuple[int, int], most: int, write: Callable[[P, int], bytes]
) -> tuple[int, bytes]:
    """The highest of (least, most) qualities that fits, by halving; data: the file of the least, which does."""
    found, high = qualities
    while found < high:
        middle = (found + high + 1) // 2
        written = write(picture, middle)
        if len(written) <= most:
            found, data = middle, written
        else:
            high = middle - 1
    return found, data


def _larger(picture: P, quality: int, limits: Limits, write: Callable[[P, int], bytes]) -> Fitted[P]:
    """The least quality that reaches what a file must have, by halving."""
    assert limits.least is not None
    raised, data = 100, write(picture, 100)
    if len(data) < limits.least:
        raise CannotMeet(
            f"{limits.least / 1000:.0f} kB cannot be reached: the picture holds less, even at full quality"
        )
    low = quality
    while low + 1 < raised:
        middle = (low + raised) // 2
        written = write(picture, middle)
        if len(written) >= limits.least:
            raised, data = middle, written
        else:
            low = middle
    if limits.most is not None and len(data) > limits.most:
        raise CannotMeet(
            f"{_between(limits)} cannot be met: at quality {raised - 1} the picture takes less, at {raised} more"
        )
    note = f"to reach {limits.least / 1000:.0f} kB: quality {raised} instead of {quality}"
    return Fitted(data, picture, raised, (note,))
