"""Castling, in whole batches: where we may castle, and the boards after it.

Only castling from e1 with a rook on a1 or h1 is known here: that of standard chess.
"""

from __future__ import annotations

from dataclasses import dataclass

import chess
import numpy as np

from patterns.boards.attacks import attackers
from patterns.boards.bitboards import BIT, EMPTY, Rows
from patterns.boards.positions import Boards
from patterns.boards.tables import Table


@dataclass(frozen=True)
class Wing:
    """Castling on one wing: the squares where our rook begins, and where king and rook arrive."""

    rook: chess.Square
    king_to: chess.Square
    rook_to: chess.Square


WINGS = (Wing(chess.H1, chess.G1, chess.F1), Wing(chess.A1, chess.C1, chess.D1))


@dataclass(frozen=True)
class Moved(Table):
    """Moves of ours, one entry each: the row among the boards before them, and the board after each."""

    row: Rows
    after: Boards


def castlings(boards: Boards) -> Moved:
    """Every castling move that would be legal if it were our move."""
    return Moved.joined(*(_on_wing(boards, wing) for wing in WINGS))


def _on_wing(boards: Boards, wing: Wing) -> Moved:
    right = (boards.castling & BIT[wing.rook] & boards.rooks & boards.us) != EMPTY
    right &= (boards.kings & boards.us & BIT[chess.E1]) != EMPTY
    right &= (boards.occupied & np.uint64(chess.between(chess.E1, wing.rook))) == EMPTY
    rows = np.flatnonzero(right)
    for square in (chess.E1, wing.rook_to, wing.king_to):
        here = boards.take(rows)
        attacked = attackers(here, np.full(len(rows), square)) & here.them
        rows = rows[attacked == EMPTY]
    after = boards.take(rows)
    for origin, destination in ((chess.E1, wing.king_to), (wing.rook, wing.rook_to)):
        after = after.moved(np.full(len(rows), origin), np.full(len(rows), destination))
    return Moved(rows, after)
