"""The tables of a scorebook, as numbered migrations. Steps are added at the end, never changed.

Only a file that lacks one of the `STEPS` needs this module.
"""

from __future__ import annotations

from sqlite_utils import Database, Migrations

from decks.scorebook.database import ScorebookDatabase
from decks.scorebook.first_sights import mark_seen_before
from decks.scorebook.log_tables import (
    ANY_ASK,
    AROUND_THE_LOG,
    CONTESTS,
    KEPT_OF_A_DISPLAY,
    KEPT_OF_AN_ANSWER,
    ORDER_OF_ARRIVAL,
    SHOWN_POSITIONS,
    UNVOIDING,
    keep,
    log_tables,
)
from decks.scorebook.memories import remember_all_memories
from decks.scorebook.shown import remember_all_strands

MIGRATIONS = Migrations("scorebook")
"""Every step from an empty file to a scorebook of this version; the file itself notes which it has had."""


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
    *log_tables(ask_is=" CHECK (ask IN ('assess', 'spot', 'play', 'root'))"),
    *AROUND_THE_LOG,
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


@MIGRATIONS(name="0001-first-tables")
def first_tables(db: Database) -> None:
    """Students, decks, the log of answers and its corrections, memory, games and findings, preparations."""
    for statement in _FIRST_TABLES:  # executescript() would read them letter by letter: 10 ms more
        db.execute(statement)


@MIGRATIONS(name="0002-any-ask")
def any_ask(db: Database) -> None:
    """The log takes answers to any ask."""
    for statement in ANY_ASK:
        db.execute(statement)


@MIGRATIONS(name="0003-order-of-arrival")
def order_of_arrival(db: Database) -> None:
    """Answers keep their order of arrival, corrections can void them, and damaged rows are told apart."""
    for statement in ORDER_OF_ARRIVAL:
        db.execute(statement)


@MIGRATIONS(name="0004-contests")
def contests(db: Database) -> None:
    """Grades that students contest, which count only once a correction says so."""
    for statement in CONTESTS:
        db.execute(statement)


@MIGRATIONS(name="0005-unvoiding")
def unvoiding(db: Database) -> None:
    """A contest stays open when its answer is voided and counted again."""
    for statement in UNVOIDING:
        db.execute(statement)


_SEARCHES = """CREATE TABLE searches (
    epd TEXT NOT NULL,
    engine TEXT NOT NULL,
    effort TEXT NOT NULL,
    found BLOB NOT NULL,
    PRIMARY KEY (epd, engine, effort)
) WITHOUT ROWID"""


@MIGRATIONS(name="0006-searches")
def searches(db: Database) -> None:
    """What engines found, by position, engine and effort. It can be thrown away and searched again."""
    db.execute(_SEARCHES)


_LEDGER = (
    """CREATE TABLE traces (
        game INTEGER NOT NULL REFERENCES games,
        side TEXT NOT NULL CHECK (side IN ('white', 'black')),
        player TEXT NOT NULL,
        engine TEXT NOT NULL,
        PRIMARY KEY (game, side)
    ) WITHOUT ROWID""",
    "CREATE INDEX traces_by_player ON traces (player)",
    """CREATE TABLE cases (
        game INTEGER NOT NULL,
        side TEXT NOT NULL,
        ply INTEGER NOT NULL,
        outcome TEXT NOT NULL CHECK (outcome IN ('took', 'let slip', 'let in', 'unnamed')),
        motif TEXT,
        factor TEXT,
        cost REAL NOT NULL CHECK (cost >= 0),
        phase TEXT NOT NULL CHECK (phase IN ('opening', 'middlegame', 'endgame')),
        clock TEXT NOT NULL CHECK (clock IN ('time trouble', 'enough time', 'unknown')),
        CHECK ((motif IS NULL) = (outcome = 'unnamed')),
        FOREIGN KEY (game, side) REFERENCES traces ON DELETE CASCADE
    )""",
    "CREATE INDEX cases_by_game ON cases (game, side)",
)


@MIGRATIONS(name="0007-ledger")
def ledger(db: Database) -> None:
    """The sides of games that were traced, and the cases that the ledger counts."""
    for statement in _LEDGER:
        db.execute(statement)


_ALIASES = """CREATE TABLE aliases (
    alias TEXT PRIMARY KEY,
    student INTEGER NOT NULL REFERENCES students,
    name TEXT NOT NULL
) WITHOUT ROWID"""


@MIGRATIONS(name="0008-aliases")
def aliases(db: Database) -> None:
    """The names of students in PGN files; each belongs to one student."""
    db.execute(_ALIASES)


@MIGRATIONS(name="0009-shown-positions")
def shown_positions(db: Database) -> None:
    """Answers keep what they were about, and every position that is displayed is kept; strands have states.

    A strand that was answered before has no memory any more. A later step works out its state.
    """
    for statement in SHOWN_POSITIONS:
        db.execute(statement)


_STUDENTS = (
    "ALTER TABLE students ADD COLUMN retired INTEGER NOT NULL DEFAULT 0 CHECK (retired IN (0, 1))",
    """ALTER TABLE students ADD COLUMN recall TEXT NOT NULL DEFAULT 'usual'
        CHECK (recall IN ('light', 'usual', 'firm'))""",
    """CREATE TABLE given_decks (
        student INTEGER NOT NULL REFERENCES students,
        deck TEXT NOT NULL REFERENCES decks,
        PRIMARY KEY (student, deck)
    ) WITHOUT ROWID""",
    # Where an answer stands among those of another machine follows from all of them, so it may change.
    "DROP TRIGGER reviews_change_no_row",
    keep("reviews", *KEPT_OF_AN_ANSWER),
    "DROP TRIGGER displays_change_no_row",
    keep("displays", *KEPT_OF_A_DISPLAY),
)


@MIGRATIONS(name="0010-students")
def students(db: Database) -> None:
    """Students retire, have decks of their own and a recall to aim at; logs of two machines join."""
    for statement in _STUDENTS:
        db.execute(statement)


@MIGRATIONS(name="0011-worked-displays")
def worked_displays(db: Database) -> None:
    """Positions shown worked are found without a look at all others."""
    db.execute("CREATE INDEX displays_worked ON displays (student, study_day) WHERE how = 'worked'")


@MIGRATIONS(name="0012-states-of-strands")
def states_of_strands(db: Database) -> None:
    """The states of strands hold all that is told of progress. A later step works them out from the log."""


_DETECTIONS = """CREATE TABLE detections (
    name TEXT PRIMARY KEY,
    rules TEXT NOT NULL,
    found BLOB NOT NULL
) WITHOUT ROWID"""


@MIGRATIONS(name="0013-detections")
def detections(db: Database) -> None:
    """What the detector found, and by which rules. It can be thrown away and found again."""
    db.execute(_DETECTIONS)


_SITTINGS = (
    """CREATE TABLE sittings (
        sitting TEXT PRIMARY KEY,
        student INTEGER NOT NULL REFERENCES students,
        study_day TEXT NOT NULL,
        reading REAL NOT NULL
    ) WITHOUT ROWID""",
    "CREATE INDEX sittings_by_day ON sittings (student, study_day)",
)


@MIGRATIONS(name="0014-reading")
def reading(db: Database) -> None:
    """What a sitting takes beside its answers. Of sittings before this step nothing is known."""
    for statement in _SITTINGS:
        db.execute(statement)


@MIGRATIONS(name="0015-stuck-cards")
def stuck_cards(db: Database) -> None:
    """Memories know on which cards a student is stuck. They are worked out from the log."""
    db.execute("ALTER TABLE memory ADD COLUMN misses INTEGER NOT NULL DEFAULT 0")
    db.execute("ALTER TABLE memory ADD COLUMN worked TEXT")
    remember_all_memories(ScorebookDatabase(db.conn))


@MIGRATIONS(name="0016-first-sights")
def first_sights(db: Database) -> None:
    """Answers are marked whose position was seen before on another machine. The states of strands follow."""
    db.execute("ALTER TABLE reviews ADD COLUMN seen_before INTEGER NOT NULL DEFAULT 0")
    scorebook = ScorebookDatabase(db.conn)
    mark_seen_before(scorebook)
    remember_all_strands(scorebook)
