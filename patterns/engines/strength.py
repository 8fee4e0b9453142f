"""Which engine's verdicts can be trusted: engines far above human players, searching deep enough."""

from __future__ import annotations

UNVERIFIED_BELOW = 16
"""Plies: a verdict from fewer, or from an engine not in STRONG_ENGINES, counts as unverified."""

STRONG_ENGINES = ("stockfish",)
"""Engines far above any human player, by the first word of their UCI name, casefolded (common practice)."""


def is_strong(engine_name: str) -> bool:
    """Whether an engine is one of STRONG_ENGINES, by its UCI name."""
    first_word = (engine_name.casefold().split() or [""])[0]
    return first_word in STRONG_ENGINES


def strong_enough(engine_name: str, depth: int) -> bool:
    """Whether a verdict counts as verified: an engine of STRONG_ENGINES, UNVERIFIED_BELOW plies or more.

    >>> strong_enough("Stockfish 15.1", 16), strong_enough("Stockfish 15.1", 12), strong_enough("sunfish", 20)
    (True, False, False)
    """
    return is_strong(engine_name) and depth >= UNVERIFIED_BELOW
