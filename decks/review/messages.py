"""What can happen in a session, and what it wants done: messages in, effects out."""

from __future__ import annotations

from dataclasses import dataclass

from decks.memory.model import Memory
from decks.review.attempt import Given
from decks.tasks.card import Grade
from decks.tasks.messages import ChooseRow, Click, Enter, Message, MoveRow, StepInLine, Submit
from decks.tasks.task import Task

__all__ = [
    "ChooseRow",
    "Click",
    "Confirm",
    "Contest",
    "Effect",
    "Enter",
    "Message",
    "MoveRow",
    "Next",
    "OtherLine",
    "Quit",
    "SaveAnswer",
    "SaveContest",
    "SaveFailed",
    "Saved",
    "StepInLine",
    "Stop",
    "Submit",
    "TakeHint",
    "Tick",
    "Turn",
    "Withdraw",
]


@dataclass(frozen=True)
class TakeHint(Message):
    """One more hint; before the first of a card the student is told what it costs."""


@dataclass(frozen=True)
class OtherLine(Message):
    """Show the next of the lines there are."""


@dataclass(frozen=True)
class Turn(Message):
    """Turn the board."""


@dataclass(frozen=True)
class Contest(Message):
    """Ask to dispute the lowest grade of the card shown; nothing happens before `Confirm`."""


@dataclass(frozen=True)
class Confirm(Message):
    """Yes, dispute that grade."""


@dataclass(frozen=True)
class Withdraw(Message):
    """Take back the last dispute about the card shown."""


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
    """The effect before was carried out; `memory` is what is remembered now, None after a dispute."""

    memory: Memory | None


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
    """Effect: keep that the student claims `grade` (None: no longer), then send `Saved` or `SaveFailed`."""

    task: Task
    given: Given
    grade: Grade | None


@dataclass(frozen=True)
class Quit:
    """Effect: leave the session; `failure` says what could not be saved, empty if all is well."""

    failure: str = ""


Effect = SaveAnswer | SaveContest | Quit
