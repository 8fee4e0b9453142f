"""Lines to play through once a card is answered: the refutation, the student's own, the card's."""

from __future__ import annotations

from decks.review.attempt import Attempt
from decks.tasks.lines import ShownLine


def lines_to_show(attempt: Attempt) -> tuple[ShownLine, ...]:
    """What to play through, the most instructive first; nothing while the line is still to be asked for."""
    task = attempt.task
    if "line" in attempt.secrets:
        return ()
    own = [line for given in attempt.given for line in given.mark.lines(task)]
    return (*own, *([ShownLine("The line", task.card.line)] if task.card.line else []))
