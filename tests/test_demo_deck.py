"""The bundled demo deck: free of faults, verified, varied, and made from the self-play games beside it."""

from __future__ import annotations

from collections import Counter
from datetime import date
from pathlib import Path

import pytest

from decks.cards.deck import Deck
from decks.cards.deck_check import check_deck
from decks.cards.demo import demo_deck_folder
from decks.cards.verdicts_file import positions_to_judge
from patterns.catalogue import MOTIFS
from patterns.detect import find_in
from patterns.engines.strength import strong_enough
from patterns.reading.pgn import Game, positions, read_games

NAMESAKES = {"pin-on-file", "pawn-storm", "unopposed-bishop", "back-rank"}


@pytest.fixture(scope="module")
def deck() -> Deck:
    return Deck.open(demo_deck_folder(), set(MOTIFS))


def test_it_has_no_fault_and_nothing_questionable() -> None:
    result = check_deck(demo_deck_folder(), set(MOTIFS), None, date(2026, 11, 25))
    assert result.faults == ()
    assert result.notes == ()
    assert result.written == ()


def test_it_is_varied(deck: Deck) -> None:
    motifs = Counter(tag.motif for card in deck.cards for tag in card.motifs)
    assert sum(motifs[motif] for motif in NAMESAKES) >= 20
    assert all(motifs[motif] >= 2 for motif in NAMESAKES)
    assert len(motifs) >= 12
    asks = Counter(ask for card in deck.cards for ask in card.asks)
    assert asks["play"] >= 24
    assert asks["assess"] >= 6
    assert {card.board.turn for card in deck.cards} == {True, False}


def test_each_card_shows_its_motif_for_the_side_to_move(deck: Deck) -> None:
    for card, findings in zip(deck.cards, find_in([card.board for card in deck.cards]), strict=True):
        side = "white" if card.board.turn else "black"
        shown = {(one.motif, one.side) for one in findings}
        for tag in card.motifs:
            assert tag.side == side, card.card_id
            assert (tag.motif, side) in shown, f"{card.card_id}: no {tag.motif} in {card.fen}"


def test_every_key_holds_by_a_strong_engine(deck: Deck) -> None:
    checked = 0
    for card in deck.cards:
        for key in card.moves_to_find():
            verdicts = deck.verdicts[key.board.epd()]
            assert set(verdicts.moves) == {move.uci() for move in key.board.legal_moves}
            assert verdicts.quality(key.move) == "holds", f"{card.card_id}: {key.move}"
            assert strong_enough(verdicts.engine, verdicts.moves[key.move].depth), card.card_id
            checked += 1
        assert not card.checked.startswith("unverified"), card.card_id
    assert checked >= len(positions_to_judge(deck.cards)) >= 55


def test_every_position_comes_from_a_game_labelled_as_self_play(deck: Deck) -> None:
    arose: set[str] = set()
    games = list(read_games(Path(demo_deck_folder()) / "games.pgn"))
    assert games
    for game in games:
        assert isinstance(game, Game)
        assert "self-play" in game.headers["Event"]
        arose.update(board.epd() for _, board, _ in positions(game))
    assert {card.board.epd() for card in deck.cards} <= arose
