"""Forks, and unguarded men taken, in a line."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import chess

from patterns.boards.worth import WORTH
from patterns.lines import captures
from patterns.lines.played_line import Step, Use
from patterns.words import wording


def forks(steps: Sequence[Step]) -> Iterator[Use]:
    """Moves after which the moved man attacks two men or more with profit, and the line cashes in.

    The king counts as attacked; pawns do not make a fork, nor does a man that could as well take the forking
    man and is worth no more.
    """
    for index, step in enumerate(steps):
        if step.before.is_castling(step.move) or step.after.is_checkmate():
            continue
        square = step.move.to_square
        targets = [
            target
            for target in chess.scan_forward(
                step.after.attacks_mask(square) & step.theirs & ~step.after.pawns
            )
            if _worth_taking(step.after, square, target) and not _hits_back(step.after, target, square)
        ]
        if len(targets) < 2 or not _cashes_in(steps, index, targets):
            continue
        board = step.after
        note = f"{wording.named(board, square)} forks {wording.men(board, targets)}"
        yield step.use("fork", note, [square], targets)


def _worth_taking(board: chess.Board, origin: chess.Square, target: chess.Square) -> bool:
    return board.piece_type_at(target) == chess.KING or captures.taking(board, origin, target) > 0


def _hits_back(board: chess.Board, target: chess.Square, forker: chess.Square) -> bool:
    """Whether the man attacks the forking man in turn, is not pinned, and is worth no more."""
    attacks = bool(board.attacks_mask(target) & chess.BB_SQUARES[forker])
    dear = captures.worth_at(board, target) > captures.worth_at(board, forker)
    return attacks and not dear and not board.is_pinned(board.turn, target)


def _cashes_in(steps: Sequence[Step], index: int, targets: Sequence[chess.Square]) -> bool:
    """Whether the line takes a target, is paid for the forking man, or mates where it could take one instead.

    A line may also end before that, with the forking move itself or with a target still to be taken.
    """
    step, forker = steps[index], steps[index].move.to_square
    if index + 1 == len(steps) or step.reply is None:
        return _is_safe(step)
    if step.reply.to_square == forker:
        return _is_paid_for(steps[index:])
    following = steps[index + 1]
    goes_on = following.move.from_square == forker and following.captures
    lashed_out = step.reply.from_square in targets and step.reply.to_square == following.move.to_square
    taken = step.reply.from_square if lashed_out else following.move.to_square
    if lashed_out or (goes_on and taken in targets):
        worth, own = captures.worth_at(step.after, taken), captures.worth_at(step.after, forker)
        return (own if following.after.is_checkmate() else 1) <= worth < WORTH[chess.KING]
    if step.after.is_check() and steps[-1].after.is_checkmate():
        return any(_pays(following.before, chess.Move(forker, target)) for target in targets)
    return _takes_later(steps[index + 1 :], forker, targets)


def _pays(board: chess.Board, move: chess.Move) -> bool:
    """Whether the capture wins something, and more than all that it leaves hanging."""
    if not board.is_legal(move) or not board.is_capture(move):
        return False
    after, us = captures.after_move(board, move), board.turn
    hanging = sum(captures.falls(after, square) for square in chess.scan_forward(after.occupied_co[us]))
    return captures.captured_worth(board, move) > hanging


def _is_paid_for(steps: Sequence[Step]) -> bool:
    """Whether the man that took the forking man is worth more, and falls for it later in the line."""
    fork, square = steps[0], steps[0].move.to_square
    taker = fork.reply.from_square if fork.reply else square
    worth, own = captures.worth_at(fork.after, taker), captures.worth_at(fork.after, square)
    return own < worth < WORTH[chess.KING] and any(
        step.captures and step.move.to_square == square for step in steps[1:]
    )


def _is_safe(step: Step) -> bool:
    """Whether they have no legal capture of the moved man that pays."""
    square = step.move.to_square
    if captures.falls(step.after, square) == 0:
        return True
    return not any(True for _ in step.after.generate_legal_moves(to_mask=chess.BB_SQUARES[square]))


def _takes_later(steps: Sequence[Step], forker: chess.Square, targets: Sequence[chess.Square]) -> bool:
    """Whether the forking man takes a target when it moves again, or still could when the line ends."""
    for step in steps:
        if step.before.color_at(forker) != step.us:
            return False
        if step.move.from_square == forker:
            return step.captures and step.move.to_square in targets
    board, last = steps[-1].after, steps[-1]
    attacked = chess.SquareSet(board.attacks_mask(forker) & last.theirs & ~board.kings)
    there = any(captures.taking(board, forker, target) > 0 for target in attacked if target in targets)
    return there and last.move.to_square != forker and not board.is_checkmate()


def loose_pieces(steps: Sequence[Step]) -> Iterator[Use]:
    """Pieces taken that nobody guarded: left hanging at the start, or when our last move hit them with tempo.

    With tempo: that move also checked, took something, or attacked another man worth taking.
    """
    for index, step in enumerate(steps):
        square = step.move.to_square
        if not step.captures or step.before.piece_type_at(square) in (None, chess.PAWN):
            continue
        if _is_guarded(step.after, square) or (index and not _hit_with_tempo(steps[index - 1], step, square)):
            continue
        note = f"{wording.named(step.before, square)} is unguarded and falls"
        yield step.use("loose-piece", note, [step.move.from_square], [square])


def _is_guarded(board: chess.Board, square: chess.Square) -> bool:
    """Whether a man of the side to move bears on the square."""
    return bool(captures.bearing_on(board, square, board.occupied) & board.occupied_co[board.turn])


def _hit_with_tempo(previous: Step, step: Step, target: chess.Square) -> bool:
    board, taker = previous.after, step.move.from_square
    stayed = previous.reply is not None and previous.reply.to_square != target
    if not stayed or _is_guarded(board, target) or not board.attacks_mask(taker) & chess.BB_SQUARES[target]:
        return False
    if previous.before.attacks_mask(taker) & chess.BB_SQUARES[target] and taker != previous.move.to_square:
        return False
    others = previous.theirs & ~chess.BB_SQUARES[target] & ~board.pawns
    hit = board.attacks_mask(previous.move.to_square) & others
    return previous.captures or any(
        _worth_taking(board, previous.move.to_square, other) for other in chess.scan_forward(hit)
    )
