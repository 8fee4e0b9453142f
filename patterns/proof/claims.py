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
from patterns.boards.bitboards import ALL, Bitboards, Flags, Rows, Squares
from patterns.boards.exchange import Values
from patterns.boards.grouping import grouped
from patterns.boards.legal import made
from patterns.boards.moves import Moves
from patterns.boards.tables import Table
from patterns.boards.view import View, reversed_sides
from patterns.proof.lookahead import MATE, Aims, collects, holds, threats

EXCHANGE = 2
"""The least that most motifs claim, in pawns: the exchange."""


@dataclass(frozen=True)
class Claims(Table):
    """Claims that we win something, one entry each.

    `row`: row of a view; its "us" profits. `origin`, `square`: our move that does it (it need not be legal).
    They are equal where nothing need be moved first: then a capture of a target must win. `actors`,
    `targets`, `squares`: the evidence, on the board before the move. `least`: what must be won in pawns, or
    `MATE`. `checks`: how many checks may be tried for it. `detail`: a small number; the motif states its
    meaning. `beyond`: whether the move must win more than we could take without it. `about`: claims of one
    row with the same number here are told as one finding; -1: those with the same actors and targets.
    """

    row: Rows
    origin: Squares
    square: Squares
    actors: Bitboards
    targets: Bitboards
    squares: Bitboards
    least: Values
    checks: Values
    detail: npt.NDArray[np.int64]
    about: npt.NDArray[np.int64]
    beyond: Flags


def claims(
    moves: Moves,
    actors: Bitboards,
    targets: Bitboards,
    squares: Bitboards | None = None,
    *,
    least: npt.NDArray[Any] | int = EXCHANGE,
    checks: npt.NDArray[Any] | int = 0,
    detail: npt.NDArray[Any] | int = 0,
    about: npt.NDArray[Any] | int = -1,
    beyond: bool = True,
) -> Claims:
    """Claims about these moves. What is not given is empty, or the same for all."""
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
        column(least),
        column(checks),
        column(detail),
        column(about),
        np.full(size, beyond),
    )


def hold(view: View, asked: Claims, checks: int = 0) -> Flags:
    """Which claims hold. `checks`: how many checks may be tried, if the claim does not ask for more.

    If it is not our move, a move is tested as if it were; a claim without a move is then tested against every
    move of theirs.
    """
    moved = asked.origin != asked.square
    wanted = np.where(moved, ALL, asked.targets)
    allowed = np.maximum(asked.checks, checks)
    groups = grouped(asked.row, asked.origin, asked.square, asked.least, allowed, wanted, asked.beyond)
    first = groups.first
    result = np.zeros(len(first), dtype=np.bool_)
    for these, test in ((np.flatnonzero(moved[first]), _moves_hold), (np.flatnonzero(~moved[first]), _stand)):
        entries = first[these]
        result[these] = test(view, asked.take(entries), wanted[entries], allowed[entries])
    return result[groups.group]


def _moves_hold(view: View, asked: Claims, wanted: Bitboards, checks: Values) -> Flags:
    """Which moves win what is claimed, and where this is asked more than we could take without them."""
    boards = view.boards.take(asked.row)
    moves = made(boards, Moves(np.arange(len(asked)), asked.origin, asked.square))
    possible = ~in_check(moves.after, "them") & ~in_check(boards, "them")
    some = np.flatnonzero(possible)
    least = asked.least[some].copy()
    further = np.flatnonzero(asked.beyond[some] & (least < MATE))
    least[further] = np.maximum(least[further], threats(boards.take(some[further])) + 1)
    needed = np.where(least < MATE, least - moves.gain[some], MATE)
    aims = Aims(needed, wanted[some], checks[some])
    result = np.zeros(len(asked), dtype=np.bool_)
    result[some] = holds(moves.after.take(some), aims)
    return result


def _stand(view: View, asked: Claims, wanted: Bitboards, checks: Values) -> Flags:
    """Which claims hold without a move of ours."""
    boards = view.boards.take(asked.row)
    aims = Aims(asked.least, wanted, checks)
    ours = np.flatnonzero(boards.our_move)
    theirs = np.flatnonzero(~boards.our_move & ~in_check(boards, "us"))
    result = np.zeros(len(asked), dtype=np.bool_)
    result[ours] = collects(boards.take(ours), aims.take(ours))
    result[theirs] = holds(reversed_sides(boards.take(theirs)), aims.take(theirs))
    return result


WORTHS = (1, 2, 3, 5, 8, MATE)
"""What a claim may be told to win: a pawn, the exchange, a piece, a rook, a queen, mate."""


def worth(view: View, moves: Moves, checks: int = 1) -> Values:
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
