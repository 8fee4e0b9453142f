"""Judging positions with a chess engine: a verdict for every legal move, or one score for the position.

Any UCI engine will do. Every verdict says which engine made it and how deep it searched, because what a weak
or shallow search says must not be used for grading: see `strong_enough`.
"""

from __future__ import annotations

import importlib.util
import os
import shutil
import sys
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType

import chess
from chess.engine import Cp, Limit, Mate

from patterns.engines.effort import SETTLED, Effort
from patterns.engines.scores import HOLDS_WITHIN, Evaluation, MoveVerdict, PositionVerdicts
from patterns.engines.uci import (
    SEARCH_SECONDS,
    SILENCE_SECONDS,
    START_SECONDS,
    Conversation,
    EngineError,
    Reading,
)
from patterns.reading.text import safe

__all__ = [
    "UNVERIFIED_BELOW",
    "EngineCommand",
    "EngineError",
    "Evaluation",
    "Judge",
    "find_engine",
    "strong_enough",
]

ENGINE_VARIABLE = "RONDEAU_ENGINE"

UNVERIFIED_BELOW = 16
"""Plies: a verdict from fewer, or from an engine not in STRONG_ENGINES, counts as unverified."""

STRONG_ENGINES = ("stockfish",)
"""Engines far above any human player, by the first word of their UCI name, casefolded (common practice)."""

NEAR_BEST = 2 * HOLDS_WITHIN
"""Moves within this of the best move are searched deep: the moves that hold, and a margin of the same size
for the error of the wide search. So the deep search always decides between holding and slipping."""


@dataclass(frozen=True)
class EngineCommand:
    """How to start an engine. `argv`: program and arguments. `source`: who named it, for messages."""

    argv: tuple[str, ...]
    source: str


def find_engine(explicit: str | None = None) -> EngineCommand:
    """The engine to use: the first of `explicit` (a path or the name of a command), the engine that
    RONDEAU_ENGINE names, an installed Stockfish, and the small engine `sunfish-uci`.

    EngineError if a named engine is not there (then no other is tried), or if none is found.
    """
    for name, source in ((explicit, "as asked"), (os.environ.get(ENGINE_VARIABLE), ENGINE_VARIABLE)):
        if name:
            program = shutil.which(os.path.expanduser(name))
            if program is None:
                reason = "not a program" if Path(name).exists() else "not found"
                by = f" (named by {source})" if source == ENGINE_VARIABLE else ""
                raise EngineError(f"engine {safe(name)}{by}: {reason}")
            return EngineCommand((program,), source)
    search_path = os.pathsep.join([os.environ.get("PATH", os.defpath), "/usr/games"])
    beside_python = os.pathsep.join([str(Path(sys.executable).parent), search_path])
    for program, place in (("stockfish", search_path), ("sunfish-uci", beside_python)):
        if found := shutil.which(program, path=place):
            return EngineCommand((found,), "found on this system")
    # It only ever runs as a separate process. It is never imported.
    if importlib.util.find_spec("sunfish"):
        return EngineCommand((sys.executable, "-m", "sunfish"), "found on this system")
    raise EngineError(f"no chess engine found: install stockfish, or name a UCI engine in {ENGINE_VARIABLE}")


def strong_enough(engine_name: str, depth: int) -> bool:
    """Whether a verdict counts as verified: an engine of STRONG_ENGINES, UNVERIFIED_BELOW plies or more.

    >>> strong_enough("Stockfish 15.1", 16), strong_enough("Stockfish 15.1", 12), strong_enough("sunfish", 20)
    (True, False, False)
    """
    first_word = (engine_name.casefold().split() or [""])[0]
    return first_word in STRONG_ENGINES and depth >= UNVERIFIED_BELOW


class Judge:
    """A running engine. Use it in a `with` block: its process always ends with the block."""

    def __init__(self, conversation: Conversation) -> None:
        self._engine = conversation

    @classmethod
    def open(
        cls,
        command: EngineCommand,
        *,
        start_seconds: float = START_SECONDS,
        silence_seconds: float = SILENCE_SECONDS,
        search_seconds: float = SEARCH_SECONDS,
    ) -> Judge:
        """Start the engine. EngineError if it cannot be started or does not speak UCI within `start_seconds`.

        `silence_seconds`: how long a search may send nothing before the engine counts as hung.
        `search_seconds`: how long a search may take in total.
        """
        return cls(Conversation(command.argv, start_seconds, silence_seconds, search_seconds))

    def __enter__(self) -> Judge:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """End the engine's process. A second call does nothing."""
        self._engine.close()

    def kill(self) -> None:
        """Kill the engine's process, from any thread. A search in work ends with an EngineError.

        `close` must still be called, when no other call is running.
        """
        self._engine.kill()

    @property
    def name(self) -> str:
        """The engine's own name, safe to show."""
        return self._engine.name

    @property
    def conversion(self) -> str:
        """How its scores become expected scores: `wdl` (its own report) or `logistic` (from centipawns)."""
        return "wdl" if self._engine.reports_wdl else "logistic"

    @property
    def several_lines(self) -> bool:
        """Whether it can search several moves at once (MultiPV). If not, it is asked move by move."""
        return self._engine.max_lines > 1

    def judge(
        self, board: chess.Board, effort: Effort | None = None, tried: Collection[str] = ()
    ) -> PositionVerdicts:
        """A verdict for every legal move, best first, with this effort (None: SETTLED).

        `tried`: moves (UCI) that a person would try; captures and checks count as such anyway.
        In the end every move within NEAR_BEST of the best has been searched deep, so no shallow score stands
        next to the best one. Move clocks and earlier positions do not count. A move that ends the game is
        scored by the rules. This is as certain as any search, so its depth is that of the effort.
        ValueError if the position is impossible or has no legal move. EngineError if the engine fails.
        """
        effort = (effort or SETTLED).suited(self.several_lines)
        wide, deep = effort.least_depth, effort.depth
        board = _without_history(board)
        found: dict[chess.Move, Reading] = {}
        searched: list[chess.Move] = []
        for move in board.legal_moves:
            end = _reading_by_rule(_after(board, move))
            if end is None:
                searched.append(move)
            else:
                found[move] = Reading(1.0 - end.score, deep, -end.rank, (move,))
        if not found and not searched:
            raise ValueError(f"no legal move in {board.fen()}")
        self._engine.forget()
        settled = set(found)
        found |= self._search_moves(board, searched, wide)
        while near := [move for move in _near_best(found) if move not in settled]:
            found |= self._search_moves(board, near, deep)
            settled.update(near)
        ranked = sorted(found, key=lambda move: (-found[move].score, -found[move].rank, move.uci()))
        moves = {move.uci(): self._move_verdict(board, move, found[move], wide) for move in ranked}
        return PositionVerdicts(board.epd(), self.name, self.conversion, moves)

    def evaluate(
        self, board: chess.Board, *, depth: int | None = None, nodes: int | None = None
    ) -> Evaluation:
        """The position's score for the side to move, from one search to `depth` plies or `nodes` positions.

        ValueError if neither or both limits are given, or if the position is impossible.
        """
        if (depth is None) == (nodes is None):
            raise ValueError("give depth or nodes")
        board = _without_history(board)
        end = _reading_by_rule(board)
        if end is not None:
            return Evaluation(end.score, None, ())
        self._engine.forget()
        (reading,) = self._engine.search(board, Limit(depth=depth, nodes=nodes)).values()
        return Evaluation(reading.score, reading.rank.score(), _uci(reading.line))

    def _search_moves(
        self, board: chess.Board, moves: Sequence[chess.Move], depth: int
    ) -> dict[chess.Move, Reading]:
        found: dict[chess.Move, Reading] = {}
        if self.several_lines:
            for group in _groups(moves, self._engine.max_lines):
                found |= self._engine.search(board, Limit(depth=depth), group, len(group))
        return {move: found.get(move) or self._search_child(board, move, depth) for move in moves}

    def _search_child(self, board: chess.Board, move: chess.Move, depth: int) -> Reading:
        limit = Limit(depth=max(1, depth - 1))
        (reply,) = self._engine.search(_after(board, move), limit).values()
        return Reading(1.0 - reply.score, reply.depth + 1, -reply.rank, (move, *reply.line))

    def _move_verdict(self, board: chess.Board, move: chess.Move, reading: Reading, wide: int) -> MoveVerdict:
        line = reading.line
        if len(line) == 1 and not _is_over(_after(board, move)):
            # The engine sent only one move, but a student has to see the reply.
            line = self._search_child(board, move, wide).line
        centipawns, mate = reading.rank.score(), reading.rank.mate()
        if reading.rank.is_mate():
            mate = 1 if line == (move,) else mate
        return MoveVerdict(reading.score, reading.depth, _uci(line[1:]), centipawns, mate)


def _without_history(board: chess.Board) -> chess.Board:
    """The position as its four-field EPD states it. ValueError if it is impossible."""
    bare = chess.Board()
    bare.set_epd(board.epd())
    if not bare.is_valid():
        raise ValueError(f"not a possible position: {board.fen()}")
    return bare


def _is_over(board: chess.Board) -> bool:
    return not any(board.legal_moves) or board.is_insufficient_material()


def _reading_by_rule(board: chess.Board) -> Reading | None:
    """The result for the side to move if the rules decide it: mate, stalemate, too little material to mate.

    FIDE Laws of Chess, articles 5.1.1, 5.2.1 and 5.2.2.
    """
    if not _is_over(board):
        return None
    return Reading(0.0, 0, Mate(0), ()) if board.is_checkmate() else Reading(0.5, 0, Cp(0), ())


def _after(board: chess.Board, move: chess.Move) -> chess.Board:
    child = board.copy(stack=False)
    child.push(move)
    child.clear_stack()
    return child


def _near_best(found: dict[chess.Move, Reading]) -> list[chess.Move]:
    floor = max(reading.score for reading in found.values()) - NEAR_BEST
    return [move for move, reading in found.items() if reading.score >= floor]


def _groups(moves: Sequence[chess.Move], size: int) -> Iterator[Sequence[chess.Move]]:
    for start in range(0, len(moves), size):
        yield moves[start : start + size]


def _uci(line: Iterable[chess.Move]) -> tuple[str, ...]:
    return tuple(move.uci() for move in line)
