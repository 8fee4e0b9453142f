"""Evidence: squares to mark on the board, and the squares that show a card's motifs."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING

from decks.tasks.card import LABEL
from decks.tasks.task import Task

if TYPE_CHECKING:
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
    """The motif's title in small letters, for a sentence; of a label or an unknown id, its words."""
    from patterns.catalogue import MOTIFS  # array code, imported only when a title is needed

    return MOTIFS[motif].title.lower() if motif in MOTIFS else motif.removeprefix(LABEL).replace("-", " ")


def key_findings(task: Task) -> tuple[Finding, ...]:
    """The findings in the card's position that its motif tags name, in the order of the tags.

    Where the card names the squares that show a motif, only those findings that are about one of them.
    """
    return tuple(
        finding
        for tag in task.card.motifs
        for finding in task.explanation.findings
        if (finding.motif, finding.side) == (tag.motif, tag.side)
        and _is_about(finding, task.card.evidence.get(tag.motif, ()))
    )


def _is_about(finding: Finding, evidence: Collection[str]) -> bool:
    """Whether one of its men is evidence, or of a finding without men one of its squares."""
    shown = {*finding.actors, *finding.targets} or {*finding.squares}
    return not evidence or not shown.isdisjoint(evidence)


def key_squares(task: Task) -> dict[str, frozenset[str]]:
    """The squares to point to, by motif: the coach's evidence, else the finding's actors and targets."""
    found: dict[str, frozenset[str]] = {tag.motif: frozenset() for tag in task.card.motifs}
    for finding in key_findings(task):
        found[finding.motif] |= {*finding.actors, *finding.targets}
    return {motif: frozenset(task.card.evidence.get(motif, squares)) for motif, squares in found.items()}


def evidence_marks(task: Task) -> Marks:
    """All squares that show the card's motifs. If nothing was detected: the coach's evidence, as targets."""
    marks = NO_MARKS
    for finding in key_findings(task):
        marks |= Marks(frozenset(finding.actors), frozenset(finding.targets), frozenset(finding.squares))
    pointed = frozenset(square for squares in task.card.evidence.values() for square in squares)
    return marks | Marks(targets=pointed - marks.actors - marks.targets - marks.squares)
