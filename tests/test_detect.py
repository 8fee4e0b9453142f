"""Detection in unusual positions: late positions of random games, with checks and promotions."""

from __future__ import annotations

import numpy as np
import pytest
from real_positions import wandered

from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.catalogue import MOTIFS
from patterns.detect import batches, detect


def test_every_finding_names_men_of_the_right_side() -> None:
    boards = list(wandered(5, games=200, plies=150))
    found = detect(View(Positions.from_boards(boards)))
    white = np.array([board.occupied_co[True] for board in boards], dtype=np.uint64)[found.position]
    black = np.array([board.occupied_co[False] for board in boards], dtype=np.uint64)[found.position]
    us, them = np.where(found.white, white, black), np.where(found.white, black, white)
    assert not (found.actors & ~us).any() and not (found.targets & ~them).any()
    on_the_board = [motif for motif in MOTIFS.values() if motif.on_the_board]
    assert len(boards) > 20_000 and len(np.unique(found.motif)) >= len(on_the_board) - 3


def test_batches_are_few_of_a_size_and_lose_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("patterns.detect.BATCH", 10)
    for size in range(35):
        parts = [list(part) for part in batches(range(size))]
        assert [item for part in parts for item in part] == list(range(size))
        assert len(parts) == -(-size // 10) and all(len(part) <= 10 for part in parts)
        assert max(map(len, parts), default=0) - min(map(len, parts), default=0) <= 1
