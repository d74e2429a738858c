"""Flat works of all kinds, each fixed by its kind and a seed."""

from __future__ import annotations

from collections.abc import Callable

from .flatwork import FlatWork
from .kinds import coloured, ink, journal, notebook, painting, pencil, toned, washed, watercolour

KINDS = ("pencil", "ink", "journal", "watercolour", "painting", "toned")
"""The kinds that a seed alone chooses among."""
ALL_KINDS = (*KINDS, "notebook", "coloured", "washed")
_BUILDERS: dict[str, Callable[[int, int], FlatWork]] = {
    "pencil": pencil.build,
    "ink": ink.build,
    "journal": journal.build,
    "watercolour": watercolour.build,
    "painting": painting.build,
    "toned": toned.build,
    "notebook": notebook.build,
    "coloured": coloured.build,
    "washed": washed.build,
}


def make_work(kind: str, seed: int, long_px: int = 2000) -> FlatWork:
    """One work of a kind; the same seed is the same work at any `long_px` (pixels of its long side)."""
    return _BUILDERS[kind](seed, long_px)


__all__ = ["ALL_KINDS", "KINDS", "FlatWork", "make_work"]
