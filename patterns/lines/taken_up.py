"""What the moves of a line take up: the same motifs as on the board, asked about the moves played.

A claim (`patterns.proof.claims`) is told if it holds whatever they answer, or if the rest of the line cashes
it in. A standing feature is told if the move takes it up as its motif declares: a weak pawn is taken, an open
file is entered, a passed pawn runs.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import chess
import numpy as np

from patterns.boards.bitboards import Flags
from patterns.boards.moves import Moves
from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.catalogue import MOTIFS
from patterns.detect import instances_of
from patterns.motifs.findings import Findings, Instance, Motif, TakenUp
from patterns.proof.claims import Claims, hold, worth
from patterns.proof.lookahead import MATE
from patterns.proof.played_line import OwnMove, Use, gain_of
from patterns.words.wording import named, sentence

CHECKS = 2
"""How many checks may be tried for a claim in a line: more than in a scan, since the boards are few."""


def taken_up(lines: Sequence[Sequence[OwnMove]]) -> list[list[Use]]:
    """For each line what its moves take up, in the order of the moves."""
    moves = [own_move for line in lines for own_move in line]
    uses: list[list[Use]] = [[] for _ in moves]
    if moves:
        view = View(Positions.from_boards([own_move.before for own_move in moves]))
        rests = [line[index:] for line in lines for index in range(len(line))]
        for motif in MOTIFS.values():
            found = motif.find(view)
            if isinstance(found, Claims):
                instances = _claimed(view, found, rests)
            else:
                instances = _standing(motif, found, moves)
            for place, instance in instances:
                uses[place].append(_use(motif, instance, moves[place]))
    in_order = iter(uses)
    return [
        [
            *(use for _ in line for use in next(in_order)),
            *(use for motif in MOTIFS.values() if motif.in_line is not None for use in motif.in_line(line)),
        ]
        for line in lines
    ]


def _claimed(
    view: View, proposed: Claims, rests: Sequence[Sequence[OwnMove]]
) -> Iterator[tuple[int, Instance]]:
    """Claims about the moves played that hold or are cashed in. `rests`: the line from each move on."""
    moves = [rest[0] for rest in rests]
    played = proposed.only(_are_played(proposed, moves))
    told = hold(view, played, CHECKS)
    for entry in np.flatnonzero(~told).tolist():
        place = int(played.row[entry]) % len(moves)
        told[entry] = _cashes_in(rests[place], played.take(np.array([entry])))
    found = Findings.of_claims(played.only(told))
    wins = worth(view, Moves(found.row, found.move % 64, found.move // 64))
    yield from instances_of(found, [own_move.before for own_move in moves], wins)


def _are_played(proposed: Claims, moves: Sequence[OwnMove]) -> Flags:
    """Which claims are about the move that was played, in the row of the side that played it."""
    size = len(moves)
    white = np.array([own_move.us == chess.WHITE for own_move in moves])
    flip = np.where(white, 0, 56)
    origin = np.array([own_move.move.from_square for own_move in moves]) ^ flip
    square = np.array([own_move.move.to_square for own_move in moves]) ^ flip
    place = proposed.row % size
    ours: Flags = (proposed.row < size) == white[place]
    return ours & (proposed.origin == origin[place]) & (proposed.square == square[place])


def _cashes_in(rest: Sequence[OwnMove], claim: Claims) -> bool:
    """Whether the line, from the move on, mates or wins what is claimed, by taking a target.

    A target that moves is followed. A mate cashes in a claim about the king, and any claim of mate.
    """
    flip = 0 if rest[0].us == chess.WHITE else 56
    targets = {square ^ flip for square in chess.scan_forward(int(claim.targets[0] | claim.wanted[0]))}
    least, mates = int(claim.least[0]), rest[-1].after.is_checkmate()
    if not mates and (least >= MATE or gain_of(rest) < max(least, 1)):
        return False
    if mates and (least >= MATE or rest[0].before.king(not rest[0].us) in targets):
        return True
    for own_move in rest:
        if own_move.captures and own_move.move.to_square in targets:
            return True
        if own_move.reply is not None and own_move.reply.from_square in targets:
            targets = targets - {own_move.reply.from_square} | {own_move.reply.to_square}
    return False


def _standing(motif: Motif, found: Findings, moves: Sequence[OwnMove]) -> Iterator[tuple[int, Instance]]:
    """Features of the side that moves which its move takes up."""
    if not motif.taken_up:
        return
    for place, instance in instances_of(found, [own_move.before for own_move in moves]):
        own_move = moves[place]
        if instance.side == own_move.us and _takes_up(own_move, motif.taken_up, instance):
            yield place, instance


def _takes_up(own_move: OwnMove, ways: TakenUp, instance: Instance) -> bool:
    origin, square = own_move.move.from_square, own_move.move.to_square
    takes = own_move.captures and square in instance.targets
    enters, acts = square in instance.squares, origin in instance.actors
    return (
        (TakenUp.CAPTURE in ways and takes)
        or (TakenUp.ENTRY in ways and enters and own_move.mover not in (chess.PAWN, chess.KING))
        or (TakenUp.ACTION in ways and acts and (enters or square in instance.targets))
        or (TakenUp.ADVANCE in ways and acts)
    )


def _use(motif: Motif, instance: Instance, own_move: OwnMove) -> Use:
    note = motif.tell(replace(instance, played=True))
    if instance.move is None:
        note = f"{sentence(_deed(own_move))} {note}"
    return own_move.use(motif.id, note, instance.actors, instance.targets, instance.squares)


def _deed(own_move: OwnMove) -> str:
    man = named(own_move.before, own_move.move.from_square)
    square = chess.SQUARE_NAMES[own_move.move.to_square]
    return f"{man} takes on {square}" if own_move.captures else f"{man} goes to {square}"
