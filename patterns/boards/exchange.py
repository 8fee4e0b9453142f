"""Static exchange: what a series of captures on one square is worth, in pawns.

The rules, which the slow loop in the tests follows too. Pawn 1, knight 3, bishop 3, rook 5, queen 9. The
sides capture in turn, always with the cheapest man that may capture. Among equals this is the man on the
lowest square as "us" sees the board. A side stops when capturing again would lose. X-rays open as men leave.
An absolutely pinned man captures only along its pin, as long as the pinner stands on its square. The pins are
those of the position in which the first capture on the square can be made. A king captures only if no man of
the other side then attacks the square. A pawn that captures on its last rank becomes a queen (worth 8 more,
and 9 if taken). Everything else is ignored, above all checks: "static exchange evaluation", common practice.
"""

from __future__ import annotations

from dataclasses import dataclass

import chess
import numpy as np
import numpy.typing as npt

from patterns.boards.attacks import Owner, attackers
from patterns.boards.bitboards import (
    ALL,
    BETWEEN,
    BEYOND,
    BISHOP_LINES,
    BIT,
    EMPTY,
    LINE,
    QUEEN_LINES,
    RANKS,
    ROOK_LINES,
    Bitboards,
    Rows,
    Squares,
    bishop_reach,
    exploded,
    lowest,
    paired,
    rook_reach,
    square_of,
)
from patterns.boards.grouping import nth_of_row
from patterns.boards.positions import PIECES, Boards
from patterns.boards.tables import Table
from patterns.boards.worth import WORTH

VALUES = np.array(WORTH, dtype=np.int64)
"""Worth in pawns by python-chess piece type."""
QUEENING = int(VALUES[chess.QUEEN] - VALUES[chess.PAWN])
_BISHOPS, _ROOKS, _QUEENS = (PIECES.index(name) for name in ("bishops", "rooks", "queens"))
_ONE = np.uint64(1)
EVERYTHING = 10_000
"""More than any series of captures can win."""

Values = npt.NDArray[np.int64]

_PIN_LINES = np.where(np.eye(65, 64, dtype=np.bool_), ALL, np.pad(LINE, ((0, 1), (0, 0))))
"""By the king's square and the square of the capture: a pinned man on one of these captures along its pin."""


@dataclass(frozen=True)
class Binding(Table):
    """Men that are treated differently from what their absolute pins say, one entry per row.

    `pinned`: this man captures only along the line to `pinner`, while the pinner stands there (a relative
    pin). `freed`: these men count as not pinned. `idle`: these men do not capture at all (they have another
    duty).
    """

    pinned: Bitboards
    pinner: Bitboards
    freed: Bitboards
    idle: Bitboards

    @classmethod
    def of(
        cls,
        size: int,
        *,
        pinned: Bitboards | None = None,
        pinner: Bitboards | None = None,
        freed: Bitboards | None = None,
        idle: Bitboards | None = None,
    ) -> Binding:
        """A binding of `size` rows. What is not given is empty."""
        nothing = np.zeros(size, dtype=np.uint64)
        return cls(*(nothing if men is None else men for men in (pinned, pinner, freed, idle)))


def settle(
    boards: Boards,
    squares: Squares,
    standing: Values,
    side: Owner,
    binding: Binding | None = None,
    enough: Values | int = EVERYTHING,
) -> Values:
    """What `side` wins on each square if it captures first: 0 or more, as it need not capture.

    `standing`: worth of the other side's man on the square. `enough`: an upper limit: a side that could win
    more is reported as winning this. A smaller limit is faster. Shapes (M,).
    """
    won = np.zeros(len(squares), dtype=np.int64)
    if not len(squares):
        return won
    series = _Series(boards, squares, standing, side, binding, enough)
    sign = 1
    while len(series):
        series.capture()
        sign = -sign
        rows, left = series.outcome()
        won[rows] = sign * left
        series.leave_decided()
    return won


_MEN = slice(0, len(PIECES))
_OCCUPIED, _ATTACKING, _WAITING, _OWN, _IDLE, _LAST = range(len(PIECES), len(PIECES) + 6)
_PLACES = np.arange(len(PIECES), dtype=np.uint8)[:, np.newaxis]
_FIRST = square_of(np.arange(1 << len(PIECES), dtype=np.uint64)) % 64
"""The first of several places, each a binary digit. This is ten times as fast as `argmax` over columns."""
_LEAVING = slice(_OCCUPIED, _WAITING)
_HELD = len(PIECES) + 6
_ROW, _SQUARE, _STANDING, _QUEENING, _BALANCE, _LEAST, _MOST = range(7)


class _Series:
    """Series of captures that go on, one per column, as seen by the side that captures next.

    The values are kept in two arrays, because thinning out hundreds of small ones would cost more than the
    arithmetic. `sets`, rows of bitboards: the men, pawns to kings; `occupied`; `attacking`, the men of both
    sides that attack the square; `waiting`, sliders that look at it from behind other men; `own`, the men of
    the side to capture; `idle`, men that do not capture at all; `last`, the man that has just captured; from
    `_HELD` on in pairs, a man that may not capture and the man that holds it. `numbers`, rows of integers:
    the index of the question; the square; `standing`, worth of the man to be taken; `queening`, what a pawn
    gains in addition on this square; `balance`, won so far; `least` and `most`, what each side would have if
    it had stopped earlier. The outcome lies between these two, and is known once they are equal.
    """

    def __init__(
        self,
        boards: Boards,
        squares: Squares,
        standing: Values,
        side: Owner,
        binding: Binding | None,
        enough: Values | int,
    ) -> None:
        """Start with the squares where there is a man to take and a man that can take it."""
        attacking = attackers(boards, squares)
        queening = QUEENING * ((BIT[squares] & (RANKS[0] | RANKS[7])) != EMPTY)
        own = boards.us if side == "us" else boards.them
        rows = (((attacking & own) != EMPTY) & (standing + queening > 0)).nonzero()[0]
        most = enough if isinstance(enough, int) else enough[rows]
        boards, squares, attacking = boards.take(rows), squares[rows], attacking[rows]
        lined_up = BISHOP_LINES[squares] & boards.diagonal_sliders
        lined_up |= ROOK_LINES[squares] & boards.straight_sliders
        waiting = lined_up & ~attacking
        binding = None if binding is None else binding.take(rows)
        held = _holds(boards, squares, attacking | waiting, binding)
        self.sets = np.zeros((_HELD + len(held), len(rows)), dtype=np.uint64)
        self.sets[_MEN] = boards.men[_MEN]
        self.sets[_OCCUPIED], self.sets[_ATTACKING], self.sets[_WAITING] = boards.occupied, attacking, waiting
        self.sets[_OWN], self.sets[_HELD:] = own[rows], held
        if binding is not None:
            self.sets[_IDLE] = binding.idle
        self.numbers = np.zeros((7, len(rows)), dtype=np.int64)
        self.numbers[_ROW], self.numbers[_SQUARE] = rows, squares
        self.numbers[_STANDING], self.numbers[_QUEENING] = standing[rows], queening[rows]
        self.numbers[_MOST] = most

    def __len__(self) -> int:
        return self.numbers.shape[1]

    def outcome(self) -> tuple[Rows, Values]:
        """The index of each question, and what the side to capture next has if it stops here."""
        return self.numbers[_ROW], np.minimum(self.numbers[_LEAST], self.numbers[_MOST])

    def capture(self) -> None:
        """Capture with the cheapest man that may capture. Then it is the other side's turn."""
        capturer, kind = self._cheapest()
        _, _, standing, queening, balance, least, most = self.numbers
        queens = np.where(kind == chess.PAWN, queening, 0)
        balance += standing
        balance += queens
        # A side that has no man to capture with gets the least.
        stopped = np.where(capturer == EMPTY, least, np.minimum(most, balance))
        self.sets[_LEAVING] &= ~capturer
        self.sets[_LAST] = capturer
        np.invert(self.sets[_OWN], out=self.sets[_OWN])
        np.add(VALUES[kind], queens, out=standing)
        np.negative(balance, out=balance)
        np.negative(least, out=most)
        np.negative(stopped, out=least)

    def leave_decided(self) -> None:
        """Keep the series that the next capture could change, and open lines behind the last capturer."""
        _, _, standing, queening, balance, least, most = self.numbers
        able = ((self.sets[_ATTACKING] | self.sets[_WAITING]) & self.sets[_OWN]) != EMPTY
        left = (able & (least < most) & (least < balance + standing + queening)).nonzero()[0]
        self.sets, self.numbers = self.sets.take(left, axis=1), self.numbers.take(left, axis=1)
        waiting = self.sets[_WAITING].nonzero()[0]
        if len(waiting):
            opened = self._opened_by(self.sets[_LAST].take(waiting), waiting)
            self.sets[_ATTACKING][waiting] |= opened
            self.sets[_WAITING][waiting] ^= opened

    def _cheapest(self) -> tuple[Bitboards, Squares]:
        """The man that captures next, as a board (empty if no man may), and its kind."""
        may = self.sets[_ATTACKING] & self.sets[_OWN] & ~self.sets[_IDLE]
        for held, holder in zip(self.sets[_HELD::2], self.sets[_HELD + 1 :: 2], strict=True):
            may &= ~np.where((holder & self.sets[_OCCUPIED]) != EMPTY, held, EMPTY)
        by_kind = self.sets[_MEN] & may
        present = (by_kind != EMPTY).view(np.uint8) << _PLACES
        first: Squares = _FIRST[np.bitwise_or.reduce(present, axis=0)]
        capturer, kind = lowest(by_kind.ravel().take(first * len(may) + np.arange(len(may)))), first + 1
        kings = (kind == chess.KING).nonzero()[0]
        if len(kings):
            # A king captures only if no man could take it there, x-rays through the king included.
            foes = ~self.sets[_OWN].take(kings)
            seen = (self.sets[_ATTACKING].take(kings) & foes) != EMPTY
            through = (~seen & ((self.sets[_WAITING].take(kings) & foes) != EMPTY)).nonzero()[0]
            if len(through):
                opened = self._opened_by(capturer[kings[through]], kings[through])
                seen[through] = (opened & foes[through]) != EMPTY
            capturer[kings[seen]] = EMPTY
        return capturer, kind

    def _opened_by(self, men: Bitboards, entries: Rows) -> Bitboards:
        """The waiting sliders of these entries that see the square once these men have left."""
        squares = self.numbers[_SQUARE].take(entries)
        found = paired(BEYOND, squares, square_of(men) & 63) & self.sets[_WAITING].take(entries)
        some = found.nonzero()[0]
        if len(some):
            squares, occupied = squares[some], self.sets[_OCCUPIED].take(entries[some]) & ~men[some]
            found[some] &= bishop_reach(squares, occupied) | rook_reach(squares, occupied)
        return found


@dataclass(frozen=True)
class _Held(Table):
    """Men that may not capture on the square of their row, one entry each, and the man that holds each."""

    row: Rows
    man: Bitboards
    holder: Bitboards


def _holds(boards: Boards, squares: Squares, suspects: Bitboards, binding: Binding | None) -> Bitboards:
    """The suspects that may not capture on each square, each followed by its holder: (2 P, M).

    P is the greatest number of men held in one row. A man on the square itself does not hold any other.
    """
    if binding is None:
        held = _pinned_off_line(boards, squares, suspects)
    else:
        pinned = _pinned_off_line(boards, squares, suspects & ~binding.freed)
        relative = binding.pinned & ~paired(LINE, square_of(binding.pinner) & 63, squares)
        some = ((relative != EMPTY) & (binding.pinner & ~BIT[squares] != EMPTY)).nonzero()[0]
        held = _Held.joined(pinned, _Held(some, relative[some], binding.pinner[some]))
    if not len(held):
        return np.zeros((0, len(squares)), dtype=np.uint64)
    held = held.take(held.row.argsort(kind="stable"))
    place = 2 * nth_of_row(held.row)
    result = np.zeros((int(place.max()) + 2, len(squares)), dtype=np.uint64)
    result[place, held.row], result[place + 1, held.row] = held.man, held.holder
    return result


def _pinned_off_line(boards: Boards, squares: Squares, suspects: Bitboards) -> _Held:
    """The suspects that are absolutely pinned, but not on the line to the square, and their pinners."""
    own = boards.men[len(PIECES) :]
    king = square_of(boards.kings & own)
    off_line = own & suspects & QUEEN_LINES[king] & ~paired(_PIN_LINES, king, squares)
    pinning = ROOK_LINES[king] & boards.straight_sliders | BISHOP_LINES[king] & boards.diagonal_sliders
    pinning = np.where(off_line != EMPTY, pinning & own[::-1], EMPTY)
    side, row = pinning.nonzero()
    entry, pinner = exploded(pinning[side, row])
    side, row = side[entry], row[entry]
    inside = paired(BETWEEN, king[side, row], pinner) & boards.occupied[row]
    some = (((inside & off_line[side, row]) != EMPTY) & ((inside & (inside - _ONE)) == EMPTY)).nonzero()[0]
    return _Held(row[some], inside[some], BIT[pinner[some]])


def capture_gain(
    boards: Boards,
    squares: Squares,
    side: Owner,
    binding: Binding | None = None,
    enough: Values | int = EVERYTHING,
) -> Values:
    """What `side` wins by capturing on each square now, cheapest man first (0 for an empty square).

    `enough`: an upper limit, as for `settle`.
    """
    enemy = boards.them if side == "us" else boards.us
    standing = np.where((enemy & BIT[squares]) != EMPTY, VALUES[boards.kind_at(squares)], 0)
    return settle(boards, squares, standing, side, binding, enough)


def can_win(
    boards: Boards, squares: Squares, side: Owner, binding: Binding | None = None
) -> npt.NDArray[np.bool_]:
    """Whether `side` wins anything by capturing what stands on each square.

    This is faster than computing how much.
    """
    return capture_gain(boards, squares, side, binding, enough=1) > 0


def exchange(
    boards: Boards,
    origins: Squares,
    destinations: Squares,
    binding: Binding | None = None,
    floor: int = -EVERYTHING,
) -> Values:
    """What we win (or lose, below 0) by moving from each origin to each destination.

    The moving man leaves its square, so lines through this square open. What it takes counts (en passant too;
    a promotion counts 8). Then they may recapture, and so on. The moves must be pseudo-legal. A king that
    moves into an attack gives about -100. `floor`: a lower limit: what loses more is reported as this.
    Shapes (M,).
    """
    after, gain, standing = _landed(boards, origins, destinations)
    return gain - settle(after, destinations, standing, "them", binding, enough=gain - floor)


def loses_nothing(
    boards: Boards, origins: Squares, destinations: Squares, binding: Binding | None = None
) -> npt.NDArray[np.bool_]:
    """Whether each move of ours gives 0 or more by exchange. This is faster than computing how much."""
    return exchange(boards, origins, destinations, binding, floor=-1) >= 0


def _landed(boards: Boards, origins: Squares, destinations: Squares) -> tuple[Boards, Values, Values]:
    """The boards after our moves, what each has won so far, and the worth of the man that has moved."""
    mover = boards.kind_at(origins)
    taken = VALUES[boards.kind_at(destinations)]
    target = BIT[destinations]
    queens = QUEENING * ((mover == chess.PAWN) & ((target & RANKS[7]) != EMPTY))
    passes = (mover == chess.PAWN) & ((target & boards.en_passant) != EMPTY) & (taken == 0)
    after = boards.moved(origins, destinations)
    if passes.any():
        after = after.without(np.where(passes, target >> np.uint64(8), EMPTY))
    return after, taken + passes + queens, VALUES[mover] + queens


def is_safe(boards: Boards, origins: Squares, destinations: Squares) -> npt.NDArray[np.bool_]:
    """Whether each move of ours is safe: no enemy pawn attacks its square, and the exchange loses nothing."""
    after, gain, standing = _landed(boards, origins, destinations)
    seen = attackers(after, destinations) & after.them
    safe = (seen & after.pawns) == EMPTY
    doubtful = np.flatnonzero(safe & (seen != EMPTY))
    if len(doubtful):
        after, gain, standing = after.take(doubtful), gain[doubtful], standing[doubtful]
        safe[doubtful] = gain >= settle(after, destinations[doubtful], standing, "them", enough=gain + 1)
    return safe
