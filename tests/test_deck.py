"""The deck folder: settings, verdicts, opening with every fault at once, nothing outside it touched."""

from __future__ import annotations

import json
import os
import tracemalloc
import uuid
from dataclasses import replace
from pathlib import Path
from typing import Any

import chess
import pytest
from hypothesis import given
from hypothesis import strategies as st

from decks.asks.catalogue import ASKS
from decks.cards import folder as deck_folder
from decks.cards.cards_file import CardEntry
from decks.cards.deck import Deck, add_cards, deck_id, give_new_identity, is_deck, made_id, new_deck
from decks.cards.faults import DeckError, Fault
from decks.cards.folder import read_file, replace_file, reserved
from decks.cards.movetext import Variation
from decks.cards.settings import (
    DeckSettings,
    new_deck_id,
    read_settings,
    settings_notes,
    with_deck_id,
    write_settings,
)
from decks.cards.verdicts_file import (
    illegal_continuations,
    missing,
    positions_to_judge,
    read_verdicts,
    stale,
    write_verdicts,
)
from decks.tasks.card import RECALL_STEPS, Card, RecallStep
from decks.tasks.lines import legal_part
from patterns.engines.scores import MoveVerdict, PositionVerdicts

DECK_ID = "7c3a51f0-2f0f-4c53-8d55-6a4f6a4f1b11"
SETTINGS = DeckSettings(DECK_ID, "Back ranks of the Saltmarsh club", author="Anna Birch")
ROOKS = "3r2k1/5ppp/8/8/8/8/5PPP/3RR1K1 w - - 0 30"
MATE = Card("sm-001", ROOKS, ("play",), line=("d1d8",))
REFUSING_H3 = replace(MATE, marks={0: {"h2h3": False}})
"""The card as it is read: the coach gives 30. h3 a `?`."""


def evenly(fen: str) -> PositionVerdicts:
    """A verdict of one half for every legal move, each with a reply where there is one."""
    board = chess.Board(fen)
    moves = {}
    for move in board.legal_moves:
        board.push(move)
        reply = tuple(one.uci() for one in list(board.legal_moves)[:1])
        board.pop()
        moves[move.uci()] = MoveVerdict(0.5, 16, reply)
    return PositionVerdicts(board.epd(), "Stockfish 15.1", "wdl", moves)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A deck of one card with its verdicts."""
    folder = tmp_path / "deck"
    new_deck(folder, SETTINGS)
    variations = (Variation(0, ("h2h3", "d8d1"), (2,), "Too slow."),)
    add_cards(folder, [CardEntry(MATE, {"White": "Birch, Anna"}, variations)], [evenly(ROOKS)])
    return folder


def faults_of(folder: Path) -> list[str]:
    with pytest.raises(DeckError) as error:
        Deck.open(folder, {"back-rank"})
    assert str(error.value).split("\n") == [str(fault) for fault in error.value.faults]
    return str(error.value).split("\n")


def change(folder: Path, name: str, old: str, new: str) -> None:
    path = folder / name
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


# A folder kept for one writer


def test_two_writers_do_not_meet_in_a_folder(folder: Path) -> None:
    with reserved(folder):
        with pytest.raises(DeckError, match="another process is writing in this deck"), reserved(folder):
            pass
        assert Deck.open(folder).cards  # reading goes on
    with reserved(folder):
        pass


def test_files_left_by_a_killed_process_are_removed(folder: Path, tmp_path: Path) -> None:
    stray = folder / f".cards.pgn.{'0a' * 16}"
    stray.write_text("half")
    own = folder / "notes.txt"
    own.write_text("mine")
    with reserved(folder):
        assert not stray.exists() and own.exists()
    part = tmp_path / "part"
    part.mkdir()
    for name in ("cards.pgn", "verdicts.jsonl", f".deck.toml.{'0a' * 16}"):
        (part / name).write_bytes(b"")
    with reserved(part):
        new_deck(part, SETTINGS)
    assert Deck.open(part).cards == ()


def test_a_folder_made_for_a_deck_that_failed_is_removed(tmp_path: Path) -> None:
    with pytest.raises(ZeroDivisionError), reserved(tmp_path / "fresh"):
        raise ZeroDivisionError
    assert not (tmp_path / "fresh").exists()
    (tmp_path / "old").mkdir()
    with reserved(tmp_path / "old"):
        pass
    assert (tmp_path / "old").exists()


@pytest.mark.parametrize("step", range(3))
def test_a_deck_killed_while_it_is_started_can_be_started_again(
    step: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    written: list[str] = []

    def killed_at(folder: Path, name: str, data: bytes) -> None:
        if len(written) == step:
            raise KeyboardInterrupt
        written.append(name)
        replace_file(folder, name, data)

    with monkeypatch.context() as patched:
        patched.setattr("decks.cards.deck.replace_file", killed_at)
        with pytest.raises(KeyboardInterrupt):
            new_deck(tmp_path / "deck", SETTINGS)
    assert not is_deck(tmp_path / "deck")
    new_deck(tmp_path / "deck", SETTINGS)
    assert Deck.open(tmp_path / "deck").cards == ()


# Opening


def test_a_new_deck_opens_with_all_that_went_in(folder: Path) -> None:
    deck = Deck.open(folder, {"back-rank"})
    assert deck.folder == folder and deck.settings == SETTINGS and deck.cards == (REFUSING_H3,)
    assert deck.verdicts == {MATE.board.epd(): evenly(ROOKS)}
    assert deck.variations == {"sm-001": (Variation(0, ("h2h3", "d8d1"), (2,), "Too slow."),)}
    assert sorted(path.name for path in folder.iterdir()) == ["cards.pgn", "deck.toml", "verdicts.jsonl"]


def test_a_deck_without_verdicts_opens(folder: Path) -> None:
    (folder / "verdicts.jsonl").unlink()
    assert Deck.open(folder).verdicts == {}


def test_stale_verdicts_do_not_keep_a_deck_shut(folder: Path) -> None:
    with (folder / "verdicts.jsonl").open("a", encoding="utf-8") as file:
        file.write(write_verdicts([evenly(chess.STARTING_FEN)]))
    assert len(Deck.open(folder).verdicts) == 2


def test_a_byte_order_mark_is_not_a_fault(folder: Path) -> None:
    for name in ("deck.toml", "cards.pgn", "verdicts.jsonl"):
        path = folder / name
        path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert Deck.open(folder).cards == (REFUSING_H3,)
    add_cards(folder, [CardEntry(Card("sm-002", ROOKS, ("assess",)))])
    assert (folder / "cards.pgn").read_bytes().startswith(b"\xef\xbb\xbf[Event")


def test_faults_of_all_three_files_are_reported_at_once(folder: Path) -> None:
    change(folder, "deck.toml", "title", "titel")
    change(folder, "cards.pgn", "Rxd8#", "Rxd9#")
    change(folder, "verdicts.jsonl", '"wdl"', '"pawns"')
    found = faults_of(folder)
    assert [fault.split(":")[0] for fault in found] == [
        "deck.toml line 2",
        "deck.toml",
        "cards.pgn line 13, card sm-001",
        "verdicts.jsonl line 1",
    ]


def test_a_card_without_an_id_is_a_fault_when_opening(folder: Path) -> None:
    change(folder, "cards.pgn", '[CardId "sm-001"]\n', "")
    (fault,) = faults_of(folder)
    assert fault == "cards.pgn line 1: the card has no CardId: `rondeau check` adds one"


@pytest.mark.parametrize("name", ["deck.toml", "cards.pgn"])
def test_a_missing_file_is_named(folder: Path, name: str) -> None:
    (folder / name).unlink()
    assert faults_of(folder) == [f"{name}: the file is missing"]


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    assert faults_of(tmp_path / "none") == [f"{tmp_path / 'none'}: no such folder"]


@pytest.mark.parametrize("name", ["deck.toml", "cards.pgn", "verdicts.jsonl"])
def test_text_that_is_not_utf8_is_named_with_its_line(folder: Path, name: str) -> None:
    path = folder / name
    lines = path.read_bytes().count(b"\n")
    path.write_bytes(path.read_bytes() + b"# Z\xfcrich\n")
    assert faults_of(folder) == [f"{name} line {lines + 1}: not UTF-8: byte 0xfc can't start a character"]


@pytest.mark.parametrize("name", ["deck.toml", "cards.pgn", "verdicts.jsonl"])
def test_a_file_too_large_is_refused(folder: Path, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    size = (folder / name).stat().st_size
    monkeypatch.setitem(deck_folder.SIZE_LIMITS, name, size)
    Deck.open(folder)
    monkeypatch.setitem(deck_folder.SIZE_LIMITS, name, size - 1)
    (fault,) = faults_of(folder)
    assert fault.startswith(f"{name}: larger than ")


def test_a_file_too_large_is_refused_without_being_read(folder: Path) -> None:
    for name, size, most in (
        ("deck.toml", 64 << 10, "64 KB"),
        ("cards.pgn", 8 << 20, "8 MB"),
        ("verdicts.jsonl", 64 << 20, "64 MB"),
    ):
        kept = (folder / name).read_bytes()
        os.truncate(folder / name, size + 1)
        tracemalloc.start()
        assert faults_of(folder) == [f"{name}: larger than {most}: this can't be a deck's"]
        _, peak = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        assert peak < size / 4 + 500_000
        (folder / name).write_bytes(kept)


def test_no_file_is_written_that_would_be_too_large_to_read(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = (folder / "verdicts.jsonl").read_bytes()
    monkeypatch.setitem(deck_folder.SIZE_LIMITS, "verdicts.jsonl", 2048)
    replace_file(folder, "verdicts.jsonl", b" " * 2048)
    with pytest.raises(DeckError) as caught:
        replace_file(folder, "verdicts.jsonl", kept + b" " * 2048)
    assert str(caught.value) == (
        "verdicts.jsonl: would be larger than 2 KB: start another deck for more cards"
    )
    assert (folder / "verdicts.jsonl").read_bytes() == b" " * 2048


# No way out of the folder


def test_a_link_out_of_the_folder_is_refused(folder: Path, tmp_path: Path) -> None:
    outside = tmp_path / "outside.pgn"
    outside.write_text("secret", encoding="utf-8")
    (folder / "cards.pgn").unlink()
    (folder / "cards.pgn").symlink_to(outside)
    assert faults_of(folder) == ["cards.pgn: a link that leads out of the deck folder"]
    with pytest.raises(DeckError, match="leads out of the deck folder"):
        replace_file(folder, "cards.pgn", b"")
    assert outside.read_text(encoding="utf-8") == "secret"


def test_a_link_inside_the_folder_is_followed_and_kept(folder: Path) -> None:
    (folder / "cards.pgn").rename(folder / "mine.pgn")
    (folder / "cards.pgn").symlink_to("mine.pgn")
    add_cards(folder, [CardEntry(Card("sm-002", ROOKS, ("assess",)))])
    assert (folder / "cards.pgn").is_symlink() and len(Deck.open(folder).cards) == 2


def test_a_circular_link_and_a_pipe_are_not_files(folder: Path) -> None:
    for name in ("cards.pgn", "verdicts.jsonl"):
        (folder / name).unlink()
    (folder / "cards.pgn").symlink_to("cards.pgn")
    os.mkfifo(folder / "verdicts.jsonl")
    first, second = faults_of(folder)
    assert first.startswith("cards.pgn: ") and second == "verdicts.jsonl: this is not a plain file"


@pytest.mark.parametrize("name", ["../cards.pgn", "notes.txt", "/etc/passwd", ""])
def test_only_the_three_files_can_be_named(folder: Path, name: str) -> None:
    with pytest.raises(ValueError, match="is not a file of a deck"):
        read_file(folder, name)
    with pytest.raises(ValueError, match="is not a file of a deck"):
        replace_file(folder, name, b"")


def test_a_failed_write_leaves_the_old_file_and_no_temporary_file(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = (folder / "cards.pgn").read_bytes()

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(DeckError, match=r"cards\.pgn: can't be written: No space left"):
        replace_file(folder, "cards.pgn", b"half")
    assert (folder / "cards.pgn").read_bytes() == before
    assert len(list(folder.iterdir())) == 3


def test_a_written_file_keeps_its_permissions(folder: Path) -> None:
    (folder / "cards.pgn").chmod(0o640)
    replace_file(folder, "cards.pgn", b"")
    assert (folder / "cards.pgn").stat().st_mode & 0o777 == 0o640


# Starting a deck, adding to it


def test_a_folder_in_use_is_refused(folder: Path, tmp_path: Path) -> None:
    with pytest.raises(DeckError, match="this is a deck already"):
        new_deck(folder, SETTINGS)
    other = tmp_path / "letters"
    other.mkdir()
    (other / "to-anna.txt").write_text("Dear Anna", encoding="utf-8")
    with pytest.raises(DeckError, match="the folder is not empty"):
        new_deck(other, SETTINGS)
    assert [path.name for path in other.iterdir()] == ["to-anna.txt"] and not is_deck(other)


def test_a_title_with_bytes_that_are_not_text_is_kept_as_far_as_possible(tmp_path: Path) -> None:
    new_deck(tmp_path / "new", replace(SETTINGS, title="J\udcfcrgen's pins"))
    assert Deck.open(tmp_path / "new").settings.title == "J?rgen's pins"


def test_adding_cards_keeps_what_is_there_byte_for_byte(folder: Path) -> None:
    path = folder / "cards.pgn"
    odd = path.read_bytes().replace(b"\n", b"\r\n").replace(b"30. Rxd8#", b"30.\t Rxd8 ") + b"; my own words"
    path.write_bytes(odd)
    ids = add_cards(
        folder,
        [CardEntry(Card("", ROOKS, ("play",), line=("h2h4",))), CardEntry(Card("", ROOKS, tuple(ASKS)[:1]))],
    )
    assert path.read_bytes().startswith(odd)
    assert [card.card_id for card in Deck.open(folder).cards] == ["sm-001", *ids] and len(set(ids)) == 2


def test_made_ids_are_stable_and_free() -> None:
    first = made_id(MATE, ())
    assert first == made_id(MATE, {"other"}) and first.startswith("card-")
    assert made_id(MATE, {first}) == f"{first}-2" and made_id(MATE, {first, f"{first}-2"}) == f"{first}-3"


@pytest.mark.parametrize(
    ("card", "message"),
    [
        (MATE, "this CardId is taken"),
        (Card("sm-002", ROOKS, ("play",), line=("d1d8", "g8h8")), "illegal|can't be written"),
        (Card("sm-002", ROOKS, ("play",)), "no line to find"),
        (Card("sm 2", ROOKS, ("assess",)), "is not an id"),
        (Card("sm-002", "8/8/8/8/8/8/8/8 w - - 0 1", ("assess",)), "has no king"),
    ],
)
def test_faulty_cards_are_not_added(folder: Path, card: Card, message: str) -> None:
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    with pytest.raises(DeckError, match=message):
        add_cards(folder, [CardEntry(Card("sm-100", ROOKS, ("assess",))), CardEntry(card)])
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


# Settings

ONE_LINE = st.text(st.characters(codec="utf-8"), max_size=30)


@given(
    ONE_LINE.filter(bool),
    ONE_LINE,
    st.sampled_from(tuple(RECALL_STEPS)),
    st.sets(st.sampled_from(tuple(ASKS)), min_size=1),
    st.booleans(),
)
def test_settings_read_back_the_same(
    title: str, author: str, recall: RecallStep, asks: set[Any], by_heart: bool
) -> None:
    ordered = tuple(ask for ask in ASKS if ask in asks)
    settings = DeckSettings(new_deck_id(), title, author, "CC0", "fr", ordered, recall, by_heart)
    assert read_settings(write_settings(settings)) == settings


def test_new_deck_ids_differ() -> None:
    assert uuid.UUID(new_deck_id()) != uuid.UUID(new_deck_id())


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ('colour = "blue"\nsize = 3', "unknown keys 'colour', 'size': the keys are deck, title"),
        ('"\\u001b[2J" = 1', "unknown keys '\\x1b[2J'"),
        ("author = 3", "author must be text in quotes"),
        ('recall = "strong"', 'recall must be "light", "usual" or "firm"'),
        ('recall = "Usual"', 'recall must be "light", "usual" or "firm"'),
        ('recall = "0.9"', 'recall must be "light", "usual" or "firm"'),
        ('recall = ["usual"]', 'recall must be "light", "usual" or "firm"'),
        ("recall = 0.69", 'recall must be "light", "usual" or "firm"'),
        ("recall = 0.98", 'recall must be "light", "usual" or "firm"'),
        ("recall = nan", 'recall must be "light", "usual" or "firm"'),
        ("recall = true", 'recall must be "light", "usual" or "firm"'),
        ("recall = 1", 'recall must be "light", "usual" or "firm"'),
        ('asks = "play"', "asks must be a list"),
        ('asks = ["play", "dance"]', "unknown ask 'dance'"),
        ("by-heart = 1", "by-heart must be true or false"),
        ('by-heart = "yes"', "by-heart must be true or false"),
        ("asks = []", "must name one or more asks"),
        ("author = ", "not TOML"),
    ],
)
def test_a_faulty_setting_is_named_with_its_line(line: str, message: str) -> None:
    with pytest.raises(DeckError) as error:
        read_settings(f'deck = "{DECK_ID}"\ntitle = "Saltmarsh"\n{line}\n')
    (fault,) = error.value.faults
    assert message in fault.message
    assert fault.path == "deck.toml" and (fault.line == 3 or "u001b" in line)


@pytest.mark.parametrize(
    ("line", "recall", "note"),
    [
        ("", None, None),
        ('recall = "light"', 0.80, None),
        ('recall = "usual"', 0.90, None),
        ('recall = "firm"', 0.95, None),
        ("recall = 0.7", 0.80, 'recall 0.7 is read as "light"'),
        ("recall = 0.84", 0.80, 'recall 0.84 is read as "light"'),
        ("recall = 0.85", 0.90, 'recall 0.85 is read as "usual"'),
        ("recall = 0.9", 0.90, 'recall 0.9 is read as "usual"'),
        ("recall = 0.925", 0.90, 'recall 0.925 is read as "usual"'),
        ("recall = 0.93", 0.95, 'recall 0.93 is read as "firm"'),
        ("recall = 0.97", 0.95, 'recall 0.97 is read as "firm"'),
    ],
)
def test_recall_has_three_steps_and_a_number_is_read_as_the_nearest(
    line: str, recall: float | None, note: str | None
) -> None:
    text = f'\ufeffdeck = "{DECK_ID}"\ntitle = "Saltmarsh"\n{line}\n'
    assert read_settings(text).target_recall == recall
    expected = f'deck.toml line 3: {note}: write "light", "usual" or "firm"'
    assert [str(each) for each in settings_notes(text)] == ([expected] if note else [])


def test_settings_nested_beyond_reason_are_a_fault() -> None:
    with pytest.raises(DeckError, match=r"^deck\.toml.*: not TOML: "):
        read_settings("asks = " + "[" * 30_000)


@pytest.mark.parametrize("deck", ["", 'deck = "saltmarsh"', "deck = 7", f'deck = "{{{DECK_ID}}}"'])
def test_a_deck_needs_its_uuid(deck: str) -> None:
    with pytest.raises(DeckError, match="deck must be a uuid"):
        read_settings(f'title = "Saltmarsh"\n{deck}\n')


# Verdicts


def test_verdicts_read_back_the_same_and_the_same_bytes() -> None:
    both = [evenly(ROOKS), evenly(chess.STARTING_FEN)]
    text = write_verdicts(both)
    stored = read_verdicts(text)
    assert stored.faults == () and stored.by_epd == {one.epd: one for one in both}
    assert write_verdicts(stored.by_epd.values()) == text == write_verdicts(reversed(both))
    assert [list(json.loads(line)) for line in text.splitlines()] == [
        ["epd", "engine", "conversion", "moves"]
    ] * 2


def test_verdicts_keep_the_order_of_moves() -> None:
    """Two mates score the same; the order says which the engine prefers."""
    even = evenly(ROOKS)
    turned = PositionVerdicts(even.epd, even.engine, even.conversion, dict(reversed([*even.moves.items()])))
    assert read_verdicts(write_verdicts([turned])).by_epd[even.epd].best == turned.best != even.best


def spoilt(**parts: Any) -> str:
    found = {**json.loads(write_verdicts([evenly(ROOKS)])), **parts}
    return json.dumps({key: value for key, value in found.items() if value is not None})


def spoilt_move(**parts: Any) -> str:
    moves = json.loads(write_verdicts([evenly(ROOKS)]))["moves"]
    moves["d1d8"] = {**moves["d1d8"], **parts}
    return spoilt(moves=moves)


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("nonsense", "not JSON"),
        ("[" * 100000, "not JSON"),
        ("[]", "expected an object with epd, engine, conversion, moves"),
        (spoilt(engine=None), "expected an object with"),
        (spoilt(comment="x"), "expected an object with"),
        (spoilt(engine=15), "epd and engine must be text"),
        (spoilt(conversion="pawns"), "conversion must be wdl or logistic, not 'pawns'"),
        (spoilt(epd="rook endings"), "is not an EPD"),
        (spoilt(epd=""), "EPD"),
        (spoilt(epd="8/8/8/8/8/8/8/8 w - -"), "not the EPD of a possible position"),
        (spoilt(epd="3r2k1/5ppp/8/8/8/8/5PPP/3RR1K1 w - - bm Rd8;"), "not the EPD of a possible position"),
        (spoilt(epd="rnbqkbnr/pppp1ppp/8/4p3/4P3/8/PPPP1PPP/RNBQKBNR w KQkq e6"), "must be written rnbqkbnr"),
        (spoilt(moves={}), "no verdict for the legal move"),
        (
            spoilt(moves={**json.loads(spoilt())["moves"], "d1d9": {}}),
            "a verdict for the illegal move 'd1d9'",
        ),
        (spoilt_move(score=1.2), "the score of d1d8 must be a number from 0 to 1"),
        (spoilt_move(score=float("nan")), "the score of d1d8"),
        (spoilt_move(score="1"), "the score of d1d8"),
        (spoilt_move(depth=-1), "the depth of d1d8"),
        (spoilt_move(depth=10**300), "the depth of d1d8 must be a whole number from 0 to 250"),
        (spoilt_move(line=["g8g8"]), "the line of d1d8 must be a list of UCI moves"),
        (spoilt_move(depth=12.5), "the depth of d1d8"),
        (spoilt_move(line="g8h8"), "the line of d1d8"),
        (spoilt_move(line=["Kh8"]), "the line of d1d8"),
        (spoilt_move(comment="x"), "expected an object with score, depth, line"),
        (spoilt_move(cp=1.5), "the cp of d1d8 must be a whole number from -10000 to 10000"),
        (spoilt_move(cp=10_001), "the cp of d1d8 must be"),
        (spoilt_move(mate=True), "the mate of d1d8 must be a whole number from -250 to 250"),
        (spoilt_move(mate=None), "the mate of d1d8 must be"),
        (spoilt_move(score=1.0, cp=5, mate=1), "d1d8 has both cp and mate"),
        (spoilt_move(score=1.0, mate=0), "the mate of d1d8 does not fit its score"),
        (spoilt_move(score=1.0, mate=-2), "the mate of d1d8 does not fit its score"),
        (spoilt_move(score=0.9, mate=2), "the mate of d1d8 does not fit its score"),
        (spoilt_move(end=1.2), "the end of d1d8 must be a number from 0 to 1"),
        (spoilt_move(end=True), "the end of d1d8 must be a number from 0 to 1"),
        (spoilt_move(unclear="no"), "unclear must be true or false, of d1d8"),
        (spoilt(settled=1), "settled must be true or false"),
        (spoilt() + "\n" + spoilt(), "the same position as in line 2"),
    ],
)
def test_a_malformed_verdict_is_named_with_its_line(line: str, message: str) -> None:
    stored = read_verdicts(f"\n{line}\n")
    (fault,) = stored.faults
    assert message in fault.message and fault.line == 2 + line.count("\n")


def test_of_many_broken_verdicts_the_first_are_reported_and_the_rest_counted() -> None:
    faults = [str(fault) for fault in read_verdicts("{}\n" * 30).faults]
    assert [fault.partition(":")[0] for fault in faults[:20]] == [
        f"verdicts.jsonl line {number}" for number in range(1, 21)
    ]
    assert faults[20:] == ["verdicts.jsonl: 10 more faults"]
    faults = [str(fault) for fault in read_verdicts("{}\n" * 1_000_000).faults]
    assert faults[20:] == [
        "verdicts.jsonl: 980 more faults, and the rest was not read: is this the right file?"
    ]


def test_lines_are_counted_across_empty_ones_however_many() -> None:
    empty = 20_000_000
    (fault,) = read_verdicts("\n" * empty + "{}\n").faults
    assert fault.line == empty + 1


@pytest.mark.parametrize("text", [f"{'a.' * 32_500}a = 1", 'title = {"a" . b' + " . 'c'" * 30 + " = 1}"])
def test_a_key_of_thousands_of_parts_is_refused_at_once(text: str) -> None:
    with pytest.raises(DeckError, match=r"deck\.toml line 2: a key has too many parts"):
        read_settings(f'language = "en"\n{text}\n')


@pytest.mark.parametrize("number", ["9" * 5000, "[" * 5000, "1e999999", "0x" + "f" * 60_000])
def test_a_huge_value_is_a_fault_and_no_traceback(number: str) -> None:
    with pytest.raises(DeckError, match=r"^deck\.toml"):
        read_settings(f'deck = "{DECK_ID}"\ntitle = "t"\nrecall = {number}\n')


def test_lines_that_cannot_be_played_are_found() -> None:
    stored = read_verdicts(spoilt_move(line=["e7e5"]) + "\n")
    assert stored.faults == ()
    (fault,) = illegal_continuations(stored)
    assert str(fault) == "verdicts.jsonl line 1: malformed verdict: after d1d8, 'e7e5' is not legal"
    assert (
        illegal_continuations(read_verdicts(write_verdicts([evenly(ROOKS), evenly(chess.STARTING_FEN)])))
        == ()
    )


def test_the_legal_part_of_a_line_stops_at_the_first_move_that_is_not() -> None:
    board = chess.Board()
    assert legal_part(board, ("e2e4", "e7e5", "g1f3")) == ("e2e4", "e7e5", "g1f3")
    assert legal_part(board, ("e2e4", "e4e5", "g1f3")) == ("e2e4",)
    assert board == chess.Board()


def test_positions_to_judge_are_the_students_own() -> None:
    played = Card("sm-1", ROOKS, ("play",), line=("f2f3", "d8d1", "e1d1"))
    after = chess.Board(ROOKS)
    after.push_uci("f2f3")
    after.push_uci("d8d1")
    assess_only = Card("sm-2", chess.STARTING_FEN, ("assess", "root"), line=("e2e4",))
    needed = positions_to_judge([played, MATE, assess_only])
    assert list(needed) == [MATE.board.epd(), after.epd()]
    stored = read_verdicts(write_verdicts([evenly(ROOKS), evenly(chess.STARTING_FEN)]))
    assert stale(stored, needed) == (chess.Board().epd(),) and missing(stored, needed) == (after.epd(),)


def test_the_en_passant_square_is_there_only_if_a_capture_is_legal() -> None:
    idle = chess.Board()
    idle.push_san("e4")
    card = Card("sm-1", idle.fen(en_passant="fen"), ("play",), line=("e7e5",))
    assert " e3 " in card.fen and next(iter(positions_to_judge([card]))).endswith(" b KQkq -")


def test_a_fault_reads_as_one_line() -> None:
    assert str(Fault("cards.pgn", 41, "sm-003", "wrong")) == "cards.pgn line 41, card sm-003: wrong"
    assert str(Fault("deck.toml", None, None, "wrong")) == "deck.toml: wrong"


# A new identity

OLD, NEW = "0d9c1a52-6f0e-4a53-9c0a-5f3b1e7d2c84", "1e8d2b63-6f0e-4a53-9c0a-5f3b1e7d2c84"
IN_THE_TITLE = f"title = '''\ndeck = \"{OLD}\"\n'''"


@pytest.mark.parametrize(
    ("before", "value", "after"),
    [
        ("", f'deck = "{OLD}"', '\ntitle = "Saltmarsh"\n'),
        ("\ufeff", f"deck='{OLD.upper()}'", ' # permanent\r\ntitle = "Saltmarsh"'),
        ("# deck = 'another'\n", f' "deck"\t=  "{OLD}"', "\ntitle = 'Saltmarsh'"),
        ("", f'deck = """{OLD}"""', "\ntitle = 'Saltmarsh'"),
        ("", f"deck = '''\n{OLD}'''", "\ntitle = 'Saltmarsh'"),
        ("", f'deck = "\\u0030{OLD[1:]}"', "\ntitle = 'Saltmarsh'"),
        (f'title = """\ndeck = "{OLD}"\n"""\n', f'deck = "{OLD}"', "\nlanguage = 'fr'\n"),
        (
            "title = 'x'\n",
            f'deck = "{OLD}"',
            f"\nauthor = '''\ndeck = '{OLD}'\n'''",
        ),
    ],
)
def test_a_new_identity_changes_the_uuid_and_no_other_character(
    before: str, value: str, after: str, tmp_path: Path
) -> None:
    text = before + value + after
    changed = with_deck_id(text, NEW)
    assert read_settings(changed) == replace(read_settings(text), deck=NEW)
    assert changed.startswith(before + value[: value.index("=")])
    assert changed.endswith(f'"{NEW}"{after}')
    (tmp_path / "deck.toml").write_bytes(text.encode())
    made = give_new_identity(tmp_path)
    assert (tmp_path / "deck.toml").read_bytes() == with_deck_id(text, made).encode()
    assert deck_id(tmp_path) == made != OLD


@pytest.mark.parametrize(
    ("text", "changed"),
    [
        ("title = 'Saltmarsh'\n", f"deck = \"{NEW}\"\ntitle = 'Saltmarsh'\n"),
        ("\ufefftitle = 'x'\r\nasks = ['play']", f"\ufeffdeck = \"{NEW}\"\r\ntitle = 'x'\r\nasks = ['play']"),
        ("deck = 'evening'\ntitle = 'x'", f"deck = \"{NEW}\"\ntitle = 'x'"),
        (IN_THE_TITLE, f'deck = "{NEW}"\n{IN_THE_TITLE}'),
    ],
)
def test_a_deck_without_a_uuid_gets_one(text: str, changed: str, tmp_path: Path) -> None:
    assert with_deck_id(text, NEW) == changed
    (tmp_path / "deck.toml").write_bytes(text.encode())
    assert give_new_identity(tmp_path) == deck_id(tmp_path)


def test_a_uuid_that_is_no_text_is_left_to_the_coach() -> None:
    with pytest.raises(DeckError, match="line 2: write the uuid on the line of its key, in quotes"):
        with_deck_id("title = 'x'\ndeck = 5\n", NEW)


def test_settings_with_faults_get_no_new_identity(tmp_path: Path) -> None:
    (tmp_path / "deck.toml").write_text(f'deck = "{OLD}"\n')
    with pytest.raises(DeckError, match="the deck has no title"):
        give_new_identity(tmp_path)
    assert (tmp_path / "deck.toml").read_text() == f'deck = "{OLD}"\n'
    assert deck_id(tmp_path) is None
