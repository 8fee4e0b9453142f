"""Inquiries: work on one subject that goes on from one answer to the next, several of them at a time.

An inquiry is a generator. It yields a question, is sent the answer, and returns its result. So what is asked
depends only on the subject and the answers, never on what the engines do beside it. Engines answer questions
about positions. What lines use is asked in the same way, because many lines are examined together in little
more time than one alone.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable, Iterator
from dataclasses import dataclass
from functools import partial
from itertools import islice
from typing import Generic, Protocol, TypeVar, cast

import chess

from decks.build.relevance import UciLine, UsesOf, uses_of_lines
from patterns.engines.effort import SETTLED, Effort
from patterns.engines.engine_pass import Awaited
from patterns.engines.judging import EngineError
from patterns.engines.questions import Answer, Asked, Comparison, Glance, Question
from patterns.engines.scores import Compared, Evaluation, PositionVerdicts
from patterns.lines import Use, uses_of_many

Subject = TypeVar("Subject")
Result = TypeVar("Result")


@dataclass(frozen=True)
class LinesAsked:
    """Asks what each of these lines uses."""

    lines: tuple[UciLine, ...]


Inquiry = Generator[Asked | LinesAsked, Answer | list[list[Use]], Result]

AHEAD = 256
"""Subjects of which each engine may be asked before their turn comes.

Nearly all of them need only a glance. With fewer, all have ended while one is judged, and the other engines
have nothing to do.
"""


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


def followed(judged: PositionVerdicts, effort: Effort) -> Inquiry[PositionVerdicts]:
    """Ask what comes of each move. `judged`: what the effort without its aftermath has found."""
    board = chess.Board.from_epd(judged.epd)[0]
    answer = yield Question(board, effort, judged)
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


def uses_in(lines: Iterable[UciLine]) -> Inquiry[list[list[Use]]]:
    """Ask what each of these lines uses."""
    answer = yield LinesAsked(tuple(lines))
    assert isinstance(answer, list)
    return answer


@dataclass
class _Running(Generic[Subject, Result]):
    """An inquiry and what it waits for: an engine's answer, or what lines use.

    `outcome`: its result or error once it has ended.
    """

    subject: Subject
    steps: Inquiry[Result]
    awaited: Awaited | None = None
    lines: tuple[UciLine, ...] | None = None
    has_ended: bool = False
    outcome: Result | EngineError | None = None


class Inquiries(Generic[Subject, Result]):
    """Inquiries in work. Subjects are told apart by identity.

    `ahead`: how many subjects may be begun before their turn comes. Default: AHEAD for each engine, and none
    for an engine that is alone: it would only keep the next result waiting. `uses_of`: says what lines use.
    """

    def __init__(
        self,
        engines: Engines,
        begin: Callable[[Subject], Inquiry[Result]],
        *,
        ahead: int | None = None,
        uses_of: UsesOf = uses_of_many,
    ) -> None:
        self._engines, self._begin = engines, begin
        self._ahead, self._uses_of = ahead, uses_of
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
            if self._may_examine(mine):
                self._examine()
            else:
                self._engines.wait()
                for running in list(self._by_subject.values()):
                    self._step(running)
                told()
        del self._by_subject[id(subject)]
        return cast(Result | EngineError, mine.outcome)

    def _fill(self, others: Iterator[Subject]) -> None:
        """Begin more inquiries until every engine has work, and one more waits."""
        while self._asked() <= self._engines.workers and len(self._by_subject) <= self._most():
            subject = next(others, None)
            if subject is None:
                return
            self._started(subject)

    def _most(self) -> int:
        engines = self._engines.workers
        return self._ahead if self._ahead is not None else AHEAD * engines if engines > 1 else 0

    def _asked(self) -> int:
        """How many inquiries wait for an engine."""
        return sum(one.awaited is not None and not one.has_ended for one in self._by_subject.values())

    def _may_examine(self, mine: _Running[Subject, Result]) -> bool:
        """Whether it is time to examine lines: the next result or an idle engine waits for it.

        While the engines have more than enough to do, more lines come together.
        """
        asked, engines = self._asked(), self._engines.workers
        return asked <= engines and (mine.lines is not None or (asked < engines and self._lines_wait()))

    def _lines_wait(self) -> bool:
        return any(one.lines is not None for one in self._by_subject.values())

    def _examine(self) -> None:
        """Answer all inquiries that ask what lines use."""
        waiting = [(one, one.lines) for one in self._by_subject.values() if one.lines is not None]
        uses = iter(uses_of_lines((line for _, lines in waiting for line in lines), self._uses_of))
        for running, lines in waiting:
            self._advance(running, partial(running.steps.send, list(islice(uses, len(lines)))))
            self._step(running)

    def _started(self, subject: Subject) -> _Running[Subject, Result]:
        if id(subject) not in self._by_subject:
            running = _Running(subject, self._begin(subject))
            self._by_subject[id(subject)] = running
            self._step(running)
        return self._by_subject[id(subject)]

    def _step(self, running: _Running[Subject, Result]) -> None:
        """Take an inquiry as far as the engine answers that are there allow."""
        while not running.has_ended and running.lines is None:
            awaited = running.awaited
            if awaited is None:
                self._advance(running, partial(next, running.steps))
            elif not awaited.is_ready:
                return
            elif awaited.answer is not None:
                self._advance(running, partial(running.steps.send, awaited.answer))
            else:
                assert awaited.error is not None
                self._advance(running, partial(running.steps.throw, awaited.error))

    def _advance(
        self, running: _Running[Subject, Result], to_next_question: Callable[[], Asked | LinesAsked]
    ) -> None:
        running.awaited = running.lines = None
        try:
            question = to_next_question()
        except StopIteration as end:
            running.outcome, running.has_ended = end.value, True
        except EngineError as error:
            running.outcome, running.has_ended = error, True
        else:
            if isinstance(question, LinesAsked):
                running.lines = question.lines
            else:
                running.awaited = self._engines.ask(question)
