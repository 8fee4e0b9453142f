"""Evidence: the squares that a card's motifs and the factors of its position rest on."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import chess

from decks.review.task import Task

if TYPE_CHECKING:
    from patterns.factors.assessment import FactorBalance, StatedReason
    from patterns.motifs.findings import Finding


@dataclass(frozen=True)
class Marks:
    """Squares to mark on the board, by role, as square names."""

    actors: frozenset[str] = frozenset()
    targets: frozenset[str] = frozenset()
    squares: frozenset[str] = frozenset()

    def __or__(self, other: Marks) -> Marks:
        return Marks(self.actors | other.actors, self.targets | other.targets, self.squares | other.squares)


NO_MARKS = Marks()


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


def factor_of(task: Task, factor: str) -> FactorBalance:
    """The program's own stock-taking on one factor."""
    return next(entry for entry in task.explanation.assessment.factors if entry.factor == factor)


def reasons_to_tell(task: Task, factor: str, keeping_secret: bool) -> tuple[StatedReason, ...]:
    """The reasons of a factor, the weightiest first; what `keeping_secret` forbids is left out.

    A secret are the squares to point to when the card's motif is asked for: a reason about them names it.
    """
    reasons = factor_of(task, factor).stated
    if not keeping_secret:
        return reasons
    secret = frozenset().union(*key_squares(task).values())
    return tuple(reason for reason in reasons if secret.isdisjoint(reason.squares))


def row_marks(task: Task, row: str, keeping_secret: bool) -> Marks:
    """What a row of the ballot rests on; the verdict's is what the card's motifs rest on."""
    if row != "verdict":
        return reason_marks(task.card.board, reasons_to_tell(task, row, keeping_secret))
    return NO_MARKS if keeping_secret else evidence_marks(task)


def reason_marks(board: chess.Board, reasons: Iterable[StatedReason]) -> Marks:
    """What the reasons rest on: men of the side that profits act, the other side's men are the targets.

    A man that two reasons see differently stands as the weightier, which comes first, sees it.
    """
    role_of: dict[str, str] = {}
    for reason in reasons:
        for square in reason.squares:
            colour = board.color_at(chess.parse_square(square))
            role = "squares" if colour is None else "actors" if colour == (reason.worth > 0) else "targets"
            role_of.setdefault(square, role)
    roles = {role: frozenset(name for name in role_of if role_of[name] == role) for role in role_of.values()}
    return Marks(**roles)
