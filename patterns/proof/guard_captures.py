"""Captures of a guard, or of a man that it guards, after which another man falls.

`patterns.motifs.overworked_guards` states the rules. `patterns.proof.wins` tests what else they can do.
"""

from __future__ import annotations

from dataclasses import dataclass

import chess
import numpy as np

from patterns.boards.attacks import attackers
from patterns.boards.bitboards import BIT, EMPTY, Bitboards, Flags, Rows, Squares, count, exploded, square_of
from patterns.boards.exchange import VALUES, Values, can_win, capture_gain
from patterns.boards.moves import cheapest
from patterns.boards.tables import Table
from patterns.boards.view import View, reversed_sides
from patterns.proof.gains import threatened


@dataclass(frozen=True)
class GuardCaptures(Table):
    """Captures of ours that a guard cannot answer well, one entry each.

    `taker`: our man that captures. `at`: where it captures: the guard itself, or the first man that it
    guards. `falling`: the man that falls then.
    """

    row: Rows
    guard: Squares
    taker: Squares
    at: Squares
    falling: Squares


def _takers(view: View, rows: Rows, squares: Squares) -> Bitboards:
    """Our cheapest men that attack each square, without kings and pinned men."""
    boards = view.boards.take(rows)
    return cheapest(boards, attackers(boards, squares) & boards.us & ~boards.kings & ~view.our_pinned[rows])


def _candidates(view: View) -> GuardCaptures:
    """Captures of a sole guard, or of a man it guards, that cost less than what may fall then."""
    question = view.them & ~view.boards.kings & view.our_attacks & view.their_attacks
    question[view.in_check | (count(question) < 2)] = EMPTY
    sole = question & ~view.their_double_attacks
    men = view.their_men
    men = men.only((men.attacks & sole[men.row]) != EMPTY)
    men = men.only(men.kind != chess.KING)
    duties = men.attacks & question[men.row]
    first: Bitboards = np.where(count(duties) >= 2, duties & sole[men.row], EMPTY)
    pieces = duties & sole[men.row] & ~view.boards.pawns[men.row]
    itself: Bitboards = np.where(pieces != EMPTY, question[men.row] & BIT[men.square], EMPTY)
    which, at = exploded(first | itself)
    way, taker = exploded(_takers(view, men.row[which], at))
    which, at = which[way], at[way]
    guard = men.square[which]
    pair, falling = exploded(np.where(at == guard, pieces[which], duties[which] & ~BIT[at]))
    captures = GuardCaptures(men.row[which[pair]], guard[pair], taker[pair], at[pair], falling)
    return captures.only(_worth(view, captures, falling) > _cost(view, captures))


def _worth(view: View, captures: GuardCaptures, squares: Squares) -> Values:
    return VALUES[view.boards.kind_at(squares, captures.row)]


def _cost(view: View, captures: GuardCaptures) -> Values:
    """What the capture loses if they recapture."""
    return _worth(view, captures, captures.taker) - _worth(view, captures, captures.at)


def _that_win(view: View, captures: GuardCaptures) -> Flags:
    """Whether, after any recapture, the other man falls and brings more than we have paid.

    What they can then take must not make up for it. A pawn that only the queen could take does not count. If
    the capture is not of the guard itself, only the guard recaptures.
    """
    boards = view.boards.take(captures.row)
    all_men = attackers(boards, captures.guard) & boards.them & ~view.their_pinned[captures.row]
    takes_back = np.where(captures.at == captures.guard, all_men, BIT[captures.guard])
    wins = (takes_back != EMPTY) & ((takes_back & BIT[captures.falling]) == EMPTY)
    way, back = exploded(np.where(wins, takes_back, EMPTY))
    at, falling, cost = captures.at[way], captures.falling[way], _cost(view, captures)[way]
    after = boards.take(way).moved(captures.taker[way], at).moved(back, at)
    enough = np.maximum(0, cost) + 1
    falls = capture_gain(after, falling, "us", enough=enough) >= enough
    left = np.flatnonzero(falls)
    after, falling = after.take(left), falling[left]
    last = square_of(cheapest(after, attackers(after, falling) & after.us))
    poor = (after.kind_at(last) == chess.QUEEN) & (after.kind_at(falling) == chess.PAWN)
    spare = VALUES[after.kind_at(falling)] - cost[left] - 1
    falls[left] = ~poor & (threatened(reversed_sides(after.moved(last, falling)), spare) == 0)
    wins[way[~falls]] = False
    return wins


def _safe_for_now(view: View, captures: GuardCaptures) -> Flags:
    """Whether at present we win neither what the capture takes nor the man that falls later."""
    boards = view.boards.take(np.concatenate([captures.row, captures.row]))
    now, later = np.split(can_win(boards, np.concatenate([captures.at, captures.falling]), "us"), 2)
    return ~now & ~later


def winning_guard_captures(view: View) -> GuardCaptures:
    """The captures that win if they recapture, where at present we win neither of the two men."""
    captures = _candidates(view)
    captures = captures.only(_that_win(view, captures))
    return captures.only(_safe_for_now(view, captures))
