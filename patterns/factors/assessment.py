"""Taking stock: eight factors with their reasons, and the verdict they add up to.

A balance is in pawns, positive for White. It is exactly the sum of the worths that its reasons state.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import chess
import numpy as np
import numpy.typing as npt

from patterns.boards.bitboards import mirror
from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.engines.scores import STRENGTH_THRESHOLDS, verdict_from_expected
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
from patterns.factors.weights import (
    BORDER,
    EXPECTED_BORDER,
    GRAIN,
    LEAST_GRAINS,
    THRESHOLDS,
    expected_score,
    shares,
)
from patterns.words.verdicts import FACTORS, Verdict
from patterns.words.wording import side_name

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

    `stated`: the reasons, the most important first; the balance is the sum of their worths. `share`: what the
    factor adds to the verdict, in logits of expected score towards White.
    """

    factor: str
    balance: float
    verdict: Verdict
    stated: tuple[StatedReason, ...]
    share: float = 0.0

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
        """The factors by their share of the verdict, the largest share first."""
        return tuple(entry.factor for entry in sorted(self.factors, key=lambda entry: -abs(entry.share)))


@dataclass(frozen=True)
class Counted:
    """The terms of one factor as they are counted.

    `grains`: (terms, 2N) their worth for us in whole grains of `GRAIN` pawns, 0 if too small to count.
    """

    terms: tuple[Term, ...]
    grains: npt.NDArray[np.int32]


@dataclass(frozen=True)
class Assessments:
    """The stock-taking of N positions.

    `balances`: (8, N) pawns, positive for White, factors in FACTORS order. `shares`: (8, N) what each factor
    adds to the verdict, in logits. `expected`: (N,) White's expected score. `counted`: the terms behind each
    factor's balances, with rows as in the view.
    """

    balances: Pawns
    shares: Pawns
    expected: Pawns
    counted: tuple[Counted, ...]


def assess(view: View) -> Assessments:
    """Take stock of every position of a view."""
    half = len(view) // 2
    counted = tuple(_counted(MODULES[factor].terms(view)) for factor in FACTORS)
    totals = np.array([entry.grains.sum(axis=0) for entry in counted])
    balances = np.round((totals[:, :half] - totals[:, half:]) * GRAIN, 2)
    adding = shares(balances, view.middlegame[:half])
    return Assessments(balances, adding, expected_score(adding), counted)


def _counted(terms: tuple[Term, ...]) -> Counted:
    counted = np.empty((len(terms), len(terms[0].worth)), dtype=np.int32)
    for row, term in zip(counted, terms, strict=True):
        grains = np.rint(term.worth / GRAIN).astype(np.int32)
        np.multiply(grains, np.abs(grains) >= LEAST_GRAINS, out=row)
    return Counted(terms, counted)


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
    factors = []
    for number, factor in enumerate(FACTORS):
        balance = float(assessments.balances[number, index])
        reasons = _reasons(assessments.counted[number], board, index, half)
        share = float(assessments.shares[number, index])
        factors.append(FactorBalance(factor, balance, factor_verdict(factor, balance), reasons, share))
    expected = float(assessments.expected[index])
    return Assessment(tuple(factors), verdict_from_expected(expected), expected)


def _reasons(counted: Counted, board: chess.Board, index: int, half: int) -> tuple[StatedReason, ...]:
    """The reasons of one factor, the most important first. Among equals White's come before Black's."""
    found = []
    for side, row in ((chess.WHITE, index), (chess.BLACK, index + half)):
        for number in np.flatnonzero(counted.grains[:, row]):
            term, grains = counted.terms[number], int(counted.grains[number, row])
            men = term.men[row : row + 1]
            squares = chess.SquareSet(int((men if side else mirror(men))[0]))
            text = term.tell(Reason(board, side, grains * GRAIN, squares))
            worth = round((grains if side else -grains) * GRAIN, 2)
            found.append(StatedReason(text, worth, tuple(map(chess.square_name, squares))))
    return tuple(sorted(found, key=lambda reason: -abs(reason.worth)))


def factor_verdict(factor: str, balance: float) -> Verdict:
    """The verdict on one factor for a balance (pawns, positive for White)."""
    return Verdict.from_signed(_signed_strength(balance, THRESHOLDS[factor]))


def accepted(assessment: Assessment) -> dict[str, frozenset[int]]:
    """The signed strengths that are right for each factor and for `verdict`: two near a border."""
    right = {
        entry.factor: _right_strengths(
            entry.balance, THRESHOLDS[entry.factor], THRESHOLDS[entry.factor][0] * BORDER
        )
        for entry in assessment.factors
    }
    right["verdict"] = _right_strengths(assessment.expected_score - 0.5, STRENGTH_THRESHOLDS, EXPECTED_BORDER)
    return right


def _right_strengths(value: float, thresholds: Sequence[float], border: float) -> frozenset[int]:
    return frozenset(_signed_strength(at, thresholds) for at in (value - border, value, value + border))


def _signed_strength(value: float, thresholds: Sequence[float]) -> int:
    strength = sum(round(abs(value), 6) >= threshold for threshold in thresholds)
    return strength if value > 0 else -strength
