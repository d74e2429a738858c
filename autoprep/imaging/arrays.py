"""Names for the array kinds that travel through the package."""

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


DARKEST = 2e-3
"""Linear light below this is noise: where logarithms are taken, nothing is darker."""


def float32(values: npt.ArrayLike) -> Float32:
    """Return the values as a contiguous float32 array."""
    return np.ascontiguousarray(values, dtype=np.float32)
