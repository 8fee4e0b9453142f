"""The engine that looks again at contested moves: found on this system, run in the background."""

from __future__ import annotations

from concurrent.futures import Future, InvalidStateError
from contextlib import suppress
from threading import Thread
from types import TracebackType
from typing import TYPE_CHECKING

from decks.review.messages import LookAgain
from patterns.engines.scores import PositionVerdicts

if TYPE_CHECKING:
    from patterns.engines.judging import EngineCommand, Judge

START_SECONDS = 5.0
"""A student waits for it, and an engine that is strong enough starts within a second."""

SEARCH_SECONDS = 60.0
"""Many times what two moves take to the depth of a key. What takes longer is left to the coach."""

LEAVING_SECONDS = 2.0
"""How long the end of a session waits for engines to end. A watcher ends what is left."""


class EngineAtHand:
    """Looks again at contested moves. Use it in a `with` block: its searches end with the block."""

    def __init__(self) -> None:
        self._left = False
        self._judges: list[Judge] = []
        self._threads: list[Thread] = []

    def look(self, question: LookAgain) -> Future[PositionVerdicts | None] | None:
        """Begin a search. None if there is no engine; the result is None if it is too weak or fails."""
        from patterns.engines.judging import EngineError, find_engine

        try:
            command = find_engine()
        except EngineError:
            return None
        found: Future[PositionVerdicts | None] = Future()
        # A daemon: an engine that hangs while it starts must not hold up the end of the program.
        work = (found, command, question)
        thread = Thread(target=self._answer, args=work, daemon=True, name="second look")
        self._threads.append(thread)
        thread.start()
        return found

    def _answer(
        self, found: Future[PositionVerdicts | None], command: EngineCommand, question: LookAgain
    ) -> None:
        with suppress(InvalidStateError):  # the session is over, and nobody waits any more
            try:
                found.set_result(self._verdicts(command, question))
            except Exception as error:
                found.set_exception(error)

    def _verdicts(self, command: EngineCommand, question: LookAgain) -> PositionVerdicts | None:
        from patterns.engines.judging import EngineError, Judge
        from patterns.engines.strength import strong_enough

        try:
            with Judge.open(command, start_seconds=START_SECONDS, search_seconds=SEARCH_SECONDS) as judge:
                self._judges.append(judge)
                if self._left or not strong_enough(judge.name, question.depth):
                    return None
                return judge.compare(question.board, question.moves, question.depth)
        except EngineError:
            return None

    def __enter__(self) -> EngineAtHand:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._left = True
        for judge in list(self._judges):
            judge.break_off()
        for thread in self._threads:
            thread.join(LEAVING_SECONDS)
