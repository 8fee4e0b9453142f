"""A marked row of cells: the student's cell, the key's cell, and how well they agree."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

from decks.tasks.layout import Piece

Agreement = Literal["right", "near", "off"]

SIGNS: dict[Agreement, str] = {"right": "+", "near": "~", "off": "-"}
"""Signs before a row."""

MARKED_LEGEND = "[] yours () key + right ~ near - off"
WORKED_LEGEND = "() key"


def agreement(credit: float) -> Agreement:
    """One word for how well a cell agrees with the key. `credit`: 0 to 1."""
    return "right" if credit == 1 else "near" if credit else "off"


def marked_cells(cells: Iterable[tuple[int, str]], answer: int | None, key: int) -> list[Piece]:
    """The cells (value and text) of a row: the answer in square brackets, the key in round ones."""
    pieces = []
    for value, text in cells:
        left, right = "[]" if value == answer else "()" if value == key else "  "
        pieces.append(Piece(f"{left}{text}{right}", "class:chosen" if value == answer else ""))
    return pieces
