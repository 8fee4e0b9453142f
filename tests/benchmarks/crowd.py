"""One scorebook, used by many at once, as real processes: is every answer kept once, and every copy whole?

Run by hand: `PYTHONPATH=. python tests/benchmarks/crowd.py [--seconds N] [--seed S]`.

For so many seconds three students answer plain sessions, each in turn as one student after another, while
games are scanned into the same scorebook, again and again, and a copy of it is made every second. Then the
input of the sessions ends. Every answer that a session acknowledged must be in the log once, the scorebook
must be sound and its memories follow from the log, all games of the scans must be there with all their
findings, and every copy must open, be sound, and have what was acknowledged before it began. Linux only.
"""

from __future__ import annotations

import argparse
import shutil
import sqlite3
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from threading import Thread

from processes import Acknowledged, PlainStudent, Run, by_placement, faults_of, in_log

from decks.cards.deck import Deck
from decks.cards.demo import demo_deck_folder
from decks.scorebook.book import Scorebook

SEATS = ("Wren, Anna", "Reed, Tom", "Samphire, Ines")
LONGEST_PAUSE = 0.2
"""Seconds between two lines of a student, at most."""


@dataclass
class Crowd:
    """All that goes on until `deadline`. `told`: answers acknowledged, by student."""

    folder: Path
    seed: int
    deadline: float
    told: dict[str, list[Acknowledged]] = field(default_factory=dict)
    runs: list[Run] = field(default_factory=list)
    scans: int = 0
    copies: list[tuple[Path, dict[str, int]]] = field(default_factory=list)
    """Each copy, with how many answers of each student were acknowledged before it began."""
    offences: Counter[str] = field(default_factory=Counter)

    @property
    def book(self) -> Path:
        return self.folder / "scorebook.sqlite"

    def goes_on(self) -> bool:
        return time.monotonic() < self.deadline

    def start(self, *arguments: str) -> Run:
        run = Run([*arguments, "--scorebook", str(self.book)], self.folder / "runs")
        self.runs.append(run)
        return run

    def finish(self, run: Run) -> bool:
        """Whether a run ends in order."""
        status = run.to_the_end()
        if status:
            self.offences[f"{run.arguments[0]} ended with status {status}: {run.told()}"] += 1
        return status == 0

    def sit(self, seat: str) -> None:
        """One student after another answers all cards of a day."""
        cards, number, dice = (
            by_placement(Deck.open(demo_deck_folder()).cards),
            0,
            Random(f"{self.seed} {seat}"),
        )
        while self.goes_on():
            number += 1
            student = f"{seat} {number}"
            if not self.finish(self.start("students", "--add", student)):
                continue
            where = ("--deck", str(self.folder / "deck"), "--student", student)
            run = self.start("today", "--plain", "--minutes", "600", *where)
            told = self.told[student] = []
            PlainStudent(run, cards, dice, lambda run=run: self.pause(run, dice), told).answer_all()  # type: ignore[misc]
            if run.process.returncode:
                self.offences[f"today ended with status {run.process.returncode}: {run.told()}"] += 1

    def pause(self, run: Run, dice: Random) -> None:
        """Think; when time is over, type no more."""
        time.sleep(dice.uniform(0, LONGEST_PAUSE))
        if not self.goes_on() and run.process.stdin is not None:
            run.process.stdin.close()

    def scan(self) -> None:
        """Scan the demo games again and again, each time with other names, so that they are new games."""
        text = (self.folder / "deck" / "games.pgn").read_text(encoding="utf-8")
        while self.goes_on():
            games = self.folder / f"games-{self.scans}.pgn"
            games.write_text(text.replace('[White "', f'[White "{self.scans} '), encoding="utf-8")
            if not self.finish(self.start("scan", str(games))):
                return
            self.scans += 1

    def copy(self) -> None:
        """A copy every second, or as soon as the one before is made."""
        number = 0
        while self.goes_on():
            began, number = time.monotonic(), number + 1
            file = self.folder / f"copy-{number}.sqlite"
            told = {student: len(answers) for student, answers in list(self.told.items())}
            if self.finish(self.start("backup", str(file))):
                self.copies.append((file, told))
            time.sleep(max(0.0, 1 - (time.monotonic() - began)))


def games_in(scorebook: Path) -> Counter[int]:
    """How many games have so many findings."""
    query = "SELECT count(motif) FROM games LEFT JOIN findings ON findings.game = games.id GROUP BY games.id"
    with closing(sqlite3.connect(scorebook)) as connection:
        return Counter(int(row[0]) for row in connection.execute(query))


def missing(crowd: Crowd, scorebook: Path, told: dict[str, int]) -> int:
    """How many of the first answers of each student are not in a scorebook."""
    return sum(
        (Counter(crowd.told[student][:number]) - in_log(scorebook, student)).total()
        for student, number in told.items()
        if number
    )


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=60, metavar="N", help="how long (60)")
    parser.add_argument("--seed", type=int, default=1, metavar="S")
    given = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="crowd-") as folder:
        crowd = Crowd(Path(folder), given.seed, time.monotonic() + given.seconds)
        shutil.copytree(demo_deck_folder(), crowd.folder / "deck")
        Scorebook.open(crowd.book).close()
        threads = [Thread(target=crowd.sit, args=[seat]) for seat in SEATS]
        threads += [Thread(target=crowd.scan), Thread(target=crowd.copy)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        told = {student: len(answers) for student, answers in crowd.told.items()}
        lost = missing(crowd, crowd.book, told)
        doubled = sum(
            number - 1 for student in told for number in in_log(crowd.book, student).values() if number > 1
        )
        copies_lost = sum(missing(crowd, file, then) for file, then in crowd.copies)
        for file in (crowd.book, *(file for file, _ in crowd.copies)):
            crowd.offences.update(f"{file.name}: {fault}" for fault in faults_of(file))
        alone = crowd.folder / "alone.sqlite"
        games = str(crowd.folder / "deck" / "games.pgn")
        Run(["scan", games, "--scorebook", str(alone)], crowd.folder / "runs").to_the_end()
        wanted = Counter({number: games * crowd.scans for number, games in games_in(alone).items()})
        if games_in(crowd.book) != wanted:
            crowd.offences["the games and findings are not those of the scans"] += 1
        tracebacks = sum(run.tracebacks() for run in crowd.runs)
        for run in crowd.runs:
            crowd.offences.update(f"still runs: {name}" for name in run.left_behind())
        own = {crowd.book, alone, *(file for file, _ in crowd.copies)}
        found = {file for file in crowd.folder.glob("*") if file.is_file() and file.suffix != ".pgn"}
        strays = [*(found - own), *(crowd.folder / "runs" / "tmp").iterdir()]
    print(f"students {len(told)}, sessions' answers acknowledged {sum(told.values())}")
    print(f"scans {crowd.scans}, copies {len(crowd.copies)}")
    print(f"answers lost {lost}, doubled {doubled}, missing in copies {copies_lost}")
    print(f"tracebacks {tracebacks}, files left {len(strays)} {' '.join(file.name for file in strays)}")
    print(f"other {crowd.offences.total()}, seed {given.seed}")
    for offence, number in crowd.offences.items():
        print(f"  {number} times: {offence}")
    if lost or doubled or copies_lost or tracebacks or strays or crowd.offences:
        raise SystemExit(1)
    if not (sum(told.values()) and crowd.scans and crowd.copies):
        raise SystemExit("too short: nothing was tried")


if __name__ == "__main__":
    main()
