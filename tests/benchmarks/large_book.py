"""How a very large scorebook and very many cards weigh: `python tests/benchmarks/large_book.py [--part P]`.

Made data on the disk: decks of 100,000 cards, and a scorebook with 1,000,000 answers of ten students, half of
them to strands and half to fixed cards. It takes some minutes to make them and to index the decks, of which
the time for a card is printed. `--part 0.1` makes a tenth of it all. With `--in FOLDER` all this stays there
for the next runs, which only add a few answers to it.

Then come medians of several runs, and how many times longer that takes than the same with little data, which
is measured in turn: `today` until its first board (limit: 1 s; little data: the demo deck), `progress` (2 s;
the demo deck), and an answer until it is kept (10 ms; two bare inserts with the same care for the disk). What
counts are seconds of the clock on a machine with nothing else to do; those of the processor are printed too.
"""

from __future__ import annotations

import argparse
import os
import resource
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import nullcontext
from itertools import count
from pathlib import Path
from uuid import uuid4

from large_data import ANSWERS, CARDS, MadeCard, an_answer, fill, made_cards, write_decks
from startup import RONDEAU, alternating, until_first_board, whole_run

from decks.memory.answers import Display
from decks.scorebook.book import Scorebook
from decks.shelf.kept import SETTLED_AFTER
from decks.shelf.shelved import take

RUNS = 5
OPENS_WITHIN, KEPT_WITHIN, TOLD_WITHIN = 1.0, 0.010, 2.0
STUDENT = "Student 3"


def processor_seconds() -> float:
    """Of this process and of all that it has waited for."""
    spent = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(each.ru_utime + each.ru_stime for each in spent)


def on_processor(measure: Callable[[], float], seconds: list[float]) -> Callable[[], float]:
    """The same measurement, which adds the seconds of the processor to a list."""

    def measured() -> float:
        before = processor_seconds()
        found = measure()
        seconds.append(processor_seconds() - before)
        return found

    return measured


def compared(what: str, limit: float, large: Callable[[], float], small: Callable[[], float]) -> bool:
    """Print both, and whether the large one is within the limit."""
    spent: list[float] = []
    found, baseline = alternating(on_processor(large, spent), small, runs=RUNS)
    processor = sorted(spent)[len(spent) // 2]
    print(
        f"{what:26} {found * 1000:7.1f} ms (at most {limit * 1000:.0f}), {processor * 1000:.1f} ms of the "
        f"processor; {found / baseline:.1f} times as long as with little data"
    )
    return found <= limit


def make(place: Path, cards: list[MadeCard], answers: int) -> None:
    """Put decks and scorebook on the disk, and index the decks."""
    folders = write_decks(place, cards)
    with Scorebook.open(place / "scorebook.sqlite") as book:
        fill(book, cards, folders, answers)
    time.sleep(SETTLED_AFTER)
    start = time.process_time()
    for folder in folders:
        take(folder)
    print(f"a card is indexed in {(time.process_time() - start) / len(cards) * 1000:.2f} ms of the processor")


def kept_answers(book: Scorebook, cards: list[MadeCard], student: int) -> Callable[[], float]:
    """A measurement of one more display and one more answer, in seconds."""
    numbers = count(1)

    def measured() -> float:
        answer = an_answer(student, cards[next(numbers)])
        display = Display(str(uuid4()), student, answer.deck, answer.card_id, answer.fen, "asked",
                          answer.study_day, answer.time, answer.item, answer.why)  # fmt: skip
        start = time.perf_counter()
        book.save_display(display)
        book.save_answer(answer)
        return time.perf_counter() - start

    return measured


def bare_inserts(file: Path) -> Callable[[], float]:
    """A measurement of two rows put into an empty database, each on the disk before the next, in seconds."""
    db = sqlite3.connect(file, isolation_level=None)
    for statement in (
        "PRAGMA journal_mode = WAL",
        "PRAGMA synchronous = FULL",
        "CREATE TABLE IF NOT EXISTS bare (row)",
    ):
        db.execute(statement)

    def measured() -> float:
        start = time.perf_counter()
        for _ in range(2):
            db.execute("INSERT INTO bare VALUES (?)", ["x" * 300])
        return time.perf_counter() - start

    return measured


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--part", type=float, default=1.0, help="which part of the full size to make")
    parser.add_argument("--in", dest="place", help="the folder to keep it in")
    part, kept = (given := parser.parse_args()).part, given.place
    with nullcontext(kept) if kept else tempfile.TemporaryDirectory() as folder:
        os.environ["XDG_CACHE_HOME"] = f"{folder}/cache"
        place, file = Path(folder), f"{folder}/scorebook.sqlite"
        cards = made_cards(int(CARDS * part))
        if not Path(file).exists():
            place.mkdir(parents=True, exist_ok=True)
            make(place, cards, int(ANSWERS * part))
        large = ["--scorebook", file, "--student", STUDENT]
        small = ["--scorebook", f"{folder}/small.sqlite", "--deck", "demo_deck"]
        fast = [
            compared("today, until its first board", OPENS_WITHIN,
                     lambda: until_first_board(*large), lambda: until_first_board(*small)),
            compared("progress", TOLD_WITHIN,
                     lambda: whole_run([*RONDEAU, "progress", *large]),
                     lambda: whole_run([*RONDEAU, "progress", *small])),
        ]  # fmt: skip
        with Scorebook.open(Path(file)) as book:
            answers = kept_answers(book, cards, book.student(STUDENT))
            fast.append(compared("an answer kept", KEPT_WITHIN, answers, bare_inserts(place / "bare.sqlite")))
    return int(not all(fast))


if __name__ == "__main__":
    sys.exit(main())
