"""Commands killed at random moments, as real processes: is anything lost, doubled or left behind?

Run by hand: `PYTHONPATH=.:tests python tests/benchmarks/kills.py [--kills N] [--seed S] [COMMAND...]`.

Each command (today, scan, workers: a scan with --workers 2, build, check, restore, backup) is killed N times,
each time in a folder of its own (`today` three times in one): half of them with SIGKILL, a quarter each with
SIGTERM and SIGHUP. The moment is drawn: after the start, or, half of the time, after the first change that
the process makes in the folder; for `today`, mostly shortly after an answer. A process that ended before its
moment is no kill, and another one is started.

After each kill the scorebook must be sound, its memories follow from the log and every answer that the
session acknowledged be there once; the deck must open or be a folder that a build accepts. Then the same
command runs undisturbed: it must end with status 0, and the outcome must be that of a run that nobody
disturbed. "left" counts files that are neither scorebook nor deck nor kept copy after that run, and processes
that outlived the killed one by ten seconds. "other" counts all else that is wrong; every offence is printed
below the table. Linux only.
"""

from __future__ import annotations

import argparse
import re
import shutil
import signal
import sqlite3
import sys
import tempfile
import threading
import time
from abc import ABC, abstractmethod
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

from made_answers import DECK, an_answer
from processes import ROOT, Acknowledged, PlainStudent, Run, by_placement, faults_of, in_log

from decks.cards.deck import Deck, check_free, is_deck
from decks.cards.demo import demo_deck_folder
from decks.cards.faults import DeckError
from decks.scorebook.book import Scorebook
from patterns.catalogue import MOTIFS

SIGNALS = (signal.SIGKILL, signal.SIGTERM, signal.SIGKILL, signal.SIGHUP)
"""Which signal has its turn."""

DECK_FILES = {"deck.toml", "cards.pgn", "verdicts.jsonl"}
BOOK = "scorebook.sqlite"
STUDENT = "Wren, Anna"
MOTIF = "pin-on-file"
"""The motif of which the demo deck has most cards."""


@dataclass
class Counts:
    """What the kills of one command came to. `offences`: each in words."""

    kills: Counter[str] = field(default_factory=Counter)
    lost: int = 0
    doubled: int = 0
    tracebacks: int = 0
    left: int = 0
    other: int = 0
    offences: list[str] = field(default_factory=list)

    def offence(self, column: str, number: int, words: str) -> None:
        setattr(self, column, getattr(self, column) + number)
        if number:
            self.offences.append(f"{column}: {words}")


class Trial(ABC):
    """A command to kill. `work`: a folder for what all its kills share."""

    name: str

    def __init__(self, work: Path, dice: Random) -> None:
        self.work, self.dice = work, dice
        work.mkdir()
        self.prepare()

    @abstractmethod
    def prepare(self) -> None:
        """Make what all kills share."""

    @abstractmethod
    def start_in(self, place: Path) -> None:
        """Fill a folder with what the command works on."""

    @abstractmethod
    def arguments(self, place: Path) -> list[str]: ...

    @abstractmethod
    def examine(self, place: Path, counts: Counts) -> None:
        """Look at what the killed process has left."""

    @abstractmethod
    def examine_next(self, place: Path, counts: Counts) -> None:
        """Look at what the next run has made of it."""

    @abstractmethod
    def may_stay(self, file: Path) -> bool:
        """Whether a file may stand in the folder when a run has ended in order."""

    def place(self, number: int) -> Path:
        """The folder of this kill."""
        return self.work / f"kill-{number}"

    def measure(self) -> None:
        """Let the command run undisturbed: how long it takes, and how long after its first change."""
        place = self.work / "undisturbed"
        place.mkdir()
        self.start_in(place)
        began, changed = time.monotonic(), 0.0
        before = listing(place)
        run = Run(self.arguments(place), self.work / "runs")
        while run.process.poll() is None:
            if not changed and listing(place) != before:
                changed = time.monotonic()
            time.sleep(0.001)
        ended = time.monotonic()
        if run.to_the_end():
            raise SystemExit(f"{self.name} fails when nobody disturbs it: {run.told()}")
        self.seconds, self.seconds_from_change = ended - began, ended - (changed or began)

    def run_and_kill(self, place: Path, number: signal.Signals) -> Run:
        """Start the command, and send it the signal at a random moment."""
        after_change = self.dice.random() < 0.5
        wait = self.dice.uniform(0, 1.1 * (self.seconds_from_change if after_change else self.seconds))
        before = listing(place)
        run = Run(self.arguments(place), self.work / "runs")
        while after_change and listing(place) == before and run.process.poll() is None:
            time.sleep(0.001)
        deadline = time.monotonic() + wait
        while time.monotonic() < deadline and run.process.poll() is None:
            time.sleep(0.001)
        run.process.send_signal(number)
        run.to_the_end()
        return run

    def kill(self, number: int, with_signal: signal.Signals, counts: Counts) -> bool:
        """One kill and what follows; whether the process was still there to be killed."""
        place = self.place(number)
        if not place.exists():
            place.mkdir()
            self.start_in(place)
        run = self.run_and_kill(place, with_signal)
        killed = run.process.returncode != 0
        if killed:
            counts.kills[with_signal.name] += 1
        told = f"{with_signal.name} {number}, status {run.process.returncode}"
        left = run.left_behind()
        counts.offence("left", len(left), f"{told}: still runs: {'; '.join(left)}")
        counts.offence("tracebacks", run.tracebacks(), f"{told}: {run.told()}")
        if run.process.returncode not in (0, -with_signal, 128 + with_signal):
            counts.offence("other", 1, f"{told}: {run.told()}")
        self.examine(place, counts)
        following = Run(self.arguments(place), self.work / "runs")
        if status := following.to_the_end():
            counts.offence("other", 1, f"{told}: the next run ends with status {status}: {following.told()}")
        counts.offence("tracebacks", following.tracebacks(), f"{told}, next run: {following.told()}")
        self.examine_next(place, counts)
        strays = [file for file in self.files(place, run, following) if not self.may_stay(file)]
        counts.offence("left", len(strays), f"{told}: {', '.join(file.name for file in strays)}")
        for file in strays:  # counted once
            file.rmdir() if file.is_dir() else file.unlink()
        return killed

    def files(self, place: Path, *runs: Run) -> Iterator[Path]:
        """Every file of this kill, what stands in the folder for temporary files, and folders left empty."""
        for folder in (place, *{run.place / "tmp" for run in runs}):
            yield from (file for file in folder.rglob("*") if not file.is_dir() or not any(file.iterdir()))


def listing(place: Path) -> list[tuple[str, int, int]]:
    """What stands in a folder, with sizes and times."""
    found = []
    for file in place.rglob("*"):
        try:
            stat = file.lstat()
        except FileNotFoundError:  # it has just gone
            continue
        found.append((file.name, stat.st_size, stat.st_mtime_ns))
    return sorted(found)


class Today(Trial):
    """A plain session; a student answers as fast as the session asks."""

    name = "today"

    def prepare(self) -> None:
        self.cards = by_placement(Deck.open(demo_deck_folder()).cards)
        self.acknowledged: dict[Path, Counter[Acknowledged]] = {}
        self.doubled: dict[Path, Counter[Acknowledged]] = {}

    def place(self, number: int) -> Path:
        return self.work / f"kills-from-{number - number % 3}"

    def measure(self) -> None:
        """Nothing: the moment depends on what the session says."""

    def start_in(self, place: Path) -> None:
        shutil.copytree(demo_deck_folder(), place / "deck")
        with Scorebook.open(place / BOOK) as book:
            book.student(STUDENT)
        self.acknowledged[place], self.doubled[place] = Counter(), Counter()

    def arguments(self, place: Path) -> list[str]:
        where = ["--deck", str(place / "deck"), "--scorebook", str(place / BOOK)]
        return ["today", "--plain", "--minutes", "600", "--student", STUDENT, *where]

    def run_and_kill(self, place: Path, number: signal.Signals) -> Run:
        run = Run(self.arguments(place), self.work / "runs")
        if self.dice.random() < 0.25:  # while it starts, or whatever it does by then
            threading.Timer(self.dice.uniform(0, 2), run.process.send_signal, [number]).start()
            last_line = -1
        else:
            last_line = self.dice.randint(1, 30)

        def pause() -> None:
            if student.typed == last_line:
                wait = self.dice.uniform(0, 0.02)
                threading.Timer(wait, run.process.send_signal, [number]).start()

        student = PlainStudent(run, self.cards, self.dice, pause)
        student.answer_all()
        self.acknowledged[place].update(student.acknowledged)
        return run

    def examine(self, place: Path, counts: Counts) -> None:
        for fault in faults_of(place / BOOK):
            counts.offence("other", 1, f"{place.name}: {fault}")
        kept, told = in_log(place / BOOK, STUDENT), self.acknowledged[place]
        lost, doubled = told - kept, kept - Counter(set(kept)) - self.doubled[place]
        counts.offence("lost", lost.total(), f"{place.name}: {lost}")
        counts.offence("doubled", doubled.total(), f"{place.name}: {doubled}")
        if asked_again := told - Counter(set(told)):
            counts.offence("other", 1, f"{place.name}: asked again after it was kept: {asked_again}")
        self.acknowledged[place] = Counter(set(told)) - lost  # counted once
        self.doubled[place] += doubled

    def examine_next(self, place: Path, counts: Counts) -> None:
        self.examine(place, counts)

    def may_stay(self, file: Path) -> bool:
        return file.name in {BOOK, *(each.name for each in demo_deck_folder().iterdir())}


class Scan(Trial):
    """A scan of 86 games, stored in two parts: the demo games, and again with other names."""

    name, workers = "scan", "1"

    def prepare(self) -> None:
        text = (demo_deck_folder() / "games.pgn").read_text(encoding="utf-8")
        others = text.replace('[White "', '[White "Young ')
        (self.work / "games.pgn").write_text(f"{text}\n{others}", encoding="utf-8")

    def start_in(self, place: Path) -> None:
        with Scorebook.open(place / BOOK) as book:
            book.student(STUDENT)

    def arguments(self, place: Path) -> list[str]:
        games = str(self.work / "games.pgn")
        return ["scan", games, "--workers", self.workers, "--scorebook", str(place / BOOK)]

    def measure(self) -> None:
        super().measure()
        self.whole = findings_by_game(self.work / "undisturbed" / BOOK)

    def examine(self, place: Path, counts: Counts) -> None:
        for fault in faults_of(place / BOOK):
            counts.offence("other", 1, f"{place.name}: {fault}")
        for content, number in findings_by_game(place / BOOK).items():  # a game not stored yet has none
            if number not in (0, self.whole[content]):
                more = number > self.whole[content]
                words = f"{place.name}: {number} of {self.whole[content]} findings of a game"
                counts.offence("doubled" if more else "lost", 1, words)

    def examine_next(self, place: Path, counts: Counts) -> None:
        self.examine(place, counts)
        found = findings_by_game(place / BOOK)
        lost = sum(found.get(content, 0) < number for content, number in self.whole.items())
        counts.offence("lost", lost, f"{place.name}: games without all their findings after the next run")

    def may_stay(self, file: Path) -> bool:
        return file.name == BOOK


class ScanWithWorkers(Scan):
    """The same, tagged by two processes."""

    name, workers = "workers", "2"


def findings_by_game(scorebook: Path) -> dict[str, int]:
    """How many findings are stored of each game, by the game's content."""
    joined = "games LEFT JOIN findings ON findings.game = games.id"
    query = f"SELECT content, count(motif) FROM {joined} GROUP BY content"
    with closing(sqlite3.connect(scorebook)) as connection:
        return dict(connection.execute(query))


class DeckTrial(Trial):
    """A command that writes into a deck. The engine replays what the demo deck's verdicts keep."""

    def prepare(self) -> None:
        self.engine = self.work / "engine"
        script = Path(__file__).with_name("recorded_engine.py")
        path = f"{ROOT}:{ROOT / 'tests'}"
        self.engine.write_text(f'#!/bin/sh\nPYTHONPATH="{path}" exec "{sys.executable}" "{script}"\n')
        self.engine.chmod(0o755)
        self.games = self.work / "games.pgn"
        self.games.write_text("".join(games_of_cards(6)), encoding="utf-8")
        self.with_engine = ["--engine", str(self.engine), "--depth", "1"]

    def build_arguments(self, folder: Path, cards: int) -> list[str]:
        source = ["--from", str(self.games), "--motif", MOTIF, "--cards", str(cards)]
        return ["build", str(folder), *source, *self.with_engine]

    def cards_before(self, place: Path) -> set[str]:
        """The cards that were there when the command began."""
        return set()

    def examine(self, place: Path, counts: Counts) -> None:
        folder = place / "deck"
        try:
            if is_deck(folder):
                now = [card.card_id for card in Deck.open(folder, set(MOTIFS)).cards]
            else:
                check_free(folder)
                now = []
        except DeckError as error:
            counts.offence("other", 1, f"{place.name}: {error}")
            return
        lost = self.cards_before(place) - set(now)
        counts.offence("lost", len(lost), f"{place.name}: {lost}")
        counts.offence("doubled", len(now) - len(set(now)), f"{place.name}: {now}")

    def examine_next(self, place: Path, counts: Counts) -> None:
        self.examine(place, counts)
        if not is_deck(place / "deck"):
            counts.offence("other", 1, f"{place.name}: no deck after the next run")

    def may_stay(self, file: Path) -> bool:
        return file.name in DECK_FILES


class Build(DeckTrial):
    """A build of four cards, by turns in a new folder and in a deck that has two."""

    name = "build"

    def prepare(self) -> None:
        super().prepare()
        self.old = self.work / "old"
        run = Run(self.build_arguments(self.old, 2), self.work / "runs")
        if run.to_the_end() or len(Deck.open(self.old).cards) != 2:
            raise SystemExit(f"no deck to begin with: {run.told()}")
        self.old_ids = {card.card_id for card in Deck.open(self.old).cards}
        self.turn = 0

    def start_in(self, place: Path) -> None:
        self.turn += 1
        if self.turn % 2 == 0:
            shutil.copytree(self.old, place / "deck")

    def cards_before(self, place: Path) -> set[str]:
        return self.old_ids if int(place.name.rpartition("-")[2]) % 2 == 0 else set()

    def arguments(self, place: Path) -> list[str]:
        return self.build_arguments(place / "deck", 4)


class Check(DeckTrial):
    """A check of a deck of four cards without verdicts, which derives them."""

    name = "check"

    def prepare(self) -> None:
        super().prepare()
        self.old = self.work / "old"
        run = Run(self.build_arguments(self.old, 4), self.work / "runs")
        if run.to_the_end():
            raise SystemExit(f"no deck to begin with: {run.told()}")
        self.ids = {card.card_id for card in Deck.open(self.old).cards}
        (self.old / "verdicts.jsonl").unlink()

    def start_in(self, place: Path) -> None:
        shutil.copytree(self.old, place / "deck")

    def cards_before(self, place: Path) -> set[str]:
        return self.ids

    def arguments(self, place: Path) -> list[str]:
        return ["check", str(place / "deck"), *self.with_engine]

    def examine_next(self, place: Path, counts: Counts) -> None:
        super().examine_next(place, counts)
        verdicts = Deck.open(place / "deck").verdicts if is_deck(place / "deck") else {}
        counts.offence("other", not verdicts, f"{place.name}: no verdicts after the next run")


def games_of_cards(most: int) -> list[str]:
    """Games of the demo deck's that its cards about MOTIF come from, as PGN."""

    def split(name: str) -> list[str]:
        text = (demo_deck_folder() / name).read_text(encoding="utf-8")
        return re.split(r"(?m)^(?=\[Event )", text)[1:]

    def names(game: str) -> list[str]:
        return re.findall(r'^\[(?:White|Black|Date|Round) "(.*)"\]', game, re.MULTILINE)

    wanted = [names(card) for card in split("cards.pgn") if f'"{MOTIF}:' in card]
    return [game for game in split("games.pgn") if names(game) in wanted][:most]


class CopyTrial(Trial):
    """A command that copies a scorebook. One has sixty answers, the other forty others; both hold a scan."""

    def prepare(self) -> None:
        for name, numbers in (("old", range(1, 61)), ("copy", range(61, 101))):
            file = self.work / f"{name}.sqlite"
            with Scorebook.open(file) as book:
                book.student()
                answers = [an_answer(number, card=f"card-{number}") for number in numbers]
                book.register_deck(DECK, "Saltmarsh", "/nowhere")
                for answer in answers:
                    book.save_answer(answer)
            games = str(demo_deck_folder() / "games.pgn")
            if Run(["scan", games, "--scorebook", str(file)], self.work / "runs").to_the_end():
                raise SystemExit("the scan fails when nobody disturbs it")
        self.old, self.copied = (answers_in(self.work / f"{name}.sqlite") for name in ("old", "copy"))
        with Scorebook.open(self.work / "copy.sqlite") as book:
            book.backup(self.work / "backup.sqlite")


class Restore(CopyTrial):
    """The copy restored in the place of the scorebook, by turns one that a backup made and a raw one."""

    name = "restore"

    def start_in(self, place: Path) -> None:
        shutil.copy(self.work / "old.sqlite", place / BOOK)
        raw = place.name.endswith(tuple("13579"))
        shutil.copy(self.work / f"{'copy' if raw else 'backup'}.sqlite", place / "copy.sqlite")

    def arguments(self, place: Path) -> list[str]:
        return ["restore", str(place / "copy.sqlite"), "--scorebook", str(place / BOOK)]

    def examine(self, place: Path, counts: Counts) -> None:
        for fault in faults_of(place / BOOK):
            counts.offence("other", 1, f"{place.name}: {fault}")
        now = answers_in(place / BOOK)
        if now not in (self.old, self.copied):
            counts.offence("other", 1, f"{place.name}: {len(now)} answers, neither the old nor the copy's")
        kept = set(now)
        for file in place.glob(f"{BOOK}.before-restore-*"):
            if not file.name.endswith(("-wal", "-shm")):
                for fault in faults_of(file):
                    counts.offence("other", 1, f"{place.name}, {file.name}: {fault}")
                kept |= answers_in(file)
        counts.offence("lost", len(self.old - kept), f"{place.name}: old answers that are nowhere")
        gone = self.copied - answers_in(place / "copy.sqlite")
        counts.offence("lost", len(gone), f"{place.name}: the copy lost answers")

    def examine_next(self, place: Path, counts: Counts) -> None:
        self.examine(place, counts)
        if answers_in(place / BOOK) != self.copied:
            counts.offence("other", 1, f"{place.name}: the next run has not restored the copy")

    def may_stay(self, file: Path) -> bool:
        return bool(re.fullmatch(rf"{re.escape(BOOK)}(\.before-restore-[0-9]+)?|copy\.sqlite", file.name))


class Backup(CopyTrial):
    """The scorebook copied, by turns to a new file and to one that holds an older copy."""

    name = "backup"

    def start_in(self, place: Path) -> None:
        shutil.copy(self.work / "old.sqlite", place / BOOK)
        if place.name.endswith(tuple("13579")):
            shutil.copy(self.work / "backup.sqlite", place / "copy.sqlite")

    def arguments(self, place: Path) -> list[str]:
        return ["backup", str(place / "copy.sqlite"), "--scorebook", str(place / BOOK)]

    def examine(self, place: Path, counts: Counts) -> None:
        for file in (place / BOOK, place / "copy.sqlite"):
            if file.exists():
                for fault in faults_of(file):
                    counts.offence("other", 1, f"{place.name}, {file.name}: {fault}")
        counts.offence("lost", len(self.old - answers_in(place / BOOK)), f"{place.name}: the scorebook's own")
        now = answers_in(place / "copy.sqlite") if (place / "copy.sqlite").exists() else set()
        if now and now not in (self.old, self.copied):
            counts.offence(
                "other", 1, f"{place.name}: {len(now)} answers, neither the older copy nor a whole"
            )

    def examine_next(self, place: Path, counts: Counts) -> None:
        self.examine(place, counts)
        if answers_in(place / "copy.sqlite") != self.old:
            counts.offence("other", 1, f"{place.name}: the next run has not made the copy")

    def may_stay(self, file: Path) -> bool:
        return file.name in {BOOK, "copy.sqlite"}


def answers_in(scorebook: Path) -> set[str]:
    with closing(sqlite3.connect(scorebook)) as connection:
        return {str(row[0]) for row in connection.execute("SELECT answer_id FROM reviews")}


TRIALS: dict[str, type[Trial]] = {
    trial.name: trial for trial in (Today, Scan, ScanWithWorkers, Build, Check, Restore, Backup)
}


def kill_again_and_again(trial: Trial, kills: int, counts: Counts) -> None:
    """Kill a command so many times; one that ends before its moment is run again, up to twice as often."""
    trial.measure()
    for number in range(3 * kills):
        if counts.kills.total() < kills:
            trial.kill(number, SIGNALS[counts.kills.total() % len(SIGNALS)], counts)


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("commands", metavar="COMMAND", nargs="*", help=f"of {', '.join(TRIALS)} (all)")
    parser.add_argument("--kills", type=int, default=20, metavar="N", help="of each command (20)")
    parser.add_argument("--seed", type=int, default=1, metavar="S")
    given = parser.parse_args(arguments)
    if unknown := set(given.commands) - set(TRIALS):
        parser.error(f"no such command: {', '.join(unknown)}")
    columns = ("lost", "doubled", "tracebacks", "left", "other")
    print(f"{'command':9}{'kills (KILL, TERM, HUP)':>25}", *(f"{name:>11}" for name in columns))
    offences, total, interrupted = [], 0, False
    for name in given.commands or TRIALS:
        counts = Counts()
        with tempfile.TemporaryDirectory(prefix="kills-") as folder:
            try:
                trial = TRIALS[name](Path(folder) / name, Random(f"{given.seed} {name}"))
                kill_again_and_again(trial, given.kills, counts)
            except KeyboardInterrupt:
                interrupted = True
        each = ", ".join(str(counts.kills[f"SIG{signal_name}"]) for signal_name in ("KILL", "TERM", "HUP"))
        kills = f"{counts.kills.total()} ({each})"
        print(f"{name:9}{kills:>25}", *(f"{getattr(counts, column):11}" for column in columns), flush=True)
        offences += [f"{name}, {offence}" for offence in counts.offences]
        total += counts.kills.total()
        if interrupted:
            print("interrupted: this is what was tried so far")
            break
    print(f"{total} kills, {len(offences)} offences, seed {given.seed}")
    for offence in offences:
        print(f"  {offence}")
    if offences or not total:
        raise SystemExit(1)


if __name__ == "__main__":
    main()
