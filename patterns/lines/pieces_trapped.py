"""Pieces that a line traps: they are attacked, and every move they have loses material."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import chess

from patterns.lines import captures
from patterns.lines.played_line import OwnMove, Use
from patterns.words import wording


def trapped_pieces(own_moves: Sequence[OwnMove]) -> Iterator[Use]:
    """A piece, not pinned, that falls where it stands and wherever it goes, and is taken on our next move."""
    for own_move, following in pairwise(own_moves):
        square = _victim(own_move, following)
        if square is None or not is_trapped(own_move.after, square):
            continue
        attackers = (
            captures.bearing_on(own_move.after, square, own_move.after.occupied)
            & own_move.after.occupied_co[own_move.us]
        )
        note = f"{wording.named(own_move.after, square)} is attacked and has no safe square"
        exits = chess.SquareSet(own_move.after.attacks_mask(square) & ~own_move.after.occupied)
        yield own_move.use("trapped-piece", note, chess.SquareSet(attackers), [square], exits)


def _victim(own_move: OwnMove, following: OwnMove) -> chess.Square | None:
    """Where the man that our next move takes stood before their reply, if it is a piece worth trapping."""
    if own_move.reply is None or not following.captures:
        return None
    taken = following.move.to_square
    square = own_move.reply.from_square if own_move.reply.to_square == taken else taken
    if own_move.after.color_at(square) == own_move.us:
        return None
    trappable = own_move.after.piece_type_at(square) not in (None, chess.PAWN, chess.KING)
    return square if trappable else None


def is_trapped(board: chess.Board, square: chess.Square) -> bool:
    """Whether the piece of the side to move falls where it stands, is not pinned, and loses with any move.

    Always false in check, because then the check limits its moves.
    """
    if board.is_check() or board.is_pinned(board.turn, square) or captures.falls(board, square) == 0:
        return False
    moves = list(board.generate_legal_moves(from_mask=chess.BB_SQUARES[square]))
    return all(captures.exchange(board, move) < 0 for move in moves)
