"""The flat work as truth: reflectance, silhouette, bare paper and size."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .colour import Array

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class FlatWork:
    """One flat artwork seen square on, in even light, with everything about it that is known."""

    kind: str  # one of works.KINDS
    title: str
    reflectance: Array  # (H, W, 3) float32, linear sRGB reflectance, 1.0 = perfect diffuse white
    bare: NDArray[np.bool_]  # (H, W) True where the paper carries no mark at all
    alpha: Array  # (H, W) float32 silhouette, 1 inside the work, 0 outside it
    size_mm: tuple[float, float]  # width, height
    paper: str  # white, natural, cream, grey, kraft, black, or none for a painting to the edge
    framed: bool = False
    inner_box: Box | None = None  # what a frame (and its mat) leaves of the picture, in 0..1 of the work
    signature_box: Box | None = None  # x0, y0, x1, y1 in 0..1 of the work
    thickness_mm: float = 0.25
    corner_radius_mm: float = 0.0
    wear: tuple[str, ...] = ()  # of: smudge, fold, stain, tape
    margin_drawn: bool = False  # True when a drawn border line runs inside the sheet


def blank_board(work: FlatWork) -> FlatWork:
    """A plain board eight times as large as a work, to lie in its place."""
    width, height = work.size_mm
    plain = np.full((200, max(8, round(200 * width / height)), 3), 0.8, np.float32)
    clear = np.ones(plain.shape[:2], np.float32)
    return FlatWork("painting", "board", plain, clear > 0, clear, (8 * width, 8 * height), "none")
