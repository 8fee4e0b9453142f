"""Guards that a line takes away: removed, driven off, or drawn to another duty."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import chess

from patterns.boards.worth import WORTH
from patterns.lines import captures
from patterns.lines.played_line import Step, Use
from patterns.words import wording


def guards_beaten(steps: Sequence[Step]) -> Iterator[Use]:
    """The guard of what our next move takes is taken or driven off (removed), or lured away (overloaded)."""
    for step, following in pairwise(steps):
        target = following.move.to_square
        if step.reply is None or not _falls_only_now(step, following):
            continue
        duty = step.move.to_square
        taken = step.before.color_at(duty) == (not step.us)
        guard = duty
        if taken and _guards(step.before, guard, target):
            guarded = wording.named(step.before, target)
            note = f"{wording.named(step.before, guard)}, the guard of {guarded}, is taken"
            yield step.use("removed-defender", note, [step.move.from_square], [guard, target])
            continue
        guard = step.reply.from_square
        if not _holds(step, guard, target) or _guards(following.before, step.reply.to_square, target):
            continue
        men, leaver, left = (
            [guard, target],
            wording.named(step.before, guard),
            wording.named(step.before, target),
        )
        if step.reply.to_square == duty:
            note = f"{leaver} has to take on {chess.SQUARE_NAMES[duty]} and leaves {left}"
            yield step.use("overloaded-defender", note, [step.move.from_square], men, [duty])
        elif step.after.attacks_mask(duty) & chess.BB_SQUARES[guard]:
            note = f"{leaver} is driven off and leaves {left}"
            yield step.use("removed-defender", note, [duty], men)


def _falls_only_now(step: Step, following: Step) -> bool:
    """Whether our next move wins a piece (or mates) where it could not be won before our move."""
    target = following.move.to_square
    if step.before.color_at(target) != (not step.us) or step.move.to_square == target:
        return False
    if step.reply is None or step.reply.to_square == target or not following.captures:
        return False
    if captures.worth_at(following.before, target) > WORTH[following.mover]:
        return False  # it falls, guarded or not
    if step.before.piece_type_at(target) == chess.PAWN and not following.after.is_checkmate():
        return False
    return (
        captures.exchange(following.before, following.move) > 0 and captures.falls(step.before, target) == 0
    )


def _holds(step: Step, guard: chess.Square, target: chess.Square) -> bool:
    """Whether the man guarded the target, and the target falls without it."""
    board = step.before
    if board.color_at(guard) == step.us or not _guards(board, guard, target):
        return False
    return (
        board.piece_type_at(guard) == chess.KING or captures.falls(captures.without(board, guard), target) > 0
    )


def _guards(board: chess.Board, guard: chess.Square, target: chess.Square) -> bool:
    return bool(board.attacks_mask(guard) & chess.BB_SQUARES[target])
