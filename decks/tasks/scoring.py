"""Scores corrected for guessing: every score is from 0 to 1, and a guess earns about 0."""

from __future__ import annotations


def above_chance(raw: float, chance: float) -> float:
    """A raw score corrected for the chance level, never below 0."""
    return max(0.0, (raw - chance) / (1.0 - chance)) if chance < 1.0 else 0.0
