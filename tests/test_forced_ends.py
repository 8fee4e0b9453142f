"""What the rules say of a line that ends the game, against an engine that has not seen it."""

from __future__ import annotations

import chess
import pytest
from chess.engine import Cp, Mate, Score

from patterns.engines.forced_ends import corrected
from patterns.engines.uci import Reading

ATTACKED = "1R2Q3/p5pk/3P3p/7n/2p3q1/N1P1nr2/P6P/6RK b - - 2 31"
LADDER = "8/8/7k/R7/8/8/8/1R4K1 w - - 0 1"
BEFORE_LADDER = "8/6k1/8/R7/8/8/8/1R4K1 b - - 0 1"
LONG_LADDER = "8/8/8/7k/R7/8/8/1R4K1 w - - 0 1"
BEFORE_LONG_LADDER = "8/8/6k1/8/R7/8/8/1R4K1 b - - 0 1"
ROOK_ENDS_IT = "7k/8/5K2/8/8/8/8/R7 b - - 0 1"


def reading(board: chess.Board, line: str, score: float, rank: Score) -> Reading:
    board, moves = board.copy(), []
    for san in line.split():
        moves.append(board.push_san(san))
    return Reading(score, 4, rank, tuple(moves))


@pytest.mark.parametrize(
    ("fen", "line", "mate"),
    [
        (ATTACKED, "Qf4 Qg8#", -1),
        (ATTACKED, "Qxg1+ Kxg1 Rf1#", 2),
        (LADDER, "Rb6+ Kh7 Ra7+ Kg8 Rb8#", 3),
        (BEFORE_LADDER, "Kh6 Rb6+ Kh7 Ra7+ Kg8 Rb8#", -3),
        (ROOK_ENDS_IT, "Kg8 Rh1 Kf8 Rh8#", -2),
        # Longer than the proof goes.
        (LONG_LADDER, "Rb5+ Kh6 Ra6+ Kh7 Rb7+ Kh8 Ra8#", None),
        (BEFORE_LONG_LADDER, "Kh5 Rb5+ Kh6 Ra6+ Kh7 Rb7+ Kh8 Ra8#", None),
        # Another answer escapes, on the first move after it or on the second.
        (chess.STARTING_FEN, "f3 e5 g4 Qh4#", None),
        (chess.STARTING_FEN, "e4 e5 Qh5 Nc6 Bc4 Nf6 Qxf7#", None),
        # The line goes on, or it is only the move.
        (ATTACKED, "Qxg1+ Kxg1", None),
        (ATTACKED, "Qf4", None),
    ],
)
def test_a_mate_on_the_board_counts_if_nothing_else_escapes_it(fen: str, line: str, mate: int | None) -> None:
    board = chess.Board(fen)
    said = reading(board, line, 0.3, Cp(-100))
    found = corrected(board, said)
    if mate is None:
        assert found == said
    else:
        assert found == Reading(1.0 if mate > 0 else 0.0, 4, Mate(mate), said.line)


def test_a_mate_that_the_engine_has_seen_stays_as_it_is() -> None:
    board = chess.Board(LADDER)
    said = reading(board, "Rb6+ Kh7 Ra7+ Kg8 Rb8#", 1.0, Mate(2))
    assert corrected(board, said) is said


TAKES_THE_PAWN = "8/8/8/3k4/4p3/8/4K3/8 b - - 0 1"
ONE_ANSWER = "6k1/6B1/4p3/6K1/8/8/8/8 w - - 0 1"


@pytest.mark.parametrize(
    ("fen", "line", "score", "drawn"),
    [
        # The other side can have the draw, but need not.
        (TAKES_THE_PAWN, "e3 Kxe3", 0.8, True),
        (TAKES_THE_PAWN, "e3 Kxe3", 0.3, False),
        # The mover can have it: there was only one answer.
        (ONE_ANSWER, "Kg6 e5 Bxe5", 0.3, True),
        (ONE_ANSWER, "Kg6 e5 Bxe5", 0.8, False),
        # There was another answer, and nobody need have the draw.
        (TAKES_THE_PAWN, "Kd4 Kd2 Kd5 Ke3 Kc4 Kxe4", 0.8, False),
        (ONE_ANSWER, "Bb2 Kf7 Kg4 e5 Bxe5", 0.3, False),
    ],
)
def test_a_draw_on_the_board_counts_for_the_side_that_can_have_it(
    fen: str, line: str, score: float, drawn: bool
) -> None:
    board = chess.Board(fen)
    said = reading(board, line, score, Cp(40))
    assert corrected(board, said) == (Reading(0.5, 4, Cp(0), said.line) if drawn else said)
