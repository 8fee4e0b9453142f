"""Explaining positions in which the rules decide."""

from __future__ import annotations

import chess
import pytest

from patterns.explanation import ending, explain


@pytest.mark.parametrize(
    ("fen", "end", "verdict", "expected"),
    [
        ("rnb1kbnr/pppp1ppp/8/4p3/6Pq/5P2/PPPPP2P/RNBQKBNR w KQkq - 1 3", "checkmate", "black 3", 0.0),
        ("7k/6Q1/6K1/8/8/8/8/8 b - - 0 1", "checkmate", "white 3", 1.0),
        ("7k/5Q2/6K1/8/8/8/8/8 b - - 0 1", "stalemate", "level", 0.5),
        ("8/8/8/4k3/8/8/8/4KB2 w - - 0 1", "nothing left to mate with", "level", 0.5),
    ],
)
def test_a_game_that_is_over_has_the_verdict_of_the_rules(
    fen: str, end: str, verdict: str, expected: float
) -> None:
    """FIDE Laws of Chess, articles 5.1.1, 5.2.1 and 5.2.2; the first is the fool's mate."""
    board = chess.Board(fen)
    assessment = explain(board).assessment
    assert (ending(board), str(assessment.verdict), assessment.expected_score) == (end, verdict, expected)


def test_a_game_that_goes_on_has_a_counted_verdict() -> None:
    board = chess.Board()
    assert ending(board) == ""
    assert 0.4 < explain(board).assessment.expected_score < 0.6


def test_amid_an_exchange_the_verdict_after_it_is_told_as_well() -> None:
    """White has just taken a knight, and Black takes back."""
    board = chess.Board("r2qk2r/pp2bppp/2n1pn2/3B4/3P4/2N2N2/PP3PPP/R1BQK2R b KQkq - 0 8")
    found = explain(board)
    assert found.pending is not None
    assert found.pending.line == ("f6d5",)
    board.push_uci("f6d5")
    assert found.pending.after == explain(board).assessment
    assert found.assessment.verdict.side == "white"
    assert found.pending.after.verdict.side != "white"
    told = found.as_dict()["pending"]
    assert told["line"] == ["f6d5"]
    assert told["verdict"]["strength"] == found.pending.after.verdict.strength


def test_an_exchange_is_played_out_as_long_as_it_wins() -> None:
    found = explain("3r2k1/3r4/8/3Q4/4P3/8/5PPP/6K1 b - - 0 1").pending
    assert found is not None
    assert found.line == ("d7d5", "e4d5", "d8d5")


@pytest.mark.parametrize(
    "fen",
    [
        chess.STARTING_FEN,
        "r2qk2r/pp2bppp/2n1pn2/3B4/3P4/2N2N2/PP3PPP/R1BQK2R w KQkq - 0 8",  # White may move the bishop away
        "3rk3/8/8/3N4/4P3/8/8/4K3 b - - 0 1",  # to take costs the exchange
    ],
)
def test_nothing_is_pending_where_the_side_to_move_wins_nothing(fen: str) -> None:
    found = explain(fen)
    assert found.pending is None
    assert found.as_dict()["pending"] is None


def test_a_pending_mate_has_the_verdict_of_the_rules() -> None:
    found = explain("3q2k1/5ppp/8/8/8/8/5PPP/3R2K1 w - - 0 1")
    assert found.assessment.verdict.signed > 0
    assert found.pending is None  # a mate is told, not an exchange
