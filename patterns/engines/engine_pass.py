"""One pass of engines over positions: in parallel, each position searched once, every search kept at once.

A pass works with any `concurrent.futures.Executor`, with threads or processes. Each worker has its own engine
(`own_engine`). What was kept in an earlier pass is not searched again, so a pass that was interrupted goes on
where it was: only the positions in work are lost.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Generator, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from dataclasses import dataclass
from types import TracebackType
from typing import Protocol

from patterns.engines.judging import EngineCommand, EngineError
from patterns.engines.own_engine import END_SECONDS, AboutEngine, LeaseHolder, about_engine, answer
from patterns.engines.questions import Answer, Asked, Question
from patterns.engines.scores import PositionVerdicts

MOST_WAITING = 1000
"""Questions that wait for an answer at once. More of them only cost memory."""

MOST_FAILURES = 3
"""Positions on which an engine may fail before the pass stops: it probably fails on all of them."""

Key = tuple[str, str, str]
"""What a search is kept under: four-field EPD, engine, effort."""


class Kept(Protocol):
    """Where searches are kept. Both methods are called only in the thread that the pass runs in."""

    def get(self, epd: str, engine: str, effort: str) -> Answer | None:
        """What was kept for a position (four-field EPD), an engine and an effort, by their names."""
        ...

    def put(self, epd: str, engine: str, effort: str, found: Answer) -> None:
        """Keep what was found. When this returns, a crash can no longer lose it."""
        ...


class NotKept:
    """Keeps searches only as long as it exists."""

    def __init__(self) -> None:
        self._found: dict[Key, Answer] = {}

    def get(self, epd: str, engine: str, effort: str) -> Answer | None:
        """As `Kept.get`."""
        return self._found.get((epd, engine, effort))

    def put(self, epd: str, engine: str, effort: str, found: Answer) -> None:
        """As `Kept.put`."""
        self._found[epd, engine, effort] = found


@dataclass
class Awaited:
    """A question that was asked. `answer` or `error` is None as long as there is none."""

    question: Asked
    answer: Answer | None = None
    error: Exception | None = None

    @property
    def is_ready(self) -> bool:
        """Whether there is an answer or an error."""
        return self.answer is not None or self.error is not None


class EnginePass:
    """Engines at work on questions. Use it in a `with` block: every engine has ended after it.

    The first question starts an engine, because what is kept is kept under the engine's own name.
    `workers`: how many workers the executor has. `about`: the engine; None before the first question.
    `answered`: the answers given so far. `searched`: those of them that needed a search, and were not kept.
    """

    def __init__(
        self, command: EngineCommand, executor: Executor, kept: Kept | None = None, workers: int | None = None
    ) -> None:
        self.workers = workers or cores()
        self.about: AboutEngine | None = None
        self.answered = self.searched = 0
        self._executor = executor
        self._kept = NotKept() if kept is None else kept
        self._holder = LeaseHolder(command)
        self._in_work: dict[Key, tuple[Future[Answer], list[Awaited]]] = {}

    def __enter__(self) -> EnginePass:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            # A signal may end the workers too; then nobody waits for what they had in work.
            with contextlib.suppress(BrokenExecutor):
                self._take_what_is_done()
        finally:
            self._holder.end()
            # What is left fails at once, because the lease has ended. Nothing is cancelled: a process pool
            # whose workers die fails on a cancelled future, in a thread of its own that prints a traceback.
            wait([future for future, _ in self._in_work.values()], END_SECONDS)

    def start(self) -> AboutEngine:
        """Start the first engine if none was started yet. EngineError if it can't be started."""
        if self.about is None:
            self.about = self._executor.submit(about_engine, self._holder.lease).result()
        return self.about

    def ask(self, question: Asked) -> Awaited:
        """Ask a question. If it was kept, the answer is there at once, else `wait` gets it.

        EngineError if no engine can be started.
        """
        epd, engine = question.board.epd(), self.start().name
        kept = (self._kept.get(epd, engine, name) for name in question.kept_names)
        key = (epd, engine, question.effort_name)
        awaited = Awaited(question, next((found for found in kept if found is not None), None))
        if awaited.answer is not None:
            self.answered += 1
        else:
            if key not in self._in_work:
                self._in_work[key] = (self._executor.submit(answer, self._holder.lease, question), [])
            self._in_work[key][1].append(awaited)
        return awaited

    def wait(self) -> None:
        """Wait until at least one more question has its answer or error. At once if none is in work."""
        if self._in_work:
            wait([future for future, _ in self._in_work.values()], return_when=FIRST_COMPLETED)
            self._take_what_is_done()

    def answers(self, questions: Iterable[Question]) -> Iterator[tuple[Question, PositionVerdicts]]:
        """The verdicts for each question, in the order in which they are ready.

        If an engine fails on a position, the others are still judged, and at the end the first EngineError
        is raised. It is raised at once after MOST_FAILURES.
        """
        waiting: list[Awaited] = []
        failures: list[EngineError] = []
        for question in questions:
            waiting.append(self.ask(question))
            if waiting[-1].is_ready or len(waiting) >= MOST_WAITING:
                yield from self._ready(waiting, failures)
        while waiting:
            self.wait()
            yield from self._ready(waiting, failures)
        if failures:
            raise failures[0]

    def _ready(
        self, waiting: list[Awaited], failures: list[EngineError]
    ) -> Iterator[tuple[Question, PositionVerdicts]]:
        """Take what is ready out of `waiting`."""
        if len(waiting) >= MOST_WAITING:
            self.wait()
        ready = [one for one in waiting if one.is_ready]
        waiting[:] = [one for one in waiting if not one.is_ready]
        for one in ready:
            if isinstance(one.error, EngineError):
                failures.append(one.error)
                if len(failures) >= MOST_FAILURES:
                    raise failures[0]
            elif one.error is not None:
                raise one.error
            else:
                assert isinstance(one.question, Question) and isinstance(one.answer, PositionVerdicts)
                yield one.question, one.answer

    def _take_what_is_done(self) -> None:
        """Keep every answer that is there, and give it. Raises what is no error of an engine, after that."""
        others: list[BaseException] = []
        for key, (future, asked) in list(self._in_work.items()):
            if not future.done():
                continue
            del self._in_work[key]
            error = future.exception()
            if error is None:
                self.searched += 1
                self.answered += len(asked)
                epd, engine, _ = key
                found = future.result()
                name = asked[0].question.kept_name(found)
                self._kept.put(epd, engine, name, found)
                # What counts is what is kept, so that a second pass cannot give anything else.
                found = self._kept.get(epd, engine, name) or found
                for one in asked:
                    one.answer = found
            elif isinstance(error, EngineError | ValueError):
                for one in asked:
                    one.error = error
            else:
                others.append(error)
        if others:
            raise others[0]


def engine_pass(
    questions: Iterable[Question], command: EngineCommand, executor: Executor, kept: Kept | None = None
) -> Generator[tuple[Question, PositionVerdicts]]:
    """The verdicts for each question, in the order in which they are ready; see `EnginePass.answers`.

    Every engine has ended when there are no more verdicts, or when the generator is closed.
    """
    with EnginePass(command, executor, kept) as engines:
        yield from engines.answers(questions)


def cores() -> int:
    """The number of processors that this process may use: as many workers as are of use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
