"""What a student can do with an answer in hand. A message of one ask alone stands in that ask's module."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Message:
    """Something that happened, `at` so many seconds."""

    at: float


@dataclass(frozen=True)
class Enter(Message):
    """A line typed: a move, motifs and squares, a move's number; empty means done with this ask."""

    text: str


@dataclass(frozen=True)
class Click(Message):
    """A square of the board, by name."""

    square: str


@dataclass(frozen=True)
class Submit(Message):
    """Done with this ask: hand the answer in."""


@dataclass(frozen=True)
class MoveRow(Message):
    """Up (-1) or down (+1) the rows of an answer, in hand or marked."""

    by: int


@dataclass(frozen=True)
class ChooseRow(Message):
    """Look into one row of a marked answer, by its name; empty means back to the whole result."""

    row: str


@dataclass(frozen=True)
class StepInLine(Message):
    """Back (-1) or forward (+1) in the line of moves on the scoresheet."""

    by: int
