"""Static pages that show what was done."""
