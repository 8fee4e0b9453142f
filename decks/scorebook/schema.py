"""The tables of a scorebook, as numbered migrations. Steps are added at the end, never changed."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from datetime import UTC, datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sqlite_utils import Database, Migrations

MIGRATION_SET = "scorebook"


def _log_tables(prefix: str = "", ask_is: str = "") -> tuple[str, ...]:
    """The tables of the log, without rowids, so that the id is the only key a row could be replaced by."""
    grade_is = "CHECK (grade IN ('missed', 'helped', 'partly', 'found', 'fluent'))"
    return (
        f"""CREATE TABLE {prefix}reviews (
        answer_id TEXT PRIMARY KEY,
        student INTEGER NOT NULL REFERENCES students,
        deck TEXT REFERENCES decks,
        item TEXT NOT NULL,
        card_id TEXT NOT NULL,
        ask TEXT NOT NULL{ask_is},
        fen TEXT NOT NULL,
        key_version TEXT NOT NULL,
        raw TEXT NOT NULL,
        score REAL NOT NULL CHECK (score BETWEEN 0 AND 1),
        grade TEXT NOT NULL {grade_is},
        seconds REAL NOT NULL CHECK (seconds >= 0),
        hints INTEGER NOT NULL CHECK (hints >= 0),
        study_day TEXT NOT NULL,
        time TEXT NOT NULL,
        first_sight INTEGER CHECK (first_sight IN (0, 1)),
        target_recall REAL NOT NULL
    ) WITHOUT ROWID""",
        f"""CREATE TABLE {prefix}corrections (
        correction_id TEXT PRIMARY KEY,
        answer_id TEXT NOT NULL REFERENCES {prefix}reviews,
        grade TEXT NOT NULL {grade_is},
        reason TEXT NOT NULL,
        time TEXT NOT NULL
    ) WITHOUT ROWID""",
    )


def _append_only(table: str, key: str) -> tuple[str, ...]:
    """The triggers that keep every row of a table as it is."""
    return (
        f"""CREATE TRIGGER {table}_keep_every_row BEFORE DELETE ON {table}
                BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END""",
        f"""CREATE TRIGGER {table}_change_no_row BEFORE UPDATE ON {table}
                BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END""",
        # INSERT OR REPLACE deletes the old row without firing the DELETE trigger.
        f"""CREATE TRIGGER {table}_replace_no_row BEFORE INSERT ON {table}
                WHEN EXISTS (SELECT 1 FROM {table} WHERE {key} = NEW.{key})
                BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END""",
    )


_INDEXES_AND_TRIGGERS_OF_THE_LOG = (
    "CREATE INDEX reviews_by_item ON reviews (student, item, study_day, time)",
    "CREATE INDEX reviews_by_ask ON reviews (student, ask)",
    "CREATE INDEX corrections_by_answer ON corrections (answer_id, time)",
    *_append_only("reviews", "answer_id"),
    *_append_only("corrections", "correction_id"),
    """CREATE VIEW graded AS
        SELECT reviews.*, coalesce(
            (SELECT corrections.grade FROM corrections WHERE corrections.answer_id = reviews.answer_id
             ORDER BY corrections.time DESC, corrections.correction_id DESC LIMIT 1),
            reviews.grade) AS grade_now
        FROM reviews""",
)

_FIRST_TABLES = (
    """CREATE TABLE students (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL,
        folded_name TEXT NOT NULL UNIQUE
    )""",
    """CREATE TABLE decks (
        deck TEXT PRIMARY KEY,
        title TEXT NOT NULL,
        folder TEXT NOT NULL
    )""",
    *_log_tables(ask_is=" CHECK (ask IN ('assess', 'spot', 'play', 'root'))"),
    *_INDEXES_AND_TRIGGERS_OF_THE_LOG,
    """CREATE TABLE memory (
        student INTEGER NOT NULL REFERENCES students,
        item TEXT NOT NULL,
        stability REAL NOT NULL,
        difficulty REAL NOT NULL,
        last TEXT NOT NULL,
        due TEXT NOT NULL,
        PRIMARY KEY (student, item)
    ) WITHOUT ROWID""",
    """CREATE TABLE games (
        id INTEGER PRIMARY KEY,
        content TEXT NOT NULL UNIQUE,
        source TEXT NOT NULL,
        number INTEGER NOT NULL,
        white TEXT NOT NULL,
        black TEXT NOT NULL,
        date TEXT NOT NULL,
        event TEXT NOT NULL,
        result TEXT NOT NULL
    )""",
    "CREATE INDEX games_by_white ON games (white COLLATE NOCASE)",
    "CREATE INDEX games_by_black ON games (black COLLATE NOCASE)",
    """CREATE TABLE findings (
        game INTEGER NOT NULL REFERENCES games,
        ply INTEGER NOT NULL,
        motif TEXT NOT NULL,
        side TEXT NOT NULL CHECK (side IN ('white', 'black')),
        actors INTEGER NOT NULL,
        targets INTEGER NOT NULL,
        squares INTEGER NOT NULL,
        detail TEXT NOT NULL
    )""",
    "CREATE INDEX findings_by_game ON findings (game)",
    """CREATE TABLE preparations (
        id INTEGER PRIMARY KEY,
        student INTEGER NOT NULL REFERENCES students,
        event_day TEXT NOT NULL,
        made TEXT NOT NULL,
        plan TEXT NOT NULL
    )""",
)

_ANY_ASK = (
    # Which asks there are is not the scorebook's to say. SQLite can't drop a constraint, so the log is copied
    # into tables without it; what refers to another table goes first.
    "DROP VIEW graded",
    *_log_tables(prefix="new_"),
    "INSERT INTO new_reviews SELECT * FROM reviews",
    "INSERT INTO new_corrections SELECT * FROM corrections",
    "DROP TABLE corrections",
    "DROP TABLE reviews",
    "ALTER TABLE new_reviews RENAME TO reviews",
    "ALTER TABLE new_corrections RENAME TO corrections",
    *_INDEXES_AND_TRIGGERS_OF_THE_LOG,
)

_RECORD_OF_STEPS = (
    """CREATE TABLE "_sqlite_migrations" (
   "id" INTEGER PRIMARY KEY,
   "migration_set" TEXT,
   "name" TEXT,
   "applied_at" TEXT
)""",
    """CREATE UNIQUE INDEX "idx__sqlite_migrations_migration_set_name"
    ON "_sqlite_migrations" ("migration_set", "name")""",
)
"""Where sqlite_utils notes which steps a database has had, exactly as it makes it."""

STEPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("0001-first-tables", _FIRST_TABLES),
    ("0002-any-ask", _ANY_ASK),
)
"""Every migration in order: its name, and its statements."""

KNOWN = frozenset(name for name, _ in STEPS)


def applied(connection: sqlite3.Connection) -> frozenset[str] | None:
    """Names of the migrations a database has had; None if it holds tables but is no scorebook.

    Plain SQL, because this runs at every start and importing sqlite_utils costs more than the rest of it.
    """
    tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    if not tables:
        return frozenset()
    if "_sqlite_migrations" not in tables:
        return None
    rows = connection.execute("SELECT name FROM _sqlite_migrations WHERE migration_set = ?", (MIGRATION_SET,))
    return frozenset(name for (name,) in rows) or None


def migrate(connection: sqlite3.Connection) -> None:
    """Apply what is pending, all or nothing; of several processes at once, one does it and the rest wait."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        if applied(connection) == frozenset():
            _create(connection)
        else:
            _bring_up_to_date(connection)
        connection.execute("COMMIT")
    finally:
        if connection.in_transaction:
            connection.execute("ROLLBACK")


def _create(connection: sqlite3.Connection) -> None:
    """Every step on an empty database, noted as sqlite_utils notes it, without waiting for its import."""
    for statement in _RECORD_OF_STEPS:
        connection.execute(statement)
    for name, statements in STEPS:
        for statement in statements:
            connection.execute(statement)
        note = (MIGRATION_SET, name, str(datetime.now(UTC)))
        connection.execute(
            'INSERT INTO "_sqlite_migrations" (migration_set, name, applied_at) VALUES (?, ?, ?)', note
        )


def _bring_up_to_date(connection: sqlite3.Connection) -> None:
    from sqlite_utils import Database

    _migrations().apply(Database(connection, execute_plugins=False))


def _migrations() -> Migrations:
    from sqlite_utils import Migrations

    migrations = Migrations(MIGRATION_SET)
    for name, statements in STEPS:
        migrations(name=name)(_step(statements))
    return migrations


def _step(statements: tuple[str, ...]) -> Callable[[Database], None]:
    def run(db: Database) -> None:
        for statement in statements:  # executescript() would commit the transaction around it
            db.execute(statement)

    return run
