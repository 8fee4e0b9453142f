"""Moves that only take back. They are played for what was taken, and need no motif."""

from __future__ import annotations

from collections.abc import Sequence

import chess

from patterns.proof.played_line import OwnMove, Use, own_moves_of


def without_recaptures(
    uses: Sequence[Use], board: chess.Board, line: Sequence[chess.Move], taken: chess.Square | None
) -> list[Use]:
    """The uses of a line without those of moves that only take back.

    A move that takes the man that has just taken does more if what it uses names the king or two men besides.
    `taken`: where the other side took with the move before the line; None if it took nothing.

    >>> from patterns.lines import uses
    >>> board, line = chess.Board("4k3/8/8/3n4/4P3/8/8/4K3 w - - 0 30"), [chess.Move.from_uci("e4d5")]
    >>> [use.motif for use in without_recaptures(uses(board, line), board, line, None)]
    ['loose-piece']
    >>> without_recaptures(uses(board, line), board, line, chess.D5)
    []
    """
    kept: list[Use] = []
    for own_move in own_moves_of(board, line):
        takes_back = own_move.captures and own_move.move.to_square == taken
        kept += [
            use for use in uses if use.ply == own_move.ply and not (takes_back and _is_plain(use, own_move))
        ]
        taken = taken_by(own_move.after, own_move.reply)
    return kept


def taken_by(board: chess.Board, move: chess.Move | None) -> chess.Square | None:
    """Where the move takes a man; None if it does not."""
    return move.to_square if move is not None and board.is_capture(move) else None


def _is_plain(use: Use, own_move: OwnMove) -> bool:
    board = own_move.before
    targets = map(chess.parse_square, use.targets)
    men = {square for square in targets if board.color_at(square) == (not own_move.us)}
    return own_move.their_king not in men and len(men - {own_move.move.to_square}) < 2
