"""Small fitted networks: some rank candidates, some say how likely a refined outline is right."""

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


def probability(logit: float) -> float:
    """Logistic function, safe for any finite logit."""
    return float(1 / (1 + np.exp(-np.clip(logit, -30, 30))))
