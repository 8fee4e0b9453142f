"""Where there is time for a plan: nobody is far ahead, and no pawn is about to become a queen. Composed."""

from __future__ import annotations

import chess
import numpy as np
import pytest

from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.proof.quiet import is_calm, is_settled, stays_in_the_game

LEVEL = "4r1k1/5ppp/8/8/8/8/5PPP/4R1K1 w - - 0 1"


def asked(fen: str) -> View:
    return View(Positions.from_boards([chess.Board(fen)]))


def stays(fen: str) -> list[bool]:
    """Whether White and whether Black stays in the game."""
    return [bool(side) for side in stays_in_the_game(asked(fen), np.arange(2))]


def test_a_side_that_is_a_piece_behind_does_not_stay_in_the_game() -> None:
    assert stays(LEVEL) == [True, True]
    assert stays(LEVEL.replace("4R1K1", "3NR1K1")) == [True, False]
    assert stays(LEVEL.replace("5PPP", "3PPPPP")) == [True, True]


@pytest.mark.parametrize(
    ("near", "far"),
    [
        # It is passed and on the sixth rank. On the fifth, or with a pawn before it, there is time.
        ("4r1k1/5ppp/P7/8/8/8/p4PPP/4R1K1 w - - 0 1", "4r1k1/5ppp/8/P7/p7/8/5PPP/4R1K1 w - - 0 1"),
        ("4r1k1/5ppp/P7/8/8/8/5PPP/4R1K1 w - - 0 1", "4r1k1/p4ppp/P7/8/8/8/5PPP/4R1K1 w - - 0 1"),
        # Nobody stands in front of it.
        ("4r1k1/5ppp/P7/8/8/8/5PPP/4R1K1 w - - 0 1", "6k1/r4ppp/P7/8/8/8/5PPP/4R1K1 w - - 0 1"),
        # It is guarded as often as it is attacked.
        ("6k1/5ppp/P3r3/8/8/8/5PPP/R5K1 w - - 0 1", "6k1/5ppp/P3r3/8/8/8/5PPP/4R1K1 w - - 0 1"),
        ("2b3k1/5ppp/P3r3/8/8/8/4BPPP/R5K1 w - - 0 1", "2b3k1/5ppp/P3r3/8/8/8/3B1PPP/R5K1 w - - 0 1"),
    ],
)
def test_a_pawn_about_to_become_a_queen_decides_for_both(near: str, far: str) -> None:
    assert stays(near) == [False, False]
    assert stays(far) == [True, True]


@pytest.mark.parametrize(
    "urgent",
    [
        # A check, a mate at once, a rook that falls.
        "4r1k1/5ppp/8/8/8/8/5PPP/r3R1K1 w - - 0 1",
        "6k1/5ppp/8/8/8/8/5PPP/r3R1K1 b - - 0 1",
        "4r1k1/5pp1/8/8/8/8/5PPP/4R1K1 w - - 0 1",
    ],
)
def test_there_is_no_time_where_something_is_urgent(urgent: str) -> None:
    assert is_calm(asked(LEVEL.replace("4R1K1", "3R2K1").replace("4r1k1", "1r3k2")), np.arange(2)).all()
    assert not is_calm(asked(urgent), np.arange(2)).any()


def test_small_advantages_of_the_side_that_is_a_piece_ahead_do_not_count() -> None:
    ahead = asked("3r1k2/5ppp/8/8/8/2N5/5PPP/1R4K1 w - - 0 1")
    assert is_calm(ahead, np.arange(1)).all() and not is_settled(ahead, np.arange(1)).any()
