"""Lines that end the game on the board: what the rules say of their first move, whatever an engine says.

A weak engine scores a move before it has seen the end of the line that is kept with it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import chess
from chess.engine import Cp, Mate, Score

from patterns.engines.rule_ends import after, is_over
from patterns.engines.uci import Reading

MOST_PROVED = 3
"""Moves: a longer mate has too many answers to be tried here. There the engine's word counts."""


def corrected(board: chess.Board, reading: Reading) -> Reading:
    """The reading of a move, with the result that the rules prove if its line ends the game.

    A mate counts if every other answer is mated as soon by checks. A draw is the least for a side if the
    other had no other move in the whole line. What is not proved leaves the reading as it is, and so does a
    mate that the engine has seen.
    """
    *before, end = _boards(board, reading.line)
    if len(reading.line) < 2 or reading.rank.is_mate() or not is_over(end):
        return reading
    if end.is_checkmate():
        mate = _proved_mate(before[1], reading.line)
        return reading if mate is None else _with(reading, 1.0 if mate > 0 else 0.0, Mate(mate))
    free = {one.turn for one in before[1:] if one.legal_moves.count() > 1}
    at_least, at_most = (not board.turn) not in free, board.turn not in free
    if (at_least and reading.score < 0.5) or (at_most and reading.score > 0.5):
        return _with(reading, 0.5, Cp(0))
    return reading


def _with(reading: Reading, score: float, rank: Score) -> Reading:
    return replace(reading, score=score, rank=rank)


def _proved_mate(child: chess.Board, line: Sequence[chess.Move]) -> int | None:
    """Moves to mate for who makes the first move of the line, below 0 if he is mated; None if not proved.

    `child`: the position after the first move.
    """
    follows = line[1:]
    if len(line) % 2:
        moves = len(line) // 2
        return moves + 1 if moves < MOST_PROVED and _is_mated(child, moves, follows) else None
    moves = len(line) // 2
    return -moves if moves <= MOST_PROVED and _mates(child, moves, follows) else None


def _mates(board: chess.Board, moves: int, line: Sequence[chess.Move] = ()) -> bool:
    """Whether the side to move mates in so many moves at most: by checks, or the next move of the line."""
    first = [(line[0], line[1:])] if line else []
    checks = ((move, ()) for move in board.legal_moves if move not in line[:1] and board.gives_check(move))
    return any(_is_mated(after(board, move), moves - 1, rest) for move, rest in (*first, *checks))


def _is_mated(board: chess.Board, moves: int, line: Sequence[chess.Move] = ()) -> bool:
    """Whether the side to move is mated now or, whatever it answers, in so many moves of the other side."""
    if not any(board.legal_moves):
        return board.is_check()
    return moves > 0 and all(
        _mates(after(board, move), moves, line[1:] if move in line[:1] else ()) for move in board.legal_moves
    )


def _boards(board: chess.Board, line: Sequence[chess.Move]) -> Iterator[chess.Board]:
    """The positions before, between and after the moves of a line."""
    yield board
    for move in line:
        board = after(board, move)
        yield board
