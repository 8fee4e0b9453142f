"""Forks, and unguarded men taken, in a line."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import chess

from patterns import wording
from patterns.combinations import trade
from patterns.combinations.line import Step, Use


def forks(steps: Sequence[Step]) -> Iterator[Use]:
    """Moves after which the moved man, safe itself, profitably attacks two men or more, one of which falls.

    The king counts as attacked; pawns do not make a fork.
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
            if _worth_taking(step.after, square, target)
        ]
        if len(targets) < 2 or not _is_safe(step) or not _cashes_in(steps, index, targets):
            continue
        board = step.after
        note = f"{wording.named(board, square)} forks {wording.men(board, targets)}"
        yield step.use("fork", note, [square], targets)


def _worth_taking(board: chess.Board, origin: chess.Square, target: chess.Square) -> bool:
    return board.piece_type_at(target) == chess.KING or trade.taking(board, origin, target) > 0


def _is_safe(step: Step) -> bool:
    """Whether they have no legal capture of the moved man that pays, or did without it."""
    square = step.move.to_square
    if step.reply is not None and step.reply.to_square != square:
        return True
    if trade.falls(step.after, square) == 0:
        return True
    return not any(True for _ in step.after.generate_legal_moves(to_mask=chess.BB_SQUARES[square]))


def _cashes_in(steps: Sequence[Step], index: int, targets: Sequence[chess.Square]) -> bool:
    """Whether the line takes a target: the forking man one that stays, or anyone one that lashed out.

    Where our next move mates, or retakes the forking man, the target must be worth that man at least. A line
    may also end before the fork is cashed in: then a target must still be there to take. But a fork by the
    last move counts only if that move takes nothing: else the capture is what the line was for.
    """
    step, forker = steps[index], steps[index].move.to_square
    if index + 1 == len(steps) or step.reply is None:
        return not step.captures
    following = steps[index + 1]
    lashed_out = step.reply.from_square in targets and step.reply.to_square == following.move.to_square
    taken = step.reply.from_square if lashed_out else following.move.to_square
    if lashed_out or (taken in targets and following.move.from_square == forker and following.captures):
        worth, own = trade.worth_at(step.after, taken), trade.worth_at(step.after, forker)
        enough = own if following.after.is_checkmate() else own + 1 if step.reply.to_square == forker else 1
        return enough <= worth < trade.WORTH[chess.KING]
    return _takes_later(steps[index + 1 :], forker, targets)


def _takes_later(steps: Sequence[Step], forker: chess.Square, targets: Sequence[chess.Square]) -> bool:
    """Whether the forking man takes a target when it moves again, or still could when the line ends."""
    for step in steps:
        if step.before.color_at(forker) != step.us:
            return False
        if step.move.from_square == forker:
            return step.captures and step.move.to_square in targets
    board, last = steps[-1].after, steps[-1]
    attacked = chess.SquareSet(board.attacks_mask(forker) & last.theirs & ~board.kings)
    there = any(trade.taking(board, forker, target) > 0 for target in attacked if target in targets)
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
    return bool(trade.bearing_on(board, square, board.occupied) & board.occupied_co[board.turn])


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
