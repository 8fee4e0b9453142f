"""Real processes of the `rondeau` command for the benchmarks: marked, so that none is left behind unseen.

Also a student who answers a plain session through pipes, and what must hold of a scorebook whatever happened.
"""

from __future__ import annotations

import os
import re
import signal
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Collection, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from uuid import uuid4

import chess

from decks.scorebook.book import Scorebook
from decks.tasks.card import Card

ROOT = Path(__file__).resolve().parents[2]

MARK = "RONDEAU_BENCHMARK_MARK"
"""The environment variable that marks our processes, and what they start in their turn."""

GONE_WITHIN = 10.0
"""Seconds within which what a killed process started must be gone, on a busy machine too."""


@dataclass
class Run:
    """One run of the command. `place`: a folder for what it writes beside its work."""

    arguments: Sequence[str]
    place: Path
    mark: str = field(default_factory=lambda: uuid4().hex)

    def __post_init__(self) -> None:
        temporary = self.place / "tmp"
        temporary.mkdir(parents=True, exist_ok=True)
        self.stderr = self.place / f"stderr-{self.mark}"
        with self.stderr.open("wb") as errors:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "decks.start", *self.arguments],
                cwd=ROOT,
                env={**os.environ, MARK: self.mark, "TMPDIR": str(temporary)},
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=errors,
            )

    def to_the_end(self) -> int:
        """Let it run without more input; its exit status."""
        assert self.process.stdin is not None and self.process.stdout is not None
        with suppress(BrokenPipeError):
            self.process.stdin.close()
        while self.process.stdout.read(1 << 16):
            pass
        self.process.wait()
        self.process.stdout.close()
        return self.process.returncode

    def tracebacks(self) -> int:
        return self.stderr.read_text(errors="replace").count("Traceback (most recent call last)")

    def told(self) -> str:
        """The last line of standard error."""
        return (self.stderr.read_text(errors="replace").strip().splitlines() or [""])[-1][:200]

    def left_behind(self) -> list[str]:
        """What it started and still runs after a while; those are killed then, one by one."""
        deadline = time.monotonic() + GONE_WITHIN
        while (found := marked(self.mark)) and time.monotonic() < deadline:
            time.sleep(0.02)
        for pid in found:
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        return list(found.values())


def marked(mark: str) -> dict[int, str]:
    """The processes with this mark in their environment, and their command lines (Linux: proc(5))."""
    wanted, found = f"{MARK}={mark}".encode(), {}
    for folder in Path("/proc").glob("[0-9]*"):
        with suppress(OSError):  # it has just ended, or is not ours to look at
            if wanted in (folder / "environ").read_bytes().split(b"\0"):
                found[int(folder.name)] = (folder / "cmdline").read_bytes().replace(b"\0", b" ").decode()
    return found


# --- A student at a plain session ----------------------------------------------------------------------

Acknowledged = tuple[str, str]
"""An answer that the session has told to be kept: the placement of the card's men, and the ask."""

_NEXT, _HAND_IN, _MOVE = "Enter for the next card", "Enter to hand in", "Your move"
_RANK = re.compile(r"([1-8])  ((?:[KQRBNPkqrbnp.] ){7}[KQRBNPkqrbnp.])")
_PROMPT = re.compile(rf"(?:^|\n)((?:{_NEXT}|{_HAND_IN}.*|{_MOVE}|[a-z ]+ \([=wWbB ]+\)): )\Z")


@dataclass
class PlainStudent:
    """Answers a session through its pipes, as it comes, until it ends or is killed.

    `cards`: of the deck, by the placement of the men. `pause`: called before each line that is typed.
    """

    run: Run
    cards: dict[str, Card]
    dice: Random
    pause: Callable[[], None] = lambda: None
    acknowledged: list[Acknowledged] = field(default_factory=list)
    typed: int = 0

    def answer_all(self) -> None:
        """Answer everything that is asked."""
        assert self.run.process.stdin is not None
        placement, prompt, moves = "", "", 0
        while (said := self._until_prompt()) is not None:
            before, prompt = prompt, said.rpartition("\n")[2]
            if not before or before.startswith(_NEXT):
                placement, moves = placement_of(said), 0
            if prompt.startswith(_NEXT):
                self.acknowledged.append((placement, "play" if before.startswith(_MOVE) else "assess"))
                text = ""
            elif prompt.startswith(_MOVE):
                if before.startswith(_HAND_IN):
                    self.acknowledged.append((placement, "assess"))
                text = self._move(self.cards[placement], moves)
                moves += 1
            else:
                text = "" if prompt.startswith(_HAND_IN) else self.dice.choice("wb=")
            self.pause()
            self.typed += 1
            try:
                self.run.process.stdin.write(text.encode() + b"\n")
                self.run.process.stdin.flush()
            except (BrokenPipeError, ValueError):  # it has ended, or `pause` closed its input
                break
        self.run.to_the_end()

    def _until_prompt(self) -> str | None:
        """What the session says up to its next question; None once it says no more."""
        assert self.run.process.stdout is not None
        said = b""
        while not _PROMPT.search(said.decode(errors="replace")):
            more = os.read(self.run.process.stdout.fileno(), 65536)
            if not more:
                return None
            said += more
        return said.decode()

    def _move(self, card: Card, already: int) -> str:
        """The key's move mostly, else any."""
        board, ply = card.board.copy(), 2 * already
        for move in card.line[:ply]:
            board.push_uci(move)
        if ply < len(card.line) and self.dice.random() < 0.7:
            return card.line[ply]
        return self.dice.choice(sorted(move.uci() for move in board.legal_moves))


def by_placement(cards: Collection[Card]) -> dict[str, Card]:
    found = {card.board.board_fen(): card for card in cards}
    assert len(found) == len(cards), "two cards look the same"
    return found


def placement_of(said: str) -> str:
    """The placement, as FEN has it, of the first board in the text."""
    ranks = dict(_RANK.findall(said)[:8])
    turned = "   h g f e d c b a\n" in said
    board = chess.Board(None)
    for rank, men in ranks.items():
        for file, man in enumerate(men.split()[:: -1 if turned else 1]):
            if man != ".":
                board.set_piece_at(chess.square(file, int(rank) - 1), chess.Piece.from_symbol(man))
    return board.board_fen()


# --- What must hold of a scorebook ---------------------------------------------------------------------


def faults_of(scorebook: Path) -> list[str]:
    """What is wrong with a scorebook: SQLite's check, damaged rows, memories not as the log gives them."""
    try:
        with closing(sqlite3.connect(scorebook)) as connection:
            found = [str(row[0]) for row in connection.execute("PRAGMA integrity_check") if row[0] != "ok"]
        with Scorebook.open(scorebook) as book:
            found += map(str, book.damage())
            found += [f"memory of {one.item} differs" for one in book.replay()]
    except Exception as error:
        return [f"{type(error).__name__}: {error}"]
    return found


def in_log(scorebook: Path, student: str) -> Counter[Acknowledged]:
    """How often each answer of a student stands in the log."""
    with Scorebook.open(scorebook) as book:
        answers = book.answers(book.student(student))
    return Counter((answer.fen.partition(" ")[0], answer.ask) for answer in answers)
