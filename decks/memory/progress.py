"""How far a student has come with a strand, told by first sights alone and never pooled over tiers."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import sqrt

from decks.memory.strands import StrandState

RATE_FROM = 8
"""Answers from which a rate is told; fewer say next to nothing."""

_Z = 1.6448536269514722
"""The quantile of the normal distribution for an interval of 90 %."""


@dataclass(frozen=True)
class Rate:
    """How many of some answers were right."""

    right: int
    asked: int

    @property
    def interval(self) -> tuple[float, float] | None:
        """The 90 % Wilson interval of the rate, 0 to 1. None before there are RATE_FROM answers.

        Source: E. B. Wilson, Journal of the American Statistical Association 22 (1927), pages 209-212.

        >>> [round(end, 2) for end in Rate(7, 10).interval]
        [0.44, 0.87]
        >>> Rate(7, 7).interval
        """
        if self.asked < RATE_FROM:
            return None
        rate, n = self.right / self.asked, self.asked
        middle = (rate + _Z**2 / (2 * n)) / (1 + _Z**2 / n)
        half = _Z * sqrt(rate * (1 - rate) / n + _Z**2 / (4 * n**2)) / (1 + _Z**2 / n)
        return middle - half, middle + half


@dataclass(frozen=True)
class Progress:
    """`asked_in`: the tier of the last position that was answered at first sight; `real`, `lookalikes`: the
    last such answers in this tier.
    """

    asked_in: int
    real: Rate
    lookalikes: Rate


def progress_of(state: StrandState) -> Progress:
    """The progress with a strand that is in this state."""
    asked_in = state.sights[-1].tier if state.sights else state.tier
    of_tier = [sight for sight in state.sights if sight.tier == asked_in]
    real, lookalikes = (
        _rate(sight.right for sight in of_tier if sight.lookalike == kind) for kind in (False, True)
    )
    return Progress(asked_in, real, lookalikes)


def _rate(right: Iterable[bool]) -> Rate:
    answers = list(right)
    return Rate(sum(answers), len(answers))
