"""What holds pixels, and what plans and outlines come to on them: domain's values have neither arrays nor libraries."""

from autoprep.pixels.photo import Photo, Work
from autoprep.pixels.placed import bow_of, followed, in_photo, lens_of, light_nodes, packed_light, quad_of

__all__ = [
    "Photo",
    "Work",
    "bow_of",
    "followed",
    "in_photo",
    "lens_of",
    "light_nodes",
    "packed_light",
    "quad_of",
]  # fmt: skip
