"""Fits the scorers of the outline finder on simulated photos: `python -m tests.lab fit-outline`.

The ranker sees all candidates of a photo and learns to put the one with the largest overlap first (listwise
cross-entropy). The judge sees the refined finalists beside each other and learns whether each overlaps the truth by
0.95 or more; its scores are calibrated on photos that it has not seen. Tuning seeds only. Overlaps are measured within
the photo: what lies beyond its border nobody can see.
"""

import json
import multiprocessing
import pickle
import sys
import tempfile
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

import cv2
import numpy as np

from autoprep.correction.outline.candidates import propose
from autoprep.correction.outline.contest import contest
from autoprep.correction.outline.copies import Copies
from autoprep.correction.outline.features import rows
from autoprep.correction.outline.scorer import Committee, Trees, beside_the_others
from autoprep.domain import PhotoFacts
from autoprep.files.icc import srgb_tables
from autoprep.imaging.arrays import AnyArray, Float64, UInt8
from autoprep.imaging.geometry import overlap_in_photo, rectangle
from autoprep.pixels import Photo
from tests.lab.carried import PAPER as CARRIED_PAPER
from tests.lab.carriers import CARRIERS
from tests.lab.cut import PAPER
from tests.lab.scene import random_spec, render, rough_spec
from tests.lab.spec import SceneSpec, carried_spec, cut_spec

RIGHT = 0.95
# Sheets and paintings where edges lie side by side, and the finders err most.
HARD_PAPER = ("pencil", "ink", "toned", "coloured", "watercolour")
HARD_DESKS = ("sheets", "clutter", "white")
HARD_WALLS = ("plaster", "clutter", "wood", "plaster", "white")


class Scene(NamedTuple):
    """A photo to learn from: (H, W, 3) uint8 pixels, (4, 2) true corners, and the focal length if the file tells."""

    pixels: UInt8
    corners: Float64
    focal_mm35: float | None = None


class Listed(NamedTuple):
    """One photo's candidates: (N, F) features and (N,) overlaps with the truth."""

    features: Float64
    overlap: Float64


def photo_of(pixels: UInt8, focal_mm35: float | None = None) -> Photo:
    """A photo value from (H, W, 3) uint8 sRGB pixels."""
    facts = PhotoFacts("jpeg", pixels.shape[1], pixels.shape[0], focal_mm35)
    return Photo(pixels, facts, srgb_tables(256))


def rank_lists(scenes: Iterable[Scene]) -> list[Listed]:
    """Candidates of every scene, described and measured against the truth."""
    lists = []
    for pixels, corners, focal in scenes:
        evidence, scale = Copies(photo_of(pixels, focal)).evidence
        candidates = propose(evidence)
        truth = corners * scale
        overlaps = np.array([overlap_in_photo(truth, c.quad, evidence.shape[::-1]) for c in candidates])
        lists.append(Listed(rows(evidence, candidates), overlaps))
    return lists


def judge_lists(scenes: Iterable[Scene], ranker: Committee) -> list[Listed]:
    """Refined finalists of every scene."""
    lists = []
    for pixels, corners, focal in scenes:
        photo = photo_of(pixels, focal)
        evidence, scale = Copies(photo).evidence
        finalists = contest(photo, evidence, scale, ranker)
        truth = corners * scale
        overlaps = np.array([overlap_in_photo(truth, f.quad, evidence.shape[::-1]) for f in finalists])
        lists.append(Listed(np.array([f.features for f in finalists]), overlaps))
    return lists


# --- training: plain full-batch Adam on a network with one hidden layer --------------------------------------


def _forward(p: dict[str, Float64], x: Float64) -> tuple[Float64, Float64]:
    hidden = np.tanh(x @ p["hidden"] + p["hidden_bias"])
    return x @ p["direct"] + hidden @ p["out"] + p["bias"][0], hidden


def _backward(p: dict[str, Float64], x: Float64, hidden: Float64, grad: Float64) -> dict[str, Float64]:
    inner = np.outer(grad, p["out"]) * (1 - hidden**2)
    return {
        "direct": x.T @ grad,
        "out": hidden.T @ grad,
        "bias": np.array([grad.sum()]),
        "hidden": x.T @ inner,
        "hidden_bias": inner.sum(0),
    }


def train(
    lists: list[Listed],
    loss: Callable[[Float64, Float64, Float64, int], tuple[float, Float64]],
    hidden: int,
    steps: int,
    decay: float,
    seed: int = 5,
) -> dict[str, Any]:
    """Fit a network; loss(scores, overlaps, group starts, groups) -> (loss, gradient). Returns plain numbers."""
    rng = np.random.default_rng(seed)
    x = np.concatenate([item.features for item in lists])
    overlaps = np.concatenate([item.overlap for item in lists])
    starts = np.r_[0, np.cumsum([len(item.overlap) for item in lists])[:-1]]
    mean, spread = x.mean(0), x.std(0) + 1e-3
    x = np.clip((x - mean) / spread, -6, 6)
    count = x.shape[1]
    p = {
        "hidden": rng.normal(0, 0.3, (count, hidden)) / np.sqrt(count) * 2,
        "hidden_bias": np.zeros(hidden),
        "direct": np.zeros(count),
        "out": rng.normal(0, 0.1, hidden),
        "bias": np.zeros(1),
    }
    first, second = {k: np.zeros_like(v) for k, v in p.items()}, {k: np.zeros_like(v) for k, v in p.items()}
    for step in range(1, steps + 1):
        scores, active = _forward(p, x)
        value, grad = loss(scores, overlaps, starts, len(lists))
        gradients = _backward(p, x, active, grad)
        rate = 0.02 * 0.5 * (1 + np.cos(np.pi * step / steps))
        for key, raw in gradients.items():
            g = raw + decay * p[key] * (key != "bias")
            first[key] = 0.9 * first[key] + 0.1 * g
            second[key] = 0.999 * second[key] + 0.001 * g**2
            p[key] = p[key] - rate * (first[key] / (1 - 0.9**step)) / (np.sqrt(second[key] / (1 - 0.999**step)) + 1e-8)
        if step % 200 == 0 or step == steps:
            print(f"  step {step}: loss {value:.4f}", file=sys.stderr)
    stored = {key: np.round(value, 4).tolist() for key, value in p.items() if key != "bias"}
    return {
        "mean": np.round(mean, 5).tolist(),
        "spread": np.round(spread, 5).tolist(),
        **stored,
        "bias": round(float(p["bias"][0]), 4),
    }


def listwise(scores: Float64, overlaps: Float64, starts: Float64, groups: int) -> tuple[float, Float64]:
    """Cross-entropy between the softmax of the scores and that of the overlaps, over each photo's candidates."""
    ends = np.r_[starts[1:], len(scores)].astype(int)
    grad, total = np.zeros_like(scores), 0.0
    for a, b in zip(starts.astype(int), ends, strict=True):
        target = np.exp((overlaps[a:b] - overlaps[a:b].max()) / 0.012)
        target /= target.sum()
        if overlaps[a:b].max() < 0.8:
            continue  # nothing right to put first
        soft = np.exp(scores[a:b] - scores[a:b].max())
        soft /= soft.sum()
        total -= float((target * np.log(soft + 1e-12)).sum())
        grad[a:b] = (soft - target) / groups
    return total / groups, grad


# --- boosted trees for the judge -----------------------------------------------------------------------------


def judge_table(lists: list[Listed]) -> tuple[Float64, Float64]:
    """All finalists of all photos beside their rivals, and whether each is right."""
    features = np.concatenate([beside_the_others(item.features) for item in lists])
    return features, np.concatenate([item.overlap >= RIGHT for item in lists]).astype(np.float64)


def grow(lists: list[Listed]) -> Trees:
    """The judge's trees."""
    return boosted(*judge_table(lists), 150)


def boosted(features: Float64, right: AnyArray, trees: int) -> Trees:
    """Boosted trees by scikit-learn's histogram gradient boosting; the nodes are taken over as they are.

    features: (N, F); right: (N,) whether each row is right.
    """
    from sklearn.ensemble import HistGradientBoostingClassifier  # seconds, for tests that fit nothing too

    model = HistGradientBoostingClassifier(
        max_iter=trees, learning_rate=0.07, max_leaf_nodes=12, l2_regularization=1.0, min_samples_leaf=15,
        random_state=5,
    )  # fmt: skip
    model.fit(features, right)
    nodes, roots, at = [], [], 0
    for (predictor,) in model._predictors:
        tree = predictor.nodes
        roots.append(at)
        nodes.append([
            np.where(tree["is_leaf"], -1, tree["feature_idx"].astype(int)),
            tree["num_threshold"],
            tree["left"].astype(int) + at,
            tree["right"].astype(int) + at,
            np.where(tree["is_leaf"], tree["value"], 0.0),
        ])  # fmt: skip
        at += len(tree)
    feature, threshold, left, right_nodes, value = (np.concatenate(part) for part in zip(*nodes, strict=True))
    return Trees(
        np.array(roots, np.int32), feature.astype(np.int32), threshold.astype(np.float32), left.astype(np.int32),
        right_nodes.astype(np.int32), value.astype(np.float32), float(np.ravel(model._baseline_prediction)[0]),
    )  # fmt: skip


def cross_validated(lists: list[Listed], parts: int = 5) -> Float64:
    """(photos, 2): the score of each photo's choice by trees that have not seen the photo, and its overlap.

    lists: of the seeds from 0 on.
    """
    chosen = np.zeros((len(lists), 2))
    for part in range(parts):
        trees = grow([item for k, item in enumerate(lists) if _block(k) % parts != part])
        for k in [seed for seed in range(len(lists)) if _block(seed) % parts == part]:
            scores = trees(beside_the_others(lists[k].features))
            best = int(scores.argmax())
            chosen[k] = scores[best], lists[k].overlap[best]
    return chosen


def calibration(chosen: Float64) -> tuple[float, float]:
    """Slope and shift that turn the scores of choices into honest log odds (Platt's method)."""
    from sklearn.linear_model import LogisticRegression

    model = LogisticRegression(C=10.0).fit(chosen[:, :1], chosen[:, 1] >= RIGHT)
    return float(model.coef_[0, 0]), float(model.intercept_[0])


def write_weights(place: Path, rank: list[dict[str, Any]], judge: dict[str, Any], note: str) -> None:
    """Write autoprep/correction/outline/weights.py."""
    lines = ['"""Fitted numbers of the outline finder; made by `python -m tests.lab fit-outline`.', "", note, '"""', ""]
    lines += ["from typing import Any", "", "# fmt: off", f"RANK: list[dict[str, Any]] = {json.dumps(rank)}", ""]
    lines += [f"JUDGE: dict[str, Any] = {json.dumps(judge)}"]
    place.write_text("\n".join(lines) + "\n", encoding="utf-8")


# --- the whole fit -------------------------------------------------------------------------------------------


def _scene(seed: int, store: Path) -> Scene:
    """A photo of a tuning seed at the size that the refinement works at, through its JPEG; kept in `store`."""
    spec, place = _spec(seed), store / f"{seed}.npz"
    if not place.is_file():
        shot = render(spec, 1200)
        done, coded = cv2.imencode(".jpg", shot.pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, spec.jpeg_quality])
        assert done
        np.savez(place, coded=coded, corners=shot.truth.corners_px)
    with np.load(place) as kept:
        decoded = np.asarray(cv2.imdecode(kept["coded"], cv2.IMREAD_COLOR), np.uint8)
        corners = kept["corners"]
    pixels = np.ascontiguousarray(decoded[..., ::-1])
    if _is_bare(seed):
        return Scene(*_without_surroundings(pixels, corners))
    # One photo in six does not tell its focal length: screenshots and sent pictures do not.
    return Scene(pixels, corners, spec.focal_mm35 if seed % 6 else None)


def _spec(seed: int) -> SceneSpec:
    """Every fourth photo shows a page that its border cuts, every tenth a sheet that something carries, and every
    twentieth a sheet, every twentieth a painting, where edges lie side by side; every third is in everyday light."""
    rough = seed % 3 == 1
    if _is_cut(seed):
        return cut_spec(seed, PAPER[seed // 4 % len(PAPER)], rough)
    if seed % 10 == 9:
        kind, carrier = CARRIED_PAPER[seed // 30 % len(CARRIED_PAPER)], CARRIERS[seed // 10 % len(CARRIERS)]
        return carried_spec(seed, kind, carrier, rough)
    draw = rough_spec if rough else random_spec
    if seed % 20 == 4:
        return draw(seed, HARD_PAPER[seed // 60 % len(HARD_PAPER)], HARD_DESKS[seed // 20 % len(HARD_DESKS)])
    if seed % 20 == 16:
        return draw(seed, "painting", HARD_WALLS[seed // 100 % len(HARD_WALLS)])
    return draw(seed)


def _block(seed: int) -> int:
    """What is divided among halves and parts: so many seeds in a row show everything, so that each part has of all."""
    return seed // 20


def _is_cut(seed: int) -> bool:
    return seed % 4 == 2 and not _is_bare(seed)


def _is_bare(seed: int) -> bool:
    """Every tenth photo shows the work and nothing else."""
    return seed % 10 == 3


def _without_surroundings(pixels: UInt8, corners: Float64) -> tuple[UInt8, Float64]:
    """The part of a photo that shows the work and nothing else: its truth is the whole picture.

    Without such photos the finder would take a drawn border or a printed square for the sheet.
    """
    (left, top), (right, bottom) = np.sort(corners, axis=0)[1], np.sort(corners, axis=0)[2]
    inset = 0.01 * (right - left)
    x0, y0, x1, y1 = (int(v) for v in (left + inset, top + inset, right - inset, bottom - inset))
    cut = np.ascontiguousarray(pixels[y0:y1, x0:x1])
    return cut, rectangle(cut.shape[1], cut.shape[0])


def _described(job: tuple[int, Path]) -> Listed:
    cv2.setNumThreads(1)
    return rank_lists([_scene(*job)])[0]


def _judged(job: tuple[int, Path, list[dict[str, Any]]]) -> Listed:
    cv2.setNumThreads(1)
    return judge_lists([_scene(*job[:2])], Committee.of(job[2]))[0]


def fit(photos: int, place: Path, keep: Path | None = None, processes: int = 2) -> None:
    """Fit both networks on tuning seeds 0..photos-1 and write the weights; prints what to expect of them.

    The judge learns from finalists of a ranker that has not seen the photo (two halves), and the printed figures
    come from a judge that has not seen it either, so they are honest for scenes of this kind. keep: a folder for
    the scenes and the described finalists, to look at or to try other networks on.
    """
    seeds = list(range(photos))
    spawn = multiprocessing.get_context("spawn")
    with tempfile.TemporaryDirectory() as kept, spawn.Pool(processes) as pool:
        store = keep or Path(kept)
        store.mkdir(parents=True, exist_ok=True)
        ranked = pool.map(_described, [(i, store) for i in seeds], chunksize=8)
        # A half each for the judge's photos of the other, and all for the weights.
        parts = [[i for i in seeds if _block(i) % 2 != k] for k in (0, 1)] + [seeds]
        members = pool.map(_rank_fit, [[ranked[i] for i in chosen] for part in parts for chosen in _members(part)], 1)
        *halves, rank = (members[at : at + 2] for at in (0, 2, 4))
        judged = pool.map(_judged, [(i, store, halves[_block(i) % 2]) for i in seeds], chunksize=8)
        if keep is not None:
            with (keep / "judged.pickle").open("wb") as file:
                pickle.dump([tuple(item) for item in judged], file)
    finish(photos, place, rank, judged)


def finish(photos: int, place: Path, rank: list[dict[str, Any]], judged: list[Listed]) -> None:
    """Fit the judge on all photos, tell what to expect, and write the weights."""
    chosen = cross_validated(judged)
    slope, shift = calibration(chosen)
    chosen[:, 0] = 1 / (1 + np.exp(-(slope * chosen[:, 0] + shift)))
    _print_expectation(chosen, np.array([item.overlap.max() for item in judged]))
    judge = replace(grow(judged), slope=round(slope, 5), shift=round(shift, 5))
    write_weights(place, rank, judge.packed(), f"Tuning seeds 0 to {photos - 1}.")


def _members(seeds: list[int]) -> tuple[list[int], list[int]]:
    """What the two of a committee learn from: one photos with surroundings only, the other all. The first is better on
    sheets on desks, the second knows works without surroundings; their mean keeps most of both."""
    return [i for i in seeds if not _is_bare(i)], seeds


def _rank_fit(lists: list[Listed]) -> dict[str, Any]:
    return train(lists, listwise, hidden=12, steps=700, decay=1e-3)


def _print_expectation(chosen: Float64, best: Float64) -> None:
    sure, overlaps = chosen.T
    print(f"best finalist right: {(best >= RIGHT).mean():.3f}; chosen right: {(overlaps >= RIGHT).mean():.3f}, "
          f"mean overlap {overlaps.mean():.4f}")  # fmt: skip
    for level in (0.5, 0.7, 0.8, 0.9, 0.95):
        kept = sure >= level
        wrong = (overlaps[kept] < RIGHT).mean()
        print(f"confidence >= {level}: {kept.mean():.3f} accepted, {wrong:.4f} of them wrong")
    print(
        "not right:",
        [(int(i), round(float(sure[i]), 2), round(float(overlaps[i]), 3)) for i in np.flatnonzero(overlaps < RIGHT)],
    )
