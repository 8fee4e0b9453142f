"""What an engine can be asked about a position, as plain data. The same question gets the same answer."""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass, replace
from typing import Protocol

import chess

from patterns.engines.effort import HASH_MB, QUICK_HASH_MB, SETTLED, Effort
from patterns.engines.scores import Compared, Evaluation, PositionVerdicts

Answer = PositionVerdicts | Evaluation | Compared


@dataclass(frozen=True)
class Question:
    """Asks for a verdict on every legal move.

    It does not say which card the position belongs to, so that every card gets the same answer.
    `judged`: what the effort without its aftermath has found already, if it is known. It saves time and
    changes no answer.
    """

    board: chess.Board
    effort: Effort = SETTLED
    judged: PositionVerdicts | None = None

    @property
    def effort_name(self) -> str:
        """Everything that decides the answer beside the position and the engine."""
        return self.effort.name

    @property
    def kept_names(self) -> tuple[str, ...]:
        """The effort names under which an answer to this question may be kept.

        An effort that may end early is content with the answer of one that may not.

        >>> from patterns.engines.effort import Round, Search
        >>> limited = Effort((Search((Round(8),)),), most_holding=4)
        >>> Question(chess.Board(), limited).kept_names
        ('v3 8 hash64 quiet', 'v3 8 hash64 quiet most4')
        """
        return tuple(dict.fromkeys((self._to_the_end, self.effort_name)))

    def kept_name(self, found: Answer) -> str:
        """The effort name under which an answer is kept. A settled answer did not end early."""
        settled = isinstance(found, PositionVerdicts) and found.settled
        return self._to_the_end if settled else self.effort_name

    @property
    def _to_the_end(self) -> str:
        return replace(self.effort, most_holding=None).name


class _AnsweredOneWay(ABC):
    """A question that has one name, under which every answer is kept."""

    @property
    @abstractmethod
    def effort_name(self) -> str:
        """Everything that decides the answer beside the position and the engine."""

    @property
    def kept_names(self) -> tuple[str, ...]:
        """As `Question.kept_names`."""
        return (self.effort_name,)

    def kept_name(self, found: Answer) -> str:
        """As `Question.kept_name`."""
        return self.effort_name


@dataclass(frozen=True)
class Glance(_AnsweredOneWay):
    """Asks for one score and one line, from a single search of so many nodes (positions) or plies."""

    board: chess.Board
    nodes: int | None = None
    plies: int | None = None

    @property
    def effort_name(self) -> str:
        """Everything that decides the answer beside the position and the engine.

        >>> Glance(chess.Board(), 10_000).effort_name, Glance(chess.Board(), plies=4).effort_name
        ('glance 10000 nodes v2 hash4', 'glance 4 plies hash64')
        """
        hash_mb = HASH_MB if self.nodes is None else QUICK_HASH_MB
        return f"glance {_limit(self.nodes, self.plies)} hash{hash_mb}"


@dataclass(frozen=True)
class Comparison(_AnsweredOneWay):
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
    """A search that ends in the middle of a depth has a whole line since version 2 of this name."""
    return f"{plies} plies" if nodes is None else f"{nodes} nodes v2"


class Answering(Protocol):
    """The part of `patterns.engines.judging.Judge` that answers questions."""

    def judge(self, board: chess.Board, effort: Effort | None = None) -> PositionVerdicts:
        """A verdict for every legal move of `board`."""
        ...

    def followed(self, verdicts: PositionVerdicts, effort: Effort) -> PositionVerdicts:
        """The verdicts with the aftermath of the effort."""
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
    if question.judged is not None:
        return judge.followed(question.judged, question.effort)
    return judge.judge(question.board, question.effort)
