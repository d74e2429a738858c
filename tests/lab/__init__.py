"""The picture laboratory: simulated hand-held photos of flat artwork whose truth is known."""
