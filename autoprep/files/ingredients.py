"""The content credentials that a photo brings (C2PA), read and made fit to go along as the parent of an output's own.

A camera's manifest can hold where it stood, its serial number, who holds it, and a preview of all that the photo shows.
The standard lets assertions be redacted (C2PA 2.1, 6.8; from memory): they are gone, and the rest still holds.
"""

import io
import json
import re
from dataclasses import dataclass, field
from typing import Any, Literal

Keep = Literal["none", "history", "whole"]

# What says how a picture came to be, or is needed for the proof of it; the standard forbids to redact most of it.
_HISTORY = ("c2pa.actions", "c2pa.hash.", "c2pa.ingredient", "c2pa.training-mining", "cawg.training-mining")
_PRIVATE = re.compile(r"gps|latitude|longitude|serial|owner|exif:", re.IGNORECASE)

# No manifest is fetched from the network, nor asked whether a certificate still holds.
OFFLINE: dict[str, Any] = {"verify": {"remote_manifest_fetch": False, "ocsp_fetch": False}}

_CHECKS = ("validationResults", "validationStatus")  # of an ingredient: they name what was checked, and tell nothing


@dataclass(frozen=True)
class Brought:
    """A photo with its credentials, and which of their parts are left out (JUMBF URIs)."""

    data: bytes = field(repr=False)
    mime: str
    redacted: tuple[str, ...]


def brought(data: bytes, mime: str, keep: Keep) -> tuple[Brought | None, str]:
    """What goes along of a photo's own credentials, and what the record says of it. mime: of the photo."""
    if keep == "none":
        return None, "the photo's own content credentials (C2PA) stay behind: they can tell a place and a name"
    import c2pa  # an extra: only who asks for credentials has it

    try:
        context = c2pa.Context(c2pa.Settings.from_dict(OFFLINE))
        with c2pa.Reader(mime, io.BytesIO(data), context=context) as reader:
            stores = json.loads(reader.detailed_json())["manifests"]
            holds = reader.get_validation_state() != "Invalid"
    except (c2pa.C2paError, ValueError, KeyError) as problem:
        return None, f"the photo's own content credentials (C2PA) stay behind: they can't be read ({problem})"
    doubt = "" if holds else "; they do not hold, because the photo was changed after they were signed"
    if keep == "whole":
        told = "the photo's own content credentials go along whole: place, camera and person can be read in them"
        return Brought(data, mime, ()), told + doubt
    kept, redacted = _parted(stores)
    if _PRIVATE.search(json.dumps(kept)):
        return None, (
            "the photo's own content credentials stay behind: place, camera or person can't be taken out of them"
        )
    told = (
        f"the photo's own content credentials go along without {len(redacted)} of their parts (such as preview and "
        "place); who signed them, and the photo's name and time there, can be read"
    )
    return Brought(data, mime, redacted), told + doubt


def _parted(stores: dict[str, Any]) -> tuple[list[object], tuple[str, ...]]:
    """What is kept of the assertions of all manifests, hashes aside, and the URIs of those that are not."""
    kept: list[object] = []
    redacted = []
    for manifest, store in stores.items():
        for name, content in store["assertion_store"].items():
            if not name.startswith(_HISTORY):
                redacted.append(f"self#jumbf=/c2pa/{manifest}/c2pa.assertions/{name}")
            elif not name.startswith("c2pa.hash."):
                kept.append({key: value for key, value in content.items() if key not in _CHECKS})
    return kept, tuple(redacted)
