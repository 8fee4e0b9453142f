"""The engines of a command: one for each core. They start when first needed, and end with the command."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import ExitStack
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

from decks.commands.terminal import warn
from decks.commands.workers import worker_processes

if TYPE_CHECKING:
    from patterns.engines.engine_pass import Awaited, EnginePass, Kept
    from patterns.engines.questions import Asked, Question
    from patterns.engines.scores import PositionVerdicts


class CommandEngines:
    """An engine pass that starts at the first question. Use it in a `with` block.

    `effort`: the whole protocol, to `depth` plies if the user asked for a depth; if it is less than the
    engine will search in any case, one line says so. `workers`: engines at work; None: one for each core.
    Searches are kept in the scorebook. The constructor raises EngineError if there is no such engine.
    """

    def __init__(self, engine: str | None, depth: int | None, workers: int | None, scorebook: Path) -> None:
        from patterns.engines.effort import SETTLED
        from patterns.engines.engine_pass import cores
        from patterns.engines.judging import find_engine

        self.effort = SETTLED if depth is None else SETTLED.to_depth(depth)
        self.workers = workers or cores()
        self._depth, self._scorebook = depth, scorebook
        self._command = find_engine(engine)
        self._pass: EnginePass | None = None
        self._open_things = ExitStack()

    @property
    def name(self) -> str:
        """The engine's own name once one runs, empty before."""
        return self._pass.about.name if self._pass and self._pass.about else ""

    @property
    def answered(self) -> int:
        """Answers given so far."""
        return self._pass.answered if self._pass else 0

    @property
    def searched(self) -> int:
        """Those of the answers that needed a search."""
        return self._pass.searched if self._pass else 0

    def answers(self, questions: Iterable[Question]) -> Iterator[tuple[Question, PositionVerdicts]]:
        """As `patterns.engines.engine_pass.EnginePass.answers`."""
        questions = list(questions)
        return self._started().answers(questions) if questions else iter(())

    def ask(self, question: Asked) -> Awaited:
        """As `patterns.engines.engine_pass.EnginePass.ask`."""
        return self._started().ask(question)

    def wait(self) -> None:
        """As `patterns.engines.engine_pass.EnginePass.wait`."""
        self._started().wait()

    def _started(self) -> EnginePass:
        if self._pass is None:
            from patterns.engines.engine_pass import EnginePass

            kept = self._kept()
            executor = self._open_things.enter_context(worker_processes(self.workers))
            running = EnginePass(self._command, executor, kept, self.workers)
            self._pass = self._open_things.enter_context(running)
            least = self.effort.suited(running.start().several_lines).least_depth
            if self._depth is not None and self._depth < least:
                warn(
                    f"--depth {self._depth}: {least} is used, because every move is searched to {least} plies"
                )
        return self._pass

    def _kept(self) -> Kept | None:
        """The searches of the scorebook. Without one, a command only takes longer the next time."""
        from decks.scorebook.book import Scorebook, ScorebookError
        from patterns.reading.text import safe

        try:
            return self._open_things.enter_context(Scorebook.open(self._scorebook)).searches()
        except ScorebookError as error:
            warn(f"searches are not kept: {safe(error)}")
            return None

    def __enter__(self) -> CommandEngines:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._open_things.close()
