"""Guards that have too much to do, and guards that can be taken.

The rules. Overloaded: a man of theirs (no king) is the only direct guard of one man that we attack and helps
to guard another, both safe for now. We can take the first; if the guard takes back, the second falls by
exchange, and the two captures together win.
Removed: it is our move and we are not in check. A man of theirs is the only direct guard of a piece that we
attack, both safe for now. We can take the guard; if they take back, the piece falls by exchange, and the two
captures together win. (In a line of moves a guard driven off counts too: see `patterns.combinations`.)

A hit of each: one pawn guards bishop and knight; the bishop takes the knight that guards the rook.

>>> from patterns.detect import find_in
>>> busy = "6k1/5ppp/1p6/b1n5/8/8/5PPP/R1R3K1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets) for f in find_in([chess.Board(busy)], MOTIFS)[0]]
[('overloaded-defender', ('a1', 'c1'), ('a5', 'c5', 'b6'))]
>>> held = "6k1/5ppp/1p3n2/6B1/4r3/8/2Q2PPP/6K1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets) for f in find_in([chess.Board(held)], MOTIFS)[0]]
[('removed-defender', ('c2', 'g5'), ('e4', 'f6'))]

A near miss of each: a rook helps to guard.

>>> find_in([chess.Board(busy.replace("6k1", "r5k1"))], MOTIFS)[0]
[]
>>> find_in([chess.Board(held.replace("6k1/5ppp", "4r1k1/5ppp"))], MOTIFS)[0]
[]

Roles. Actors: the man that takes first, and those that attack what falls after. Targets: the guard and what
it guards. Squares: none.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns import wording
from patterns.attacks import attackers
from patterns.bitboards import BIT, EMPTY, Bitboards, Flags, Rows, Squares, count, exploded
from patterns.exchange import VALUES, can_win, capture_gain
from patterns.findings import Findings, Instance, Motif, findings
from patterns.moves import cheapest
from patterns.positions import Boards
from patterns.view import View


def _in_question(view: View) -> Bitboards:
    """Their men (no king) that we attack and they guard."""
    return view.them & ~view.boards.kings & view.our_attacks & view.their_attacks


def _takers(view: View, rows: Rows, squares: Squares) -> Bitboards:
    """Our cheapest men, no king, none pinned, that attack each square, unless they win there as it is."""
    boards = view.boards.take(rows)
    ours = attackers(boards, squares) & boards.us & ~boards.kings & ~view.our_pinned[rows]
    takers = cheapest(boards, ours)
    some = np.flatnonzero(takers)
    wins = can_win(boards.take(some), squares[some], "us")
    takers[some[wins]] = EMPTY
    return takers


def _falls_after(boards: Boards, taker: Squares, at: Squares, back: Squares, target: Squares) -> Flags:
    """Whether we win the target, and more than we paid, once the taker has taken and `back` has taken it."""
    cost = VALUES[boards.kind_at(taker)] - VALUES[boards.kind_at(at)]
    wins = VALUES[boards.kind_at(target)] > cost
    some = np.flatnonzero(wins)
    after = boards.take(some).moved(taker[some], at[some]).moved(back[some], at[some])
    wins[some] = capture_gain(after, target[some], "us") > np.maximum(0, cost[some])
    some = np.flatnonzero(wins)
    wins[some] = ~can_win(boards.take(some), target[some], "us")
    return wins


def overloaded_defender(view: View) -> Findings:
    """Guards with two duties, one of which we can force."""
    question = _in_question(view)
    sole = question & ~view.their_double_attacks
    men = view.their_men
    duties = men.attacks & question[men.row]
    busy = ((duties & sole[men.row]) != EMPTY) & (count(duties) >= 2) & (men.kind != chess.KING)
    men, duties = men.only(busy), duties[busy]
    which, first = exploded(duties & sole[men.row])
    way, taker = exploded(_takers(view, men.row[which], first))
    which, first = which[way], first[way]
    pair, second = exploded(duties[which] & ~BIT[first])
    guard, first, taker = men.square[which[pair]], first[pair], taker[pair]
    row = men.row[which[pair]]
    boards = view.boards.take(row)
    wins = _falls_after(boards, taker, first, guard, second)
    by = attackers(boards, second) & boards.us & ~BIT[first] | BIT[taker]
    return _one_a_guard(row[wins], guard[wins], by[wins], (BIT[first] | BIT[second])[wins])


def _one_a_guard(rows: Rows, guards: Squares, actors: Bitboards, targets: Bitboards) -> Findings:
    """One finding a guard, with all that it guards; `detail`: the guard's square as the row sees it."""
    key = rows * 64 + guards
    order = np.argsort(key, kind="stable")
    key, actors, targets = key[order], actors[order], targets[order]
    first = np.flatnonzero(np.diff(key, prepend=-1))
    if len(first):
        actors, targets = (np.bitwise_or.reduceat(role, first) for role in (actors, targets))
    row, guard = key[first] >> 6, key[first] & 63
    return findings(row, actors, targets | BIT[guard], detail=guard)


def removed_defender(view: View) -> Findings:
    """Guards that we can take, so that what they guard falls."""
    rows = view.boards.our_move & ~view.in_check
    prey = np.where(rows, _in_question(view) & ~view.their_double_attacks & ~view.boards.pawns, EMPTY)
    men = view.their_men
    guarded = men.attacks & prey[men.row]
    can = (guarded != EMPTY) & ((_in_question(view)[men.row] & BIT[men.square]) != EMPTY)
    men, guarded = men.only(can), guarded[can]
    which, taker = exploded(_takers(view, men.row, men.square))
    pair, target = exploded(guarded[which])
    which, taker = which[pair], taker[pair]
    row, guard = men.row[which], men.square[which]
    boards = view.boards.take(row)
    way, back = exploded(cheapest(boards, attackers(boards, guard) & boards.them))
    holds = ~_falls_after(boards.take(way), taker[way], guard[way], back, target[way])
    wins = np.zeros(len(row), dtype=np.bool_)
    wins[way] = True
    wins[way[holds]] = False
    by = attackers(boards, target) & boards.us | BIT[taker]
    return _one_a_guard(row[wins], guard[wins], by[wins], BIT[target[wins]])


def _tell_overloaded(instance: Instance) -> str:
    board, guard = instance.board, _guard(instance)
    duties = [square for square in instance.targets if square != guard]
    return wording.sentence(
        f"{wording.named(board, guard)} cannot guard {wording.men(board, duties)} at once"
    )


def _tell_removed(instance: Instance) -> str:
    board, guard = instance.board, _guard(instance)
    guarded = wording.men(board, (square for square in instance.targets if square != guard))
    takers = instance.actors & chess.SquareSet(board.attackers_mask(instance.side, guard))
    taker = min(takers, key=lambda square: (board.piece_type_at(square) or 0, square))
    return wording.sentence(
        f"{wording.named(board, taker)} can take {wording.named(board, guard)}, the only guard of {guarded}"
    )


def _guard(instance: Instance) -> chess.Square:
    return instance.detail if instance.side == chess.WHITE else chess.square_mirror(instance.detail)


MOTIFS = (
    Motif(
        id="overloaded-defender",
        title="Overloaded defender",
        definition=(
            "One man is the only guard of a man under attack and also guards another. We can take the first,"
            " and if the guard takes back, the second falls; together that wins."
        ),
        source="Euwe and Kramer, The Middle Game (the overburdened piece); named from memory",
        find=overloaded_defender,
        tell=_tell_overloaded,
    ),
    Motif(
        id="removed-defender",
        title="Removed defender",
        definition=(
            "A piece under attack has a single guard, and we can take that guard (or drive it off): whether"
            " they take back or not, the exchange and the fall of the piece together win."
        ),
        source="Euwe and Kramer, The Middle Game (eliminating the defence); named from memory",
        find=removed_defender,
        tell=_tell_removed,
    ),
)
