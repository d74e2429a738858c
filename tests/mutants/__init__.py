"""Mistakes planted on purpose: every one must make some test fail. `python -m tests.mutants --help`."""
