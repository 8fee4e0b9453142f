"""The numbers that turn balances into verdicts, each with its reason. Fitted by tests/benchmarks/fit_verdict.py."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from patterns.verdicts import FACTORS

GRAIN = 0.05
"""Pawns: worths are counted in twentieths of a pawn; what rounds to none is too small to tell."""

STEPS = {
    "material": (0.3, 0.9, 2.5),
    "king-safety": (0.25, 0.75, 2.0),
    "centre": (0.2, 0.5, 1.2),
    "pawn-structure": (0.2, 0.5, 1.2),
    "space": (0.2, 0.5, 1.2),
    "initiative": (0.2, 0.6, 1.5),
    "open-lines": (0.2, 0.5, 1.2),
    "piece-play": (0.25, 0.75, 1.8),
}
"""Balances (pawns) at which a factor's verdict becomes slight, clear and decisive."""

BORDER = {factor: 0.25 * steps[0] for factor, steps in STEPS.items()}
"""How near (pawns) to a border both neighbours are right."""

EXPECTED_BORDER = 0.02
"""The same for the verdict, in expected score."""

WEIGHTS = {
    "material": (1.0, 1.3),
    "king-safety": (0.8, 0.2),
    "centre": (0.5, 0.2),
    "pawn-structure": (0.7, 1.0),
    "space": (0.5, 0.2),
    "initiative": (0.8, 0.6),
    "open-lines": (0.7, 0.6),
    "piece-play": (0.7, 0.7),
}
"""By factor: logits of expected score a pawn, with all pieces on the board and with none."""


def expected_score(
    balances: npt.NDArray[np.float64], middlegame: npt.NDArray[np.float64]
) -> npt.NDArray[np.float64]:
    """White's expected score (N,) of balances (8, N), FACTORS order, and the share of pieces left (N,)."""
    early, late = np.array([WEIGHTS[factor] for factor in FACTORS]).T
    logits = (balances * (early[:, None] * middlegame + late[:, None] * (1.0 - middlegame))).sum(axis=0)
    return np.asarray(1.0 / (1.0 + np.exp(-logits)))
