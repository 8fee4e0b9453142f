"""What a student can do while answering. A message that only one ask knows is in that ask's module."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Message:
    """Something that happened. `at`: when, in seconds."""

    at: float


@dataclass(frozen=True)
class Enter(Message):
    """A typed line: a move, motifs and squares, or a move's number. An empty line hands the answer in."""

    text: str


@dataclass(frozen=True)
class Click(Message):
    """A click on a square of the board, by name."""

    square: str


class Submit(Message):
    """Hand the answer in."""


@dataclass(frozen=True)
class MoveRow(Message):
    """Up (-1) or down (+1) the rows of an answer."""

    by: int


@dataclass(frozen=True)
class ChooseRow(Message):
    """Show the reasons of one row of a marked answer, by its name; empty: show the whole result again."""

    row: str


@dataclass(frozen=True)
class StepInLine(Message):
    """Back (-1) or forward (+1) in the line of moves on the scoresheet."""

    by: int
