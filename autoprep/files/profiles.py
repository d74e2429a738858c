"""What the header and the tag table of an ICC profile say (ICC.1), without its colours."""

import struct

from autoprep.errors import Unreadable

# Larger profiles are damaged or hostile; real RGB camera profiles stay below 1 MB. Limit chosen.
MAX_PROFILE_BYTES = 4 * 1024 * 1024
_MOST_NAMED_BYTES = 255 * 65519  # of one that the artist names: as much as a JPEG can carry (ICC.1:2022, B.4)


def colour_model(data: bytes) -> str:
    """ "RGB", "GRAY" or "CMYK": what pictures with this profile are made of. Raises Unreadable for anything else."""
    tags_of(data, _MOST_NAMED_BYTES)
    model, kind = data[16:20].decode("ascii", "replace").strip(), data[12:16]
    if model not in ("RGB", "GRAY", "CMYK"):
        raise Unreadable(f"it describes {model or 'nothing'}, not RGB, grey or CMYK")
    if kind not in (b"prtr", b"mntr", b"spac"):
        raise Unreadable("it is a profile for scanners or for links between devices, not for pictures to go to")
    return model


def tags_of(data: bytes, most: int = MAX_PROFILE_BYTES) -> dict[bytes, bytes]:
    """The tags of a profile by their signatures. Raises Unreadable where it has no table of them, or too many bytes."""
    if len(data) > most:
        raise Unreadable(f"the colour profile has {len(data) / 1e6:.1f} MB; {most / 1e6:.1f} MB are the most")
    if len(data) < 132 or data[36:40] != b"acsp":
        raise Unreadable("the colour profile is damaged (no ICC header)")
    count = struct.unpack(">I", data[128:132])[0]
    if count > 200:
        raise Unreadable("the colour profile is damaged (tag table)")
    tags = {}
    for at in range(132, 132 + 12 * count, 12):
        entry = data[at : at + 12]
        if len(entry) < 12:
            raise Unreadable("the colour profile is damaged (tag table)")
        name, offset, size = struct.unpack(">4sII", entry)
        tags[name] = data[offset : offset + size]
    return tags
