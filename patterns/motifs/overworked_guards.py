"""Guards that have too much to do, and guards that can be taken.

The rules apply now or if it were our move. We are not in check. Overloaded: a man of theirs (not a king) is
the only direct guard of one man that we attack, and helps to guard another. Both are safe for now. We can
take the first. If the guard recaptures, the second falls by exchange, and the two captures together win. A
pawn that only our queen could take does not count as the second. Removed: a man of theirs is the only direct
guard of a piece that we attack. Both are safe for now. We can take the guard. Whichever man recaptures, the
piece falls by exchange, and the two captures together win. (In a played line a guard that is driven off
counts too: see `patterns.lines`.) In both cases the gain must remain whatever they do instead: take something
else, check, or threaten something (see `patterns.proof.gains`). It must be more than we could take without
it.

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

Roles. Actors: the man that takes first, and those that attack the man that falls later. Targets: the guard
and what it guards. Squares: none.
"""

from __future__ import annotations

import chess

from patterns.boards.attacks import attackers
from patterns.boards.bitboards import BIT, Bitboards
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, findings
from patterns.proof.guard_captures import GuardCaptures
from patterns.proof.wins import proven_wins
from patterns.words import wording


def overloaded_defender(view: View) -> Findings:
    """Guards with two duties, if we can force one of them."""
    captures = view.once(proven_wins).guard_captures
    captures = captures.only(captures.at != captures.guard)
    boards = view.boards.take(captures.row)
    by = attackers(boards, captures.falling) & boards.us & ~BIT[captures.at] | BIT[captures.taker]
    return _one_a_guard(captures, by, BIT[captures.at] | BIT[captures.falling])


def removed_defender(view: View) -> Findings:
    """Guards that we can take, so that a man they guard falls."""
    captures = view.once(proven_wins).guard_captures
    captures = captures.only(captures.at == captures.guard)
    boards = view.boards.take(captures.row)
    by = attackers(boards, captures.falling) & boards.us | BIT[captures.taker]
    return _one_a_guard(captures, by, BIT[captures.falling])


def _one_a_guard(captures: GuardCaptures, actors: Bitboards, targets: Bitboards) -> Findings:
    """One finding per guard, with all that it guards. `detail`: the guard's square as the row sees it."""
    every = findings(captures.row, actors, targets | BIT[captures.guard], detail=captures.guard)
    return every.merged(captures.guard)


def _tell_overloaded(instance: Instance) -> str:
    board, guard = instance.board, instance.detail_square
    duties = [square for square in instance.targets if square != guard]
    return wording.sentence(
        f"{wording.named(board, guard)} cannot guard {wording.men(board, duties)} at once"
    )


def _tell_removed(instance: Instance) -> str:
    board, guard = instance.board, instance.detail_square
    guarded = wording.men(board, (square for square in instance.targets if square != guard))
    takers = instance.actors & chess.SquareSet(board.attackers_mask(instance.side, guard))
    taker = min(takers, key=lambda square: (board.piece_type_at(square) or 0, square))
    return wording.sentence(
        f"{wording.named(board, taker)} can take {wording.named(board, guard)}, the only guard of {guarded}"
    )


MOTIFS = (
    Motif(
        id="overloaded-defender",
        title="Overloaded defender",
        definition=(
            "One man is the only guard of a man under attack and also guards another. We can take the"
            " first. If the guard takes back, the second falls. Together that wins, whatever they do"
            " instead."
        ),
        source="Euwe and Kramer, The Middle Game (the overburdened piece); named from memory",
        find=overloaded_defender,
        tell=_tell_overloaded,
    ),
    Motif(
        id="removed-defender",
        title="Removed defender",
        definition=(
            "A piece under attack has a single guard, and we can take that guard (or drive it off). Whether"
            " they take back or not, this exchange and the fall of the piece together win, and nothing else"
            " that they take, check or threaten makes up for it."
        ),
        source="Euwe and Kramer, The Middle Game (eliminating the defence); named from memory",
        find=removed_defender,
        tell=_tell_removed,
    ),
)
