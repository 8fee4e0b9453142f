"""The board as fragments of styled text: own side below, files and ranks at the edge."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import chess
from prompt_toolkit.formatted_text import StyleAndTextTuples
from prompt_toolkit.mouse_events import MouseEvent

from decks.screen.look import Look, Role
from decks.telling.shown import BoardView

RIM = 2
"""Columns left of the board, for the ranks."""

Handler = Callable[[MouseEvent], object]


@dataclass(frozen=True)
class SquareSize:
    """Columns and rows of a square. With an odd number of columns, men stand in the middle."""

    columns: int
    rows: int

    @property
    def board_columns(self) -> int:
        """Columns of the whole board: rim, squares, and one free column at the right.

        A click to the right of the last column counts as a click on it, so that column does nothing.
        """
        return RIM + 8 * self.columns + 1

    @property
    def board_rows(self) -> int:
        """Rows of the whole board: squares and files."""
        return 8 * self.rows + 1


def board_fragments(
    view: BoardView, look: Look, size: SquareSize, handler_of: Callable[[str], Handler]
) -> StyleAndTextTuples:
    """The board. `handler_of`: takes a square's name and returns what a click on it does."""
    ranks = range(7, -1, -1) if view.white_below else range(8)
    files = range(8) if view.white_below else range(7, -1, -1)
    roles = _roles(view)
    fragments: StyleAndTextTuples = []
    for rank in ranks:
        names = [chess.square_name(chess.square(file, rank)) for file in files]
        drawn = [
            (
                _style(name, roles.get(name)),
                _rows(view.board, name, roles.get(name), look, size),
                handler_of(name),
            )
            for name in names
        ]
        for row in range(size.rows):
            fragments.append(("", f"{rank + 1} " if row == _middle(size) else "  "))
            fragments += [(style, texts[row], handler) for style, texts, handler in drawn]
            fragments.append(("", " \n"))
    labels = "".join(chess.FILE_NAMES[file].center(size.columns) for file in files)
    fragments.append(("", " " * RIM + labels))
    return fragments


def _roles(view: BoardView) -> dict[str, Role]:
    """The role of each marked square. If it has several, a man's role counts more than the square's."""
    roles: dict[str, Role] = dict.fromkeys(view.marks.squares, "square")
    roles |= dict.fromkeys(view.marks.targets, "target")
    roles |= dict.fromkeys(view.marks.actors, "actor")
    return roles | ({view.picked: "picked"} if view.picked else {})


def _is_dark(name: str) -> bool:
    return bool(chess.BB_DARK_SQUARES & chess.BB_SQUARES[chess.parse_square(name)])


def _style(name: str, role: Role | None) -> str:
    return f"class:{role or ('dark' if _is_dark(name) else 'light')}"


def _rows(board: chess.Board, name: str, role: Role | None, look: Look, size: SquareSize) -> list[str]:
    """The rows of text of one square, the man in the middle."""
    fill = look.dark_fill if _is_dark(name) else " "
    man = board.piece_at(chess.parse_square(name))
    left, right = look.brackets(role)
    inside = f"{left}{look.man(man) if man else ' '}{right}" if man or role else 3 * fill
    side = fill * ((size.columns - 3) // 2)
    rows = [fill * size.columns] * size.rows
    rows[_middle(size)] = f"{side}{inside}{side}"
    return rows


def _middle(size: SquareSize) -> int:
    return size.rows // 2
