"""Claims: what a motif says that a move wins, and the test of all claims together.

A motif proposes claims by geometry alone. One look ahead (`patterns.proof.lookahead`) decides which of them
hold, for all motifs in one batch. In a played line the same claims are asked about the moves played.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from patterns.boards.attacks import between, in_check
from patterns.boards.bitboards import (
    BIT,
    EMPTY,
    KING_STEPS,
    LINE,
    Bitboards,
    Flags,
    Rows,
    Squares,
    exploded,
    paired,
    square_of,
)
from patterns.boards.exchange import Values, can_win
from patterns.boards.grouping import any_of, greatest, grouped
from patterns.boards.legal import Made, has_move, made, moves_from
from patterns.boards.moves import Moves
from patterns.boards.positions import PIECES, Boards
from patterns.boards.tables import Table
from patterns.boards.view import View, reversed_sides
from patterns.proof.aims import MATE, Aims
from patterns.proof.gains import threats
from patterns.proof.lookahead import LOOKS, forces_mate, holds, reaches, threatens

EXCHANGE = 2
"""The least that most motifs claim, in pawns: the exchange."""
MATING = 2
"""Where so many checks force mate, nothing else is worth telling."""


@dataclass(frozen=True)
class Claims(Table):
    """Claims that we win something, one entry each.

    `row`: row of a view; its "us" profits. `origin`, `square`: our move that does it (it need not be legal).
    They are equal where we need not move first: then the capture of a target must win, whatever they do, as
    if it were their move; with `least` 0 and nothing bound it is a feature that stands, and is not tested.
    `actors`, `targets`, `squares`: the evidence, on the board before the move. `wanted`: the squares where a
    capture counts (also one of the man that answered). `least`: what must be won in pawns, or `MATE`.
    `checks`: how many checks may be tried for it. `attack`: what an attack on their king that goes on by
    itself is worth, in pawns (`patterns.proof.attack`). `detail`: a small number; the motif states its
    meaning. `about`: claims of one row with the same number here are told as one finding; -1: those with the
    same actors and targets. `threat`: whether it is enough that the move threatens this and loses nothing by
    captures and checks. `bound`: a man of theirs that the line of the one actor runs through, or empty. The
    claim then counts only if this man could refute it were the line shut (`_hinges`). Without a move, this is
    all that is claimed: no capture of the man off the line is worth it, though one would be were the line
    shut. One look is enough.
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
    threat: Flags
    bound: Bitboards

    @property
    def stands(self) -> Flags:
        """Which are no moves but features that stand on the board: what they need, their motif has seen."""
        return (self.origin == self.square) & (self.least == 0) & (self.bound == EMPTY)


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
    threat: npt.NDArray[np.bool_] | bool = False,
    bound: Bitboards | None = None,
) -> Claims:
    """Claims about these moves. A capture of a target counts; the rest is empty or 0, unless it is given."""
    size = len(moves)
    nothing = np.zeros(size, dtype=np.uint64)

    def column(number: npt.NDArray[Any] | int) -> npt.NDArray[np.int64]:
        return np.broadcast_to(number, size).astype(np.int64)

    return Claims(
        moves.row,
        moves.origin,
        moves.square,
        actors,
        targets,
        nothing if squares is None else squares,
        targets if wanted is None else wanted,
        column(least),
        column(checks),
        column(attack),
        column(detail),
        column(about),
        np.broadcast_to(threat, size),
        nothing if bound is None else bound,
    )


def hold(view: View, asked: Claims, checks: int = 0) -> Flags:
    """Which claims hold. `checks`: how many checks may be tried, if the claim does not ask for more.

    A move must win more than we could win on the wanted squares without it. If it claims nothing (`least` is
    0 or less), it must only lose no more than this; one look is enough where nothing may be lost. A move is
    tested as if it were our move, and what stands as if it were theirs.
    """
    allowed = np.maximum(asked.checks, checks)
    result = asked.stands.copy()
    some = np.flatnonzero(~result)
    if not len(some):
        return result
    asked, allowed = asked.take(some), allowed[some]
    move = (asked.row * 64 + asked.origin) * 64 + asked.square
    what = ((asked.least * 64 + allowed) * 64 + asked.attack) * 2 + asked.threat
    line = np.where(asked.bound == EMPTY, EMPTY, asked.actors)
    groups = grouped(move, what, asked.wanted, asked.bound, line)
    first = groups.first
    result[some] = _hold(view, asked.take(first), allowed[first])[groups.group]
    return result


def to_the_point(view: View, held: Claims) -> Flags:
    """Which of the claims that hold are worth telling.

    Where the side to move can force mate, only our moves that mate are; where we threaten mate at once,
    also what stands. Where we have mate at once, a mate that takes longer is not. While they are to move,
    they must not be able to take an actor of what stands with profit.
    """
    rows, row = np.unique(held.row, return_inverse=True)
    boards = view.boards.take(rows)
    ours = boards.our_move
    forced = forces_mate(view.boards.take(np.where(ours, rows, view.other(rows))), MATING)
    free = ~ours & ~in_check(boards, "them")
    threatened = free & ~forced
    threatened[threatened] = forces_mate(boards.only(threatened), 1)
    result = ~forced[row] & (~threatened[row] | held.stands)
    some = np.flatnonzero(~result & (threatened | ours)[row])
    result[some] = _mates(boards, replace(held.take(some), row=row[some]))
    quick = threatened.copy()
    quick[forced & ours] = forces_mate(boards.only(forced & ours), 1)
    some = np.flatnonzero(result & quick[row] & ~held.stands)
    moves = held.take(some)
    result[some] = _mated(made(boards, Moves(row[some], moves.origin, moves.square)).after)
    entry, actor = exploded(np.where(result & free[row], held.actors, EMPTY))
    falls = can_win(boards.take(row[entry]), actor, "them")
    return result & ~any_of(entry, falls, len(held))


def _mated(boards: Boards) -> Flags:
    """Whether our king is mated on each board."""
    result = in_check(boards, "us")
    result[result] = ~has_move(boards.only(result))
    return result


def _mates(boards: Boards, moves: Claims) -> Flags:
    """Which claims are of mate, or their moves mate by one more check and they are not about men alone."""
    result = moves.least >= MATE
    other = ~result & (moves.origin != moves.square) & ((moves.checks > 0) | (moves.bound != EMPTY))
    some = moves.only(other)
    after = made(boards, Moves(some.row, some.origin, some.square)).after
    needed, checks = np.full(len(some), MATE), np.full(len(some), MATING - 1)
    result[other] = holds(after, Aims.of(needed, None, checks), 1)
    return result


def depends(view: View, asked: Claims) -> Flags:
    """Which claims are because of their bound man, whether or not they hold; true for those without one."""
    result = asked.bound == EMPTY
    some = np.flatnonzero(~result)
    if len(some):
        asked = asked.take(some)
        boards, moves, aims = stated(view, asked, asked.checks)
        result[some] = _hinges(boards, moves, asked, aims)
    return result


def _hold(view: View, asked: Claims, checks: Values) -> Flags:
    boards, moves, aims = stated(view, asked, checks)
    moved = asked.origin != asked.square
    legal = ~in_check(moves.after, "them") & ~in_check(boards, "them")
    result = np.where(moved, legal, ~in_check(boards, "us"))
    after = as_they_see(boards, moves, moved)
    bound = asked.bound != EMPTY
    some = np.flatnonzero(result & (asked.threat | bound & moved))
    if len(some):
        here = after.take(some)
        result[some] = threatens(here, aims.take(some), in_check(here, "us"))
    some = np.flatnonzero(result & bound)
    if len(some):
        result[some] = _hinges(boards.take(some), moves.take(some), asked.take(some), aims.take(some))
    aims = replace(aims, needed=np.where(asked.threat, np.minimum(aims.needed, 0), aims.needed))
    once = asked.threat | bound | (asked.least == 0)
    for looks, kind in ((1, once & (moved | ~bound)), (LOOKS, ~once)):
        some = np.flatnonzero(result & kind)
        if len(some):
            result[some] = holds(after.take(some), aims.take(some), looks)
    return result


def stated(view: View, asked: Claims, checks: Values) -> tuple[Boards, Made, Aims]:
    """The boards of the claims, their moves, and what must still be won after these."""
    boards = view.boards.take(asked.row)
    moves = made(boards, Moves(np.arange(len(asked)), asked.origin, asked.square))
    pinner = np.where(asked.actors == BIT[asked.origin], BIT[asked.square], asked.actors)
    needed = _needed(boards, asked, moves.gain, view.thorough)
    return boards, moves, Aims(needed, asked.wanted, checks, asked.attack, asked.bound, pinner)


def _needed(boards: Boards, asked: Claims, gain: Values, thorough: bool) -> Values:
    """What must still be won after the moves, which have won `gain`.

    More than we could win without them on another wanted square, and if it is our move, not much less than
    anywhere. A line is explained by what it plays, though it could win more.
    """
    moved, least = asked.origin != asked.square, asked.least.copy()
    raised, others = moved & (least > 0) & (least < MATE), ~BIT[asked.square]
    for fits, squares, short in (
        (raised & ((asked.bound == EMPTY) | (gain == 0)), asked.wanted & others, 0),
        (raised & boards.our_move & (not thorough), others, EXCHANGE),
    ):
        some = np.flatnonzero(fits)
        elsewhere = threats(boards.take(some), squares[some])
        least[some] = np.where(elsewhere > 0, np.maximum(least[some], elsewhere + 1 - short), least[some])
    return np.where(least < MATE, least - np.where(moved, gain, 0), MATE)


def _hinges(boards: Boards, moves: Made, asked: Claims, aims: Aims) -> Flags:
    """Which claims the bound man could refute if the line stayed shut behind it, and cannot as things are.

    Only a move off the line shows that the line holds it. If it attacks the square that another man moves
    to, it must take back there. If the move takes it, it leaves first; a move that mates takes it for another
    reason. Without a move of ours, it takes something.
    """
    size, moved = len(asked), asked.origin != asked.square
    stays = moved & ((BIT[asked.square] & asked.bound) == EMPTY)
    mates = moved.copy()
    mates[moved] = _mated(moves.after.only(moved))
    starts = as_they_see(boards, moves, stays)
    answers = made(starts, moves_from(starts, square_of(asked.bound) ^ 56))
    back = answers.square == asked.square[answers.row] ^ 56
    back &= (stays & (asked.actors != BIT[asked.origin]))[answers.row]
    guards, takes = any_of(answers.row, back, size), moves.gain > 0
    line = paired(LINE, _pinner(asked) & 63, square_of(asked.bound))
    leaves = (line[answers.row] & BIT[answers.square ^ 56]) == EMPTY
    useful = np.where(moved[answers.row], back | ~guards[answers.row], (answers.gain > 0) & leaves)
    answers, leaves = answers.only(useful), leaves[useful]
    # A guard does its duty, if no more is lost than what it guarded.
    needed = np.where(stays, aims.needed + (guards & takes & (asked.least > 0)), asked.least)
    wanted = np.where(takes, asked.targets, asked.wanted)
    aims = replace(aims, needed=np.where(mates, MATE, needed), wanted=wanted).after(answers)
    shut = answers.after.men.copy()
    shut[len(PIECES)] |= _gap(asked)[answers.row]
    freely = any_of(answers.row, leaves & _refuted(replace(answers.after, men=shut), aims), size)
    some = np.flatnonzero(freely[answers.row])
    answers, aims = answers.take(some), aims.take(some)
    really = any_of(answers.row, _refuted(answers.after, aims), size)
    return freely & ~really & (stays | ~mates)


def _pinner(asked: Claims) -> Squares:
    """Where the one actor holds the bound man from (after its move, unless it takes the man); or 64."""
    comes = (asked.actors == BIT[asked.origin]) & (asked.bound != BIT[asked.square])
    return np.where(comes, asked.square, square_of(asked.actors))


def _gap(asked: Claims) -> Bitboards:
    """What shuts the line behind each bound man: the next square, or its own if another man stands there.

    A man that stays on its square in this way would shut its other lines too.
    """
    bound = square_of(asked.bound)
    rear = square_of(asked.targets & ~asked.bound & paired(LINE, _pinner(asked) & 63, bound))
    gap = between(rear & 63, bound) & KING_STEPS[bound]
    return np.where(gap == EMPTY, asked.bound, gap)


def _refuted(after: Boards, aims: Aims) -> Flags:
    """Which answers refute the aims. One that takes our king or leaves theirs attacked is no answer."""
    both = ((after.kings & after.us) != EMPTY) & ((after.kings & after.them) != EMPTY)
    some = np.flatnonzero(both)
    some = some[~in_check(after.take(some), "them")]
    result = np.zeros(len(after), dtype=np.bool_)
    if len(some):
        result[some] = ~reaches(after.take(some), aims.take(some))
    return result


def as_they_see(boards: Boards, moves: Made, moved: Flags) -> Boards:
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
    some = np.flatnonzero(~in_check(played.after, "them") & ~in_check(boards, "them"))
    # All amounts are asked in one batch: for a few moves the calls cost more than the boards.
    least = np.repeat(WORTHS, len(some))
    which = np.tile(some, len(WORTHS))
    needed = np.where(least < MATE, least - played.gain[which], MATE)
    stands = holds(played.after.take(which), Aims.of(needed, None, np.full(len(which), checks)))
    return greatest(which[stands], least[stands], len(moves))
