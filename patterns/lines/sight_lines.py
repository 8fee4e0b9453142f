"""What a line does with sight lines: skewers, and lines opened by a man that moves off them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import chess

from patterns.lines import captures
from patterns.lines.played_line import Step, Use, gain_of
from patterns.words import wording


def skewers(steps: Sequence[Step]) -> Iterator[Use]:
    """A slider attacks a man that must leave its line, and takes what stood behind it.

    The front man is the king, or threatened and worth at least as much as the man behind.
    """
    for step, following in pairwise(steps):
        if step.reply is None or not following.captures:
            continue
        slider, front, rear = step.move.to_square, step.reply.from_square, following.move.to_square
        if following.move.from_square != slider:
            continue
        board = step.after
        line = chess.between(slider, rear)
        if not line & chess.BB_SQUARES[front] or line & board.occupied != chess.BB_SQUARES[front]:
            continue
        if not board.attacks_mask(slider) & chess.BB_SQUARES[front] or board.color_at(rear) != (not step.us):
            continue
        king = board.piece_type_at(front) == chess.KING
        threatened = (
            captures.worth_at(board, front) >= captures.worth_at(board, rear)
            and captures.falls(board, front) > 0
        )
        if not (king or threatened) or captures.exchange(following.before, following.move) <= 0:
            continue
        note = (
            f"{wording.named(board, slider)} drives {wording.named(board, front)} off the line"
            f" and takes {wording.named(board, rear)} behind it"
        )
        yield step.use(
            "skewer", note, [slider], [front, rear], chess.SquareSet(line & ~chess.BB_SQUARES[front])
        )


def discovered_attacks(steps: Sequence[Step]) -> Iterator[Use]:
    """A man leaves the line of a slider behind it: that is check, or the slider takes on the line next move.

    The man that leaves has a threat of its own: it checks, takes or attacks something worth taking. What the
    slider takes wins by exchange, or breaks even when the line as a whole wins, or the line mates.
    """
    for index, step in enumerate(steps):
        if step.before.is_castling(step.move):
            continue
        yield from _discovered_checks(step)
        if index + 1 < len(steps) and _opens_for(step, steps[index + 1]) and _has_a_threat(step):
            following = steps[index + 1].move
            least = 0 if gain_of(steps[index:]) > 0 else 1
            mates = steps[-1].after.is_checkmate()
            if not mates and captures.exchange(steps[index + 1].before, following) < least:
                continue
            board, slider, target = step.after, following.from_square, following.to_square
            leaver, behind, hit = (
                wording.named(board, square) for square in (step.move.to_square, slider, target)
            )
            note = f"{leaver} opens the line of {behind} to {hit} with a threat of its own"
            line = chess.SquareSet(chess.between(slider, target))
            yield step.use("discovered-attack", note, [slider, step.move.to_square], [target], line)


def _discovered_checks(step: Step) -> Iterator[Use]:
    king, moved, board = step.their_king, step.move.to_square, step.after
    for slider in board.checkers():
        line = chess.between(slider, king)
        if slider == moved or not line & chess.BB_SQUARES[step.move.from_square]:
            continue
        check = "double check" if board.checkers_mask() & chess.BB_SQUARES[moved] else "check"
        note = (
            f"{wording.named(board, moved)} leaves the line of {wording.named(board, slider)}:"
            f" {check} to {wording.named(board, king)}"
        )
        yield step.use("discovered-attack", note, [slider, moved], [king], chess.SquareSet(line))


def _opens_for(step: Step, following: Step) -> bool:
    """Whether our next move takes, with a slider that did not move, along a line that our move has opened."""
    slider, target = following.move.from_square, following.move.to_square
    opened = chess.BB_SQUARES[step.move.from_square]
    line = chess.between(slider, target)
    if not following.captures or not line & opened or slider == step.move.to_square:
        return False
    stood = step.before.color_at(slider) == step.us and step.after.color_at(target) == (not step.us)
    return stood and line & step.before.occupied == opened


def _has_a_threat(step: Step) -> bool:
    """Whether the man that moved checks, took something, or attacks something worth taking."""
    square = step.move.to_square
    if step.captures or step.move.promotion or step.after.is_check():
        return True
    attacked = step.after.attacks_mask(square) & step.theirs
    return any(captures.taking(step.after, square, target) > 0 for target in chess.scan_forward(attacked))
