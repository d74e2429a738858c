"""Finding the outline of the work in a photo."""

from autoprep.correction.outline.finder import Survey, find_outline

__all__ = ["Survey", "find_outline"]
