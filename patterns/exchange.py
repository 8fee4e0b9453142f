"""Static exchange: what a series of captures on one square is worth, in pawns.

The rules, the same for the slow loop in the tests. Pawn 1, knight 3, bishop 3, rook 5, queen 9. Sides
capture in turn, always with the cheapest man that may (among equals the lowest square as "us" sees the
board), and stop when going on would lose. X-rays open as men leave. A man pinned absolutely captures
only along its pin, for as long as the pinner has not left its square; pins are those of the position in
which the first capture on the square can be made. A king captures only if nobody of the other side then
attacks the square. A pawn that captures on its last rank becomes a queen (worth 8 more, and 9 if taken).
Everything else, checks above all, is ignored: see "Static exchange evaluation" in computer chess, common practice.
"""

from __future__ import annotations

from dataclasses import dataclass

import chess
import numpy as np
import numpy.typing as npt

from patterns.attacks import Owner, absolute_pins, attackers
from patterns.bitboards import (
    BIT,
    EMPTY,
    LINE,
    RANKS,
    Bitboards,
    Rows,
    Squares,
    lowest,
    square_of,
)
from patterns.positions import PIECES, Boards

VALUES = np.array([0, 1, 3, 3, 5, 9, 100], dtype=np.int64)
"""Worth by python-chess piece type; the king's stands for everything."""
QUEENING = int(VALUES[chess.QUEEN] - VALUES[chess.PAWN])

Values = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Binding:
    """Men to treat otherwise than their absolute pins say, one entry a row.

    `bound`: this man captures only along the line to `pinner`, while the pinner stands there (a relative
    pin). `freed`: these men count as not pinned.
    """

    bound: Bitboards
    pinner: Bitboards
    freed: Bitboards


def settle(
    boards: Boards,
    squares: Squares,
    standing: Values,
    side: Owner,
    binding: Binding | None = None,
) -> Values:
    """What `side`, to capture first on each square, wins there: 0 or more, as it need not capture.

    `standing`: worth of the man that stands on the square (the other side's). Shapes (M,).
    """
    size = len(squares)
    won = np.zeros(size, dtype=np.int64)
    own = boards.us if side == "us" else boards.them
    active = np.flatnonzero((attackers(boards, squares) & own) != EMPTY)
    if not len(active):
        return won
    boards = boards.take(active)
    if binding is not None:
        binding = Binding(binding.bound[active], binding.pinner[active], binding.freed[active])
    won[active] = _settle_active(boards, squares[active], standing[active], side, binding)
    return won


def _settle_active(
    boards: Boards, squares: Squares, standing: Values, side: Owner, binding: Binding | None
) -> Values:
    pins = {who: absolute_pins(boards, who) for who in ("us", "them")}
    occupied = boards.occupied
    gains: list[tuple[Rows, Values]] = []
    rows = np.arange(len(squares))
    while len(rows):
        target = squares[rows]
        attacking = attackers(boards, target, occupied) & ~BIT[target]
        own, foe = (boards.us, boards.them) if side == "us" else (boards.them, boards.us)
        may = attacking & own
        for pinned, pinner in zip(pins[side].pinned, pins[side].pinner, strict=True):
            stands = (pinner & occupied & ~BIT[target]) != EMPTY
            if binding is not None:
                stands &= (pinned & binding.freed) == EMPTY
            along = (LINE[square_of(pinner) & 63, target] & pinned) != EMPTY
            may &= ~np.where(stands & ~along, pinned, EMPTY)
        if binding is not None:
            stands = (binding.pinner & occupied & ~BIT[target]) != EMPTY
            along = (LINE[square_of(binding.pinner) & 63, target] & binding.bound) != EMPTY
            may &= ~np.where(stands & ~along, binding.bound, EMPTY)
        capturer, kind = _cheapest(boards, may)
        # A king steps onto the square only if nobody there could take it, x-rays through it included.
        kings = np.flatnonzero(kind == chess.KING)
        if len(kings):
            seen = attackers(boards.take(kings), target[kings], occupied[kings] & ~capturer[kings])
            capturer[kings] = np.where((seen & foe[kings] & ~BIT[target[kings]]) != EMPTY, EMPTY, capturer[kings])
        goes = np.flatnonzero(capturer)
        if not len(goes):
            break
        rows, capturer, kind = rows[goes], capturer[goes], kind[goes]
        boards, occupied = boards.take(goes), occupied[goes] & ~capturer
        for who, which in pins.items():
            pins[who] = type(which)(which.pinned[:, goes], which.pinner[:, goes])
        if binding is not None:
            binding = Binding(binding.bound[goes], binding.pinner[goes], binding.freed[goes])
        queens = (kind == chess.PAWN) & ((BIT[squares[rows]] & (RANKS[0] | RANKS[7])) != EMPTY)
        gains.append((rows, standing[rows] + QUEENING * queens))
        standing = standing.copy()
        standing[rows] = VALUES[kind] + QUEENING * queens
        side = "them" if side == "us" else "us"
    result = np.zeros(len(squares), dtype=np.int64)
    for rows, gain in reversed(gains):
        result[rows] = np.maximum(0, gain - result[rows])
    return result


def _cheapest(boards: Boards, men: Bitboards) -> tuple[Bitboards, Squares]:
    """The cheapest of the men, as a board, and its kind (0 where there are none)."""
    kind = np.zeros(len(men), dtype=np.int64)
    chosen = np.zeros(len(men), dtype=np.uint64)
    for number, name in reversed(list(enumerate(PIECES, start=1))):
        these = men & getattr(boards, name)
        some = these != EMPTY
        chosen = np.where(some, lowest(these), chosen)
        kind = np.where(some, number, kind)
    return chosen, kind


def capture_gain(boards: Boards, squares: Squares, side: Owner, binding: Binding | None = None) -> Values:
    """What `side` wins by capturing, cheapest man first, what stands on each square now (0 if empty)."""
    foe = boards.them if side == "us" else boards.us
    standing = np.where((foe & BIT[squares]) != EMPTY, VALUES[boards.kind_at(squares)], 0)
    return settle(boards, squares, standing, side, binding)


def exchange(boards: Boards, origins: Squares, destinations: Squares, binding: Binding | None = None) -> Values:
    """What we win (or lose, below 0) by moving from each origin to each destination.

    The mover is lifted, so lines through its square open; what it takes counts (en passant too, a
    promotion as 8); then they may recapture, and so on. The moves must be pseudo-legal; a king that
    walks into an attack comes out at -100 or so. Shapes (M,).
    """
    mover = boards.kind_at(origins)
    taken = VALUES[boards.kind_at(destinations)]
    target = BIT[destinations]
    queens = (mover == chess.PAWN) & ((target & RANKS[7]) != EMPTY)
    passes = (mover == chess.PAWN) & ((target & boards.en_passant) != EMPTY) & (taken == 0)
    after = boards.moved(origins, destinations)
    if passes.any():
        after = after.without(np.where(passes, target >> np.uint64(8), EMPTY))
    gain = taken + passes + QUEENING * queens
    return gain - settle(after, destinations, VALUES[mover] + QUEENING * queens, "them", binding)


def is_safe(boards: Boards, origins: Squares, destinations: Squares) -> npt.NDArray[np.bool_]:
    """Whether each move of ours is safe: no enemy pawn attacks its square and the exchange loses nothing."""
    after = boards.moved(origins, destinations)
    seen = attackers(after, destinations) & after.them
    safe = (seen & after.pawns) == EMPTY
    doubtful = np.flatnonzero(safe & (seen != EMPTY))
    if len(doubtful):
        boards = boards.take(doubtful)
        safe[doubtful] = exchange(boards, origins[doubtful], destinations[doubtful]) >= 0
    return safe
