"""Lines to play through after the answer: those of the student's answers, then the card's line."""

from __future__ import annotations

from decks.review.attempt import Attempt
from decks.tasks.lines import ShownLine


def lines_to_show(attempt: Attempt) -> tuple[ShownLine, ...]:
    """The lines to play through, the most useful first; none while the card's line must stay hidden."""
    task = attempt.task
    if "line" in attempt.secrets:
        return ()
    own = [line for given in attempt.given for line in given.mark.lines(task)]
    return (*own, *([ShownLine("The line", task.card.line)] if task.card.line else []))
