"""From balances to verdicts: one scale for every factor and for the whole.

The balances are in pawns and add up. Their sum gives the expected score, and the expected score the verdict,
by the same borders as an engine's (`patterns.engines.scores`). What the terms are worth was fitted with
tests/benchmarks/fit_verdict.py, which prints how well they do on games not used for it.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

Numbers = npt.NDArray[np.floating[Any]]

GRAIN = 0.01
"""Pawns: worths are counted in hundredths of a pawn, and shown like this."""

SMALL = 0.06
"""Pawns: reasons below this are told together."""

PER_PAWN = 0.9
"""Logits of expected score for a pawn: a pawn ahead gives .71."""

EXPECTED_BORDER = 0.02
"""Within this distance of a border both neighbouring verdicts are right, in expected score."""


def expected_score(pawns: Numbers) -> Numbers:
    """White's expected score for an advantage in pawns, of one factor or of all together.

    >>> expected_score(np.array([0.0, 0.3, 0.8, 2.0])).round(2).tolist()
    [0.5, 0.57, 0.67, 0.86]
    """
    return np.asarray(1.0 / (1.0 + np.exp(-PER_PAWN * pawns)))
