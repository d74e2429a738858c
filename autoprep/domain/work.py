"""What the artist says of a work."""

from collections.abc import Iterable
from typing import Annotated, Literal

from pydantic import Field

from autoprep.domain.values import Corners, Kind, OutlineWord, PaperWord, ReferenceShot, Value
from autoprep.imaging.units import MM_PER_UNIT

NAME_FIELDS = (
    "photo", "nn", "last", "first", "initial", "title", "year", "medium", "h", "w", "unit", "inv", "destination",
)  # fmt: skip
"""What a destination's file names may be made of."""


class WorkFacts(Value):
    """What the artist says of a work; empty where nothing is said. size_mm is (width, height).

    size_free: the size is that of a paper format, such as "A5", said without a direction: it has none.
    destinations: where it goes, and only there; also: where it goes besides; not_for: where it never goes, whatever
    else sends it there; order: its place in lists, 0 where none is given; released: it is said in so many words
    that it is not held; shared: which of these words are said beside other takes of the work; paper: what the work
    stands on, where the artist says it; keep_paper: whether its own tint stays; lighter: by how many stops, for
    works whose exposure nothing in the photo tells.
    reference: the photo shows no work but something that tells the light of the others; grey_card: a grey card lies
    beside the work; turn: by so many degrees clockwise; outline, corners_px: which edge is the work's, in words or as
    corners in the upright photo; not_a_work: the photo shows none; as_shot: straightened, and nothing else; unclear:
    what was said and can't be used, each with the nearest word that can; noted: a note of the photo's own, or the
    command line, says something of it as of a work; held_as: what the photo was called when a note, or a row of a list,
    asked to hold it, which holds it still; empty where none does.
    """

    title: str = ""
    year: str = ""
    medium: str = ""
    size_mm: tuple[float, float] | None = None
    size_free: bool = False
    unit: str = "cm"
    inventory: str = ""
    price: str = ""
    description: str = ""
    alt_text: str = ""
    keywords: tuple[str, ...] = ()
    kind: Kind | None = None
    destinations: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    not_for: tuple[str, ...] = ()
    order: int = 0
    hold: bool = False
    released: bool = False
    shared: tuple[str, ...] = ()
    keep_paper: bool | None = None
    paper: PaperWord | None = None
    lighter: Annotated[float, Field(ge=-3, le=3)] = 0.0
    reference: ReferenceShot | None = None
    grey_card: bool = False
    turn: Literal[0, 90, 180, 270] = 0
    outline: OutlineWord | None = None
    corners_px: Corners | None = None
    not_a_work: bool = False
    as_shot: bool = False
    unclear: tuple[str, ...] = ()
    noted: bool = False
    held_as: str = ""

    def goes_to(self, usual: Iterable[str]) -> tuple[str, ...]:
        """The destinations of the work: those that it was sent to, else the usual ones; and where it goes besides."""
        sent = dict.fromkeys((*(self.destinations or usual), *self.also))
        return tuple(name for name in sent if name not in self.not_for)

    @property
    def says_work(self) -> bool:
        """Whether the artist has said anything that is said of works only: then the photo shows one.

        A title alone is none: any file name that no camera gives becomes one; nor is a year, for names of other photos
        hold one too. Said in a note of the photo's own, both are.
        """
        said = (
            self.medium,
            self.size_mm,
            self.inventory,
            self.price,
            self.kind,
            self.paper,
            self.outline,
            self.corners_px,
            self.description,
            self.alt_text,
            self.keep_paper is not None,
            self.lighter,
            self.turn,
            self.as_shot,
            self.destinations,
            self.also,
            self.grey_card,
            self.noted,
        )
        return any(said)

    def sides(self) -> tuple[str, str]:
        """Height and width in the artist's own unit, as short as they go; empty where no size is given."""
        if self.size_mm is None:
            return "", ""
        per = MM_PER_UNIT.get(self.unit, 10.0)
        width, height = (f"{side / per:.2f}".rstrip("0").rstrip(".") for side in self.size_mm)
        return height, width
