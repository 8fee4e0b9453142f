"""What each move of a line uses.

A motif on the board says what is there. A line shows which of it matters. `uses` takes a line apart for the
side to move at its start. It names, move by move, the pins that the line exploits, its forks, skewers and
discovered attacks, the guards it takes away, the pieces it traps, the back rank, and the standing features
that it cashes in. The rules are those of the textbooks named in the catalogue. Each function states its rule.

In this package a line is a sequence of moves. A line on the board is a sight line.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

import chess

from patterns.lines.double_attacks import forks, loose_pieces
from patterns.lines.guards_beaten import guards_beaten
from patterns.lines.kings_attacked import back_rank, cover_sacrifices
from patterns.lines.pieces_trapped import trapped_pieces
from patterns.lines.pins_exploited import pins_exploited
from patterns.lines.played_line import LineError, OwnMove, Use, own_moves_of, parse_line
from patterns.lines.sight_lines import discovered_attacks, skewers
from patterns.lines.standing_features import standing_uses

__all__ = ["LineError", "Use", "parse_line", "uses", "uses_of_many"]

LINE_MOTIFS: tuple[Callable[[Sequence[OwnMove]], Iterable[Use]], ...] = (
    pins_exploited,
    forks,
    skewers,
    discovered_attacks,
    guards_beaten,
    trapped_pieces,
    loose_pieces,
    back_rank,
    cover_sacrifices,
)


def uses(board: chess.Board, line: Sequence[chess.Move]) -> list[Use]:
    """What the side to move uses in the line, in the order of its moves (every other move of the line).

    LineError if a move is not legal in its position.

    >>> board = chess.Board("r3k3/8/8/3N4/8/8/8/4K3 w q - 0 1")
    >>> line = parse_line(board, "Nc7+ Kd7 Nxa8")
    >>> [(use.ply, use.motif, use.actors, use.targets) for use in uses(board, line)]
    [(1, 'fork', ('c7',), ('a8', 'e8')), (2, 'loose-piece', ('c7',), ('a8',))]
    """
    return uses_of_many([(board, line)])[0]


def uses_of_many(lines: Sequence[tuple[chess.Board, Sequence[chess.Move]]]) -> list[list[Use]]:
    """`uses` for each line. Faster than one by one, since standing features are searched in one batch."""
    parts = [own_moves_of(board, line) for board, line in lines]
    return [
        sorted([use for find in LINE_MOTIFS for use in find(own_moves)] + standing, key=lambda use: use.ply)
        for own_moves, standing in zip(parts, standing_uses(parts), strict=True)
    ]
