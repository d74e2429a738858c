"""Before and after for the proof page: the same view, so that one can be laid over the other."""

from dataclasses import dataclass

from autoprep.correction.planned import Planned
from autoprep.correction.squaring import let_go, rectify
from autoprep.domain import JobRecord
from autoprep.files.encoders import Carried, How, encode
from autoprep.files.reading import preview_jpeg
from autoprep.files.spaces import SPACES
from autoprep.files.storage import write_part
from autoprep.imaging.arrays import UInt8
from autoprep.imaging.transfer import encode_fast, quantise8
from autoprep.job.details import details
from autoprep.job.orders import CORNERS, JobOrder, JobResult
from autoprep.job.question import CORNER_PX
from autoprep.pixels import Photo
from autoprep.rendering.render import on_ground
from autoprep.told.corners import corners_html


@dataclass(frozen=True)
class AsShot:
    """What the proof page shows of the photo as it came: two JPEG files, and the page for its corners."""

    small: bytes
    before: bytes
    page: str


def as_shot(order: JobOrder, photo: Photo, record: JobRecord, made: Planned) -> AsShot:
    """The pictures of the photo as it came. It is the last that looks at small copies of it: they are let go."""
    if made.photo is not photo:
        let_go(made.photo)  # before those of the photo itself are made again
    before = quantise8(encode_fast(rectify(photo, made.plan.geometry).linear))
    small = preview_jpeg(photo, CORNER_PX)
    page = corners_html(photo, order.photo, small, record.outline, order.facts, made.plan.kind)
    shown = AsShot(small, _plain_jpeg(before), page)
    for seen in {id(photo): photo, id(made.photo): made.photo}.values():
        let_go(seen)
    return shown


def write_proof(order: JobOrder, shot: AsShot, made: Planned, result: JobResult) -> dict[str, str]:
    """Write the page's pictures beside their names, ready to be published; their places by what they show."""
    pictures = {
        "photo.jpg": shot.small,
        "before.jpg": shot.before,
        "after.jpg": _plain_jpeg(quantise8(on_ground(made.whole, made.plan))),
        "details.jpg": _plain_jpeg(details(made)),
    }
    for name, data in {**pictures, CORNERS: shot.page.encode("utf-8")}.items():
        place = order.proof_folder / name
        result.parts.append((write_part(place, data, order.job), place))
    return {name.partition(".")[0]: f"{order.proof_folder.name}/{name}" for name in (*pictures, CORNERS)}


def _plain_jpeg(pixels: UInt8) -> bytes:
    return encode(pixels, "jpeg", Carried(icc=SPACES["srgb"].profile()), How(86))
