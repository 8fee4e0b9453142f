"""Grades that students contest, as the log has them. The functions take a database of this version."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from decks.memory.answers import Settled
from decks.scorebook.database import ScorebookDatabase
from decks.scorebook.rows import Row

_SETTLED = """
    SELECT deck, card_id, ask, fen, key_version, raw, hints, claim.grade AS claimed,
        decision.grade AS grade, reason, decision.time AS time
    FROM contests AS claim
    JOIN sound_corrections AS decision USING (answer_id)
    JOIN reviews USING (answer_id)
    WHERE claim.grade NOT NULL AND decision.grade NOT NULL AND NOT decision.unvoids
    AND decision.time >= claim.time AND deck NOT NULL
    AND NOT EXISTS (SELECT 1 FROM contests WHERE withdraws = claim.contest_id)
    ORDER BY decision.time, correction_id, contest_id"""

_DECIDED = """
    SELECT claim.*, coalesce(
        (SELECT earlier.grade FROM sound_corrections AS earlier
            WHERE earlier.answer_id = claim.answer_id AND earlier.time < claim.time AND earlier.grade NOT NULL
            ORDER BY earlier.time DESC, earlier.correction_id DESC LIMIT 1),
        reviews.grade) AS contested
    FROM contests AS claim JOIN reviews USING (answer_id)
    WHERE claim.grade NOT NULL AND answer_id NOT IN (SELECT answer_id FROM voided)
    AND answer_id NOT IN (SELECT answer_id FROM open_contests)
    AND NOT EXISTS (SELECT 1 FROM contests WHERE withdraws = claim.contest_id)
    ORDER BY claim.time, contest_id"""


def decided(db: ScorebookDatabase) -> list[Row]:
    """The last claim on each answer whose claims are all decided. `contested`: the grade that it is about."""
    return list({row["answer_id"]: row for row in db.query(_DECIDED)}.values())


def settled(db: ScorebookDatabase) -> Iterator[Settled]:
    """Every claim that was decided, in the order of the decisions.

    Also on answers that are voided: what was decided is about the card, not about that day.
    """
    for row in db.query(_SETTLED):
        yield Settled(**{**row, "time": datetime.fromisoformat(row["time"])})
