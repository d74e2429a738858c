"""The rights statement as Exif, XMP and IIM bytes, and back."""
