"""The in-between move: first a bigger threat, then the man that was to be taken back.

The rule. They have just taken a man of ours, and taking back would win something by exchange; or, at the
start of a line, a man falls that our second move takes where it stands. Instead we
give check, or take at least as much elsewhere (and the exchange at least), or threaten that or mate. A move
out of check threatens nothing. We still attack the man that took. It is told if the line then takes it,
wherever it went, and wins at least what taking back would have won. If the line ends before our next move,
the look ahead (`patterns.proof.lookahead`) decides. The motif lives in lines: a position does not
show what has just been taken.

A hit: the bishop has taken the queen on d8. Before the king takes it, the other bishop gives check on b4.

>>> from patterns.lines import parse_line, uses
>>> trap = chess.Board("r1bqkb1r/pppn1ppp/5n2/3N2B1/3P4/8/PP2PPPP/R2QKBNR b KQkq - 0 6")
>>> line = parse_line(trap, "Nxd5 Bxd8 Bb4+ Qd2 Bxd2+ Kxd2 Kxd8")
>>> [use.note for use in uses(trap, line) if use.motif == "in-between-move"]
['Before it takes the bishop on d8, Black gives check with the bishop on f8 from b4.']

A near miss: the king takes back at once.

>>> [use for use in uses(trap, parse_line(trap, "Nxd5 Bxd8 Kxd8")) if use.motif == "in-between-move"]
[]

Roles. Actor: the man that moves in between. Target: the man that was to be taken back. Square: where the
actor goes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import chess
import numpy as np

from patterns.boards.bitboards import BIT
from patterns.boards.positions import Positions
from patterns.motifs.findings import Motif
from patterns.proof.aims import MATE, Aims
from patterns.proof.captures import after_move, best_on, captured_worth
from patterns.proof.claims import EXCHANGE
from patterns.proof.lookahead import collects, holds
from patterns.proof.played_line import OwnMove, Use, gain_of, takes_in_the_end
from patterns.words import wording


def in_between_moves(own_moves: Sequence[OwnMove]) -> Iterator[Use]:
    """Moves of a line that are played before a man is taken that could be taken at once."""
    for index, between in enumerate(own_moves):
        taker, won = _to_be_taken(own_moves, index)
        kept = between.after.attackers(between.us, taker) and between.move.to_square != taker
        if won <= 0 or not kept or between.after.is_checkmate():
            continue
        how = _force(between, taker, max(won, EXCHANGE))
        if how and _takes_later(own_moves[index:], taker, won):
            man, side = wording.named(between.before, taker), wording.side_name(between.us)
            yield between.use(
                "in-between-move",
                f"before it takes {man}, {side} {how}",
                [between.move.from_square],
                [taker],
                [between.move.to_square],
            )


def _to_be_taken(own_moves: Sequence[OwnMove], index: int) -> tuple[chess.Square, int]:
    """The man that could be taken instead of this move, and what that would win; 0 if there is none.

    At the start of a line it is the man that the second move takes where it stood all the time.
    """
    board = own_moves[index].before
    if index:
        previous = own_moves[index - 1]
        if previous.reply is not None and previous.after.is_capture(previous.reply):
            return previous.reply.to_square, best_on(board, previous.reply.to_square)
    elif len(own_moves) > 1 and (reply := own_moves[0].reply) is not None:
        square = own_moves[1].move.to_square
        won = best_on(board, square)
        if square not in (reply.from_square, reply.to_square) and won >= EXCHANGE:
            return square, won
    return 0, 0


def _force(between: OwnMove, taker: chess.Square, least: int) -> str:
    """What the move does that they must answer first, in words. Empty if they need not."""
    man, where = wording.named(between.before, between.move.from_square), between.move.to_square
    there = f"with {man} from {chess.SQUARE_NAMES[where]}"
    if between.after.is_check():
        return f"gives check {there}"
    if captured_worth(between.before, between.move) >= least:
        return f"takes {wording.named(between.before, where)} with {man}"
    if between.before.is_check():
        return ""
    next_move = after_move(between.after, chess.Move.null())
    for needed, what in ((MATE, "threatens mate"), (least, "makes a threat")):
        if _reaches(next_move, needed, taker):
            return f"{what} {there}"
    return ""


def _reaches(board: chess.Board, needed: int, taker: chess.Square) -> bool:
    """Whether the side to move can win so much, the man that took left alone."""
    ours = Positions.from_boards([board]).side_view(board.turn)
    elsewhere = ~(BIT[[taker if board.turn == chess.WHITE else chess.square_mirror(taker)]])
    return bool(collects(ours, Aims.of(np.array([needed]), elsewhere, np.array([1])))[0])


def _takes_later(rest: Sequence[OwnMove], taker: chess.Square, won: int) -> bool:
    """Whether the line, from the move in between on, takes the man and wins at least so much."""
    if len(rest) == 1:
        between = rest[0]
        after = Positions.from_boards([between.after]).side_view(not between.us)
        needed = won - captured_worth(between.before, between.move)
        return bool(holds(after, Aims.of(np.array([needed])))[0])
    return takes_in_the_end(rest, taker) and gain_of(rest) >= won


MOTIFS = (
    Motif(
        id="in-between-move",
        title="In-between move",
        definition=(
            "Instead of taking, or taking back, at once, a side gives check, threatens mate, or takes or"
            " threatens at least as much elsewhere. The man that was to be taken cannot get away and is"
            " taken next."
        ),
        source="Hooper and Whyld, The Oxford Companion to Chess (zwischenzug); named from memory",
        in_line=in_between_moves,
    ),
)
