"""Positions that were shown to students, and the states of strands, which are derived from the log.

The state of a strand follows from its answers and from the positions shown worked for it, in the order in
which they came in. The functions take a database of this version.
"""

from __future__ import annotations

import json
from collections.abc import Container, Iterable, Iterator, Mapping
from dataclasses import asdict, fields, replace
from datetime import date, datetime
from functools import reduce
from itertools import groupby
from operator import itemgetter

from decks.memory.answers import Display
from decks.memory.minutes import WORKED_SECONDS
from decks.memory.strands import Showing, Sight, StrandState, after
from decks.scorebook.database import ScorebookDatabase
from decks.scorebook.rows import Row, day_from, row_of

_ANSWERED = """
    SELECT student, item, arrival AS place, answer_id AS id, day_now AS day, time, grade_now AS grade, tier,
        lookalike, first_sight, seen_before, answer_id IN (SELECT answer_id FROM open_contests) AS is_open
    FROM counted WHERE item GLOB 'motif:*' {and_where} ORDER BY student, item, arrival"""

_WORKED = """
    SELECT student, item, after + 0.5 AS place, display_id AS id, study_day AS day, time, NULL AS grade,
        NULL AS tier, 0 AS lookalike, 1 AS first_sight, 0 AS seen_before, 0 AS is_open
    FROM displays WHERE how = 'worked' AND item GLOB 'motif:*' {and_where}
    ORDER BY student, item, after, time, display_id"""

DAYS = f"""
    SELECT day, sum(seconds) AS seconds, sum(CASE why WHEN 'due' THEN seconds ELSE 0.0 END) AS due_seconds,
        count(DISTINCT CASE WHEN why = 'first meeting' AND NOT EXISTS (
            SELECT 1 FROM displays AS begun WHERE begun.student = :student AND begun.item = met
            AND begun.how = 'worked' AND begun.study_day < day) THEN met END) AS first_meetings
    FROM (
        SELECT day_now AS day, seconds, coalesce(why, iif(first_sight, 'first meeting', 'due')) AS why,
            iif(item GLOB 'motif:*', item, coalesce(deck, '') || '/' || card_id) AS met
        FROM counted WHERE student = :student AND arrival >=
            (SELECT min(arrival) FROM reviews WHERE student = :student AND study_day >= :since)
        UNION ALL
        SELECT study_day, {WORKED_SECONDS}, why, item FROM displays
        WHERE student = :student AND how = 'worked' AND study_day >= :since
        UNION ALL
        SELECT study_day, reading, 'reading', NULL FROM sittings
        WHERE student = :student AND study_day >= :since)
    GROUP BY day HAVING max(why IS NOT 'reading') ORDER BY day"""
"""What the log holds of a student's study days since one, and what was read on them.

A worked position counts as its expected time; what its sitting took beside that is known as reading.

A first meeting belongs to the day on which it began, also if it goes on later.

An answer under a clock that was set back comes after one of that day, whatever its own date.
"""


def add_display(db: ScorebookDatabase, display: Display) -> None:
    """Add a display to the log."""
    ((last,),) = db.execute("SELECT coalesce(max(arrival), 0) FROM reviews").fetchall()
    db.insert("displays", {**row_of(display), "after": last})


def last_seen(db: ScorebookDatabase, student: int) -> dict[str, str]:
    """Every position (FEN) that a student has seen, and the last study day on which it was displayed.

    The order does the grouping: the last row of a position wins, in half the time of SQLite's own.
    """
    rows = db.execute(
        "SELECT fen, study_day FROM displays WHERE student = ? ORDER BY fen, study_day", [student]
    )
    return dict(rows)


def last_displayed(db: ScorebookDatabase, student: int) -> dict[str, str]:
    """The last position (FEN) that was displayed for each strand, by item."""
    rows = db.query(
        "SELECT item, (SELECT fen FROM displays WHERE (student, item) = (strands.student, strands.item) "
        "AND after = (SELECT max(after) FROM displays AS other WHERE (other.student, other.item) = "
        "(strands.student, strands.item)) ORDER BY time DESC LIMIT 1) AS fen FROM strands WHERE student = ?",
        [student],
    )
    return {row["item"]: row["fen"] for row in rows if row["fen"] is not None}


def strand_logs(
    db: ScorebookDatabase,
    student: int | None = None,
    item: str | None = None,
    until: date = date.max,
    seen_before: Container[str] | None = None,
) -> Iterator[tuple[tuple[int, str], list[Showing]]]:
    """The log of every strand up to a day, in the order in which it came in, by student and item.

    Of all students, of one student, or of one of the student's strands. Those without an answer come last.
    `seen_before`: the answers that count as marked so, whatever is stored.
    """
    wanted = "" if student is None else "AND student = :student"
    wanted += "" if item is None else " AND item = :item"
    about = {"student": student, "item": item}
    answered, worked = (db.query(sql.format(and_where=wanted), about) for sql in (_ANSWERED, _WORKED))
    if seen_before is not None:
        answered = ({**row, "seen_before": row["id"] in seen_before} for row in answered)
    worked_of = {key: list(rows) for key, rows in groupby(worked, key=_strand_of)}
    for key, rows in groupby(answered, key=_strand_of):
        both = sorted([*rows, *worked_of.pop(key, ())], key=itemgetter("place"))
        yield from _until(until, key, both)
    for key, alone in worked_of.items():
        yield from _until(until, key, alone)


_strand_of = itemgetter("student", "item")


def _until(
    until: date, key: tuple[int, str], rows: Iterable[Row]
) -> Iterator[tuple[tuple[int, str], list[Showing]]]:
    """The log of these rows up to a day, unless it is empty."""
    log: list[Showing] = []
    answered = date.min
    for showing in map(_showing, rows):
        if showing.grade is None:  # it may have been kept while later dates before it did not count
            showing = replace(showing, day=max(showing.day, answered))
        else:
            answered = showing.day
        if showing.day <= until:
            log.append(showing)
    if log:
        yield key, log


def replayed_strands(
    db: ScorebookDatabase,
    student: int | None = None,
    item: str | None = None,
    until: date = date.max,
    seen_before: Container[str] | None = None,
) -> dict[tuple[int, str], StrandState]:
    """The states of strands as `strand_logs` gives them, by student and item."""
    logs = strand_logs(db, student, item, until, seen_before)
    return {key: reduce(after, log, StrandState()) for key, log in logs}


def stored_strands(
    db: ScorebookDatabase, student: int | None = None
) -> dict[tuple[int, str], StrandState | None]:
    """The states that are stored, of one student or all; None for one that can't be read."""
    rows = db.query("SELECT * FROM strands WHERE ? IN (student, 0)", [student or 0])
    return {(row["student"], row["item"]): _read_state(row["state"]) for row in rows}


def remember_all_strands(
    db: ScorebookDatabase, student: int | None = None
) -> dict[tuple[int, str], StrandState]:
    """Derive every state from the log and store it in place of what was stored, of one student or all."""
    states = replayed_strands(db, student)
    db.execute("DELETE FROM strands WHERE ? IN (student, 0)", [student or 0])
    db.table("strands").insert_all(_rows(states))
    return states


def remember_strand(db: ScorebookDatabase, student: int, item: str) -> StrandState | None:
    """Derive the state of a strand from its whole log and store it; None if nothing is left of its log."""
    states = replayed_strands(db, student, item)
    if not states:
        db.execute("DELETE FROM strands WHERE student = ? AND item = ?", [student, item])
    _store(db, states)
    return states.get((student, item))


def _rows(states: Mapping[tuple[int, str], StrandState]) -> list[dict[str, object]]:
    return [
        {"student": student, "item": item, "state": _written_state(state)}
        for (student, item), state in states.items()
    ]


def _store(db: ScorebookDatabase, states: Mapping[tuple[int, str], StrandState]) -> None:
    for row in _rows(states):
        db.insert("strands", row, instead=True)


def remember_next(db: ScorebookDatabase, student: int, item: str, answer_id: str) -> StrandState | None:
    """Store the state of a strand after the answer that has just come in. It takes one step, not the log."""
    row = db.query("SELECT state FROM strands WHERE student = ? AND item = ?", [student, item])
    before = next((_read_state(found["state"]) for found in row), None)
    if before is None:
        return remember_strand(db, student, item)
    answered = db.query(_ANSWERED.format(and_where="AND answer_id = :id"), {"id": answer_id})
    state = reduce(after, map(_showing, answered), before)
    _store(db, {(student, item): state})
    return state


def _showing(row: Row) -> Showing:
    return Showing(
        row["id"],
        day_from(row["day"]),
        datetime.fromisoformat(row["time"]),
        row["grade"],
        row["tier"] or Showing.tier,
        bool(row["lookalike"]),
        bool(row["first_sight"]) and not row["seen_before"],
        bool(row["is_open"]),
    )


def _written_state(state: StrandState) -> str:
    return json.dumps(asdict(state), default=date.isoformat)


def _read_state(text: object) -> StrandState | None:
    """The state that was stored; None if it is damaged."""
    try:
        found = json.loads(str(text))
        read = {field.name: found[field.name] for field in fields(StrandState)}
        for name in ("returns", "last", "stuck_since", "rests_until"):
            read[name] = read[name] and date.fromisoformat(read[name])
        read["in_tier"] = tuple(map(bool, read["in_tier"]))
        read["sights"] = tuple(Sight(*each) for each in read["sights"])
        read["tiers"] = tuple((date.fromisoformat(day), tier) for day, tier in read["tiers"])
        return StrandState(**read)
    except (ValueError, TypeError, LookupError):
        return None
