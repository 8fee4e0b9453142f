"""What men are worth, in pawns."""

from __future__ import annotations

import chess

WORTH = (0, 1, 3, 3, 5, 9, 100)
"""By python-chess piece type, in whole pawns, as exchanges count them. The king outweighs all others."""


def worth_of(board: chess.Board, colour: chess.Color) -> int:
    """The worth of a side's men in pawns, without the king."""
    own = board.occupied_co[colour]
    men = (board.pawns, board.knights, board.bishops, board.rooks, board.queens)
    return sum(worth * (own & kind).bit_count() for worth, kind in zip(WORTH[1:], men, strict=False))


def ahead(board: chess.Board, colour: chess.Color) -> int:
    """How many pawns a side is ahead."""
    return worth_of(board, colour) - worth_of(board, not colour)
