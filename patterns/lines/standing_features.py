"""Standing features that a line cashes in: what the board showed before a move, and the move then used.

A weak pawn is taken, an open file or a weak square entered, a lever of the storm played, a passed pawn run.
"""

from __future__ import annotations

from collections.abc import Sequence

import chess

from patterns.catalogue import MOTIFS
from patterns.detect import find_in
from patterns.lines.played_line import Step, Use
from patterns.motifs.findings import Finding
from patterns.words.wording import named, sentence

TAKEN = frozenset({"besieged-pawn", "isolated-pawn", "backward-pawn", "doubled-pawns", "hanging-pawns"})
"""Cashed in when our move takes a target."""
ENTERED = frozenset({"weak-square", "unopposed-bishop"})
"""Cashed in when a piece of ours arrives on one of the squares, whoever it is."""
ENTERED_BY_ACTOR = frozenset(
    {"open-file", "pawn-storm", "minority-attack", "opposite-bishops-attack", "battery"}
)
"""Cashed in when one of the actors arrives on one of the squares, or takes a target."""
ADVANCED = frozenset({"passed-pawn"})
"""Cashed in when an actor moves."""


def standing_uses(lines: Sequence[Sequence[Step]]) -> list[list[Use]]:
    """For each line the findings of the positions before our moves that these moves cash in."""
    wanted = [motif for motif in MOTIFS.values() if motif.id in TAKEN | ENTERED | ENTERED_BY_ACTOR | ADVANCED]
    steps = [step for line in lines for step in line]
    found = iter(find_in([step.before for step in steps], wanted))
    return [[use for step in line for use in _cashed_in(step, next(found))] for line in lines]


def _cashed_in(step: Step, found: Sequence[Finding]) -> list[Use]:
    ours = [finding for finding in found if finding.side == chess.COLOR_NAMES[step.us]]
    return [
        Use(
            step.ply,
            finding.motif,
            finding.actors,
            finding.targets,
            finding.squares,
            f"{sentence(_deed(step))} {finding.note}",
        )
        for finding in ours
        if _uses(step, finding)
    ]


def _uses(step: Step, finding: Finding) -> bool:
    origin, square = (chess.SQUARE_NAMES[end] for end in (step.move.from_square, step.move.to_square))
    acts = origin in finding.actors
    if finding.motif in TAKEN:
        return step.captures and square in finding.targets
    if finding.motif in ENTERED:
        return square in finding.squares and step.mover not in (chess.PAWN, chess.KING)
    return acts and (finding.motif in ADVANCED or square in finding.squares or square in finding.targets)


def _deed(step: Step) -> str:
    man, square = named(step.before, step.move.from_square), chess.SQUARE_NAMES[step.move.to_square]
    return f"{man} takes on {square}" if step.captures else f"{man} goes to {square}"
