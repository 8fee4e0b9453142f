"""Lines of moves: on a board, numbered as on a scoresheet, and to play through."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import chess

from patterns.reading.written_move import ENGINE, MoveError, read_move

CALM_PLIES = 4
"""Plies without a capture or check after which a move counts as part of a plan: two moves of each side."""

FORCED = 2
"""A reply is forced if no more than so many are legal, and then it need not be guessed."""


@dataclass(frozen=True)
class ShownLine:
    """Moves (UCI) from the card's position, with a title. `own`: how many of them the answer played."""

    title: str
    moves: tuple[str, ...]
    own: int = 0


def board_after(start: chess.Board, moves: Iterable[str]) -> chess.Board:
    """A copy of `start` with these UCI moves played."""
    board = start.copy(stack=False)
    for move in moves:
        board.push_uci(move)
    return board


def legal_part(board: chess.Board, line: Iterable[str]) -> tuple[str, ...]:
    """The moves (UCI) of `line` up to the first that is not legal from `board`."""
    board = board.copy(stack=False)
    played: list[str] = []
    for uci in line:
        try:
            board.push(read_move(board, uci, ENGINE))
        except MoveError:
            break
        played.append(uci)
    return tuple(played)


def without_loops(board: chess.Board, line: Sequence[str], kept: int) -> tuple[str, ...]:
    """The line (UCI) without moves that lead back to a position that it had before; `kept` plies stay.

    >>> without_loops(chess.Board(), "g1f3 g8f6 f3g1 f6g8 e2e4".split(), 0)
    ('e2e4',)
    >>> without_loops(chess.Board(), "g1f3 g8f6 f3g1 f6g8 g1f3 e7e5".split(), 1)
    ('g1f3', 'e7e5')
    """
    board, shown = board.copy(stack=False), list[str]()
    at = {board.epd(): 0} if kept == 0 else {}
    for uci in line:
        board.push_uci(uci)
        shown.append(uci)
        if len(shown) >= kept:
            del shown[at.setdefault(board.epd(), len(shown)) :]
            at = {epd: place for epd, place in at.items() if place <= len(shown)}
    return tuple(shown)


def is_forcing(board: chess.Board, move: chess.Move) -> bool:
    """Whether a move captures or checks."""
    return board.is_capture(move) or board.gives_check(move)


def is_foreseen(board: chess.Board, reply: chess.Move) -> bool:
    """Whether one can expect a reply: it takes, checks, answers a check, or few others are legal."""
    return is_forcing(board, reply) or board.is_check() or board.legal_moves.count() <= FORCED


def is_calm(board: chess.Board, line: Sequence[str]) -> bool:
    """Whether nobody takes or checks in the first CALM_PLIES of a line (UCI), as far as it goes."""
    after = board.copy(stack=False)
    for uci in legal_part(board, line[:CALM_PLIES]):
        move = chess.Move.from_uci(uci)
        if is_forcing(after, move):
            return False
        after.push(move)
    return True


def numbered(start: chess.Board, moves: tuple[str, ...]) -> list[str]:
    """The moves in SAN, numbered as on a scoresheet: `14. Rd8+`, `Kf7`, or `14... Kf7` to begin with."""
    board, words = start.copy(stack=False), []
    for ply, uci in enumerate(moves):
        move = chess.Move.from_uci(uci)
        number = f"{board.fullmove_number}. " if board.turn else "" if ply else f"{board.fullmove_number}... "
        words.append(number + board.san(move))
        board.push(move)
    return words


def move_at(start: chess.Board, moves: tuple[str, ...], ply: int) -> str:
    """One move of a line, with its number; ply 1 is the first.

    >>> move_at(chess.Board(), ("e2e4", "e7e5"), 2)
    '1... e5'
    """
    return numbered(board_after(start, moves[: ply - 1]), moves[ply - 1 : ply])[0]


def place_in_line(start: chess.Board, moves: tuple[str, ...], ply: int) -> str:
    """Says which move of a line was just played; at ply 0, that the card's position is on the board."""
    return f"After {move_at(start, moves, ply)}." if ply else "The position asked about."
