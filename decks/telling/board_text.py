"""The board as text: drawn in letters, or man by man in words. Pure."""

from __future__ import annotations

import chess

from decks.telling.shown import BoardView
from patterns.words.wording import side_name


def ascii_board(view: BoardView) -> list[str]:
    """The board in letters, White's in capitals, with files and ranks at the edge, own side below."""
    ranks = range(7, -1, -1) if view.white_below else range(8)
    files = range(8) if view.white_below else range(7, -1, -1)
    rows = []
    for rank in ranks:
        men = [view.board.piece_at(chess.square(file, rank)) for file in files]
        rows.append(f"{rank + 1}  {' '.join(man.symbol() if man else '.' for man in men)}")
    return [*rows, "", f"   {' '.join(chess.FILE_NAMES[file] for file in files)}"]


def men_in_words(board: chess.Board) -> list[str]:
    """All men and their squares, one line for each side, for somebody who does not see the board."""
    lines = []
    for colour in chess.COLORS:
        squares = chess.SquareSet(board.occupied_co[colour])
        men = sorted(squares, key=lambda square: (-(board.piece_type_at(square) or 0), square))
        words = [(board.piece_at(square), chess.square_name(square)) for square in men]
        listed = " ".join(f"{man.symbol().upper().replace('P', '')}{name}" for man, name in words if man)
        lines.append(f"{side_name(colour)}: {listed}")
    return lines
