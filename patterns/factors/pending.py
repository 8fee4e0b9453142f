"""An exchange that is pending: what the side to move wins at once, played out to its end.

A count taken amid an exchange tells little: the man that will be taken back is still missing. So the count
after the exchange belongs beside it.
"""

from __future__ import annotations

from collections.abc import Iterable

import chess
import numpy as np

from patterns.boards.bitboards import mirror
from patterns.boards.exchange import exchange
from patterns.boards.positions import Positions
from patterns.factors.assessment import Assessments
from patterns.words.verdicts import FACTORS


def squares_won(assessments: Assessments, index: int, side: chess.Color) -> chess.SquareSet:
    """Where a side wins something for good by the initiative's count, in the position at `index`."""
    terms = assessments.counted[FACTORS.index("initiative")].terms
    men = next(term.men for term in terms if term.name == "wins")
    half = len(men) // 2
    row = men[index : index + 1] if side == chess.WHITE else mirror(men[half + index : half + index + 1])
    return chess.SquareSet(int(row[0]))


def played_out(board: chess.Board, squares: Iterable[chess.Square]) -> tuple[chess.Move, ...]:
    """The exchange by which the side to move wins most on one of the squares, to its end.

    Both sides take on the square as long as it wins something. Empty if it wins nothing at first.

    >>> board = chess.Board("3r2k1/3r4/8/3Q4/4P3/8/8/6K1 b - - 0 1")
    >>> [move.uci() for move in played_out(board, [chess.D5])]
    ['d7d5', 'e4d5', 'd8d5']
    >>> played_out(board, [chess.E4])
    ()
    """
    here, line = board.copy(stack=False), list[chess.Move]()
    gain, move = _best(here, squares)
    while move and gain > 0:
        here.push(move)
        line.append(move)
        gain, move = _best(here, [move.to_square])
    return tuple(line)


def _best(board: chess.Board, squares: Iterable[chess.Square]) -> tuple[int, chess.Move | None]:
    """The legal capture or promotion on these squares that wins most by exchange, and how much."""
    wanted = chess.SquareSet(squares)
    moves = [
        move
        for move in board.legal_moves
        if move.to_square in wanted
        and move.promotion in (None, chess.QUEEN)
        and (move.promotion or board.is_capture(move))
    ]
    if not moves:
        return 0, None
    boards = Positions.from_boards([board]).side_view(board.turn).take(np.zeros(len(moves), dtype=np.int64))
    turned = 0 if board.turn == chess.WHITE else 56
    gains = exchange(
        boards,
        np.array([move.from_square for move in moves]) ^ turned,
        np.array([move.to_square for move in moves]) ^ turned,
    )
    best = int(gains.argmax())
    return int(gains[best]), moves[best]
