"""What an engine can be asked about a position, as plain data. The same question gets the same answer."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Protocol

import chess

from patterns.engines.effort import HASH_MB, SETTLED, Effort
from patterns.engines.scores import Compared, Evaluation, PositionVerdicts

Answer = PositionVerdicts | Evaluation | Compared


@dataclass(frozen=True)
class Question:
    """Asks for a verdict on every legal move. `tried`: moves (UCI) as for `Judge.judge`."""

    board: chess.Board
    effort: Effort = SETTLED
    tried: tuple[str, ...] = ()

    @property
    def effort_name(self) -> str:
        """Everything that decides the answer beside the position and the engine.

        >>> Question(chess.Board(), SETTLED, ("e2e4", "d2d4")).effort_name.removeprefix(SETTLED.name)
        ' tried d2d4 e2e4'
        """
        return " ".join([self.effort.name, *(["tried", *sorted({*self.tried})] if self.tried else [])])


@dataclass(frozen=True)
class Glance:
    """Asks for one score and one line, from a single search of so many nodes (positions) or plies."""

    board: chess.Board
    nodes: int | None = None
    plies: int | None = None

    @property
    def effort_name(self) -> str:
        """Everything that decides the answer beside the position and the engine.

        >>> Glance(chess.Board(), 10_000).effort_name, Glance(chess.Board(), plies=4).effort_name
        ('glance 10000 nodes hash64', 'glance 4 plies hash64')
        """
        return f"glance {_limit(self.nodes, self.plies)} hash{HASH_MB}"


@dataclass(frozen=True)
class Comparison:
    """Asks what a move (UCI) loses against the best one, by searches of so many nodes or plies each."""

    board: chess.Board
    move: str
    nodes: int | None = None
    plies: int | None = None

    @property
    def effort_name(self) -> str:
        """Everything that decides the answer beside the position and the engine.

        >>> Comparison(chess.Board(), "e2e4", plies=16).effort_name
        'compared e2e4 16 plies hash64'
        """
        return f"compared {self.move} {_limit(self.nodes, self.plies)} hash{HASH_MB}"


Asked = Question | Glance | Comparison


def _limit(nodes: int | None, plies: int | None) -> str:
    return f"{plies} plies" if nodes is None else f"{nodes} nodes"


class Answering(Protocol):
    """The part of `patterns.engines.judging.Judge` that answers questions."""

    def judge(
        self, board: chess.Board, effort: Effort | None = None, tried: Collection[str] = ()
    ) -> PositionVerdicts:
        """A verdict for every legal move of `board`."""
        ...

    def evaluate(
        self, board: chess.Board, *, depth: int | None = None, nodes: int | None = None
    ) -> Evaluation:
        """The position's score for the side to move, and the moves that the engine expects."""
        ...

    def against_best(
        self, board: chess.Board, move: str, *, depth: int | None = None, nodes: int | None = None
    ) -> Compared:
        """A legal move (UCI) of `board` beside the best one."""
        ...


def answered(question: Asked, judge: Answering) -> Answer:
    """What this judge answers."""
    if isinstance(question, Glance):
        return judge.evaluate(question.board, depth=question.plies, nodes=question.nodes)
    if isinstance(question, Comparison):
        return judge.against_best(question.board, question.move, depth=question.plies, nodes=question.nodes)
    return judge.judge(question.board, question.effort, question.tried)
