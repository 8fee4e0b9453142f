"""The tables of the log: answers, displays, contests. Statements of the steps that made and changed them."""

from __future__ import annotations

from decks.scorebook.damage import WRONG_ANSWER, WRONG_CORRECTION, is_no_date


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


def log_tables(prefix: str = "", ask_is: str = "") -> tuple[str, str]:
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


AROUND_THE_LOG = (
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


ANY_ASK = (
    # Which asks there are is not the scorebook's to say. SQLite can't drop a constraint, so the log is copied
    # into tables without it; what refers to another table goes first.
    "DROP VIEW graded",
    *log_tables(prefix="new_"),
    "INSERT INTO new_reviews SELECT * FROM reviews",
    "INSERT INTO new_corrections SELECT * FROM corrections",
    "DROP TABLE corrections",
    "DROP TABLE reviews",
    "ALTER TABLE new_reviews RENAME TO reviews",
    "ALTER TABLE new_corrections RENAME TO corrections",
    *AROUND_THE_LOG,
)


ORDER_OF_ARRIVAL = (
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
        SELECT 'answer' AS kind, answer_id AS id, {WRONG_ANSWER} AS wrong FROM reviews WHERE wrong NOT NULL
        UNION ALL
        SELECT 'correction', correction_id, {WRONG_CORRECTION} AS wrong FROM corrections
        WHERE wrong NOT NULL""",
    f"CREATE VIEW sound_corrections AS SELECT * FROM corrections WHERE {WRONG_CORRECTION} IS NULL",
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
                 AND NOT ({is_no_date("earlier.study_day")})
                 AND earlier.answer_id NOT IN (SELECT answer_id FROM voided)
                 ORDER BY earlier.study_day DESC LIMIT 1)
            ELSE study_day END AS day_now
        FROM reviews
        WHERE answer_id NOT IN (SELECT answer_id FROM voided) AND {WRONG_ANSWER} IS NULL""",
)


CONTESTS = (
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


UNVOIDING = (
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


SHOWN_POSITIONS = (
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
        study_day TEXT NOT NULL CHECK (NOT ({is_no_date("study_day")})),
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


def keep(table: str, *columns: str) -> str:
    """A statement that has SQLite refuse to change a row of a table in one of these columns."""
    return f"""CREATE TRIGGER {table}_change_no_row BEFORE UPDATE OF {", ".join(columns)} ON {table}
        BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"""


KEPT_OF_AN_ANSWER = (
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
KEPT_OF_A_DISPLAY = (
    *("display_id", "student", "deck", "card_id", "fen", "how", "item", "why", "study_day", "time"),
)
"""Columns that never change; the others say where a row stands in the log."""
