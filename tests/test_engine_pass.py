"""The engine pass: what it asks and keeps, and that no engine outlives it, with threads and processes."""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor, wait
from dataclasses import replace
from pathlib import Path
from typing import Any, NoReturn

import chess
import pytest
import scripted_engine

from patterns.engines.effort import Effort, Round, Search
from patterns.engines.engine_pass import MOST_FAILURES, EnginePass, NotKept, cores, engine_pass
from patterns.engines.judging import EngineCommand, EngineError
from patterns.engines.own_engine import LeaseHolder, about_engine, answer
from patterns.engines.questions import Answer, Asked, Comparison, Glance, Question
from patterns.engines.scores import Evaluation

QUICK = Effort((Search((Round(2),)),), ends_quiet=False)

EXECUTORS: dict[str, Callable[[], Executor]] = {
    "threads": lambda: ThreadPoolExecutor(2),
    "processes": lambda: ProcessPoolExecutor(2),
}


@pytest.fixture(params=EXECUTORS)
def executor(request: pytest.FixtureRequest) -> Iterator[Executor]:
    with EXECUTORS[request.param]() as made:
        yield made


def boards(count: int) -> list[chess.Board]:
    """Positions after one move from the start."""
    found = []
    for move in list(chess.Board().legal_moves)[:count]:
        board = chess.Board()
        board.push(move)
        found.append(board)
    return found


def questions(count: int) -> list[Question]:
    return [Question(board, QUICK) for board in boards(count)]


def command(folder: Path, **script: object) -> EngineCommand:
    return EngineCommand((str(scripted_engine.write_engine(folder, **script)),), "a test")


def is_running(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"


def test_every_question_is_answered_once_by_engines_that_end_with_the_pass(
    tmp_path: Path, executor: Executor
) -> None:
    asked = questions(12)
    found = list(engine_pass(asked, command(tmp_path), executor))
    assert sorted(verdicts.epd for _, verdicts in found) == sorted(one.board.epd() for one in asked)
    assert all(verdicts.epd == question.board.epd() for question, verdicts in found)
    assert {id(question) for question, _ in found} == {id(question) for question in asked}
    engines = scripted_engine.processes(tmp_path)
    assert 1 <= len(engines) <= 2
    assert not any(map(is_running, engines))
    again = list(engine_pass(asked[:1], command(tmp_path), executor))
    assert len(again) == 1, "the executor can be used again"


def test_nothing_asked_starts_no_engine(tmp_path: Path) -> None:
    with ThreadPoolExecutor(1) as executor:
        assert list(engine_pass([], EngineCommand(("/no/such/engine",), "a test"), executor)) == []


def test_what_was_kept_is_not_searched_again(tmp_path: Path, executor: Executor) -> None:
    kept = NotKept()
    first = {q.board.epd(): v for q, v in engine_pass(questions(4), command(tmp_path), executor, kept)}
    count = len(scripted_engine.searches(tmp_path))
    with EnginePass(command(tmp_path), executor, kept) as engines:
        second = {q.board.epd(): v for q, v in engines.answers(questions(4))}
        assert (engines.answered, engines.searched) == (4, 0)
    assert second == first
    assert len(scripted_engine.searches(tmp_path)) == count


@pytest.mark.parametrize(
    "other",
    [
        lambda board: Question(board, Effort((Search((Round(3),)),), ends_quiet=False)),
        lambda board: Glance(board, 100),
        lambda board: Glance(board, plies=2),
        lambda board: Comparison(board, "e7e5", nodes=100),
        lambda board: Comparison(board, "e7e5", plies=2),
    ],
)
def test_another_effort_is_another_search(tmp_path: Path, other: Callable[[chess.Board], Asked]) -> None:
    kept = NotKept()
    (board,) = boards(1)
    with ThreadPoolExecutor(1) as executor:
        list(engine_pass([Question(board, QUICK)], command(tmp_path), executor, kept))
        with EnginePass(command(tmp_path), executor, kept) as engines:
            asked = engines.ask(other(board))
            engines.wait()
            assert asked.is_ready and engines.searched == 1


@pytest.mark.parametrize(("centipawns", "searched"), [(300, 0), (0, 1)])
def test_a_settled_answer_to_a_limited_question_answers_the_full_one(
    tmp_path: Path, centipawns: int, searched: int
) -> None:
    """What ended early, or might have, does not."""
    agreeing = Effort((Search((Round(2), Round(3))),) * 2, ends_quiet=False)
    limited = replace(agreeing, most_holding=4)
    (board,) = boards(1)
    engine, kept = command(tmp_path, scores={board.epd(): {"e7e5": centipawns}}), NotKept()
    with ThreadPoolExecutor(1) as executor:
        ((_, first),) = engine_pass([Question(board, limited)], engine, executor, kept)
        assert first.settled is (centipawns > 0)
        with EnginePass(engine, executor, kept) as engines:
            (same,) = engines.answers([Question(board, limited)])
            assert same[1] == first and engines.searched == 0
            list(engines.answers([Question(board, agreeing)]))
            assert engines.searched == searched
            list(engines.answers([Question(board, limited)]))
            assert engines.searched == searched


def test_a_glance_gives_one_score(tmp_path: Path) -> None:
    (board,) = boards(1)
    script = {"scores": {board.epd(): {"e7e5": 50}}, "lines": {board.epd(): {"e7e5": ["b1c3"]}}}
    with ThreadPoolExecutor(1) as executor, EnginePass(command(tmp_path, **script), executor) as engines:
        asked = engines.ask(Glance(board, 100))
        engines.wait()
    assert isinstance(asked.answer, Evaluation)
    assert (asked.answer.centipawns, asked.answer.line) == (50, ("e7e5", "b1c3"))


def test_a_question_asked_twice_at_once_is_searched_once(tmp_path: Path) -> None:
    (board,) = boards(1)
    with ThreadPoolExecutor(2) as executor, EnginePass(command(tmp_path), executor) as engines:
        found = list(engines.answers([Question(board, QUICK), Question(board.copy(), QUICK)]))
        assert len(found) == 2 and engines.searched == 1


class Recording(NotKept):
    """Notes what was kept, in order."""

    def __init__(self) -> None:
        super().__init__()
        self.kept: list[str] = []

    def put(self, epd: str, engine: str, effort: str, found: Answer) -> None:
        super().put(epd, engine, effort, found)
        self.kept.append(epd)


def test_every_answer_is_kept_before_it_is_given(tmp_path: Path, executor: Executor) -> None:
    kept = Recording()
    for _, verdicts in engine_pass(questions(5), command(tmp_path), executor, kept):
        assert verdicts.epd in kept.kept
    assert len(kept.kept) == 5


def test_what_counts_is_what_is_kept(tmp_path: Path) -> None:
    """A store that rounds would else give a second pass other scores than the first."""

    class Swapping(NotKept):
        def get(self, epd: str, engine: str, effort: str) -> Answer | None:
            found = super().get(epd, engine, effort)
            return None if found is None else Evaluation(0.25, None, ())

    (board,) = boards(1)
    with ThreadPoolExecutor(1) as executor, EnginePass(command(tmp_path), executor, Swapping()) as engines:
        asked = engines.ask(Glance(board, 100))
        engines.wait()
    assert asked.answer == Evaluation(0.25, None, ())


def test_an_engine_that_dies_in_one_position_costs_only_that_position(
    tmp_path: Path, executor: Executor
) -> None:
    asked = questions(6)
    dies_in = [asked[2].board.epd()]
    found: list[str] = []
    running = engine_pass(asked, command(tmp_path, dies_in=dies_in), executor)
    with pytest.raises(EngineError, match="stopped instead of answering in") as error:
        found.extend(verdicts.epd for _, verdicts in running)
    assert dies_in[0] in str(error.value) and "\n" not in str(error.value)
    assert sorted([*found, *dies_in]) == sorted(one.board.epd() for one in asked)
    assert not any(map(is_running, scripted_engine.processes(tmp_path)))


def test_an_engine_that_dies_everywhere_stops_the_pass(tmp_path: Path) -> None:
    asked = questions(20)
    program = command(tmp_path, dies_in=[one.board.epd() for one in asked])
    with ThreadPoolExecutor(1) as executor, pytest.raises(EngineError):
        list(engine_pass(asked, program, executor))
    assert len(scripted_engine.processes(tmp_path)) <= MOST_FAILURES + 1


def test_an_engine_that_cannot_start_is_told_at_once(executor: Executor) -> None:
    missing = EngineCommand(("/no/such/engine",), "a test")
    with pytest.raises(EngineError, match="No such file"):
        list(engine_pass(questions(3), missing, executor))


def test_an_impossible_position_is_no_failure_of_the_engine(tmp_path: Path) -> None:
    impossible = Question(chess.Board("8/8/8/8/8/8/8/8 w - - 0 1"), QUICK)
    with ThreadPoolExecutor(1) as executor, pytest.raises(ValueError, match="not a possible position"):
        list(engine_pass([impossible], command(tmp_path), executor))


def test_a_pass_that_is_left_ends_a_search_in_work_and_keeps_what_was_done(
    tmp_path: Path, executor: Executor
) -> None:
    asked = questions(6)
    slow = asked[3].board.epd()
    kept = Recording()
    running = engine_pass(asked, command(tmp_path, slow_in=[slow], seconds=60), executor, kept)
    with contextlib.closing(running):
        while slow not in scripted_engine.searches(tmp_path):
            next(running)
        begin = time.monotonic()
    assert time.monotonic() - begin < 20
    assert not any(map(is_running, scripted_engine.processes(tmp_path)))
    assert slow not in kept.kept and kept.kept


class DyingWorkers(ThreadPoolExecutor):
    """Its workers die as soon as `are_dead`: what they are asked then fails as in a pool of processes."""

    are_dead = False

    def submit(self, *asked: Any, **named: Any) -> Future[Any]:
        future = super().submit(*asked, **named)
        if self.are_dead:
            wait([future])
            future = Future()
            future.set_exception(BrokenExecutor("the workers are dead"))
        return future


@pytest.mark.parametrize("dead_first", [True, False])
def test_workers_that_a_signal_ends_hide_neither_the_end_nor_what_was_done(
    tmp_path: Path, dead_first: bool
) -> None:
    kept, (one, other) = Recording(), questions(2)

    def end_in_work() -> NoReturn:
        with DyingWorkers(1) as executor, EnginePass(command(tmp_path), executor, kept) as engines:
            engines.start()
            for question, dead in ((one, dead_first), (other, not dead_first)):
                executor.are_dead = dead
                engines.ask(question)
            executor.are_dead = False
            executor.submit(int).result()  # by now the other question has its answer
            raise SystemExit(143)

    with pytest.raises(SystemExit):
        end_in_work()
    assert kept.kept == [(other if dead_first else one).board.epd()]


def test_workers_that_die_in_work_end_the_pass(tmp_path: Path) -> None:
    with (
        DyingWorkers(1) as executor,
        EnginePass(command(tmp_path), executor) as engines,
    ):
        engines.start()
        executor.are_dead = True
        engines.ask(questions(1)[0])
        with pytest.raises(BrokenExecutor):
            engines.wait()


def test_a_question_that_reaches_a_worker_after_the_end_is_refused(tmp_path: Path) -> None:
    holder = LeaseHolder(command(tmp_path))
    with ThreadPoolExecutor(1) as executor:
        executor.submit(about_engine, holder.lease).result()
        holder.end()
        late = executor.submit(answer, holder.lease, questions(1)[0])
        with pytest.raises(EngineError, match="the pass has ended"):
            late.result(timeout=20)


def test_there_is_at_least_one_core() -> None:
    assert cores() >= 1
