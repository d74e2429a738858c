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
    # A long history costs nothing: what is asked often lies apart from the records, and triggers note what is to be
    # written or worked out again.
    """
    CREATE TABLE records (number INTEGER PRIMARY KEY, record TEXT NOT NULL);
    INSERT INTO records SELECT number, record FROM jobs WHERE record IS NOT NULL;
    CREATE TABLE light (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        job TEXT NOT NULL UNIQUE,
        sha256 TEXT NOT NULL,
        path BLOB NOT NULL, shown TEXT NOT NULL,
        state TEXT NOT NULL CHECK (state IN ('queued', 'running', 'done')),
        attempts INTEGER NOT NULL DEFAULT 0, interrupted INTEGER NOT NULL DEFAULT 0,
        not_before REAL NOT NULL DEFAULT 0,
        outcome TEXT,
        work TEXT NOT NULL DEFAULT '', usual TEXT NOT NULL DEFAULT '[]', merit REAL,
        chosen INTEGER NOT NULL DEFAULT 0, plan TEXT NOT NULL DEFAULT '', said TEXT NOT NULL DEFAULT '',
        answered INTEGER NOT NULL DEFAULT 0, unwritten INTEGER NOT NULL DEFAULT 0,
        came TEXT NOT NULL,             -- the day on which the photo came in; never changes
        finished TEXT NOT NULL DEFAULT '', kind TEXT NOT NULL DEFAULT '',    -- these and the next: of the record
        files INTEGER NOT NULL DEFAULT 0, held INTEGER NOT NULL DEFAULT 0, failed INTEGER NOT NULL DEFAULT 0,
        settled TEXT NOT NULL DEFAULT ''  -- with what knowledge nothing was left to do; empty: that is not known
    );
    INSERT INTO light (number, job, sha256, path, shown, state, attempts, interrupted, not_before, outcome, work, usual,
            merit, chosen, plan, said, answered, unwritten, came, finished, kind, files, held, failed)
        SELECT number, job, sha256, path, shown, state, attempts, interrupted, not_before, outcome, work, usual,
            merit, chosen, plan, said, answered, unwritten,
            coalesce(substr(json_extract(record, '$.finished_at'), 1, 10), date('now')),
            coalesce(json_extract(record, '$.finished_at'), ''), coalesce(json_extract(record, '$.kind'), ''),
            coalesce(json_array_length(record, '$.outputs'), 0),
            (SELECT count(*) FROM json_each(jobs.record, '$.held')),
            (SELECT count(*) FROM json_each(jobs.record, '$.failed'))
        FROM jobs ORDER BY number;
    UPDATE light SET unwritten = 1 WHERE outcome IN ('set aside', 'duplicate');  -- they had no record on disk
    DROP TABLE jobs;
    ALTER TABLE light RENAME TO jobs;
    CREATE UNIQUE INDEX one_job_per_photo ON jobs (sha256)
        WHERE sha256 <> '' AND (outcome IS NULL OR outcome <> 'duplicate');
    CREATE INDEX by_photo ON jobs (sha256);
    CREATE INDEX waiting ON jobs (state, not_before);
    CREATE INDEX by_work ON jobs (work);
    CREATE INDEX by_outcome ON jobs (outcome, number);
    CREATE INDEX by_day ON jobs (came, number, outcome);
    CREATE INDEX by_finish ON jobs (finished);
    CREATE INDEX with_failures ON jobs (failed) WHERE failed > 0;
    CREATE TABLE kept (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
    CREATE TABLE due (kind TEXT NOT NULL, name TEXT NOT NULL, block INTEGER NOT NULL DEFAULT 0,
        PRIMARY KEY (kind, name, block)) WITHOUT ROWID;    -- pages ('page', month, block), lists ('list', destination)
    INSERT OR IGNORE INTO due SELECT 'page', substr(came, 1, 7), number / 100 FROM jobs;
    INSERT OR IGNORE INTO due SELECT DISTINCT 'list', destination, 0 FROM renditions;
    CREATE TRIGGER record_written AFTER INSERT ON records BEGIN
        INSERT OR IGNORE INTO due SELECT 'page', substr(came, 1, 7), number / 100 FROM jobs WHERE number = NEW.number;
        INSERT OR IGNORE INTO due SELECT 'list', r.destination, 0
            FROM renditions r JOIN jobs j ON j.job = r.job WHERE j.number = NEW.number;
    END;
    CREATE TRIGGER record_changed AFTER UPDATE ON records BEGIN
        INSERT OR IGNORE INTO due SELECT 'page', substr(came, 1, 7), number / 100 FROM jobs WHERE number = NEW.number;
        INSERT OR IGNORE INTO due SELECT 'list', r.destination, 0
            FROM renditions r JOIN jobs j ON j.job = r.job WHERE j.number = NEW.number;
    END;
    CREATE TRIGGER job_changed AFTER UPDATE OF
        state, outcome, path, shown, work, merit, chosen, plan, said, answered, unwritten ON jobs BEGIN
        UPDATE jobs SET settled = '' WHERE number = NEW.number AND settled <> '';
        UPDATE jobs SET settled = '' WHERE work = OLD.work AND OLD.work <> '' AND settled <> '';
        UPDATE jobs SET settled = '' WHERE work = NEW.work AND NEW.work <> '' AND settled <> '';
        INSERT OR IGNORE INTO due SELECT 'page', substr(NEW.came, 1, 7), NEW.number / 100
            WHERE OLD.outcome IS NOT NEW.outcome;
    END;
    CREATE TRIGGER name_free AFTER DELETE ON coming BEGIN
        UPDATE jobs SET settled = '' WHERE job = OLD.job AND settled <> '';
    END;
    CREATE TRIGGER file_made AFTER INSERT ON renditions BEGIN
        UPDATE jobs SET settled = '' WHERE job = NEW.job AND settled <> '';
        INSERT OR IGNORE INTO due VALUES ('list', NEW.destination, 0);
    END;
    CREATE TRIGGER file_changed AFTER UPDATE ON renditions BEGIN
        UPDATE jobs SET settled = '' WHERE job = NEW.job AND settled <> '';
        INSERT OR IGNORE INTO due VALUES ('list', NEW.destination, 0);
    END;
    CREATE TRIGGER file_gone AFTER DELETE ON renditions BEGIN
        UPDATE jobs SET settled = '' WHERE job = OLD.job AND settled <> '';
        INSERT OR IGNORE INTO due VALUES ('list', OLD.destination, 0);
    END;
    """,
    # Since when a file is as it is, and since when there is one at all; a page for each work.
    """
    ALTER TABLE renditions ADD COLUMN made TEXT NOT NULL DEFAULT '';
    ALTER TABLE renditions ADD COLUMN first TEXT NOT NULL DEFAULT '';
    CREATE TRIGGER work_due AFTER INSERT ON due WHEN NEW.kind = 'work' BEGIN
        INSERT OR IGNORE INTO due VALUES ('works', '', 0);
    END;
    CREATE TRIGGER work_written AFTER INSERT ON records BEGIN
        INSERT OR IGNORE INTO due SELECT 'work', work, 0 FROM jobs WHERE number = NEW.number AND work <> '';
    END;
    CREATE TRIGGER work_rewritten AFTER UPDATE ON records BEGIN
        INSERT OR IGNORE INTO due SELECT 'work', work, 0 FROM jobs WHERE number = NEW.number AND work <> '';
    END;
    CREATE TRIGGER work_changed AFTER UPDATE OF work, outcome, shown, said ON jobs BEGIN
        INSERT OR IGNORE INTO due SELECT 'work', OLD.work, 0 WHERE OLD.work <> '';
        INSERT OR IGNORE INTO due SELECT 'work', NEW.work, 0 WHERE NEW.work <> '';
    END;
    INSERT OR IGNORE INTO due SELECT DISTINCT 'work', work, 0 FROM jobs WHERE work <> '';
    """,
    # Questions stand in the list of all works too.
    """
    CREATE TRIGGER question_changed AFTER UPDATE OF outcome, shown, said ON jobs
        WHEN OLD.outcome = 'needs a look' OR NEW.outcome = 'needs a look' BEGIN
        INSERT OR IGNORE INTO due VALUES ('works', '', 0);
    END;
    CREATE TRIGGER question_came AFTER INSERT ON jobs WHEN NEW.outcome = 'needs a look' BEGIN
        INSERT OR IGNORE INTO due VALUES ('works', '', 0);
    END;
    INSERT OR IGNORE INTO due VALUES ('works', '', 0);
    """,
    # Why a destination has no file is known by its kind, and no longer by its words.
    """
    ALTER TABLE renditions ADD COLUMN why TEXT NOT NULL DEFAULT '';
    UPDATE renditions SET why = CASE
        WHEN reason LIKE 'the photo is on hold%' THEN 'on hold'
        WHEN reason LIKE 'glare hides%' THEN 'glare'
        WHEN reason LIKE 'the work''s size is not known%' THEN 'size not known'
        WHEN reason LIKE 'the photo holds the work with%' THEN 'too few pixels'
        WHEN reason LIKE '%holds the artist''s name%' THEN 'names the artist'
        WHEN reason LIKE 'another take of the same work%' THEN 'another take'
        WHEN reason LIKE 'the work is not sent here%' THEN 'not sent'
        WHEN reason LIKE 'the photo was looked at again%' THEN 'looked at again'
        ELSE '' END WHERE reason <> '';
    """,
    # Of a photo that shows several works each is a job of its own: a part of the photo.
    """
    ALTER TABLE jobs ADD COLUMN part INTEGER NOT NULL DEFAULT 0;
    ALTER TABLE jobs ADD COLUMN whole TEXT NOT NULL DEFAULT '';
    ALTER TABLE jobs ADD COLUMN parts INTEGER NOT NULL DEFAULT 0;
    DROP INDEX one_job_per_photo;
    CREATE UNIQUE INDEX one_job_per_work ON jobs (sha256, part)
        WHERE sha256 <> '' AND (outcome IS NULL OR outcome <> 'duplicate');
    CREATE INDEX by_whole ON jobs (whole) WHERE whole <> '';
    CREATE TRIGGER parts_follow AFTER UPDATE OF outcome, parts ON jobs WHEN OLD.parts > 0 OR NEW.parts > 0 BEGIN
        UPDATE jobs SET settled = '' WHERE whole = NEW.job AND settled <> '';
    END;
    """,
    # What a photo was called before, newest first, as JSON: notes that it has left behind still speak for it.
    """
    ALTER TABLE jobs ADD COLUMN was TEXT NOT NULL DEFAULT '[]';
    CREATE INDEX renamed ON jobs (number) WHERE was <> '[]';
    """,
    # A reference shot that came later, for which a photo is to be looked at again.
    """
    ALTER TABLE jobs ADD COLUMN light TEXT NOT NULL DEFAULT '';
    CREATE TRIGGER light_told AFTER UPDATE OF light ON jobs WHEN NEW.light <> '' BEGIN
        UPDATE jobs SET settled = '' WHERE job = NEW.job AND settled <> '';
    END;
    """,
    # Why a photo waits: what its last try came to, for who asks meanwhile, and after another start. What lay at a place
    # before is asked for with each photo that comes.
    """
    ALTER TABLE jobs ADD COLUMN problem TEXT NOT NULL DEFAULT '';
    CREATE INDEX with_problems ON jobs (number) WHERE problem <> '';
    CREATE INDEX picked_up ON renditions (job) WHERE state = 'picked up';
    CREATE INDEX by_place ON jobs (path);
    """,
    # Records say which take of its work a photo is: those of works with several are written anew.
    """
    UPDATE jobs SET unwritten = 1 WHERE chosen <> 0 OR merit <= -1e6 OR (work <> '' AND work <> job);
    """,
    # Files that the artist had changed when they were to leave their places, and so stayed: also when their works get
    # other names, and their files go elsewhere, a hold tells of them.
    """
    CREATE TABLE stayed (job TEXT NOT NULL, destination TEXT NOT NULL, path BLOB NOT NULL, key TEXT NOT NULL,
        PRIMARY KEY (job, path));
    """,
    # Why there is no file, what lies at a place, and words that can't be used are asked of all works at once.
    """
    CREATE INDEX with_reasons ON renditions (why, state) WHERE why <> '';
    CREATE INDEX in_place ON renditions (path) WHERE state = 'in place';
    CREATE INDEX unclear ON jobs (number) WHERE instr(said, '"unclear":["');
    """,
    # Records say which files stayed: those of the works that have some are written anew.
    """
    UPDATE jobs SET unwritten = 1 WHERE job IN (SELECT job FROM stayed);
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
