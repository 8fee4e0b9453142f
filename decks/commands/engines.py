"""An engine for a command. It starts when it is first needed, and ends with the command."""

from __future__ import annotations

from collections.abc import Collection
from contextlib import ExitStack
from types import TracebackType
from typing import TYPE_CHECKING

from decks.commands.terminal import warn

if TYPE_CHECKING:
    import chess

    from patterns.engines.effort import Effort
    from patterns.engines.judging import Evaluation, Judge
    from patterns.engines.scores import PositionVerdicts


class LazyJudge:
    """A judge that starts its engine at the first question. Use it in a `with` block.

    `name`: the engine's own name once it runs, empty before. `effort`: the whole protocol, to `depth` plies
    if the user asked for a depth; if it is less than the engine will search in any case, one line says so.
    The constructor raises EngineError if there is no such engine.
    """

    def __init__(self, engine: str | None, depth: int | None = None) -> None:
        from patterns.engines.effort import SETTLED
        from patterns.engines.judging import find_engine

        self.name = ""
        self.effort = SETTLED if depth is None else SETTLED.to_depth(depth)
        self._depth = depth
        self._command = find_engine(engine)
        self._judge: Judge | None = None
        self._running = ExitStack()

    def judge(
        self, board: chess.Board, effort: Effort | None = None, tried: Collection[str] = ()
    ) -> PositionVerdicts:
        """A verdict for every legal move; see `patterns.engines.judging.Judge.judge`."""
        return self._started().judge(board, effort or self.effort, tried)

    def evaluate(
        self, board: chess.Board, *, depth: int | None = None, nodes: int | None = None
    ) -> Evaluation:
        """One score for the position; see `patterns.engines.judging.Judge.evaluate`."""
        return self._started().evaluate(board, depth=depth, nodes=nodes)

    def _started(self) -> Judge:
        if self._judge is None:
            from patterns.engines.judging import Judge

            self._judge = self._running.enter_context(Judge.open(self._command))
            self.name = self._judge.name
            least = self.effort.suited(self._judge.several_lines).least_depth
            if self._depth is not None and self._depth < least:
                warn(
                    f"--depth {self._depth}: {least} is used, because every move is searched to {least} plies"
                )
        return self._judge

    def __enter__(self) -> LazyJudge:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._running.close()
