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
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from types import TracebackType

import chess
from chess.engine import Limit

from patterns.engines.aftermath import ON_PLIES, with_aftermath
from patterns.engines.effort import (
    BY_CHILD_NODES,
    BY_CHILD_PLIES,
    HASH_MB,
    OTHER_HASH_MB,
    QUICK_HASH_MB,
    SETTLED,
    Effort,
    Search,
)
from patterns.engines.forced_ends import corrected
from patterns.engines.quiet_lines import LONGEST, SHORT, quiet_line
from patterns.engines.rounds import Searched, as_verdict, best_of, is_settled, search_in_rounds, unclear_moves
from patterns.engines.rule_ends import (
    after,
    before_reply,
    is_over,
    moves_and_ends,
    reading_by_rule,
    without_history,
)
from patterns.engines.scores import Compared, Evaluation, MoveVerdict, PositionVerdicts, quality
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
    "EngineCommand",
    "EngineError",
    "Evaluation",
    "Judge",
    "find_engine",
]

ENGINE_VARIABLE = "RONDEAU_ENGINE"


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
    places = [os.environ.get("PATH", os.defpath), "/usr/games", str(Path(sys.executable).parent)]
    search_path = os.pathsep.join(places)
    for name, source in ((explicit, "as asked"), (os.environ.get(ENGINE_VARIABLE), ENGINE_VARIABLE)):
        if name:
            program = shutil.which(os.path.expanduser(name), path=search_path)
            if program is None:
                reason = "not a program" if Path(name).exists() else "not found"
                by = f" (named by {source})" if source == ENGINE_VARIABLE else ""
                raise EngineError(f"engine {safe(name)}{by}: {reason}")
            return EngineCommand((program,), source)
    for program in ("stockfish", "sunfish-uci"):
        if found := shutil.which(program, path=search_path):
            return EngineCommand((found,), "found on this system")
    # It only ever runs as a separate process. It is never imported.
    if importlib.util.find_spec("sunfish"):
        return EngineCommand((sys.executable, "-m", "sunfish"), "found on this system")
    raise EngineError(f"no chess engine found: install stockfish, or name a UCI engine in {ENGINE_VARIABLE}")


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

    def judge(self, board: chess.Board, effort: Effort | None = None) -> PositionVerdicts:
        """A verdict for every legal move, best first, with this effort (None: SETTLED).

        Move clocks and earlier positions do not count. A move that ends the game is scored by the rules. This
        is as certain as any search, so its depth is that of the effort. The position is settled if all
        searches of the effort agree; the later ones are made only if the first agrees with itself.
        ValueError if the position is impossible or has no legal move. EngineError if the engine fails.
        """
        effort = (effort or SETTLED).suited(self.several_lines)
        board = without_history(board)
        moves, ended = moves_and_ends(board, effort.depth)
        would_try = {move for move in moves if _is_forcing(board, move)}
        asker = _Asker(self._engine, board)

        def searched(search: Search) -> Searched:
            self._engine.forget(search.hash_mb)
            return search_in_rounds(asker, search, moves, ended, would_try, effort.most_holding)

        first, *others = effort.searches
        made = [searched(first)]
        if others and is_settled(made):
            made += map(searched, others)
        settled = len(made) > 1 and is_settled(made)
        unclear = set() if settled else unclear_moves(made)
        verdicts = self._verdicts(asker, made[0], would_try, unclear, effort)
        found = PositionVerdicts(board.epd(), self.name, self.conversion, verdicts, settled)
        return self.followed(found, effort)

    def followed(self, verdicts: PositionVerdicts, effort: Effort) -> PositionVerdicts:
        """The verdicts with what comes of each move, as far as something is told of it: see `Aftermath`.

        `verdicts`: those that the effort without its aftermath comes to. So this is all that `judge` finds.
        """
        effort = effort.suited(self.several_lines)
        if effort.aftermath is None or (effort.most_holding is not None and not verdicts.settled):
            return verdicts
        self._engine.forget()
        board = chess.Board.from_epd(verdicts.epd)[0]
        return with_aftermath(verdicts, board, effort.aftermath, _Asker(self._engine, board).reading)

    def _verdicts(
        self,
        asker: _Asker,
        found: Searched,
        would_try: Collection[chess.Move],
        unclear: Collection[chess.Move],
        effort: Effort,
    ) -> dict[str, MoveVerdict]:
        """The verdicts, best first, each with a line that ends quietly if the move is worth it."""
        self._engine.forget()
        last, readings = found.rounds[-1], dict[chess.Move, Reading]()
        plies = min(ON_PLIES, effort.depth)
        for move, reading in found.readings.items():
            longest = LONGEST if move in last or move in would_try else SHORT
            go_on = partial(asker.expected, plies) if effort.ends_quiet and longest == LONGEST else None
            line = asker.with_reply(move, reading.line, plies)
            line = quiet_line(asker.board, line, longest + 1, go_on)
            readings[move] = corrected(asker.board, replace(reading, line=line))
        best, verdicts = best_of(readings), {}
        # What the rules prove is not in doubt, and the rounds compared nothing with it.
        searched = {move for move in readings if readings[move].rank == found.readings[move].rank}
        doubtful = searched.intersection(unclear) if best in searched else set()
        for move in sorted(readings, key=lambda one: (readings[one].score, readings[one].rank), reverse=True):
            fails = quality(as_verdict(readings[best]), as_verdict(readings[move])) == "fails"
            line = readings[move].line[1:]
            verdicts[move.uci()] = as_verdict(readings[move], _uci(line), fails and move in doubtful)
        return verdicts

    def compare(self, board: chess.Board, moves: Collection[str], depth: int) -> PositionVerdicts:
        """Verdicts for these legal moves (UCI) only, from one search to `depth` plies.

        The hash memory is that of a second search, so that the engine doesn't only repeat what it found for
        `judge`. Errors as for `judge`.
        """
        board = without_history(board)
        asker = _Asker(self._engine, board)
        searched, ended = moves_and_ends(board, depth)
        self._engine.forget(OTHER_HASH_MB)
        found = ended | asker.each([move for move in searched if move.uci() in moves], depth)
        verdicts = {}
        for move, reading in found.items():
            if move.uci() in moves:
                line = asker.with_reply(move, reading.line, depth)
                reading = corrected(board, replace(reading, line=line))
                verdicts[move.uci()] = as_verdict(reading, _uci(reading.line[1:]))
        return PositionVerdicts(board.epd(), self.name, self.conversion, verdicts)

    def break_off(self) -> None:
        """End the search under way, from another thread; there it is an EngineError."""
        self._engine.break_off()

    def evaluate(
        self, board: chess.Board, *, depth: int | None = None, nodes: int | None = None
    ) -> Evaluation:
        """The position's score for the side to move, from one search to `depth` plies or `nodes` positions.

        ValueError if neither or both limits are given, or if the position is impossible.
        """
        limit = self._limit(depth, nodes)
        board = without_history(board)
        end = reading_by_rule(board)
        if end is not None:
            return Evaluation(end.score, None, ())
        self._engine.forget(HASH_MB if nodes is None else QUICK_HASH_MB)
        (reading,) = self._engine.search(board, limit).values()
        return _evaluation(reading)

    def against_best(
        self, board: chess.Board, move: str, *, depth: int | None = None, nodes: int | None = None
    ) -> Compared:
        """A move (UCI) beside the best one: one search finds the best, a second one compares the two.

        So both scores are from the same search, to `depth` plies or of `nodes` positions. An engine that
        cannot search two moves at once searches the position after each instead. Errors as for `evaluate`;
        ValueError also if the move is not legal.
        """
        limit = self._limit(depth, nodes)
        board = without_history(board)
        played = chess.Move.from_uci(move)
        moves, ended = moves_and_ends(board, depth or 0)
        if played not in ended and played not in moves:
            raise ValueError(f"{move} is not legal in {board.fen()}")
        self._engine.forget()
        found = dict(ended)
        if moves:
            ((best, reading),) = self._engine.search(board, limit, moves if ended else None).items()
            found[best] = reading
        if played not in found:
            found |= _Asker(self._engine, board).two(best, played, limit)
        top = max(found, key=lambda one: (found[one].score, found[one].rank, one == played))
        return Compared(_evaluation(found[top]), _evaluation(found[played]))

    def _limit(self, depth: int | None, nodes: int | None) -> Limit:
        """The limit of a quick search: less for a slow engine, that must be asked move by move.

        ValueError if neither or both are given.
        """
        if (depth is None) == (nodes is None):
            raise ValueError("give depth or nodes")
        if not self.several_lines:
            depth, nodes = depth and min(depth, BY_CHILD_PLIES), nodes and min(nodes, BY_CHILD_NODES)
        return Limit(depth=depth, nodes=nodes)


class _Asker:
    """Asks the engine about the moves of one position: all at once if it can, else one by one."""

    def __init__(self, engine: Conversation, board: chess.Board) -> None:
        self.board = board
        self._engine = engine

    def each(self, moves: Sequence[chess.Move], plies: int) -> dict[chess.Move, Reading]:
        """A reading for each of these moves; as many in one search as the engine allows."""
        found: dict[chess.Move, Reading] = {}
        if self._engine.max_lines > 1:
            for group in _groups(moves, self._engine.max_lines):
                found |= self._engine.search(self.board, Limit(depth=plies), group, len(group))
        return {move: found.get(move) or self._after_move(move, plies) for move in moves}

    def two(self, one: chess.Move, other: chess.Move, limit: Limit) -> dict[chess.Move, Reading]:
        """A reading for each of two moves, from the same search if the engine allows it."""
        if self._engine.max_lines > 1:
            found = self._engine.search(self.board, limit, [one, other], 2)
            if len(found) == 2:
                return found
        found = {}
        for move in (one, other):
            (reply,) = self._engine.search(after(self.board, move), limit).values()
            found[move] = before_reply(move, reply, reply.depth + 1)
        return found

    def best_of(self, moves: Sequence[chess.Move], plies: int, lines: int) -> dict[chess.Move, Reading]:
        """Readings of the best `lines` of these moves, from one search by an engine with MultiPV."""
        lines = min(lines, self._engine.max_lines)
        found = self._engine.search(self.board, Limit(depth=plies), moves, lines)
        return {move: reading for move, reading in found.items() if reading.depth >= plies}

    def with_reply(
        self, move: chess.Move, line: tuple[chess.Move, ...], plies: int
    ) -> tuple[chess.Move, ...]:
        """The line, with a reply if the engine sent only the move: a student has to see the reply."""
        if len(line) > 1 or is_over(after(self.board, move)):
            return line
        return self._after_move(move, plies).line

    def expected(self, plies: int, board: chess.Board) -> Sequence[chess.Move]:
        """The moves that the engine expects from `board`, by a search of `plies`."""
        return self.reading(board, plies).line

    def reading(self, board: chess.Board, plies: int) -> Reading:
        """A reading of `board`, which is any position that is not over, by a search of `plies`."""
        (reading,) = self._engine.search(board, Limit(depth=plies)).values()
        return reading

    def _after_move(self, move: chess.Move, plies: int) -> Reading:
        reply = self.reading(after(self.board, move), max(1, plies - 1))
        return before_reply(move, reply, reply.depth + 1)


def _evaluation(reading: Reading) -> Evaluation:
    return Evaluation(reading.score, reading.rank.score(), _uci(reading.line))


def _is_forcing(board: chess.Board, move: chess.Move) -> bool:
    return board.is_capture(move) or board.gives_check(move)


def _groups(moves: Sequence[chess.Move], size: int) -> Iterator[Sequence[chess.Move]]:
    for start in range(0, len(moves), size):
        yield moves[start : start + size]


def _uci(line: Iterable[chess.Move]) -> tuple[str, ...]:
    return tuple(move.uci() for move in line)
