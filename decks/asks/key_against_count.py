"""Where the card's verdict and the program's count differ: what the card's line does to the factors."""

from __future__ import annotations

from decks.tasks.ballot import cell_words, fold
from decks.tasks.lines import board_after, numbered
from decks.tasks.task import Task
from patterns.words.verdicts import row_title
from patterns.words.wording import listed, side_name

CHANGED = 0.3
"""Pawns: a balance that changes less does not explain another verdict."""

TOLD = 3
"""Balances told at most, those that change most."""


def why_they_differ(task: Task, key: int, may_tell_the_line: bool) -> list[str]:
    """Sentences on why the card's verdict is `key` and not what the program counts; none if they agree.

    The card's line is followed to its end and counted there, unless it must not be told yet.
    """
    card, before = task.card, task.explanation.assessment
    if fold("verdict", before.verdict.signed) == key:
        return []
    differ = f"The count says {cell_words(before.verdict.signed)}, the card {cell_words(key)}"
    if not card.line or not may_tell_the_line:
        return [f"{differ}: a search sees more than a count."]
    from patterns.factors.assessment import assess_boards  # array code, imported only when it is needed

    (after,) = assess_boards([board_after(card.board, card.line)])
    changes = [
        (there.balance - here.balance, here.factor)
        for here, there in zip(before.factors, after.factors, strict=True)
    ]
    told = sorted((one for one in changes if abs(one[0]) >= CHANGED), key=lambda one: -abs(one[0]))[:TOLD]
    line = " ".join(numbered(card.board, card.line))
    if not told:
        return [f"{differ}. The line that was searched: {line}."]
    what = listed(
        f"{row_title(factor)} has changed by {abs(by):.2f} for {side_name(by > 0)}" for by, factor in told
    )
    return [f"{differ}. The line that was searched: {line}.", f"After it {what}."]
