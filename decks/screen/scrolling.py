"""The part of the pane that is shown, when it has more rows than there is room for."""

from __future__ import annotations

from decks.review import messages as m
from decks.tasks.layout import MessageAt, Piece, Row

WHEEL_ROWS = 3
"""Rows that one step of the mouse wheel moves."""


class Scroll:
    """How many rows are above the part that is shown."""

    def __init__(self) -> None:
        self.above = 0

    def visible(self, rows: list[Row], room: int) -> list[Row]:
        """The rows that fit in `room`. The first and last say where there are more, and turn a page."""
        self.above = max(0, min(self.above, len(rows) - room))
        shown = rows[self.above : self.above + room]
        if self.above > 0:
            shown[0] = (Piece("-- more above: PgUp --", "class:key", self.page_turner(-1, room)),)
        if self.above + room < len(rows):
            shown[-1] = (Piece("-- more below: PgDn --", "class:key", self.page_turner(1, room)),)
        return shown

    def page_turner(self, pages: int, room: int) -> MessageAt:
        """Turns pages of `room` rows. The session only gets a message that time passed."""

        def turn(at: float) -> m.Message:
            self.above += pages * (room - 2)
            return m.Tick(at)

        return turn
