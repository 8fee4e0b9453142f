"""How a line of moves uses sight lines: skewers, and sight lines that a man opens by moving off them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import chess

from patterns.lines import captures
from patterns.lines.played_line import OwnMove, Use, gain_of
from patterns.words import wording


def skewers(own_moves: Sequence[OwnMove]) -> Iterator[Use]:
    """A slider attacks a man that must leave the sight line, and takes the man that stood behind it.

    The front man is the king, or it is threatened and worth at least as much as the man behind it.
    """
    for own_move, following in pairwise(own_moves):
        if own_move.reply is None or not following.captures:
            continue
        slider, front, rear = own_move.move.to_square, own_move.reply.from_square, following.move.to_square
        if following.move.from_square != slider:
            continue
        board = own_move.after
        sight_line = chess.between(slider, rear)
        if not sight_line & chess.BB_SQUARES[front] or sight_line & board.occupied != chess.BB_SQUARES[front]:
            continue
        if not board.attacks_mask(slider) & chess.BB_SQUARES[front] or board.color_at(rear) != (
            not own_move.us
        ):
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
        yield own_move.use(
            "skewer", note, [slider], [front, rear], chess.SquareSet(sight_line & ~chess.BB_SQUARES[front])
        )


def discovered_attacks(own_moves: Sequence[OwnMove]) -> Iterator[Use]:
    """A man leaves the sight line of a slider behind it. This gives check, or the slider captures next move.

    The man that leaves has a threat of its own: it checks, takes or attacks something worth taking. The
    slider's capture wins by exchange, or breaks even if the line as a whole wins. A line that mates needs
    neither.
    """
    for index, own_move in enumerate(own_moves):
        if own_move.before.is_castling(own_move.move):
            continue
        yield from _discovered_checks(own_move)
        if (
            index + 1 < len(own_moves)
            and _opens_for(own_move, own_moves[index + 1])
            and _has_a_threat(own_move)
        ):
            following = own_moves[index + 1].move
            least = 0 if gain_of(own_moves[index:]) > 0 else 1
            mates = own_moves[-1].after.is_checkmate()
            if not mates and captures.exchange(own_moves[index + 1].before, following) < least:
                continue
            board, slider, target = own_move.after, following.from_square, following.to_square
            leaver, behind, hit = (
                wording.named(board, square) for square in (own_move.move.to_square, slider, target)
            )
            note = f"{leaver} opens the line of {behind} to {hit} with a threat of its own"
            sight_line = chess.SquareSet(chess.between(slider, target))
            yield own_move.use(
                "discovered-attack", note, [slider, own_move.move.to_square], [target], sight_line
            )


def _discovered_checks(own_move: OwnMove) -> Iterator[Use]:
    king, moved, board = own_move.their_king, own_move.move.to_square, own_move.after
    for slider in board.checkers():
        sight_line = chess.between(slider, king)
        if slider == moved or not sight_line & chess.BB_SQUARES[own_move.move.from_square]:
            continue
        check = "double check" if board.checkers_mask() & chess.BB_SQUARES[moved] else "check"
        note = (
            f"{wording.named(board, moved)} leaves the line of {wording.named(board, slider)}:"
            f" {check} to {wording.named(board, king)}"
        )
        yield own_move.use("discovered-attack", note, [slider, moved], [king], chess.SquareSet(sight_line))


def _opens_for(own_move: OwnMove, following: OwnMove) -> bool:
    """Whether a slider that did not move captures next move along the line that our move opened."""
    slider, target = following.move.from_square, following.move.to_square
    opened = chess.BB_SQUARES[own_move.move.from_square]
    sight_line = chess.between(slider, target)
    if not following.captures or not sight_line & opened or slider == own_move.move.to_square:
        return False
    stood = own_move.before.color_at(slider) == own_move.us and own_move.after.color_at(target) == (
        not own_move.us
    )
    return stood and sight_line & own_move.before.occupied == opened


def _has_a_threat(own_move: OwnMove) -> bool:
    """Whether the man that moved checks, took something, or attacks something worth taking."""
    square = own_move.move.to_square
    if own_move.captures or own_move.move.promotion or own_move.after.is_check():
        return True
    attacked = own_move.after.attacks_mask(square) & own_move.theirs
    return any(captures.taking(own_move.after, square, target) > 0 for target in chess.scan_forward(attacked))
