"""Which answers were given at first sight of a position, as far as the whole log knows.

An answer keeps whether its position was new as far as the machine knew that asked. Another machine may have
shown it before. So each answer also has a mark, derived from the displays in the order in which they came in,
if the log shows an earlier sight. The functions take a database of this version.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from math import inf

from decks.memory.answers import Answer
from decks.memory.pool import position_key
from decks.scorebook.database import ScorebookDatabase
from decks.scorebook.rows import Row

_DISPLAYS = """
    SELECT student, fen, after + 0.5 AS place, iif(display_id IN (SELECT answer_id FROM reviews),
        coalesce(deck, '') || ' ' || card_id || ' ' || study_day, display_id) AS sight
    FROM displays WHERE {where} ORDER BY after, time, display_id"""
"""`sight`: tells sights apart. In the first version each answer to a card had a display, of its own id."""

_AT_FIRST_SIGHT = """
    SELECT student, answer_id, fen, arrival FROM reviews
    WHERE first_sight AND ? IN (student, 0) AND answer_id NOT IN (SELECT id FROM damaged)"""


def was_seen_before(db: ScorebookDatabase, answer: Answer) -> bool:
    """Whether the log shows an earlier sight of the position of an answer that comes in now."""
    key = position_key(answer.fen)
    near = _DISPLAYS.format(where="student = ? AND fen BETWEEN ? AND ?")
    rows = db.query(near, [answer.student, key, f"{key}!"])
    return (answer.student, key) in _second_sights(rows)


def seen_before(db: ScorebookDatabase, student: int | None = None) -> set[str]:
    """The answers, kept as given at first sight, before which the log shows another sight of their position.

    Of one student or all; by answer id.
    """
    second = _second_sights(db.query(_DISPLAYS.format(where="? IN (student, 0)"), [student or 0]))
    if not second:
        return set()
    return {
        row["answer_id"]
        for row in db.query(_AT_FIRST_SIGHT, [student or 0])
        if row["arrival"] > second.get((row["student"], position_key(row["fen"])), inf)
    }


def mark_seen_before(db: ScorebookDatabase, student: int | None = None) -> None:
    """Mark these answers and no others, of one student or all."""
    db.execute(
        "UPDATE reviews SET seen_before = NOT seen_before "
        "WHERE ? IN (student, 0) AND seen_before <> (answer_id IN (SELECT value FROM json_each(?)))",
        [student or 0, json.dumps(sorted(seen_before(db, student)))],
    )


def _second_sights(displays: Iterable[Row]) -> dict[tuple[int, str], float]:
    """The place in the log of the second sight of each position, by student and position."""
    first: dict[tuple[int, str], str] = {}
    second: dict[tuple[int, str], float] = {}
    for row in displays:
        position = row["student"], position_key(row["fen"])
        if first.setdefault(position, row["sight"]) != row["sight"]:
            second.setdefault(position, row["place"])
    return second
