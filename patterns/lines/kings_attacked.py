"""What a line does to the king: the back rank, and pieces given for its cover."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import chess

from patterns.lines import captures
from patterns.lines.played_line import OwnMove, Use, gain_of
from patterns.words import wording

COVER = 2
"""A pawn in front of the king within this many king steps is its cover."""


def back_rank(own_moves: Sequence[OwnMove]) -> Iterator[Use]:
    """A heavy piece checks along the king's first rank. The king's own men shut it in: mate, or material won.

    At least two of the squares in front of the king hold its own men, one of them a pawn. The rest are
    covered. If the king takes the checking piece, at once or after the exchange there, it is a sacrifice and
    does not count.
    """
    for index, own_move in enumerate(own_moves):
        king, checker = own_move.their_king, _checker_on_first_rank(own_move)
        if checker is None or not _hemmed_in(own_move.after, king) or not _works(own_moves[index:], checker):
            continue
        board = own_move.after
        attacked, attacker = wording.named(board, king), wording.named(board, checker)
        note = f"{attacked} cannot leave its first rank when {attacker} checks"
        yield own_move.use(
            "back-rank", note, [checker], [king], chess.SquareSet(chess.between(checker, king))
        )


def _works(own_moves: Sequence[OwnMove], checker: chess.Square) -> bool:
    """Whether the line ends in a mate of this kind, or wins more than the check itself does by exchange."""
    own_move, last = own_moves[0], own_moves[-1]
    if any(_king_replies(each) and each.reply.to_square == checker for each in own_moves if each.reply):
        return False
    if last.after.is_checkmate():
        return _checker_on_first_rank(last) is not None
    return not _king_replies(own_move) and gain_of(own_moves) > max(
        0, captures.exchange(own_move.before, own_move.move)
    )


def _king_replies(own_move: OwnMove) -> bool:
    return own_move.reply is not None and own_move.reply.from_square == own_move.their_king


def _checker_on_first_rank(own_move: OwnMove) -> chess.Square | None:
    """The rook or queen that checks their king along its first rank, or None."""
    first = chess.BB_RANK_1 if own_move.us == chess.BLACK else chess.BB_RANK_8
    if not first & chess.BB_SQUARES[own_move.their_king]:
        return None
    heavy = own_move.after.checkers_mask() & first & (own_move.after.rooks | own_move.after.queens)
    return heavy.bit_length() - 1 if heavy else None


def _hemmed_in(board: chess.Board, king: chess.Square) -> bool:
    """Whether the king has no square off its first rank, mostly because of its own men."""
    before_it = chess.BB_KING_ATTACKS[king] & ~chess.BB_BACKRANKS
    own = before_it & board.occupied_co[board.color_at(king) == chess.WHITE]
    if own.bit_count() < 2 or not own & board.pawns:
        return False
    occupied = board.occupied & ~chess.BB_SQUARES[king]
    attackers = board.occupied & ~board.occupied_co[board.color_at(king) == chess.WHITE]
    return all(
        captures.bearing_on(board, square, occupied) & attackers
        for square in chess.scan_forward(before_it & ~own)
    )


def cover_sacrifices(own_moves: Sequence[OwnMove]) -> Iterator[Use]:
    """A piece is given for a pawn of the king's cover, the attack goes on at once, and the line wins.

    The attack goes on if our next move checks, or arrives within two king steps of the king. The line wins if
    it mates, ends with mate threatened, or comes out ahead.
    """
    for index, (own_move, following) in enumerate(pairwise(own_moves)):
        square, king = own_move.move.to_square, own_move.before.king(not own_move.us)
        if (
            king is None
            or own_move.mover in (chess.PAWN, chess.KING)
            or not _is_cover(own_move.before, square, king)
        ):
            continue
        goes_on = following.after.is_check() or (
            chess.square_distance(following.move.to_square, following.their_king) <= COVER
        )
        if own_move.reply is None or own_move.reply.to_square != square or not goes_on:
            continue
        last = own_moves[-1].after
        if last.is_checkmate() or gain_of(own_moves[index:]) > 0 or _threatens_mate(last):
            man, pawn, owner = (
                wording.named(own_move.before, at) for at in (own_move.move.from_square, square, king)
            )
            note = f"{man} is given for {pawn}, cover of {owner}"
            yield own_move.use("cover-sacrifice", note, [own_move.move.from_square], [square, king])


def _threatens_mate(board: chess.Board) -> bool:
    """Whether the side that has just moved could mate at once if the other side passed."""
    if board.is_check():
        return False
    passed = board.copy(stack=False)
    passed.turn = not board.turn
    return any(captures.after_move(passed, move).is_checkmate() for move in passed.generate_legal_moves())


def _is_cover(board: chess.Board, square: chess.Square, king: chess.Square) -> bool:
    """Whether a pawn of the king's side stands there, in front of or beside a king at home on a wing."""
    colour = board.color_at(king) == chess.WHITE
    if not board.pawns & board.occupied_co[colour] & chess.BB_SQUARES[square]:
        return False
    forward = 1 if colour == chess.WHITE else -1
    home = chess.square_rank(king) in ((0, 1) if colour == chess.WHITE else (7, 6))
    on_wing = not chess.BB_SQUARES[king] & (chess.BB_FILE_D | chess.BB_FILE_E)
    ahead = (chess.square_rank(square) - chess.square_rank(king)) * forward
    aside = abs(chess.square_file(square) - chess.square_file(king))
    return home and on_wing and 0 <= ahead <= COVER and aside <= 1
