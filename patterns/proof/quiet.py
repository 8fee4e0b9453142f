"""Quiet positions: those in which what stands on the board is worth talking about."""

from __future__ import annotations

import numpy as np

from patterns.boards.attacks import in_check
from patterns.boards.bitboards import Flags, Rows
from patterns.boards.view import View
from patterns.proof.lookahead import threatened

PAWN = 1


def is_quiet(view: View, rows: Rows) -> Flags:
    """Whether our king is not in check, and the side to move wins no more than a pawn by any exchange.

    Where we give check, their exchanges are not asked. Shape (M,).
    """
    asked, which = np.unique(rows, return_inverse=True)
    quiet = ~in_check(view.boards.take(asked), "us")
    some = np.flatnonzero(quiet)
    mover = np.where(view.boards.our_move[asked[some]], asked[some], view.other(asked[some]))
    boards = view.boards.take(mover)
    free = np.flatnonzero(~in_check(boards, "us"))
    quiet[some[free]] = threatened(boards.take(free), np.full(len(free), PAWN)) == 0
    return quiet[which]
