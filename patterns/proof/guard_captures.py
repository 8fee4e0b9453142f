"""Captures of a guard, or on one of its duties, after which what it guards falls.

`patterns.motifs.overworked_guards` tells the rules. What else they can do is left to `patterns.proof.wins`.
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
    """Captures of ours that a guard cannot answer well, one an entry: by whom, where, and what falls then.

    Where: the guard itself, or the first of the men that it guards.
    """

    row: Rows
    guard: Squares
    taker: Squares
    at: Squares
    prey: Squares


def _takers(view: View, rows: Rows, squares: Squares) -> Bitboards:
    """Our cheapest men, no king, none pinned, that attack each square."""
    boards = view.boards.take(rows)
    return cheapest(boards, attackers(boards, squares) & boards.us & ~boards.kings & ~view.our_pinned[rows])


def _candidates(view: View) -> GuardCaptures:
    """Captures of a sole guard, or on one of its duties, that cost less than what may fall then."""
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
    pair, prey = exploded(np.where(at == guard, pieces[which], duties[which] & ~BIT[at]))
    captures = GuardCaptures(men.row[which[pair]], guard[pair], taker[pair], at[pair], prey)
    return captures.only(_worth(view, captures, prey) > _cost(view, captures))


def _worth(view: View, captures: GuardCaptures, squares: Squares) -> Values:
    return VALUES[view.boards.kind_at(squares, captures.row)]


def _cost(view: View, captures: GuardCaptures) -> Values:
    """What the capture loses if they take back."""
    return _worth(view, captures, captures.taker) - _worth(view, captures, captures.at)


def _that_win(view: View, captures: GuardCaptures) -> Flags:
    """Whether, whoever may take back, the prey falls and brings more than we have paid.

    Nothing that they can then take makes up for it. A pawn that only the queen could take does not count.
    Where the capture is not of the guard itself, only the guard takes back.
    """
    boards = view.boards.take(captures.row)
    everyone = attackers(boards, captures.guard) & boards.them & ~view.their_pinned[captures.row]
    takes_back = np.where(captures.at == captures.guard, everyone, BIT[captures.guard])
    wins = (takes_back != EMPTY) & ((takes_back & BIT[captures.prey]) == EMPTY)
    way, back = exploded(np.where(wins, takes_back, EMPTY))
    at, prey, cost = captures.at[way], captures.prey[way], _cost(view, captures)[way]
    after = boards.take(way).moved(captures.taker[way], at).moved(back, at)
    enough = np.maximum(0, cost) + 1
    falls = capture_gain(after, prey, "us", enough=enough) >= enough
    left = np.flatnonzero(falls)
    after, prey = after.take(left), prey[left]
    last = square_of(cheapest(after, attackers(after, prey) & after.us))
    poor = (after.kind_at(last) == chess.QUEEN) & (after.kind_at(prey) == chess.PAWN)
    spare = VALUES[after.kind_at(prey)] - cost[left] - 1
    falls[left] = ~poor & (threatened(reversed_sides(after.moved(last, prey)), spare) == 0)
    wins[way[~falls]] = False
    return wins


def _safe_for_now(view: View, captures: GuardCaptures) -> Flags:
    """Whether, as things stand, we win neither what the capture takes nor the prey."""
    boards = view.boards.take(np.concatenate([captures.row, captures.row]))
    at, prey = np.split(can_win(boards, np.concatenate([captures.at, captures.prey]), "us"), 2)
    return ~at & ~prey


def winning_guard_captures(view: View) -> GuardCaptures:
    """The captures that win if they take back, where until then we win neither it nor the prey."""
    captures = _candidates(view)
    captures = captures.only(_that_win(view, captures))
    return captures.only(_safe_for_now(view, captures))
