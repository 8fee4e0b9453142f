"""Guards that have too much to do, and guards that can be taken.

The rules, now or if it were our move; we are not in check. Overloaded: a man of theirs (no king) is the only
direct guard of one man that we attack and helps to guard another, both safe for now. We can take the first;
if the guard takes back, the second falls by exchange, and the two captures together win. A pawn that only our
queen could take does not count as the second.
Removed: a man of theirs is the only direct guard of a piece that we attack, both safe for now. We can take
the guard; whoever takes back, the piece falls by exchange, and the two captures together win. (In a line of
moves a guard driven off counts too: see `patterns.combinations`.)
Either way the gain must stand whatever they do instead: take something else, check, or threaten something
(see `patterns.reckoning`), and be more than we could take without it.

A hit of each: one pawn guards bishop and knight; the bishop takes the knight that guards the rook.

>>> from patterns.detect import find_in
>>> busy = "6k1/5ppp/1p6/b1n5/8/8/5PPP/R1R3K1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets) for f in find_in([chess.Board(busy)], MOTIFS)[0]]
[('overloaded-defender', ('a1', 'c1'), ('a5', 'c5', 'b6'))]
>>> held = "6k1/5ppp/1p3n2/6B1/4r3/7P/2Q2PPK/8 w - - 0 1"
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

from dataclasses import dataclass, fields

import chess
import numpy as np

from patterns import wording
from patterns.attacks import attackers
from patterns.bitboards import BIT, EMPTY, Bitboards, Flags, Rows, Squares, count, exploded, square_of
from patterns.exchange import VALUES, can_win, capture_gain
from patterns.findings import Findings, Instance, Motif, findings
from patterns.moves import cheapest
from patterns.positions import Boards
from patterns.reckoning import pays, threats
from patterns.view import View, reversed_sides


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


@dataclass(frozen=True)
class _Blows:
    """Captures of ours that a guard cannot answer well, one an entry: by whom, where, and what falls then."""

    row: Rows
    guard: Squares
    taker: Squares
    at: Squares
    prey: Squares

    def only(self, chosen: Flags | Rows) -> _Blows:
        """The chosen entries."""
        return _Blows(*(getattr(self, field.name)[chosen] for field in fields(self)))


def _falls_after(boards: Boards, blows: _Blows, back: Squares) -> Flags:
    """Whether we win the prey, and more than we paid, once the taker has taken and `back` has taken it.

    Nothing that they can then take makes up for it. A pawn that only the queen could take does not count.
    """
    cost = VALUES[boards.kind_at(blows.taker)] - VALUES[boards.kind_at(blows.at)]
    wins = (VALUES[boards.kind_at(blows.prey)] > cost) & (back != blows.prey)
    some = np.flatnonzero(wins)
    taker, at, prey = blows.taker[some], blows.at[some], blows.prey[some]
    after = boards.take(some).moved(taker, at).moved(back[some], at)
    wins[some] = capture_gain(after, prey, "us") > np.maximum(0, cost[some])
    left = np.flatnonzero(wins[some])
    some, after, prey = some[left], after.take(left), prey[left]
    last = square_of(cheapest(after, attackers(after, prey) & after.us))
    poor = (after.kind_at(last) == chess.QUEEN) & (after.kind_at(prey) == chess.PAWN)
    gain = VALUES[after.kind_at(prey)] - threats(reversed_sides(after.moved(last, prey)))[0]
    wins[some] = ~poor & (gain > cost[some])
    some = np.flatnonzero(wins)
    wins[some] = ~can_win(boards.take(some), blows.prey[some], "us")
    return wins


def _on_duties(view: View) -> _Blows:
    """Captures of a man whose guard, if it takes back, leaves another."""
    question = np.where(view.in_check, EMPTY, _in_question(view))
    sole = question & ~view.their_double_attacks
    men = view.their_men
    duties = men.attacks & question[men.row]
    busy = ((duties & sole[men.row]) != EMPTY) & (count(duties) >= 2) & (men.kind != chess.KING)
    men, duties = men.only(busy), duties[busy]
    which, first = exploded(duties & sole[men.row])
    way, taker = exploded(_takers(view, men.row[which], first))
    which, first = which[way], first[way]
    pair, second = exploded(duties[which] & ~BIT[first])
    which = which[pair]
    blows = _Blows(men.row[which], men.square[which], taker[pair], first[pair], second)
    return blows.only(_falls_after(view.boards.take(blows.row), blows, blows.guard))


def _on_guards(view: View) -> _Blows:
    """Captures of a guard that leave what it guards, whoever takes back."""
    question = np.where(view.in_check, EMPTY, _in_question(view))
    prey = question & ~view.their_double_attacks & ~view.boards.pawns
    men = view.their_men
    guarded = men.attacks & prey[men.row]
    can = (guarded != EMPTY) & ((question[men.row] & BIT[men.square]) != EMPTY)
    men, guarded = men.only(can), guarded[can]
    which, taker = exploded(_takers(view, men.row, men.square))
    pair, target = exploded(guarded[which])
    which = which[pair]
    blows = _Blows(men.row[which], men.square[which], taker[pair], men.square[which], target)
    boards = view.boards.take(blows.row)
    takes_back = attackers(boards, blows.guard) & boards.them & ~view.their_pinned[blows.row]
    way, back = exploded(takes_back)
    falls = takes_back != EMPTY
    falls[way[~_falls_after(boards.take(way), blows.only(way), back)]] = False
    return blows.only(falls)


def _that_pay(view: View) -> tuple[_Blows, _Blows]:
    """The blows on duties and those on guards that win more than we could take without them."""
    on_duties, on_guards = _on_duties(view), _on_guards(view)
    row, taker, at = (
        np.concatenate([getattr(on_duties, name), getattr(on_guards, name)])
        for name in ("row", "taker", "at")
    )
    boards = view.boards.take(row)
    without, _ = threats(boards)
    nothing = np.zeros(len(row), dtype=np.int64)
    good = pays(boards.moved(taker, at), VALUES[boards.kind_at(at)], nothing, without + 1)
    split = len(on_duties.row)
    return on_duties.only(good[:split]), on_guards.only(good[split:])


def overloaded_defender(view: View) -> Findings:
    """Guards with two duties, one of which we can force."""
    blows, _ = view.once(_that_pay)
    boards = view.boards.take(blows.row)
    by = attackers(boards, blows.prey) & boards.us & ~BIT[blows.at] | BIT[blows.taker]
    return _one_a_guard(blows, by, BIT[blows.at] | BIT[blows.prey])


def removed_defender(view: View) -> Findings:
    """Guards that we can take, so that what they guard falls."""
    _, blows = view.once(_that_pay)
    boards = view.boards.take(blows.row)
    by = attackers(boards, blows.prey) & boards.us | BIT[blows.taker]
    return _one_a_guard(blows, by, BIT[blows.prey])


def _one_a_guard(blows: _Blows, actors: Bitboards, targets: Bitboards) -> Findings:
    """One finding a guard, with all that it guards; `detail`: the guard's square as the row sees it."""
    key = blows.row * 64 + blows.guard
    order = np.argsort(key, kind="stable")
    key, actors, targets = key[order], actors[order], targets[order]
    first = np.flatnonzero(np.diff(key, prepend=-1))
    if len(first):
        actors, targets = (np.bitwise_or.reduceat(role, first) for role in (actors, targets))
    row, guard = key[first] >> 6, key[first] & 63
    return findings(row, actors, targets | BIT[guard], detail=guard)


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
            " and if the guard takes back, the second falls; together that wins, whatever they do instead."
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
            " they take back or not, the exchange and the fall of the piece together win, and nothing else"
            " that they take, check or threaten makes up for it."
        ),
        source="Euwe and Kramer, The Middle Game (eliminating the defence); named from memory",
        find=removed_defender,
        tell=_tell_removed,
    ),
)
