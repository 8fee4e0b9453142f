"""How far a student has come with a strand, told by first sights alone and never pooled over tiers."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import islice
from math import sqrt
from typing import NamedTuple

from decks.memory.strands import Sight, StrandState

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


class OfTier(NamedTuple):
    """How the last answers in a tier went."""

    tier: int
    rate: Rate


@dataclass(frozen=True)
class Progress:
    """How the last answers at first sight went, those to lookalikes apart.

    Each begins with the tier of the last position. If there are too few answers in it for a rate, the tier
    before it that has one follows. `lookalikes` is empty if none was asked.
    """

    real: tuple[OfTier, ...]
    lookalikes: tuple[OfTier, ...]


def progress_of(state: StrandState) -> Progress:
    """The progress with a strand that is in this state."""
    real, lookalikes = (
        _by_tier([sight for sight in state.sights if sight.lookalike == kind]) for kind in (False, True)
    )
    return Progress(real or (OfTier(state.tier, Rate(0, 0)),), lookalikes)


def _by_tier(sights: Sequence[Sight]) -> tuple[OfTier, ...]:
    """The newest tier, and the one before it that has a rate unless it has one. `sights`: the latest last."""
    newest_first = dict.fromkeys(sight.tier for sight in reversed(sights))
    found = [
        OfTier(tier, _rate(sight.right for sight in sights if sight.tier == tier)) for tier in newest_first
    ]
    if not found or found[0].rate.interval:
        return tuple(found[:1])
    before = (each for each in found if each.rate.interval)
    return (found[0], *islice(before, 1))


def _rate(right: Iterable[bool]) -> Rate:
    answers = list(right)
    return Rate(sum(answers), len(answers))
