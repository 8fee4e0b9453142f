"""What the first move of a line does for the next one, and the sentence about the key move."""

from __future__ import annotations

import chess
import pytest

from patterns.lines import key_move, parse_line, uses


def first_notes(fen: str, line: str) -> str:
    board = chess.Board(fen)
    assert board.is_valid()
    return " ".join(use.note for use in uses(board, parse_line(board, line)) if use.ply == 1)


@pytest.mark.parametrize(
    ("fen", "line", "told"),
    [
        (
            "8/8/3r4/7k/8/2N3PP/8/6K1 w - - 0 1",
            "g4+ Kg5 Ne4+ Kf4 Nxd6",
            "drives the king on h5 to g5: the knight on c3 forks",
        ),
        (
            "3q2k1/1b6/r5p1/8/8/8/4QPPP/R5K1 w - - 0 1",
            "Rxa6 Bxa6 Qe6+ Kg7 Qxa6",
            "draws the bishop on b7 to a6: the queen on e2 forks",
        ),
        (
            "6k1/4rpp1/7p/1B6/8/8/5PPP/R5K1 w - - 0 1",
            "Ra8+ Re8 Bxe8",
            "makes the rook on e7 step in on e8: the rook on e8 is unguarded",
        ),
        (
            "8/8/8/2Kn4/4k3/8/8/R7 w - - 0 1",
            "Re1+ Kf3 Kxd5",
            "drives the king on e4 off the guard of the knight on d5",
        ),
        (
            "5rk1/2r1qppp/5n2/6B1/8/2N5/5PPP/5RK1 w - - 0 1",
            "Bxf6 gxf6 Nd5 Qd6 Nxc7",
            "removes a guard of d5: the knight on c3 forks",
        ),
        (
            "8/1Pk5/8/8/8/8/6PP/R5K1 w - - 0 1",
            "Ra8 Kd7 b8=Q",
            "guards b8: the pawn on b7 goes to b8 and becomes a queen",
        ),
    ],
)
def test_a_move_is_explained_by_what_it_makes_possible(fen: str, line: str, told: str) -> None:
    assert told in first_notes(fen, line)


def test_what_is_prepared_promises_as_much_and_is_shown_as_well_as_the_next_move_has_it() -> None:
    board = chess.Board("8/8/3r4/7k/8/2N3PP/8/6K1 w - - 0 1")
    for line, shown in (("g4+ Kg5 Ne4+ Kf4 Nxd6", True), ("g4+ Kg5 Ne4+ Kf4 Nf2 Kg3", False)):
        fork = next(use for use in uses(board, parse_line(board, line)) if use.motif == "fork")
        assert (fork.ply, fork.wins, fork.shown, fork.prepares) == (1, 3, shown, True)
        assert not any(use.prepares for use in uses(board, parse_line(board, line)) if use.ply > 1)


def test_what_they_do_by_themselves_is_not_prepared() -> None:
    assert "fork" not in first_notes("8/8/3r4/7k/8/2N3PP/8/6K1 w - - 0 1", "Kf2 Kg5 Ne4+ Kf5 Nxd6+")


def test_the_key_move_names_its_point() -> None:
    board = chess.Board("5rk1/2r1qppp/5n2/6B1/8/2N5/5PPP/5RK1 w - - 0 1")
    line = parse_line(board, "Bxf6 gxf6 Nd5 Qd6 Nxc7")
    told = "The bishop on g5 takes the knight on f6: the point is a fork, and it wins a rook."
    assert key_move(board, line) == key_move(board, line, uses(board, line)) == told
    assert key_move(board, line, []) == "The bishop on g5 takes the knight on f6, which wins a rook."


def test_a_line_that_mates_is_not_told_for_the_men_it_could_win() -> None:
    fen = "6k1/1b3ppp/8/8/8/8/5PPP/3RQ1K1 w - - 0 1"
    board = chess.Board(fen)
    told = {use.motif for use in uses(board, parse_line(board, "Rd8#"))}
    assert told and told <= {"mating-net", "back-rank"}
