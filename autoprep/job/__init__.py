"""The story of one photo, as a worker does it: look, plan, and make, ask, or leave it alone."""

from autoprep.job.story import process, set_aside, why_held

__all__ = ["process", "set_aside", "why_held"]
