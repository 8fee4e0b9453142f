"""Inquiries: work on one subject that goes on from one engine answer to the next, several of them at a time.

An inquiry is a generator. It yields a question, is sent the answer, and returns its result. So what is asked
depends only on the subject and the answers, never on what the engines do beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable, Iterator
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar, cast

import chess

from patterns.engines.effort import SETTLED, Effort
from patterns.engines.engine_pass import Awaited
from patterns.engines.judging import EngineError
from patterns.engines.questions import Answer, Asked, Comparison, Glance, Question
from patterns.engines.scores import Compared, Evaluation, PositionVerdicts

Subject = TypeVar("Subject")
Result = TypeVar("Result")

Inquiry = Generator[Asked, Answer, Result]

AHEAD = 8
"""Subjects of which each engine may be asked before their turn comes. Most of them need only a glance."""


class Engines(Protocol):
    """The part of `patterns.engines.engine_pass.EnginePass` that inquiries need."""

    @property
    def workers(self) -> int:
        """How many questions can be in work at the same time."""
        ...

    def ask(self, question: Asked) -> Awaited:
        """Ask a question. The answer may be there at once."""
        ...

    def wait(self) -> None:
        """Wait until at least one more question has its answer or error."""
        ...


class NamedEngines(Engines, Protocol):
    """Engines that also say which engine they are."""

    @property
    def name(self) -> str:
        """The engine's own name once it has answered, empty before."""
        ...


def verdicts_on(board: chess.Board, effort: Effort = SETTLED) -> Inquiry[PositionVerdicts]:
    """Ask for a verdict on every legal move."""
    answer = yield Question(board, effort)
    assert isinstance(answer, PositionVerdicts)
    return answer


def glance_at(board: chess.Board, nodes: int | None = None, plies: int | None = None) -> Inquiry[Evaluation]:
    """Ask for one score from a quick search of so many nodes or plies."""
    answer = yield Glance(board, nodes, plies)
    assert isinstance(answer, Evaluation)
    return answer


def comparison_of(
    board: chess.Board, move: str, nodes: int | None = None, plies: int | None = None
) -> Inquiry[Compared]:
    """Ask what a move (UCI) loses against the best, by searches of so many nodes or plies."""
    answer = yield Comparison(board, move, nodes, plies)
    assert isinstance(answer, Compared)
    return answer


@dataclass
class _Running(Generic[Subject, Result]):
    """An inquiry and the question that it waits for. `outcome`: its result or error once it has ended."""

    subject: Subject
    steps: Inquiry[Result]
    awaited: Awaited | None = None
    has_ended: bool = False
    outcome: Result | EngineError | None = None


class Inquiries(Generic[Subject, Result]):
    """Inquiries in work. Subjects are told apart by identity."""

    def __init__(self, engines: Engines, begin: Callable[[Subject], Inquiry[Result]]) -> None:
        self._engines, self._begin = engines, begin
        self._by_subject: dict[int, _Running[Subject, Result]] = {}

    def result(
        self, subject: Subject, probably_next: Iterable[Subject], told: Callable[[], None] = lambda: None
    ) -> Result | EngineError:
        """The result of the inquiry on a subject, or the error if an engine failed in it.

        While the engines would be idle, inquiries on the subjects that probably come next are begun, so
        `probably_next` is read no further than needed. `told`: called whenever answers have come.
        """
        mine = self._started(subject)
        others = iter(probably_next)
        while not mine.has_ended:
            self._fill(others)
            self._engines.wait()
            for running in list(self._by_subject.values()):
                self._step(running)
            told()
        del self._by_subject[id(subject)]
        return cast(Result | EngineError, mine.outcome)

    def _fill(self, others: Iterator[Subject]) -> None:
        """Begin more inquiries until every engine has work, and one more waits."""
        while self._has_room():
            subject = next(others, None)
            if subject is None:
                return
            self._started(subject)

    def _has_room(self) -> bool:
        engines = self._engines.workers
        in_work = sum(not one.has_ended for one in self._by_subject.values())
        return engines > 1 and in_work <= engines and len(self._by_subject) <= AHEAD * engines

    def _started(self, subject: Subject) -> _Running[Subject, Result]:
        if id(subject) not in self._by_subject:
            running = _Running(subject, self._begin(subject))
            self._by_subject[id(subject)] = running
            self._step(running)
        return self._by_subject[id(subject)]

    def _step(self, running: _Running[Subject, Result]) -> None:
        """Take an inquiry as far as the answers that are there allow."""
        while not running.has_ended and (running.awaited is None or running.awaited.is_ready):
            awaited = running.awaited
            try:
                if awaited is None:
                    question = next(running.steps)
                elif awaited.answer is not None:
                    question = running.steps.send(awaited.answer)
                else:
                    assert awaited.error is not None
                    question = running.steps.throw(awaited.error)
            except StopIteration as end:
                running.outcome, running.has_ended = end.value, True
            except EngineError as error:
                running.outcome, running.has_ended = error, True
            else:
                running.awaited = self._engines.ask(question)
