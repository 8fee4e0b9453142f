"""What a line leaves on the board: features of the side that began it, which stand when it ends.

Where a line wins nothing, a coach tells what it leads to: a passed pawn, an outpost, a rook on the seventh. A
feature counts if a move of the line has brought one of its men there, and if it stands after each of the last
two moves of ours, so that it is no passing moment. What the catalogue claims of moves (a fork, a pin) is no
feature. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence

import chess

from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.catalogue import MOTIFS
from patterns.detect import instances_of
from patterns.motifs.findings import Findings
from patterns.proof.claims import Claims
from patterns.proof.played_line import Line, OwnMove, Use, own_moves_of
from patterns.words.wording import sentence

LASTING = 2
"""Moves of ours after which a feature has to stand, the last of the line among them."""


def left_standing(lines: Sequence[Line]) -> list[list[Use]]:
    """The features that each line leaves, as uses of its last move.

    >>> from patterns.lines import parse_line
    >>> board = chess.Board("4k3/5ppp/8/8/2pP4/8/5PPP/4K3 w - - 0 30")
    >>> ((passed, *_),) = left_standing([(board, parse_line(board, "d5 Ke7 Kd2 Kd6"))])
    >>> passed.ply, passed.motif, passed.actors
    (2, 'passed-pawn', ('d5',))
    >>> left_standing([(board, parse_line(board, "d5 Ke7"))])
    [[]]
    """
    ends = [own_moves_of(*line)[-LASTING:] for line in lines]
    ends = [end if len(end) == LASTING else () for end in ends]
    found = _features([own_move for end in ends for own_move in end])
    left: list[list[Use]] = []
    for line, end in zip(lines, ends, strict=True):
        before, last = (found.pop(0), found.pop(0)) if end else ([], [])
        stood = [_after(end[-1], use) for use in before]
        moved = {chess.SQUARE_NAMES[move.to_square] for move in line[1][::2]}
        left.append([use for use in last if moved & {*use.actors} and (use.motif, {*use.actors}) in stood])
    return left


def _after(own_move: OwnMove, use: Use) -> tuple[str, set[str]]:
    """The motif of a use, and where its men stand after the move."""
    gone, come = (chess.SQUARE_NAMES[one] for one in (own_move.move.from_square, own_move.move.to_square))
    return use.motif, {come if actor == gone else actor for actor in use.actors}


def _features(moves: Sequence[OwnMove]) -> list[list[Use]]:
    """The features of the side that moved, after each of its moves."""
    found: list[list[Use]] = [[] for _ in moves]
    if not moves:
        return found
    boards = [own_move.after for own_move in moves]
    view = View(Positions.from_boards(boards), thorough=True)
    for motif in MOTIFS.values():
        features = motif.find(view)
        if isinstance(features, Claims):
            features = Findings.of_claims(features.only(features.stands & bool(motif.taken_up)))
        for place, instance in instances_of(features, boards):
            own_move = moves[place]
            if instance.side == own_move.us:
                note = f"{sentence(own_move.deed)} {motif.tell(instance)}"
                roles = instance.actors, instance.targets, instance.squares
                found[place].append(own_move.use(motif.id, note, *roles))
    return found
