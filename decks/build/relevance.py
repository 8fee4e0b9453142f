"""Whether a motif decides the move, or is only on the board."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import chess
import numpy as np

from patterns.boards.exchange import capture_gain, exchange
from patterns.boards.positions import Positions
from patterns.engines.scores import PositionVerdicts
from patterns.lines import Use, uses_of_many
from patterns.motifs.findings import Finding

PLIES_LOOKED_AT = 5
"""Plies of a line that are examined: three moves of the side to move, and the replies between them."""

MOVES_IN_TIME = 2
"""A motif decides a line if its first or second move uses it. Later uses belong to another position."""


def exploits_in_time(uses: Iterable[Use], finding: Finding) -> bool:
    """Whether the moves that make these uses exploit a finding early enough."""
    return any(use.motif == finding.motif and use.ply <= MOVES_IN_TIME for use in uses)


def uses_of_moves(board: chess.Board, verdicts: PositionVerdicts, moves: Sequence[str]) -> list[list[Use]]:
    """For each of these moves (UCI): what it and the moves that the engine expects after it use."""
    return uses_of_many([(board, _legal(board, (move, *verdicts.moves[move].line))) for move in moves])


def exploits_at_once(board: chess.Board, move: chess.Move, finding: Finding) -> bool:
    """Whether a move exploits a finding without the moves after it.

    It does if it goes to one of the finding's squares, if it moves a pawn that is an actor, or if it captures
    nothing and attacks a target, other than a king, that the man did not attack before.
    """
    actors, targets, squares = (
        {chess.parse_square(name) for name in names}
        for names in (finding.actors, finding.targets, finding.squares)
    )
    if move.to_square in squares:
        return True
    if move.from_square in actors and board.piece_type_at(move.from_square) == chess.PAWN:
        return True
    if board.is_capture(move):
        return False
    after = board.copy(stack=False)
    after.push(move)
    before = board.attacks(move.from_square)
    pieces = {square for square in targets if board.piece_type_at(square) != chess.KING}
    return bool(pieces & set(after.attacks(move.to_square) - before))


def touches(board: chess.Board, move: chess.Move, finding: Finding) -> bool:
    """Whether a move exploits a finding at once, moves an actor, or captures a target."""
    origin, destination = (chess.SQUARE_NAMES[square] for square in (move.from_square, move.to_square))
    return (
        origin in finding.actors or destination in finding.targets or exploits_at_once(board, move, finding)
    )


def _legal(board: chess.Board, line: Sequence[str]) -> list[chess.Move]:
    """The moves of a line (UCI) that are examined, up to the first illegal one."""
    moves, after = [], board.copy(stack=False)
    for uci in line[:PLIES_LOOKED_AT]:
        move = chess.Move.from_uci(uci)
        if move not in after.legal_moves:
            break
        moves.append(move)
        after.push(move)
    return moves


def needs_no_motif(board: chess.Board, move: chess.Move, finding: Finding) -> bool:
    """Whether a move is obvious without the motif: it captures a hanging man, or saves one of its own.

    A capture of one of the finding's targets needs the motif, and so does a checkmate. A quiet move that
    saves a man needs it if it gives check.
    """
    after = board.copy(stack=False)
    after.push(move)
    if after.is_checkmate():
        return False
    turn = 0 if board.turn == chess.WHITE else 56
    boards = Positions.from_boards([board]).side_view(board.turn)
    origin, destination = np.array([move.from_square ^ turn]), np.array([move.to_square ^ turn])
    if board.is_capture(move):
        target = chess.SQUARE_NAMES[move.to_square] in finding.targets
        return not target and bool(exchange(boards, origin, destination)[0] > 0)
    hangs = bool(capture_gain(boards, origin, "them")[0] > 0)
    return hangs and not after.is_check()
