"""Pairs of positions: the first shows the motif, the second lacks the one thing that its rule asks for."""

from __future__ import annotations

import chess
import pytest

from patterns.detect import find_in
from patterns.lines import parse_line, uses

HELD = "8/8/1bkrR1p1/2N2p1p/P1KP1P1P/6P1/8/8 w - - 1 64"
PAIRS = (
    # A king that attacks a piece on their move only makes it go away.
    ("loose-piece", "8/pp1k4/4p1p1/3pP2p/5KpP/4P3/PPR3b1/8 b - - 5 39", "8/8/p1N5/P1kpK3/8/8/8/8 w - - 4 71"),
    # The knight takes the queen: what it attacks then is not the point.
    ("trapped-piece", "rnbq1rk1/p4ppp/1pp1p3/3N4/3P1B1b/4PN2/PP3PPP/2RQKB1R w K - 1 10",
     "r3nrk1/1b1q1ppp/p3p3/1p1pN3/3P1B1b/4P3/PP1N1PPP/2RQK2R w K - 2 16"),
    # It is their move, and the rook that the knight guards takes with check.
    ("removed-defender", "2r5/3R4/1bk1p1p1/2N2p1p/P1KP1P1P/6P1/8/8 w - - 6 62", HELD),
    # The queen joins in against the pinned knight, but threatens to win nothing.
    ("pin-on-diagonal", "rnbqk2r/p1pp1ppp/1p2pn2/8/1bPP4/2N1P3/PP3PPP/R1BQKBNR w KQkq - 0 5",
     "r1b1k2r/pp3pp1/1q2nn2/7p/1b6/2N2PN1/PPP3PP/R1BQKB1R w KQkq - 2 11"),
    # A pawn that becomes a queen makes no pin.
    ("pin-on-rank", "8/8/8/4q2k/P7/7P/5PK1/1R6 w - - 0 1",
     "3r2k1/p2PQppp/1qB1p3/2n5/2P5/6P1/1p3P1P/3R2K1 b - - 1 29"),
    # The king is mated at its first step.
    ("king-hunt", "6k1/6p1/2q1pp1p/1N2n1P1/P6P/6K1/2r5/4QR2 b - - 6 38",
     "1k6/8/4PQ2/1K3P2/2r5/P2q4/1P6/8 b - - 1 72"),
    # The pawn advances with a check of the bishop behind it.
    ("besieged-pawn", "7k/ppp3p1/1b4rp/3Pq3/1PB1b3/P3P1Rr/3P3P/4QRK1 w - - 0 29",
     "6k1/ppp3p1/1b4rp/3Pq3/1PB1b3/P3P1Rr/3P3P/4QRK1 w - - 0 29"),
)  # fmt: skip


@pytest.mark.parametrize(("motif", "shows", "does_not"), PAIRS)
def test_one_thing_makes_the_difference(motif: str, shows: str, does_not: str) -> None:
    found = find_in([chess.Board(shows), chess.Board(does_not)], motif)
    assert [bool(these) for these in found] == [True, False]


def test_a_hunt_in_a_line_may_end_with_its_second_check() -> None:
    board = chess.Board("r5k1/ppp2r1p/3p3b/3Pn3/1n2PPp1/1P2K1P1/PBB1N2q/R2Q3R b - - 2 24")
    line = "Rxf4 Rxh2 Rf3+ Kd4 Bg7 a4 c5+"
    assert "king-hunt" in {use.motif for use in uses(board, parse_line(board, line))}
    assert "king-hunt" not in {use.motif for use in uses(board, parse_line(board, line[:-4]))}


@pytest.mark.parametrize(
    ("fen", "line", "plies", "why"),
    [
        ("8/1p6/5KPk/4Q3/2p3p1/8/P7/8 w - - 0 1", "Qf4+ Kh5 Qg5#", [], "one step and mate is no hunt"),
        ("rn3rk1/pbppq1pp/1p2pb2/4N2Q/3PN3/3B4/PPP2PPP/R3K2R w KQ - 6 11",
         "Qxh7+ Kxh7 Nxf6+ Kh6 Neg4+ Kg5 h4+ Kf4 g3+ Kf3 Be2+ Kg2 Rh2+ Kg1 Kd2#",
         [1, 2, 3, 4, 5, 6, 7], "the king comes from h7, where it still is at home"),
        ("r5k1/ppp2r1p/3p3b/3Pn3/1n2PPp1/1P2K1P1/PBB1N2q/R2Q3R b - - 2 24", "Rxf4 Rxh2 Rf3+ Kd4 Bg7 a4 c5+",
         [2], "the rook that is given first drives nobody"),
    ],
)  # fmt: skip
def test_a_hunt_is_two_steps_of_the_king_or_goes_on_and_begins_with_the_first(
    fen: str, line: str, plies: list[int], why: str
) -> None:
    board = chess.Board(fen)
    found = [use.ply for use in uses(board, parse_line(board, line)) if use.motif == "king-hunt"]
    assert found == plies, why
