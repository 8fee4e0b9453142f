"""Contested moves: what is decided for one student holds for all, through the commands and by rule."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from made_tasks import black_to_move, doubled_rooks

from decks.cards.cards_file import CardEntry
from decks.cards.deck import Deck, add_cards, new_deck
from decks.cards.settings import DeckSettings, new_deck_id
from decks.cli import cli
from decks.memory.answers import LOOKED_AT_AGAIN, Settled
from decks.review.rulings import SettledMoves
from decks.scorebook.book import Scorebook
from decks.tasks.card import Grade
from decks.tasks.task import Ruling, Task

MOMENT = datetime(2031, 5, 2, 19, tzinfo=UTC)
ANNA, TOM = "Anna Wren", "Tom Reed"


def run(*arguments: str | Path, stdin: str = "") -> Result:
    return CliRunner().invoke(cli, [str(argument) for argument in arguments], input=stdin)


@pytest.fixture(autouse=True)
def no_engine(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RONDEAU_ENGINE", "/no/such/engine")


def a_deck(folder: Path, task: Task) -> Path:
    new_deck(folder, DeckSettings(new_deck_id(), "Saltmarsh rooks", by_heart=True))
    add_cards(folder, [CardEntry(replace(task.card, asks=("play",)))], task.verdicts.values())
    return folder


@pytest.fixture
def rooks(tmp_path: Path) -> Path:
    """A deck of one card, whose key is 30... Rd1+; every other move fails by its verdicts."""
    return a_deck(tmp_path / "rooks", black_to_move("play"))


def plays(student: str, deck: Path, typed: str) -> str:
    run("students", "--add", student)
    said = run("today", "--plain", "--deck", deck, "--student", student, "--minutes", "5", stdin=typed)
    assert said.exit_code == 0, said.stderr
    return said.stdout


def decide(option: str, *more: str) -> None:
    (dispute,) = json.loads(run("disputes", "--json").stdout)["disputes"]
    assert run("disputes", option, str(dispute["dispute"]), *more).exit_code == 0


def grades(book: Path) -> dict[str, Grade]:
    """The grade of each student's last answer. Every stored memory must follow from the log."""
    with Scorebook.open(book) as opened:
        assert opened.replay() == []
        names = opened.students()
        return {names[number]: opened.answers(number)[-1].grade for number in names}


def test_a_move_that_the_coach_accepts_is_right_for_the_next_student(
    rooks: Path, own_scorebook: Path
) -> None:
    assert "Move: missed" in plays(ANNA, rooks, "Rd3\ncontest\nyes\n\n")
    decide("--accept", "--reason", "it keeps the file too")
    said = plays(TOM, rooks, "Rd3\n\n")
    assert "Move: found" in said
    assert "30... Rd3 isn't in the card's line, but it was contested before and accepted" in said
    assert grades(own_scorebook) == {ANNA: "found", TOM: "found"}


def test_only_that_move_is_accepted(rooks: Path) -> None:
    plays(ANNA, rooks, "Rd3\ncontest\nyes\n\n")
    decide("--accept")
    assert "Move: missed" in plays(TOM, rooks, "Rd4\n\n")


def test_a_move_that_the_coach_refuses_stays_refused_and_is_told_why(
    rooks: Path, own_scorebook: Path
) -> None:
    plays(ANNA, rooks, "Rd3\ncontest\nyes\n\n")
    decide("--refuse")
    said = plays(TOM, rooks, "Rd3\n\n")
    assert "30... Rd3 fails: after 31. Kh1 Black is worse" in said
    assert "It was contested before, and the coach agrees." in " ".join(said.split())
    assert grades(own_scorebook) == {ANNA: "missed", TOM: "missed"}


def test_a_refused_move_stays_refused_where_new_verdicts_let_it_hold(
    rooks: Path, own_scorebook: Path
) -> None:
    plays(ANNA, rooks, "Rd3\ncontest\nyes\n\n")
    decide("--refuse")
    verdicts = rooks / "verdicts.jsonl"
    position = json.loads(verdicts.read_text())
    position["moves"]["d8d3"]["score"] = 1.0
    verdicts.write_text(json.dumps(position) + "\n")
    said = plays(TOM, rooks, "Rd3\n\n")
    assert "30... Rd3 fails: so it was decided when it was contested before." in said
    (note,) = checked(rooks)
    assert note["message"] == (
        f"30... Rd3 was contested, and since {datetime.now(UTC).date()} it fails (refused by the coach), "
        f"but by the verdicts it holds: it loses nothing"
    )


def test_the_decision_is_shown_with_the_card_and_noted_by_check(rooks: Path) -> None:
    assert checked(rooks) == []
    plays(ANNA, rooks, "Rd3\ncontest\nyes\n\n")
    decide("--accept", "--reason", "it keeps the file\x1b too")
    today = datetime.now(UTC).date()
    shown = run("show", "rook-check", "--student", ANNA).stdout
    line = f"Contested, and decided on {today}: 30... Rd3 holds (it keeps the file\ufffd too)"
    assert line in shown.splitlines()
    (note,) = checked(rooks)
    assert (note["file"], note["card"]) == ("cards.pgn", "rook-check")
    assert str(note["message"]).startswith(f"30... Rd3 was contested, and since {today} it holds (it keeps")
    assert str(note["message"]).endswith("but by the verdicts it fails: it loses .70 against Rd1+")


def checked(deck: Path) -> list[dict[str, object]]:
    """The notes of a check that has no need of an engine."""
    result = run("check", deck, "--engine", "true", "--json")
    assert result.exit_code == 0, result.output
    return [note for note in json.loads(result.stdout)["notes"] if "contested" in note["message"]]


# By rule


def settled(grade: Grade, *, by: str = "accepted by the coach", minute: int = 0, **changes: Any) -> Settled:
    card = black_to_move().card
    claim = Settled(
        deck="rooks",
        card_id=card.card_id,
        ask="play",
        fen=card.fen,
        key_version=card.key_version,
        raw='["d8d3"]',
        hints=0,
        claimed="found",
        grade=grade,
        reason=by,
        time=MOMENT + timedelta(minutes=minute),
    )
    return replace(claim, **changes)


ENGINE = f"{LOOKED_AT_AGAIN}Stockfish 15.1, 16 plies: it holds."
THE_CARD = black_to_move("play")


def on(*claims: Settled, task: Task = THE_CARD, **scores: float) -> dict[str, str]:
    """The quality by move that these claims give the first position of a card; `scores`: other verdicts."""
    verdicts = dict(task.verdicts)
    for epd, position in verdicts.items():
        changed = {move: replace(position.moves[move], score=score) for move, score in scores.items()}
        verdicts[epd] = replace(position, moves={**position.moves, **changed})
    found = SettledMoves(claims).on("rooks", task.card, verdicts)
    return {move: ruling.quality for move, ruling in found.get(0, {}).items()}


def test_a_ruling_keeps_the_reason_and_the_day() -> None:
    rulings = SettledMoves([settled("found")]).on("rooks", THE_CARD.card, THE_CARD.verdicts)
    assert rulings == {0: {"d8d3": Ruling("holds", "accepted by the coach", date(2031, 5, 2))}}


@pytest.mark.parametrize(
    ("grade", "quality"),
    [("missed", "fails"), ("partly", "slips"), ("found", "holds"), ("helped", "holds")],
)
def test_the_grade_that_was_decided_says_what_the_move_is(grade: Grade, quality: str) -> None:
    assert on(settled(grade)) == {"d8d3": quality}


def test_the_last_decision_of_the_coach_counts() -> None:
    assert on(settled("found"), settled("missed", minute=1)) == {"d8d3": "fails"}
    assert on(settled("missed"), settled("found", minute=1)) == {"d8d3": "holds"}


def test_an_engine_mends_but_never_refuses_and_never_overrules_the_coach() -> None:
    assert on(settled("found", by=ENGINE)) == {"d8d3": "holds"}
    assert on(settled("partly", by=ENGINE)) == {"d8d3": "slips"}
    assert on(settled("missed", by=ENGINE)) == {}
    assert on(settled("missed", by=ENGINE), d8d3=1.0) == {}
    assert on(settled("missed"), settled("found", by=ENGINE, minute=1)) == {"d8d3": "fails"}
    assert on(settled("found", by=ENGINE), settled("missed", minute=1)) == {"d8d3": "fails"}


def test_an_engines_decision_after_a_hint_says_nothing_of_the_move() -> None:
    assert on(settled("helped", by=ENGINE, hints=1, claimed="helped")) == {}
    assert on(settled("helped", hints=1, claimed="helped")) == {"d8d3": "holds"}


def test_a_mark_in_the_deck_gives_way_to_the_coachs_decision_but_not_to_the_engines() -> None:
    marked = replace(THE_CARD, card=replace(THE_CARD.card, marks={0: {"d8d3": False}}))
    assert on(settled("found"), task=marked, d8d3=1.0) == {"d8d3": "holds"}
    assert on(settled("found", by=ENGINE), task=marked, d8d3=1.0) == {}


def test_where_the_deck_accepts_the_move_anyway_nothing_is_added() -> None:
    assert on(settled("found"), d8d3=1.0) == {}


@pytest.mark.parametrize(
    "change",
    [{"deck": "other"}, {"card_id": "other"}, {"ask": "spot"}, {"fen": "other"}, {"raw": "[]"}],
    ids=str,
)
def test_a_decision_on_something_else_changes_nothing(change: dict[str, Any]) -> None:
    assert on(settled("found", **change)) == {}


def test_a_later_move_counts_while_the_line_is_the_same() -> None:
    task = doubled_rooks("play")
    card = task.card
    claim = settled(
        "found",
        card_id=card.card_id,
        fen=card.fen,
        key_version=card.key_version,
        raw='["d2d8", "h2h4"]',
    )
    rulings = SettledMoves([claim]).on("rooks", card, task.verdicts)
    assert {place: set(moves) for place, moves in rulings.items()} == {1: {"h2h4"}}
    other = replace(claim, key_version="0123456789ab")
    assert SettledMoves([other]).on("rooks", card, task.verdicts) == {}
    first = replace(other, raw='["h2h4"]')
    assert set(SettledMoves([first]).on("rooks", card, task.verdicts)) == {0}


# From the log


def test_a_claim_that_was_taken_back_or_not_decided_settles_nothing(rooks: Path, own_scorebook: Path) -> None:
    plays(ANNA, rooks, "Rd3\ncontest\nyes\n\n")
    with Scorebook.open(own_scorebook) as book:
        ((claim, answer),) = book.disputes()
        assert book.settled() == []
        book.correct(answer.answer_id, "found", "by hand", claim.time - timedelta(minutes=1))
        assert book.settled() == []
        book.withdraw(claim.contest_id, claim.time)
        book.correct(answer.answer_id, "found", "by hand", claim.time + timedelta(minutes=1))
        assert book.settled() == []


def test_a_decision_on_an_answer_that_is_voided_later_still_holds(rooks: Path, own_scorebook: Path) -> None:
    plays(ANNA, rooks, "Rd3\ncontest\nyes\n\n")
    decide("--accept")
    with Scorebook.open(own_scorebook) as book:
        (answer,) = book.answers(1)
        book.void([answer.answer_id], "wrong date", datetime.now(UTC) + timedelta(minutes=1))
        assert [each.grade for each in book.settled()] == ["found"]
        book.unvoid([answer.answer_id], "right date", datetime.now(UTC) + timedelta(minutes=2))
        assert [each.grade for each in book.settled()] == ["found"]
    assert "Move: found" in plays(TOM, rooks, "Rd3\n\n")


def test_a_deck_without_contests_has_no_rulings(rooks: Path) -> None:
    deck = Deck.open(rooks)
    assert SettledMoves([]).on(deck.settings.deck, deck.cards[0], deck.verdicts) == {}
