"""The attack on a king: men aimed at it, squares near it where they can come in, and checks that stand.

Attackers count against the guards that can take part: our own count, on Nimzowitsch's effective defenders.
"""

from __future__ import annotations

from dataclasses import dataclass

import chess
import numpy as np

from patterns.boards.attacks import attack_from, between
from patterns.boards.bitboards import (
    BIT,
    EMPTY,
    KING_STEPS,
    ZONE_2,
    Bitboards,
    Flags,
    Rows,
    Squares,
    count,
    exploded,
    filled_files,
    square_of,
)
from patterns.boards.exchange import loses_nothing
from patterns.boards.grouping import any_of, united
from patterns.boards.legal import checking_squares, legal_moves, made
from patterns.boards.moves import Moves
from patterns.boards.positions import Boards, Positions
from patterns.boards.pressure import bearing, held
from patterns.boards.tables import Table
from patterns.boards.view import View
from patterns.factors.term import Reason, men_by_kind
from patterns.factors.useful import useful_squares
from patterns.words.wording import either, listed, named

NEAR = np.array(
    [ZONE_2[king] & filled_files(KING_STEPS[king : king + 1])[0] for king in chess.SQUARES], dtype=np.uint64
)
"""By the king's square: within two steps of it, on its file or beside."""


@dataclass(frozen=True)
class Entries(Table):
    """Squares near their king where we can come in, one entry each.

    We are more there than they, counting men that bear on the square directly or behind another man on its
    line and are not pinned off it; the king is left out. A piece of ours can go there, if need be by taking
    a pawn, and lose nothing by exchange, in which their king may take too. `men`, `guards`: ours and theirs
    that count. `pinned`: theirs that do not.
    """

    row: Rows
    square: Squares
    men: Bitboards
    guards: Bitboards
    pinned: Bitboards


def entries(view: View) -> Entries:
    """All of them, row by row."""
    useful = view.once(useful_squares)
    # To take a piece there is a threat or a trade, which other reasons tell.
    near = NEAR[view.their_king] & (~view.them | view.their_pawns)
    row, square = exploded(near & united(useful.row, useful.attacks, len(view)))
    boards = view.boards.take(row)
    bear = bearing(boards, square) & ~boards.kings
    ours = bear & boards.us & ~held(view.our_pins, row, square)
    pinned = bear & boards.them & held(view.their_pins, row, square)
    guards = bear & boards.them & ~pinned
    return Entries(row, square, ours, guards, pinned).only(count(ours) > count(guards))


def attack(view: View) -> tuple[Bitboards, Bitboards]:
    """By row, our pieces aimed at their king, and the squares of `entries`. Without these there is no attack.

    Aimed at it are those that attack a square within two steps of it, and those that count on an entry.
    """
    pieces, found = view.our_pieces, entries(view)
    some = (pieces.attacks & ZONE_2[view.their_king][pieces.row]) != EMPTY
    aimed = united(pieces.row[some], BIT[pieces.square[some]], len(view))
    aimed |= united(found.row, found.men, len(view)) & ~view.our_pawns
    ways_in = united(found.row, BIT[found.square], len(view))
    return np.where(ways_in != EMPTY, aimed, EMPTY), ways_in


def sound_checks(view: View) -> Bitboards:
    """By row, the squares from which a piece of ours can check and lose nothing, and is not met by a trade.

    Met by a trade: they can take it and lose nothing by exchange, or step between with a man that attacks it
    and loses nothing there. Whose move it is does not matter.
    """
    men = view.once(useful_squares)
    man, square = exploded(men.attacks & checking_squares(view.boards, men))
    moves = Moves(men.row[man], men.square[man], square)
    stands = ~_met_by_a_trade(made(view.boards, moves).after, square ^ 56)
    return united(moves.row[stands], BIT[square[stands]], len(view))


def _met_by_a_trade(boards: Boards, checker: Squares) -> Flags:
    """Whether we can meet the check of the man on each square by a trade, as `sound_checks` says."""
    way = between(square_of(boards.kings & boards.us), checker)
    answers = legal_moves(boards, BIT[checker] | way)
    there, by = boards.take(answers.row), checker[answers.row]
    hits = attack_from(there.kind_at(answers.origin), by, there.occupied, "us")
    hits |= BIT[by]
    answers = answers.only((hits & BIT[answers.square]) != EMPTY)
    trades = loses_nothing(boards.take(answers.row), answers.origin, answers.square)
    return any_of(answers.row, trades, len(boards))


def tell_attack(reason: Reason) -> str:
    """Who is aimed at the king, and by whom each square is guarded where they can come in."""
    board, attacker = reason.board, not reason.side
    turned = 0 if attacker else 56
    found = entries(View(Positions.from_boards([board])))
    found = found.only((found.row == 0) == attacker)
    by_guards: dict[str, list[int]] = {}
    for square, guards, pinned in zip(found.square ^ turned, found.guards, found.pinned, strict=True):
        guarded = _guarded(reason, int(square), *(_named(board, men, turned) for men in (guards, pinned)))
        by_guards.setdefault(guarded, []).append(int(square))
    ways_in = listed(f"{either(those)} ({guarded})" for guarded, those in by_guards.items())
    men = men_by_kind(board, reason.men & board.occupied_co[attacker])
    return f"{reason.opponent}'s {men} are aimed at {reason.king} and can come in on {ways_in}"


def _named(board: chess.Board, men: np.uint64, turned: int) -> list[str]:
    return [named(board, square ^ turned) for square in chess.scan_forward(int(men))]


def _guarded(reason: Reason, square: chess.Square, guards: list[str], pinned: list[str]) -> str:
    """`guarded only by the knight on f6 and the king`."""
    beside = square in reason.board.attacks(reason.board.king(reason.side) or 0)
    by = [*guards, *(["the king"] if beside else [])]
    told = f"guarded only by {listed(by)}" if by else "unguarded"
    held_back = f", as {listed(pinned)} {'is' if len(pinned) == 1 else 'are'} pinned"
    return told + (held_back if pinned else "")
