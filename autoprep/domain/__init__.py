"""The frozen values that travel between the parts: facts of a photo, outline, plan, rendition, record.

Everything that ends up in a job record is a pydantic model and round-trips through JSON. Nothing here needs arrays:
what holds pixels, and what a plan comes to on them, stands in autoprep.pixels. A command that only asks starts without.
"""

from autoprep.domain.facts import PhotoFacts
from autoprep.domain.plan import (
    CHART_RANGE,
    STRAIGHT,
    ChartFit,
    CorrectionPlan,
    Geometry,
    LightField,
    Neutral,
    Outline,
    Sharpening,
    Side,
    ToldBy,
    Tone,
    is_round,
    torn_sides,
)
from autoprep.domain.record import JobRecord, OutputRecord, Reason, Why, kind_of
from autoprep.domain.values import (
    Confidence,
    Corner,
    Corners,
    Declined,
    Kind,
    Outcome,
    OutlineWord,
    PaperWord,
    ReferenceShot,
    Triple,
    Value,
)
from autoprep.domain.work import NAME_FIELDS, WorkFacts

__all__ = [
    "CHART_RANGE", "NAME_FIELDS", "STRAIGHT", "ChartFit", "Confidence", "Corner", "Corners", "CorrectionPlan",
    "Declined", "Geometry", "JobRecord", "Kind", "LightField", "Neutral", "Outcome", "Outline", "OutlineWord",
    "OutputRecord", "PaperWord", "PhotoFacts", "Reason", "ReferenceShot", "Sharpening", "Side", "ToldBy", "Tone",
    "Triple", "Value", "Why", "WorkFacts", "is_round", "kind_of", "torn_sides",
]  # fmt: skip
