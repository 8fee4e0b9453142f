"""`rondeau prepare`: the plan day by day, and days that follow it."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from made_tasks import a_rook_check

from decks.cards.cards_file import CardEntry
from decks.cards.deck import Deck, add_cards, new_deck
from decks.cards.settings import DeckSettings, new_deck_id
from decks.cli import cli
from decks.commands.prepare import planned
from decks.course import Course
from decks.memory.day import day_ahead
from decks.memory.minutes import CardStep, StrandStep
from decks.preparing import Event, Leaning, event_ahead
from decks.scorebook.book import Scorebook, ScorebookError
from decks.shelf.shelved import ShelvedDeck
from decks.tasks.card import MotifTag

NOW = datetime(2031, 5, 2, 19, tzinfo=UTC)


@pytest.fixture
def deck(tmp_path: Path) -> Deck:
    """Eight cards with a weak back rank, eight forks, and six fixed cards."""
    folder = tmp_path / "rooks"
    new_deck(folder, DeckSettings(new_deck_id(), "Saltmarsh rooks"))
    tasks = [a_rook_check(number) for number in range(22)]
    tags = [(MotifTag("back-rank", "black"),)] * 8 + [(MotifTag("fork", "black"),)] * 8 + [()] * 6
    cards = [replace(task.card, motifs=motifs) for task, motifs in zip(tasks, tags, strict=True)]
    add_cards(
        folder, [CardEntry(card) for card in cards], [v for task in tasks for v in task.verdicts.values()]
    )
    return Deck.open(folder)


def run(*arguments: object) -> Result:
    return CliRunner().invoke(cli, list(map(str, arguments)))


def in_days(days: int) -> date:
    return date.today() + timedelta(days=days)


def test_a_plan_tells_every_day_what_it_covers_and_what_is_lacking(deck: Deck, own_scorebook: Path) -> None:
    result = run("prepare", "--event", in_days(5), "--minutes", 10, "--deck", deck.folder)
    assert (result.exit_code, result.stderr) == (0, "")
    head, *lines = result.stdout.splitlines()
    assert head == f"5 days up to {in_days(5)}, 10 minutes each, if every answer is right:"
    covered = next(number for number, line in enumerate(lines) if line.startswith("Covered"))
    dated = [line for line in lines[:covered] if not line.startswith(" ")]
    assert [line.partition("  ##")[0] for line in dated] == [str(in_days(number)) for number in range(5)]
    assert " cards" in "".join(lines[: lines.index(dated[1])])
    assert lines[covered].startswith("Covered, with positions: weak back rank: move (")
    assert max(map(len, lines[:covered])) <= 80
    assert any(line.startswith("More positions would help: ") for line in lines)
    assert f"`rondeau build {deck.folder} --from GAMES.pgn --motif " in result.stdout
    assert "Motifs count alike, because no game of yours has been traced." in result.stdout


def test_the_plan_as_json_and_in_the_scorebook(deck: Deck, own_scorebook: Path) -> None:
    told = json.loads(run("prepare", "--event", in_days(3), "--deck", deck.folder, "--json").stdout)
    assert (told["event"], told["minutes"], told["weights"]) == (str(in_days(3)), 15, {})
    assert [day["day"] for day in told["days"]] == [str(in_days(number)) for number in range(3)]
    assert all(day["minutes"] <= 15 + 2 for day in told["days"])
    with Scorebook.open(own_scorebook) as book:
        assert event_ahead(book, book.student(), date.today()) == Event(in_days(3), 15, {})
        assert event_ahead(book, book.student(), in_days(3)) is None
    stopped = run("prepare", "--event", in_days(3), "--deck", deck.folder, "--stop").stdout
    assert stopped == f"the plan for {in_days(3)} is no longer followed\n"
    for day in (2, 3):  # there is none, and there is none any more
        again = run("prepare", "--event", in_days(day), "--deck", deck.folder, "--stop")
        assert (again.exit_code, again.stderr) == (1, f"Error: there is no plan for {in_days(day)}\n")
    with Scorebook.open(own_scorebook) as book:
        assert event_ahead(book, book.student(), date.today()) is None


@pytest.mark.parametrize("days", [0, -1, 367])
def test_an_event_is_one_day_to_a_year_away(days: int, deck: Deck) -> None:
    result = run("prepare", "--event", in_days(days), "--deck", deck.folder)
    assert result.exit_code == 2
    assert f"{in_days(days)} is not 1 to 366 days away" in result.stderr


def a_course(book: Scorebook, deck: Deck, event: Event | None) -> Course:
    student = book.student()
    book.register_deck(deck.settings.deck, "", "")
    ahead = day_ahead(book.study_days(student), NOW)
    return Course.begin([ShelvedDeck.of(deck)], book, student, ahead, NOW, lambda: NOW, print, event=event)


def test_before_an_event_fixed_cards_take_a_third_and_the_dearest_motif_comes_first(
    deck: Deck, own_scorebook: Path
) -> None:
    with Scorebook.open(own_scorebook) as book:
        usual = a_course(book, deck, None)
        event = Event(NOW.date() + timedelta(days=10), 15, {"back-rank": 0.5, "fork": 2.0})
        before = a_course(book, deck, event)
        first = next(step for step in before.steps if isinstance(step, StrandStep))
        cards = [step for step in before.steps if isinstance(step, CardStep)]
        assert first.strand.motif == "fork"
        assert next(step for step in usual.steps if isinstance(step, StrandStep)).strand.motif == "back-rank"
        assert 0 < sum(step.seconds for step in cards[:-1]) < 5 * 60
        assert before.tasks[0].items  # every step can be asked


@pytest.mark.parametrize("motifs", [("fork", "back-rank"), ("back-rank", "fork")])
def test_positions_are_asked_first_for_the_motifs_that_weigh_most(
    motifs: tuple[str, str], deck: Deck, own_scorebook: Path
) -> None:
    leaning = Leaning(dict(zip(motifs, (2.0, 0.5), strict=True)), 10)
    event_day = NOW.date() + timedelta(days=10)
    with Scorebook.open(own_scorebook) as book:
        plan = planned(book, [ShelvedDeck.of(deck)], book.student(), event_day, 15, leaning, NOW)
    assert {strand.motif for strand in plan.lacking} == {*motifs}
    assert plan.feeds.endswith(" --motif {} --motif {}".format(*motifs))


def test_today_follows_the_plan_and_its_minutes(deck: Deck, own_scorebook: Path) -> None:
    run("prepare", "--event", in_days(9), "--minutes", 3, "--deck", deck.folder)
    assert "4 cards today." in run("today", "--plain", "--deck", deck.folder).stdout


def test_a_damaged_plan_is_told_in_one_line(own_scorebook: Path) -> None:
    with Scorebook.open(own_scorebook) as book:
        book.save_preparation(book.student(), date(2031, 6, 1), '{"minutes": "many"}', NOW)
        with pytest.raises(ScorebookError, match="the preparation for 2031-06-01 is damaged"):
            event_ahead(book, book.student(), NOW.date())


def test_of_several_events_the_next_counts_and_of_its_plans_the_newest(own_scorebook: Path) -> None:
    with Scorebook.open(own_scorebook) as book:
        student = book.student()
        for day, minutes in ((20, 20.0), (5, 10.0), (5, 12.0), (1, 5.0)):
            event = Event(NOW.date() + timedelta(days=day), minutes, {"fork": 1.5})
            book.save_preparation(student, event.day, event.written(), NOW)
        assert event_ahead(book, student, NOW.date() + timedelta(days=1)) == Event(
            NOW.date() + timedelta(days=5), 12.0, {"fork": 1.5}
        )
