"""An attempt: one card in front of a student, its asks in order, and the answers given so far. Pure."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace

import chess

from decks.asks.ask import Answer, Mark, MarkedRow, Secret
from decks.asks.catalogue import ASKS, secrets_of
from decks.memory.model import Memory
from decks.review.grading import grade_of
from decks.tasks.card import Grade
from decks.tasks.hints import Hint
from decks.tasks.task import Task


@dataclass(frozen=True)
class Given:
    """One answer, graded. `ask`: what was asked, by id. `raw`: as given, JSON text.

    `hints`: taken on this card up to the answer. `memory`: what is remembered once it is saved, None before.
    """

    ask: str
    raw: str
    score: float
    grade: Grade
    seconds: float
    hints: int
    mark: Mark
    memory: Memory | None = None


@dataclass(frozen=True)
class Attempt:
    """One card being answered.

    `began`: when the current ask appeared (seconds). `answer`: the one in hand, or handed in last.
    `given`: answers so far; the ask after them is current. `contested`: asks whose grades the student
    disputes, the last one last; these grades stay until somebody has looked at them.
    """

    task: Task
    began: float
    answer: Answer
    given: tuple[Given, ...] = ()
    hints: tuple[Hint, ...] = ()
    contested: tuple[str, ...] = ()

    @property
    def ask(self) -> str | None:
        """The id of the ask in hand; None when all are answered."""
        return self.task.asks[len(self.given)] if len(self.given) < len(self.task.asks) else None

    @property
    def board(self) -> chess.Board:
        """The position in front of the student, with the moves that led to it; a copy."""
        return self.answer.board

    @property
    def secrets(self) -> frozenset[Secret]:
        """What may not be told of the card: an ask for it is still to come, now or another day."""
        return secrets_of(self.task.card, self.answered)

    @property
    def answered(self) -> frozenset[str]:
        """The ids of the asks answered in this sitting."""
        return frozenset(given.ask for given in self.given)

    @property
    def keeps_secret(self) -> bool:
        """Whether the card's motif may not be told."""
        return "motif" in self.secrets

    @property
    def marked_rows(self) -> tuple[MarkedRow, ...]:
        """The rows of the answers given that can be looked into, from the top."""
        return tuple(row for given in self.given for row in given.mark.rows_to_look_into())


def begin(task: Task, at: float) -> Attempt:
    """The card as it first appears."""
    return Attempt(task, at, _answer_to(task, 0))


def saved(attempt: Attempt, memory: Memory | None, at: float) -> Attempt:
    """The attempt once its last answer is safely kept: the next ask begins."""
    last = replace(attempt.given[-1], memory=memory)
    attempt = replace(attempt, began=at, given=(*attempt.given[:-1], last))
    if attempt.ask is None:
        return attempt
    return replace(attempt, answer=_answer_to(attempt.task, len(attempt.given)))


def _answer_to(task: Task, place: int) -> Answer:
    """The answer in hand as the ask at this place of the task begins."""
    announced = [ASKS[ask].announced for ask in task.asks[place + 1 :]]
    return ASKS[task.asks[place]].begin(task, next(filter(None, announced), ""), place == 0)


def answered(attempt: Attempt, at: float) -> Attempt:
    """The attempt with the answer in hand handed in and graded, not saved yet."""
    ask, seconds = attempt.ask, max(0.0, at - attempt.began)
    assert ask is not None
    mark, usual = attempt.answer.marked(), attempt.task.usual_seconds.get(ask)
    grade = grade_of(mark.score, len(attempt.hints), seconds, usual)
    raw = json.dumps(attempt.answer.raw())
    given = Given(ask, raw, mark.score, grade, seconds, len(attempt.hints), mark)
    return replace(attempt, given=(*attempt.given, given))
