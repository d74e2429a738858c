"""A question to the artist: where the work may lie, how it would come out each time, and what can be done."""

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from autoprep.domain import Declined, JobRecord, Outline
from autoprep.files.reading import preview_jpeg
from autoprep.files.storage import write_part
from autoprep.imaging.arrays import Float32
from autoprep.imaging.geometry import overlap_in_photo
from autoprep.job.orders import CORNERS, EACH, NO_WORK, NONE_OF_THESE, WHERE, WHY, JobOrder, JobResult, choice_name
from autoprep.job.stages import Stages, now, record_of
from autoprep.pixels import Photo, quad_of
from autoprep.told.corners import corners_html
from autoprep.told.pictures import each_by_itself, finished, no_work, none_of_these, where

MOST_CHOICES = 3
CORNER_PX = 1280  # long side of the photo in the corner page
MANY = 8  # so many outlines are looked through for others than those that were refused
_TWINS = 0.97  # of two outlines that overlap so much only one is offered
Preview = Callable[[Outline], Float32]
"""preview(outline) -> (h, w, 3) float32 codes 0..1 of the work as it would come out."""

_OTHERS = "None of the first ones, you said; is it one of these?"
_RESTS = "None of the outlines that are seen is right, you said. The photo rests until you say where its edges are."
_SEVERAL = "More than one work is seen in the photo: is each a work by itself, or which one is meant?"


@dataclass(frozen=True)
class Doubt:
    """What is asked: the reason in words, and the outlines that it may be, likeliest first; none for a size.

    several: of these the works in reading order that lie side by side, where more than one is seen.
    """

    reason: str
    choices: tuple[Outline, ...] = ()
    several: tuple[Outline, ...] = ()


def about_edge(outline: Outline | Declined, choices: Sequence[Outline], several: Sequence[Outline] = ()) -> Doubt:
    """The doubt about a work's edge, or about which of several works is meant."""
    if isinstance(outline, Declined):
        return Doubt(f"The edge of the work was not found: {outline.reason}.")
    said = f"The edge of the work is not sure (confidence {outline.confidence:.0%}); which of these is it?"
    return Doubt(_SEVERAL if several else said, tuple(choices), tuple(several))


def after_refusal(outlines: Sequence[Outline], refused: Sequence[Outline], size: tuple[int, int], rests: bool) -> Doubt:
    """What is asked when none of the choices was right: the next-best outlines, once; then the photo rests.

    size: (width, height) of the photo.
    """
    others = () if rests else apart(outlines, size, refused)[:MOST_CHOICES]
    return Doubt(_OTHERS if others else _RESTS, others)


def apart(choices: Sequence[Outline], size: tuple[int, int], refused: Sequence[Outline] = ()) -> tuple[Outline, ...]:
    """Of near twins the likelier, and none that is a twin of a refused one."""
    kept: list[Outline] = []
    for choice in choices:
        if all(overlap_in_photo(quad_of(choice), quad_of(other), size) < _TWINS for other in (*refused, *kept)):
            kept.append(choice)
    return tuple(kept)


def ask(
    order: JobOrder, photo: Photo, outline: Outline | Declined, stages: Stages, doubt: Doubt, preview: Preview
) -> JobResult:
    """The question as a record, and its pictures: `where.jpg`, and a finished picture for each choice."""
    choices = apart(doubt.choices, photo.full_px, order.refused)
    record = record_of(
        order,
        photo,
        "needs a look",
        outline=None if isinstance(outline, Declined) else outline,
        choices=choices,
        refused=order.refused,
        offers_none=bool(choices),
        several=doubt.several if choices else (),
        reasons=(doubt.reason, *photo.facts.warnings),
    )
    result = JobResult(record)
    with stages.stage("ask"):
        shown = choices or (() if isinstance(outline, Declined) or order.refused else (outline,))
        first = len(order.refused) + 1
        place_of_work = where(photo, shown, first)
        works = [preview(choice) for choice in choices]
        can_be_none = bool(choices) and not order.facts.says_work
        files = {
            WHERE: place_of_work,
            WHY: _why(order.photo, doubt.reason, record, can_be_none).encode("utf-8"),
            **{choice_name(number): finished(work, number) for number, work in enumerate(works, first)},
            **_each(choices, works, record.several, preview),
            **({NONE_OF_THESE: none_of_these()} if choices else {}),
            **({NO_WORK: no_work()} if can_be_none else {}),
            CORNERS: _corners(order, photo, next(iter(shown), None)),
        }
        places = {order.look_folder / name: data for name, data in files.items()}
        for place, data in {**places, order.proof_folder / "photo.jpg": place_of_work}.items():
            result.parts.append((write_part(place, data, order.job), place))
    pages = {"photo": f"{order.proof_folder.name}/photo.jpg"}
    pages |= {
        name.partition(".")[0]: os.path.relpath(place, order.proof_folder.parent).replace(os.sep, "/")
        for name, place in ((place.name, place) for place in places)
        if name in (CORNERS, EACH) or name.startswith("choice-")
    }
    result.record = record.model_copy(update={"seconds": stages.seconds, "finished_at": now(), "pages": pages})
    return result


def _each(
    choices: Sequence[Outline], made: Sequence[Float32], several: Sequence[Outline], preview: Preview
) -> dict[str, bytes]:
    """The picture that shows several works, each as it would come out by itself; none where there are not several."""
    if not several:
        return {}
    known = list(zip(choices, made, strict=True))
    works = [next((work for outline, work in known if outline == one), None) for one in several]
    return {
        EACH: each_by_itself([preview(one) if work is None else work for one, work in zip(several, works, strict=True)])
    }


def _corners(order: JobOrder, photo: Photo, outline: Outline | None) -> bytes:
    small = preview_jpeg(photo, CORNER_PX)
    return corners_html(photo, order.photo, small, outline, order.facts, "").encode("utf-8")


def _why(photo: str, reason: str, record: JobRecord, can_be_none: bool) -> str:
    ways = _ways(record) + (_NO_WORK if can_be_none else "")
    return f"{photo}\n\n{reason}\n\nWays to settle it:\n{ways}The photo itself lies unchanged in the inbox.\n"


def _ways(record: JobRecord) -> str:
    first = len(record.refused) + 1
    if len(record.choices) > 1:
        each, and_each = (_EACH.format(count=len(record.several)), f" and {EACH}") if record.several else ("", "")
        return each + (
            f"- delete all pictures {choice_name(first)[:-5]}...{and_each} in this folder but the "
            f"right one: the photo is then finished by it, for all destinations (in {WHERE} each has its number at its "
            f"upper side; A to D are the corners of the first, enlarged below);\n{_NONE}{_AGAIN}"
        )
    if record.choices:
        return (
            f"- if {choice_name(first)} is right, delete {NONE_OF_THESE}: the photo is then finished by it, for all "
            f"destinations;\n{_NONE}{_AGAIN}"
        )
    if record.refused:
        return _BY_HAND + _AGAIN + "- “outline: ask again” in a note brings the first choices back.\n"
    if record.outline is not None:
        return (
            f"- if the outline in {WHERE} is right, correct the size where you said it (the photo's name or note, the "
            "folder's name or note);\n"
            "- if it is wrong, say “outline: ask” in a note beside the photo. Either way it goes on by itself.\n"
        )
    return (
        _BY_HAND
        + _AGAIN
        + "- or crop the photo to the work alone on the phone, and drop it in again;\n"
        + "- or say “outline: whole photo” in a note beside the photo, if it shows nothing but the work.\n"
    )


_EACH = (
    f"- delete all pictures in this folder but {EACH} and {WHERE}: each of the {{count}} works that it shows is then "
    "finished by itself, under the photo's name with -1, -2 and so on;\n"
)
_NO_WORK = f"- if the photo shows no work at all, leave {NO_WORK} alone: it is then left in peace.\n"
_BY_HAND = f"- open {CORNERS}, set the four corners, and put the note that it saves into the inbox;\n"
_NONE = (
    f"- if none is right, delete all choices and leave {NONE_OF_THESE} alone: others are then offered, once;\n"
    f"- or open {CORNERS}, set the four corners yourself, and put the note that it saves into the inbox;\n"
    "- or say “outline: whole photo” in a note beside the photo; “outline: ask again” brings this question back at any "
    "time;\n"
)
_AGAIN = "- or take the photo again with some desk showing on all four sides, on a ground that differs from it.\n"
