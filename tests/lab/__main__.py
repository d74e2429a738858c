"""Commands: `python -m tests.lab demo [--out DIR]` and `python -m tests.lab sheet --kind K --seeds A-B --out FILE`."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np

from autoprep.correction import paper_signs
from autoprep.correction.outline import side_weights, weights

from .bars import print_bars
from .bent import BENT_SEEDS, score_bent
from .best_take import BEST_SEEDS, score_best
from .bordered import BORDERED_SEEDS, score_bordered
from .calibrate import calibrate
from .carried import CARRIED_SEEDS, score_carried
from .colour import Mask
from .contact import contact
from .cut import CUT_SEEDS, score_cut
from .demo import LONG_PX, write_demo
from .eye.__main__ import add_arguments as add_eye_arguments
from .eye.__main__ import run as train_eye
from .fit_outline import fit
from .fit_paper import PAPER_SEEDS, fit_paper
from .fit_sides import SIDES_SEEDS, fit_sides
from .fortnight import fortnight
from .frames import FRAMES_SEEDS, score_frames
from .laid import LAID_SEEDS, score_laid
from .real_pages import score_pages
from .scene import DESKS, random_spec, render, rough_spec
from .score import REFERENCES, REPORT_SEEDS, score
from .several import SEVERAL_SEEDS, score_several
from .shade.__main__ import add_arguments as add_shade_arguments
from .shade.__main__ import run as train_shade
from .takes import TAKES_SEEDS, score_takes
from .varied import score_varied
from .works import ALL_KINDS, KINDS


def contact_sheet(kind: str | None, desk: str | None, seeds: range, rough: bool = False, cell_px: int = 480) -> Mask:
    """(H, W, 3) uint8 RGB: simulated photos with the true outline drawn, four to a row."""
    cells = []
    for seed in seeds:
        shot = render((rough_spec if rough else random_spec)(seed, kind, desk), 2 * cell_px)
        picture = shot.pixels.copy()
        outline = np.round((shot.truth.corners_px - 0.5) * 16).astype(np.int32)
        cv2.polylines(picture, [outline], True, (230, 40, 40), 2, cv2.LINE_AA, 4)
        half = cv2.resize(picture, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        cell = np.full((cell_px, cell_px, 3), 70, np.uint8)
        cell[: half.shape[0], : half.shape[1]] = half[:cell_px, :cell_px]
        label = f"{seed} {shot.spec.kind} {shot.spec.desk}"
        cv2.putText(cell, label, (6, cell_px - 8), cv2.FONT_HERSHEY_SIMPLEX, 0.45, (240, 240, 240), 1, cv2.LINE_AA)
        cells.append(cell)
    while len(cells) % 4:
        cells.append(np.full((cell_px, cell_px, 3), 70, np.uint8))
    return np.vstack([np.hstack(cells[i : i + 4]) for i in range(0, len(cells), 4)])


def _seed_range(text: str) -> range:
    """`3-9` -> range(3, 10); `5` -> range(5, 6)."""
    first, _, last = text.partition("-")
    return range(int(first), int(last or first) + 1)


def _fortnight(given: argparse.Namespace) -> None:
    """Ends with 1 where something was not as expected."""
    if not fortnight(given.out):
        sys.exit(1)


_DONE_BY: dict[str, Callable[[argparse.Namespace], object]] = {
    "demo": lambda given: write_demo(given.out, given.long_px),
    "fit-outline": lambda given: fit(given.photos, given.out, given.keep, given.processes),
    "fit-sides": lambda given: fit_sides(given.photos, given.first, given.out, given.keep, given.processes),
    "fit-paper": lambda given: fit_paper(given.photos, given.first, given.out, given.keep, given.processes),
    "train-eye": train_eye,
    "train-shade": train_shade,
    "train-light": train_shade,
    "train-paper": train_shade,
    "contact": lambda given: contact(sorted(given.photos.rglob("*.jpg"))[: given.count], given.out),
    "several": lambda given: score_several(given.photos, given.first),
    "cut": lambda given: score_cut(given.photos, given.first, given.rough, given.processes),
    "bordered": lambda given: score_bordered(given.photos, given.first, given.rough, given.processes),
    "carried": lambda given: score_carried(given.photos, given.first, given.rough, given.processes),
    "laid": lambda given: score_laid(given.photos, given.first, given.processes),
    "bent": lambda given: score_bent(
        given.photos, given.first, rough=given.rough, flat=given.flat, long_px=given.long_px, processes=given.processes
    ),
    "frames": lambda given: score_frames(given.photos, given.first, given.processes),
    "takes": lambda given: score_takes(given.works, given.first, given.processes),
    "best-take": lambda given: score_best(given.works, given.first, given.processes, wordy=given.all),
    "fortnight": _fortnight,
    "pages": lambda given: score_pages(given.folder, given.out),
    "varied": lambda given: score_varied(given.folder, given.processes),
    "calibrate": lambda given: calibrate(given.photos, given.out),
}


def main() -> None:
    """Run one command."""
    cv2.setNumThreads(1)
    parser = argparse.ArgumentParser(prog="python -m tests.lab", description="The picture laboratory.")
    commands = parser.add_subparsers(dest="command", required=True)
    demo = commands.add_parser("demo", help="write the demo photos")
    demo.add_argument("--out", type=Path, default=Path("demo_inbox"))
    demo.add_argument("--long-px", type=int, default=LONG_PX, help="long side in pixels (less for a quick look)")
    sheet = commands.add_parser("sheet", help="a contact sheet of simulated photos with their true outline")
    sheet.add_argument("--kind", choices=ALL_KINDS)
    sheet.add_argument("--rough", action="store_true", help="in the light and with the phone of everyday")
    sheet.add_argument("--desk", choices=DESKS)
    sheet.add_argument("--seeds", type=_seed_range, default=range(8), metavar="A-B")
    sheet.add_argument("--out", type=Path, required=True)
    refit = commands.add_parser("fit-outline", help="fit the outline finder's networks on tuning seeds")
    refit.add_argument("--photos", type=int, default=600)
    refit.add_argument("--out", type=Path, default=Path(weights.__file__), help="the module to write")
    refit.add_argument("--keep", type=Path, help="folder to keep scenes and described finalists in")
    refit.add_argument("--processes", type=int, default=2)
    sides = commands.add_parser("fit-sides", help="fit the trees that weigh the edges along a side, on tuning seeds")
    sides.add_argument("--photos", type=int, default=3000)
    sides.add_argument("--first", type=int, default=SIDES_SEEDS)
    sides.add_argument("--out", type=Path, default=Path(side_weights.__file__), help="the module to write")
    sides.add_argument("--keep", type=Path, help="file for the described sides: made, or read where it is there")
    sides.add_argument("--processes", type=int, default=2)
    papers = commands.add_parser("fit-paper", help="fit the trees that tell toned paper from light, on tuning seeds")
    papers.add_argument("--photos", type=int, default=3800)
    papers.add_argument("--first", type=int, default=PAPER_SEEDS)
    papers.add_argument("--out", type=Path, default=Path(paper_signs.__file__).with_name("paper_weights.py"))
    papers.add_argument("--keep", type=Path, help="file for the described papers: made, or read where it is there")
    papers.add_argument("--processes", type=int, default=2)
    outputs = commands.add_parser("contact", help="all destinations of demo photos on one sheet")
    outputs.add_argument("--photos", type=Path, default=Path("demo_inbox"), help="folder with photos")
    outputs.add_argument("--count", type=int, default=6)
    outputs.add_argument("--out", type=Path, required=True)
    scored = commands.add_parser("score", help="score outline and correction on report seeds")
    scored.add_argument("--photos", type=int, default=6, help="photos of every kind")
    scored.add_argument("--first", type=int, default=REPORT_SEEDS, help="first seed (below 10000: tuning seeds)")
    scored.add_argument("--kind", choices=ALL_KINDS, action="append", help="only this kind; may be given again")
    scored.add_argument("--long-px", type=int, default=1600, help="long side of the photos in pixels")
    scored.add_argument("--out", type=Path, help="folder for score.json and before/after/truth sheets")
    scored.add_argument("--reference", choices=REFERENCES, default="none", help="what tells the light of the photo")
    scored.add_argument("--rough", action="store_true", help="in the light and with the phone of everyday")
    groups = commands.add_parser("several", help="what comes of photos that show two or three works")
    groups.add_argument("--photos", type=int, default=60)
    groups.add_argument("--first", type=int, default=SEVERAL_SEEDS)
    cut = commands.add_parser("cut", help="what comes of pages that the photo's border cuts")
    cut.add_argument("--photos", type=int, default=48)
    cut.add_argument("--first", type=int, default=CUT_SEEDS)
    cut.add_argument("--rough", action="store_true", help="in the light and with the phone of everyday")
    cut.add_argument("--processes", type=int, default=2)
    laid = commands.add_parser("laid", help="what comes of paint laid in solid where a shadow lies")
    laid.add_argument("--photos", type=int, default=60)
    laid.add_argument("--first", type=int, default=LAID_SEEDS)
    laid.add_argument("--processes", type=int, default=2)
    bordered = commands.add_parser("bordered", help="what comes of drawings with a line ruled around them")
    bordered.add_argument("--photos", type=int, default=60)
    bordered.add_argument("--first", type=int, default=BORDERED_SEEDS)
    bordered.add_argument("--rough", action="store_true", help="in the light and with the phone of everyday")
    bordered.add_argument("--processes", type=int, default=2)
    carried = commands.add_parser("carried", help="what comes of sheets on boards and in sleeves")
    carried.add_argument("--photos", type=int, default=60)
    carried.add_argument("--first", type=int, default=CARRIED_SEEDS)
    carried.add_argument("--rough", action="store_true", help="in the light and with the phone of everyday")
    carried.add_argument("--processes", type=int, default=2)
    bent = commands.add_parser("bent", help="what comes of sheets that do not lie flat")
    bent.add_argument("--photos", type=int, default=60)
    bent.add_argument("--first", type=int, default=BENT_SEEDS)
    bent.add_argument("--rough", action="store_true", help="in the light and with the phone of everyday")
    bent.add_argument("--flat", action="store_true", help="flat ones instead: none of their sides should be followed")
    bent.add_argument("--long-px", type=int, default=2400, help="long side of the photos in pixels")
    bent.add_argument("--processes", type=int, default=2)
    frames = commands.add_parser("frames", help="is the picture inside a frame found, and none where there is none?")
    frames.add_argument("--photos", type=int, default=120)
    frames.add_argument("--first", type=int, default=FRAMES_SEEDS)
    frames.add_argument("--processes", type=int, default=2)
    takes = commands.add_parser("takes", help="are takes of one work told from other works?")
    takes.add_argument("--works", type=int, default=60)
    takes.add_argument("--first", type=int, default=TAKES_SEEDS)
    takes.add_argument("--processes", type=int, default=2)
    best = commands.add_parser("best-take", help="of five takes of each work, is the best by truth used?")
    best.add_argument("--works", type=int, default=20)
    best.add_argument("--first", type=int, default=BEST_SEEDS)
    best.add_argument("--processes", type=int, default=2)
    best.add_argument("--all", action="store_true", help="tell every set, not only those that were missed")
    pages = commands.add_parser("pages", help="score the light on real photos of pages with labelled outlines")
    pages.add_argument("folder", type=Path, help="photos and their labels.json")
    pages.add_argument("--out", type=Path, help="folder for before/after sheets")
    varied = commands.add_parser("varied", help="look for labelled works in real photos, mirrored, turned, cut, darker")
    varied.add_argument("folder", type=Path, help="photos and their labels.json")
    varied.add_argument("--processes", type=int, default=2)
    honest = commands.add_parser("calibrate", help="how honest the outline's confidence is, on report seeds")
    honest.add_argument("--photos", type=int, default=400)
    honest.add_argument("--out", type=Path, help="the plot to write")
    weeks = commands.add_parser("fortnight", help="a fortnight in a studio, against the real service")
    weeks.add_argument("--out", type=Path, required=True, help="folder for the photos, the studio and the table")
    add_eye_arguments(commands.add_parser("train-eye", help="train the second eye for one piece (extra: train)"))
    add_shade_arguments(commands.add_parser("train-shade", help="train the eye for shade (extra: train)"))
    add_shade_arguments(commands.add_parser("train-light", help="train the eye for light (extra: train)"))
    add_shade_arguments(commands.add_parser("train-paper", help="train the eye for paper (extra: train)"))
    given = parser.parse_args()
    if given.command in _DONE_BY:
        _DONE_BY[given.command](given)
    elif given.command == "score":
        kinds = given.kind or (ALL_KINDS if given.rough else KINDS)
        rows = score(given.photos, given.long_px, given.out, kinds, given.first, given.reference, given.rough)
        if not given.kind and given.reference == "none" and not given.rough:
            print_bars(rows)
    else:
        picture = contact_sheet(given.kind, given.desk, given.seeds, given.rough)
        cv2.imwrite(str(given.out), picture[..., ::-1])
        print(f"wrote {given.out}")


if __name__ == "__main__":
    main()
