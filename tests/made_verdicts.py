"""Verdicts made by hand, with lines in SAN, and small positions for tests of what is told about moves."""

from __future__ import annotations

from collections.abc import Mapping

import chess

from patterns.engines.scores import MoveVerdict, PositionVerdicts

KNIGHT = "6k1/5ppp/8/3r4/8/4N3/5PPP/6K1 w - - 0 24"
GUARDED = "6k1/5ppp/2p5/3r4/8/4N3/5PPP/6K1 w - - 0 24"
TWO_TO_TAKE = "6k1/5ppp/8/3r1p2/8/4N3/5PPP/6K1 w - - 0 24"
QUIET = "6k1/5ppp/8/8/8/8/5PPP/3R2K1 w - - 0 24"

Told = tuple[float, str] | tuple[float, str, int]
"""The score of a move, the moves that follow it in SAN, and perhaps the moves to mate."""


def verdicts(board: chess.Board, told: Mapping[str, Told], other: float) -> PositionVerdicts:
    """Verdicts for every legal move: those told, by SAN, and `other` for the rest."""
    moves = {move.uci(): MoveVerdict(other, 12, ()) for move in board.legal_moves}
    for san, (score, line, *mate) in told.items():
        after, replies = board.copy(stack=False), []
        uci = after.push_san(san).uci()
        for reply in line.split():
            replies.append(after.push_san(reply).uci())
        moves[uci] = MoveVerdict(score, 12, tuple(replies), mate=mate[0] if mate else None)
    return PositionVerdicts(board.epd(), "Stockfish test", "wdl", moves, settled=True)
