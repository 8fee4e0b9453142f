"""What tempts: moves that a player would naturally try. A card is worth asking only if one of them fails."""

from __future__ import annotations

from collections.abc import Iterator

import chess

from decks.build.candidates import Candidate
from patterns.engines.scores import PositionVerdicts
from patterns.proof.captures import exchange


def tempting(candidate: Candidate, verdicts: PositionVerdicts) -> tuple[str, ...]:
    """The natural moves (UCI) that fail, the most tempting first.

    Natural are: the move played in the game, a recapture, a check, and a capture; the last three only if the
    man that moves is not simply lost. Of two checks or two captures the better one tempts more. In a
    lookalike only the stroke counts.
    """
    failing = [move for move in verdicts.moves if verdicts.quality(move) == "fails"]
    by_score = sorted(failing, key=lambda move: verdicts.moves[move].score, reverse=True)
    natural = [{candidate.stroke}] if candidate.stroke is not None else list(_natural(candidate))
    return tuple(move for moves in natural for move in by_score if move in moves)


def _natural(candidate: Candidate) -> Iterator[set[str]]:
    """The natural moves, the most tempting first. Each move is in one set only."""
    board = candidate.board
    played = {candidate.played} if candidate.played is not None else set()
    sound = {move for move in board.legal_moves if exchange(board, move) >= 0 and move.uci() not in played}
    square = _last_capture(candidate)
    recaptures = {move for move in sound if board.is_capture(move) and move.to_square == square}
    checks = {move for move in sound - recaptures if board.gives_check(move)}
    captures = {move for move in sound - recaptures - checks if board.is_capture(move)}
    yield played
    for moves in (recaptures, checks, captures):
        yield {move.uci() for move in moves}


def _last_capture(candidate: Candidate) -> chess.Square | None:
    """The square on which the last move took a man. None if it took none."""
    if candidate.ply == 0:
        return None
    before = candidate.game.start.copy(stack=False)
    for move in candidate.game.moves[: candidate.ply - 1]:
        before.push(move)
    last = candidate.game.moves[candidate.ply - 1]
    return last.to_square if before.is_capture(last) else None
