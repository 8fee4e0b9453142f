"""Detection in unusual positions: late positions of random games, with checks and promotions."""

from __future__ import annotations

import chess
import numpy as np
import pytest
from real_positions import wandered

from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.catalogue import MOTIFS
from patterns.detect import batches, detect, find_in


def test_every_finding_names_men_of_the_right_side() -> None:
    boards = list(wandered(5, games=40, plies=150))
    found = detect(View(Positions.from_boards(boards)))
    white = np.array([board.occupied_co[True] for board in boards], dtype=np.uint64)[found.position]
    black = np.array([board.occupied_co[False] for board in boards], dtype=np.uint64)[found.position]
    us, them = np.where(found.white, white, black), np.where(found.white, black, white)
    assert not (found.actors & ~us).any() and not (found.targets & ~them).any()
    on_the_board = [motif for motif in MOTIFS.values() if motif.on_the_board]
    assert len(boards) > 4_000 and len(np.unique(found.motif)) >= len(on_the_board) - 3


def test_batches_are_few_of_a_size_and_lose_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("patterns.detect.BATCH", 10)
    for size in range(35):
        parts = [list(part) for part in batches(range(size))]
        assert [item for part in parts for item in part] == list(range(size))
        assert len(parts) == -(-size // 10) and all(len(part) <= 10 for part in parts)
        assert max(map(len, parts), default=0) - min(map(len, parts), default=0) <= 1


@pytest.mark.parametrize(
    ("fen", "motif", "told"),
    [
        ("6k1/5pp1/7p/n6b/8/8/4RPPP/6K1 w - - 0 1", "fork", True),
        ("6k1/5ppp/8/n6b/8/8/4RPPP/6K1 w - - 0 1", "fork", False),
        ("6k1/5ppp/8/n6b/8/8/4RPPP/6K1 w - - 0 1", "seventh-rank", False),
        ("6k1/5ppp/8/n6b/8/8/4RPPP/6K1 w - - 0 1", "back-rank", True),
        ("4k3/8/8/4n3/8/8/4R3/6K1 b - - 0 1", "pin-on-file", True),
        ("4k3/8/8/4n3/8/3b4/4R3/6K1 b - - 0 1", "pin-on-file", False),
        ("4k3/8/8/4n3/8/3b4/4R3/6K1 w - - 0 1", "pin-on-file", True),
        ("8/7k/8/n7/8/2BR4/4RPPP/6K1 w - - 0 1", "loose-piece", True),
        ("8/7k/6pp/n7/8/2BR4/4RPPP/6K1 w - - 0 1", "loose-piece", False),
        ("3R1rk1/6pp/8/8/8/2Q5/6PP/6K1 w - - 0 1", "pin-on-rank", True),
        ("6k1/5pp1/7p/n7/8/2B5/4RPPP/6K1 b - - 0 1", "loose-piece", True),
        ("6k1/5ppp/8/n7/8/2B5/4RPPP/6K1 b - - 0 1", "loose-piece", False),
        ("4r1k1/5ppp/1B6/n7/8/7P/5PP1/6K1 b - - 0 1", "loose-piece", True),
        ("4r1k1/5ppp/1B6/n7/8/8/5PPP/6K1 b - - 0 1", "loose-piece", False),
    ],
    ids=[
        "a rook forks two pieces",
        "the fork is nothing where the rook can mate",
        "nor is the seventh rank",
        "the mate is told",
        "a rook pins a knight",
        "the rook falls before the pin matters",
        "the rook moves first",
        "a bishop can take a knight",
        "the knight is nothing where two checks mate",
        "the pin is why they mate",
        "a bishop attacks a knight",
        "the knight is nothing where they must see to the mate on e8",
        "they have no mate",
        "the knight is nothing where they mate",
    ],
)
def test_what_is_told_is_to_the_point(fen: str, motif: str, told: bool) -> None:
    assert bool(find_in([chess.Board(fen)], [MOTIFS[motif]])[0]) == told
