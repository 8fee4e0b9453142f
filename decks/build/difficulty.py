"""How hard a card is: its tier, 1 to 3, by how deep one must look and what one must foresee."""

from __future__ import annotations

from collections.abc import Sequence

import chess

from decks.tasks.card import Card
from decks.tasks.lines import is_forcing, is_foreseen
from patterns.engines.effort import Effort, Round, Search
from patterns.engines.scores import PositionVerdicts

FIRST_LOOK = Effort(
    (Search((Round(5),)),), Effort((Search((Round(2),)),), ends_quiet=False), ends_quiet=False
)
"""A search that sees about as far as a player who looks two moves ahead."""

MOST_QUIET_REPLIES = 2
"""Quiet replies that may have to be foreseen. With more of them a line can't be calculated to its end."""


def tier_of(card: Card, key: PositionVerdicts, looks: Sequence[PositionVerdicts]) -> int | None:
    """The tier of a card: 1 to 3. None if it is too hard for a card.

    `key`: the verdicts on its first position. `looks`: those of lighter searches, the deepest last. Each
    search that would still play a move that doesn't hold makes the card harder, and so does each quiet reply.
    A quiet key is never of the first tier: one looks at captures and checks before it.
    """
    quiet = quiet_replies(card)
    if quiet > MOST_QUIET_REPLIES:
        return None
    holding = key.holding()
    wrong = [place for place, look in enumerate(looks, 1) if look.best not in holding]
    is_quiet = not is_forcing(card.board, chess.Move.from_uci(card.line[0]))
    return 1 + max([quiet, int(is_quiet), *wrong])


def quiet_replies(card: Card) -> int:
    """How many replies of the other side one cannot expect, before the last own move, shown or asked."""
    board, count = card.board.copy(stack=False), 0
    for ply, uci in enumerate(card.line):
        move = chess.Move.from_uci(uci)
        if ply % 2 and ply + 1 < len(card.line):
            count += not is_foreseen(board, move)
        board.push(move)
    return count
