"""How the ledger came to be as it is: every change to its tables, in order."""

import sqlite3
from collections.abc import Iterator

MIGRATIONS: tuple[str, ...] = (
    """
    CREATE TABLE files (
        path BLOB PRIMARY KEY,          -- os.fsencode of the path below the inbox
        size INTEGER NOT NULL, mtime_ns INTEGER NOT NULL, inode INTEGER NOT NULL,
        sha256 TEXT NOT NULL, job TEXT NOT NULL
    ) WITHOUT ROWID;
    CREATE TABLE jobs (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        job TEXT NOT NULL UNIQUE,
        sha256 TEXT NOT NULL,
        path BLOB NOT NULL, shown TEXT NOT NULL,
        state TEXT NOT NULL CHECK (state IN ('queued', 'running', 'done')),
        attempts INTEGER NOT NULL DEFAULT 0, interrupted INTEGER NOT NULL DEFAULT 0,
        not_before REAL NOT NULL DEFAULT 0,
        outcome TEXT, record TEXT
    );
    CREATE UNIQUE INDEX one_job_per_photo ON jobs (sha256)
        WHERE sha256 <> '' AND (outcome IS NULL OR outcome <> 'duplicate');
    CREATE INDEX waiting ON jobs (state, not_before);
    CREATE TABLE places (
        job TEXT NOT NULL, destination TEXT NOT NULL, path BLOB NOT NULL,
        key TEXT NOT NULL UNIQUE,       -- folded and normalised: unique on any file system
        published INTEGER NOT NULL DEFAULT 0,
        PRIMARY KEY (job, destination)
    );
    CREATE TABLE redos (job TEXT NOT NULL, destination TEXT NOT NULL, PRIMARY KEY (job, destination));
    """,
    # What lies in ready/ follows from what is known: each file with all that it depends on.
    """
    ALTER TABLE jobs ADD COLUMN work TEXT NOT NULL DEFAULT '';
    ALTER TABLE jobs ADD COLUMN usual TEXT NOT NULL DEFAULT '[]';
    ALTER TABLE jobs ADD COLUMN merit REAL;
    ALTER TABLE jobs ADD COLUMN chosen INTEGER NOT NULL DEFAULT 0;
    ALTER TABLE jobs ADD COLUMN plan TEXT NOT NULL DEFAULT '';
    ALTER TABLE jobs ADD COLUMN said TEXT NOT NULL DEFAULT '';
    ALTER TABLE jobs ADD COLUMN answered INTEGER NOT NULL DEFAULT 0;
    ALTER TABLE jobs ADD COLUMN unwritten INTEGER NOT NULL DEFAULT 0;
    CREATE TABLE renditions (
        job TEXT NOT NULL, destination TEXT NOT NULL,
        state TEXT NOT NULL CHECK (state IN ('in place', 'withdrawn', 'picked up', 'held', 'failed')),
        path BLOB, key TEXT UNIQUE,
        told TEXT NOT NULL DEFAULT '{}', plan TEXT NOT NULL DEFAULT '', settings TEXT NOT NULL DEFAULT '',
        asked INTEGER NOT NULL DEFAULT 0, reason TEXT NOT NULL DEFAULT '', output TEXT,
        PRIMARY KEY (job, destination)
    );
    CREATE TABLE coming (               -- names that are kept for files that are being made
        job TEXT NOT NULL, destination TEXT NOT NULL, path BLOB NOT NULL, key TEXT NOT NULL UNIQUE,
        sha256 TEXT NOT NULL DEFAULT '',  -- of files that were about to get this name, with spaces between
        PRIMARY KEY (job, destination)
    );
    UPDATE jobs SET said = coalesce(json_extract(record, '$.work'), ''),
        plan = CASE WHEN json_extract(record, '$.plan') IS NULL THEN '' ELSE 'as it was' END,
        work = CASE WHEN json_extract(record, '$.plan') IS NULL THEN ''
               ELSE coalesce(json_extract(record, '$.take_of'), job) END,
        answered = coalesce(json_extract(record, '$.outline.confidence') = 1.0, 0)
        WHERE record IS NOT NULL;
    INSERT INTO renditions (job, destination, state, path, key, told, plan, output)
        SELECT p.job, p.destination, 'in place', p.path, p.key, j.said, 'as it was', o.value
        FROM places p JOIN jobs j ON j.job = p.job, json_each(j.record, '$.outputs') o
        WHERE j.outcome = 'ready' AND json_extract(o.value, '$.destination') = p.destination;
    INSERT OR IGNORE INTO renditions (job, destination, state, told, plan, reason)
        SELECT j.job, h.key, 'held', j.said, 'as it was', h.value
        FROM jobs j, json_each(j.record, '$.held') h WHERE j.outcome = 'ready';
    INSERT OR IGNORE INTO renditions (job, destination, state, told, plan, reason)
        SELECT j.job, f.key, 'failed', j.said, 'as it was', f.value
        FROM jobs j, json_each(j.record, '$.failed') f WHERE j.outcome = 'ready';
    UPDATE jobs SET usual = (SELECT json_group_array(r.destination) FROM renditions r WHERE r.job = jobs.job);
    INSERT OR IGNORE INTO coming (job, destination, path, key)
        SELECT p.job, p.destination, p.path, p.key FROM places p JOIN jobs j ON j.job = p.job
        WHERE j.state <> 'done' OR (p.destination = 'needs-a-look' AND j.outcome = 'needs a look');
    UPDATE files SET job = coalesce((SELECT json_extract(j.record, '$.duplicate_of') FROM jobs j
        WHERE j.job = files.job), job);
    DROP TABLE places;
    """,
)
"""Each is applied once, in order, together with its number in one transaction. Append only."""


def migrate(db: sqlite3.Connection) -> None:
    """Apply what is missing; call inside a transaction."""
    done = db.execute("PRAGMA user_version").fetchone()[0]
    for number, script in enumerate(MIGRATIONS[done:], done + 1):
        # executescript would commit the transaction; statements one by one stay inside it.
        for statement in _statements(script):
            db.execute(statement)
        db.execute(f"PRAGMA user_version = {number}")


def _statements(script: str) -> Iterator[str]:
    pending = ""
    for piece in script.split(";"):
        pending += piece + ";"
        if sqlite3.complete_statement(pending):
            yield pending
            pending = ""
