"""Searches kept in the scorebook: what goes in comes out, small, and what is damaged counts as not kept."""

from __future__ import annotations

import zlib
from dataclasses import replace
from pathlib import Path

import chess
import pytest

from decks.cards.verdicts_file import write_verdicts
from decks.scorebook.book import Scorebook, ScorebookError
from decks.scorebook.searches import packed, unpacked
from patterns.engines.questions import Answer
from patterns.engines.scores import Compared, Evaluation, MoveVerdict, PositionVerdicts

START = chess.Board().epd()
LINE = ("e7e5", "g1f3", "b8c6", "f1b5", "a7a6", "b5a4", "g8f6", "e1g1")
VERDICTS = PositionVerdicts(
    START,
    "Stockfish 15.1",
    "wdl",
    {
        move.uci(): MoveVerdict(
            0.5 + place / 1000, 20 + place % 3, LINE, place * 7, end=0.25 if place < 8 else None
        )
        for place, move in enumerate(chess.Board().legal_moves)
    },
    settled=True,
)
GLANCE = Evaluation(0.123456789, None, ("e2e4", "e7e5"))
COMPARED = Compared(Evaluation(0.6, 31, ("d2d4", "d7d5")), GLANCE)


@pytest.fixture
def book(tmp_path: Path) -> Path:
    return tmp_path / "book.sqlite"


@pytest.mark.parametrize(
    "found",
    [VERDICTS, replace(VERDICTS, settled=False), GLANCE, Evaluation(0.5, -31, ()), COMPARED],
)
def test_what_was_kept_is_there_when_the_book_is_opened_again(book: Path, found: Answer) -> None:
    with Scorebook.open(book) as opened:
        searches = opened.searches()
        assert searches.get(START, "Stockfish 15.1", "v1") is None
        searches.put(START, "Stockfish 15.1", "v1", found)
    with Scorebook.open(book) as opened:
        searches = opened.searches()
        assert searches.get(START, "Stockfish 15.1", "v1") == found
        for other in (
            ("8/8/8/8/8/8/8/8 w - -", "Stockfish 15.1", "v1"),
            (START, "x", "v1"),
            (START, "Stockfish 15.1", "v2"),
        ):
            assert searches.get(*other) is None


def test_a_later_search_replaces_an_earlier_one(book: Path) -> None:
    with Scorebook.open(book) as opened:
        for found in (VERDICTS, GLANCE):
            opened.searches().put(START, "x", "v1", found)
        assert opened.searches().get(START, "x", "v1") == GLANCE


def test_a_search_is_small() -> None:
    assert len(packed(VERDICTS)) < len(write_verdicts([VERDICTS])) / 3


@pytest.mark.parametrize(
    "stored",
    [
        b"no zlib",
        "text",
        None,
        packed(VERDICTS)[:-9],
        packed(replace(VERDICTS, epd="4k3/8/8/8/8/8/8/4K3 w - -")),
        packed(Evaluation(1.5, None, ())),
        packed(Evaluation(0.5, 10**6, ())),
        packed(Evaluation(0.5, 0, ("e2e9",))),
        packed(Compared(GLANCE, Evaluation(1.5, None, ()))),
        zlib.compress(b"[[0.5, 0, []]]"),
        zlib.compress(b"[]"),
    ],
)
def test_what_is_damaged_counts_as_not_kept(stored: object) -> None:
    assert unpacked(stored, START) is None


def test_all_searches_can_be_thrown_away(book: Path) -> None:
    with Scorebook.open(book) as opened:
        opened.searches().put(START, "x", "v1", GLANCE)
        opened._db.execute("DELETE FROM searches")
        assert opened.searches().get(START, "x", "v1") is None


def test_a_book_that_is_closed_is_told_as_one(book: Path) -> None:
    with Scorebook.open(book) as opened:
        searches = opened.searches()
    with pytest.raises(ScorebookError, match="closed"):
        searches.get(START, "x", "v1")
