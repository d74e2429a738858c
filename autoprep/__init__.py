"""Autoprep: hand-held photos of flat artworks become faithful pictures, sized and signed for where they go."""

__version__ = "0.42.0"
