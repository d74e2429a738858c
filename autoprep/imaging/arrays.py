"""Names for the array kinds that travel through the package."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

Float32: TypeAlias = npt.NDArray[np.float32]
Float64: TypeAlias = npt.NDArray[np.float64]
UInt8: TypeAlias = npt.NDArray[np.uint8]
UInt16: TypeAlias = npt.NDArray[np.uint16]
Int32: TypeAlias = npt.NDArray[np.int32]
Bool: TypeAlias = npt.NDArray[np.bool_]
AnyArray: TypeAlias = npt.NDArray[Any]


@dataclass(frozen=True)
class Rows:
    """A picture that is made while it is read, once: the shape and type of it whole, and its rows from the top.

    shape: (H, W) or (H, W, C); strips: arrays of (rows, W) or (rows, W, C), H rows together.
    """

    shape: tuple[int, ...]
    dtype: np.dtype[Any]
    strips: Iterable[AnyArray]


def greatest(values: AnyArray) -> AnyArray:
    """(..., C) -> (...): the greatest of a few channels. The library's own reduction over so short an axis takes 20
    times as long."""
    found = values[..., 0]
    for channel in range(1, values.shape[-1]):
        found = np.maximum(found, values[..., channel])
    return found


def least(values: AnyArray) -> AnyArray:
    """(..., C) -> (...): the least of a few channels."""
    found = values[..., 0]
    for channel in range(1, values.shape[-1]):
        found = np.minimum(found, values[..., channel])
    return found


DARKEST = 2e-3
"""Linear light below this is noise: where logarithms are taken, nothing is darker."""


def float32(values: npt.ArrayLike) -> Float32:
    """Return the values as a contiguous float32 array."""
    return np.ascontiguousarray(values, dtype=np.float32)
