"""Inputs with random damage through every reader: is each refused in words, soon and in little memory?

Run by hand, with --help for the options: `PYTHONPATH=. python tests/benchmarks/mutated_inputs.py`.

The inputs start from real ones (games, cards, settings and verdicts of the demo deck, their positions, lines
and moves) and have bytes changed, cut, repeated, nested, made huge numbers, control and bidirectional
characters, bytes that are no UTF-8, and long lines. Each goes through its reader in this process; some more
go through `rondeau explain`, `scan` and `check` as real processes. First come inputs that are known to be
hard.

An offence is: an exception that the reader does not declare; a control or bidirectional character in a text
that says it is safe to show, or in anything a command prints; a traceback, or a status that the command does
not declare; more than two seconds of processor time, and one for each 40 MB of the input; or more than
300 MB of memory, and twice the input's own size (its bytes and its text). For a command, time is counted
beyond what it takes for the input as it was before the damage. Each offender is saved. A reader with five
offences is left out from then on. Linux only.
"""

from __future__ import annotations

import argparse
import os
import re
import resource
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
import unicodedata
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from functools import partial
from itertools import pairwise
from pathlib import Path
from random import Random

import chess

from decks.asks.spot import read_spot
from decks.cards.deck import Deck, read_deck
from decks.cards.demo import demo_deck_folder
from decks.cards.faults import DeckError
from decks.cards.settings import read_settings
from decks.cards.tags import read_evidence, read_factors, read_motifs, read_root
from decks.cards.verdicts_file import illegal_continuations, read_verdicts
from decks.tasks import entry
from patterns.catalogue import MOTIFS
from patterns.lines import parse_line
from patterns.proof.played_line import LineError
from patterns.reading.fen import FenError, board_from_fen
from patterns.reading.pgn import Game, GamesError, positions, read_games
from patterns.reading.written_move import ENGINE, PGN, MoveError, read_move

ROOT = Path(__file__).resolve().parents[2]
SECONDS, MEGABYTES = 2.0, 300
BYTES_A_SECOND = 40e6
"""For inputs that are themselves large."""

GIVEN_UP_AFTER = 4.0
"""Seconds of processor time, beside those for its size, after which an input is left."""

MOST_OFFENCES = 5

LARGEST = 64 * 1024
"""Bytes that a damaged input grows to."""

STATUSES = {0, 1, 2, 3}
"""Statuses that a command declares for an input."""

TITLES = {motif.id: motif.title for motif in MOTIFS.values()}


KINDS = ("undeclared", "control", "slow", "large")
"""Of offences."""


class TooLong(BaseException):
    """The time for an input is over. No reader catches this."""


# --- Damage --------------------------------------------------------------------------------------------

NUMBERS = (b"0", b"-1", b"1e999", b"NaN", b"9" * 19, b"9" * 4299, b"9" * 4300, b"9" * 4301, b"7" * 9000)
SIGNS = (
    *(bytes([number]) for number in (*range(1, 10), 11, 12, *range(14, 32), 127)),
    *("\x80\x9b\u200e\u200f\u202a\u202e\u2066\u2069\u2028\u2029\ufeff\u0000\U0001f40e\u0661²".encode(),),
    *(sign.encode() for sign in "\x9b\u202e\u2066\u2028\ufeff\u0661²ſ"),
    *(b"\0", b"\xff", b"\xc3", b"\xed\xa0\x80", b"\xf4\x90\x80\x80", b"\xe2\x80", b"\r", b"\n", b"\n\n"),
)
WORDS = (
    b'[FEN "', b'[SetUp "1"]', b'[Variant "x"]', b'"]', b"\\", b'"', b"{", b"}", b"(", b")", b";", b"%", b"$",
    b"1.", b"1-0", b"*", b"--", b"=Q", b"[", b"]", b"'''", b'"""', b"#", b"=", b"null", b"e.p.", b"Z0",
    b"O-O", b"\n[",
)  # fmt: skip
NESTING = (b"(", b"{", b"[", b"[[", b'{"a":', b"a.", b'"', b"((", b"<", b"$", b"\\", b"{a=")


def damaged(whole: bytes, dice: Random) -> bytes:
    """The input after one to four sorts of damage."""
    for _ in range(dice.choice((1, 1, 2, 3, 4))):
        whole = dice.choice(DAMAGES)(whole, dice)[:LARGEST]
    return whole


def _place(whole: bytes, dice: Random, longest: int = 40) -> tuple[int, int]:
    start = dice.randint(0, len(whole))
    return start, min(len(whole), start + dice.randint(0, longest))


def _flip(whole: bytes, dice: Random) -> bytes:
    changed = bytearray(whole)
    for _ in range(dice.randint(1, 4) if changed else 0):
        changed[dice.randrange(len(changed))] ^= 1 << dice.randrange(8)
    return bytes(changed)


def _cut(whole: bytes, dice: Random) -> bytes:
    start, end = _place(whole, dice, dice.choice((1, 10, 500)))
    return whole[:start] if dice.random() < 0.2 else whole[:start] + whole[end:]


def _repeat(whole: bytes, dice: Random) -> bytes:
    start, end = _place(whole, dice, dice.choice((3, 60, 600)))
    return whole[:end] + whole[start:end] * dice.choice((1, 2, 50, 3000)) + whole[end:]


def _put_in(choices: Sequence[bytes], most: int = 1) -> Callable[[bytes, Random], bytes]:
    def put_in(whole: bytes, dice: Random) -> bytes:
        start, _ = _place(whole, dice)
        return whole[:start] + dice.choice(choices) * dice.choice((1, 1, 2, most)) + whole[start:]

    return put_in


def _number(whole: bytes, dice: Random) -> bytes:
    numbers = list(re.finditer(rb"[0-9]+", whole))
    if not numbers:
        return whole + dice.choice(NUMBERS)
    found = dice.choice(numbers)
    return whole[: found.start()] + dice.choice(NUMBERS) + whole[found.end() :]


def _move_about(whole: bytes, dice: Random) -> bytes:
    start, end = _place(whole, dice)
    part, rest = whole[start:end], whole[:start] + whole[end:]
    there, _ = _place(rest, dice)
    return rest[:there] + part + rest[there:]


def _one_line(whole: bytes, dice: Random) -> bytes:
    return whole.replace(b"\n", dice.choice((b" ", b"", b"\r")))


DAMAGES: tuple[Callable[[bytes, Random], bytes], ...] = (
    _flip, _cut, _repeat, _number, _move_about, _one_line,
    _put_in(SIGNS, 5), _put_in(WORDS, 3), _put_in(NESTING, 5000),
    _put_in((b"x", b" ", b"\t", b"e4 ", b"0"), 20000),
)  # fmt: skip


# --- Readers -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Reader:
    """A way in. `begin`: whole inputs. `read`: whether it takes an input, else it refuses it in words.

    `command`: the arguments of a real command that reads it; None: there is none that takes it from outside.
    """

    name: str
    begin: Sequence[bytes]
    read: Callable[[bytes, Path], bool]
    command: Callable[[bytes, Path], list[str | bytes]] | None = None


def read_as_games(data: bytes, place: Path) -> bool:
    file = place / "games.pgn"
    file.write_bytes(data)
    good = True
    try:
        for found in read_games(file):
            if isinstance(found, Game):
                for _, board, _ in positions(found):
                    board.fen()
            else:
                good = False
                if odd := unsafe(str(found)):
                    raise AssertionError(f"not safe to show: {odd}")
    except GamesError:
        return False
    return good


def deck_reader(name: str, begin: Sequence[bytes]) -> Reader:
    """Reads a deck in which one file is damaged."""
    demo = demo_deck_folder()
    whole = {"deck.toml": (demo / "deck.toml").read_bytes(), "cards.pgn": b"", "verdicts.jsonl": b""}

    def folder(data: bytes, place: Path) -> Path:
        for file, kept in {**whole, name: data}.items():
            (place / "deck").mkdir(exist_ok=True)
            (place / "deck" / file).write_bytes(kept)
        return place / "deck"

    def read(data: bytes, place: Path) -> bool:
        found = read_deck(folder(data, place), set(MOTIFS))
        illegal_continuations(found.verdicts)
        return not found.faults

    def command(data: bytes, place: Path) -> list[str | bytes]:
        return ["check", str(folder(data, place)), "--engine", str(place / "engine"), "--depth", "1"]

    return Reader(f"deck, {name}", begin, read, command)


def cards_and_verdicts(folder: Path) -> tuple[list[bytes], list[bytes]]:
    """Single cards of a deck, as PGN, and lines of its verdicts; the first verdicts are the first card's."""
    cards = re.split(rb"(?m)^(?=\[Event )", (folder / "cards.pgn").read_bytes())[1:]
    lines = (folder / "verdicts.jsonl").read_bytes().splitlines(keepends=True)
    first = chess.Board(re.search(rb'\[FEN "([^"]*)"', cards[0])[1].decode())  # type: ignore[index]
    lines.sort(key=lambda line: first.epd().encode() not in line)
    return cards, lines


def text(data: bytes) -> str:
    """As the command line gives it to a program: what is no UTF-8 becomes surrogates."""
    return data.decode("utf-8", "surrogateescape")


def declared(*errors: type[Exception]) -> Callable[[Callable[[str], object]], Callable[[bytes, Path], bool]]:
    """A reader of text that refuses by these exceptions."""

    def reader(read: Callable[[str], object]) -> Callable[[bytes, Path], bool]:
        def tried(data: bytes, place: Path) -> bool:
            try:
                read(text(data))
            except errors as error:
                str(error)
                return False
            return True

        return tried

    return reader


def explain_fen(data: bytes, place: Path) -> list[str | bytes]:
    return ["explain", "--", data.replace(b"\0", b"")]


def explain_line(data: bytes, place: Path) -> list[str | bytes]:
    return ["explain", b"--line=" + data.replace(b"\0", b""), chess.STARTING_FEN]


def move_reader(board: chess.Board) -> Callable[[str], object]:
    def read(written: str) -> None:
        errors = []
        for source in (PGN, ENGINE):
            try:
                read_move(board, written, source)
            except MoveError as error:
                errors.append(error)
        for refusal in errors:
            if odd := unsafe(str(refusal)):
                raise AssertionError(f"not safe to show: {odd}")
        entry.read_move(board, written)

    return read


def read_as_verdicts(data: bytes, place: Path) -> bool:
    found = read_verdicts(data.decode(errors="replace"))
    return not found.faults and not illegal_continuations(found)


def settings_reader(written: str) -> None:
    read_settings(written.encode("utf-8", "replace").decode())  # a file is decoded before it gets here


def readers() -> tuple[Reader, ...]:
    demo = demo_deck_folder()
    games = re.split(rb"(?m)^(?=\[Event )", (demo / "games.pgn").read_bytes())[1:]
    cards, verdicts = cards_and_verdicts(demo)
    deck = Deck.open(demo)
    fens = [card.fen.encode() for card in deck.cards]
    lines = [game.rpartition(b"]")[2].strip() for game in games]
    board = chess.Board(deck.cards[0].fen)
    moves = [board.san(move).encode() for move in board.legal_moves]
    moves += [b"1. " + move + b"!?" for move in moves] + [b"e7e8q", b"O-O-O", b"Ng1-f3", b"exd6 e.p."]
    motifs = [tag.motif for card in deck.cards for tag in card.motifs]
    tags = [f"{motif}=e1 e5 e8; {motif}=a1".encode() for motif in motifs]
    tags += [f"{motif}:white; {motif}:black".encode() for motif in motifs]
    tags += [b"verdict=white 2; material=level", b"12"]
    spots = [f"{TITLES[motif]}, e1 e8 {motif}; a1".encode() for motif in motifs]

    def tag(written: str) -> None:
        tried: list[Callable[[], object]] = [
            lambda: read_evidence(written, motifs),
            lambda: read_motifs(written, set(MOTIFS)),
            lambda: read_factors(written),
            lambda: read_root(written, 20),
        ]
        errors = []
        for read in tried:
            try:
                read()
            except ValueError as error:
                errors.append(error)
        if len(errors) == len(tried):
            raise errors[0]

    def scan(data: bytes, place: Path) -> list[str | bytes]:
        (place / "games.pgn").write_bytes(data)
        return ["scan", str(place / "games.pgn"), "--scorebook", str(place / "scorebook.sqlite")]

    pairs = [one + other for one, other in pairwise(games)]
    return (
        Reader("games", [*pairs, *cards], read_as_games, scan),
        deck_reader("deck.toml", [(demo / "deck.toml").read_bytes()]),
        deck_reader("cards.pgn", [one + other for one, other in pairwise(cards)]),
        deck_reader("verdicts.jsonl", verdicts),
        Reader("settings", [(demo / "deck.toml").read_bytes()], declared(DeckError)(settings_reader)),
        Reader("verdicts", verdicts, read_as_verdicts),
        Reader("FEN", fens, declared(FenError)(board_from_fen), explain_fen),
        Reader(
            "line", lines,
            declared(LineError)(lambda written: parse_line(chess.Board(), written)),
            explain_line,
        ),
        Reader("move", moves, declared(entry.EntryError)(move_reader(board))),
        Reader("tags", tags, declared(ValueError)(tag)),
        Reader("spot entry", spots, declared(entry.EntryError)(lambda written: read_spot(TITLES, written))),
    )  # fmt: skip


def unsafe(shown: str) -> str:
    """The characters of a text that a terminal would obey, quoted."""
    obeyed = ("Cc", "Cf", "Cs", "Zl", "Zp")
    odd = {sign for sign in shown if sign != "\n" and unicodedata.category(sign) in obeyed}
    return ", ".join(map(ascii, sorted(odd)))


# --- Measuring -----------------------------------------------------------------------------------------


@dataclass
class Outcome:
    """What became of an input. `wrong`: offences by kind, each with words."""

    taken: bool = False
    seconds: float = 0.0
    megabytes: float = 0.0
    wrong: dict[str, str] = field(default_factory=dict)

    def judge(self, size: int, usual_seconds: float = 0.0) -> Outcome:
        """Note it if time or memory is over the limit for an input of so many bytes."""
        if self.seconds > SECONDS + usual_seconds + size / BYTES_A_SECOND:
            self.wrong["slow"] = f"{self.seconds:.1f} s"
        if self.megabytes > MEGABYTES + 2 * size / 1e6:
            self.wrong["large"] = f"{self.megabytes:.0f} MB"
        return self


def resident(what: str) -> float:
    """Megabytes of this process that are in memory now (VmRSS), or were at most (VmHWM); proc(5)."""
    found = re.search(rf"{what}:\s+([0-9]+) kB", Path("/proc/self/status").read_text())
    assert found is not None
    return int(found[1]) / 1024


def measured(read: Callable[[], bool], size: int) -> Outcome:
    """Read one input in this process."""
    outcome = Outcome()
    Path("/proc/self/clear_refs").write_text("5")  # VmHWM starts anew
    before, began = resident("VmRSS"), time.process_time()
    signal.setitimer(signal.ITIMER_VIRTUAL, GIVEN_UP_AFTER + size / BYTES_A_SECOND)
    try:
        outcome.taken = read()
    except TooLong:
        outcome.wrong["slow"] = "given up"
    except AssertionError as error:
        outcome.wrong["control"] = str(error)
    except Exception as error:
        outcome.wrong["undeclared"] = f"{type(error).__name__}: {error}"[:300]
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
    outcome.seconds = time.process_time() - began
    outcome.megabytes = resident("VmHWM") - before
    return outcome.judge(size)


def run(arguments: Sequence[str | bytes], place: Path, size: int, usual_seconds: float = 0.0) -> Outcome:
    """Run a command to its end, and look at all that it prints."""
    printed = place / "printed"
    with printed.open("wb") as output:
        process = subprocess.Popen(
            [sys.executable, "-m", "decks.start", *arguments],
            cwd=ROOT,
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=subprocess.STDOUT,
            preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_CPU, (60, 60)),
        )
        _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    shown = printed.read_bytes().decode(errors="surrogateescape")
    outcome = Outcome(process.returncode == 0, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)
    if "Traceback (most recent call last)" in shown or process.returncode not in STATUSES:
        outcome.wrong["undeclared"] = f"status {process.returncode}: {shown[-300:]!a}"
    if odd := unsafe(shown):
        outcome.wrong["control"] = odd
    return outcome.judge(size, usual_seconds)


# --- Known to be hard ----------------------------------------------------------------------------------


def known() -> Iterator[tuple[str, str, bytes]]:
    """Names of inputs that are known to be hard, the file of a deck that each is, and the bytes."""
    for tags in (13_500, 27_000):
        spaced = b"".join(b'[Tag%d "x"]\n\n' % number for number in range(tags))
        yield f"cards.pgn, {tags} distinct tags and blank lines", "cards.pgn", spaced
    for key in (b"a", b'"a"', b"a "):
        dotted = b".".join([key] * (65_000 // (len(key) + 1)))
        yield f"deck.toml, one dotted key of {key.decode()!r}", "deck.toml", dotted + b" = 1\n"
        yield f"deck.toml, one dotted table of {key.decode()!r}", "deck.toml", b"[" + dotted + b"]\n"
    yield "deck.toml, nested lists", "deck.toml", b"a = " + b"[" * 30_000 + b"]" * 30_000
    yield "verdicts.jsonl, a million broken lines", "verdicts.jsonl", b"{}\n" * 1_000_000
    yield "verdicts.jsonl, a million empty brackets a line", "verdicts.jsonl", b"[" * 1_000_000
    for megabytes in (63, 255):
        newlines = b"\n" * (megabytes * 1024 * 1024)
        yield f"verdicts.jsonl, {megabytes} MB of newlines", "verdicts.jsonl", newlines


def games_around(fen: bytes) -> bytes:
    """Three games, the middle one from this position."""
    plain = b'[Event "Saltmarsh"]\n[White "Wren, Anna"]\n[Date "2031.03.%02d"]\n%s\n1. e4 e5 2. Nf3 *\n\n'
    return plain % (1, b"") + plain % (2, b'[SetUp "1"]\n[FEN "' + fen + b'"]\n') + plain % (3, b"")


def games_stored(scorebook: Path) -> int:
    with closing(sqlite3.connect(scorebook)) as connection:
        return int(connection.execute("SELECT count(*) FROM games").fetchone()[0])


@dataclass
class Record:
    """What was wrong so far, and where offenders are saved."""

    folder: Path
    table: dict[str, Counter[str]] = field(default_factory=dict)
    lines: list[str] = field(default_factory=list)

    def offences(self, name: str) -> int:
        counts = self.table.get(name, Counter())
        return sum(counts[kind] for kind in KINDS)

    def note(self, name: str, outcome: Outcome, data: bytes, number: str) -> None:
        counts = self.table.setdefault(name, Counter())
        counts["inputs"] += 1
        counts["taken"] += outcome.taken
        for kind, words in outcome.wrong.items():
            counts[kind] += 1
            self.folder.mkdir(parents=True, exist_ok=True)
            stem = re.sub("[^a-z0-9]+", "-", f"{kind} {name} {number}".lower())
            (self.folder / stem).write_bytes(data[: 1 << 20])
            self.lines.append(f"{stem}: {words}")


def try_known(record: Record, place: Path) -> None:
    for name, file, data in known():
        reader = deck_reader(file, [])
        outcome = measured(partial(reader.read, data, place), len(data))
        print(f"{name:58}{len(data) / 1e6:8.2f} MB{outcome.seconds:7.2f} s{outcome.megabytes:8.0f} MB more")
        record.note("known to be hard", outcome, data, name)
    for digits in (5, 400, 4300, 9000):  # Python writes no number of more than 4300; a move makes one more
        data = games_around(b"rnbqkbnr/pppppppp/8/8/8/8/PPPPPPPP/RNBQKBNR w KQkq - 0 " + b"9" * digits)
        games = place / "games.pgn"
        games.write_bytes(data)
        for more in ([], ["--findings"], ["--workers", "2"]) if digits == 4300 else ([],):
            command = ["scan", str(games), *more, "--scorebook", str(place / "known")]
            outcome = run(command, place, len(data), 1.0)
            words = f"games, a move number of {digits} digits {' '.join(more)}"
            stored = 0 if outcome.wrong else games_stored(place / "known")
            if stored < 2:
                outcome.wrong.setdefault("undeclared", f"{stored} of three games scanned")
            (place / "known").unlink(missing_ok=True)
            became = outcome.wrong or "the other two scanned"
            print(f"{words:58}{len(data) / 1e6:8.2f} MB{outcome.seconds:7.2f} s  {became}")
            record.note("known to be hard", outcome, data, words)


def try_commands(record: Record, place: Path, count: int, seed: int) -> None:
    """Damaged inputs through real commands."""
    ways = [(reader, reader.command) for reader in readers() if reader.command]
    usual = [run(command(reader.begin[0], place), place, 0, SECONDS).seconds for reader, command in ways]
    for number in range(count):
        dice, place_of_way = Random(f"{seed} command {number}"), number % len(ways)
        reader, command = ways[place_of_way]
        data = damaged(dice.choice(reader.begin), dice)
        outcome = run(command(data, place), place, len(data), usual[place_of_way])
        record.note(f"command: {reader.name}", outcome, data, str(number))


def try_readers(record: Record, place: Path, count: int, seed: int) -> None:
    """Damaged inputs through the readers, in this process."""
    ways = readers()
    for number in range(count):
        reader, dice = ways[number % len(ways)], Random(f"{seed} {number}")
        if record.offences(reader.name) >= MOST_OFFENCES:
            continue
        data = damaged(dice.choice(reader.begin), dice)
        record.note(reader.name, measured(partial(reader.read, data, place), len(data)), data, str(number))


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=50_000, metavar="N", help="inputs (50000)")
    parser.add_argument("--commands", type=int, default=100, metavar="N", help="more, by commands (100)")
    parser.add_argument("--seed", type=int, default=1, metavar="S")
    parser.add_argument("--save", type=Path, metavar="DIR", help="for offenders (a temporary one)")
    given = parser.parse_args(arguments)
    record = Record(given.save or Path(tempfile.mkdtemp(prefix="offenders-")))
    signal.signal(signal.SIGVTALRM, give_up)
    with tempfile.TemporaryDirectory(prefix="inputs-") as folder:
        place = Path(folder)
        engine = place / "engine"
        script = ROOT / "tests" / "fake_engine.py"
        engine.write_text(f'#!/bin/sh\nexec "{sys.executable}" "{script}" steady\n')
        engine.chmod(0o755)
        try:
            try_known(record, place)
            try_commands(record, place, given.commands, given.seed)
            try_readers(record, place, given.count, given.seed)
        except KeyboardInterrupt:
            print("interrupted: this is what was tried so far")
    kinds = ("inputs", "taken", *KINDS)
    print(f"\n{'':26}" + "".join(f"{kind:>12}" for kind in kinds))
    for name, counts in record.table.items():
        print(f"{name:26}" + "".join(f"{counts[kind]:12}" for kind in kinds))
    print(f"{len(record.lines)} offences" + (f", saved in {record.folder}" if record.lines else ""))
    for line in record.lines[:40]:
        print(f"  {line}")
    if record.lines:
        raise SystemExit(1)


def give_up(number: int, frame: object) -> None:
    raise TooLong


if __name__ == "__main__":
    main()
