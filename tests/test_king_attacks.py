"""Attacks on the king: the moves that they propose by geometry, and pieces given for the cover in lines."""

from __future__ import annotations

from collections.abc import Callable

import chess
import pytest

from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.catalogue import MOTIFS
from patterns.motifs.cover_sacrifice import cover_sacrifice
from patterns.motifs.mating_attacks import king_hunt, mating_net
from patterns.proof.claims import Claims
from patterns.proof.played_line import own_moves_of, parse_line


@pytest.mark.parametrize(
    ("propose", "fen", "moves"),
    [
        # Two checks leave the king one square; the pawn covers squares beside it. The third leaves none.
        (mating_net, "8/4Q2p/7k/4P1nq/8/8/8/5K2 w - - 0 1", "Qd6+ Qf6+ Qf8+"),
        # Without the pawn nothing helps the queen.
        (mating_net, "8/4Q2p/7k/6nq/8/8/8/5K2 w - - 0 1", "Qf6+"),
        # The bishop takes the rook that checks on h3 and leaves the king one square.
        (mating_net, "8/5Qp1/2pq3k/4p3/8/3R4/5PPP/6K1 w - - 0 1", "Rh3+"),
        (mating_net, "8/5Qp1/2pqb2k/4p3/8/3R4/5PPP/6K1 w - - 0 1", ""),
        # Two squares are left to the king.
        (mating_net, "3Q4/p1p4k/3qp3/2B2R2/8/8/3r1PPP/6K1 w - - 0 1", ""),
        # The king takes the queen on g8 unless the knight guards her.
        (mating_net, "5r1k/6pp/7N/3Q4/8/8/2q2PPP/6K1 w - - 0 1", "Nf7+ Qg8+"),
        (mating_net, "5r1k/6pp/8/3Q4/8/8/2q2PPP/6K1 w - - 0 1", ""),
        # Where a check mates, no other is proposed.
        (mating_net, "8/6p1/2pq3k/5Q2/8/3R4/5PPP/6K1 w - - 0 1", "Rh3#"),
        (king_hunt, "7k/6pp/8/5N2/8/4Q3/6PP/4R1K1 w - - 0 1", ""),
        # The king is driven from h6 to g5, unless the bishop takes the rook.
        (king_hunt, "8/5Qp1/2pq3k/4p3/8/3R4/5PPP/6K1 w - - 0 1", "Rh3+"),
        (king_hunt, "8/5Qp1/2pqb2k/4p3/8/3R4/5PPP/6K1 w - - 0 1", ""),
        # It only steps aside, or is not driven at all.
        (king_hunt, "8/4Q2p/7k/4P1nq/8/8/8/5K2 w - - 0 1", ""),
        (king_hunt, "8/4Q2p/7k/4P2q/8/8/8/5K2 w - - 0 1", ""),
        # From g8 it goes to h7, still at home.
        (king_hunt, "6k1/5pp1/8/8/8/8/4Q3/6K1 w - - 0 1", ""),
        # Queen and knight go on after the bishop has been taken; the queen alone is too little.
        (cover_sacrifice, "5rk1/5ppp/8/8/8/3B1N2/3Q2P1/6K1 w - - 0 1", "Bxh7+"),
        (cover_sacrifice, "5rk1/5ppp/8/8/8/3B4/3Q2P1/6K1 w - - 0 1", ""),
        # Rook and knight are too little without the queen.
        (cover_sacrifice, "5rk1/5ppp/8/8/R7/3B1N2/6P1/6K1 w - - 0 1", ""),
        # Where the capture is no check, it takes a third piece.
        (cover_sacrifice, "5rk1/5ppp/5B2/8/8/5R2/3Q2P1/6K1 w - - 0 1", ""),
        (cover_sacrifice, "5rk1/5ppp/5B2/8/6N1/5R2/3Q2P1/6K1 w - - 0 1", "Bxg7"),
        # Rooks are exchanged on f7: the rook is not given.
        (cover_sacrifice, "5rk1/5ppp/8/6N1/8/5R2/3Q2P1/5RK1 w - - 0 1", ""),
        # The king stands in the centre.
        (cover_sacrifice, "4k3/5ppp/8/8/2B2N2/8/3Q2P1/6K1 w - - 0 1", ""),
        # The line that the bishop opens shows the queen a knight of ours, a pawn, and then a queen.
        (cover_sacrifice, "5rk1/5ppp/8/3N4/8/3B1N2/6P1/3Q2K1 w - - 0 1", "Bxh7+"),
        (cover_sacrifice, "5rk1/3p1ppp/8/8/8/3B1N2/6P1/3Q2K1 w - - 0 1", "Bxh7+"),
        (cover_sacrifice, "5rk1/3q1ppp/8/8/8/3B1N2/6P1/3Q2K1 w - - 0 1", ""),
        # The line that the bishop opens shows the queen the king.
        (cover_sacrifice, "5r2/6pk/6nB/7Q/7N/8/6R1/6K1 w - - 0 1", "Bxg7+"),
    ],
)
def test_moves_are_proposed_by_geometry(propose: Callable[[View], Claims], fen: str, moves: str) -> None:
    board = chess.Board(fen)
    claims = propose(View(Positions.from_boards([board])))
    ends = zip(claims.origin.tolist(), claims.square.tolist(), strict=True)
    assert sorted(board.san(chess.Move(*each)) for each in ends) == moves.split()


GIFT = "5rk1/5ppp/8/8/8/3B1N2/6P1/3Q2K1 w - - 0 1"


@pytest.mark.parametrize(
    ("fen", "line", "told"),
    [
        (GIFT, "Bxh7+ Kxh7 Ng5+", True),
        ("5rk1/5ppp/8/8/8/2B5/6P1/3Q2K1 w - - 0 1", "Bxg7 Kxg7 Qg4+", True),
        ("5rk1/5ppp/8/8/8/3B4/1K6/R7 w - - 0 1", "Bxh7+ Kxh7 Rg1", True),
        ("5rk1/5ppp/8/8/8/3B4/1K6/6R1 w - - 0 1", "Bxh7+ Kxh7 Rg2", False),
        (GIFT, "Bxh7+ Kxh7", False),
        (GIFT, "Bxh7+ Kh8 Ng5", False),
        ("5rk1/5ppp/5n2/6N1/8/3B3Q/6P1/6K1 w - - 0 1", "Nxh7 Nxh7 Bxh7+", False),
        ("5rk1/5ppp/8/7Q/8/5N2/6P1/6K1 w - - 0 1", "Qxh7+ Kxh7 Ng5+", False),
        ("5r1k/4Nppp/8/7Q/8/3R4/6P1/6K1 w - - 0 1", "Qxh7+ Kxh7 Rh3#", True),
        ("5rk1/4ppp1/4p3/6N1/8/8/6P1/3Q2K1 w - - 0 1", "Nxe6 fxe6 Qd3", False),
    ],
    ids=[
        "a bishop given for h7, and a check",
        "or for g7",
        "then the rook hits squares beside the king",
        "the rook hits nothing new",
        "the line stops",
        "the bishop is not taken",
        "the knight is taken back and loses nothing",
        "a queen is too much",
        "but not for mate",
        "a pawn in the centre is no cover",
    ],
)
def test_a_piece_is_given_for_the_cover_in_a_line(fen: str, line: str, told: bool) -> None:
    board = chess.Board(fen)
    moves = parse_line(board, line)
    mirrored = [chess.Move(move.from_square ^ 56, move.to_square ^ 56) for move in moves]
    in_line = MOTIFS["cover-sacrifice"].in_line
    assert in_line is not None
    for position, played in ((board, moves), (board.mirror(), mirrored)):
        assert bool(list(in_line(own_moves_of(position, played)))) == told
