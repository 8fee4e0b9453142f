"""`rondeau today` as it is called: whose cards, from which deck, with which exit status."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from made_answers import DECK, an_answer
from made_tasks import black_to_move

from decks.cards.cards_file import CardEntry
from decks.cards.deck import add_cards, new_deck
from decks.cards.settings import DeckSettings, new_deck_id
from decks.cli import cli
from decks.memory.answers import Display
from decks.memory.day import USUAL_MINUTES
from decks.scorebook.book import Scorebook

ROOT = Path(__file__).resolve().parent.parent


def run(*arguments: str | Path, stdin: str = "") -> Result:
    return CliRunner().invoke(cli, [str(argument) for argument in arguments], input=stdin)


@pytest.fixture
def deck(tmp_path: Path) -> Path:
    """A deck of one card to know by heart, which asks for a rook check."""
    folder, task = tmp_path / "rooks", black_to_move("play")
    new_deck(folder, DeckSettings(new_deck_id(), "Saltmarsh rooks", by_heart=True))
    add_cards(folder, [CardEntry(task.card)], task.verdicts.values())
    return folder


def test_a_card_is_asked_and_the_answer_kept(deck: Path, own_scorebook: Path) -> None:
    result = run("today", "--deck", deck, stdin="Rd1\n\n")
    assert (result.exit_code, result.stderr) == (0, "")
    assert "1 card" in result.stdout
    assert "   h g f e d c b a\n" in result.stdout  # Black is asked and sits below
    with Scorebook.open(own_scorebook) as book:
        (answer,) = book.answers(book.student())
    assert (answer.ask, answer.grade, answer.score) == ("play", "found", 1.0)
    again = run("today")
    assert again.exit_code == 0
    assert again.stdout.startswith("Nothing returns today.\n1 card returns in ")


def test_what_was_answered_on_paper_is_kept_as_such_and_tells_no_usual_time(
    deck: Path, own_scorebook: Path
) -> None:
    assert run("today", "--deck", deck, "--on-paper", stdin="Rd1\n\n").exit_code == 2
    assert run("today", "--plain", "--on-paper", "--deck", deck, stdin="Rd1\n\n").exit_code == 0
    with Scorebook.open(own_scorebook) as book:
        (answer,) = book.answers(book.student())
        (display,) = (each for each in book.log_of(1) if isinstance(each, Display))
        assert (answer.on_paper, answer.grade, display.how) == (True, "found", "on paper")
        assert book.own_times(1, "play") == []


def test_a_student_is_named_by_name_or_number_and_must_be_known(deck: Path, own_scorebook: Path) -> None:
    run("students", "--add", "Wren Saltmarsh", "--add", "Tom Reed")
    run("today", "--deck", deck, "--student", "2", stdin="Rd1\n\n")
    run("today", "--deck", deck, "--student", "WREN  saltmarsh", stdin="Rd1\n\n")
    result = run("today", "--deck", deck, "--student", "Tim Reed", stdin="Rd1\n\n")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "no student 'Tim Reed'" in result.stderr
    with Scorebook.open(own_scorebook) as book:
        assert list(book.students().values()) == ["Wren Saltmarsh", "Tom Reed"]
        assert [len(book.answers(number)) for number in (1, 2)] == [1, 1]


def test_bytes_that_are_not_text_are_not_a_move(deck: Path, own_scorebook: Path) -> None:
    command = [sys.executable, "-m", "decks.start", "today", "--deck", str(deck)]
    utf8 = {**os.environ, "PYTHONIOENCODING": "utf-8:strict"}
    shown = subprocess.run(command, cwd=ROOT, env=utf8, input=b"\xff\nRd1\n\n", capture_output=True)
    assert (shown.returncode, shown.stderr) == (0, b"")
    assert "'\ufffd' is not a move" in shown.stdout.decode()
    with Scorebook.open(own_scorebook) as book:
        assert len(book.answers(book.student())) == 1


def test_a_deck_that_is_not_there_is_status_1(tmp_path: Path) -> None:
    result = run("today", "--deck", tmp_path / "nothing")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == f"Error: {tmp_path}/nothing: no such folder\n"
    (tmp_path / "nothing").touch()
    result = run("today", "--deck", tmp_path / "nothing")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == f"Error: {tmp_path}/nothing: this is a file, not a folder\n"


def test_given_minutes_extend_a_day_whose_minutes_are_used(deck: Path, own_scorebook: Path) -> None:
    with Scorebook.open(own_scorebook) as book:
        book.register_deck(DECK, "", "")
        book.save_answer(replace(an_answer(1, seconds=900), student=book.student(), study_day=date.today()))
    done = run("today", "--deck", deck, stdin="Rd1\n\n")
    assert (done.exit_code, done.stderr) == (0, "")
    assert done.stdout == ("Today's 15 minutes are done.\nTo go on today: `--minutes M` adds M minutes.\n")
    assert "1 card today." in run("today", "--deck", deck, "--minutes", "5", stdin="Rd1\n\n").stdout


def test_the_help_names_the_minutes_of_a_day() -> None:
    assert f"today's {USUAL_MINUTES:.0f}." in " ".join(run("today", "--help").stdout.split())


@pytest.mark.parametrize("minutes", ["0", "-1", "soon"])
def test_minutes_are_a_number_above_0(minutes: str) -> None:
    assert run("today", "--minutes", minutes).exit_code == 2
