"""Room on the terminal: how large the squares are, and how much is left for the pane."""

from __future__ import annotations

from dataclasses import dataclass
from textwrap import wrap

from decks.screen.board import SquareSize
from decks.screen.pane import MAX_COLUMNS, MIN_COLUMNS

SMALLEST_COLUMNS, SMALLEST_ROWS = 80, 24

SQUARES = (SquareSize(7, 3), SquareSize(5, 2))
"""Sizes of a square; the largest that fits is used. A character is about twice as high as wide."""

GAP = 1
"""Columns between board and pane."""

KEY_ROWS = 2
"""Rows for the keys, spelled out in words."""

FOOT_ROWS = 2 + KEY_ROWS
"""Rows below both: notice, answer line, keys."""

MARGIN_FROM = 5
"""If more rows than this are free, one of them stays empty above the board."""


@dataclass(frozen=True)
class Room:
    """A terminal's size in columns and rows, and how it is divided."""

    columns: int
    rows: int

    @property
    def fits(self) -> bool:
        """Whether there is room for a session."""
        return self.columns >= SMALLEST_COLUMNS and self.rows >= SMALLEST_ROWS

    @property
    def too_small(self) -> str:
        """What to say if there is no room: as much as fits, in whole words, line by line."""
        needed = f"{SMALLEST_COLUMNS} columns and {SMALLEST_ROWS} rows"
        whole = f"This window has {self.columns} columns and {self.rows} rows. The board needs {needed}."
        texts = (
            f"{whole} Make the window larger, or stop with Ctrl-Q and use --plain.",
            f"Too small: the board needs {needed}. Ctrl-Q stops.",
            f"Too small for {SMALLEST_COLUMNS} x {SMALLEST_ROWS}. Ctrl-Q stops.",
            "Too small. Ctrl-Q stops.",
            "Too small.",
        )
        wrapped = [wrap(text, max(1, self.columns), break_long_words=False) for text in texts]
        fitting = (lines for lines in wrapped if len(lines) <= self.rows and self._holds(lines))
        return "\n".join(next(fitting, wrapped[-1]))

    def _holds(self, lines: list[str]) -> bool:
        return all(len(line) <= self.columns for line in lines)

    @property
    def square(self) -> SquareSize:
        """The largest square that leaves the pane its columns."""
        for size in SQUARES:
            wide_enough = self.columns >= size.board_columns + GAP + MIN_COLUMNS
            if wide_enough and self.rows >= size.board_rows + FOOT_ROWS:
                return size
        return SQUARES[-1]

    @property
    def margin(self) -> int:
        """Free rows above board and pane."""
        return int(self.rows > self.square.board_rows + FOOT_ROWS + MARGIN_FROM)

    @property
    def pane_rows(self) -> int:
        """Rows of the pane."""
        return self.rows - FOOT_ROWS - self.margin

    @property
    def beside_board(self) -> int:
        """Columns right of the board and the gap."""
        return max(1, self.columns - self.square.board_columns - GAP)

    @property
    def pane_columns(self) -> int:
        """Columns of the pane's text. The last column stays free, see `SquareSize.board_columns`."""
        return max(MIN_COLUMNS, min(MAX_COLUMNS, self.beside_board - 1))
