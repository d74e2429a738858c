"""What all values have in common: frozen, strict, and the words that they are told in."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

Kind = Literal["pencil", "ink", "journal", "watercolour", "painting", "toned"]
PaperWord = Literal["white", "toned", "none"]
OutlineWord = Literal["ask", "ask again", "whole photo", "inside frame", "with frame"]
Outcome = Literal[
    "ready", "needs a look", "alternate", "reference", "duplicate", "set aside", "no work seen", "several works",
    "replaced",
]  # fmt: skip
ReferenceShot = Literal["light reference", "grey card", "colour chart", "blank board"]
Corner = tuple[float, float]
Corners = tuple[Corner, Corner, Corner, Corner]
Triple = tuple[float, float, float]
Confidence = Annotated[float, Field(ge=0, le=1)]


class Value(BaseModel):
    """A frozen, strict value that round-trips through JSON."""

    # Built where it is first used: a command uses few of the models that it imports, and waits for each that is built.
    model_config = ConfigDict(defer_build=True, frozen=True, extra="forbid", allow_inf_nan=False)


class Declined(Value):
    """A step that could not tell, and why: an answer, not an error."""

    reason: str
