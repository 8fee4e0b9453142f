"""Refuted strokes: moves with which a motif seems to win, by its geometry, and the look ahead says no."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import chess
import numpy as np

from patterns.arguments import MotifsAsked, motifs_of
from patterns.boards.grouping import any_of, grouped
from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.detect import instances_of
from patterns.motifs.findings import Findings
from patterns.proof.claims import Claims, hold


def refuted(boards: Sequence[chess.Board], motifs: MotifsAsked = None) -> list[dict[chess.Move, list[str]]]:
    """For each board: moves of the side to move, and the motifs that only seem to win something by them.

    None of the motifs wins by such a move. `motifs`: as for `patterns.detect.find_in`. Each board needs one
    king per side.

    Here a rook can go to e4 and fork two knights. But one of them moves with check and the other is safe:

    >>> board = chess.Board("6k1/8/8/8/1n4n1/8/8/4R1K1 w - - 0 1")
    >>> [move.uci() for move in refuted([board.copy()], "fork")[0]]
    []
    """
    wanted = motifs_of(motifs)
    result: list[dict[chess.Move, list[str]]] = [{} for _ in boards]
    if not boards:
        return result
    view = View(Positions.from_boards(boards))
    proposed = [(motif.id, found) for motif in wanted if isinstance(found := motif.find(view), Claims)]
    if not proposed:
        return result
    claims = Claims.joined(*(found for _, found in proposed))
    motif = np.repeat(np.arange(len(proposed)), [len(found) for _, found in proposed])
    strokes = (claims.origin != claims.square) & (claims.least > 0) & view.boards.our_move[claims.row]
    claims, motif = claims.only(strokes), motif[strokes]
    moves = grouped(claims.row, claims.origin, claims.square)
    vain = ~any_of(moves.group, hold(view, claims), len(moves))[moves.group]
    # Each claim is told apart, also where two moves of one man attack the same men.
    claims, motif = replace(claims, about=np.arange(len(claims))).only(vain), motif[vain]
    for number, (name, _) in enumerate(proposed):
        for place, instance in instances_of(Findings.of_claims(claims.only(motif == number)), boards):
            if instance.move is not None and boards[place].is_legal(instance.move):
                named = result[place].setdefault(instance.move, [])
                named += [name] * (name not in named)
    return result
