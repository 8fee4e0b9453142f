"""Looking ahead in whole batches: what a move of ours wins for good, whatever they answer.

This is the one place where a gain is tested. A gain holds if, after every legal answer of theirs, we can
still collect what is needed. We collect by captures and promotions. Where checks are asked for, we may also
check, and mate. What they can take afterwards by exchange is deducted, and the capture that collects must
stand up to their captures, promotions and checks. If what is needed has been won already, a quiet move of
ours is enough. It parries one threat: the greatest one, or a check. If they give a check that changes
nothing, we move out of it, and then the gain must still hold.

Not seen are quiet moves of ours that prepare a gain, and sacrifices that need more than the checks asked for.
Common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import chess
import numpy as np

from patterns.boards.attacks import attackers, in_check
from patterns.boards.bitboards import (
    ALL,
    BIT,
    EMPTY,
    RANKS,
    Bitboards,
    Flags,
    Rows,
    Squares,
    exploded,
    pawn_attacks_up,
    square_of,
)
from patterns.boards.exchange import EVERYTHING, QUEENING, VALUES, Values, loses_nothing, settle
from patterns.boards.grouping import any_of, greatest, marked
from patterns.boards.legal import Made, checks, gainful, has_move, legal_moves, made
from patterns.boards.moves import Moves
from patterns.boards.positions import Boards
from patterns.boards.tables import Table
from patterns.boards.view import reversed_sides

MATE = 1000
"""What must be won where nothing but mate is enough, in pawns."""
LOOKS = 2
"""How many of their answers in a row are looked at."""


@dataclass(frozen=True)
class Aims(Table):
    """What we must reach on each board, one entry each.

    `needed`: pawns that must still be won; 0 or less if enough has been won. `wanted`: the squares where a
    capture counts. `checks`: how many checks of ours may be tried.
    """

    needed: Values
    wanted: Bitboards
    checks: Values

    @classmethod
    def of(cls, needed: Values, wanted: Bitboards | None = None, checks: Values | None = None) -> Aims:
        """Aims with captures everywhere and without checks, unless they are given."""
        size = len(needed)
        everywhere = np.full(size, ALL) if wanted is None else wanted
        return cls(needed, everywhere, np.zeros(size, dtype=np.int64) if checks is None else checks)

    def after(self, answers: Made) -> Aims:
        """The aims after their answers: what they took is needed too, and the man that took may be taken."""
        aims = self.take(answers.row)
        return replace(aims, needed=aims.needed + answers.gain, wanted=aims.wanted | BIT[answers.square ^ 56])


def holds(boards: Boards, aims: Aims, looks: int = LOOKS) -> Flags:
    """Whether we reach the aims, whatever they answer. They are to move, and the boards are as they see them.

    `looks`: how many of their answers in a row are looked at. To the last of several, if we have what is
    needed, only captures, promotions and checks are answers. Shapes (M,).
    """
    result = _if_they_pass(boards, aims)
    forced = in_check(boards, "us")
    every = np.full(len(boards), looks == LOOKS) | (aims.needed > 0)
    for stage, asked in ((_forcing, True), (_quiet, every)):
        some = np.flatnonzero(result & asked)
        answers = stage(boards.take(some), forced[some])
        met = collects(answers.after, aims.take(some).after(answers), looks - 1)
        result[some[answers.row[~met]]] = False
    stuck = np.flatnonzero(result)
    stuck = stuck[~has_move(boards.take(stuck))]
    result[stuck] = forced[stuck]
    return result


def _if_they_pass(boards: Boards, aims: Aims) -> Flags:
    """Whether we reach the aims if they do nothing, which refutes most claims. In check they must answer."""
    result = (aims.needed <= 0) | in_check(boards, "us")
    rest = np.flatnonzero(~result)
    passed = reversed_sides(boards.take(rest))
    nothing = np.zeros(len(rest), dtype=np.uint64)
    result[rest] = collects(replace(passed, en_passant=nothing), aims.take(rest), 0)
    return result


def _forcing(boards: Boards, forced: Flags) -> Made:
    """Our captures, promotions and checks; where we are in check, every legal move."""
    takes = legal_moves(boards, np.where(forced, ALL, gainful(boards)))
    free = np.flatnonzero(~forced)
    given = checks(boards.take(free))
    given = replace(given, row=free[given.row])
    quiet = (BIT[given.square] & gainful(boards)[given.row]) == EMPTY
    answers = made(boards, Moves.joined(takes, given.only(quiet)))
    return answers.only((answers.gain > 0) | forced[answers.row] | in_check(answers.after, "us"))


def _quiet(boards: Boards, forced: Flags) -> Made:
    """Our other legal moves."""
    free = np.flatnonzero(~forced)
    moves = legal_moves(boards.take(free))
    moves = replace(moves, row=free[moves.row])
    quiet = moves.only((BIT[moves.square] & gainful(boards)[moves.row]) == EMPTY)
    answers = made(boards, quiet)
    return answers.only(~in_check(answers.after, "us"))


def collects(boards: Boards, aims: Aims, looks: int = LOOKS - 1) -> Flags:
    """Whether we, to move, reach the aims. `looks`: how many of their answers are looked at then."""
    result = _parried(boards, aims.needed)
    rest = np.flatnonzero(~result & (aims.needed < MATE))
    result[rest] = _collects_by_captures(boards.take(rest), aims.take(rest), looks)
    rest = np.flatnonzero(~result & (aims.checks > 0))
    result[rest] = _collects_by_checks(boards.take(rest), aims.take(rest), looks)
    if looks:
        rest = np.flatnonzero(~result & (aims.needed > 0) & (aims.needed < MATE))
        rest = rest[in_check(boards.take(rest), "us")]
        result[rest] = _steps_out(boards.take(rest), aims.take(rest), looks)
    return result


def _collects_by_captures(boards: Boards, aims: Aims, looks: int) -> Flags:
    """Whether a capture or promotion brings what is needed, or an even one leaves it to be taken next."""
    captures = _gains(boards, aims)
    spare = captures.gain - aims.needed[captures.row]
    captures, spare = captures.only(spare >= 0), spare[spare >= 0]
    captures = captures.only(~_can_take(captures.after, spare))
    if not looks:
        return marked(captures.row, len(boards))
    result = _stand(captures, aims, looks)
    rest = np.flatnonzero(~result & (aims.needed > 0) & (looks == LOOKS - 1))
    trades = _trades(boards.take(rest))
    result[rest] = _stand(trades, aims.take(rest), looks)
    return result


def _stand(captures: Made, aims: Aims, looks: int) -> Flags:
    """On which boards one of these captures stands up to their captures, promotions and checks."""
    needed = aims.needed[captures.row] - captures.gain
    stands = holds(captures.after, Aims.of(needed, aims.wanted[captures.row]), looks)
    return any_of(captures.row, stands, len(aims))


def _trades(boards: Boards) -> Made:
    """Our captures that lose nothing by exchange."""
    moves = legal_moves(boards, boards.them & ~boards.kings)
    even = loses_nothing(boards.take(moves.row), moves.origin, moves.square)
    return made(boards, moves.only(even))


def _collects_by_checks(boards: Boards, aims: Aims, looks: int) -> Flags:
    """Whether a check of ours mates, or reaches the aims whatever they answer."""
    given = made(boards, checks(boards))
    given = given.only(in_check(given.after, "us"))
    mates = ~has_move(given.after)
    result = any_of(given.row, mates, len(boards))
    if looks:
        given = given.only(~result[given.row])
        left = aims.take(given.row)
        left = replace(left, needed=left.needed - given.gain, checks=left.checks - 1)
        result |= any_of(given.row, holds(given.after, left, looks), len(boards))
    return result


def _steps_out(boards: Boards, aims: Aims, looks: int) -> Flags:
    """Whether we, in check, have a move that wins nothing and still reaches the aims."""
    moves = made(boards, legal_moves(boards))
    moves = moves.only(moves.gain == 0)
    stands = holds(moves.after, aims.take(moves.row), looks)
    return any_of(moves.row, stands, len(boards))


def _gains(boards: Boards, aims: Aims) -> Made:
    """Our captures and promotions on wanted squares that may win what is needed."""
    beyond = np.maximum(aims.needed, 1) - 1
    row, square, _ = wins(boards, beyond, beyond + 1)
    some = np.flatnonzero((aims.wanted[row] & BIT[square]) != EMPTY)
    row, square = row[some], square[some]
    entry, origin = exploded(_takers(boards, row, square))
    moves = made(boards, Moves(row[entry], origin, square[entry]))
    return moves.only(~in_check(moves.after, "them"))


def _takers(boards: Boards, rows: Rows, squares: Squares) -> Bitboards:
    """Our men that can take on each square, or the pawn that can promote there."""
    here = boards.take(rows)
    pushed = (here.them & BIT[squares]) == EMPTY
    return np.where(pushed, BIT[squares - 8 & 63], attackers(here, squares) & here.us)


def threats(boards: Boards) -> Values:
    """The most that we could win by exchange on any square if it were our move. Shape (M,)."""
    size = len(boards)
    row, _, gain = wins(boards, np.zeros(size, dtype=np.int64), np.full(size, EVERYTHING))
    return greatest(row, gain, size)


def threatened(boards: Boards, beyond: Values) -> Values:
    """On how many squares we could win more than `beyond` (0 or more) if it were our move. Shapes (M,).

    This is faster than computing how much we could win, and fastest for a large `beyond`.
    """
    row, _, _ = wins(boards, beyond, beyond + 1)
    return np.bincount(row, minlength=len(boards))


def wins(boards: Boards, beyond: Values, enough: Values) -> tuple[Rows, Squares, Values]:
    """Our captures and promotions that win more than `beyond` by exchange.

    One entry a square: index of the board, the square, the gain (up to `enough`).
    """
    row, square = exploded(_worth_more(boards, beyond))
    here = boards.take(row)
    hopeful = np.flatnonzero(_affordable(here, square))
    row, square, here = row[hopeful], square[hopeful], here.take(hopeful)
    taken = VALUES[here.kind_at(square)]
    pawns = boards.pawns & boards.us & RANKS[6] & ~(boards.occupied >> np.uint64(8))
    pushed, pawn = exploded(np.where(beyond < QUEENING, pawns, EMPTY))
    queened = reversed_sides(boards.take(pushed).moved(pawn, pawn + 8))
    # In one call: what we win by a capture, and what they win by taking the new queen.
    won = settle(
        Boards.joined(here, queened),
        np.concatenate([square, pawn + 8 ^ 56]),
        np.concatenate([taken, np.full(len(pushed), VALUES[chess.QUEEN])]),
        "us",
        enough=np.concatenate([enough[row], QUEENING - beyond[pushed]]),
    )
    won[len(row) :] = QUEENING - won[len(row) :]
    row, square = np.concatenate([row, pushed]), np.concatenate([square, pawn + 8])
    more = np.flatnonzero(won > beyond[row])
    return row[more], square[more], won[more]


def _worth_more(boards: Boards, beyond: Values) -> Bitboards:
    """Their men, without kings, whose capture could win more than `beyond`, with or without a promotion."""
    found = pawn_attacks_up(boards.pawns & boards.us) & RANKS[7] & ~boards.kings
    for men, worth in zip(boards.men, VALUES[1 : chess.KING], strict=False):
        found |= np.where(beyond < worth, men, EMPTY)
    return found & boards.them


def _affordable(boards: Boards, squares: Squares) -> Flags:
    """Whether capturing on each square may win: not a guarded man with one attacker that is worth more."""
    by = attackers(boards, squares)
    ours = by & boards.us
    several = (ours & (ours - np.uint64(1))) != EMPTY
    loose = (by & boards.them) == EMPTY
    cheap = VALUES[boards.kind_at(square_of(ours) & 63)] <= VALUES[boards.kind_at(squares)]
    return (ours != EMPTY) & (several | loose | cheap)


def _can_take(boards: Boards, beyond: Values) -> Flags:
    """Whether we, to move, could win more than `beyond` by exchange. In check only legal captures count."""
    result = threatened(boards, beyond) > 0
    checked = np.flatnonzero(result)
    checked = checked[in_check(boards.take(checked), "us")]
    here = boards.take(checked)
    legal = made(here, legal_moves(here, gainful(here)))
    result[checked] = greatest(legal.row, legal.gain, len(checked)) > beyond[checked]
    return result


def _parried(boards: Boards, needed: Values) -> Flags:
    """Whether we, to move, have won what is needed and keep it by a quiet move, which parries one threat."""
    result = needed <= 0
    some = np.flatnonzero(result)
    boards = boards.take(some)
    checked = in_check(boards, "us")
    result[some] = threatened(reversed_sides(boards), -needed[some]) <= np.where(checked, 0, 1)
    doubtful = np.flatnonzero(checked & result[some])
    result[some[doubtful]] = has_move(boards.take(doubtful))
    return result
