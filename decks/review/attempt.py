"""An attempt: one card in front of a student, its asks in order, and the answers given so far. Pure."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import chess

from decks.cards.card import Ask, Grade
from decks.memory.model import Memory
from decks.review.evidence import key_squares
from decks.review.grading import (
    AssessMark,
    PlayMark,
    RowMark,
    SpotMark,
    StudentMove,
    ends_play,
    grade_of,
    grade_play,
    judge_move,
    score_assess,
    score_root,
    score_spot,
)
from decks.review.hints import Hint
from decks.review.task import Task
from patterns.words.verdicts import Verdict


@dataclass(frozen=True)
class RootMark:
    """What a `root` answer earned: the ply that let it in and the ply named (1 is the line's first move)."""

    score: float
    root: int
    answer: int


@dataclass(frozen=True)
class Given:
    """One answer, graded. `raw`: as given, JSON text. `hints`: taken on this card up to the answer.

    `memory`: what is remembered once it is saved, None before. `contested`: the student disputes the grade.
    """

    ask: Ask
    raw: str
    score: float
    grade: Grade
    seconds: float
    hints: int
    mark: AssessMark | PlayMark | SpotMark | RootMark
    memory: Memory | None = None
    contested: bool = False


@dataclass(frozen=True)
class Attempt:
    """One card being answered.

    `began`: when the current ask appeared (seconds). `given`: answers so far; the ask after them is current.
    `ballot`: marked rows, `row` the one in hand. `moves`: the student's, judged; `played`: every move on the
    board (UCI), replies included. `named`, `pointed`: motifs and squares of a `spot` answer. `ply`: where a
    `root` answer looks. `picked`: a man in hand; `promotions`: moves (UCI) between which to choose.
    """

    task: Task
    began: float
    given: tuple[Given, ...] = ()
    hints: tuple[Hint, ...] = ()
    ballot: Mapping[str, int] = field(default_factory=dict)
    row: int = 0
    moves: tuple[StudentMove, ...] = ()
    played: tuple[str, ...] = ()
    named: frozenset[str] = frozenset()
    pointed: frozenset[str] = frozenset()
    ply: int = 0
    picked: str | None = None
    promotions: tuple[str, ...] = ()

    @property
    def ask(self) -> Ask | None:
        """The ask in hand; None when all are answered."""
        return self.task.asks[len(self.given)] if len(self.given) < len(self.task.asks) else None

    @property
    def board(self) -> chess.Board:
        """The position in front of the student, with the moves that led to it; a copy."""
        moves = self.task.card.line[: self.ply] if self.ask == "root" else self.played
        return board_after(self.task.card.board, moves)

    @property
    def blank_rows(self) -> tuple[str, ...]:
        """Rows of the ballot not marked yet, from the top."""
        return tuple(row for row in self.task.rows if row not in self.ballot)

    @property
    def keeps_secret(self) -> bool:
        """Whether the card's motif may not be told: its `spot` ask is still to come, now or another day."""
        return "spot" in self.task.card.asks and all(given.ask != "spot" for given in self.given)

    @property
    def marked_rows(self) -> tuple[RowMark, ...]:
        """The rows of the ballot handed in, with their marks; none if none was."""
        marks = [given.mark for given in self.given if isinstance(given.mark, AssessMark)]
        return marks[0].rows if marks else ()


def board_after(start: chess.Board, moves: tuple[str, ...]) -> chess.Board:
    """A copy of `start` with these UCI moves played."""
    board = start.copy(stack=False)
    for move in moves:
        board.push_uci(move)
    return board


def begin(task: Task, at: float) -> Attempt:
    """The card as it first appears; a `root` ask starts at the end of its line."""
    return _at_ask(Attempt(task, at), at)


def saved(attempt: Attempt, memory: Memory, at: float) -> Attempt:
    """The attempt once its last answer is safely kept: the next ask begins."""
    last = replace(attempt.given[-1], memory=memory)
    return _at_ask(replace(attempt, given=(*attempt.given[:-1], last)), at)


def _at_ask(attempt: Attempt, at: float) -> Attempt:
    attempt = replace(attempt, began=at, picked=None, promotions=())
    return replace(attempt, ply=len(attempt.task.card.line)) if attempt.ask == "root" else attempt


def with_move(attempt: Attempt, move: str) -> tuple[Attempt, bool]:
    """The student's move (UCI, legal) on the board, answered by the stored reply; whether `play` is over."""
    line, ply = attempt.task.card.line, len(attempt.played)
    verdicts = attempt.task.verdicts[attempt.board.epd()]
    judged = judge_move(verdicts, move, line[ply] if ply < len(line) else None)
    over = ends_play(judged, len(line[ply + 2 :: 2]))
    played = (*attempt.played, move) if over else (*attempt.played, move, line[ply + 1])
    moves = (*attempt.moves, judged)
    return replace(attempt, moves=moves, played=played, picked=None, promotions=()), over


def answered(attempt: Attempt, at: float) -> Attempt:
    """The attempt with the ask in hand answered and graded, not saved yet."""
    ask, task, seconds = attempt.ask, attempt.task, max(0.0, at - attempt.began)
    assert ask is not None
    mark, raw = _marked(attempt, ask)
    grade = grade_of(mark.score, len(attempt.hints), seconds, task.usual_seconds.get(ask))
    given = Given(ask, json.dumps(raw), mark.score, grade, seconds, len(attempt.hints), mark)
    return replace(attempt, given=(*attempt.given, given))


def computed_key(task: Task) -> dict[str, Verdict]:
    """What the program makes of every row of the ballot."""
    assessment = task.explanation.assessment
    return {balance.factor: balance.verdict for balance in assessment.factors} | {
        "verdict": assessment.verdict
    }


def _marked(
    attempt: Attempt, ask: Ask
) -> tuple[AssessMark | PlayMark | SpotMark | RootMark, dict[str, object] | list[str]]:
    """The mark of the answer in hand, and the answer as the log keeps it."""
    task = attempt.task
    if ask == "assess":
        words = {row: str(Verdict.from_signed(cell)) for row, cell in attempt.ballot.items()}
        from patterns.factors.assessment import accepted  # array code: only once a ballot is marked

        near_borders = accepted(task.explanation.assessment)
        mark = score_assess(computed_key(task), attempt.ballot, task.card.factors, near_borders, task.rows)
        return mark, {**words}
    if ask == "play":
        return grade_play(attempt.moves), [move.move for move in attempt.moves]
    if ask == "spot":
        raw: dict[str, object] = {"motifs": sorted(attempt.named), "squares": sorted(attempt.pointed)}
        return _spot_mark(attempt), raw
    root, plies = task.card.root or 0, len(task.card.line)
    return RootMark(score_root(root - 1, attempt.ply - 1, plies), root, attempt.ply), {"ply": attempt.ply}


def _spot_mark(attempt: Attempt) -> SpotMark:
    from patterns.catalogue import MOTIFS

    key = key_squares(attempt.task)
    also: dict[str, frozenset[str]] = {}
    for finding in attempt.task.explanation.findings:
        if finding.motif not in key:
            also[finding.motif] = also.get(finding.motif, frozenset()) | {*finding.actors, *finding.targets}
    return score_spot(key, attempt.named, attempt.pointed, also, len(MOTIFS))
