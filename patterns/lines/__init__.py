"""What each move of a line uses.

A motif on the board says what is there. A line shows which of it matters. `uses` takes a line apart for the
side to move at its start, and names what each of its moves does, from the first move on: the claims that the
move makes good (a fork, a pin that holds, a guard drawn away), and the standing features that it takes up. A
claim is told if it holds whatever they answer, or if the line itself cashes it in. The rules are those of the
catalogue; a motif that lives only in lines has a rule of its own (`Motif.in_line`).

In this package a line is a sequence of moves. A line on the board is a sight line.
"""

from __future__ import annotations

from collections.abc import Sequence

import chess

from patterns.lines.key_move import key_move
from patterns.lines.taken_up import taken_up
from patterns.proof.played_line import Line, LineError, Use, own_moves_of, parse_line

__all__ = ["Line", "LineError", "Use", "key_move", "parse_line", "uses", "uses_of_many"]


def uses(board: chess.Board, line: Sequence[chess.Move]) -> list[Use]:
    """What the side to move uses in the line, in the order of its moves (every other move of the line).

    LineError if a move is not legal in its position.

    >>> board = chess.Board("r3k3/8/8/3N4/8/8/8/4K3 w q - 0 1")
    >>> line = parse_line(board, "Nc7+ Kd7 Nxa8")
    >>> [(use.ply, use.motif, use.targets) for use in uses(board, line)]
    [(1, 'fork', ('a8', 'e8')), (1, 'loose-piece', ('a8',)), (2, 'loose-piece', ('a8',))]
    """
    return uses_of_many([(board, line)])[0]


def uses_of_many(lines: Sequence[Line]) -> list[list[Use]]:
    """`uses` for each line. Faster than one by one, since all boards are searched in one batch."""
    parts = [own_moves_of(board, line) for board, line in lines]
    return [sorted(uses, key=lambda use: use.ply) for uses in taken_up(parts)]
