"""Scores without luck: every score runs from 0 to 1, and guessing earns about nothing."""

from __future__ import annotations


def above_chance(raw: float, chance: float) -> float:
    """A raw score with the chance level taken out, never below 0."""
    return max(0.0, (raw - chance) / (1.0 - chance)) if chance < 1.0 else 0.0
