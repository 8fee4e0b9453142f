"""Standing features that a line cashes in: the board showed them before a move, and the move then used them.

A weak pawn is taken, an open file or a weak square is entered, a lever of the storm is played, a passed pawn
runs.
"""

from __future__ import annotations

from collections.abc import Sequence

import chess

from patterns.catalogue import MOTIFS
from patterns.detect import find_in
from patterns.lines.played_line import OwnMove, Use
from patterns.motifs.findings import Finding, TakenUp
from patterns.words.wording import named, sentence


def standing_uses(lines: Sequence[Sequence[OwnMove]]) -> list[list[Use]]:
    """For each line the findings, in the positions before our moves, that these moves cash in."""
    wanted = [motif for motif in MOTIFS.values() if motif.taken_up]
    own_moves = [own_move for line in lines for own_move in line]
    found = iter(find_in([own_move.before for own_move in own_moves], wanted))
    return [[use for own_move in line for use in _cashed_in(own_move, next(found))] for line in lines]


def _cashed_in(own_move: OwnMove, found: Sequence[Finding]) -> list[Use]:
    ours = [finding for finding in found if finding.side == chess.COLOR_NAMES[own_move.us]]
    return [
        Use(
            own_move.ply,
            finding.motif,
            finding.actors,
            finding.targets,
            finding.squares,
            f"{sentence(_deed(own_move))} {finding.note}",
        )
        for finding in ours
        if _uses(own_move, finding)
    ]


def _uses(own_move: OwnMove, finding: Finding) -> bool:
    origin, square = (chess.SQUARE_NAMES[end] for end in (own_move.move.from_square, own_move.move.to_square))
    ways = MOTIFS[finding.motif].taken_up
    takes = own_move.captures and square in finding.targets
    enters = square in finding.squares
    acts = origin in finding.actors
    return (
        (TakenUp.CAPTURE in ways and takes)
        or (TakenUp.ENTRY in ways and enters and own_move.mover not in (chess.PAWN, chess.KING))
        or (TakenUp.ACTION in ways and acts and (enters or square in finding.targets))
        or (TakenUp.ADVANCE in ways and acts)
        or (TakenUp.AIM in ways and _aims(own_move, finding))
    )


def _aims(own_move: OwnMove, finding: Finding) -> bool:
    """Whether an actor hits, after the move, a target or square of the finding that it did not hit before."""
    move, wanted = own_move.move, chess.SquareSet(map(chess.parse_square, finding.targets + finding.squares))
    for actor in map(chess.parse_square, finding.actors):
        now = move.to_square if actor == move.from_square else actor
        hit = own_move.after.attacks_mask(now) & ~own_move.before.attacks_mask(actor)
        if hit & int(wanted):
            return True
    return False


def _deed(own_move: OwnMove) -> str:
    man, square = (
        named(own_move.before, own_move.move.from_square),
        chess.SQUARE_NAMES[own_move.move.to_square],
    )
    return f"{man} takes on {square}" if own_move.captures else f"{man} goes to {square}"
