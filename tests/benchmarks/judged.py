"""Quiet positions of real games with an engine's judgement: data for the benchmarks of the factors.

Judgements are kept in a file, by default in the system's temporary folder, so that a second run is fast. The
engine must speak UCI, report win/draw/loss, and (for the classical terms) have the `eval` of Stockfish 15.
"""

from __future__ import annotations

import json
import re
import subprocess
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from random import Random
from types import TracebackType

import chess
import chess.pgn
import numpy as np

from patterns.boards.exchange import exchange
from patterns.boards.positions import Positions

NODES = 200_000
"""For judging a verdict."""
NODES_FOR_FIT = 20_000
"""For fitting: many positions, each judged less exactly, say more than a few."""
FIRST_PLY = 16
"""Opening moves from books say nothing about judging, so sampling starts at move nine."""


@dataclass(frozen=True)
class Sample:
    """A position of a game: `game` is its place among all the games read."""

    game: int
    ply: int
    fen: str


@dataclass(frozen=True)
class Judgement:
    """What the engine says about a position, for White: expected score, centipawns, and the classical terms.

    `classical`: the classical evaluation in pawns. `terms`: by name, (middlegame, endgame) totals.
    """

    expected: float
    centipawns: float
    classical: float
    terms: dict[str, list[float]]


def quiet(boards: list[chess.Board]) -> list[bool]:
    """Which boards are quiet: not in check, and no capture or promotion gains anything by exchange."""
    positions = Positions.from_boards(boards)
    result = [not board.is_check() for board in boards]
    for colour in chess.COLORS:
        rows, origins, destinations = [], [], []
        for row, board in enumerate(boards):
            if board.turn != colour or not result[row]:
                continue
            for move in board.legal_moves:
                if board.is_capture(move) or move.promotion == chess.QUEEN:
                    rows.append(row)
                    origins.append(move.from_square)
                    destinations.append(move.to_square)
        turn = 0 if colour else 56
        row_array = np.array(rows, dtype=np.int64)
        gains = exchange(
            positions.side_view(colour).take(row_array),
            np.array(origins, dtype=np.int64) ^ turn,
            np.array(destinations, dtype=np.int64) ^ turn,
        )
        for row in row_array[gains > 0]:
            result[row] = False
    return result


def games_of(paths: Iterable[Path]) -> Iterator[chess.pgn.Game]:
    """Every readable standard game of the PGN files."""
    for path in paths:
        with path.open(encoding="utf-8-sig", errors="replace") as lines:
            while (game := chess.pgn.read_game(lines)) is not None:
                if not game.errors and type(game.board()) is chess.Board:
                    yield game


def samples(paths: Iterable[Path], per_game: int, seed: int = 1) -> list[Sample]:
    """Up to `per_game` quiet positions of each game, odd and even plies equally, none of them twice."""
    random, seen, chosen = Random(seed), set(), []
    for number, game in enumerate(games_of(paths)):
        boards = [node.board() for node in game.mainline() if node.ply() >= FIRST_PLY]
        if not boards:
            continue
        fit = [board for board, is_quiet in zip(boards, quiet(boards), strict=True) if is_quiet]
        by_parity = [[b for b in fit if b.ply() % 2 == parity] for parity in (0, 1)]
        random.shuffle(by_parity[0])
        random.shuffle(by_parity[1])
        first = number % 2
        for place in range(per_game):
            pool = by_parity[(place + first) % 2]
            if pool:
                board = pool.pop()
                if board.epd() not in seen and board.legal_moves.count():
                    seen.add(board.epd())
                    chosen.append(Sample(number, board.ply(), board.fen()))
    return chosen


class Engine:
    """One UCI process, used line by line. A context manager."""

    def __init__(self, command: str) -> None:
        self._process = subprocess.Popen(
            ["nice", "-n", "10", command], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1
        )

    def __enter__(self) -> Engine:
        self._say("uci")
        self._until("uciok")
        self.set("UCI_ShowWDL", "true")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._say("quit")
        self._process.wait(timeout=10)

    def _say(self, line: str) -> None:
        assert self._process.stdin is not None
        self._process.stdin.write(line + "\n")
        self._process.stdin.flush()

    def _until(self, word: str) -> list[str]:
        assert self._process.stdout is not None
        lines = []
        for line in self._process.stdout:
            lines.append(line.rstrip())
            if line.startswith(word):
                return lines
        raise RuntimeError(f"the engine ended before it said {word!r}")

    def set(self, option: str, value: object) -> None:
        """Set an option of the engine."""
        self._say(f"setoption name {option} value {value}")

    def move(self, fen: str, nodes: int) -> str:
        """The move (UCI) that it would play."""
        self._say(f"position fen {fen}")
        self._say(f"go nodes {nodes}")
        return self._until("bestmove")[-1].split()[1]

    def judge(self, fen: str, nodes: int) -> Judgement:
        """Search the position, then ask for its classical evaluation."""
        turn = 1 if chess.Board(fen).turn else -1
        self.set("Use NNUE", "true")
        self._say("ucinewgame")
        self._say(f"position fen {fen}")
        self._say(f"go nodes {nodes}")
        exact = [
            line
            for line in self._until("bestmove")
            if " wdl " in line and not re.search(r"(low|upp)erbound", line)
        ]
        found = re.search(r"score (cp|mate) (-?\d+) wdl (\d+) (\d+) (\d+)", exact[-1])
        assert found is not None, exact[-1]
        kind, number, wins, draws, _ = found.groups()
        expected = (int(wins) + int(draws) / 2) / 1000
        centipawns = float(number) if kind == "cp" else (10_000.0 if int(number) > 0 else -10_000.0)
        self.set("Use NNUE", "false")
        self._say("eval")
        return Judgement(
            expected if turn > 0 else 1 - expected,
            centipawns * turn,
            *classical_terms(self._until("Final evaluation")),
        )


def classical_terms(lines: Iterable[str]) -> tuple[float, dict[str, list[float]]]:
    """The classical evaluation (pawns, White's) and the total of each of its terms."""
    terms, total = {}, None
    for line in lines:
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if len(cells) == 4 and re.fullmatch(r"-?\d+\.\d+\s+-?\d+\.\d+", cells[3]):
            terms[cells[0].lower()] = [float(number) for number in cells[3].split()]
        elif found := re.match(r"Classical evaluation\s+([+-]\d+\.\d+)", line):
            total = float(found.group(1))
    if total is None:
        raise ValueError("no classical evaluation: is the position in check, or is this another engine?")
    return total, terms


def judged(chosen: list[Sample], command: str, kept: Path, nodes: int = NODES) -> list[Judgement]:
    """The judgement of each sample, from the file if it is there, otherwise from the engine (and added).

    A file is for one number of nodes.
    """
    known = {}
    if kept.exists():
        for line in kept.read_text(encoding="utf-8").splitlines():
            entry = json.loads(line)
            fen = entry.pop("fen")
            known[fen] = Judgement(**entry)
    unknown = [sample.fen for sample in chosen if sample.fen not in known]
    if unknown:
        with Engine(command) as engine, kept.open("a", encoding="utf-8") as lines:
            for fen in unknown:
                known[fen] = engine.judge(fen, nodes)
                lines.write(json.dumps({"fen": fen, **asdict(known[fen])}) + "\n")
                lines.flush()
    return [known[sample.fen] for sample in chosen]
