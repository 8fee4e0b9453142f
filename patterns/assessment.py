"""Taking stock: eight factors with their reasons, and the verdict they add up to.

A balance is in pawns, positive for White, and is exactly the sum of the worths its reasons state.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import chess
import numpy as np
import numpy.typing as npt

from patterns.bitboards import Bitboards, mirror
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
from patterns.positions import Positions
from patterns.scores import STRENGTH_STEPS, verdict_from_expected
from patterns.verdicts import FACTORS, Verdict
from patterns.view import View
from patterns.weights import BORDER, EXPECTED_BORDER, GRAIN, STEPS, expected_score

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
class FactorBalance:
    """One factor of one position: balance in pawns (positive for White), verdict, and the reasons.

    Each reason ends with what it is worth; the balance is their sum.
    """

    factor: str
    balance: float
    verdict: Verdict
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class Assessment:
    """The stock-taking of one position: factors in FACTORS order, the verdict, White's expected score 0..1."""

    factors: tuple[FactorBalance, ...]
    verdict: Verdict
    expected_score: float


@dataclass(frozen=True)
class Counted:
    """A term as it is counted: its worth in whole grains of `GRAIN` pawns, for us, shape (2N,)."""

    term: Term
    grains: npt.NDArray[np.int64]


@dataclass(frozen=True)
class Assessments:
    """The stock-taking of N positions.

    `balances`: (8, N) pawns, positive for White, factors in FACTORS order. `expected`: (N,) White's
    expected score. `counted`: the terms of each factor, rows as in the view.
    """

    balances: Pawns
    expected: Pawns
    counted: tuple[tuple[Counted, ...], ...]


def assess(view: View) -> Assessments:
    """Take stock of every position of a view."""
    half = len(view) // 2
    counted, balances = [], []
    for factor in FACTORS:
        terms = [
            Counted(term, np.rint(term.worth / GRAIN).astype(np.int64))
            for term in MODULES[factor].terms(view)
        ]
        total = sum((term.grains for term in terms), np.zeros(len(view), dtype=np.int64))
        counted.append(tuple(terms))
        balances.append((total[:half] - total[half:]) * GRAIN)
    table = np.round(np.array(balances).reshape(len(FACTORS), half), 2)
    return Assessments(table, expected_score(table, view.middlegame[:half]), tuple(counted))


def assess_boards(boards: Sequence[chess.Board]) -> list[Assessment]:
    """Take stock of each board, in words.

    >>> assess_boards([chess.Board("4k3/8/8/8/8/8/8/R3K3 w - - 0 1")])[0].factors[0].reasons
    ('White is ahead by a rook (+5.00 White).',)
    """
    if not boards:
        return []
    return assessments_in_words(assess(View(Positions.from_boards(boards))), boards)


def assessments_in_words(assessments: Assessments, boards: Sequence[chess.Board]) -> list[Assessment]:
    """Each assessment with its sentences; `boards` are those the view was made of, in its order."""
    half, reasons = (
        len(boards),
        [[_reasons(counted, boards, i) for counted in assessments.counted] for i in range(len(boards))],
    )
    result = []
    for index in range(half):
        factors = []
        for number, factor in enumerate(FACTORS):
            balance = float(assessments.balances[number, index])
            factors.append(
                FactorBalance(factor, balance, factor_verdict(factor, balance), reasons[index][number])
            )
        expected = float(assessments.expected[index])
        result.append(Assessment(tuple(factors), verdict_from_expected(expected), expected))
    return result


def _reasons(counted: Sequence[Counted], boards: Sequence[chess.Board], index: int) -> tuple[str, ...]:
    found = []
    for side, row in ((chess.WHITE, index), (chess.BLACK, index + len(boards))):
        for entry in counted:
            grains = int(entry.grains[row])
            if grains:
                men = entry.term.men[row : row + 1]
                men = men if side else mirror(men)
                reason = Reason(boards[index], side, grains * GRAIN, _square_set(men))
                found.append((-abs(grains), _with_worth(entry.term.tell(reason), side, grains)))
    found.sort(key=lambda pair: pair[0])
    return tuple(text for _, text in found)


def _square_set(board: Bitboards) -> chess.SquareSet:
    return chess.SquareSet(int(board[0]))


def _with_worth(text: str, side: chess.Color, grains: int) -> str:
    profits = "White" if (grains > 0) == side else "Black"
    return f"{text} (+{abs(grains) * GRAIN:.2f} {profits})."


def factor_verdict(factor: str, balance: float) -> Verdict:
    """The verdict a balance (pawns, positive for White) amounts to on one factor."""
    strength = sum(round(abs(balance), 2) >= step for step in STEPS[factor])
    return Verdict.from_signed(strength if balance > 0 else -strength)


def accepted(assessment: Assessment) -> dict[str, frozenset[int]]:
    """The signed strengths that are right for each factor and for `verdict`: near a border both neighbours."""
    result = {
        entry.factor: _neighbours(entry.balance, STEPS[entry.factor], BORDER[entry.factor])
        for entry in assessment.factors
    }
    result["verdict"] = _neighbours(assessment.expected_score - 0.5, STRENGTH_STEPS, EXPECTED_BORDER)
    return result


def _neighbours(value: float, steps: Sequence[float], border: float) -> frozenset[int]:
    def signed(at: float) -> int:
        strength = sum(round(abs(at), 6) >= step for step in steps)
        return strength if at > 0 else -strength

    return frozenset(signed(round(at, 6)) for at in (value - border, value, value + border))
