"""Finding the outline of the work in a photo."""

from autoprep.correction.outline.finder import find_outline, find_outlines, find_works, shows_work

__all__ = ["find_outline", "find_outlines", "find_works", "shows_work"]
