"""Decks at hand: a kept index changes nothing of what is asked, and is never trusted too far."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_tasks import a_rook_check, doubled_rooks

from decks.cards.cards_file import CardEntry
from decks.cards.deck import Deck, add_cards, new_deck
from decks.cards.faults import DeckError
from decks.cards.settings import DeckSettings, new_deck_id
from decks.course import Course
from decks.memory.day import day_ahead
from decks.scorebook.book import Scorebook
from decks.shelf import kept as shelf_kept
from decks.shelf.kept import kept_index
from decks.shelf.shelved import ShelvedDeck, take
from decks.tasks.card import Card, MotifTag
from patterns.engines.scores import PositionVerdicts

MOMENT = datetime(2031, 5, 2, 19, 0, tzinfo=UTC)
LONG_AGO = 1_000_000_000


def a_deck(folder: Path, *cards: Card, by_heart: bool = False, judged: bool = True) -> Path:
    """A deck folder with these cards, which was last changed long ago."""
    new_deck(folder, DeckSettings(new_deck_id(), "Saltmarsh rooks", by_heart=by_heart))
    add_cards(folder, [CardEntry(card) for card in cards], verdicts() if judged else [])
    return aged(folder)


@cache
def verdicts() -> list[PositionVerdicts]:
    tasks = [*map(a_rook_check, range(12)), doubled_rooks("play")]
    return [found for task in tasks for found in task.verdicts.values()]


def aged(folder: Path) -> Path:
    for file in folder.iterdir():
        os.utime(file, (LONG_AGO, LONG_AGO))
    return folder


def rooks(number: int) -> list[Card]:
    return [a_rook_check(place).card for place in range(number)]


def kept_files(folder: Path) -> list[Path]:
    return sorted(folder.rglob("*.index"))


@st.composite
def cards(draw: st.DrawFn) -> list[Card]:
    """Cards of many kinds, each in a position of its own."""
    tags = st.sampled_from([None, MotifTag("fork", "black"), MotifTag("back-rank", "black")])
    found = []
    for place in range(draw(st.integers(1, 12))):
        card = draw(st.sampled_from([a_rook_check(place).card, doubled_rooks("play", "assess").card]))
        tag, seems = draw(tags), draw(st.booleans())
        found.append(
            replace(
                card,
                card_id=f"{draw(st.sampled_from('abc'))}-{place}",
                motifs=(tag,) if tag and not seems else (),
                lookalike=tag if seems else None,
                evidence={tag.motif: ("e1", "g8")} if tag and not seems else {},
                tier=draw(st.sampled_from([None, 1, 2, 3])),
                comments=draw(st.sampled_from([{}, {0: "Schön ist die Überraschung"}, {1: "a [Tag]"}])),
            )
        )
    return found


@settings(max_examples=15)
@given(st.lists(cards(), min_size=1, max_size=2), st.booleans(), st.booleans(), st.booleans())
def test_a_kept_index_changes_nothing_of_what_is_asked(
    parts: list[list[Card]], by_heart: bool, judged: bool, windows: bool
) -> None:
    with TemporaryDirectory() as place, pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", f"{place}/cache")
        folders = [
            a_deck(Path(place) / f"deck-{number}", *part, by_heart=by_heart, judged=judged)
            for number, part in enumerate(parts)
        ]
        if windows:
            for file in (folder / "cards.pgn" for folder in folders):
                file.write_bytes(file.read_bytes().replace(b"\n", b"\r\n"))
            list(map(aged, folders))
        wholes = [ShelvedDeck.of(Deck.open(folder)) for folder in folders]
        assert list(map(kept_index, folders)) == [None] * len(folders)
        list(map(take, folders))
        again = [take(folder) for folder in folders]
        for folder, whole, kept in zip(folders, wholes, again, strict=True):
            assert kept_index(folder) is not None or not whole.index.card_ids
            assert columns(kept) == columns(whole)
            for card in Deck.open(folder).cards:
                assert kept.card(card.card_id) == whole.card(card.card_id)
        assert asked(Path(place) / "one.sqlite", again) == asked(Path(place) / "two.sqlite", wholes)


def columns(deck: ShelvedDeck) -> list[object]:
    index = deck.index
    rows = [index.askable(row) for row in range(len(index.card_ids))]
    return [deck.folder, deck.settings, rows, list(index.unjudged), dict(index.row_of)]


def asked(path: Path, decks: list[ShelvedDeck]) -> list[object]:
    """What is asked on a day, and all that is known of it."""
    said: list[str] = []
    with Scorebook.open(path) as book:
        ahead = day_ahead([], MOMENT)
        course = Course.begin(decks, book, book.student(), ahead, MOMENT, lambda: MOMENT, said.append)
    return [said, course.steps, course.tasks]


def test_a_deck_is_read_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = a_deck(tmp_path / "deck", *rooks(3))
    take(folder)
    monkeypatch.setattr("decks.shelf.shelved.read_deck", None)
    deck = take(folder)
    assert [deck.read(row).card.card_id for row in range(3)] == ["rook-0", "rook-1", "rook-2"]


def added(folder: Path) -> None:
    add_cards(folder, [CardEntry(a_rook_check(5).card)])


def same_size(folder: Path) -> None:
    """Changed in place to the same size, with its time put back."""
    file = folder / "cards.pgn"
    text = file.read_text()
    file.write_text(text.replace('[CardId "rook-2"]', '[CardId "rook-9"]'))
    aged(folder)


def without_verdicts(folder: Path) -> None:
    (folder / "verdicts.jsonl").write_text("")


def lost_verdicts(folder: Path) -> None:
    (folder / "verdicts.jsonl").unlink()


def by_heart(folder: Path) -> None:
    with (folder / "deck.toml").open("a") as file:
        file.write("by-heart = true\n")


@pytest.mark.parametrize("change", [added, same_size, without_verdicts, lost_verdicts, by_heart])
def test_a_changed_file_is_seen_at_once(change: Callable[[Path], None], tmp_path: Path) -> None:
    folder = a_deck(tmp_path / "deck", *rooks(3))
    before = columns(take(folder))
    assert kept_index(folder) is not None
    change(folder)
    assert kept_index(folder) is None
    assert before != columns(take(folder)) == columns(ShelvedDeck.of(Deck.open(folder)))


def test_a_deck_that_has_faults_now_has_them_at_once(tmp_path: Path) -> None:
    folder = a_deck(tmp_path / "deck", *rooks(3))
    take(folder)
    (folder / "cards.pgn").write_text("Dear Anna")
    with pytest.raises(DeckError, match=r"cards\.pgn line 1"):
        take(folder)


def test_an_index_of_files_that_changed_just_now_is_not_kept(tmp_path: Path) -> None:
    """Another change in the same moment might leave them the same size and time."""
    folder = a_deck(tmp_path / "deck", *rooks(3))
    os.utime(folder / "cards.pgn")
    take(folder)
    assert kept_files(tmp_path) == []


@pytest.mark.parametrize(
    "damage",
    [
        lambda data: b"",
        lambda data: data[: len(data) // 2],
        lambda data: data.replace(b"rook-1", b"rook-7"),
        lambda data: b"\xff\x00" + data,
        lambda data: b"no index",
    ],
)
def test_a_damaged_index_is_made_again(damage: Callable[[bytes], bytes], tmp_path: Path) -> None:
    folder = a_deck(tmp_path / "deck", *rooks(3))
    before = columns(take(folder))
    (file,) = kept_files(tmp_path)
    sound = file.read_bytes()
    file.write_bytes(damage(sound))
    assert kept_index(folder) is None
    assert columns(take(folder)) == before
    assert file.read_bytes() == sound


def test_an_index_of_another_version_of_the_program_is_made_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = a_deck(tmp_path / "deck", *rooks(3))
    take(folder)
    monkeypatch.setattr(shelf_kept, "_program", lambda: "a later one")
    assert kept_index(folder) is None


def test_without_a_place_to_keep_indexes_decks_are_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "file"))
    folder = a_deck(tmp_path / "deck", *rooks(3))
    assert [take(folder).index.card_ids for _ in range(2)] == [["rook-0", "rook-1", "rook-2"]] * 2


def test_a_card_is_read_although_its_deck_has_changed(tmp_path: Path) -> None:
    folder = a_deck(tmp_path / "deck", *rooks(3))
    take(folder)
    kept, before = take(folder), Deck.open(folder)
    add_cards(folder, [CardEntry(doubled_rooks("play").card)])
    assert [kept.read(row).card for row in range(3)] == list(before.cards)


@pytest.mark.parametrize("change", [same_size, without_verdicts])
def test_a_card_that_has_changed_is_refused(change: Callable[[Path], None], tmp_path: Path) -> None:
    folder = a_deck(tmp_path / "deck", *rooks(3))
    take(folder)
    kept = take(folder)
    change(folder)
    with pytest.raises(DeckError, match="rook-2: the card was changed just now"):
        kept.read(2)


def test_a_card_that_was_changed_meanwhile_does_not_come_that_day(tmp_path: Path) -> None:
    folder = a_deck(tmp_path / "deck", *rooks(3), by_heart=True)
    take(folder)
    deck = take(folder)
    same_size(folder)
    with Scorebook.open(tmp_path / "book.sqlite") as book:
        ahead = day_ahead([], MOMENT)
        course = Course.begin([deck], book, book.student(), ahead, MOMENT, lambda: MOMENT, print)
    assert [task.card.card_id for task in course.tasks] == ["rook-0", "rook-1"]


def test_processes_that_keep_the_same_index_at_the_same_time_do_not_harm_each_other(tmp_path: Path) -> None:
    folder = a_deck(tmp_path / "deck", *rooks(8))
    program = (
        "import sys; from pathlib import Path; from decks.shelf.kept import keep, kept_index, KeptIndex\n"
        "from decks.shelf.shelved import take\n"
        "deck = take(Path(sys.argv[1]))\n"
        "for _ in range(200):\n"
        "    kept = kept_index(Path(sys.argv[1]))\n"
        "    assert kept is not None and kept.index.card_ids == deck.index.card_ids\n"
        "    keep(Path(sys.argv[1]), kept)\n"
    )
    command = [sys.executable, "-c", program, str(folder)]
    running = [subprocess.Popen(command, cwd=Path(__file__).parent.parent) for _ in range(3)]
    assert [process.wait() for process in running] == [0, 0, 0]
    assert len(list(kept_files(tmp_path)[0].parent.iterdir())) == 1
