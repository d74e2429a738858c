"""The frozen values that travel between the parts: photo, outline, plan, rendition, record.

Everything that ends up in a job record is a pydantic model and round-trips through JSON; what holds pixels is
a plain frozen dataclass.
"""

from autoprep.domain.photo import Photo, PhotoFacts, Work
from autoprep.domain.plan import (
    CHART_RANGE,
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
    "CHART_RANGE", "NAME_FIELDS", "ChartFit", "Confidence", "Corner", "Corners", "CorrectionPlan", "Declined",
    "Geometry", "JobRecord", "Kind", "LightField", "Neutral", "Outcome", "Outline", "OutlineWord", "OutputRecord",
    "PaperWord", "Photo", "PhotoFacts", "Reason", "ReferenceShot", "Sharpening", "Side", "ToldBy", "Tone", "Triple",
    "Value", "Why", "Work", "WorkFacts", "kind_of",
]  # fmt: skip
