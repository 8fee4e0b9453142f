"""Engines for tests: a judge of the test's answers each question at once, or when it is waited for."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from random import Random
from typing import Protocol, TypeVar

import chess

from decks.build.inquiries import Inquiry, LinesAsked
from decks.build.relevance import uses_of_lines
from patterns.engines.effort import Effort
from patterns.engines.engine_pass import Awaited
from patterns.engines.judging import EngineError
from patterns.engines.questions import Answering, Asked, Question, answered
from patterns.engines.scores import Compared, PositionVerdicts

Result = TypeVar("Result")
Answers = Callable[[Iterable[Question]], Iterator[tuple[Question, PositionVerdicts]]]


class Judging(Protocol):
    """A judge of verdicts only."""

    def judge(self, board: chess.Board, effort: Effort | None = None) -> PositionVerdicts: ...


class ComparesNothing:
    """The part of a judge that tests about cards do not set. Nobody asks it to compare."""

    def followed(self, verdicts: PositionVerdicts, effort: Effort) -> PositionVerdicts:
        return verdicts

    def against_best(
        self, board: chess.Board, move: str, *, depth: int | None = None, nodes: int | None = None
    ) -> Compared:
        raise AssertionError("nobody asks")


class AtOnce:
    """Engines of which the answer is always there at once."""

    workers = 1
    name = "Stockfish 15.1"

    def __init__(self, judge: Answering) -> None:
        self._judge = judge

    def ask(self, question: Asked) -> Awaited:
        return Awaited(question, answered(question, self._judge))

    def wait(self) -> None:
        raise AssertionError("nothing is in work")


def judged_by(judge: Judging) -> Answers:
    """A function that answers questions as `EnginePass.answers` does, one after the other."""

    def answers(questions: Iterable[Question]) -> Iterator[tuple[Question, PositionVerdicts]]:
        for question in questions:
            yield question, judge.judge(question.board, question.effort)

    return answers


class InAnyOrder:
    """Engines that answer one of the questions in work whenever they are waited for, in a random order.

    `most_in_work`: the most questions that were in work at once. An engine dies in the positions `dies_in`.
    """

    name = "Stockfish 15.1"

    def __init__(self, judge: Answering, workers: int, seed: int, dies_in: Sequence[str] = ()) -> None:
        self.workers = workers
        self.asked: list[str] = []
        self.most_in_work = 0
        self._judge, self._random, self._dies_in = judge, Random(seed), dies_in
        self._in_work: list[Awaited] = []

    def ask(self, question: Asked) -> Awaited:
        awaited = Awaited(question)
        self.asked.append(question.board.epd())
        self._in_work.append(awaited)
        self.most_in_work = max(self.most_in_work, len(self._in_work))
        return awaited

    def wait(self) -> None:
        awaited = self._in_work.pop(self._random.randrange(len(self._in_work)))
        if awaited.question.board.epd() in self._dies_in:
            awaited.error = EngineError(f"died in {awaited.question.board.fen()}")
        else:
            awaited.answer = answered(awaited.question, self._judge)


def result_of(inquiry: Inquiry[Result], judge: Answering) -> Result:
    """What an inquiry comes to if this judge answers its questions."""
    try:
        question = next(inquiry)
        while True:
            if isinstance(question, LinesAsked):
                question = inquiry.send(uses_of_lines(question.lines))
            else:
                question = inquiry.send(answered(question, judge))
    except StopIteration as end:
        result: Result = end.value
        return result
