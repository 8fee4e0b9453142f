"""Strokes: every legal move of the side to move, with what the man that has moved attacks then."""

from __future__ import annotations

from dataclasses import dataclass

import chess
import numpy as np

from patterns.boards.attacks import reach
from patterns.boards.bitboards import BIT, RANKS, Bitboards, Flags, Rows, Squares, exploded
from patterns.boards.exchange import VALUES, Values, loses_nothing
from patterns.boards.legal import legal_men
from patterns.boards.moves import Moves
from patterns.boards.tables import Table
from patterns.boards.view import View


@dataclass(frozen=True)
class Strokes(Table):
    """Legal moves of ours in the rows where it is our move, one entry each, rows ascending.

    `kind`: of the man after the move (a pawn that promotes is a queen). `gain`: what the move takes, and what
    a promotion gains, in pawns (a pawn taken en passant is left out). `seen`: what the man attacks from its
    new square, the first man on each line included.
    """

    row: Rows
    origin: Squares
    square: Squares
    kind: Squares
    gain: Values
    seen: Bitboards

    @property
    def moves(self) -> Moves:
        """The bare moves."""
        return Moves(self.row, self.origin, self.square)


def strokes(view: View) -> Strokes:
    """The strokes of a view. Ask for them with `view.once(strokes)`."""
    rows = np.flatnonzero(view.boards.our_move)
    boards = view.boards.take(rows)
    men = legal_men(boards)
    man, square = exploded(men.attacks)
    row, origin, kind = rows[men.row[man]], men.square[man], men.kind[man]
    gain = VALUES[view.boards.kind_at(square, row)]
    promotes = np.flatnonzero((kind == chess.PAWN) & ((BIT[square] & RANKS[7]) != 0))
    kind = kind.copy()
    kind[promotes] = chess.QUEEN
    gain[promotes] += VALUES[chess.QUEEN] - VALUES[chess.PAWN]
    seen = reach(kind, square, view.occupied[row] & ~BIT[origin], "us")
    return Strokes(row, origin, square, kind, gain, seen)


def profitable(view: View) -> Bitboards:
    """By kind of attacker and row, shape (7, 2N): their men that a man of ours attacks with profit.

    These are the king, men worth more than the attacker, and unguarded men.
    """
    boards, them = view.boards, view.them
    unguarded = them & ~view.their_attacks
    found = np.tile(boards.kings & them | unguarded, (chess.KING + 1, 1))
    found[: chess.QUEEN] |= boards.queens & them
    found[: chess.ROOK] |= boards.rooks & them
    found[: chess.KNIGHT] |= (boards.knights | boards.bishops) & them
    return found


def worth_claiming(view: View, these: Strokes) -> Flags:
    """Whether each stroke loses nothing by exchange. Where we are thorough, all are worth claiming."""
    if view.thorough:
        return np.ones(len(these), dtype=np.bool_)
    return loses_nothing(view.boards.take(these.row), these.origin, these.square)
