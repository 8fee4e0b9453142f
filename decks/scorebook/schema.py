"""The tables of a scorebook, as numbered migrations. Steps are added at the end, never changed.

Only a file that lacks one of the `STEPS` needs this module.
"""

from __future__ import annotations

from sqlite_utils import Database, Migrations

from decks.scorebook.database import ScorebookDatabase
from decks.scorebook.shown import remember_all_strands

MIGRATIONS = Migrations("scorebook")
"""Every step from an empty file to a scorebook of this version; the file itself notes which it has had."""


def _append_only(table: str, *keys: str) -> tuple[str, ...]:
    """Statements that have SQLite refuse, whatever program asks, to delete, change or replace a row."""
    same = " OR ".join(f"{key} = NEW.{key}" for key in keys)
    refusal = f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
    return (
        f"CREATE TRIGGER {table}_keep_every_row BEFORE DELETE ON {table} {refusal}",
        f"CREATE TRIGGER {table}_change_no_row BEFORE UPDATE ON {table} {refusal}",
        # INSERT OR REPLACE deletes the old row without firing the DELETE trigger.
        f"""CREATE TRIGGER {table}_replace_no_row BEFORE INSERT ON {table}
            WHEN EXISTS (SELECT 1 FROM {table} WHERE {same}) {refusal}""",
    )


def _log_tables(prefix: str = "", ask_is: str = "") -> tuple[str, str]:
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


_AROUND_THE_LOG = (
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
"""Indexes, triggers and the view of the log."""

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
    *_AROUND_THE_LOG,
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
    *_AROUND_THE_LOG,
)


@MIGRATIONS(name="0002-any-ask")
def any_ask(db: Database) -> None:
    """The log takes answers to any ask."""
    for statement in _ANY_ASK:
        db.execute(statement)


LAST_YEAR = 9800
"""No answer is of a later one: when its item is due would be past the last year that there is to Python."""


def _is_no_date(text: str) -> str:
    # Without a modifier, SQLite takes the 30th of February for a date.
    return f"date({text}, '+0 days') IS NOT {text} OR {text} NOT BETWEEN '0001' AND '{LAST_YEAR}'"


def _is_no_number(column: str, lowest: float, highest: float | None = None) -> str:
    above = "" if highest is None else f" OR {column} > {highest}"
    return f"typeof({column}) NOT IN ('real', 'integer') OR {column} < {lowest}{above}"


_NO_GRADE = "grade NOT IN ('missed', 'helped', 'partly', 'found', 'fluent')"
_NO_MOMENT = (
    "typeof(time) <> 'text' OR time NOT GLOB '????-??-??T??:??:??.??????+00:00' "
    f"OR julianday(time) IS NULL OR substr(time, 12, 2) > '23' OR {_is_no_date('substr(time, 1, 10)')}"
)


def _wrong(*rules: tuple[str, str, str]) -> str:
    """An expression that says what is wrong with a row, or is NULL: column, condition, what it should be."""
    cases = " ".join(
        f"WHEN {condition} THEN '{column} ' || quote({column}) || ' is not {right}'"
        for column, condition, right in rules
    )
    return f"CASE {cases} END"


_DIGITS = "replace(answer_id, '-', '')"

_WRONG_ANSWER = _wrong(
    (
        "answer_id",
        f"typeof(answer_id) <> 'text' OR length({_DIGITS}) <> 32 OR {_DIGITS} GLOB '*[^0-9a-fA-F]*'",
        "a uuid",
    ),
    ("student", "typeof(student) <> 'integer'", "the number of a student"),
    (
        "item",
        "typeof(item) <> 'text' OR item NOT GLOB 'card:?*/?*/' || ask AND item NOT GLOB 'motif:?*/' || ask",
        "an item of its ask",
    ),
    ("study_day", _is_no_date("study_day"), "a date"),
    ("time", _NO_MOMENT, "a moment"),
    ("grade", f"grade IS NULL OR {_NO_GRADE}", "a grade"),
    ("score", _is_no_number("score", 0, 1), "a number from 0 to 1"),
    ("seconds", _is_no_number("seconds", 0), "a number of seconds"),
    ("hints", _is_no_number("hints", 0), "a number of hints"),
    (
        "target_recall",
        f"{_is_no_number('target_recall', 0, 1)} OR target_recall IN (0, 1)",
        "a number between 0 and 1",
    ),
)

_WRONG_CORRECTION = _wrong(("time", _NO_MOMENT, "a moment"), ("grade", _NO_GRADE, "a grade"))

_ORDER_OF_ARRIVAL = (
    "DROP VIEW graded",
    # The order in which answers came in, and whether a later day had been kept by then. What is there already
    # has lost its order of arrival: it takes the one that memories were worked out in so far.
    "ALTER TABLE reviews ADD COLUMN arrival INTEGER",
    "ALTER TABLE reviews ADD COLUMN clock_back INTEGER NOT NULL DEFAULT 0",
    "DROP TRIGGER reviews_change_no_row",
    """UPDATE reviews SET arrival = place FROM (
        SELECT answer_id AS id, row_number() OVER (ORDER BY study_day, time, answer_id) AS place FROM reviews)
        WHERE answer_id = id""",
    "DROP TRIGGER reviews_keep_every_row",
    "DROP TRIGGER reviews_replace_no_row",
    *_append_only("reviews", "answer_id", "arrival"),
    "CREATE UNIQUE INDEX reviews_by_arrival ON reviews (arrival)",
    "DROP INDEX reviews_by_item",
    "CREATE INDEX reviews_by_item ON reviews (student, item, arrival)",
    "CREATE INDEX reviews_by_student ON reviews (student, arrival)",
    "CREATE INDEX reviews_by_day ON reviews (student, study_day, arrival)",
    # A correction without a grade voids its answer. SQLite can't drop a constraint, so the table is copied.
    """CREATE TABLE new_corrections (
        correction_id TEXT PRIMARY KEY,
        answer_id TEXT NOT NULL REFERENCES reviews,
        grade TEXT CHECK (grade IN ('missed', 'helped', 'partly', 'found', 'fluent')),
        reason TEXT NOT NULL,
        time TEXT NOT NULL
    ) WITHOUT ROWID""",
    "INSERT INTO new_corrections SELECT * FROM corrections",
    "DROP TABLE corrections",
    "ALTER TABLE new_corrections RENAME TO corrections",
    "CREATE INDEX corrections_by_answer ON corrections (answer_id, time)",
    *_append_only("corrections", "correction_id"),
    f"""CREATE VIEW damaged AS
        SELECT 'answer' AS kind, answer_id AS id, {_WRONG_ANSWER} AS wrong FROM reviews WHERE wrong NOT NULL
        UNION ALL
        SELECT 'correction', correction_id, {_WRONG_CORRECTION} AS wrong FROM corrections
        WHERE wrong NOT NULL""",
    f"CREATE VIEW sound_corrections AS SELECT * FROM corrections WHERE {_WRONG_CORRECTION} IS NULL",
    """CREATE VIEW voided AS
        SELECT answer_id, reason, time FROM sound_corrections AS void
        WHERE grade IS NULL AND NOT EXISTS (
            SELECT 1 FROM sound_corrections AS later WHERE later.answer_id = void.answer_id
            AND (later.time, later.correction_id) > (void.time, void.correction_id))""",
    # What counts of the log. `day_now`: the study day, never before that of an answer that came in earlier.
    f"""CREATE VIEW counted AS
        SELECT reviews.*,
            coalesce(
                (SELECT correction.grade FROM sound_corrections AS correction
                 WHERE correction.answer_id = reviews.answer_id
                 ORDER BY correction.time DESC, correction.correction_id DESC LIMIT 1),
                reviews.grade) AS grade_now,
            CASE WHEN clock_back THEN
                (SELECT earlier.study_day FROM reviews AS earlier
                 WHERE earlier.student = reviews.student AND earlier.arrival <= reviews.arrival
                 AND NOT ({_is_no_date("earlier.study_day")})
                 AND earlier.answer_id NOT IN (SELECT answer_id FROM voided)
                 ORDER BY earlier.study_day DESC LIMIT 1)
            ELSE study_day END AS day_now
        FROM reviews
        WHERE answer_id NOT IN (SELECT answer_id FROM voided) AND {_WRONG_ANSWER} IS NULL""",
)


@MIGRATIONS(name="0003-order-of-arrival")
def order_of_arrival(db: Database) -> None:
    """Answers keep their order of arrival, corrections can void them, and damaged rows are told apart."""
    for statement in _ORDER_OF_ARRIVAL:
        db.execute(statement)


_CONTESTS = (
    # A row is a claim to a grade, or it withdraws one.
    """CREATE TABLE contests (
        contest_id TEXT PRIMARY KEY,
        answer_id TEXT NOT NULL REFERENCES reviews,
        grade TEXT CHECK (grade IN ('missed', 'helped', 'partly', 'found', 'fluent')),
        withdraws TEXT REFERENCES contests,
        time TEXT NOT NULL,
        CHECK ((grade IS NULL) <> (withdraws IS NULL))
    ) WITHOUT ROWID""",
    "CREATE INDEX contests_by_answer ON contests (answer_id)",
    *_append_only("contests", "contest_id"),
    # A correction made after the claim decides it, whatever the grade.
    """CREATE VIEW open_contests AS
        SELECT contest_id, answer_id, grade, time FROM contests AS claim
        WHERE grade NOT NULL
        AND NOT EXISTS (SELECT 1 FROM contests WHERE withdraws = claim.contest_id)
        AND NOT EXISTS (SELECT 1 FROM sound_corrections AS correction
            WHERE correction.answer_id = claim.answer_id AND correction.time >= claim.time)""",
)


@MIGRATIONS(name="0004-contests")
def contests(db: Database) -> None:
    """Grades that students contest, which count only once a correction says so."""
    for statement in _CONTESTS:
        db.execute(statement)


_UNVOIDING = (
    # A correction that only takes a void back. It says nothing on a claim to another grade.
    "ALTER TABLE corrections ADD COLUMN unvoids INTEGER NOT NULL DEFAULT 0",
    "DROP VIEW open_contests",
    # A correction made after the claim decides it, whatever the grade. A voided answer has none to decide.
    """CREATE VIEW open_contests AS
        SELECT contest_id, answer_id, grade, time FROM contests AS claim
        WHERE grade NOT NULL
        AND NOT EXISTS (SELECT 1 FROM contests WHERE withdraws = claim.contest_id)
        AND NOT EXISTS (SELECT 1 FROM sound_corrections AS decision
            WHERE decision.answer_id = claim.answer_id AND decision.time >= claim.time
            AND decision.grade NOT NULL AND NOT decision.unvoids)
        AND answer_id NOT IN (SELECT answer_id FROM voided)""",
)


@MIGRATIONS(name="0005-unvoiding")
def unvoiding(db: Database) -> None:
    """A contest stays open when its answer is voided and counted again."""
    for statement in _UNVOIDING:
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


_SHOWN_POSITIONS = (
    # What an answer was about. `why`: why it was asked, of answers before this step NULL like motif and tier.
    "ALTER TABLE reviews ADD COLUMN motif TEXT",
    "ALTER TABLE reviews ADD COLUMN tier INTEGER CHECK (tier BETWEEN 1 AND 3)",
    "ALTER TABLE reviews ADD COLUMN lookalike INTEGER NOT NULL DEFAULT 0 CHECK (lookalike IN (0, 1))",
    "ALTER TABLE reviews ADD COLUMN on_paper INTEGER NOT NULL DEFAULT 0 CHECK (on_paper IN (0, 1))",
    "ALTER TABLE reviews ADD COLUMN why TEXT CHECK (why IN ('due', 'first meeting', 'turn'))",
    "DROP INDEX reviews_by_ask",
    "CREATE INDEX reviews_by_ask ON reviews (student, ask, arrival)",
    # Every display of a position, answered or not. `after`: the arrival of the last answer before it.
    f"""CREATE TABLE displays (
        display_id TEXT PRIMARY KEY,
        student INTEGER NOT NULL REFERENCES students,
        deck TEXT REFERENCES decks,
        card_id TEXT NOT NULL,
        fen TEXT NOT NULL,
        how TEXT NOT NULL CHECK (how IN ('asked', 'worked', 'looked up', 'on paper')),
        item TEXT,
        why TEXT CHECK (why IN ('due', 'first meeting', 'turn')),
        study_day TEXT NOT NULL CHECK (NOT ({_is_no_date("study_day")})),
        time TEXT NOT NULL,
        after INTEGER NOT NULL
    ) WITHOUT ROWID""",
    "CREATE INDEX displays_by_position ON displays (student, fen, study_day)",
    "CREATE INDEX displays_by_item ON displays (student, item, after)",
    *_append_only("displays", "display_id"),
    """INSERT INTO displays
        SELECT answer_id, student, deck, card_id, fen, 'asked', NULL, NULL, study_day, time, arrival - 1
        FROM reviews WHERE answer_id NOT IN (SELECT id FROM damaged)""",
    """CREATE TABLE strands (
        student INTEGER NOT NULL REFERENCES students,
        item TEXT NOT NULL,
        state TEXT NOT NULL,
        PRIMARY KEY (student, item)
    ) WITHOUT ROWID""",
    "DELETE FROM memory WHERE item GLOB 'motif:*'",
)


@MIGRATIONS(name="0009-shown-positions")
def shown_positions(db: Database) -> None:
    """Answers keep what they were about, and every position that is displayed is kept; strands have states.

    A strand that was answered before has no memory any more. What is known of it is worked out from the log.
    """
    for statement in _SHOWN_POSITIONS:
        db.execute(statement)
    remember_all_strands(ScorebookDatabase(db.conn))


def _keep(table: str, *columns: str) -> str:
    """A statement that has SQLite refuse to change a row of a table in one of these columns."""
    return f"""CREATE TRIGGER {table}_change_no_row BEFORE UPDATE OF {", ".join(columns)} ON {table}
        BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"""


_KEPT_OF_AN_ANSWER = (
    *(
        "answer_id",
        "student",
        "deck",
        "item",
        "card_id",
        "ask",
        "fen",
        "key_version",
        "raw",
        "score",
        "grade",
    ),
    *("seconds", "hints", "study_day", "time", "first_sight", "target_recall", "motif", "tier", "lookalike"),
    *("on_paper", "why"),
)
_KEPT_OF_A_DISPLAY = (
    *("display_id", "student", "deck", "card_id", "fen", "how", "item", "why", "study_day", "time"),
)
"""Columns that never change; the others say where a row stands in the log."""

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
    _keep("reviews", *_KEPT_OF_AN_ANSWER),
    "DROP TRIGGER displays_change_no_row",
    _keep("displays", *_KEPT_OF_A_DISPLAY),
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
