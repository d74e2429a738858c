"""Random draws of a scene, by name."""

from collections.abc import Sequence
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from autoprep.imaging.arrays import Float32

T = TypeVar("T")


class Dice:
    """Draws of one scene; the same seed gives the same scene."""

    def __init__(self, seed: int | Sequence[int] | np.random.Generator) -> None:
        self.rng = seed if isinstance(seed, np.random.Generator) else np.random.default_rng(seed)

    def between(self, low: float, high: float) -> float:
        """A real number of [low, high)."""
        return float(self.rng.uniform(low, high))

    def whole(self, low: int, high: int) -> int:
        """A whole number of low .. high - 1."""
        return int(self.rng.integers(low, max(high, low + 1)))

    def normal(self, mean: float, spread: float) -> float:
        """A normally distributed number."""
        return float(self.rng.normal(mean, spread))

    def chance(self, share: float) -> bool:
        """True in this share of draws."""
        return bool(self.rng.random() < share)

    def of(self, options: Sequence[T]) -> T:
        """One of the options, each as likely."""
        return options[int(self.rng.integers(0, len(options)))]

    def weighted(self, options: Sequence[tuple[float, T]]) -> T:
        """One of the (weight, option) pairs."""
        mark = self.rng.random() * sum(weight for weight, _ in options)
        for weight, option in options:
            mark -= weight
            if mark < 0:
                return option
        return options[-1][1]

    def uniform(self, low: float, high: float, size: int | tuple[int, ...]) -> Float32:
        """An array of uniform float32 numbers."""
        return self.rng.uniform(low, high, size).astype(np.float32)

    def normals(self, spread: npt.ArrayLike, size: int | tuple[int, ...]) -> Float32:
        """An array of normal float32 numbers around 0."""
        return self.rng.normal(0, spread, size).astype(np.float32)

    def grain(self, *shape: int) -> Float32:
        """An array of standard normal float32 numbers, drawn fast."""
        return self.rng.standard_normal(shape, dtype=np.float32)
