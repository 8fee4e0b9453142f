"""A conversation with one chess engine: start it, search, read its answers, and always end it.

Protocol: UCI (S. Meyer-Kahlen, R. Huber, 2006), spoken by `chess.engine`. The engine is a separate process in
its own process group. So Ctrl-C reaches only us, and `close` ends its child processes too. If this program is
killed, a watcher ends the group. The event loop belongs to the conversation and runs only inside its calls:
call them only when no event loop is running.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import os
import subprocess
from collections.abc import Coroutine, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import chess
import chess.engine
from chess.engine import Cp, InfoDict, Score

from patterns.engines import process_group
from patterns.engines.effort import HASH_MB
from patterns.engines.reports import DEPTH, LINE_NUMBER, LastReports
from patterns.engines.scores import CENTIPAWN_CAP, MAX_DEPTH, expected_from_centipawns
from patterns.reading.text import safe

START_SECONDS = 20.0
"""Time limit for the handshake. An engine in Python on a cold, busy machine takes one or two seconds."""

SILENCE_SECONDS = 120.0
"""Longest wait for the next line of a search. A healthy engine reports every few seconds at any depth."""

SEARCH_SECONDS = 1800.0
"""Longest search, whatever it reports: half an hour, many times what any of our depths takes."""

QUIT_SECONDS = 1.0
"""How long an engine may take to quit on its own before it is killed."""

MAX_REPORTS = 200_000
"""The most lines of one search: a thousand times what a search sends, so more is nonsense."""

MAX_LINES = 500
"""The highest line number in a report: more than any position has moves."""

# Our own errors report what the library would log about unexpected lines, or it is of no interest.
logging.getLogger("chess.engine").addHandler(logging.NullHandler())

SIGN_OF_LIFE = b"info string alive"
"""What the library gets instead of reports that do not count. It passes over reports that say nothing."""

T = TypeVar("T")


class EngineError(Exception):
    """An engine that is missing or fails. The message is one line; it names the engine and the position."""


@dataclass(frozen=True)
class Reading:
    """What a search found for the side to move: expected score 0..1, depth in plies, and the line it found.

    `rank` orders readings of equal expected score, such as two mates.
    """

    score: float
    depth: int
    rank: Score
    line: tuple[chess.Move, ...]


class _Guarded(chess.engine.UciProtocol):
    """The protocol, but it refuses numbers that the library would accept unchecked.

    Of the reports of a search, the library parses only those that count, at its end.
    """

    reports = LastReports(several=False)
    _begun = b""

    def pipe_data_received(self, fd: int, data: bytes | str) -> None:
        if fd == 1 and isinstance(data, bytes):
            *lines, self._begun = (self._begun + data).split(b"\n")
            data = b"".join(line + b"\n" for line in self._that_count(lines))
        super().pipe_data_received(fd, data)

    def _that_count(self, lines: list[bytes]) -> Iterator[bytes]:
        sign_of_life = False
        for line in lines:
            if line.startswith(b"info"):
                report = line.decode(errors="replace").rstrip()
                _refuse_nonsense(report)
                self.reports.take(report)
                sign_of_life = True
                continue
            if sign_of_life:
                yield SIGN_OF_LIFE
                sign_of_life = False
            if line.startswith(b"bestmove"):
                yield from (report.encode() for report in self.reports.lines())
            yield line
        if sign_of_life:
            yield SIGN_OF_LIFE


def _refuse_nonsense(report: str) -> None:
    for number, name, most in ((DEPTH, "depth", MAX_DEPTH), (LINE_NUMBER, "multipv", MAX_LINES)):
        said = number.search(report)
        if said and (len(said[1]) > 9 or not 0 <= int(said[1]) <= most):
            raise chess.engine.EngineError(f"reports {name} {said[1]}")


class Conversation:
    """One running engine. Close it at the end. After an EngineError it can only be closed."""

    def __init__(
        self,
        argv: Sequence[str],
        start_seconds: float,
        silence_seconds: float,
        search_seconds: float = SEARCH_SECONDS,
    ) -> None:
        self.name = safe(os.path.basename(argv[-1] if len(argv) > 1 else argv[0]), 60)
        self._silence, self._search_seconds = silence_seconds, search_seconds
        self._game = object()
        self._hash_mb = HASH_MB
        self._broken = False
        self._transport: asyncio.SubprocessTransport | None = None
        self._ended: asyncio.Future[int] | None = None
        self._watcher: subprocess.Popen[bytes] | None = None
        self._loop = asyncio.new_event_loop()
        self._fault: asyncio.Future[BaseException] = self._loop.create_future()
        self._loop.set_exception_handler(self._note_fault)
        try:
            self._run(self._start(list(argv)), start_seconds, "as a UCI engine")
        except BaseException:
            self.close()
            raise
        options = self._protocol.options
        self.name = safe(self._protocol.id.get("name") or self.name, 60)
        self.reports_wdl = "UCI_ShowWDL" in options
        self.max_lines = int(options["MultiPV"].max or 1) if "MultiPV" in options else 1

    async def _start(self, argv: list[str]) -> None:
        self._transport, self._protocol = await _Guarded.popen(argv, process_group=0)
        self._ended = self._protocol.returncode
        self._watcher = process_group.watch(self._transport.get_pid())
        await self._protocol.initialize()
        await self._protocol.configure(
            self._allowed({"Threads": 1, "Hash": self._hash_mb, "UCI_ShowWDL": True})
        )
        await self._protocol.ping()

    def _allowed(self, wanted: Mapping[str, int]) -> dict[str, int]:
        """The options that the engine has, each within the limits that it states."""
        options = self._protocol.options
        return {
            name: min(max(value, options[name].min or value), options[name].max or value)
            for name, value in wanted.items()
            if name in options
        }

    def forget(self, hash_mb: int = HASH_MB) -> None:
        """Let the engine clear its memory before the next search, so that it starts like a new one.

        `hash_mb`: the size of that memory from now on, in megabytes, as far as the engine allows it.
        """
        self._game = object()
        if hash_mb != self._hash_mb:
            self._run(self._protocol.configure(self._allowed({"Hash": hash_mb})), self._silence, "a new size")
            self._hash_mb = hash_mb

    def search(
        self,
        board: chess.Board,
        limit: chess.engine.Limit,
        moves: Iterable[chess.Move] | None = None,
        lines: int = 1,
    ) -> dict[chess.Move, Reading]:
        """The `lines` best moves of `board` (only of `moves`, if given) with what was found for each.

        More than one line needs an engine whose `max_lines` allows it. EngineError if no score comes.
        """
        where = f"in {board.fen()}"
        reports, best = self._run(self._search(board, limit, moves, lines), None, where)
        scored = [report for report in reports if "score" in report]
        try:
            found = self._by_move(scored, board.turn) if lines > 1 else self._last(scored, best, board.turn)
        except EngineError as error:
            raise EngineError(f"{self.name} {error}, {where}") from error
        if not found:
            raise EngineError(f"{self.name} gave no score {where}")
        return found

    async def _search(
        self,
        board: chess.Board,
        limit: chess.engine.Limit,
        moves: Iterable[chess.Move] | None,
        lines: int,
    ) -> tuple[list[InfoDict], chess.Move | None]:
        deadline = self._loop.time() + self._search_seconds
        self._protocol.reports = LastReports(several=lines > 1)
        analysis = await asyncio.wait_for(
            self._protocol.analysis(board, limit, multipv=lines, game=self._game, root_moves=moves),
            self._silence,
        )
        reports: list[InfoDict] = []
        while (report := await asyncio.wait_for(analysis.next(), self._silence)) is not None:
            reports.append(report)
            if self._protocol.reports.count > MAX_REPORTS:
                raise chess.engine.EngineError("more lines than any search has")
            if self._loop.time() > deadline:
                raise chess.engine.EngineError(f"no end after {self._search_seconds:g} seconds")
        return reports, (await analysis.wait()).move

    def break_off(self) -> None:
        """End what the engine is doing, from another thread: the call under way there fails."""
        context = {"message": "broken off"}
        with contextlib.suppress(RuntimeError):  # closed by now
            self._loop.call_soon_threadsafe(self._note_fault, self._loop, context)

    # --- Reading the engine's reports

    def _by_move(self, reports: list[InfoDict], turn: chess.Color) -> dict[chess.Move, Reading]:
        found = {}
        for report in reports:
            line = report.get("pv")
            if line and not _is_bound(report):
                found[line[0]] = self._reading(report, report["score"].pov(turn), tuple(line))
        return found

    def _last(
        self, reports: list[InfoDict], best: chess.Move | None, turn: chess.Color
    ) -> dict[chess.Move, Reading]:
        """The single line of a plain search, with the score from its last depth.

        An engine that narrows its search window may send only bounds. The last two of a depth enclose the
        score. They show only the beginning of a line; the whole one is from the last exact report of it.
        """
        if not reports:
            return {}
        whole = [tuple(report["pv"]) for report in reports if report.get("pv") and not _is_bound(report)]
        depth = max(report.get("depth", 0) for report in reports)
        reports = [report for report in reports if report.get("depth", 0) == depth]
        exact = [report for report in reports if not _is_bound(report)]
        lower = [report for report in reports if report.get("lowerbound")]
        upper = [report for report in reports if report.get("upperbound")]
        report = (exact or lower or upper)[-1]
        score = report["score"].pov(turn)
        if not exact and lower and upper:
            ends = [bounds[-1]["score"].pov(turn).score() for bounds in (lower, upper)]
            if ends[0] is not None and ends[1] is not None:
                score = Cp((ends[0] + ends[1]) // 2)
        lines = [*(tuple(report["pv"]) for report in reports if report.get("pv")), *whole]
        line = next((line for line in reversed(lines) if best in (None, line[0])), (best,) if best else ())
        return {line[0]: self._reading(report, score, line)} if line else {}

    def _reading(self, report: InfoDict, score: Score, line: tuple[chess.Move, ...]) -> Reading:
        depth = report.get("depth", 0)
        if score.is_mate():
            return Reading(1.0 if score > Cp(0) else 0.0, depth, score, line)
        centipawns = max(-CENTIPAWN_CAP, min(CENTIPAWN_CAP, score.score() or 0))
        if not self.reports_wdl:
            return Reading(expected_from_centipawns(centipawns), depth, Cp(centipawns), line)
        if "wdl" not in report:
            raise EngineError("offers win, draw and loss but does not report them")
        wdl = report["wdl"].relative  # reports are for the side to move
        if min(wdl.wins, wdl.draws, wdl.losses) < 0 or wdl.total() <= 0:
            raise EngineError("reports win, draw and loss that cannot be")
        return Reading(wdl.expectation(), depth, Cp(centipawns), line)

    # --- Running and ending the engine

    def _run(self, work: Coroutine[Any, Any, T], seconds: float | None, doing: str) -> T:
        """Run `work` on the loop. Whatever goes wrong with the process becomes one EngineError."""
        if self._broken or self._loop.is_closed():
            work.close()
            raise EngineError(f"{self.name} is no longer running")
        try:
            return self._loop.run_until_complete(self._first(work, seconds))
        except BaseException as error:
            self._broken = True
            # Catch everything: a broken process shows up in the library as many kinds of exception.
            if isinstance(error, asyncio.TimeoutError):
                waited = self._silence if seconds is None else seconds
                raise EngineError(f"{self.name} did not answer {doing} ({waited:g} seconds)") from error
            if isinstance(error, OSError):
                raise EngineError(f"{self.name}: {error.strerror or error}") from error
            if isinstance(error, chess.engine.EngineTerminatedError):
                raise EngineError(f"{self.name} stopped instead of answering {doing}") from error
            if isinstance(error, Exception):
                raise EngineError(f"{self.name} answered wrongly {doing}: {safe(error)}") from error
            raise

    async def _first(self, work: Coroutine[Any, Any, T], seconds: float | None) -> T:
        """The result of `work`, or the fault that the loop reports meanwhile, where `work` would wait on.

        The library does not notice that an engine has ended between two searches, so its end counts too.
        """
        task = asyncio.ensure_future(work)
        waiting: set[asyncio.Future[Any]] = {task, self._fault}
        if self._ended is not None:
            waiting.add(self._ended)
        await asyncio.wait(waiting, timeout=seconds, return_when=asyncio.FIRST_COMPLETED)
        if task.done():
            return task.result()
        task.cancel()
        if self._ended is not None and self._ended.done():
            raise chess.engine.EngineTerminatedError("ended")
        raise self._fault.result() if self._fault.done() else asyncio.TimeoutError

    def _note_fault(self, loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
        if not loop.is_closed() and not self._fault.done():
            self._fault.set_result(context.get("exception") or RuntimeError(context["message"]))

    def kill(self) -> None:
        """Kill the engine at once, from any thread. A search in work fails. `close` must still be called."""
        if self._transport is not None and self._transport.get_returncode() is None:
            with contextlib.suppress(OSError):
                process_group.end(self._transport.get_pid())

    def close(self) -> None:
        """End the engine, politely if it responds. No process, task or open pipe remains. Can be repeated."""
        if self._loop.is_closed():
            return
        try:
            if self._transport is not None:
                self._loop.run_until_complete(self._leave(self._transport))
            for task in asyncio.all_tasks(self._loop):
                task.cancel()
                with contextlib.suppress(asyncio.CancelledError, Exception):
                    self._loop.run_until_complete(task)
        finally:
            self._loop.close()
            if self._watcher is not None:
                process_group.dismiss(self._watcher)

    async def _leave(self, transport: asyncio.SubprocessTransport) -> None:
        if not self._broken:
            with contextlib.suppress(Exception):
                await asyncio.wait_for(self._protocol.quit(), QUIT_SECONDS)
        self._broken = True
        with contextlib.suppress(OSError):  # also where the engine has quit: it may have left helpers behind
            process_group.end(transport.get_pid())
        with contextlib.suppress(Exception):
            await asyncio.wait_for(asyncio.shield(self._protocol.returncode), QUIT_SECONDS)
        transport.close()


def _is_bound(report: InfoDict) -> bool:
    return bool(report.get("lowerbound") or report.get("upperbound"))
