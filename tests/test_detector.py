"""The detector that keeps what it finds: what comes out of the scorebook is what a search would find."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterator
from pathlib import Path

import chess
import numpy as np
import pytest

import patterns
from decks.build import detector
from decks.build.detector import Detector, NotKept, rules
from decks.scorebook.book import Scorebook
from patterns.lines import Line, parse_line, uses_of_many
from patterns.reading.pgn import Game, read_games
from patterns.refuted import refuted_in
from patterns.scan import ScannedGame, scan

FORKED = chess.Board("r3k3/8/8/3N4/8/8/8/4K3 w q - 0 1")
LINES: list[Line] = [
    (FORKED, parse_line(FORKED, "Nc7+ Kd7 Nxa8")),
    (FORKED, parse_line(FORKED, "Nc7+ Kd8 Nxa8")),
    (chess.Board(), []),
]


@pytest.fixture(scope="module")
def games(chess_archive: Path) -> list[Game]:
    """Six games, and the second of them once more under another number."""
    path = chess_archive / "data/pgn/kasparov-deep-blue-1997.pgn"
    found = [game for game in read_games(path) if isinstance(game, Game)]
    return [*found, found[1]]


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Scorebook]:
    with Scorebook.open(tmp_path / "book.sqlite") as opened:
        yield opened


@pytest.fixture
def nothing_is_looked_for(monkeypatch: pytest.MonkeyPatch) -> Callable[[], None]:
    """From the call on, a search for motifs fails."""

    def fails(*_: object) -> object:
        raise AssertionError("it was kept")

    def begin() -> None:
        monkeypatch.setattr(detector, "scan", fails)
        monkeypatch.setattr(detector, "uses_of_many", fails)
        monkeypatch.setattr(detector, "refuted_in", fails)

    return begin


def columns(scanned: ScannedGame) -> list[tuple[np.dtype[np.generic], list[int]]]:
    return [(column.dtype, column.tolist()) for column in vars(scanned.findings).values()]


def test_games_are_scanned_once(
    games: list[Game],
    book: Scorebook,
    monkeypatch: pytest.MonkeyPatch,
    nothing_is_looked_for: Callable[[], None],
) -> None:
    monkeypatch.setattr(detector, "GAMES_AT_ONCE", 4)
    expected = list(scan(games))
    first = list(Detector(book.detections("rules")).scanned(games[:5]))
    assert [one.game for one in first] == games[:5]
    again = list(Detector(book.detections("rules")).scanned(games))
    nothing_is_looked_for()
    last = list(Detector(book.detections("rules")).scanned(games))
    for found in (first, again, last):
        for one, same in zip(found, expected, strict=False):
            assert one.game is same.game and columns(one) == columns(same)
    assert len(again) == len(last) == 7 and sum(len(one.findings) for one in expected) > 300


def test_the_uses_of_a_line_are_found_once(
    book: Scorebook, nothing_is_looked_for: Callable[[], None]
) -> None:
    expected = uses_of_many(LINES)
    assert [use.motif for use in expected[0]] == ["fork", "loose-piece", "loose-piece"]
    assert Detector(book.detections("rules")).uses_of_many(LINES[1:]) == expected[1:]
    assert Detector(book.detections("rules")).uses_of_many([*LINES, LINES[0]]) == [*expected, expected[0]]
    nothing_is_looked_for()
    assert Detector(book.detections("rules")).uses_of_many(LINES) == expected
    with pytest.raises(AssertionError, match="it was kept"):
        Detector(NotKept()).uses_of_many(LINES)


@pytest.mark.parametrize("fen", ["r3k3/8/8/3N4/8/8/8/4K3 w q - 3 2", "r3k3/8/8/3N4/8/8/8/4K3 w - - 0 1"])
def test_another_position_has_uses_of_its_own(
    fen: str, book: Scorebook, nothing_is_looked_for: Callable[[], None]
) -> None:
    kept = Detector(book.detections("rules"))
    kept.uses_of_many(LINES)
    nothing_is_looked_for()
    with pytest.raises(AssertionError, match="it was kept"):
        kept.uses_of_many([(chess.Board(fen), LINES[0][1])])


def test_refuted_strokes_are_found_once(book: Scorebook, nothing_is_looked_for: Callable[[], None]) -> None:
    refuted = chess.Board("q3r2k/6pp/8/1N6/8/8/6PP/5RK1 w - - 0 1")
    expected = refuted_in([refuted, FORKED], "fork")
    assert [len(strokes) for strokes in expected] == [1, 0]
    kept = Detector(book.detections("rules"))
    assert kept.refuted_in([refuted], ["fork"]) == expected[:1]
    assert kept.refuted_in([refuted, FORKED], ["fork"]) == expected
    nothing_is_looked_for()
    assert kept.refuted_in([FORKED, refuted], ["fork"]) == expected[::-1]
    assert kept.refuted_in([refuted], ["skewer"]) == [[]], "only of the motifs asked for"


def test_what_other_rules_found_is_not_used_and_does_not_stay(book: Scorebook) -> None:
    book.detections("older").put({"a": b"1", "b": b"2"})
    older = book.detections("older")
    assert older.get(["a", "b", "c"]) == {"a": b"1", "b": b"2"}
    newer = book.detections("newer")
    assert newer.get(["a", "b"]) == older.get(["a", "b"]) == {}
    newer.put({"a": b"3"})
    assert (newer.get(["a"]), older.get(["a"])) == ({"a": b"3"}, {})
    newer.put({"a": b"4"})
    assert newer.get(["a"]) == {"a": b"4"}


@pytest.mark.parametrize(
    "stored", [b"no zlib", zlib.compress(b"no json"), zlib.compress(b"[[1]]"), zlib.compress(b"1")]
)
def test_what_is_damaged_is_looked_for_again(stored: bytes, games: list[Game], book: Scorebook) -> None:
    kept = Detector(book.detections("rules"))
    kept.uses_of_many(LINES)
    expected = list(kept.scanned(games[:1]))
    book._db.execute("UPDATE detections SET found = ?", [stored])
    assert kept.uses_of_many(LINES) == uses_of_many(LINES)
    (game,) = kept.scanned(games[:1])
    assert columns(game) == columns(expected[0])


def test_the_rules_are_others_as_soon_as_a_module_of_the_detector_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert rules() == rules()
    (tmp_path / "motifs").mkdir()
    module = tmp_path / "motifs" / "fork.py"
    monkeypatch.setattr(patterns, "__file__", str(tmp_path / "__init__.py"))
    names = {rules()}
    for source in ("one", "two"):
        module.write_text(source)
        names.add(rules())
    assert len(names) == 3
