"""What can happen in a session, and what it wants done: messages in, effects out."""

from __future__ import annotations

from dataclasses import dataclass

from decks.cards.card import Grade
from decks.memory.model import Memory
from decks.review.attempt import Given
from decks.review.task import Task


@dataclass(frozen=True)
class Message:
    """Something that happened, `at` so many seconds."""

    at: float


@dataclass(frozen=True)
class Enter(Message):
    """A line typed: a move, motifs and squares, a move of the line; empty means done with this step."""

    text: str


@dataclass(frozen=True)
class Click(Message):
    """A square of the board, by name."""

    square: str


@dataclass(frozen=True)
class SetCell(Message):
    """A cell of the ballot, as signed strength; `advance` goes on to the next blank row."""

    row: str
    cell: int
    advance: bool = True


@dataclass(frozen=True)
class MoveRow(Message):
    """Up (-1) or down (+1) the ballot."""

    by: int


@dataclass(frozen=True)
class ChooseRow(Message):
    """Look into one row of a marked ballot, by its name; empty means back to the whole result."""

    row: str


@dataclass(frozen=True)
class Name(Message):
    """Name a motif in a `spot` answer, or take it back."""

    motif: str


@dataclass(frozen=True)
class Promote(Message):
    """The man a pawn becomes: one of q r b n."""

    letter: str


@dataclass(frozen=True)
class TakeHint(Message):
    """One more hint."""


@dataclass(frozen=True)
class Submit(Message):
    """Done with this step: hand in a ballot, a `spot` or a `root` answer."""


@dataclass(frozen=True)
class Step(Message):
    """Back (-1) or forward (+1) in the line shown."""

    by: int


@dataclass(frozen=True)
class OtherLine(Message):
    """Show the next of the lines there are."""


@dataclass(frozen=True)
class Flip(Message):
    """Turn the board."""


@dataclass(frozen=True)
class Contest(Message):
    """Dispute the lowest grade of the card shown."""


@dataclass(frozen=True)
class Next(Message):
    """Leave the card shown."""


@dataclass(frozen=True)
class Stop(Message):
    """Stop here: what was answered is kept."""


@dataclass(frozen=True)
class Tick(Message):
    """Time passed."""


@dataclass(frozen=True)
class Saved(Message):
    """The effect before was carried out; `memory` is what is remembered now."""

    memory: Memory


@dataclass(frozen=True)
class SaveFailed(Message):
    """The effect before could not be carried out, and why."""

    reason: str


@dataclass(frozen=True)
class SaveAnswer:
    """Effect: keep this answer, then send `Saved` or `SaveFailed`."""

    task: Task
    given: Given


@dataclass(frozen=True)
class SaveContest:
    """Effect: keep the student's correction, then send `Saved` or `SaveFailed`."""

    task: Task
    given: Given
    grade: Grade


@dataclass(frozen=True)
class Quit:
    """Effect: leave the session; `failure` says what could not be saved, empty if all is well."""

    failure: str = ""


Effect = SaveAnswer | SaveContest | Quit
