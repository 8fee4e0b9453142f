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
