"""Static exchange: what a series of captures on one square is worth, in pawns.

The rules, the same for the slow loop in the tests. Pawn 1, knight 3, bishop 3, rook 5, queen 9. Sides
capture in turn, always with the cheapest man that may (among equals the lowest square as "us" sees the
board), and stop when going on would lose. X-rays open as men leave. A man pinned absolutely captures
only along its pin, for as long as the pinner has not left its square; pins are those of the position in
which the first capture on the square can be made. A king captures only if nobody of the other side then
attacks the square. A pawn that captures on its last rank becomes a queen (worth 8 more, and 9 if taken).
Everything else, checks above all, is ignored: "static exchange evaluation", common practice.
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
    KING_STEPS,
    KNIGHT_STEPS,
    LINE,
    PAWN_DOWN,
    PAWN_UP,
    RANKS,
    Bitboards,
    Rows,
    Squares,
    bishop_reach,
    lowest,
    rook_reach,
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
    pin). `freed`: these men count as not pinned. `idle`: these men do not capture at all (bound to another
    duty).
    """

    bound: Bitboards
    pinner: Bitboards
    freed: Bitboards
    idle: Bitboards

    @classmethod
    def of(
        cls,
        size: int,
        *,
        bound: Bitboards | None = None,
        pinner: Bitboards | None = None,
        freed: Bitboards | None = None,
        idle: Bitboards | None = None,
    ) -> Binding:
        """A binding of `size` rows; what is left out is empty."""
        nothing = np.zeros(size, dtype=np.uint64)
        return cls(*(nothing if men is None else men for men in (bound, pinner, freed, idle)))

    def take(self, rows: Rows) -> Binding:
        """The entries of these rows."""
        return Binding(self.bound[rows], self.pinner[rows], self.freed[rows], self.idle[rows])


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
        binding = binding.take(active)
    won[active] = _settle_active(boards, squares[active], standing[active], side, binding)
    return won


def _settle_active(
    boards: Boards, squares: Squares, standing: Values, side: Owner, binding: Binding | None
) -> Values:
    table = _Table.of(boards, squares, binding)
    rows = np.arange(len(squares))
    gains: list[tuple[Rows, Values]] = []
    while len(rows):
        capturer, kind = table.cheapest(side)
        goes = np.flatnonzero(capturer)
        if not len(goes):
            break
        rows, capturer, kind, standing = rows[goes], capturer[goes], kind[goes], standing[goes]
        table = table.after(goes, capturer)
        queens = QUEENING * ((kind == chess.PAWN) & ((BIT[table.squares] & (RANKS[0] | RANKS[7])) != EMPTY))
        gains.append((rows, standing + queens))
        standing = VALUES[kind] + queens
        side = "them" if side == "us" else "us"
    result = np.zeros(len(squares), dtype=np.int64)
    for rows, gain in reversed(gains):
        result[rows] = np.maximum(0, gain - result[rows])
    return result


@dataclass(frozen=True)
class _Table:
    """The state of a batch of exchanges, one a column, in few arrays so that a step costs few numpy calls.

    `men`: (8, M), the six kinds, us, them. `held`: (P, M), men that may not capture on the square while
    the man of `holder`, (P, M), stands. `occupied`: (M,), without those that have left. `idle`: (M,).
    """

    squares: Squares
    occupied: Bitboards
    men: Bitboards
    held: Bitboards
    holder: Bitboards
    idle: Bitboards

    @classmethod
    def of(cls, boards: Boards, squares: Squares, binding: Binding | None) -> _Table:
        held, holder = [], []
        for pins in (absolute_pins(boards, "us"), absolute_pins(boards, "them")):
            freed = EMPTY if binding is None else binding.freed
            held.append(pins.pinned & ~freed)
            holder.append(pins.pinner)
        if binding is not None:
            held.append(binding.bound[None])
            holder.append(binding.pinner[None])
        every_held, every_holder = np.concatenate(held), np.concatenate(holder)
        # What stands on the square itself holds nobody; who captures along the pin is not held.
        every_holder &= ~BIT[squares]
        used = ((every_held != EMPTY) & (every_holder != EMPTY)).any(axis=1)
        every_held, every_holder = every_held[used], every_holder[used]
        every_held &= ~LINE[square_of(every_holder) & 63, squares]
        men = np.array([*(getattr(boards, name) for name in PIECES), boards.us, boards.them])
        idle = np.zeros(len(squares), dtype=np.uint64) if binding is None else binding.idle
        return cls(squares, boards.occupied, men, every_held, every_holder, idle)

    def after(self, goes: Rows, capturer: Bitboards) -> _Table:
        """The columns that go on, with their capturers gone."""
        return _Table(
            self.squares[goes],
            self.occupied[goes] & ~capturer,
            self.men[:, goes],
            self.held[:, goes],
            self.holder[:, goes],
            self.idle[goes],
        )

    def attacking(self) -> Bitboards:
        """Everyone still there who attacks the square."""
        pawns, knights, bishops, rooks, queens, kings, us, them = self.men
        found = KNIGHT_STEPS[self.squares] & knights
        found |= KING_STEPS[self.squares] & kings
        found |= PAWN_DOWN[self.squares] & pawns & us
        found |= PAWN_UP[self.squares] & pawns & them
        found |= bishop_reach(self.squares, self.occupied) & (bishops | queens)
        found |= rook_reach(self.squares, self.occupied) & (rooks | queens)
        return found & self.occupied & ~BIT[self.squares]

    def cheapest(self, side: Owner) -> tuple[Bitboards, Squares]:
        """The man of `side` that captures next, as a board (empty: none may), and its kind."""
        own, foe = (self.men[6], self.men[7]) if side == "us" else (self.men[7], self.men[6])
        attacking = self.attacking()
        may = attacking & own & ~self.idle
        if len(self.held):
            holding = (self.holder & self.occupied) != EMPTY
            may &= ~np.bitwise_or.reduce(np.where(holding, self.held, EMPTY), axis=0)
        capturer, kind = np.zeros_like(may), np.zeros(len(may), dtype=np.int64)
        for number in range(len(PIECES), 0, -1):
            these = may & self.men[number - 1]
            some = these != EMPTY
            capturer[some], kind[some] = these[some], number
        capturer = lowest(capturer)
        kings = np.flatnonzero(kind == chess.KING)
        if len(kings):
            # A king steps onto the square only if nobody there could take it, x-rays through it included.
            seen = self.after(kings, capturer[kings]).attacking() & foe[kings]
            capturer[kings[seen != EMPTY]] = EMPTY
        return capturer, kind


def capture_gain(boards: Boards, squares: Squares, side: Owner, binding: Binding | None = None) -> Values:
    """What `side` wins by capturing, cheapest man first, what stands on each square now (0 if empty)."""
    foe = boards.them if side == "us" else boards.us
    standing = np.where((foe & BIT[squares]) != EMPTY, VALUES[boards.kind_at(squares)], 0)
    return settle(boards, squares, standing, side, binding)


def exchange(
    boards: Boards, origins: Squares, destinations: Squares, binding: Binding | None = None
) -> Values:
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
