"""The scoresheet: moves in two columns as a player writes them down, and the keys that step through them."""

from __future__ import annotations

from collections.abc import Sequence

import chess

from decks.tasks.layout import Key, MessageAt, Piece, Row
from decks.tasks.messages import StepInLine

COLUMN = 10
"""Columns of text for a move."""

Entry = tuple[str, str, str]
"""Number, White's move, Black's move; a move that is not played yet is empty."""

TO_WRITE = "____"


def entries(start: chess.Board, moves: Sequence[str], to_write: bool = False) -> list[Entry]:
    """The moves (UCI) as on a scoresheet; `to_write`: with a place for the next one."""
    board, rows = start.copy(stack=False), list[Entry]()
    for uci in moves:
        move = chess.Move.from_uci(uci)
        _write(rows, board, board.san(move))
        board.push(move)
    if to_write:
        _write(rows, board, TO_WRITE)
    return rows


def _write(rows: list[Entry], board: chess.Board, san: str) -> None:
    if board.turn:
        rows.append((f"{board.fullmove_number}.", san, ""))
    elif rows:
        rows[-1] = (rows[-1][0], rows[-1][1], san)
    else:
        rows.append((f"{board.fullmove_number}.", "...", san))


def drawn(rows: Sequence[Entry], ply: int | None = None) -> list[Row]:
    """The rows for a screen; with `ply`, that move is marked and a click on another goes there."""
    laid_out: list[Row] = []
    written = 0
    for number, white, black in rows:
        pieces = [Piece(number.rjust(5) + " ")]
        for move in (white, black):
            if move in ("", "..."):
                pieces.append(Piece(move.ljust(COLUMN)))
                continue
            written += 1
            here = ply == written
            text = f"[{move}]" if here else f" {move} "
            click = None if ply is None else step(written - ply)
            pieces += [
                Piece(text, "class:chosen" if here else "", click),
                Piece(" " * (COLUMN - len(text))),
            ]
        laid_out.append(tuple(pieces))
    return laid_out


def spoken(rows: Sequence[Entry]) -> list[str]:
    """The rows as lines of text."""
    return [" ".join(row) for row in rows]


def step(by: int) -> MessageAt:
    """A message that goes this many moves forward in the line."""
    return lambda at: StepInLine(at, by)


STEPPER: Row = (
    Piece("  "),
    Piece("[<]", "class:key", step(-1)),
    Piece(" "),
    Piece("[>]", "class:key", step(1)),
)
"""Back and forward in the line, for a mouse."""

STEP_KEYS = (Key("left", "", "", step(-1)), Key("right", "arrows", "step through the moves", step(1)))
"""The same by the keyboard."""
