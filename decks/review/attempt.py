"""An attempt: one card, its asks in order, and the student's answers so far. Pure."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from functools import cached_property

import chess

from decks.asks.ask import Answer, Mark, MarkedRow, Secret
from decks.asks.catalogue import ASKS, secrets_of
from decks.memory.strands import Learnt
from decks.review.grading import grade_of
from decks.tasks.card import Grade
from decks.tasks.hints import Hint
from decks.tasks.task import Task


@dataclass(frozen=True)
class SecondLook:
    """What came of an engine's second look at a contested move. `depth`: plies. `mended`: the grade rose."""

    engine: str
    depth: int
    mended: bool


@dataclass(frozen=True)
class Given:
    """One graded answer. `ask`: the id of the ask. `raw`: the answer as given, JSON text.

    `hints`: how many were taken on this card so far. `memory`: what the student remembers after this answer;
    None until it is saved. `second_look`: None unless the student contested the grade and an engine decided.
    """

    ask: str
    raw: str
    score: float
    grade: Grade
    seconds: float
    hints: int
    mark: Mark
    memory: Learnt | None = None
    second_look: SecondLook | None = None


@dataclass(frozen=True)
class Attempt:
    """One card being answered.

    `began`: when the current ask appeared (seconds). `answer`: the unfinished answer, or the last one that
    was handed in. `given`: the answers so far. `contested`: the asks whose grades the student contests, in
    the order in which this happened; the grades stay until somebody has looked at them. `looking`: those of
    them that an engine is looking at now.
    """

    task: Task
    began: float
    answer: Answer
    given: tuple[Given, ...] = ()
    hints: tuple[Hint, ...] = ()
    contested: tuple[str, ...] = ()
    looking: frozenset[str] = frozenset()

    @property
    def ask(self) -> str | None:
        """The id of the current ask; None when all are answered, and of a worked position."""
        if self.task.worked or len(self.given) == len(self.task.asks):
            return None
        return self.task.asks[len(self.given)]

    @property
    def board(self) -> chess.Board:
        """A copy of the position that the student sees, with the moves that led to it."""
        return self.answer.board

    @property
    def secrets(self) -> frozenset[Secret]:
        """What must stay hidden of the card, because it has not asked for it yet."""
        return frozenset() if self.task.worked else secrets_of(self.task.card, self.answered)

    @property
    def answered(self) -> frozenset[str]:
        """The ids of the asks answered in this sitting, or by the worked position."""
        return frozenset(self.task.asks if self.task.worked else (given.ask for given in self.given))

    @property
    def keeps_secret(self) -> bool:
        """Whether the card's motif must stay hidden."""
        return "motif" in self.secrets

    @cached_property
    def marks(self) -> tuple[Mark, ...]:
        """The marks of the answers so far; of a worked position, the mark of the right answer."""
        worked = self.answer.worked() if self.task.worked else None
        return tuple(given.mark for given in self.given) if worked is None else (worked,)

    @property
    def marked_rows(self) -> tuple[MarkedRow, ...]:
        """The marked rows of the answers so far, from the top."""
        return tuple(row for mark in self.marks for row in mark.rows_to_look_into())


def begin(task: Task, at: float) -> Attempt:
    """The card as it first appears."""
    return Attempt(task, at, _answer_to(task, 0))


def saved(attempt: Attempt, memory: Learnt | None, at: float) -> Attempt:
    """The attempt after its last answer has been saved: the next ask begins."""
    last = replace(attempt.given[-1], memory=memory)
    attempt = replace(attempt, began=at, given=(*attempt.given[:-1], last))
    if attempt.ask is None:
        return attempt
    return replace(attempt, answer=_answer_to(attempt.task, len(attempt.given)))


def given_to(attempt: Attempt, ask: str) -> Given:
    """The answer to this ask. StopIteration if there is none yet."""
    return next(given for given in attempt.given if given.ask == ask)


def contested(attempt: Attempt, ask: str) -> Attempt:
    """The attempt once the student contests the grade of this ask."""
    return replace(attempt, contested=(*attempt.contested, ask))


def looked_at(attempt: Attempt, ask: str) -> Attempt:
    """The attempt while an engine looks again at the answer to this ask."""
    return replace(attempt, looking=attempt.looking | {ask})


def left_to_coach(attempt: Attempt, ask: str) -> Attempt:
    """The attempt once no engine looks at the answer to this ask any more."""
    return replace(attempt, looking=attempt.looking - {ask})


def uncontested(attempt: Attempt, ask: str) -> Attempt:
    """The attempt once the grade of this ask is decided, or the student has taken the contest back."""
    others = tuple(each for each in attempt.contested if each != ask)
    return replace(left_to_coach(attempt, ask), contested=others)


def decided(attempt: Attempt, task: Task, given: Given) -> Attempt:
    """The attempt once a contested answer has been decided: it is `given` from now on."""
    answers = tuple(given if each.ask == given.ask else each for each in attempt.given)
    return replace(uncontested(attempt, given.ask), task=task, given=answers)


def _answer_to(task: Task, place: int) -> Answer:
    """The first, empty answer to the ask at this place of the task."""
    announced = [ASKS[ask].announced for ask in task.asks[place + 1 :]]
    return ASKS[task.asks[place]].begin(task, next(filter(None, announced), ""), place == 0)


def answered(attempt: Attempt, at: float) -> Attempt:
    """The attempt after its answer has been handed in and graded; it is not saved yet."""
    ask, seconds = attempt.ask, max(0.0, at - attempt.began)
    assert ask is not None
    mark, fluent_within = attempt.answer.marked(), attempt.task.fluent_within.get(ask)
    grade = grade_of(mark.score, len(attempt.hints), seconds, fluent_within)
    raw = json.dumps(attempt.answer.raw())
    given = Given(ask, raw, mark.score, grade, seconds, len(attempt.hints), mark)
    return replace(attempt, given=(*attempt.given, given))
