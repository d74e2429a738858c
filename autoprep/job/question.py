"""A question to the artist: a marked picture, one for each outline that may be right, and what can be done."""

from collections.abc import Sequence

from autoprep.domain import Declined, JobRecord, Outline, Photo
from autoprep.files.storage import write_part
from autoprep.job.orders import JobOrder, JobResult
from autoprep.job.stages import Stages, now
from autoprep.told.pictures import marked_photo


def ask(
    order: JobOrder,
    photo: Photo,
    outline: Outline | Declined,
    stages: Stages,
    doubt: str = "",
    choices: Sequence[Outline] = (),
    several: bool = False,
) -> JobResult:
    """Something is not sure: a marked picture, the reason, and what can be done."""
    reason = doubt or (_SEVERAL if several else _doubt(outline))
    choices = () if isinstance(outline, Declined) else tuple(choices)
    result = JobResult(
        JobRecord(
            job=order.job,
            photo=order.photo,
            sha256=order.sha256,
            outcome="needs a look",
            taken_at=photo.facts.taken_at,
            outline=None if isinstance(outline, Declined) else outline,
            choices=choices,
            work=order.facts,
            reasons=(reason, *photo.facts.warnings),
            settings_sha256=order.settings.sha256,
        )
    )
    ways = (
        "- take the photo again with some desk showing on all four sides, on a ground that differs from it;\n"
        "- or crop the photo to the work alone on the phone, and drop it in again.\n"
    )
    if choices:
        ways = (
            f"- delete all pictures {choice_name(1)[:-5]}... in this folder but the one with the right outline: "
            "the photo is then finished by it;\n"
            "- or take the photo again with some desk showing on all four sides, on a ground that differs from it.\n"
        )
    if doubt and not choices:
        ways = (
            "- if the marked outline is right, correct the size in the photo's name or note: the photo is then "
            "finished by itself;\n"
            "- if it is wrong, take the photo again with some desk showing on all four sides.\n"
        )
    with stages.stage("ask"):
        marked = marked_photo(photo, None if isinstance(outline, Declined) else outline)
        note = (
            f"{order.photo}\n\n{reason}\n\nTwo ways to settle it:\n{ways}"
            "The photo itself lies unchanged in the inbox.\n"
        )
        files = {
            order.look_folder / "marked.jpg": marked,
            order.look_folder / "why.txt": note.encode("utf-8"),
            order.proof_folder / "photo.jpg": marked,
        }
        for number, choice in enumerate(choices, 1):
            files[order.look_folder / choice_name(number)] = marked_photo(photo, choice)
        for place, data in files.items():
            result.parts.append((write_part(place, data, order.job), place))
    result.record = result.record.model_copy(
        update={
            "seconds": stages.seconds,
            "finished_at": now(),
            "pages": {"photo": f"{order.proof_folder.name}/photo.jpg"},
        }
    )
    return result


MOST_CHOICES = 3
_SEVERAL = "More than one work is seen in the photo; the marked picture shows one of them, the others the rest."


def choice_name(number: int) -> str:
    """The picture of a question's choice, counted from 1."""
    return f"choice-{number}.jpg"


def _doubt(outline: Outline | Declined) -> str:
    if isinstance(outline, Declined):
        return f"The edge of the work was not found: {outline.reason}."
    return (
        f"The edge of the work is not sure (confidence {outline.confidence:.0%}); "
        "the marked picture shows the best guess, the others what else it may be."
    )
