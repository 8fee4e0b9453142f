"""The bundled demo deck: free of faults, verified, varied, and made from the self-play games beside it."""

from __future__ import annotations

from collections import Counter
from datetime import UTC, date, datetime
from pathlib import Path

import chess
import pytest

from decks.asks.catalogue import moves_judged
from decks.build.relevance import causes, lines_of, mates_alone, pays, uses_of_lines
from decks.build.stock_taking import STANDINGS, standing
from decks.cards.deck import Deck
from decks.cards.deck_check import check_deck
from decks.cards.demo import demo_deck_folder
from decks.cards.line_end import is_worth_asking
from decks.cards.verdicts_file import positions_to_judge
from decks.course import Course
from decks.memory.day import day_ahead
from decks.scorebook.book import Scorebook
from decks.shelf.shelved import ShelvedDeck
from decks.tasks.card import Card
from decks.tasks.lines import is_forcing
from patterns.catalogue import MOTIFS
from patterns.engines.strength import strong_enough
from patterns.reading.pgn import Game, positions, read_games

MOST_BYTES_OF_A_CARD = 10_000
TODAY = date(2026, 11, 30)
MOMENT = datetime(2031, 5, 2, 18, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def deck() -> Deck:
    return Deck.open(demo_deck_folder(), set(MOTIFS))


def played(deck: Deck) -> list[Card]:
    return [card for card in deck.cards if "play" in card.asks]


def test_it_has_no_fault_and_nothing_questionable() -> None:
    result = check_deck(demo_deck_folder(), set(MOTIFS), None, TODAY)
    assert result.faults == ()
    assert result.notes == ()
    assert result.written == ()


def test_it_is_varied(deck: Deck) -> None:
    tags = [tag for card in deck.cards for tag in (*card.motifs, card.lookalike) if tag is not None]
    motifs = Counter(tag.motif for tag in tags)
    assert all(motifs[motif] >= 2 for motif in ("fork", "pin-on-file", "pin-on-diagonal", "back-rank"))
    assert len(motifs) >= 17
    assert sum(card.lookalike is not None for card in deck.cards) >= 8
    asks = Counter(ask for card in deck.cards for ask in card.asks)
    assert asks["play"] >= 89 and asks["assess"] >= 24 and asks["count"] >= 20 and asks["root"] >= 12
    assert {card.board.turn for card in deck.cards} == {True, False}
    tiers = Counter(card.tier for card in played(deck) if card.tier is not None)
    assert tiers[1] >= 30 and tiers[2] >= 50 and tiers[3] >= 5
    quiet = [card for card in played(deck) if not is_forcing(card.board, chess.Move.from_uci(card.line[0]))]
    assert len(quiet) >= 24


def test_ballots_alone_are_level_better_and_worse_for_the_mover_a_third_each(deck: Deck) -> None:
    alone = [card for card in deck.cards if card.asks == ("assess",)]
    stands = Counter(standing(card.board.turn, card.factors["verdict"]) for card in alone)
    assert stands == dict.fromkeys(STANDINGS, len(alone) // 3)


def test_a_newcomers_first_day_fills_its_minutes_with_first_meetings(deck: Deck, own_scorebook: Path) -> None:
    with Scorebook.open(own_scorebook) as book:
        ahead = day_ahead([], MOMENT)
        day = Course.begin([ShelvedDeck.of(deck)], book, book.student(), ahead, MOMENT, lambda: MOMENT, print)
    assert {step.why for step in day.steps} == {"first meeting"}
    assert 12 * 60 <= sum(step.seconds for step in day.steps) <= 17 * 60


def test_it_is_small_and_its_first_cards_differ(deck: Deck) -> None:
    size = (Path(demo_deck_folder()) / "verdicts.jsonl").stat().st_size
    assert size <= MOST_BYTES_OF_A_CARD * len(deck.cards)
    first = [tuple(tag.motif for tag in card.motifs) for card in deck.cards[:6]]
    assert len(set(first)) == 6 and all(first)


def test_each_motif_decides_the_move_of_its_card(deck: Deck) -> None:
    cards = [card for card in played(deck) if card.motifs]
    by_card = [deck.verdicts[card.board.epd()] for card in cards]
    lines = [lines_of(card.board, one, one.holding()) for card, one in zip(cards, by_card, strict=True)]
    used = iter(uses_of_lines(line for these in lines for line in these))  # in one batch, which is far faster
    for card, verdicts, these in zip(cards, by_card, lines, strict=True):
        uses = [next(used) for _ in these]
        for tag in card.motifs:
            assert tag.side == chess.COLOR_NAMES[card.board.turn], card.card_id
            assert tag.motif in causes(card.board, verdicts, uses, [tag.motif]), f"{card.card_id}: {tag}"


def test_each_key_achieves_enough_and_has_to_be_found(deck: Deck) -> None:
    for card in played(deck):
        assert pays(card.board, deck.verdicts[card.board.epd()]), card.card_id
        for key in card.moves_to_find():
            verdicts = deck.verdicts[key.board.epd()]
            assert not verdicts.moves[key.move].mate or mates_alone(verdicts), card.card_id
        assert is_worth_asking(card, deck.verdicts), card.card_id


def test_every_key_holds_by_a_strong_engine(deck: Deck) -> None:
    checked = 0
    for card in deck.cards:
        for key in moves_judged(card):
            verdicts = deck.verdicts[key.board.epd()]
            assert verdicts.settled, card.card_id
            assert set(verdicts.moves) == {move.uci() for move in key.board.legal_moves}
            assert verdicts.quality(key.move) == "holds", f"{card.card_id}: {key.move}"
            assert strong_enough(verdicts.engine, verdicts.moves[key.move].depth), card.card_id
            checked += 1
        assert not card.checked.startswith("unverified"), card.card_id
    assert checked >= len(positions_to_judge(deck.cards)) >= 60


def test_every_position_comes_from_a_game_labelled_as_self_play(deck: Deck) -> None:
    arose: set[str] = set()
    games = list(read_games(Path(demo_deck_folder()) / "games.pgn"))
    assert games
    for game in games:
        assert isinstance(game, Game)
        assert "self-play" in game.headers["Event"]
        arose.update(board.epd() for _, board, _ in positions(game))
    assert {card.board.epd() for card in deck.cards} <= arose
