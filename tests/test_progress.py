"""How far a student has come: by strand and tier, and no rate before there are enough answers."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner
from made_answers import DAY, DECK, an_answer
from made_showings import a_showing
from made_tasks import a_rook_check

from decks.cards.cards_file import CardEntry
from decks.cards.deck import Deck, add_cards, new_deck
from decks.cards.settings import DeckSettings, new_deck_id
from decks.cli import cli
from decks.memory.answers import EVERY_MOTIF, CardItem, Strand
from decks.memory.progress import OfTier, Progress, Rate, progress_of
from decks.memory.strands import Showing, state_of
from decks.scorebook.book import Scorebook
from decks.scorebook.ledger import Counted, Tally
from decks.telling.progress_told import progress_lines, rate_in_words, strand_title, unmet_lines

FORK = Strand("fork", "play")


def test_a_rate_is_told_from_eight_answers_on_with_its_interval() -> None:
    assert rate_in_words(Rate(7, 7), 2) == "7 answers in tier 2, too few for a rate"
    assert rate_in_words(Rate(1, 1), 1) == "1 answer in tier 1, too few for a rate"
    assert rate_in_words(Rate(7, 10), 2) == "7 of the last 10 right (tier 2), so 44 to 87 %"
    assert Rate(0, 8).interval == pytest.approx((0.0, 0.2527), abs=1e-4)
    assert Rate(8, 8).interval == pytest.approx((0.7473, 1.0), abs=1e-4)


def in_tier(day: int, right: bool, tier: int) -> Showing:
    return replace(a_showing(day, "found" if right else "missed"), tier=tier)


def test_answers_in_other_tiers_lookalikes_and_seen_positions_are_not_pooled() -> None:
    log = [
        a_showing(0, None),
        *(in_tier(day, True, 1) for day in range(1, 5)),
        *(in_tier(day, day % 2 == 0, 2) for day in range(5, 17)),
        replace(in_tier(17, True, 2), lookalike=True),
        replace(in_tier(18, True, 2), fresh=False),
    ]
    state = state_of(log)
    progress = progress_of(state)
    assert progress == Progress((OfTier(2, Rate(5, 10)),), (OfTier(2, Rate(1, 1)),))
    assert state.tiers == ((log[0].day, 1), (log[4].day, 2))
    earlier = progress_of(state_of([*log, in_tier(19, False, 1)]))
    assert earlier.real == ((1, Rate(4, 5)), (2, Rate(5, 10)))


def test_a_strand_that_was_only_shown_worked_has_no_answers() -> None:
    worked = state_of([a_showing(0, None)])
    assert progress_of(worked) == Progress((OfTier(1, Rate(0, 0)),), ())
    assert (worked.worked, worked.tiers) == (1, ((DAY, 1),))


@pytest.mark.parametrize(
    ("tiers", "told"),
    [
        ("2" * 9, "9 of the last 9 right (tier 2), so 77 to 100 %"),
        (
            "2" * 9 + "3",
            "9 of the last 9 right (tier 2), so 77 to 100 %; 1 answer in tier 3, too few for a rate",
        ),
        ("2" * 9 + "3" * 8, "8 of the last 8 right (tier 3), so 75 to 100 %"),
        ("1112", "1 answer in tier 2, too few for a rate"),
        (
            "1" * 8 + "22223",
            "8 of the last 8 right (tier 1), so 75 to 100 %; 1 answer in tier 3, too few for a rate",
        ),
        (
            "2" * 8 + "1" * 8 + "3",
            "8 of the last 8 right (tier 1), so 75 to 100 %; 1 answer in tier 3, too few for a rate",
        ),
    ],
)
def test_while_the_newest_tier_has_no_rate_the_one_before_it_is_told_too(tiers: str, told: str) -> None:
    asked = [in_tier(day, True, int(tier)) for day, tier in enumerate(tiers)]
    last = asked[-1].day
    assert f"  at first sight: {told}" in progress_lines(FORK, state_of(asked), 3, last, last)
    seeming = state_of(replace(each, lookalike=True) for each in asked)
    assert f"  lookalikes: {told}" in progress_lines(FORK, seeming, 3, last, last)


def test_progress_in_words() -> None:
    state = state_of(in_tier(day, False, 1) for day in range(8))
    day, later = DAY + timedelta(days=7), DAY + timedelta(days=20)
    assert "  0 new positions left; waits for more" in progress_lines(FORK, state, 0, None, day)
    seen = "  0 new positions left; returns in 13 days (2031-05-25), in a position that was seen"
    assert seen in progress_lines(FORK, state, 0, later, day)
    assert progress_lines(FORK, state, 3, day, day) == [
        "Fork: move",
        f"  tier 1 from {DAY}",
        "  at first sight: 0 of the last 8 right (tier 1), so 0 to 25 %",
        "  3 new positions left; returns today",
        f"  stuck since {DAY + timedelta(days=7)}: a coach should look at it",
    ]
    assert strand_title(Strand(EVERY_MOTIF, "assess")) == "stock-taking"


GAMES = Counted(
    white=12,
    black=8,
    tallies={
        ("", "fork"): Tally(let_slip=3, let_in=2, cost=1.5),
        ("", "back-rank"): Tally(let_in=4, cost=2.0),
        ("", None): Tally(unnamed=9, cost=3.0),
    },
)


def test_what_a_motif_cost_in_own_games_is_told_beside_it_from_five_cases_on() -> None:
    state = state_of([in_tier(0, True, 1)])
    told = "in your own games: 7.5 points lost in a hundred, from 5 cases in 20 games"
    assert f"  {told}" in progress_lines(FORK, state, 3, DAY, DAY, GAMES)
    back_rank = Strand("back-rank", "play")
    assert not any("own games" in line for line in progress_lines(back_rank, state, 3, DAY, DAY, GAMES))
    assert unmet_lines({"fork", "back-rank"}, GAMES) == [f"fork, not met yet: {told}"]


@pytest.fixture
def deck(tmp_path: Path, own_scorebook: Path) -> Deck:
    """Eight cards with a motif, of which one was answered, and one without, which was answered too."""
    tasks = [a_rook_check(number) for number in range(9)]
    new_deck(tmp_path / "rooks", DeckSettings(new_deck_id(), "Saltmarsh rooks"))
    cards = [*(task.card for task in tasks[:8]), replace(tasks[8].card, motifs=())]
    verdicts = [found for task in tasks for found in task.verdicts.values()]
    add_cards(tmp_path / "rooks", [CardEntry(card) for card in cards], verdicts)
    deck = Deck.open(tmp_path / "rooks")
    with Scorebook.open(own_scorebook) as book:
        assert book.student() == 1
        book.register_deck(deck.settings.deck, deck.settings.title, str(deck.folder))
        strand = Strand("back-rank", "play")
        for number, (card, item) in enumerate(
            [(cards[0], strand), (cards[8], CardItem(deck.settings.deck, "rook-8", "play"))]
        ):
            answer = an_answer(number, card=card.card_id)
            about = {"deck": deck.settings.deck, "item": str(item), "fen": card.fen, "tier": 2}
            book.save_answer(replace(answer, **about))  # type: ignore[arg-type]
    return deck


def run(*arguments: str) -> str:
    result = CliRunner().invoke(cli, arguments)
    assert (result.exit_code, result.stderr) == (0, "")
    return result.stdout


def test_the_progress_of_every_strand_is_shown(deck: Deck) -> None:
    said = run("progress")
    assert said.startswith("Weak back rank: move\n  tier 1 from 2031-05-05\n")
    assert "1 answer in tier 2, too few for a rate\n" in said
    assert json.loads(run("progress", "--deck", str(deck.folder), "--json"))["strands"] == [
        {
            "motif": "back-rank",
            "ask": "play",
            "tier": 1,
            "tiers": [{"from": "2031-05-05", "tier": 1}],
            "first_sight": [{"tier": 2, "right": 1, "asked": 1, "interval": None}],
            "lookalikes": [],
            "unseen": 8,
            "own_games": {"games": 0, "cases": 0, "cost_per_hundred": None},
            "returns": "2031-05-12",
            "stuck_since": None,
        }
    ]


def test_damaged_strands_are_worked_out_again(deck: Deck, own_scorebook: Path) -> None:
    before = run("progress")
    with sqlite3.connect(own_scorebook) as db:
        db.execute("UPDATE strands SET state = replace(state, '[2, false, true]', '[2, false]')")
    result = CliRunner().invoke(cli, ["progress"])
    assert (result.exit_code, result.stdout) == (0, before)
    assert "they are computed again from the log" in result.stderr
    assert run("progress") == before


def test_what_returns_when_is_listed_by_day(deck: Deck) -> None:
    assert run("due") == (
        "in 2 days (2031-05-07): card rook-8\nin 7 days (2031-05-12): weak back rank: move\n"
    )
    assert json.loads(run("due", "--json"))["returns"] == [
        {"day": "2031-05-07", "deck": deck.settings.deck, "card": "rook-8"},
        {"day": "2031-05-12", "motif": "back-rank", "ask": "play"},
    ]


def test_a_deck_that_is_no_longer_there_hides_no_progress(deck: Deck, tmp_path: Path) -> None:
    told = run("progress").splitlines()
    deck.folder.rename(tmp_path / "elsewhere")
    for command in ("progress", "due"):
        result = CliRunner().invoke(cli, [command])
        assert result.exit_code == 0
        assert result.stderr == f"{deck.folder}: the deck is no longer here: use --deck DIR\n"
        if command == "progress":
            assert result.stdout.splitlines() == [*told[:3], "  returns in 7 days (2031-05-12)"]
    assert CliRunner().invoke(cli, ["today"]).exit_code == 1


def test_cards_learned_by_heart_are_not_passed_over(own_scorebook: Path) -> None:
    with Scorebook.open(own_scorebook) as book:
        book.student()
        book.register_deck(DECK, "", "")
        book.save_answer(an_answer(1))
        book.save_answer(an_answer(2, ask="spot"))
    told = "no motif has been met yet, but 1 card: `rondeau due` tells what returns when\n"
    assert run("progress") == told


def test_before_anything_is_met_there_is_nothing_to_tell() -> None:
    for command, said in (("progress", "no motif has been met yet\n"), ("due", "nothing has been met yet\n")):
        result = CliRunner().invoke(cli, [command])
        assert (result.exit_code, result.stdout) == (0, said)
