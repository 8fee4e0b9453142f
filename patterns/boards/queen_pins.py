"""Men pinned to their queen: they may leave, but then the queen falls for less than she is worth."""

from __future__ import annotations

from dataclasses import dataclass

import chess

from patterns.boards.bitboards import EMPTY, Bitboards, Rows, square_of
from patterns.boards.exchange import Values, capture_gain
from patterns.boards.grouping import united
from patterns.boards.tables import Table
from patterns.boards.view import View


@dataclass(frozen=True)
class QueenPins(Table):
    """Their men that one of our sliders pins to their queen, one entry each.

    `man`: as a board. `cost`: pawns that we win on the queen's square once the man has left; 0 if she is
    guarded and our man is worth as much.
    """

    row: Rows
    man: Bitboards
    cost: Values

    def above(self, gain: int, size: int) -> Bitboards:
        """By row, the men whose leaving costs more than the capture wins."""
        dear = self.cost > gain
        return united(self.row[dear], self.man[dear], size)


def queen_pins(view: View) -> QueenPins:
    """Ask for them with `view.once(queen_pins)`."""
    lines = view.our_sight_lines_on_two
    lines = lines.only((lines.rear & view.their(chess.QUEEN)[lines.row]) != EMPTY)
    lines = lines.only((lines.front & view.boards.kings[lines.row]) == EMPTY)
    left = view.boards.take(lines.row).without(lines.front)
    return QueenPins(lines.row, lines.front, capture_gain(left, square_of(lines.rear), "us"))
