"""A question to the artist: where the work may lie, how it would come out each time, and what can be done."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from autoprep.domain import Declined, JobRecord, Outline, Photo
from autoprep.files.storage import write_part
from autoprep.imaging.arrays import Float32
from autoprep.imaging.geometry import overlap_in_photo
from autoprep.job.orders import JobOrder, JobResult, choice_name
from autoprep.job.stages import Stages, now, record_of
from autoprep.told.pictures import finished, where

MOST_CHOICES = 3
_TWINS = 0.97  # of two outlines that overlap so much only one is offered
Preview = Callable[[Outline], Float32]
"""preview(outline) -> (h, w, 3) float32 codes 0..1 of the work as it would come out."""

_SEVERAL = "More than one work is seen in the photo; which one is meant?"
_AGAIN = "- or take the photo again with some desk showing on all four sides, on a ground that differs from it.\n"


@dataclass(frozen=True)
class Doubt:
    """What is asked: the reason in words, and the outlines that it may be, likeliest first; none for a size."""

    reason: str
    choices: tuple[Outline, ...] = ()


def about_edge(outline: Outline | Declined, choices: Sequence[Outline], several: bool) -> Doubt:
    """The doubt about a work's edge."""
    if isinstance(outline, Declined):
        return Doubt(f"The edge of the work was not found: {outline.reason}.")
    said = f"The edge of the work is not sure (confidence {outline.confidence:.0%}); which of these is it?"
    return Doubt(_SEVERAL if several else said, tuple(choices))


def apart(choices: Sequence[Outline], size: tuple[int, int]) -> tuple[Outline, ...]:
    """Of near twins the likelier."""
    kept: list[Outline] = []
    for choice in choices:
        if all(overlap_in_photo(choice.array(), other.array(), size) < _TWINS for other in kept):
            kept.append(choice)
    return tuple(kept)


def ask(
    order: JobOrder, photo: Photo, outline: Outline | Declined, stages: Stages, doubt: Doubt, preview: Preview
) -> JobResult:
    """The question as a record, and its pictures: `where.jpg`, and a finished picture for each choice."""
    choices = apart(doubt.choices, photo.full_px)
    record = record_of(
        order,
        photo,
        "needs a look",
        outline=None if isinstance(outline, Declined) else outline,
        choices=choices,
        reasons=(doubt.reason, *photo.facts.warnings),
    )
    result = JobResult(record)
    with stages.stage("ask"):
        shown = choices or (() if isinstance(outline, Declined) else (outline,))
        place_of_work = where(photo, shown)
        files = {
            order.look_folder / "where.jpg": place_of_work,
            order.look_folder / "why.txt": _why(order.photo, doubt.reason, choices, record).encode("utf-8"),
            order.proof_folder / "photo.jpg": place_of_work,
        }
        for number, choice in enumerate(choices, 1):
            files[order.look_folder / choice_name(number)] = finished(preview(choice), number)
        for place, data in files.items():
            result.parts.append((write_part(place, data, order.job), place))
    pages = {"photo": f"{order.proof_folder.name}/photo.jpg"}
    result.record = record.model_copy(update={"seconds": stages.seconds, "finished_at": now(), "pages": pages})
    return result


def _why(photo: str, reason: str, choices: Sequence[Outline], record: JobRecord) -> str:
    return (
        f"{photo}\n\n{reason}\n\nWays to settle it:\n{_ways(choices, record)}"
        "The photo itself lies unchanged in the inbox.\n"
    )


def _ways(choices: Sequence[Outline], record: JobRecord) -> str:
    if choices:
        return (
            f"- delete all pictures {choice_name(1)[:-5]}... in this folder but the right one: the photo is then "
            f"finished by it, for all destinations (in {_WHERE} each has its number at its upper side; A to D are the "
            f"corners of the first, enlarged below);\n{_AGAIN}"
            "- if none is right, say “outline: whole photo”, or where its corners are, in a note beside the photo; "
            "“outline: ask again” in a note brings this question back at any time.\n"
        )
    if record.outline is not None:
        return (
            f"- if the outline in {_WHERE} is right, correct the size in the photo's name or note;\n"
            "- if it is wrong, say “outline: ask” in a note beside the photo. Either way it goes on by itself.\n"
        )
    return (
        "- take the photo again with some desk showing on all four sides, on a ground that differs from it;\n"
        "- or crop the photo to the work alone on the phone, and drop it in again;\n"
        "- or say “outline: whole photo” in a note beside the photo, if it shows nothing but the work.\n"
    )


_WHERE = "where.jpg"
