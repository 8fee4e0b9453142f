"""Taking stock: eight factors with their reasons, and the verdict they add up to.

A balance is in pawns, positive for White. It is exactly the sum of the worths that its reasons state.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import chess
import numpy as np
import numpy.typing as npt

from patterns.boards.bitboards import mirror
from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.engines.scores import verdict_from_expected
from patterns.factors import (
    centre,
    initiative,
    king_safety,
    material,
    open_lines,
    pawn_structure,
    piece_play,
    space,
)
from patterns.factors.term import Pawns, Reason, Term
from patterns.factors.weights import EXPECTED_BORDER, GRAIN, SMALL, expected_score
from patterns.words.verdicts import FACTORS, Verdict
from patterns.words.wording import number, side_name

MODULES = {
    "material": material,
    "king-safety": king_safety,
    "centre": centre,
    "pawn-structure": pawn_structure,
    "space": space,
    "initiative": initiative,
    "open-lines": open_lines,
    "piece-play": piece_play,
}


@dataclass(frozen=True)
class StatedReason:
    """One reason of a factor. `worth`: pawns, positive for White. `squares`: what it is about, a1 first."""

    text: str
    worth: float
    squares: tuple[str, ...]

    def __str__(self) -> str:
        return f"{self.text} (+{abs(self.worth):.2f} {side_name(self.worth > 0)})."


@dataclass(frozen=True)
class FactorBalance:
    """One factor of one position: balance in pawns (positive for White), verdict, and reasons.

    `stated`: the reasons, the weightiest first; the balance is the sum of their worths.
    """

    factor: str
    balance: float
    verdict: Verdict
    stated: tuple[StatedReason, ...]

    @property
    def reasons(self) -> tuple[str, ...]:
        """The reasons as sentences. Each ends with its worth."""
        return tuple(map(str, self.stated))


@dataclass(frozen=True)
class Assessment:
    """The stock-taking of one position.

    `factors`: in FACTORS order. `expected_score`: White's, 0..1. The verdict follows from it.
    """

    factors: tuple[FactorBalance, ...]
    verdict: Verdict
    expected_score: float

    @property
    def deciding(self) -> tuple[str, ...]:
        """The factors by what they add to the verdict, the greatest balance first."""
        return tuple(entry.factor for entry in sorted(self.factors, key=lambda entry: -abs(entry.balance)))


@dataclass(frozen=True)
class Counted:
    """The terms of one factor as they are counted.

    `grains`: (terms, 2N) their worth for us in whole grains of `GRAIN` pawns.
    """

    terms: tuple[Term, ...]
    grains: npt.NDArray[np.int32]


@dataclass(frozen=True)
class Assessments:
    """The stock-taking of N positions.

    `balances`: (8, N) pawns, positive for White, factors in FACTORS order. `expected`: (N,) White's expected
    score. `counted`: the terms behind each factor's balances, with rows as in the view.
    """

    balances: Pawns
    expected: Pawns
    counted: tuple[Counted, ...]


def assess(view: View) -> Assessments:
    """Take stock of every position of a view."""
    half = len(view) // 2
    counted = tuple(_counted(MODULES[factor].terms(view)) for factor in FACTORS)
    totals = np.array([entry.grains.sum(axis=0) for entry in counted])
    balances = totals[:, :half] - totals[:, half:]
    return Assessments(np.round(balances * GRAIN, 2), expected_score(balances.sum(axis=0) * GRAIN), counted)


def _counted(terms: tuple[Term, ...]) -> Counted:
    return Counted(terms, np.array([np.rint(term.worth / GRAIN) for term in terms], dtype=np.int32))


def assess_boards(boards: Sequence[chess.Board]) -> list[Assessment]:
    """Take stock of each board, in words. Each needs one king per side (ValueError names the index).

    >>> assess_boards([chess.Board("4k3/8/8/8/8/8/8/Q3K3 w - - 0 1")])[0].factors[0].reasons
    ('White is ahead by a queen (+9.75 White).',)
    """
    if not boards:
        return []
    return assessments_in_words(assess(View(Positions.from_boards(boards))), boards)


def assessments_in_words(assessments: Assessments, boards: Sequence[chess.Board]) -> list[Assessment]:
    """Each assessment with its sentences. `boards`: those the view was made of, in the same order."""
    return [_in_words(assessments, board, index, len(boards)) for index, board in enumerate(boards)]


def _in_words(assessments: Assessments, board: chess.Board, index: int, half: int) -> Assessment:
    bare = without_reasons(assessments, index)
    factors = (
        replace(factor, stated=_reasons(assessments.counted[place], board, index, half))
        for place, factor in enumerate(bare.factors)
    )
    return replace(bare, factors=tuple(factors))


def without_reasons(assessments: Assessments, index: int) -> Assessment:
    """The assessment of one position, with factors that state no reasons: these take most of the time."""
    balances = map(float, assessments.balances[:, index])
    factors = (
        FactorBalance(factor, balance, verdict_of(balance), ())
        for factor, balance in zip(FACTORS, balances, strict=True)
    )
    expected = float(assessments.expected[index])
    return Assessment(tuple(factors), verdict_from_expected(expected), expected)


def _reasons(counted: Counted, board: chess.Board, index: int, half: int) -> tuple[StatedReason, ...]:
    """The reasons of one factor, the weightiest first, and last the small ones as one.

    What speaks of both sides is told once, as a difference: first the side of which there is more to say.
    """
    found = []
    for place, term in enumerate(counted.terms):
        sides = []
        for side, row in ((chess.WHITE, index), (chess.BLACK, index + half)):
            if grains := int(counted.grains[place, row]):
                men = term.men[row : row + 1]
                squares = chess.SquareSet(int((men if side else mirror(men))[0]))
                text = term.tell(Reason(board, side, grains * GRAIN, squares))
                sides.append((grains if side else -grains, text, squares))
        sides.sort(key=lambda told: -abs(told[0]))
        if net := sum(grains for grains, _, _ in sides):
            names = tuple(
                chess.square_name(square) for square in sorted(set().union(*(s for *_, s in sides)))
            )
            found.append(StatedReason("; ".join(text for _, text, _ in sides), round(net * GRAIN, 2), names))
    found.sort(key=lambda reason: -abs(reason.worth))
    return tuple(_without_small(found))


def _without_small(found: list[StatedReason]) -> list[StatedReason]:
    """The reasons with the small ones told together; their squares are those of all of them."""
    small = [reason for reason in found if abs(reason.worth) < SMALL]
    if len(small) < 2:
        return found
    worth = round(sum(reason.worth for reason in small), 2)
    names = tuple(sorted({name for reason in small for name in reason.squares}, key=chess.parse_square))
    together = StatedReason(f"{number(len(small)).capitalize()} small things together", worth, names)
    return [*found[: len(found) - len(small)], together]


def verdict_of(balance: float) -> Verdict:
    """The verdict for an advantage in pawns (positive for White), of one factor or of all together."""
    return verdict_from_expected(float(expected_score(np.array(balance))))


def accepted(assessment: Assessment) -> dict[str, frozenset[int]]:
    """The signed strengths that are right for each factor and for `verdict`: two near a border."""
    expected = {
        entry.factor: float(expected_score(np.array(entry.balance))) for entry in assessment.factors
    } | {"verdict": assessment.expected_score}
    return {row: right_strengths(score) for row, score in expected.items()}


def right_strengths(expected: float) -> frozenset[int]:
    """The signed strengths that are right for White's expected score: two near a border."""
    near = (expected - EXPECTED_BORDER, expected, expected + EXPECTED_BORDER)
    return frozenset(verdict_from_expected(score).signed for score in near)
