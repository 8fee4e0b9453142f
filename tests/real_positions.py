"""Positions of real games, and positions made at random, for the sweeps."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path
from random import Random

import chess
import chess.pgn


def games_in(folder: Path) -> Iterator[chess.pgn.Game]:
    """Every standard-chess game of the PGN files below a folder, in name order."""
    for path in sorted(folder.glob("*.pgn")):
        with path.open(encoding="utf-8-sig", errors="replace") as lines:
            while (game := chess.pgn.read_game(lines)) is not None:
                board = game.board()
                if type(board) is chess.Board and not board.chess960 and not game.errors and board.is_valid():
                    yield game


@cache
def positions_in(folder: Path) -> tuple[chess.Board, ...]:
    """Every position of those games, in order."""
    found = []
    for game in games_in(folder):
        board = game.board()
        for move in game.mainline_moves():
            board.push(move)
            if board.is_valid():
                found.append(board.copy(stack=False))
    return tuple(found)


@cache
def wandered(seed: int, games: int = 8, plies: int = 90) -> tuple[chess.Board, ...]:
    """Positions of games of random legal moves, captures preferred now and then: odd and crowded ones."""
    random, found = Random(seed), []
    for _ in range(games):
        board = chess.Board()
        for _ in range(plies):
            moves = list(board.legal_moves)
            if not moves:
                break
            takes = [move for move in moves if board.is_capture(move)]
            board.push(random.choice(takes if takes and random.random() < 0.3 else moves))
            found.append(board.copy(stack=False))
    return tuple(found)
