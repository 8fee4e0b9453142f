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
from patterns.exchange import VALUES, Values, can_win, capture_gain
from patterns.findings import Findings, Instance, Motif, findings
from patterns.moves import cheapest
from patterns.reckoning import pays, threatened, threats
from patterns.view import View, reversed_sides


@dataclass(frozen=True)
class _Blows:
    """Captures of ours that a guard cannot answer well, one an entry: by whom, where, and what falls then.

    Where: the guard itself, or the first of the men that it guards.
    """

    row: Rows
    guard: Squares
    taker: Squares
    at: Squares
    prey: Squares

    def only(self, chosen: Flags | Rows) -> _Blows:
        """The chosen entries."""
        return _Blows(*(getattr(self, field.name)[chosen] for field in fields(self)))


def _takers(view: View, rows: Rows, squares: Squares) -> Bitboards:
    """Our cheapest men, no king, none pinned, that attack each square."""
    boards = view.boards.take(rows)
    return cheapest(boards, attackers(boards, squares) & boards.us & ~boards.kings & ~view.our_pinned[rows])


def _blows(view: View) -> _Blows:
    """Captures of a sole guard, or on one of its duties, that cost less than what may fall then."""
    question = view.them & ~view.boards.kings & view.our_attacks & view.their_attacks
    question[view.in_check | (count(question) < 2)] = EMPTY
    sole = question & ~view.their_double_attacks
    men = view.their_men
    men = men.only(np.flatnonzero((men.attacks & sole[men.row]) != EMPTY))
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
    blows = _Blows(men.row[which[pair]], guard[pair], taker[pair], at[pair], prey)
    return blows.only(_worth(view, blows, prey) > _cost(view, blows))


def _worth(view: View, blows: _Blows, squares: Squares) -> Values:
    return VALUES[view.boards.kind_at(squares, blows.row)]


def _cost(view: View, blows: _Blows) -> Values:
    """What the blow loses if they take back."""
    return _worth(view, blows, blows.taker) - _worth(view, blows, blows.at)


def _that_win(view: View, blows: _Blows) -> Flags:
    """Whether, whoever may take back, the prey falls and brings more than we have paid.

    Nothing that they can then take makes up for it. A pawn that only the queen could take does not count.
    On a duty only the guard takes back.
    """
    boards = view.boards.take(blows.row)
    everyone = attackers(boards, blows.guard) & boards.them & ~view.their_pinned[blows.row]
    takes_back = np.where(blows.at == blows.guard, everyone, BIT[blows.guard])
    wins = (takes_back != EMPTY) & ((takes_back & BIT[blows.prey]) == EMPTY)
    way, back = exploded(np.where(wins, takes_back, EMPTY))
    at, prey, cost = blows.at[way], blows.prey[way], _cost(view, blows)[way]
    after = boards.take(way).moved(blows.taker[way], at).moved(back, at)
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


def _safe_for_now(view: View, blows: _Blows) -> Flags:
    """Whether as it is we win neither what the blow takes nor the prey."""
    boards = view.boards.take(np.concatenate([blows.row, blows.row]))
    at, prey = np.split(can_win(boards, np.concatenate([blows.at, blows.prey]), "us"), 2)
    return ~at & ~prey


def _that_pay(view: View) -> _Blows:
    """The blows that win more than we could take without them, whatever they do instead."""
    blows = _blows(view)
    blows = blows.only(_that_win(view, blows))
    blows = blows.only(_safe_for_now(view, blows))
    _, first, which = np.unique(
        blows.row << 12 | blows.taker << 6 | blows.at, return_index=True, return_inverse=True
    )
    captures = blows.only(first)
    boards = view.boards.take(captures.row)
    won = VALUES[boards.kind_at(captures.at)]
    good = pays(boards.moved(captures.taker, captures.at), won, np.zeros_like(won), threats(boards) + 1)
    return blows.only(good[which])


def overloaded_defender(view: View) -> Findings:
    """Guards with two duties, one of which we can force."""
    blows = view.once(_that_pay)
    blows = blows.only(blows.at != blows.guard)
    boards = view.boards.take(blows.row)
    by = attackers(boards, blows.prey) & boards.us & ~BIT[blows.at] | BIT[blows.taker]
    return _one_a_guard(blows, by, BIT[blows.at] | BIT[blows.prey])


def removed_defender(view: View) -> Findings:
    """Guards that we can take, so that what they guard falls."""
    blows = view.once(_that_pay)
    blows = blows.only(blows.at == blows.guard)
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
