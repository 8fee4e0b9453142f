"""Scanning games: the stream is the same on any executor, and the same as for each board alone."""

from __future__ import annotations

from collections import Counter
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path

import pytest

from patterns.catalogue import MOTIFS
from patterns.detect import find_in
from patterns.reading.pgn import Game, boards_of, read_games
from patterns.scan import ScannedGame, scan

PGN = "data/pgn/kasparov-deep-blue-1997.pgn"


def summary(scanned: list[ScannedGame]) -> list[tuple[int, Counter[tuple[int, str, bool]]]]:
    ids = list(MOTIFS)
    return [
        (
            one.game.number,
            Counter(
                (int(ply), ids[int(number)], bool(white))
                for ply, number, white in zip(
                    one.findings.position, one.findings.motif, one.findings.white, strict=True
                )
            ),
        )
        for one in scanned
    ]


@pytest.fixture(scope="module")
def games(chess_archive: Path) -> list[Game]:
    """Kasparov against Deep Blue, 1997: six games, from the python-chess source archive."""
    return [game for game in read_games(chess_archive / PGN) if isinstance(game, Game)]


def test_the_stream_is_what_each_board_shows(games: list[Game]) -> None:
    found = summary(list(scan(games)))
    assert [number for number, _ in found] == [1, 2, 3, 4, 5, 6]
    for game, (_, counted) in zip(games, found, strict=True):
        expected: Counter[tuple[int, str, bool]] = Counter()
        for ply, findings in enumerate(find_in(list(boards_of(game)))):
            expected.update((ply, one.motif, one.side == "white") for one in findings)
        assert counted == expected


@pytest.mark.parametrize("pool", [ThreadPoolExecutor, ProcessPoolExecutor])
def test_any_executor_gives_the_same_stream(
    games: list[Game],
    pool: type[ThreadPoolExecutor] | type[ProcessPoolExecutor],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    alone = summary(list(scan(games)))
    monkeypatch.setattr("patterns.scan.BATCH", 100)
    with pool(2) as executor:
        assert summary(list(scan(games, executor))) == alone
    assert summary(list(scan(games))) == alone


def test_no_games_give_nothing() -> None:
    assert list(scan([])) == []
