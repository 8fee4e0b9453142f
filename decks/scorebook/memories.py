"""Memories of fixed cards, which are derived from the log.

A memory follows from the answers to its item and from the times when it was shown worked, in the order in
which they came in. The functions take a database of this version.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from itertools import groupby
from operator import itemgetter

from decks.memory.model import Memory, Reviewed, replay_log
from decks.scorebook.database import ScorebookDatabase
from decks.scorebook.rows import Row, day_from, review_from, row_of

_ANSWERED = """
    SELECT student, item, arrival AS place, grade_now, day_now, target_recall FROM counted
    WHERE item NOT GLOB 'motif:*' AND day_now <= :until {and_where} ORDER BY student, item, arrival"""

_WORKED = """
    SELECT student, item, after + 0.5 AS place, NULL AS grade_now, study_day AS day_now, NULL AS target_recall
    FROM displays WHERE how = 'worked' AND item NOT GLOB 'motif:*' AND study_day <= :until {and_where}
    ORDER BY student, item, after, time, display_id"""

_item_of = itemgetter("student", "item")


def replayed_memories(
    db: ScorebookDatabase, student: int | None = None, item: str | None = None, until: date = date.max
) -> dict[tuple[int, str], Memory]:
    """What the log up to a day gives, by student and item. Of all students, of one, or of one item of one."""
    wanted = "" if student is None else "AND student = :student"
    wanted += "" if item is None else " AND item = :item"
    about = {"student": student, "item": item, "until": str(until)}
    answered, worked = (db.query(sql.format(and_where=wanted), about) for sql in (_ANSWERED, _WORKED))
    worked_of = {key: list(rows) for key, rows in groupby(worked, key=_item_of)}
    memories = {
        key: replay_log(_in_order(rows, worked_of.get(key, []))) for key, rows in groupby(answered, _item_of)
    }
    return {key: memory for key, memory in memories.items() if memory is not None}


def _in_order(answered: Iterable[Row], worked: Sequence[Row]) -> Iterator[Reviewed]:
    rows = sorted([*answered, *worked], key=itemgetter("place")) if worked else answered
    last = date.min
    for row in rows:
        if row["grade_now"] is None:  # it may have been kept while later dates before it did not count
            yield None, max(day_from(row["day_now"]), last), None
        else:
            last = day_from(row["day_now"])
            yield review_from(row)


def remember_all_memories(db: ScorebookDatabase, student: int | None = None) -> None:
    """Derive every memory from the log and store it in place of what was stored, of one student or all."""
    memories = replayed_memories(db, student)
    db.execute("DELETE FROM memory WHERE ? IN (student, 0)", [student or 0])
    db.table("memory").insert_all(_row(*found) for found in memories.items())


def remember_memory(db: ScorebookDatabase, student: int, item: str) -> None:
    """Derive one memory from its whole log and store it."""
    found = replayed_memories(db, student, item)
    if not found:
        db.execute("DELETE FROM memory WHERE student = ? AND item = ?", [student, item])
    for pair in found.items():
        db.insert("memory", _row(*pair), instead=True)


def _row(key: tuple[int, str], memory: Memory) -> dict[str, object]:
    student, item = key
    return {"student": student, "item": item, **row_of(memory)}
