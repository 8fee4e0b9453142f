"""Lines to play through after the answer: the student's own, then the card's line, then its defences."""

from __future__ import annotations

from decks.review.attempt import Attempt
from decks.tasks.defences import defence_played
from decks.tasks.lines import ShownLine


def lines_to_show(attempt: Attempt) -> tuple[ShownLine, ...]:
    """The lines to play through, the most useful first; none while the card's line must stay hidden."""
    task = attempt.task
    if "line" in attempt.secrets:
        return ()
    own = [line for given in attempt.given for line in given.mark.lines(task)]
    card = task.card
    line = [ShownLine("The line", card.line)] if card.line else []
    defences = (key for key in card.moves_asked() if key.defence)
    met = (ShownLine(f"If {defence_played(card, key)}", (*key.before, *key.line)) for key in defences)
    return (*own, *line, *met)
