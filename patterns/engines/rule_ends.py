"""Positions as an engine is asked about them, and those that the rules decide without an engine."""

from __future__ import annotations

import chess
from chess.engine import Cp, Mate

from patterns.engines.uci import Reading


def without_history(board: chess.Board) -> chess.Board:
    """The position as its four-field EPD states it. ValueError if it is impossible."""
    bare = chess.Board()
    bare.set_epd(board.epd())
    if not bare.is_valid():
        raise ValueError(f"not a possible position: {board.fen()}")
    return bare


def after(board: chess.Board, *moves: chess.Move) -> chess.Board:
    """The position after a move or several, without history."""
    end = board.copy(stack=False)
    for move in moves:
        end.push(move)
    end.clear_stack()
    return end


def is_over(board: chess.Board) -> bool:
    """Whether the rules end the game here: mate, stalemate, too little material to mate."""
    return not any(board.legal_moves) or board.is_insufficient_material()


def reading_by_rule(board: chess.Board) -> Reading | None:
    """The result for the side to move if the rules decide it, else None.

    FIDE Laws of Chess, articles 5.1.1, 5.2.1 and 5.2.2.
    """
    if not is_over(board):
        return None
    return Reading(0.0, 0, Mate(0), ()) if board.is_checkmate() else Reading(0.5, 0, Cp(0), ())


def before_reply(move: chess.Move, reply: Reading, depth: int) -> Reading:
    """What the reading after a move, for the other side, says about the move. `depth`: of the result.

    Whoever mates after the move needs the move too: it counts as one of the moves to mate.
    """
    rank = -reply.rank
    moves_to_mate = rank.mate()
    if moves_to_mate is not None and rank > Cp(0):
        rank = Mate(moves_to_mate + 1)
    return Reading(1.0 - reply.score, depth, rank, (move, *reply.line))


def moves_and_ends(board: chess.Board, depth: int) -> tuple[list[chess.Move], dict[chess.Move, Reading]]:
    """The legal moves that must be searched, and readings of `depth` for those that end the game.

    ValueError if there is no legal move.
    """
    moves, ended = [], {}
    for move in board.legal_moves:
        end = reading_by_rule(after(board, move))
        if end is None:
            moves.append(move)
        else:
            ended[move] = before_reply(move, end, depth)
    if not moves and not ended:
        raise ValueError(f"no legal move in {board.fen()}")
    return moves, ended
