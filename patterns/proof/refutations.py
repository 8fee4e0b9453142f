"""Who refutes a claim: the men of theirs that have an answer after which we don't get what was claimed."""

from __future__ import annotations

import numpy as np

from patterns.boards.attacks import in_check
from patterns.boards.bitboards import BIT, EMPTY, Bitboards, mirror
from patterns.boards.grouping import united
from patterns.boards.legal import legal_moves, made
from patterns.boards.view import View
from patterns.proof.claims import Claims, as_they_see, stated
from patterns.proof.lookahead import LOOKS, collects, reaches, threatens


def refuters(view: View, asked: Claims) -> Bitboards:
    """For each claim, the men whose answers refute it, on the board before the move and as its row sees it.

    Empty where a claim holds, or where it is not even a threat: our move is not legal, or it wins nothing
    more if they do nothing.
    """
    result = np.zeros(len(asked), dtype=np.uint64)
    boards, moves, aims = stated(view, asked, asked.checks)
    after = as_they_see(boards, moves, np.ones(len(asked), dtype=np.bool_))
    some = np.flatnonzero(~in_check(moves.after, "them") & ~in_check(boards, "them"))
    after, aims = after.take(some), aims.take(some)
    forced = in_check(after, "us")
    threat = np.flatnonzero(threatens(after, aims, forced))
    some, after, aims, forced = some[threat], after.take(threat), aims.take(threat), forced[threat]
    answers = made(after, legal_moves(after))
    then = aims.after(answers)
    met = reaches(answers.after, then)
    rest = np.flatnonzero(~met)
    met[rest] = collects(answers.after.take(rest), then.take(rest), LOOKS - 1, forced[answers.row[rest]])
    refuting = np.where(met, EMPTY, BIT[answers.origin])
    result[some] = mirror(united(answers.row, refuting, len(after)))
    return result
