"""Estimates what the light, the lens and the angle did to a picture, one file per step."""
