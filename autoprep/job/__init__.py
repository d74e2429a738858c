"""The story of one photo, as a worker does it: look, plan, and make, ask, or leave it alone.

`story` is for workers: the service itself needs `orders` and `stages` alone, and loads no correction.
"""
