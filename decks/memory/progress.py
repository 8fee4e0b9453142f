"""How far a student has come with a strand, told by first sights alone and never pooled over tiers."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from math import sqrt

from decks.memory.strands import Showing, StrandState, after

LAST = 10
"""A rate is that of so many last answers."""

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
    """`tiers`: each tier with the study day from which on the strand was in it. `asked_in`: the tier of the
    last position that was answered at first sight; `real`, `lookalikes`: the last such answers in this tier.
    """

    state: StrandState
    tiers: tuple[tuple[date, int], ...]
    asked_in: int
    real: Rate
    lookalikes: Rate


def progress_of(log: Iterable[Showing]) -> Progress:
    """The progress that the log of one strand shows, in the order in which it came in."""
    state, asked = StrandState(), []
    tiers: list[tuple[date, int]] = []
    for showing in log:
        state = after(state, showing)
        if not tiers or tiers[-1][1] != state.tier:
            tiers.append((showing.day, state.tier))
        if showing.grade is not None and showing.fresh:
            asked.append(showing)
    asked_in = asked[-1].tier if asked else state.tier
    of_tier = [showing for showing in asked if showing.tier == asked_in]
    real, lookalikes = (
        _rate([showing for showing in of_tier if showing.lookalike == kind]) for kind in (False, True)
    )
    return Progress(state, tuple(tiers), asked_in, real, lookalikes)


def _rate(showings: Sequence[Showing]) -> Rate:
    last = showings[-LAST:]
    return Rate(sum(showing.right for showing in last), len(last))
