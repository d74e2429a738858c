"""What the content credentials of an output say: what was done to the photo, whose it is, and what machines may do."""

from typing import Any

from autoprep import __version__
from autoprep.domain import CorrectionPlan, Declined
from autoprep.files.credentials import Identity
from autoprep.metadata.statement import RightsStatement
from autoprep.rendering.layout import Layout
from autoprep.wishes.places import credentials_paths
from autoprep.wishes.tables import Settings

_PHOTO = "photo"
# CAWG, "Training and Data Mining Assertion" 1.1: its entries, and what our words mean there (from memory).
_ENTRIES = ("data_mining", "ai_inference", "ai_training", "ai_generative_training")
_FORBIDDEN: dict[str, tuple[str, ...]] = {
    "allowed": (),
    "prohibited": _ENTRIES,
    "prohibited for training": ("ai_training", "ai_generative_training"),
    "prohibited for generative training": ("ai_generative_training",),
    "prohibited except search indexing": _ENTRIES,
}
MIMES = {"jpeg": "image/jpeg", "png": "image/png", "tiff": "image/tiff", "webp": "image/webp", "avif": "image/avif",
         "heic": "image/heic"}  # fmt: skip


def identity_of(settings: Settings) -> Identity:
    """The artist's own certificate and key, or those that were made here."""
    certificate, key = credentials_paths(settings)
    return Identity(certificate.read_bytes(), key.read_bytes())


def said_of_signer(settings: Settings) -> str:
    """What the record says of who has signed."""
    if settings.credentials.key:
        return "content credentials: signed with your own certificate"
    return "content credentials: signed with a key made here, which nobody vouches for; programs call it unverified"


def manifest_for(
    plan: CorrectionPlan, layout: Layout, statement: RightsStatement, photo_format: str, mining: str, *, marked: bool
) -> dict[str, Any]:
    """The manifest's definition: of the photo only that there was one, for its name and place are nobody's business."""
    assertions = [{"label": "c2pa.actions.v2", "data": {"actions": actions(plan, layout, marked=marked)}}]
    if mining in _FORBIDDEN:
        assertions.append({"label": "cawg.training-mining", "data": {"entries": _entries(mining)}})
    rights = {
        "dc:creator": [statement.creator] if statement.creator else [],
        "dc:rights": statement.notice,
        "dc:title": statement.title,
    }
    said = {name: value for name, value in rights.items() if value}
    if said:
        context = {"@context": {"dc": "http://purl.org/dc/elements/1.1/"}}
        assertions.append({"label": "cawg.metadata", "kind": "Json", "data": context | said})
    photo = {"title": _PHOTO, "relationship": "parentOf", "label": _PHOTO}
    mime = MIMES.get(photo_format)
    manifest: dict[str, Any] = {
        "claim_generator_info": [{"name": "autoprep", "version": __version__}],
        "ingredients": [photo | ({"format": mime} if mime else {})],
        "assertions": assertions,
    }
    return manifest | ({"title": statement.title} if statement.title else {})


def actions(plan: CorrectionPlan, layout: Layout, *, marked: bool) -> list[dict[str, Any]]:
    """What was done, in order, by the names of C2PA 2.1, 18.15 (from memory), each only where it was done."""
    opened: dict[str, Any] = {"action": "c2pa.opened", "parameters": {"ingredientIds": [_PHOTO]}}
    done = [*_geometry(plan, layout), *_colour(plan), *_finish(layout, marked=marked)]
    return [opened, *({"action": action, "description": words} for action, words, was in done if was)]


def _geometry(plan: CorrectionPlan, layout: Layout) -> list[tuple[str, str, bool]]:
    whole, scene = plan.geometry.ratio_from == "whole photo", layout.scene is not None
    shown = (layout.shown[2] - layout.shown[0], layout.shown[3] - layout.shown[1])
    detail = not scene and (layout.work[2] > shown[0] or layout.work[3] > shown[1])
    return [
        ("c2pa.edited", "straightened: perspective taken back by the work's four corners", not whole),
        ("c2pa.cropped", "to the work's own outline", not whole and not scene),
        ("c2pa.cropped", "to the work and the desk around it", scene),
        ("c2pa.cropped", "to fill its format: a detail of the work", detail),
    ]


def _colour(plan: CorrectionPlan) -> list[tuple[str, str, bool]]:
    neutral = plan.chart is not None or not isinstance(plan.neutral, Declined)
    toned = plan.tone.gain != 1 or plan.contrast > 0
    return [
        ("c2pa.color_adjustments", "uneven light over the work evened", not isinstance(plan.light, Declined)),
        ("c2pa.color_adjustments", "colour of the light taken back by a known neutral", neutral),
        ("c2pa.color_adjustments", "exposure, and the contrast that cameras add", toned),
    ]


def _finish(layout: Layout, *, marked: bool) -> list[tuple[str, str, bool]]:
    ground = layout.scene is None and layout.shown != (0, 0, *layout.canvas_px)
    return [
        ("c2pa.resized", "to the size that was asked for", layout.enlarge != 1),
        ("c2pa.edited", "put on a ground", ground),
        ("c2pa.edited", "a small visible mark added", marked),
    ]


def _entries(mining: str) -> dict[str, dict[str, str]]:
    found = {}
    for name in _ENTRIES:
        use = {"use": "notAllowed" if name in _FORBIDDEN[mining] else "allowed"}
        if name == "data_mining" and mining == "prohibited except search indexing":
            use = {"use": "constrained", "constraint_info": "indexing for search is allowed"}
        found[f"cawg.{name}"] = use
    return found
