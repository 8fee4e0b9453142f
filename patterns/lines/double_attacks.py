"""Forks and captures of unguarded men in a line."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import chess

from patterns.boards.worth import WORTH
from patterns.lines import captures
from patterns.lines.played_line import OwnMove, Use
from patterns.words import wording


def forks(own_moves: Sequence[OwnMove]) -> Iterator[Use]:
    """Moves after which the moved man attacks two or more men with profit, and the line cashes in.

    The king counts as attacked. A pawn does not count as a forked man. Neither does a man that could itself
    take the forking man and is worth no more.
    """
    for index, own_move in enumerate(own_moves):
        if own_move.before.is_castling(own_move.move) or own_move.after.is_checkmate():
            continue
        square = own_move.move.to_square
        targets = [
            target
            for target in chess.scan_forward(
                own_move.after.attacks_mask(square) & own_move.theirs & ~own_move.after.pawns
            )
            if _worth_taking(own_move.after, square, target)
            and not _hits_back(own_move.after, target, square)
        ]
        if len(targets) < 2 or not _cashes_in(own_moves, index, targets):
            continue
        board = own_move.after
        note = f"{wording.named(board, square)} forks {wording.men(board, targets)}"
        yield own_move.use("fork", note, [square], targets)


def _worth_taking(board: chess.Board, origin: chess.Square, target: chess.Square) -> bool:
    return board.piece_type_at(target) == chess.KING or captures.taking(board, origin, target) > 0


def _hits_back(board: chess.Board, target: chess.Square, forker: chess.Square) -> bool:
    """Whether the man attacks the forking man too, is not pinned, and is worth no more."""
    attacks = bool(board.attacks_mask(target) & chess.BB_SQUARES[forker])
    worth_more = captures.worth_at(board, target) > captures.worth_at(board, forker)
    return attacks and not worth_more and not board.is_pinned(board.turn, target)


def _cashes_in(own_moves: Sequence[OwnMove], index: int, targets: Sequence[chess.Square]) -> bool:
    """Whether the line takes a target, is paid for the forking man, or mates where it could take a target.

    A line may also end before that: with the forking move itself, or with a target that can still be taken.
    """
    own_move, forker = own_moves[index], own_moves[index].move.to_square
    if index + 1 == len(own_moves) or own_move.reply is None:
        return _is_safe(own_move)
    if own_move.reply.to_square == forker:
        return _is_paid_for(own_moves[index:])
    following = own_moves[index + 1]
    goes_on = following.move.from_square == forker and following.captures
    desperado = own_move.reply.from_square in targets and own_move.reply.to_square == following.move.to_square
    taken = own_move.reply.from_square if desperado else following.move.to_square
    if desperado or (goes_on and taken in targets):
        worth, own = captures.worth_at(own_move.after, taken), captures.worth_at(own_move.after, forker)
        return (own if following.after.is_checkmate() else 1) <= worth < WORTH[chess.KING]
    if own_move.after.is_check() and own_moves[-1].after.is_checkmate():
        return any(_pays(following.before, chess.Move(forker, target)) for target in targets)
    return _takes_later(own_moves[index + 1 :], forker, targets)


def _pays(board: chess.Board, move: chess.Move) -> bool:
    """Whether the capture wins something, and more than everything that it leaves hanging."""
    if not board.is_legal(move) or not board.is_capture(move):
        return False
    after, us = captures.after_move(board, move), board.turn
    hanging = sum(captures.falls(after, square) for square in chess.scan_forward(after.occupied_co[us]))
    return captures.captured_worth(board, move) > hanging


def _is_paid_for(own_moves: Sequence[OwnMove]) -> bool:
    """Whether the man that took the forking man is worth more, and is captured later in the line."""
    fork, square = own_moves[0], own_moves[0].move.to_square
    taker = fork.reply.from_square if fork.reply else square
    worth, own = captures.worth_at(fork.after, taker), captures.worth_at(fork.after, square)
    return own < worth < WORTH[chess.KING] and any(
        own_move.captures and own_move.move.to_square == square for own_move in own_moves[1:]
    )


def _is_safe(own_move: OwnMove) -> bool:
    """Whether they have no profitable legal capture of the moved man."""
    square = own_move.move.to_square
    if captures.falls(own_move.after, square) == 0:
        return True
    return not any(True for _ in own_move.after.generate_legal_moves(to_mask=chess.BB_SQUARES[square]))


def _takes_later(own_moves: Sequence[OwnMove], forker: chess.Square, targets: Sequence[chess.Square]) -> bool:
    """Whether the forking man takes a target when it moves again, or still could when the line ends."""
    for own_move in own_moves:
        if own_move.before.color_at(forker) != own_move.us:
            return False
        if own_move.move.from_square == forker:
            return own_move.captures and own_move.move.to_square in targets
    board, last = own_moves[-1].after, own_moves[-1]
    attacked = chess.SquareSet(board.attacks_mask(forker) & last.theirs & ~board.kings)
    there = any(captures.taking(board, forker, target) > 0 for target in attacked if target in targets)
    return there and last.move.to_square != forker and not board.is_checkmate()


def loose_pieces(own_moves: Sequence[OwnMove]) -> Iterator[Use]:
    """Captures of unguarded pieces that were hanging at the start, or that our last move hit with tempo.

    With tempo: that move also checked, took something, or attacked another man worth taking.
    """
    for index, own_move in enumerate(own_moves):
        square = own_move.move.to_square
        if not own_move.captures or own_move.before.piece_type_at(square) in (None, chess.PAWN):
            continue
        if _is_guarded(own_move.after, square) or (
            index and not _hit_with_tempo(own_moves[index - 1], own_move, square)
        ):
            continue
        note = f"{wording.named(own_move.before, square)} is unguarded and falls"
        yield own_move.use("loose-piece", note, [own_move.move.from_square], [square])


def _is_guarded(board: chess.Board, square: chess.Square) -> bool:
    """Whether a man of the side to move bears on the square."""
    return bool(captures.bearing_on(board, square, board.occupied) & board.occupied_co[board.turn])


def _hit_with_tempo(previous: OwnMove, own_move: OwnMove, target: chess.Square) -> bool:
    board, taker = previous.after, own_move.move.from_square
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
