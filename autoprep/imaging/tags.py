"""What TIFF and Exif directories have in common."""

ITEM_BYTES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 7: 1, 9: 4, 10: 8}
"""Bytes of one item of each TIFF type (TIFF 6.0, section 2)."""
