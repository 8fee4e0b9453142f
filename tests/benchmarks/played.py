"""Quiet positions of games that a weakened engine plays from positions of real games: more data for the fit.

A few hundred games have few openings and few kinds of ending; played on from their positions they have more.
"""

from __future__ import annotations

from collections.abc import Iterable
from random import Random

import chess
import chess.pgn
from judged import Engine, Sample, quiet

FIRST, LAST = 8, 70
"""Plies of the game between which a start is taken."""
PLIES = (24, 40, 60, 100)
NODES = (300, 600, 1200)
LEVELS = (3, 6, 9, 12, 15, 20)
"""How long a game is played on, with how many nodes a move and at which of the engine's levels, by chance."""
SETTLED = 5
"""Plies after which positions are taken."""


def played(games: Iterable[chess.pgn.Game], command: str, number: int, seed: int = 1) -> list[Sample]:
    """Up to nine quiet positions of each of `number` games, no position twice. `game` counts from 10,000."""
    random, seen, chosen = Random(seed), set(), []
    starts = [
        [
            node.board()
            for node in game.mainline()
            if FIRST <= node.ply() <= LAST and not node.board().is_game_over()
        ]
        for game in games
    ]
    starts = [boards for boards in starts if boards]
    with Engine(command) as engine:
        for game in range(number):
            engine.set("Skill Level", random.choice(LEVELS))
            boards = [random.choice(starts[game % len(starts)]).copy(stack=False)]
            for _ in range(random.choice(PLIES)):
                if boards[-1].is_game_over():
                    break
                board = boards[-1].copy(stack=False)
                board.push_uci(engine.move(board.fen(), random.choice(NODES)))
                boards.append(board)
            calm = [
                board
                for board, is_quiet in zip(boards, quiet(boards), strict=True)
                if is_quiet and board.legal_moves.count()
            ]
            for board in random.sample(calm[SETTLED:], min(9, len(calm[SETTLED:]))):
                if board.epd() not in seen:
                    seen.add(board.epd())
                    chosen.append(Sample(10_000 + game, board.ply(), board.fen()))
    return chosen
