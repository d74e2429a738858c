"""Fitted scorers: small networks rank candidates, boosted trees say how likely a refined outline is right."""

import base64
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, cast

import numpy as np
import numpy.typing as npt

from autoprep.imaging.arrays import Float64


@dataclass(frozen=True)
class Network:
    """A network with one hidden tanh layer on standardised features: (N, F) -> (N,) scores.

    mean, spread: (F,); hidden: (F, H); hidden_bias: (H,); direct: (F,); out: (H,); bias: scalar.
    """

    mean: Float64
    spread: Float64
    hidden: Float64
    hidden_bias: Float64
    direct: Float64
    out: Float64
    bias: float

    def __call__(self, features: npt.ArrayLike) -> Float64:
        """(N, F) features -> (N,) float64 scores (logits)."""
        x = (np.atleast_2d(np.asarray(features, np.float64)) - self.mean) / self.spread
        x = np.clip(x, -6, 6)  # far outside the fitted range the scores must not run away
        hidden = np.tanh(x @ self.hidden + self.hidden_bias)
        return cast(Float64, x @ self.direct + hidden @ self.out + self.bias)

    @classmethod
    def of(cls, stored: dict[str, Any]) -> "Network":
        """From plain numbers, as `weights` holds them."""
        arrays = {key: np.array(value, np.float64) for key, value in stored.items() if key != "bias"}
        return cls(**arrays, bias=float(stored["bias"]))


@dataclass(frozen=True)
class Committee:
    """Several networks fitted on different photos; their scores are averaged, so that one's blind spot is not all."""

    members: tuple[Network, ...]

    def __call__(self, features: npt.ArrayLike) -> Float64:
        """(N, F) features -> (N,) float64 mean scores (logits)."""
        return cast(Float64, np.mean([member(features) for member in self.members], axis=0))

    @classmethod
    def of(cls, stored: Sequence[dict[str, Any]]) -> "Committee":
        """From plain numbers, as `weights` holds them."""
        return cls(tuple(Network.of(member) for member in stored))


@dataclass(frozen=True)
class Trees:
    """Gradient-boosted regression trees on one list of nodes: (N, F) features -> (N,) scores (logits).

    roots: (T,) first node of each tree; feature: (M,) column, -1 on leaves; threshold: (M,), a value goes left when
    it is at most that; left, right: (M,) next nodes; value: (M,) what a leaf adds; start: the score of no tree;
    slope, shift: the calibration, score -> slope * score + shift.
    """

    roots: npt.NDArray[np.int32]
    feature: npt.NDArray[np.int32]
    threshold: npt.NDArray[np.float32]
    left: npt.NDArray[np.int32]
    right: npt.NDArray[np.int32]
    value: npt.NDArray[np.float32]
    start: float
    slope: float = 1.0
    shift: float = 0.0

    def __call__(self, features: npt.ArrayLike) -> Float64:
        """(N, F) features -> (N,) float64 calibrated scores (logits)."""
        x = np.atleast_2d(np.asarray(features, np.float64))
        node = np.tile(self.roots, (len(x), 1))
        rows = np.arange(len(x))[:, None]
        while (inner := self.feature[node] >= 0).any():
            goes_left = x[rows, np.maximum(self.feature[node], 0)] <= self.threshold[node]
            node = np.where(inner, np.where(goes_left, self.left[node], self.right[node]), node)
        total = self.start + self.value[node].sum(axis=1, dtype=np.float64)
        return cast(Float64, self.slope * total + self.shift)

    def packed(self) -> dict[str, Any]:
        """Plain values for `weights`: the arrays as base64 of deflated little-endian bytes."""
        arrays = {
            key: _packed(getattr(self, key)) for key in ("roots", "feature", "threshold", "left", "right", "value")
        }
        return {**arrays, "start": self.start, "slope": self.slope, "shift": self.shift}

    @classmethod
    def of(cls, stored: dict[str, Any]) -> "Trees":
        """From what `packed` gave."""
        whole = {key: _unpacked(stored[key], "<i4") for key in ("roots", "feature", "left", "right")}
        real = {key: _unpacked(stored[key], "<f4") for key in ("threshold", "value")}
        numbers = {key: float(stored[key]) for key in ("start", "slope", "shift")}
        return cls(**whole, **real, **numbers)  # type: ignore[arg-type]


def _packed(array: npt.NDArray[Any]) -> str:
    return base64.b64encode(zlib.compress(array.astype(array.dtype.newbyteorder("<")).tobytes(), 9)).decode("ascii")


def _unpacked(text: str, kind: str) -> npt.NDArray[Any]:
    return np.frombuffer(zlib.decompress(base64.b64decode(text)), np.dtype(kind))


def beside_the_others(features: Float64) -> Float64:
    """(N, F) features of one photo's finalists -> (N, 2 F): each as it is, and less the median of all."""
    return np.concatenate([features, features - np.median(features, axis=0)], axis=1)


def probability(logit: float) -> float:
    """Logistic function, safe for any finite logit."""
    return float(1 / (1 + np.exp(-np.clip(logit, -30, 30))))
