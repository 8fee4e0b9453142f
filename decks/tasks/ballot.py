"""The ballot for taking stock: its rows, its cells, and what a cell means."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from types import MappingProxyType

from patterns.words.verdicts import FACTORS, STRENGTHS
from patterns.words.wording import side_name

FACTOR_CELLS = (2, 1, 0, -1, -2)
"""The cells of a factor's row, White clear to Black clear, as signed strengths."""

VERDICT_CELLS = (3, 2, 1, 0, -1, -2, -3)
"""The cells of the verdict's row, which also has decisive."""

CELLS: Mapping[int, str] = MappingProxyType({3: "WW", 2: "W", 1: "w", 0: "=", -1: "b", -2: "B", -3: "BB"})
"""How a cell of the ballot is written, by signed strength."""

BALLOT_ROWS = (*FACTORS, "verdict")
"""The rows of a ballot, in the order a coach's page lists them."""

SHORT_BALLOT_FACTORS = 3
"""Factors on a short ballot: about as many as a player names as important at first sight. Our choice."""


def short_rows(deciding: Sequence[str], coach: Collection[str] = ()) -> tuple[str, ...]:
    """The rows of a short ballot: the factors that decide, in the order of the whole ballot, and the verdict.

    `deciding`: all factors, the one with the largest share of the verdict first. `coach`: the factors for
    which the coach set a key; they are chosen before any other.

    >>> short_rows(("space", "material", "centre", "initiative"), coach=["initiative"])
    ('material', 'space', 'initiative', 'verdict')
    """
    chosen = sorted(deciding, key=lambda factor: factor not in coach)[:SHORT_BALLOT_FACTORS]
    return tuple(row for row in BALLOT_ROWS if row in chosen or row == "verdict")


def cells_of(row: str) -> tuple[int, ...]:
    """The cells of a row."""
    return VERDICT_CELLS if row == "verdict" else FACTOR_CELLS


def fold(row: str, signed: int) -> int:
    """The cell of the row for a signed strength. A factor's row has no decisive: there it becomes clear."""
    widest = max(cells_of(row))
    return max(-widest, min(widest, signed))


def cell_words(signed: int) -> str:
    """A signed strength in words: `White clear`, `level`."""
    if signed == 0:
        return STRENGTHS[0]
    return f"{side_name(signed > 0)} {STRENGTHS[abs(signed)]}"
