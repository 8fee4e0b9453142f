"""Whether a motif matters to what is played: it decides the move, or is it merely there?"""

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
"""Of a line, to see what it uses: three moves of the side to move and the replies between."""

MOVES_IN_TIME = 2
"""A motif used by the first or second move of a line decides it; later it is another position's."""


def taken_up(board: chess.Board, move: chess.Move, uses: Iterable[Use], finding: Finding) -> bool:
    """Whether a move takes up a finding: by itself, or with what it and the moves that follow it use."""
    return takes_up(board, move, finding) or any(
        use.motif == finding.motif and use.ply <= MOVES_IN_TIME for use in uses
    )


def uses_of_moves(board: chess.Board, verdicts: PositionVerdicts, moves: Sequence[str]) -> list[list[Use]]:
    """What each of these moves (UCI) uses, together with the moves that the engine expects after it."""
    return uses_of_many([(board, _legal(board, (move, *verdicts.moves[move].line))) for move in moves])


def takes_up(board: chess.Board, move: chess.Move, finding: Finding) -> bool:
    """Whether a move by itself takes up a finding.

    It goes to one of the squares that matter, or it is an acting pawn's move, or it newly attacks a target
    that is no king without taking anything.
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
    """Whether a move has to do with the men or squares of a finding: takes it up, moves an actor, or takes a
    target."""
    origin, destination = (chess.SQUARE_NAMES[square] for square in (move.from_square, move.to_square))
    return origin in finding.actors or destination in finding.targets or takes_up(board, move, finding)


def _legal(board: chess.Board, line: Sequence[str]) -> list[chess.Move]:
    """The moves of a line (UCI) that are looked at, as far as they are legal."""
    moves, after = [], board.copy(stack=False)
    for uci in line[:PLIES_LOOKED_AT]:
        move = chess.Move.from_uci(uci)
        if move not in after.legal_moves:
            break
        moves.append(move)
        after.push(move)
    return moves


def plain_to_see(board: chess.Board, move: chess.Move, finding: Finding) -> bool:
    """Whether a move needs no motif: it takes something that hangs, or saves a man that does.

    A man that stands on the finding's target does not just hang, nor does a mate.
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
