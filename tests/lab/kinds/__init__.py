"""One module per kind of work, each with build(seed, long_px) -> FlatWork."""
