"""Refuted strokes: moves by which a motif would win something, if one man of theirs had no answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import chess
import numpy as np

from patterns.arguments import MotifsAsked, motifs_of
from patterns.boards.bitboards import EMPTY, square_of
from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.detect import instances_of
from patterns.motifs.findings import Findings
from patterns.proof.claims import Claims
from patterns.proof.refutations import refuters


@dataclass(frozen=True)
class Refuted:
    """A stroke that one man refutes. `motif`: what it looks like. `by`: the square of this man."""

    motif: str
    move: chess.Move
    by: chess.Square


def refuted_in(boards: Sequence[chess.Board], motifs: MotifsAsked = None) -> list[list[Refuted]]:
    """For each board the strokes of the side to move that one man alone refutes, motif by motif.

    The motif would win by such a move if this man stayed where it is.
    `motifs`: as for `patterns.detect.find_in`. Each board needs one king per side.

    From c7 the knight would fork queen and rook, but the queen gives check on a7 and then takes the knight:

    >>> board = chess.Board("q3r2k/6pp/8/1N6/8/8/6PP/5RK1 w - - 0 1")
    >>> refuted_in([board], "fork") == [[Refuted("fork", chess.Move.from_uci("b5c7"), by=chess.A8)]]
    True
    """
    wanted = motifs_of(motifs)
    result: list[list[Refuted]] = [[] for _ in boards]
    view = View(Positions.from_boards(boards))
    proposed = [(motif.id, found) for motif in wanted if isinstance(found := motif.find(view), Claims)]
    if not proposed:
        return result
    claims = Claims.joined(*(found for _, found in proposed))
    motif = np.repeat(np.arange(len(proposed)), [len(found) for _, found in proposed])
    strokes = (claims.origin != claims.square) & (claims.least > 0) & view.boards.our_move[claims.row]
    claims, motif = claims.only(strokes), motif[strokes]
    by = refuters(view, claims)
    alone = (by != EMPTY) & ((by & (by - np.uint64(1))) == EMPTY)
    # Each claim is told by itself, with the man that refutes it.
    claims = replace(claims, about=np.arange(len(claims)), detail=square_of(by)).only(alone)
    for number, (name, _) in enumerate(proposed):
        found = Findings.of_claims(claims.only(motif[alone] == number))
        for place, instance in instances_of(found, boards):
            assert instance.move is not None
            result[place].append(Refuted(name, instance.move, instance.detail_square))
    return result
