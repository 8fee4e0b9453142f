"""Tests of a claimed gain: how much of it remains after the other side's best answer.

The rule. They answer with a capture or a promotion, or with a move that gives check, or that attacks a man
worth more than the moving man or a man that nobody guards. We must be able to meet every answer: by a capture
that brings what is needed, even if they answer again as well as they can, or by a quiet move. A quiet move
brings nothing. It parries one threat: the greatest one, or a check. In the end captures are counted by
exchange, and a gain that is only just enough must not be threatened at all. Not seen are sacrifices for an
attack, distant mates, threats opened from behind, and captures en passant. Common practice, no source.

`patterns.proof.threats` asks whether standing threats (a fork, a pin) outlast one reply. Here captures are
played out, for example where a guard is taken or drawn away.
"""

from __future__ import annotations

from dataclasses import dataclass

import chess
import numpy as np

from patterns.boards.attacks import Men, attacked_by, attackers, between, in_check, men_of, reach
from patterns.boards.bitboards import (
    BIT,
    EMPTY,
    RANKS,
    SOUTH,
    Bitboards,
    Flags,
    Rows,
    Squares,
    exploded,
    mirror,
    pawn_attacks_up,
    pawn_steps_up,
    shifted,
    square_of,
)
from patterns.boards.exchange import EVERYTHING, QUEENING, VALUES, Values, settle
from patterns.boards.grouping import any_of, greatest, marked
from patterns.boards.moves import Moves
from patterns.boards.positions import PIECES, Boards
from patterns.boards.tables import Table
from patterns.boards.view import reversed_sides

LOOKS = 2
"""How many of their answers are looked at: the one to our move, and the one to our capture after it."""
_PAWNS, _QUEENS = PIECES.index("pawns"), PIECES.index("queens")


@dataclass(frozen=True)
class _Made(Table):
    """Legal moves made, one entry each: index of the board, gain, and the board as the opponent sees it."""

    row: Rows
    won: Values
    after: Boards


def threats(boards: Boards) -> Values:
    """The most that we could win by exchange on any square if it were our move. Shape (M,)."""
    size = len(boards)
    row, gain = _wins(boards, np.zeros(size, dtype=np.int64), np.full(size, EVERYTHING))
    return greatest(row, gain, size)


def threatened(boards: Boards, beyond: Values) -> Values:
    """On how many squares we could win more than `beyond` (0 or more) if it were our move. Shapes (M,).

    This is faster than computing how much we could win, and fastest for a large `beyond`.
    """
    row, _ = _wins(boards, beyond, beyond + 1)
    return np.bincount(row, minlength=len(boards))


def _wins(boards: Boards, beyond: Values, enough: Values) -> tuple[Rows, Values]:
    """Our captures and promotions that win more than `beyond`: index of the board, gain (up to `enough`)."""
    row, square = exploded(_worth_more(boards, beyond))
    here = boards.take(row)
    hopeful = np.flatnonzero(_affordable(here, square))
    row, square, here = row[hopeful], square[hopeful], here.take(hopeful)
    taken = VALUES[here.kind_at(square)]
    pawns = boards.pawns & boards.us & RANKS[6] & ~shifted(boards.occupied, SOUTH)
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
    row = np.concatenate([row, pushed])
    more = np.flatnonzero(won > beyond[row])
    return row[more], won[more]


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


def pays(boards: Boards, won: Values, left: Values, least: Values, looks: int = LOOKS) -> Flags:
    """Whether the move that we have just made gains `least` pawns, whatever they answer. It is their move.

    `won`: what the move won at once. `left`: what we win in addition if they answer with any quiet move.
    `looks`: how many of their answers are looked at. Shapes (M,).
    """
    result = won + left >= least
    claim = np.flatnonzero(result)
    answers = _answers(reversed_sides(boards.take(claim)))
    claim = claim[answers.row]
    needed = least[claim] - won[claim] + answers.won
    parried = _parried(answers.after, needed, exacting=looks == 1)
    doubtful = np.flatnonzero(~parried)
    replies = _enough(answers.after.take(doubtful), needed[doubtful], claim[doubtful])
    answer = doubtful[replies.row]
    met = parried.copy()
    met[answer] = True
    result[claim[~met]] = False
    if looks > 1:
        still = np.flatnonzero(result[claim[answer]])
        answer, after = answer[still], reversed_sides(replies.after.take(still))
        nothing = np.zeros(len(still), dtype=np.int64)
        met = parried
        met[answer[pays(after, replies.won[still], nothing, needed[answer], looks - 1)]] = True
        result[claim[~met]] = False
    return result


def _parried(boards: Boards, needed: Values, *, exacting: bool) -> Flags:
    """Whether we, to move, keep what is needed after a quiet move, which wins nothing itself.

    `exacting`: if we have exactly what is needed, they may not threaten anything.
    """
    result = needed <= 0
    some = np.flatnonzero(result)
    if not len(some):
        return result
    boards = boards.take(some)
    checked = in_check(boards, "us")
    greatest = checked | (exacting & (needed[some] == 0))
    result[some] = threatened(reversed_sides(boards), -needed[some]) <= np.where(greatest, 0, 1)
    doubtful = np.flatnonzero(checked & result[some])
    result[some[doubtful]] = ~_mated(boards.take(doubtful))
    return result


def _enough(boards: Boards, needed: Values, claim: Rows) -> _Made:
    """Our captures that bring what is needed, even if they then take what they can by exchange.

    `claim`: the claim that each board is an answer to. A claim is refuted if no capture brings enough against
    one of its answers. A refuted claim has no entry in the result.
    """
    made = _captures(boards)
    spare = made.won - needed[made.row]
    hopeless = ~any_of(made.row, spare >= 0, len(boards))
    refuted = any_of(claim, hopeless, int(claim.max(initial=-1)) + 1)
    hopeful = (spare >= 0) & ~refuted[claim[made.row]]
    made, spare = made.only(hopeful), spare[hopeful]
    return made.only(~_can_take(made.after, spare))


def _can_take(boards: Boards, beyond: Values) -> Flags:
    """Whether we, to move, could win more than `beyond` by exchange. In check only legal captures count."""
    result = threatened(boards, beyond) > 0
    checked = np.flatnonzero(result)
    checked = checked[in_check(boards.take(checked), "us")]
    legal = _captures(boards.take(checked))
    result[checked] = greatest(legal.row, legal.won, len(checked)) > beyond[checked]
    return result


def _mated(boards: Boards) -> Flags:
    """Whether our king, which is in check, is mated."""
    king = square_of(boards.kings & boards.us)
    checkers = attackers(boards, king) & boards.them
    men = men_of(boards, "us")
    goes = _reached(boards, men)
    parrying = checkers | between(king, square_of(checkers))
    goes &= np.where(men.kind == chess.KING, ~EMPTY, parrying[men.row])
    man, square = exploded(goes)
    parries = _made(boards, Moves(men.row[man], men.square[man], square))
    return ~marked(parries.row, len(boards))


def _reached(boards: Boards, men: Men) -> Bitboards:
    """Where these men of ours can go: the squares they attack, and pawn steps."""
    pawns = np.flatnonzero(men.kind == chess.PAWN)
    goes = men.attacks & ~boards.us[men.row]
    free = ~boards.occupied[men.row[pawns]]
    one, two = pawn_steps_up(BIT[men.square[pawns]], free)
    goes[pawns] = goes[pawns] & ~free | one | two
    return goes


def _answers(boards: Boards) -> _Made:
    """Our captures and promotions, and our quiet moves that threaten something."""
    men = men_of(boards, "us")
    goes = _reached(boards, men)
    takes = goes & _taking(boards, men)
    man, square = exploded(takes)
    hitting, empty = _hits(boards, men, goes & ~takes)
    man = np.concatenate([man, hitting])
    return _made(boards, Moves(men.row[man], men.square[man], np.concatenate([square, empty])))


def _captures(boards: Boards) -> _Made:
    """Our captures and promotions."""
    men = men_of(boards, "us")
    man, square = exploded(_reached(boards, men) & _taking(boards, men))
    return _made(boards, Moves(men.row[man], men.square[man], square))


def _taking(boards: Boards, men: Men) -> Bitboards:
    """The squares where these men of ours would capture or promote, if they can go there."""
    return boards.them[men.row] | np.where(men.kind == chess.PAWN, RANKS[7], EMPTY)


def _hits(boards: Boards, men: Men, goes: Bitboards) -> tuple[Rows, Squares]:
    """Quiet moves that attack a king, a man worth more or a loose piece: index of the man, and square."""
    man, square = exploded(np.where(men.kind == chess.KING, EMPTY, goes))
    row, kind = men.row[man], men.kind[man]
    seen = reach(kind, square, boards.occupied[row] & ~BIT[men.square[man]], "us") & ~men.attacks[man]
    guarded = mirror(attacked_by(men_of(reversed_sides(boards), "us"), len(boards)))
    worthy = boards.them & (boards.kings | ~boards.pawns & ~guarded)
    better = [boards.them & men for men in (boards.knights | boards.bishops, boards.rooks, boards.queens)]
    worthy = worthy[row]
    for men_above, above in zip(better, (chess.PAWN, chess.BISHOP, chess.ROOK), strict=True):
        worthy |= np.where(kind <= above, men_above[row], EMPTY)
    hit = np.flatnonzero((seen & worthy) != EMPTY)
    return man[hit], square[hit]


def _made(boards: Boards, moves: Moves) -> _Made:
    """Those of these moves that do not leave our king attacked. A pawn on the last rank becomes a queen."""
    before = boards.take(moves.row)
    won = VALUES[before.kind_at(moves.square)]
    after = before.moved(moves.origin, moves.square)
    queens = after.pawns & RANKS[7]
    after.men[_PAWNS] ^= queens
    after.men[_QUEENS] |= queens
    won += QUEENING * (queens != EMPTY)
    legal = np.flatnonzero(~in_check(after, "us"))
    return _Made(moves.row[legal], won[legal], reversed_sides(after.take(legal)))
