"""Pieces that a line traps: attacked, and every move of theirs loses material."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import chess

from patterns.lines import captures
from patterns.lines.played_line import Step, Use
from patterns.words import wording


def trapped_pieces(steps: Sequence[Step]) -> Iterator[Use]:
    """A piece, not pinned, that falls where it stands and wherever it goes, and is taken on our next move."""
    for step, following in pairwise(steps):
        square = _victim(step, following)
        if square is None or not is_trapped(step.after, square):
            continue
        attackers = (
            captures.bearing_on(step.after, square, step.after.occupied) & step.after.occupied_co[step.us]
        )
        note = f"{wording.named(step.after, square)} is attacked and has no safe square"
        exits = chess.SquareSet(step.after.attacks_mask(square) & ~step.after.occupied)
        yield step.use("trapped-piece", note, chess.SquareSet(attackers), [square], exits)


def _victim(step: Step, following: Step) -> chess.Square | None:
    """Where the man that our next move takes stood before their reply, if it is a piece worth trapping."""
    if step.reply is None or not following.captures:
        return None
    taken = following.move.to_square
    square = step.reply.from_square if step.reply.to_square == taken else taken
    if step.after.color_at(square) == step.us:
        return None
    trappable = step.after.piece_type_at(square) not in (None, chess.PAWN, chess.KING)
    return square if trappable else None


def is_trapped(board: chess.Board, square: chess.Square) -> bool:
    """Whether the piece of the side to move falls where it stands, is not pinned, and loses with any move.

    Not asked in check, where it is the check that stops it.
    """
    if board.is_check() or board.is_pinned(board.turn, square) or captures.falls(board, square) == 0:
        return False
    moves = list(board.generate_legal_moves(from_mask=chess.BB_SQUARES[square]))
    return all(captures.exchange(board, move) < 0 for move in moves)
