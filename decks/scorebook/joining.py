"""Logs that were kept in several places, joined into one. The functions take a database of this version.

The order in which the answers of a student came in decides what follows from them. In one place it is kept as
it was, also where the clock was wrong: what came in later counts as later. Between places the moments decide.
So the joined log is the same in whatever order its parts arrive, and if one of them arrives twice.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from heapq import merge

from decks.memory.answers import Answer, Contest, Correction, Display, Logged, Withdrawal
from decks.scorebook.database import ScorebookDatabase
from decks.scorebook.first_sights import mark_seen_before
from decks.scorebook.rows import (
    answer_from,
    contest_from,
    correction_from,
    display_from,
    row_of,
    withdrawal_from,
)

_A_MOMENT = timedelta(microseconds=1)
_LONG_AGO = datetime.min.replace(tzinfo=UTC)


def log_of(db: ScorebookDatabase, student: int) -> list[Logged]:
    """All that a student's log holds, in order; what is damaged is left out."""
    answers = db.query(
        "SELECT * FROM reviews WHERE student = ? AND answer_id NOT IN (SELECT id FROM damaged) "
        "ORDER BY arrival",
        [student],
    )
    displays = db.query(
        "SELECT * FROM displays WHERE student = ? ORDER BY after, time, display_id", [student]
    )
    rows: Iterable[tuple[int, Logged]] = merge(
        ((row["arrival"], answer_from(row)) for row in answers),
        ((row["after"], display_from(row)) for row in displays),
        key=lambda placed: placed[0],
    )
    of_student = (
        "JOIN reviews USING (answer_id) WHERE student = ? AND answer_id NOT IN (SELECT id FROM damaged)"
    )
    corrections = db.query(
        f"SELECT each.* FROM sound_corrections AS each {of_student} ORDER BY each.time, correction_id",
        [student],
    )
    contests = db.query(
        f"SELECT each.* FROM contests AS each {of_student} ORDER BY each.time, contest_id", [student]
    )
    claims: list[Contest] = []
    withdrawals: list[Withdrawal] = []
    for row in contests:
        if row["withdraws"] is None:
            claims.append(contest_from(row))
        else:
            withdrawals.append(withdrawal_from(row))
    return [*(each for _, each in rows), *map(correction_from, corrections), *claims, *withdrawals]


@dataclass(frozen=True)
class Joined:
    """What came of a log that was joined: how many rows of each kind were new, and how many were known."""

    answers: int = 0
    displays: int = 0
    corrections: int = 0
    contests: int = 0
    known: int = 0


class Clash(ValueError):
    """A row that can't join the log. `place`: which it is of those given, from 0."""

    def __init__(self, place: int, wrong: str) -> None:
        super().__init__(wrong)
        self.place = place


def join(db: ScorebookDatabase, student: int, log: Sequence[Logged]) -> Joined:
    """Add what is new in `log` to the student's log, and order both by the moments at which they came in.

    Clash if a row is known otherwise, belongs to another student, or is about an answer that is not there.
    What is derived from the log is left as it was.
    """
    own = log_of(db, student)
    log = [replace(each, student=student) if isinstance(each, Answer | Display) else each for each in log]
    known = {key_of(each): each for each in own}
    new = [each for each in log if key_of(each) not in known]
    _check(db, student, log, known)
    moments = _moments(log) | _moments(own)
    _insert(db, new)
    if any(isinstance(each, Answer | Display) for each in new):
        _order(db, [*own, *new], moments)
        mark_seen_before(db, student)
    kinds = [type(each) for each in new]
    return Joined(
        kinds.count(Answer),
        kinds.count(Display),
        kinds.count(Correction),
        kinds.count(Contest) + kinds.count(Withdrawal),
        len(log) - len(new),
    )


def key_of(logged: Logged) -> tuple[str, str]:
    """The table of a row and its id."""
    match logged:
        case Answer():
            return "reviews", logged.answer_id
        case Display():
            return "displays", logged.display_id
        case Correction():
            return "corrections", logged.correction_id
        case Contest() | Withdrawal():
            return "contests", logged.contest_id


_KEYS = {
    "reviews": "answer_id",
    "displays": "display_id",
    "corrections": "correction_id",
    "contests": "contest_id",
}


def _check(
    db: ScorebookDatabase, student: int, log: Sequence[Logged], known: Mapping[tuple[str, str], Logged]
) -> None:
    """Clash for the first row that can't join the log."""
    elsewhere = {
        (table, row["id"])
        for table, key in _KEYS.items()
        for row in db.query(
            f"SELECT {key} AS id FROM {table} WHERE {key} IN (SELECT value FROM json_each(?))",
            [json.dumps([id_ for name, id_ in map(key_of, log) if name == table])],
        )
    } - known.keys()
    seen = dict(known)
    for place, each in enumerate(log):
        key = key_of(each)
        if key in elsewhere:
            raise Clash(place, f"{_named(key)} is another student's here, or damaged")
        if seen.setdefault(key, each) != each:
            raise Clash(place, f"{_named(key)} is not what it was before")
        about = None if isinstance(each, Answer | Display) else ("reviews", each.answer_id)
        if about is not None and about not in seen:
            raise Clash(place, f"{_named(key)} is about answer {about[1]}, which is not there")
        if isinstance(each, Withdrawal) and ("contests", each.withdraws) not in seen:
            raise Clash(place, f"{_named(key)} takes back {each.withdraws}, which is not there")


def _named(key: tuple[str, str]) -> str:
    table, id_ = key
    return f"{'answer' if table == 'reviews' else table.removesuffix('s')} {id_}"


def _moments(log: Iterable[Logged]) -> dict[tuple[str, str], datetime]:
    """When each answer and display came in, at the latest: never before an answer that came in earlier."""
    moments, last = {}, _LONG_AGO
    for each in log:
        if isinstance(each, Answer):
            last = max(each.time, last + _A_MOMENT)
            moments[key_of(each)] = last
        elif isinstance(each, Display):
            moments[key_of(each)] = max(each.time, last)
    return moments


def _insert(db: ScorebookDatabase, new: Sequence[Logged]) -> None:
    """Add rows behind all others. What an answer or a claim refers to stands before it."""
    ((last,),) = db.execute("SELECT coalesce(max(arrival), 0) FROM reviews").fetchall()
    behind = {"reviews": {"arrival": last, "clock_back": 0}, "displays": {"after": last}}
    for table in _KEYS:
        rows = []
        for each in new:
            if key_of(each)[0] == table:
                if table == "reviews":
                    behind["reviews"]["arrival"] += 1
                rows.append({**row_of(each), **behind.get(table, {})})
        db.table(table).insert_all(rows)


def _order(db: ScorebookDatabase, log: Sequence[Logged], moments: Mapping[tuple[str, str], datetime]) -> None:
    """Put all answers and displays of a student into the order of these moments.

    From the first answer on that has to move, all come behind every other, because no two may share a place.
    """
    ordered = sorted(
        (each for each in log if isinstance(each, Answer | Display)),
        key=lambda each: (moments[key_of(each)], isinstance(each, Display), key_of(each)),
    )
    rows = db.query("SELECT answer_id, arrival FROM reviews WHERE student = ?", [ordered[0].student])
    arrivals = {row["answer_id"]: row["arrival"] for row in rows}
    ((free,),) = db.execute("SELECT coalesce(max(arrival), 0) FROM reviews").fetchall()
    before, latest, renumber = 0, date.min, False
    answers, displays = [], []
    for each in ordered:
        if isinstance(each, Display):
            displays.append((each.display_id, before))
            continue
        renumber = renumber or arrivals[each.answer_id] <= before
        free += renumber
        before = free if renumber else arrivals[each.answer_id]
        answers.append((each.answer_id, before, int(each.study_day < latest)))
        latest = max(latest, each.study_day)
    db.execute(_PUT_ANSWERS, [json.dumps(answers)])
    db.execute(_PUT_DISPLAYS, [json.dumps(displays)])


_PUT_ANSWERS = """
    UPDATE reviews SET arrival = json_extract(value, '$[1]'), clock_back = json_extract(value, '$[2]')
    FROM json_each(?) WHERE answer_id = json_extract(value, '$[0]')"""

_PUT_DISPLAYS = """
    UPDATE displays SET after = json_extract(value, '$[1]')
    FROM json_each(?) WHERE display_id = json_extract(value, '$[0]')"""
