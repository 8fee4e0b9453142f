"""Hints and evidence: what a card's motifs point to, told step by step.

A hint never names the move. First which motif, then where, then what the move must achieve.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import chess

from decks.card import Ask
from decks.task import Task
from patterns.wording import listed, named

if TYPE_CHECKING:
    from patterns.findings import Finding


@dataclass(frozen=True)
class Marks:
    """Squares to mark on the board, by role, as square names."""

    actors: frozenset[str] = frozenset()
    targets: frozenset[str] = frozenset()
    squares: frozenset[str] = frozenset()

    def __or__(self, other: Marks) -> Marks:
        return Marks(self.actors | other.actors, self.targets | other.targets, self.squares | other.squares)


NO_MARKS = Marks()


@dataclass(frozen=True)
class Hint:
    """One step of help: a sentence, and what it marks on the board of the card's position."""

    text: str
    marks: Marks = NO_MARKS


def motif_title(motif: str) -> str:
    """The motif's title in small letters, for a sentence; a motif the catalogue lacks by its id."""
    from patterns.catalogue import MOTIFS  # array code: only once a name is wanted

    return MOTIFS[motif].title.lower() if motif in MOTIFS else motif.replace("-", " ")


def key_findings(task: Task) -> tuple[Finding, ...]:
    """The findings in the card's position that its motif tags name, in the order of the tags."""
    return tuple(
        finding
        for tag in task.card.motifs
        for finding in task.explanation.findings
        if finding.motif == tag.motif and finding.side == tag.side
    )


def key_squares(task: Task) -> dict[str, frozenset[str]]:
    """The squares to point to, by motif: the coach's evidence, else the finding's actors and targets."""
    found: dict[str, frozenset[str]] = {tag.motif: frozenset() for tag in task.card.motifs}
    for finding in key_findings(task):
        found[finding.motif] |= {*finding.actors, *finding.targets}
    return {motif: frozenset(task.card.evidence.get(motif, squares)) for motif, squares in found.items()}


def evidence_marks(task: Task) -> Marks:
    """Everything the card's motifs rest on; where nothing was detected, the coach's evidence as targets."""
    marks = NO_MARKS
    for finding in key_findings(task):
        marks |= Marks(frozenset(finding.actors), frozenset(finding.targets), frozenset(finding.squares))
    pointed = frozenset(square for squares in task.card.evidence.values() for square in squares)
    return marks | Marks(targets=pointed - marks.actors - marks.targets - marks.squares)


def next_hint(task: Task, ask: Ask, board: chess.Board, taken: Sequence[Hint]) -> Hint | None:
    """The first hint not taken yet, None when there is nothing more to say.

    `board`: the position in front of the student, which a `play` answer may already have moved on.
    """
    told = {hint.text for hint in taken}
    return next((hint for hint in _hints(task, ask, board) if hint.text not in told), None)


def _hints(task: Task, ask: Ask, board: chess.Board) -> list[Hint]:
    which = [_which(task)] if task.card.motifs else []
    where = [_where(task)]
    if ask == "spot":
        return [*where, _whose(task), *which]  # here the name is the answer, so it comes last
    if ask == "root":
        return [*which, *where]
    aim = [_aim(task, board)] if ask == "play" else [_weightiest(task)]
    return [*which, *where, *aim]


def _which(task: Task) -> Hint:
    titles = dict.fromkeys(motif_title(tag.motif) for tag in task.card.motifs)
    return Hint(f"It is about this: {listed(titles)}.")


def _whose(task: Task) -> Hint:
    sides = dict.fromkeys(tag.side.capitalize() for tag in task.card.motifs)
    return Hint(f"It profits {listed(sides)}." if sides else "No motif of this card profits either side.")


def _where(task: Task) -> Hint:
    marks = evidence_marks(task)
    shown = sorted(marks.targets or marks.actors or marks.squares)
    if shown:
        return Hint(f"Look at {_men(task.card.board, shown)}.", marks)
    king = task.card.board.king(not task.card.board.turn)
    square = task.card.line[-1][2:4] if task.card.line else chess.square_name(king or 0)
    return Hint(f"Keep an eye on {square}.", Marks(squares=frozenset({square})))


def _weightiest(task: Task) -> Hint:
    """For a ballot: the factor that weighs most, without its side."""
    factor = max(task.explanation.assessment.factors, key=lambda balance: abs(balance.balance))
    return Hint(f"The factor that weighs most is {factor.factor.replace('-', ' ')}.")


def _aim(task: Task, board: chess.Board) -> Hint:
    """What the best move achieves, without naming it."""
    verdicts = task.verdicts[board.epd()]
    move = chess.Move.from_uci(verdicts.best)
    after = board.copy(stack=False)
    after.push(move)
    if after.is_checkmate():
        aim = "give mate"
    elif after.is_check():
        aim = "give check, and the reply is forced" if after.legal_moves.count() == 1 else "give check"
    elif board.is_capture(move):
        taken = move.to_square
        aim = "take a pawn" if board.is_en_passant(move) else f"take {named(board, taken)}"
    elif board.is_check():
        aim = "get out of check without losing anything"
    elif attacked := _newly_attacked(board, after, move):
        aim = f"attack {_men(board, attacked)}"
    else:
        aim = "be quiet: no check and no capture"
    return Hint(f"Your move must {aim}.")


def _newly_attacked(before: chess.Board, after: chess.Board, move: chess.Move) -> list[str]:
    enemy = before.occupied_co[not before.turn]
    fresh = after.attacks(move.to_square) - before.attacks(move.from_square)
    return [chess.square_name(square) for square in fresh if enemy & chess.BB_SQUARES[square]]


def _men(board: chess.Board, squares: Sequence[str]) -> str:
    return listed(named(board, chess.parse_square(square)) for square in squares)
