"""Seconds a position for an engine pass: on one core, on two, and from what was kept.

Run from the checkout: `PYTHONPATH=. python tests/benchmarks/engine_pass.py`. The positions are those of the
demo deck where the student moves. Each ratio is against one core in the same run, so a busy machine shows in
all of them alike.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path
from time import perf_counter

from decks.cards.deck import Deck
from decks.cards.demo import demo_deck_folder
from decks.cards.verdicts_file import positions_to_judge
from decks.scorebook.book import Scorebook
from patterns.engines.effort import SETTLED, SURVEY
from patterns.engines.engine_pass import EnginePass, Kept
from patterns.engines.judging import EngineCommand, find_engine
from patterns.engines.questions import Question

EFFORTS = {"survey": SURVEY, "settled": SETTLED}

WAYS: dict[str, Callable[[], Executor]] = {
    "one thread": lambda: ThreadPoolExecutor(1),
    "two threads": lambda: ThreadPoolExecutor(2),
    "two processes": lambda: ProcessPoolExecutor(2),
}


def seconds(
    questions: Sequence[Question], command: EngineCommand, executor: Executor, kept: Kept | None
) -> tuple[float, str]:
    """How long a pass takes, and the engine's name."""
    begin = perf_counter()
    with executor, EnginePass(command, executor, kept) as engines:
        count = sum(1 for _ in engines.answers(questions))
        assert count == len(questions)
        assert engines.about is not None
        name = engines.about.name
    return perf_counter() - begin, name


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--positions", type=int, default=12, metavar="N", help="at most so many (12)")
    parser.add_argument("--effort", choices=EFFORTS, default="survey")
    parser.add_argument("--engine", metavar="PROGRAM")
    given = parser.parse_args(arguments)
    boards = list(positions_to_judge(Deck.open(demo_deck_folder()).cards).values())[: given.positions]
    questions = [Question(board, EFFORTS[given.effort]) for board in boards]
    command = find_engine(given.engine)
    with tempfile.TemporaryDirectory() as folder:
        times = {}
        for number, (way, executor) in enumerate(WAYS.items()):
            with Scorebook.open(Path(folder, f"{number}.sqlite")) as book:
                times[way], name = seconds(questions, command, executor(), book.searches())
        with Scorebook.open(Path(folder, "0.sqlite")) as book:
            times["kept"], _ = seconds(questions, command, ThreadPoolExecutor(1), book.searches())
    print(f"{len(questions)} positions, effort {given.effort}, {name}")
    for way, taken in times.items():
        ratio = times["one thread"] / taken
        print(f"{way:15}{taken / len(questions):9.3f} s a position{ratio:9.1f} times as fast as one thread")


if __name__ == "__main__":
    main()
