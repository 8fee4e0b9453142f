"""How much each motif counts before an event, from what it cost the student in games."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from decks.memory.many import Floats

GAMES_ADDED = 5
"""What a motif cost is mixed with the mean over all motifs as if that had been seen in so many games."""

LEAST_WEIGHT, MOST_WEIGHT = 0.5, 2.0


def weights(lost: Mapping[str, float], games: int) -> dict[str, float]:
    """How much each motif counts: the square root of the points lost in a game, with mean 1, within .5 to 2.

    `lost`: the points that each motif cost in all `games`. With few games the weights stay close together.

    >>> {motif: round(weight, 2) for motif, weight in weights({"fork": 6, "pin": 0.5}, games=20).items()}
    {'fork': 1.39, 'pin': 0.61}
    """
    points = np.array(list(lost.values()), dtype=np.float64)
    if not games or not points.any():
        return dict.fromkeys(lost, 1.0)
    roots = np.sqrt((points + GAMES_ADDED * points.mean() / games) / (games + GAMES_ADDED))
    low, high = 0.0, MOST_WEIGHT / roots[roots > 0].min()
    for _ in range(60):  # the scale that gives mean 1 after the limits; the mean grows with it
        scale = (low + high) / 2
        low, high = (scale, high) if _limited(scale * roots).mean() < 1 else (low, scale)
    return dict(zip(lost, map(float, _limited(high * roots)), strict=True))


def within_limits(weight: float) -> float:
    """A weight, at least LEAST_WEIGHT and at most MOST_WEIGHT."""
    return min(max(weight, LEAST_WEIGHT), MOST_WEIGHT)


def _limited(weights: Floats) -> Floats:
    return np.minimum(np.maximum(weights, LEAST_WEIGHT), MOST_WEIGHT)
