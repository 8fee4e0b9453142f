"""Guards that a line takes away: removed, driven off, or drawn to another duty."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import chess

from patterns.boards.worth import WORTH
from patterns.lines import captures
from patterns.lines.played_line import OwnMove, Use
from patterns.words import wording


def guards_beaten(own_moves: Sequence[OwnMove]) -> Iterator[Use]:
    """The guard of what our next move takes is taken or driven off (removed), or lured away (overloaded)."""
    for own_move, following in pairwise(own_moves):
        target = following.move.to_square
        if own_move.reply is None or not _falls_only_now(own_move, following):
            continue
        duty = own_move.move.to_square
        taken = own_move.before.color_at(duty) == (not own_move.us)
        guard = duty
        if taken and _guards(own_move.before, guard, target):
            guarded = wording.named(own_move.before, target)
            note = f"{wording.named(own_move.before, guard)}, the guard of {guarded}, is taken"
            yield own_move.use("removed-defender", note, [own_move.move.from_square], [guard, target])
            continue
        guard = own_move.reply.from_square
        if not _holds(own_move, guard, target) or _guards(following.before, own_move.reply.to_square, target):
            continue
        men, leaver, left = (
            [guard, target],
            wording.named(own_move.before, guard),
            wording.named(own_move.before, target),
        )
        if own_move.reply.to_square == duty:
            note = f"{leaver} has to take on {chess.SQUARE_NAMES[duty]} and leaves {left}"
            yield own_move.use("overloaded-defender", note, [own_move.move.from_square], men, [duty])
        elif own_move.after.attacks_mask(duty) & chess.BB_SQUARES[guard]:
            note = f"{leaver} is driven off and leaves {left}"
            yield own_move.use("removed-defender", note, [duty], men)


def _falls_only_now(own_move: OwnMove, following: OwnMove) -> bool:
    """Whether our next move wins a piece (or mates), and could not have won it before our move."""
    target = following.move.to_square
    if own_move.before.color_at(target) != (not own_move.us) or own_move.move.to_square == target:
        return False
    if own_move.reply is None or own_move.reply.to_square == target or not following.captures:
        return False
    if captures.worth_at(following.before, target) > WORTH[following.mover]:
        return False  # it falls whether it is guarded or not
    if own_move.before.piece_type_at(target) == chess.PAWN and not following.after.is_checkmate():
        return False
    return (
        captures.exchange(following.before, following.move) > 0
        and captures.falls(own_move.before, target) == 0
    )


def _holds(own_move: OwnMove, guard: chess.Square, target: chess.Square) -> bool:
    """Whether the man guarded the target, and the target falls without it."""
    board = own_move.before
    if board.color_at(guard) == own_move.us or not _guards(board, guard, target):
        return False
    return (
        board.piece_type_at(guard) == chess.KING or captures.falls(captures.without(board, guard), target) > 0
    )


def _guards(board: chess.Board, guard: chess.Square, target: chess.Square) -> bool:
    return bool(board.attacks_mask(guard) & chess.BB_SQUARES[target])
