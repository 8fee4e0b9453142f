"""Claims: what a motif says that a move wins, and the test of all claims together.

A motif proposes claims by geometry alone. One look ahead (`patterns.proof.lookahead`) decides which of them
hold, for all motifs in one batch. In a played line the same claims are asked about the moves played.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from patterns.boards.attacks import in_check
from patterns.boards.bitboards import BIT, Bitboards, Flags, Rows, Squares
from patterns.boards.exchange import Values
from patterns.boards.grouping import grouped
from patterns.boards.legal import Made, made
from patterns.boards.moves import Moves
from patterns.boards.positions import Boards
from patterns.boards.tables import Table
from patterns.boards.view import View, reversed_sides
from patterns.proof.lookahead import MATE, Aims, holds, threats

EXCHANGE = 2
"""The least that most motifs claim, in pawns: the exchange."""


@dataclass(frozen=True)
class Claims(Table):
    """Claims that we win something, one entry each.

    `row`: row of a view; its "us" profits. `origin`, `square`: our move that does it (it need not be legal).
    They are equal where we need not move first: then the capture of a target must win, whatever they do, as
    if it were their move. `actors`, `targets`, `squares`: the evidence, on the board before the move.
    `wanted`: the squares where a capture counts (also one of the man that answered). `least`: what must be
    won in pawns, or `MATE`. `checks`: how many checks may be tried for it. `attack`: what an attack on their king
    that goes on by itself is worth, in pawns (`patterns.proof.attack`). `detail`: a small number; the
    motif states its meaning. `about`: claims of one row with the same number here are told as one finding;
    -1: those with the same actors and targets.
    """

    row: Rows
    origin: Squares
    square: Squares
    actors: Bitboards
    targets: Bitboards
    squares: Bitboards
    wanted: Bitboards
    least: Values
    checks: Values
    attack: Values
    detail: npt.NDArray[np.int64]
    about: npt.NDArray[np.int64]


def claims(
    moves: Moves,
    actors: Bitboards,
    targets: Bitboards,
    squares: Bitboards | None = None,
    *,
    least: npt.NDArray[Any] | int = EXCHANGE,
    checks: npt.NDArray[Any] | int = 0,
    attack: int = 0,
    detail: npt.NDArray[Any] | int = 0,
    about: npt.NDArray[Any] | int = -1,
    wanted: Bitboards | None = None,
) -> Claims:
    """Claims about these moves. A capture of a target counts; the rest is empty or 0, unless it is given."""
    size = len(moves)

    def column(number: npt.NDArray[Any] | int) -> npt.NDArray[np.int64]:
        return np.broadcast_to(number, size).astype(np.int64)

    return Claims(
        moves.row,
        moves.origin,
        moves.square,
        actors,
        targets,
        np.zeros(size, dtype=np.uint64) if squares is None else squares,
        targets if wanted is None else wanted,
        column(least),
        column(checks),
        column(attack),
        column(detail),
        column(about),
    )


def hold(view: View, asked: Claims, checks: int = 0) -> Flags:
    """Which claims hold. `checks`: how many checks may be tried, if the claim does not ask for more.

    A move must win more than we could win on the wanted squares without it; if it claims nothing (`least` is
    0), it must only lose nothing. A move is tested as if it were
    our move, and what stands as if it were theirs.
    """
    allowed = np.maximum(asked.checks, checks)
    groups = grouped(asked.row, asked.origin, asked.square, asked.least, allowed, asked.attack, asked.wanted)
    first = groups.first
    return _hold(view, asked.take(first), allowed[first])[groups.group]


def _hold(view: View, asked: Claims, checks: Values) -> Flags:
    boards = view.boards.take(asked.row)
    moved = asked.origin != asked.square
    moves = made(boards, Moves(np.arange(len(asked)), asked.origin, asked.square))
    legal = ~in_check(moves.after, "them") & ~in_check(boards, "them")
    some = np.flatnonzero(np.where(moved, legal, ~in_check(boards, "us")))
    boards, moves, moved, asked = boards.take(some), moves.take(some), moved[some], asked.take(some)
    least = asked.least.copy()
    further = np.flatnonzero(moved & (least > 0) & (least < MATE))
    elsewhere = asked.wanted[further] & ~BIT[asked.square[further]]
    least[further] = np.maximum(least[further], threats(boards.take(further), elsewhere) + 1)
    needed = np.where(least < MATE, least - np.where(moved, moves.gain, 0), MATE)
    aims = Aims(needed, asked.wanted, checks[some], asked.attack)
    result = np.zeros(len(legal), dtype=np.bool_)
    result[some] = holds(_as_they_see(boards, moves, moved), aims)
    return result


def _as_they_see(boards: Boards, moves: Made, moved: Flags) -> Boards:
    """The boards after the moves, or as they stand, as the other side sees them."""
    both = Boards.joined(moves.after, reversed_sides(boards))
    rows = np.arange(len(moved))
    return both.take(np.where(moved, rows, rows + len(moved)))


WORTHS = (1, 2, 3, 5, 8, MATE)
"""What a claim may be told to win: a pawn, the exchange, a piece, a rook, a queen, mate."""


def worth(view: View, moves: Moves, checks: int = 2) -> Values:
    """The greatest of `WORTHS` that each move wins for good, 0 if none. Shape (M,)."""
    boards = view.boards.take(moves.row)
    played = made(boards, Moves(np.arange(len(moves)), moves.origin, moves.square))
    result = np.zeros(len(moves), dtype=np.int64)
    left = np.flatnonzero(~in_check(played.after, "them") & ~in_check(boards, "them"))
    mates = left
    for least in WORTHS:
        left = mates if least == MATE else left
        needed = least - (played.gain[left] if least < MATE else 0)
        aims = Aims.of(np.broadcast_to(needed, len(left)), None, np.full(len(left), checks))
        left = left[holds(played.after.take(left), aims)]
        result[left] = least
    return result
