"""Messages, which say what happened in a session, and effects, which say what has to be done."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

import chess

from decks.memory.strands import Learnt
from decks.review.attempt import Attempt, Given
from decks.tasks.card import Grade
from decks.tasks.messages import ChooseRow, Click, Enter, Message, MoveRow, StepInLine, Submit
from decks.tasks.task import Task
from patterns.engines.scores import PositionVerdicts

__all__ = [
    "ChooseRow",
    "Click",
    "Confirm",
    "Contest",
    "Decided",
    "Effect",
    "Enter",
    "Kept",
    "LookAgain",
    "LookedAgain",
    "Message",
    "MoveRow",
    "Next",
    "OtherLine",
    "Plan",
    "Planned",
    "Quit",
    "Rest",
    "SaveAnswer",
    "SaveContest",
    "SaveDecision",
    "SaveFailed",
    "SaveShown",
    "Saved",
    "StepInLine",
    "Stop",
    "Submit",
    "TakeHint",
    "Tick",
    "Turn",
    "Withdraw",
]


class TakeHint(Message):
    """Take a hint. Before the first hint of a card the student is told what it costs."""


class OtherLine(Message):
    """Show the next line."""


class Turn(Message):
    """Turn the board."""


class Contest(Message):
    """Contest the lowest grade of the card shown. Nothing is saved before `Confirm`."""


class Confirm(Message):
    """Yes, contest that grade."""


class Withdraw(Message):
    """Take back the last contest on the card shown."""


class Next(Message):
    """Go on from the card shown."""


class Stop(Message):
    """Stop the session. All answers stay saved."""


class Tick(Message):
    """Time passed."""


@dataclass(frozen=True)
class Saved(Message):
    """The last effect was carried out. `memory`: what the student remembers now; None after a contest."""

    memory: Learnt | None


@dataclass(frozen=True)
class SaveFailed(Message):
    """The last effect could not be carried out, and why."""

    reason: str


class Rest(NamedTuple):
    """What follows a card, as it looks then. `tasks`: those of today.

    `used_up`: the items that came today and have no unseen position left, each with the study day on which it
    can return all the same, in a position that the student has seen; None if there is none.
    """

    tasks: tuple[Task, ...]
    used_up: Mapping[str, date | None]


@dataclass(frozen=True)
class Planned(Message):
    """What follows the card shown."""

    rest: Rest


@dataclass(frozen=True)
class SaveShown:
    """Effect: save that the position of this task is displayed, or send `SaveFailed`."""

    task: Task


@dataclass(frozen=True)
class Plan:
    """Effect: plan what follows a card that was answered or shown worked, then send `Planned`."""

    attempt: Attempt


@dataclass(frozen=True)
class SaveAnswer:
    """Effect: save this answer, then send `Saved` or `SaveFailed`."""

    task: Task
    given: Given


@dataclass(frozen=True)
class SaveContest:
    """Effect: save that the student claims `grade` (None: no longer), then send `Saved` or `SaveFailed`."""

    task: Task
    given: Given
    grade: Grade | None


@dataclass(frozen=True)
class LookAgain:
    """Effect: search a contested move and the best move once more, then send `LookedAgain`.

    The search takes seconds, so it runs in the background. `moves`: both moves (UCI), the best one first.
    `depth`: plies.
    """

    task: Task
    ask: str
    board: chess.Board
    moves: tuple[str, str]
    depth: int


@dataclass(frozen=True)
class LookedAgain(Message):
    """What became of a second look at the contested answer to this ask.

    `verdicts`: on the two moves, from one search; None if there is no engine that can decide.
    """

    task: Task
    ask: str
    verdicts: PositionVerdicts | None


@dataclass(frozen=True)
class SaveDecision:
    """Effect: save the grade that a contested answer has from now on, then send `Decided` or `SaveFailed`.

    `task`, `given`: the task and the answer as the second look leaves them. `reason`: one sentence.
    """

    task: Task
    given: Given
    reason: str


@dataclass(frozen=True)
class Decided(Message):
    """A decision was saved. `memory`: what the student remembers now."""

    decision: SaveDecision
    memory: Learnt | None


@dataclass(frozen=True)
class Quit:
    """Effect: leave the session. `failure`: what could not be saved; empty if everything was."""

    failure: str = ""


Kept = SaveShown | SaveAnswer | SaveContest | SaveDecision
"""Effects that change the scorebook."""

Effect = Kept | LookAgain | Plan | Quit
