"""The numbers that turn balances into verdicts, each with its reason.

The weights are fitted by tests/benchmarks/fit_verdict.py, which prints how well they do on games not used for
it.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from patterns.words.verdicts import FACTORS

Numbers = npt.NDArray[np.floating[Any]]

GRAIN = 0.01
"""Pawns: worths are counted in hundredths of a pawn, and shown like this."""

LEAST_GRAINS = 4
"""A reason of fewer grains is neither shown nor counted: it is less than a twenty-fifth of a pawn."""

THRESHOLDS = {
    "material": (0.3, 0.9, 2.0),
    "king-safety": (0.15, 0.4, 0.9),
    "centre": (0.15, 0.35, 0.7),
    "pawn-structure": (0.2, 0.5, 1.2),
    "space": (0.08, 0.18, 0.35),
    "initiative": (0.22, 0.35, 0.6),
    "open-lines": (0.15, 0.35, 0.7),
    "piece-play": (0.2, 0.5, 1.0),
}
"""Balances (pawns) at which a factor's verdict becomes slight, clear and decisive.

Material by its own units: the bishop pair is slight, a pawn clear, two pawns or a piece decisive. The others
by what is usual: of the quiet positions of real games about half are level and one in fifty is decisive.
"""

BORDER = 0.25
"""Within this distance of a border both neighbours are right; as a part of the factor's first threshold."""

EXPECTED_BORDER = 0.02
"""The same distance for the verdict, in expected score."""

WEIGHTS = {
    "material": (0.75, 0.9),
    "king-safety": (1.1, 1.1),
    "centre": (0.5, 0.75),
    "pawn-structure": (0.75, 1.05),
    "space": (0.8, 0.9),
    "initiative": (0.85, 0.75),
    "open-lines": (0.7, 0.55),
    "piece-play": (0.65, 0.9),
}
"""By factor: logits of expected score per pawn, with all pieces on the board and with none."""


def shares(balances: Numbers, middlegame: Numbers) -> Numbers:
    """What each factor adds to the verdict: (8, N) logits towards White.

    `balances`: (8, N) pawns, FACTORS order. `middlegame`: (N,) the share of pieces left.
    """
    weights = np.array([WEIGHTS[factor] for factor in FACTORS])
    early, late = weights[:, :1], weights[:, 1:]
    return np.asarray(balances * (early * middlegame + late * (1.0 - middlegame)))


def expected_score(shares: Numbers) -> Numbers:
    """White's expected score (N,) from what the factors add to it (8, N)."""
    logits = np.zeros(shares.shape[1])
    for share in shares:  # one by one, so that the sum is the same for any N
        logits += share
    return np.asarray(1.0 / (1.0 + np.exp(-logits)))
