"""The open database: how it is opened, copied and written to, whatever its tables hold."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from autoprep.errors import LedgerDamaged
from autoprep.ledger.copies import COPIES
from autoprep.ledger.migrations import MIGRATIONS, migrate


def journal_mode(version: tuple[int, ...]) -> tuple[str, str]:
    """(journal_mode, synchronous) for an SQLite version.

    Versions 3.7.0 to 3.51.2 can corrupt a database in WAL mode with two connections (service and command line)
    when the log is reset; 3.44.6 and 3.50.7 carry the fix (sqlite.org, notes on the WAL-reset bug).
    """
    fixed = version >= (3, 51, 3) or (version[:2] == (3, 44) and version >= (3, 44, 6))
    fixed = fixed or (version[:2] == (3, 50) and version >= (3, 50, 7))
    return ("WAL", "FULL") if fixed else ("DELETE", "EXTRA")


_MUCH_SPARE = 20_000  # pages of 4 kB that a migration left empty: worth giving back to the disk


def is_lost(path: Path) -> bool:
    """Whether there is no ledger, or an empty file, though photos have come in: their records lie beside it."""
    if path.is_file() and path.stat().st_size:
        return False
    return any(place.parent.name[:1].isdigit() for place in path.parent.glob("proof/*/record.json"))


class Connection:
    """The open database. One connection; call from one thread."""

    def __init__(self, path: Path, *, anew: bool = False) -> None:
        """Open the ledger, or make one where nothing has come in yet; anew: whatever records lie beside it.

        Raises LedgerDamaged where it can't be read, or is gone while there are records.
        """
        path.parent.mkdir(parents=True, exist_ok=True)
        if not anew and is_lost(path):
            raise LedgerDamaged(
                f"the ledger {path} is gone, and records of photos are there: without it all of them would be made "
                "again beside the pictures of before. `autoprep rebuild` makes a new one from the records, in moments; "
                f"to begin anew, move the folder {path.parent} away"
            )
        self._db = sqlite3.connect(path, isolation_level=None, timeout=20)
        try:
            self._open(path)
        except sqlite3.OperationalError:
            self._db.close()
            raise  # busy, or the disk: another try may help
        except sqlite3.DatabaseError as problem:
            self._db.close()
            raise LedgerDamaged(
                f"the ledger {path} is damaged ({problem}): `autoprep rebuild` makes a new one from the records; or, "
                f"if these are lost too, `autoprep rebuild --copy` puts the newest copy from {path.parent / COPIES} in "
                "its place. Photos, notes and finished pictures are not touched by either"
            ) from problem

    def _open(self, path: Path) -> None:
        mode, synchronous = journal_mode(sqlite3.sqlite_version_info)
        self._db.execute(f"PRAGMA journal_mode = {mode}")
        self._db.execute(f"PRAGMA synchronous = {synchronous}")
        self._keep_a_copy(path)
        if self._version() < len(MIGRATIONS):  # else it is only read: nobody has to wait for who writes
            with self._transaction() as db:
                migrate(db)
        if self._db.execute("PRAGMA freelist_count").fetchone()[0] > _MUCH_SPARE:
            self._db.execute("VACUUM")

    def _keep_a_copy(self, path: Path) -> None:
        """Before an older ledger is changed, it is kept beside itself as it was."""
        version = self._version()
        if not 0 < version < len(MIGRATIONS):
            return
        copy = path.with_name(f"{path.stem}-before-{version + 1}{path.suffix}")
        if not copy.exists():
            self.copy_to(copy)

    def _version(self) -> int:
        return int(self._db.execute("PRAGMA user_version").fetchone()[0])

    def copy_to(self, copy: Path) -> None:
        """A copy of the whole ledger as it is now, complete or not there."""
        copy.parent.mkdir(parents=True, exist_ok=True)
        part = copy.with_name(f"{copy.name}.part")
        part.unlink(missing_ok=True)
        kept = sqlite3.connect(part)
        with kept:
            self._db.backup(kept)
        kept.close()
        part.replace(copy)

    def close(self) -> None:
        """Close the connection."""
        self._db.close()

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        self._db.execute("BEGIN IMMEDIATE")
        try:
            yield self._db
            self._db.execute("COMMIT")
        except BaseException:
            # A full disk rolls back by itself; a second rollback would hide what went wrong.
            if self._db.in_transaction:
                self._db.execute("ROLLBACK")
            raise

    def others(self) -> int:
        """A number that changes with what other connections have written: the command line's, say."""
        return int(self._db.execute("PRAGMA data_version").fetchone()[0])

    def check(self) -> str:
        """SQLite's own word on the file: "ok" or what is wrong."""
        return str(self._db.execute("PRAGMA integrity_check").fetchone()[0])
