"""What a move threatens: a mate or a capture that the other side must not allow. Pure."""

from __future__ import annotations

from collections.abc import Iterator

import chess

from patterns.proof.captures import after_move, captured_worth, exchange, played_out

MATE = 100
"""Pawns: a mate is worth more than any man."""


def threat(board: chess.Board, move: str) -> str:
    """What a legal move (UCI) threatens to play next, in SAN; empty if nothing new, or if it gives check.

    A threat mates, or wins at least a pawn by exchange, and more than the other side then takes elsewhere. At
    once, nothing on its square would win as much.

    >>> threat(chess.Board("6k1/5ppp/8/3n4/8/8/4R1PP/6K1 w - - 0 1"), "e2d2"), threat(chess.Board(), "e2e4")
    ('Rxd5', '')
    """
    after = board.copy(stack=False)
    after.push_uci(move)
    if after.is_check():
        return ""
    after.push(chess.Move.null())
    at_once: dict[chess.Square, int] = {}
    for gain, blow in _blows(board):
        at_once[blow.to_square] = max(gain, at_once.get(blow.to_square, 0))
    new = [
        (gain, blow)
        for gain, blow in _blows(after)
        if gain > at_once.get(blow.to_square, 0) and gain > _answer(after_move(after, blow), blow)
    ]
    return after.san(max(new, key=lambda one: (one[0], one[1].uci()))[1]) if new else ""


def _answer(board: chess.Board, blow: chess.Move) -> int:
    """The most that a capture on another square than that of the blow wins by exchange, in pawns."""
    if board.is_checkmate():
        return 0
    elsewhere = (move for move in board.generate_legal_captures() if move.to_square != blow.to_square)
    return max([0, *(exchange(board, move) for move in elsewhere)])


def _blows(board: chess.Board) -> Iterator[tuple[int, chess.Move]]:
    """What moves that mate, take or promote with profit win, in pawns, and these moves."""
    for move in board.legal_moves:
        gain = 0
        if (board.is_capture(move) or move.promotion) and exchange(board, move) > 0:
            here = chess.SquareSet([move.to_square])
            gain = captured_worth(board, move) - played_out(after_move(board, move), here)
        if board.gives_check(move) and after_move(board, move).is_checkmate():
            gain = MATE
        if gain > 0:
            yield gain, move
