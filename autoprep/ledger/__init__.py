"""The ledger: every file seen, every photo, work and rendition, in SQLite."""

from autoprep.ledger.book import COPIES, Ledger, journal_mode
from autoprep.ledger.migrations import MIGRATIONS
from autoprep.ledger.rows import LOOK, Change, Job, Rendition, SeenFile, State, View

__all__ = [
    "COPIES", "LOOK", "MIGRATIONS", "Change", "Job", "Ledger", "Rendition", "SeenFile", "State", "View", "journal_mode",
]  # fmt: skip
