"""How a side stands by an expected score, in words that a slightly other score leaves true. Pure.

No word says that an advantage is slight: between level and clear there is no more room than two searches of
the same position differ by.
"""

from __future__ import annotations

from patterns.engines.scores import STRENGTH_THRESHOLDS

UNSURE = 0.05
"""Expected score: so near a border between two words, one is told that is true on both sides of it."""

UNSURE_IF_SHALLOW = 0.10
"""The same for a score of a shallow search: of 160 such moves 21 had another verdict in a deeper search."""

LEVEL = "level"
ABOUT_LEVEL = f"about {LEVEL}"

_SLIGHT, _, _DECISIVE = STRENGTH_THRESHOLDS


def stands(score: float, unsure: float = UNSURE) -> str:
    """How the side with this expected score stands: from `winning` over `level` to `lost`.

    >>> [stands(score) for score in (0.9, 0.89, 0.8, 0.79, 0.61, 0.6, 0.5)]
    ['winning', 'much better', 'much better', 'better', 'better', 'about level', 'level']
    >>> [stands(score) for score in (0.49, 0.4, 0.39, 0.21, 0.2, 0.11, 0.1)]
    ['about level', 'about level', 'worse', 'worse', 'much worse', 'much worse', 'lost']
    """
    distance = round(abs(score - 0.5), 6)
    if distance < _SLIGHT + unsure:
        return LEVEL if distance < _SLIGHT - unsure else ABOUT_LEVEL
    better, decided = ("better", "winning") if score > 0.5 else ("worse", "lost")
    if distance < _DECISIVE - unsure:
        return better
    return f"much {better}" if distance < _DECISIVE + unsure else decided
