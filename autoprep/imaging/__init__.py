"""Shared maths on arrays: transfer functions, colour, geometry, resampling. Pure functions."""
