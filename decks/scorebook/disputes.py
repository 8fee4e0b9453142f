"""Grades that students contest, as the log has them. The functions take a database of this version."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from decks.memory.answers import Settled
from decks.scorebook.database import ScorebookDatabase

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


def settled(db: ScorebookDatabase) -> Iterator[Settled]:
    """Every claim that was decided, in the order of the decisions.

    Also on answers that are voided: what was decided is about the card, not about that day.
    """
    for row in db.query(_SETTLED):
        yield Settled(**{**row, "time": datetime.fromisoformat(row["time"])})
