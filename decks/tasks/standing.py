"""How a side stands by an expected score, in words that a slightly other score leaves true. Pure."""

from __future__ import annotations

from patterns.engines.scores import STRENGTH_THRESHOLDS

UNSURE = 0.04
"""Expected score: so near a border between two words, one is told that is true on both sides of it."""

UNSURE_IF_SHALLOW = 0.10
"""The same for a score of a shallow search: of 160 such moves 21 had another verdict in a deeper search."""

LEVEL = "level"
ABOUT_LEVEL = f"about {LEVEL}"

_SLIGHT, _CLEAR, _DECISIVE = STRENGTH_THRESHOLDS


def stands(score: float, unsure: float = UNSURE) -> str:
    """How the side with this expected score stands: from `winning` over `level` to `lost`.

    >>> [stands(score) for score in (0.99, 0.86, 0.75, 0.61, 0.55, 0.5)]
    ['winning', 'much better', 'better', 'slightly better', 'about level', 'level']
    >>> stands(0.45), stands(0.37), stands(0.35), stands(0.15), stands(0.1)
    ('about level', 'worse', 'worse', 'much worse', 'lost')
    """
    distance = round(abs(score - 0.5), 6)
    if distance < _SLIGHT + unsure:
        return LEVEL if distance < _SLIGHT - unsure else ABOUT_LEVEL
    better, decided = ("better", "winning") if score > 0.5 else ("worse", "lost")
    if distance < _CLEAR - unsure:
        return f"slightly {better}"
    if distance < _DECISIVE - unsure:
        return better
    return f"much {better}" if distance < _DECISIVE + unsure else decided
