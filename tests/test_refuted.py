"""Strokes that one man refutes: which moves they are, and who refutes them."""

from __future__ import annotations

import chess
import pytest

from patterns.detect import find_in
from patterns.refuted import Refuted, refuted_in

FORK = "q3r2k/6pp/8/1N6/8/8/6PP/5RK1 w - - 0 1"
"""Composed: the knight forks queen and rook on c7, but the queen checks on a7 and then takes it."""

REAL_FORK = FORK.replace("6PP", "5PPP")
"""With a pawn on f2 there is no check."""

SEEMS = Refuted("fork", chess.Move.from_uci("b5c7"), chess.A8)


@pytest.mark.parametrize(
    ("fen", "expected", "why"),
    [
        (FORK, [SEEMS], "the queen gets out with check"),
        (REAL_FORK, [], "it is a real fork"),
        ("q3r2k/6pp/8/1N6/8/8/6PP/6K1 w - - 0 1", [], "the rook has a check, too"),
        (FORK.replace("1N6", "1R6"), [], "nothing is forked"),
    ],
)
def test_which_forks_one_man_refutes(fen: str, expected: list[Refuted], why: str) -> None:
    assert refuted_in([chess.Board(fen)], "fork") == [expected], why


@pytest.mark.parametrize(
    ("fen", "motif", "why"),
    [
        ("Q7/P5bk/5qp1/4p3/1P5p/4p1P1/2P2P1P/5K2 w - - 1 39", "pin-on-file", "Black is not to move"),
        (
            "1r3bk1/5p1p/p1p3p1/1q2P1Pn/2p1NP2/P2rB2b/1PN2Q1P/2KRR3 w - - 1 25",
            "blockade",
            "to go to c3 wins nothing in itself",
        ),
    ],
)
def test_only_moves_that_claim_to_win_something_now_are_strokes(fen: str, motif: str, why: str) -> None:
    assert refuted_in([chess.Board(fen)], motif) == [[]], why


def test_a_real_fork_is_none_that_seems() -> None:
    assert [found.motif for found in find_in([chess.Board(REAL_FORK)], "fork")[0]] == ["fork"]


def test_each_board_and_motif_is_told_by_itself_and_from_the_side_to_move() -> None:
    """The rook's mate on f8 is refuted by the rook on e8, which takes it."""
    mate = Refuted("mating-net", chess.Move.from_uci("f1f8"), chess.E8)
    white = chess.Board(FORK)
    mirrored = Refuted("fork", chess.Move.from_uci("b4c2"), chess.A1)
    boards = [white, chess.Board(REAL_FORK), white.mirror()]
    assert refuted_in(boards, "fork") == [[SEEMS], [], [mirrored]]
    assert refuted_in([white], ["mating-net", "fork"]) == [[mate, SEEMS]]
    assert refuted_in([white], "open-file") == [[]]
    assert refuted_in([]) == []


def test_a_stroke_by_a_pinned_man_is_none() -> None:
    """From self-play: the pawn that would take the bishop is itself pinned."""
    board = chess.Board("r1bqk2r/p1p2ppp/2p2n2/8/4p3/2PB4/P1P2PPP/R1BQR1K1 b kq - 1 10")
    assert refuted_in([board]) == [[]]


def test_a_move_that_leaves_the_king_in_check_is_no_stroke() -> None:
    """From self-play: Black's bishop looks through the pinned knight at the king."""
    board = chess.Board("r1b1r1k1/1p3ppp/pb6/8/1P3Pnq/PR2N3/2P3P1/4RQK1 w - - 5 28")
    assert all(board.is_legal(stroke.move) for stroke in refuted_in([board])[0])
