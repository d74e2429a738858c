"""The ledger: every file seen, every photo, work and rendition, in SQLite."""

from autoprep.ledger.asked import asked_in
from autoprep.ledger.book import Ledger
from autoprep.ledger.connection import is_lost, journal_mode
from autoprep.ledger.copies import COPIES
from autoprep.ledger.due import BLOCK
from autoprep.ledger.migrations import MIGRATIONS
from autoprep.ledger.names import key_of
from autoprep.ledger.overview import HELD_BACK, Overview
from autoprep.ledger.rows import (
    GONE,
    LOOK,
    MEASURED,
    Change,
    Delivered,
    Fitting,
    Job,
    Line,
    Listed,
    OpenQuestion,
    Rendition,
    Restored,
    SeenFile,
    Sent,
    State,
    Take,
    View,
    WorkRow,
    dated,
)
from autoprep.ledger.settled import TROUBLE

__all__ = [
    "BLOCK", "COPIES", "GONE", "HELD_BACK", "LOOK", "MEASURED", "MIGRATIONS", "TROUBLE", "Change", "Delivered",
    "Fitting", "Job",
    "Ledger",
    "Line", "Listed", "OpenQuestion", "Overview", "Rendition", "Restored", "SeenFile", "Sent", "State", "Take", "View",
    "WorkRow", "asked_in", "dated", "is_lost", "journal_mode", "key_of",
]  # fmt: skip
