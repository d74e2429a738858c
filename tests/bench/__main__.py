"""`python -m tests.bench`: how long the stages take, as ratios to what they can't do without, in one run.

The floor of a rendition is decoding the photo, one cubic warp of the finished size, and encoding. Ratios can be
compared between machines; seconds can't.
"""

import io
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from autoprep.correction.apply import photometry
from autoprep.correction.outline import find_outline
from autoprep.correction.planning import Wishes, make_plan
from autoprep.correction.sharpening import sharpen
from autoprep.domain import Outline
from autoprep.files.reading import read_photo
from autoprep.rendering.layout import Frame, lay_out
from autoprep.rendering.render import Look, render

PHOTO = Path(__file__).parents[2] / "demo_inbox" / "IMG_2041.jpg"


def best_of(work: Callable[[], object], times: int = 3) -> float:
    """The shortest of a few runs in seconds."""
    taken = []
    for _ in range(times):
        started = time.perf_counter()
        work()
        taken.append(time.perf_counter() - started)
    return min(taken)


def main() -> None:
    """Measure and print."""
    cv2.setNumThreads(1)
    data = PHOTO.read_bytes()
    photo = read_photo(data)
    outline = find_outline(photo)
    assert isinstance(outline, Outline)
    plan, _, _ = make_plan(photo, outline, Wishes())
    floor_decode = best_of(lambda: np.asarray(Image.open(io.BytesIO(data))))
    print(f"decode, the library alone: {floor_decode:.3f} s = 1")
    rows: dict[str, Callable[[], object]] = {
        "read": lambda: read_photo(data),
        "find outline (with its copies of the photo)": lambda: find_outline(read_photo(data)),
        "plan": lambda: make_plan(photo, outline, Wishes()),
    }
    for name, work in rows.items():
        print(f"{name}: {best_of(work) / floor_decode:.1f}")
    codes = np.asarray(photo.codes)
    for name, frame in (("square 1080", Frame(size_px=(1080, 1080))), ("full size", Frame())):
        layout = lay_out(frame, plan)
        apply = photometry(plan, layout.work[2:])
        size = layout.work[2:]
        floor = best_of(lambda size=size: cv2.warpPerspective(codes, np.eye(3), size, flags=cv2.INTER_CUBIC))  # type: ignore[misc]
        mine = best_of(
            lambda layout=layout, apply=apply: render(  # type: ignore[misc]
                photo, plan, layout, Look(), apply, lambda code: sharpen(code, plan.sharpening)
            )
        )
        print(f"render {name}, times one plain 8-bit cubic warp of that size: {mine / floor:.1f}")


if __name__ == "__main__":
    main()
