"""What a line does to the king: the back rank, and pieces given for its cover."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import chess

from patterns.lines import captures
from patterns.lines.played_line import Step, Use, gain_of
from patterns.words import wording

COVER = 2
"""King steps within which a pawn in front of the king is its cover."""


def back_rank(steps: Sequence[Step]) -> Iterator[Use]:
    """A heavy piece checks along the king's first rank, where its own men hem it in: mate, or material won.

    Of the squares before the king at least two hold men of its own, one of them a pawn; the rest are covered.
    A check that the king answers by taking the piece, at once or when the exchange there is over, is no such
    check, but a sacrifice.
    """
    for index, step in enumerate(steps):
        king, checker = step.their_king, _checker_on_first_rank(step)
        if checker is None or not _hemmed_in(step.after, king) or not _works(steps[index:], checker):
            continue
        board = step.after
        attacked, attacker = wording.named(board, king), wording.named(board, checker)
        note = f"{attacked} cannot leave its first rank when {attacker} checks"
        yield step.use("back-rank", note, [checker], [king], chess.SquareSet(chess.between(checker, king)))


def _works(steps: Sequence[Step], checker: chess.Square) -> bool:
    """Whether the line ends in a mate of this kind, or wins more than the check itself does by exchange."""
    step, last = steps[0], steps[-1]
    if any(_king_replies(each) and each.reply.to_square == checker for each in steps if each.reply):
        return False
    if last.after.is_checkmate():
        return _checker_on_first_rank(last) is not None
    return not _king_replies(step) and gain_of(steps) > max(0, captures.exchange(step.before, step.move))


def _king_replies(step: Step) -> bool:
    return step.reply is not None and step.reply.from_square == step.their_king


def _checker_on_first_rank(step: Step) -> chess.Square | None:
    """The rook or queen that checks their king along its first rank, if one does."""
    first = chess.BB_RANK_1 if step.us == chess.BLACK else chess.BB_RANK_8
    if not first & chess.BB_SQUARES[step.their_king]:
        return None
    heavy = step.after.checkers_mask() & first & (step.after.rooks | step.after.queens)
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


def cover_sacrifices(steps: Sequence[Step]) -> Iterator[Use]:
    """A piece is given for a pawn of the king's cover, the attack goes on at once, and the line wins.

    The attack goes on: our next move checks, or arrives within two king steps of the king. The line wins: it
    mates, ends with mate threatened, or comes out ahead.
    """
    for index, (step, following) in enumerate(pairwise(steps)):
        square, king = step.move.to_square, step.before.king(not step.us)
        if king is None or step.mover in (chess.PAWN, chess.KING) or not _is_cover(step.before, square, king):
            continue
        goes_on = following.after.is_check() or (
            chess.square_distance(following.move.to_square, following.their_king) <= COVER
        )
        if step.reply is None or step.reply.to_square != square or not goes_on:
            continue
        last = steps[-1].after
        if last.is_checkmate() or gain_of(steps[index:]) > 0 or _threatens_mate(last):
            man, pawn, owner = (
                wording.named(step.before, at) for at in (step.move.from_square, square, king)
            )
            note = f"{man} is given for {pawn}, cover of {owner}"
            yield step.use("cover-sacrifice", note, [step.move.from_square], [square, king])


def _threatens_mate(board: chess.Board) -> bool:
    """Whether the side that has just moved could mate at once if the other side passed."""
    if board.is_check():
        return False
    passed = board.copy(stack=False)
    passed.turn = not board.turn
    return any(captures.after_move(passed, move).is_checkmate() for move in passed.generate_legal_moves())


def _is_cover(board: chess.Board, square: chess.Square, king: chess.Square) -> bool:
    """Whether a pawn of the king's own side stands there, before or beside a king at home on a wing."""
    colour = board.color_at(king) == chess.WHITE
    if not board.pawns & board.occupied_co[colour] & chess.BB_SQUARES[square]:
        return False
    forward = 1 if colour == chess.WHITE else -1
    home = chess.square_rank(king) in ((0, 1) if colour == chess.WHITE else (7, 6))
    on_wing = not chess.BB_SQUARES[king] & (chess.BB_FILE_D | chess.BB_FILE_E)
    ahead = (chess.square_rank(square) - chess.square_rank(king)) * forward
    aside = abs(chess.square_file(square) - chess.square_file(king))
    return home and on_wing and 0 <= ahead <= COVER and aside <= 1
