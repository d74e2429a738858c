"""Flat works of all kinds, each fixed by its kind and a seed."""

from __future__ import annotations

from collections.abc import Callable

from .flatwork import FlatWork
from .kinds import ink, journal, painting, pencil, toned, watercolour

KINDS = ("pencil", "ink", "journal", "watercolour", "painting", "toned")
_BUILDERS: dict[str, Callable[[int, int], FlatWork]] = {
    "pencil": pencil.build,
    "ink": ink.build,
    "journal": journal.build,
    "watercolour": watercolour.build,
    "painting": painting.build,
    "toned": toned.build,
}


def make_work(kind: str, seed: int, long_px: int = 2000) -> FlatWork:
    """One work of a kind; the same seed is the same work at any `long_px` (pixels of its long side)."""
    return _BUILDERS[kind](seed, long_px)


__all__ = ["KINDS", "FlatWork", "make_work"]
