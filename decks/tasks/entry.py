"""Reads what a student types: a move in SAN or UCI, or a square; or says why it is neither."""

from __future__ import annotations

import re

import chess

from patterns.reading import written_move

_SQUARE = re.compile(r"[a-h][1-8]")


class EntryError(ValueError):
    """What was typed does not answer what was asked; the message quotes it and says what would be right."""


class InvalidEntry(EntryError):
    """Nothing in any notation we read."""


def read_move(board: chess.Board, text: str) -> chess.Move:
    """The legal move that `text` means on `board`.

    >>> read_move(chess.Board(), "1. nf3!").uci(), read_move(chess.Board(), "e2e4").uci()
    ('g1f3', 'e2e4')
    >>> read_move(chess.Board(), "Ne4")
    Traceback (most recent call last):
    decks.tasks.entry.EntryError: Ne4 is not legal here: a knight can go Na3, Nc3, Nf3, Nh3
    """
    try:
        return written_move.read_move(board, text, written_move.TYPED)
    except written_move.InvalidMove as error:
        raise InvalidEntry(str(error)) from error
    except written_move.IllegalMove as error:
        raise EntryError(f"{error.text} is not legal here: {error.right or error.why}") from error
    except written_move.AmbiguousMove as error:
        raise EntryError(f"{error.text} could be {error.why}: {error.right}") from error


def read_square(text: str) -> str | None:
    """The square named, or None."""
    square = text.strip().lower()
    return square if _SQUARE.fullmatch(square) else None


def legal_san(board: chess.Board) -> tuple[str, ...]:
    """Every legal move in SAN, sorted; for completion."""
    return tuple(sorted(board.san(move) for move in board.legal_moves))
