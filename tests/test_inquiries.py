"""Inquiries: results in order, whatever the order of the answers, and little work ahead of need."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import chess
import pytest
from asked_at_once import AtOnce, ComparesNothing, InAnyOrder

from decks.build.inquiries import AHEAD, Engines, Inquiries, Inquiry, glance_at, uses_in
from patterns.engines.effort import Effort
from patterns.engines.judging import EngineError
from patterns.engines.scores import Evaluation, PositionVerdicts
from patterns.lines import Line, Use, uses_of_many


class Counting(ComparesNothing):
    """Finds every position worth one centipawn."""

    def judge(self, board: chess.Board, effort: Effort | None = None) -> PositionVerdicts:
        raise AssertionError("nobody asks")

    def evaluate(
        self, board: chess.Board, *, depth: int | None = None, nodes: int | None = None
    ) -> Evaluation:
        return Evaluation(0.5, 1, ())


class Subject:
    """Asks `questions` times about positions of its own, told apart by the number."""

    def __init__(self, number: int, questions: int) -> None:
        self.number, self.questions = number, questions

    def board(self, step: int) -> chess.Board:
        """The king stands for the subject, the pawn for the step."""
        board = chess.Board(None)
        board.set_piece_at(chess.E1, chess.Piece(chess.KING, chess.WHITE))
        board.set_piece_at(24 + self.number, chess.Piece(chess.KING, chess.BLACK))
        board.set_piece_at(chess.A2 + step, chess.Piece(chess.PAWN, chess.WHITE))
        return board


def inquiry(subject: Subject) -> Inquiry[tuple[int, int]]:
    asked = 0
    for step in range(subject.questions):
        found = yield from glance_at(subject.board(step), 10)
        asked += found.centipawns or 0
    return subject.number, asked


def results(engines: Engines, subjects: list[Subject]) -> Iterator[tuple[int, int] | EngineError]:
    inquiries = Inquiries(engines, inquiry)
    for place, subject in enumerate(subjects):
        yield inquiries.result(subject, subjects[place + 1 :])


LINES = [(chess.Board("r3k3/8/8/3N4/8/8/8/4K3 w q - 0 1"), ["d5c7"]), (chess.Board(), ["e2e4"])]
"""A fork, and a move that uses nothing."""


def with_lines(subject: Subject) -> Inquiry[tuple[int, list[str]]]:
    """A glance, two lines, another glance and another line."""
    yield from glance_at(subject.board(0), 10)
    first = yield from uses_in(LINES)
    yield from glance_at(subject.board(1), 10)
    second = yield from uses_in(LINES[subject.number % 2 :][:1])
    return subject.number, [use.motif for uses in (*first, *second) for use in uses[:1]]


SUBJECTS = [Subject(number, (3 * number) % 5) for number in range(30)]
EXPECTED = [(one.number, one.questions) for one in SUBJECTS]


def test_an_inquiry_goes_on_from_answer_to_answer() -> None:
    assert list(results(AtOnce(Counting()), SUBJECTS)) == EXPECTED


@pytest.mark.parametrize("workers", [1, 2, 5])
@pytest.mark.parametrize("seed", range(4))
def test_results_come_in_order_whatever_the_order_of_the_answers(workers: int, seed: int) -> None:
    engines = InAnyOrder(Counting(), workers, seed)
    assert list(results(engines, SUBJECTS)) == EXPECTED
    assert len(engines.asked) == len(set(engines.asked)), "nothing is asked twice"
    assert engines.most_in_work <= (1 if workers == 1 else workers + 1)
    assert (engines.most_in_work > 1) == (workers > 1)


def test_few_subjects_are_asked_about_before_their_turn() -> None:
    """The first needs very long, so all others could be done before it."""
    engines = InAnyOrder(Counting(), 2, 0)
    subjects = [Subject(0, 8), *(Subject(number, 0) for number in range(1, 3 * AHEAD))]
    begun: list[int] = []

    def noted(subject: Subject) -> Inquiry[tuple[int, int]]:
        begun.append(subject.number)
        return (yield from inquiry(subject))

    Inquiries(engines, noted).result(subjects[0], subjects[1:])
    assert AHEAD < len(begun) <= AHEAD * 2 + 1
    alone: list[int] = []

    def noted_alone(subject: Subject) -> Inquiry[tuple[int, int]]:
        alone.append(subject.number)
        return (yield from inquiry(subject))

    Inquiries(InAnyOrder(Counting(), 1, 0), noted_alone).result(subjects[0], subjects[1:])
    assert alone == [0], "one engine does nothing ahead of need"


def test_an_engine_that_dies_ends_only_the_inquiry_that_asked() -> None:
    engines = InAnyOrder(Counting(), 3, 1, [SUBJECTS[3].board(0).epd()])
    found = list(results(engines, SUBJECTS))
    assert isinstance(found[3], EngineError)
    assert found[:3] + found[4:] == EXPECTED[:3] + EXPECTED[4:]


@pytest.mark.parametrize("workers", [1, 2, 5])
def test_lines_of_several_inquiries_are_examined_together(workers: int) -> None:
    calls: list[int] = []

    def counted(lines: Sequence[Line]) -> list[list[Use]]:
        calls.append(len(lines))
        return uses_of_many(lines)

    inquiries = Inquiries(InAnyOrder(Counting(), workers, 0), with_lines, uses_of=counted)
    found = [inquiries.result(one, SUBJECTS[place + 1 :]) for place, one in enumerate(SUBJECTS)]
    assert found == [(one.number, ["fork"] * (2 - one.number % 2)) for one in SUBJECTS]
    assert sum(calls) == 3 * len(SUBJECTS)
    assert (len(calls) < len(SUBJECTS)) if workers > 1 else (len(calls) == 2 * len(SUBJECTS))


def test_where_all_will_be_needed_one_engine_begins_others_too() -> None:
    begun: list[int] = []

    def noted(subject: Subject) -> Inquiry[tuple[int, list[str]]]:
        begun.append(subject.number)
        return (yield from with_lines(subject))

    Inquiries(InAnyOrder(Counting(), 1, 0), noted, ahead=9).result(SUBJECTS[0], iter(SUBJECTS[1:]))
    assert begun == list(range(10))
