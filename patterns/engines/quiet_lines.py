"""Lines that end where nothing hangs, so that the men on the board show what a move costs."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import chess
import numpy as np
from chess.engine import Cp

from patterns.boards.exchange import capture_gain
from patterns.boards.positions import Positions
from patterns.boards.worth import ahead
from patterns.engines.rule_ends import after, is_over
from patterns.engines.uci import Reading

LONGEST = 16
"""Plies after which a line ends as soon as it is quiet: what comes later is the engine's guess."""

SHORT = 4
"""The same for moves that nobody would try: the reply and what it brings."""

LOST_OUTRIGHT = 2
"""Pawns: more than a sacrificed pawn, less than any piece, and what the exchange is worth."""

MOST_EXTENSIONS = 3
"""How often a line that stops among captures and checks is searched on. Few sequences are longer."""

GoOn = Callable[[chess.Board], Sequence[chess.Move]]
"""Searches a position a little, and gives the moves that the engine expects."""


def quiet_line(
    board: chess.Board, line: Sequence[chess.Move], longest: int = LONGEST, go_on: GoOn | None = None
) -> tuple[chess.Move, ...]:
    """The line from `board`, up to the first quiet position after `longest` plies or its last one.

    `go_on`: gives the moves by which a line that does not end quietly goes on; None: it ends where it ends.
    """
    moves = list(line)
    for _ in range(MOST_EXTENSIONS):
        end = after(board, *moves)
        if go_on is None or is_quiet(end):
            break
        more = list(go_on(end))
        moves += more[: _quiet_from(end, more, 1)]
    return tuple(moves[: _quiet_from(board, moves, longest)])


def is_quiet(board: chess.Board) -> bool:
    """Whether nothing hangs: the side to move is not in check, and no capture wins anything by exchange.

    >>> is_quiet(chess.Board("4k3/8/8/3r4/8/4N3/8/4K3 w - - 0 1"))
    False
    >>> is_quiet(chess.Board("4k3/8/4p3/3p4/8/4N3/8/4K3 w - - 0 1"))
    True
    """
    if is_over(board):
        return True
    if board.is_check():
        return False
    targets = {move.to_square for move in board.legal_moves if board.piece_type_at(move.to_square)}
    if not targets:
        return True
    turn = 0 if board.turn == chess.WHITE else 56
    boards = Positions.from_boards([board] * len(targets)).side_view(board.turn)
    return not bool((capture_gain(boards, np.array([one ^ turn for one in targets]), "us") > 0).any())


def loses_outright(board: chess.Board, reading: Reading) -> bool:
    """Whether the first move of the reading's line loses material, or the king, to the reply.

    >>> board = chess.Board("4k3/8/4p3/8/8/3Q4/8/4K3 w - - 0 1")
    >>> def read(*line):
    ...     return Reading(0.1, 11, Cp(-300), tuple(map(chess.Move.from_uci, line)))
    >>> loses_outright(board, read("d3d5", "e6d5", "e1d2")), loses_outright(board, read("d3e2", "e8f7"))
    (True, False)
    """
    if reading.rank < Cp(0) and reading.rank.is_mate():
        return True
    end = after(board, *quiet_line(board, reading.line, 2))
    return ahead(board, board.turn) - ahead(end, board.turn) >= LOST_OUTRIGHT


def _quiet_from(board: chess.Board, moves: Sequence[chess.Move], plies: int) -> int:
    """How many of the moves lead to the first quiet position after at least `plies` of them; all if none."""
    for count in range(plies, len(moves)):
        if is_quiet(after(board, *moves[:count])):
            return count
    return len(moves)
