"""The passed pawn: of their men only pieces can stop it.

The rule. No pawn of theirs stands ahead of our pawn on its own file or a neighbouring one, and no pawn of
ours on its own file. It has reached the fourth rank or beyond, or another passed pawn is beside it
(connected). A pawn that simply falls (they win it by exchange) is left out, unless it advances in a line.

A hit: the pawn on d5 is passed, guarded by e4, and blockaded by the knight.

>>> from patterns.detect import find_in
>>> passed = "3r2k1/p4ppp/3n4/3P4/4P3/5N2/P4PPP/3R2K1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(passed)], MOTIFS)[0]]
[('passed-pawn', ('d5',), ('d6',), ())]

A near miss: a pawn on c7 still guards the square in front of it.

>>> find_in([chess.Board(passed.replace("p4ppp/3n", "p1p2ppp/3n"))], MOTIFS)[0]
[]

Roles. Actors: the pawn. Targets: the man of theirs directly in front of it, if there is one. Squares: the
square in front of it, if empty. One finding per pawn.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.bitboards import (
    ADVANCED_RANKS,
    BIT,
    EMPTY,
    NORTH,
    exploded,
    neighbour_files,
    shifted,
)
from patterns.boards.exchange import can_win
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, TakenUp, findings
from patterns.words import wording

PROTECTED, CONNECTED = 1, 2
"""Bits of `detail`: guarded by a pawn; another passed pawn on a neighbouring file."""


def passed_pawn(view: View) -> Findings:
    """Our passed pawns that do not simply fall."""
    passed = view.our_passed_pawns
    row, square = exploded(passed & (ADVANCED_RANKS | neighbour_files(passed)))
    pawn = BIT[square]
    kept = np.ones(len(row), dtype=np.bool_)
    hit = np.flatnonzero(pawn & view.their_attacks[row])
    kept[hit] = view.thorough | ~can_win(view.boards.take(row[hit]), square[hit], "them")
    row, pawn = row[kept], pawn[kept]
    beside = neighbour_files(pawn) & passed[row]
    detail = PROTECTED * ((pawn & view.our_pawn_attacks[row]) != EMPTY) + CONNECTED * (beside != EMPTY)
    stop = shifted(pawn, NORTH)
    return findings(row, pawn, stop & view.them[row], stop & ~view.occupied[row], detail)


def _tell(instance: Instance) -> str:
    board, pawn = instance.board, min(instance.actors)
    words = [
        word for bit, word in ((PROTECTED, "protected"), (CONNECTED, "connected")) if instance.detail & bit
    ]
    side = wording.side_name(instance.side)
    kind = f"{', '.join(words)} passed pawn"
    text = f"{side} has a {kind.strip()} on {chess.SQUARE_NAMES[pawn]}"
    if instance.targets:
        text += f", blockaded by {wording.men(board, instance.targets)}"
    return wording.sentence(text)


MOTIFS = (
    Motif(
        id="passed-pawn",
        title="Passed pawn",
        definition=(
            "No enemy pawn stands in front of the pawn on its own file or on a neighbouring one, so that only"
            " pieces can stop it; it has reached the fourth rank, or another passed pawn stands beside it. A"
            " pawn that simply falls is left out. Noted: guarded by a pawn, connected"
            " with another passed pawn, blockaded."
        ),
        source="Nimzowitsch, My System (the passed pawn); named from memory",
        find=passed_pawn,
        tell=_tell,
        taken_up=TakenUp.ADVANCE,
    ),
)
