"""Students through the commands: names, decks of their own, recall, results, logs handed in and collected."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from shlex import quote
from typing import Any
from uuid import uuid4

import pytest
from click.testing import CliRunner, Result
from made_answers import DECK, an_answer
from made_tasks import a_rook_check, black_to_move

from decks.cards.cards_file import CardEntry
from decks.cards.deck import Deck, add_cards, new_deck
from decks.cards.settings import DeckSettings, new_deck_id
from decks.cli import cli
from decks.scorebook.book import Scorebook
from decks.tasks.card import RecallStep
from decks.tasks.task import Task

ANNA, TOM = "Anna Wren", "Tom Reed"


def run(*arguments: str | Path, stdin: str = "") -> Result:
    return CliRunner().invoke(cli, [str(argument) for argument in arguments], input=stdin)


def said(*arguments: str | Path, stdin: str = "") -> str:
    result = run(*arguments, stdin=stdin)
    assert (result.exit_code, result.stderr) == (0, "")
    return result.stdout


def a_deck(folder: Path, task: Task, recall: RecallStep | None = None, by_heart: bool = True) -> Path:
    new_deck(folder, DeckSettings(new_deck_id(), folder.name, recall=recall, by_heart=by_heart))
    add_cards(folder, [CardEntry(replace(task.card, asks=("play",)))], task.verdicts.values())
    return folder


@pytest.fixture(autouse=True)
def both(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RONDEAU_ENGINE", "/no/such/engine")
    said("students", "--add", ANNA, "--add", TOM)


@pytest.fixture
def rooks(tmp_path: Path) -> Path:
    return a_deck(tmp_path / "rooks", black_to_move("play"))


def students() -> dict[str, dict[str, Any]]:
    found = json.loads(said("students", "--json"))["students"]
    return {each["name"]: each for each in found}


# Names


def test_a_renamed_student_keeps_the_log_and_the_number(rooks: Path) -> None:
    said("today", "--plain", "--deck", rooks, "--student", ANNA, stdin="Rd1\n\n")
    assert said("students", "--rename", f"{ANNA}=Anna  Marsh") == "   1  Anna Marsh\n   2  Tom Reed\n"
    assert "30... Rd1+" in said("show", "rook-check", "--student", "anna marsh")
    assert run("today", "--student", ANNA).exit_code == 2


@pytest.mark.parametrize(
    ("given", "status", "message"),
    [
        (f"{ANNA}={TOM}", 1, "another student is called 'Tom Reed'"),
        (f"{ANNA}= ", 2, "is not the name of a student"),
        ("Nobody=Anna", 2, "is not the name of a student"),
        (ANNA, 2, "is not the name of a student"),
    ],
)
def test_a_name_that_cannot_be_given_changes_nothing(given: str, status: int, message: str) -> None:
    result = run("students", "--rename", given)
    assert result.exit_code == status
    assert message in " ".join(result.stderr.split())
    assert [*students()] == [ANNA, TOM]


def test_a_student_may_change_the_spelling_of_the_own_name() -> None:
    assert "Anna WREN" in said("students", "--rename", f"{ANNA}=Anna WREN")


def test_a_retired_student_is_asked_nothing_until_back_again(rooks: Path) -> None:
    assert "   2  Tom Reed (retired)" in said("students", "--retire", "tom reed")
    for command in (("today", "--plain"), ("prepare", "--event", "2099-01-01")):
        result = run(*command, "--student", TOM, "--deck", rooks)
        assert result.exit_code == 2
        assert "Tom Reed has retired" in " ".join(result.stderr.split())
    assert TOM not in said("students", "--results")
    assert students()[TOM]["retired"] is True
    said("students", "--back", TOM)
    assert "Move: found" in said("today", "--plain", "--student", TOM, "--deck", rooks, stdin="Rd1\n\n")
    assert run("students", "--retire", "Nobody").exit_code == 2


@pytest.mark.parametrize("name", ["2", " 31 ", "Ida=Marsh"])
def test_a_name_that_would_be_misread_is_refused(name: str) -> None:
    for change in (("--add", name), ("--rename", f"{ANNA}={name}")):
        result = run("students", *change)
        assert (result.exit_code, "can't be a name" in result.stderr) == (1, True)
    assert list(students()) == [ANNA, TOM]


def test_an_alias_that_changes_hands_is_told_and_one_can_be_taken_back() -> None:
    alias = "Wren, A."
    said("students", "--alias", f"{ANNA}={alias}", "--alias", f"{ANNA}={alias}")
    result = run("students", "--alias", f"{TOM}={alias.upper()}")
    assert (result.exit_code, result.stderr) == (0, "WREN, A. is an alias of Anna Wren no longer\n")
    assert (students()[ANNA]["aliases"], students()[TOM]["aliases"]) == ([], ["WREN, A."])
    assert run("students", "--no-alias", f"{ANNA}={alias}").exit_code == 2
    said("students", "--no-alias", f"{TOM}={alias}")
    assert students()[TOM]["aliases"] == []


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        ("anna", ANNA),
        ("reed", TOM),
        ("tom reed", TOM),
        ("2", TOM),
        ("ree", TOM),
        ("eed", None),  # inside a word
        ("t", None),  # Tom and Ted
        ("Tom", TOM),
        ("te", "Ted Meadow"),
        ("me", None),  # somebody without a name, and not Ted Meadow
        ("", None),
    ],
)
def test_the_beginning_of_a_name_is_enough_if_it_fits_nobody_else(typed: str, name: str | None) -> None:
    said("students", "--add", "Ted Meadow")
    result = run("students", "--recall", f"{typed}=firm")
    assert result.exit_code == (0 if name else 2)
    assert [each for each, about in students().items() if about["recall"] == "firm"] == (
        [name] if name else []
    )
    asked = run("due", "--student", typed) if typed else result
    assert asked.exit_code == result.exit_code
    if typed and not name:
        assert "there are Anna Wren, Tom Reed and Ted Meadow" in " ".join(asked.stderr.split())


def test_who_gives_no_name_is_nobody_else(rooks: Path, tmp_path: Path) -> None:
    event = "--event", "2099-01-01"
    for command in (("today", "--plain"), ("due",), ("progress",), ("prepare", *event), ("hand-in", "a.log")):
        result = run(*command)
        assert (result.exit_code, result.stdout) == (2, "")
        assert f"this scorebook is of {ANNA} and {TOM}" in " ".join(result.stderr.split())
    said("students", "--add", "me")
    assert run("today", "--plain", "--deck", rooks).exit_code == 2  # a name alone is no practice
    said("today", "--plain", "--deck", rooks, "--student", "me", stdin="Rd1\n\n")
    assert "rook-check" in said("due")
    other = "--scorebook", tmp_path / "other.sqlite"
    said("students", "--add", ANNA, "--retire", ANNA, *other)
    assert said("progress", "--deck", rooks, *other) == "no motif has been met yet\n"


def test_what_is_to_be_typed_names_the_student(tmp_path: Path) -> None:
    own = a_deck(tmp_path / "own", black_to_move("play"))
    assert "\nTo see everything: rondeau show rook-check --student 'Anna Wren' --all\n" in said(
        "show", "rook-check", "--deck", own, "--student", "anna"
    )
    typed = "Rd3\ncontest\nyes\n\n"
    closing = said("today", "--plain", "--deck", own, "--student", ANNA, stdin=typed)
    assert "\nrondeau show rook-check --student 'Anna Wren': weak back rank" in closing
    said("students", "--deck", f"{ANNA}={own}")
    assert "(rondeau show rook-check --student 'Anna Wren' --all)" in said("disputes")
    assert "Move: missed (contested, waits for your coach)" in said("show", "rook-check", "--student", ANNA)


@pytest.mark.parametrize(
    "wrong",
    [
        ["--no-alias", f"{ANNA}=Wrong, Name"],
        ["--recall", f"{ANNA}=strong"],
        ["--retire", "Nobody"],
        ["--deck", f"{ANNA}=/no/such/deck"],
        ["--rename", f"{ANNA}={TOM}"],
    ],
)
def test_a_command_that_fails_changes_nothing(wrong: list[str], tmp_path: Path) -> None:
    own = a_deck(tmp_path / "own", a_rook_check(1))
    before = said("students", "--json")
    changes = ["--add", "Ida Marsh", "--alias", f"{ANNA}=Wren, A", "--deck", f"{TOM}={own}", "--back", TOM]
    assert run("students", *changes, *wrong).exit_code in (1, 2)
    assert said("students", "--json") == before


# Decks of their own


def test_a_deck_that_a_student_was_given_is_asked_of_nobody_else(tmp_path: Path, rooks: Path) -> None:
    own = a_deck(tmp_path / "own", a_rook_check(1))
    said("today", "--plain", "--deck", rooks, "--student", TOM, stdin="")
    assert "(own decks own)" in said("students", "--deck", f"{ANNA}={own}")
    assert students()[ANNA]["decks"] == [{"deck": Deck.open(own).settings.deck, "title": "own"}]
    assert "2 cards today." in said("today", "--plain", "--student", ANNA)
    assert "1 card today." in said("today", "--plain", "--student", TOM)
    assert run("show", "rook-1", "--student", TOM).exit_code == 1
    assert "rook-1" in said("show", "rook-1", "--student", ANNA)
    assert "rook-1" in said("show", "rook-1", "--student", TOM, "--deck", own)
    said("students", "--no-deck", f"{ANNA}={own}")
    assert "rook-1" in said("show", "rook-1", "--student", TOM)


def test_a_student_for_whom_there_is_no_deck_is_told_so(rooks: Path) -> None:
    said("today", "--plain", "--deck", rooks, "--student", TOM, stdin="Rd1\n\n")
    said("students", "--deck", f"{ANNA}={rooks}")
    event = str(date.today() + timedelta(days=9))
    for command in (["today", "--plain"], ["due"], ["progress"], ["prepare", "--event", event]):
        result = run(*command, "--deck", rooks, "--student", TOM)
        assert (result.exit_code, result.stdout) == (1, "")
        assert "this deck is Anna Wren's own: `rondeau students --deck` gives it to others" in result.stderr
    assert said("due", "--student", TOM) == "no deck here has what was met\n"
    result = run("today", "--plain", "--student", TOM)
    assert (result.exit_code, result.stdout) == (1, "")
    assert "every deck is another student's own" in result.stderr


def test_a_folder_without_a_deck_is_given_to_nobody(tmp_path: Path) -> None:
    result = run("students", "--deck", f"{ANNA}={tmp_path}")
    assert result.exit_code == 1
    assert students()[ANNA]["decks"] == []


# How firmly cards are remembered


@pytest.mark.parametrize(
    ("step", "of_deck", "target"),
    [("light", None, 0.80), ("firm", None, 0.95), ("usual", None, 0.90), ("light", "firm", 0.95)],
)
def test_the_students_step_counts_where_the_deck_says_none(
    step: str, of_deck: RecallStep | None, target: float, tmp_path: Path, own_scorebook: Path
) -> None:
    deck = a_deck(tmp_path / "deck", black_to_move("play"), of_deck)
    said("students", "--recall", f"{ANNA}={step}")
    said("today", "--plain", "--deck", deck, "--student", ANNA, stdin="Rd1\n\n")
    with Scorebook.open(own_scorebook) as book:
        (answer,) = book.answers(1)
        assert answer.target_recall == target
        assert book.replay() == []
    assert students()[ANNA]["recall"] == step


def test_a_firmer_step_brings_a_card_back_earlier(tmp_path: Path, own_scorebook: Path) -> None:
    deck = a_deck(tmp_path / "deck", black_to_move("play"))
    said("students", "--recall", f"{ANNA}=light", "--recall", f"{TOM}=firm")
    for student in (ANNA, TOM):
        said("today", "--plain", "--deck", deck, "--student", student, stdin="Rd1\n\n")
    with Scorebook.open(own_scorebook) as book:
        ((light,), (firm,)) = (book.memory_of(number).values() for number in (1, 2))
    assert firm.due < light.due


def test_a_step_of_another_name_is_refused() -> None:
    result = run("students", "--recall", f"{ANNA}=strong")
    assert result.exit_code == 2
    assert "a step is one of light, usual, firm" in " ".join(result.stderr.split())


# Results


def test_results_are_a_line_for_each_student(own_scorebook: Path) -> None:
    today = datetime.now().astimezone()
    with Scorebook.open(own_scorebook) as book:
        for number in range(12):
            when = today - timedelta(days=40 if number == 0 else (11 - number) // 4)
            answer = replace(
                an_answer(number, "found" if number % 2 else "missed", seconds=90),
                deck=None,
                item="motif:fork/play",
                tier=1 if number < 9 else 2,
                time=when,
                study_day=when.date(),
                answer_id=str(uuid4()),
            )
            book.save_answer(answer)
    heads, anna, tom, _, told = said("students", "--results").splitlines()
    assert words(heads) == "student days minutes a day tier 1 tier 2 tier 3 stuck on"
    assert words(anna) == "Anna Wren 3 6 4 of 8 3 asked - -"
    assert words(tom) == "Tom Reed 0 - - - - -"
    assert told.startswith("The last 28 days.")
    found = json.loads(said("students", "--results", "--json"))["students"][0]["results"]["first_sight"]
    assert (found["1"]["right"], found["2"]["interval"]) == (4, None)


def test_the_cards_on_which_a_student_is_stuck_are_listed_for_the_coach(own_scorebook: Path) -> None:
    with Scorebook.open(own_scorebook) as book:
        book.register_deck(DECK, "Saltmarsh files", "saltmarsh")
        for number in range(4):
            book.save_answer(an_answer(number, "missed", number, card="heron-rook"))
            book.save_answer(an_answer(10 + number, "missed" if number else "found", number, card="egret"))
    assert words(said("students", "--results").splitlines()[1]).endswith(" card heron-rook: move")
    found = json.loads(said("students", "--results", "--json"))["students"][0]["results"]["stuck"]
    assert found == [f"card:{DECK}/heron-rook/play"]


def words(line: str) -> str:
    return " ".join(line.split())


# Handing in and collecting


@pytest.fixture
def handed(rooks: Path, tmp_path: Path) -> Path:
    """Anna's log from her own computer, where she is called me, with a grade that she contests."""
    file, book = tmp_path / "anna.log", tmp_path / "annas.sqlite"
    typed = "Rd3\ncontest\nyes\n\n"
    said("today", "--plain", "--deck", rooks, "--scorebook", book, stdin=typed)
    assert said("hand-in", file, "--name", ANNA, "--scorebook", book) == f"1 answer of Anna Wren in {file}\n"
    return file


def test_a_log_is_collected_once_with_its_contests(handed: Path, own_scorebook: Path, rooks: Path) -> None:
    assert said("collect", handed) == f"{handed}: new of Anna Wren: 1 answer and 1 contest\n"
    assert said("collect", handed) == f"{handed}: new of Anna Wren: nothing\n"
    assert "Anna Wren: 'missed' should be 'found'" in said("disputes", "--deck", rooks)
    found = json.loads(said("collect", handed, handed, "--json"))["collected"]
    nothing = {"answers": 0, "displays": 0, "corrections": 0, "contests": 0}
    assert found == [{"file": str(handed), "student": ANNA, "new": nothing, "known": 3}] * 2
    with Scorebook.open(own_scorebook) as book:
        assert (len(book.answers(1)), len(book.answers(2)), book.replay()) == (1, 0, [])


def test_a_coach_without_a_deck_is_told_on_the_answers_collected(tmp_path: Path, own_scorebook: Path) -> None:
    deck = a_deck(tmp_path / "motifs", black_to_move("play"), by_heart=False)
    file, book = tmp_path / "anna.log", tmp_path / "annas.sqlite"
    said("today", "--plain", "--deck", deck, "--scorebook", book, stdin="Rd3\n\n")
    said("hand-in", file, "--name", ANNA, "--scorebook", book)
    said("collect", file)
    told = said("progress", "--student", ANNA)
    assert told.startswith("Weak back rank: move\n") and "new position" not in told
    (strand,) = json.loads(said("progress", "--student", ANNA, "--json"))["strands"]
    assert (strand["motif"], strand["unseen"]) == ("back-rank", None)
    assert said("due", "--student", ANNA) == "no deck here has what was met\n"
    assert said("due", "--student", TOM) == "nothing has been met yet\n"
    assert said("progress", "--student", TOM) == "no motif has been met yet\n"
    assert not own_scorebook.with_name("demo-scorebook.sqlite").exists()


def test_the_coachs_decision_travels_back(handed: Path, rooks: Path, tmp_path: Path) -> None:
    said("collect", handed)
    (dispute,) = json.loads(said("disputes", "--json"))["disputes"]
    said("disputes", "--accept", dispute["dispute"])
    back, annas = tmp_path / "back.log", tmp_path / "annas.sqlite"
    said("hand-in", back, "--student", ANNA)
    line = f"{back}: new of me: 1 correction\n"
    assert said("collect", back, "--student", "me", "--scorebook", annas) == line
    shown = said("show", "rook-check", "--deck", rooks, "--scorebook", annas)
    assert "Move: found" in shown
    assert "30... Rd3 holds (accepted by the coach)" in shown


def test_a_log_finds_its_student_by_an_alias_too(handed: Path) -> None:
    said("students", "--rename", f"{ANNA}=Anna Marsh", "--alias", f"Anna Marsh={ANNA}")
    assert "new of Anna Marsh" in said("collect", handed)


def test_a_file_that_does_not_fit_is_refused_with_the_others(handed: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.log"
    bad.write_bytes(handed.read_bytes()[:-3])
    stranger = tmp_path / "stranger.log"
    stranger.write_text(handed.read_text().replace(ANNA, "Ida Marsh"))
    lines = len(handed.read_text().splitlines())
    for file, message in ((bad, f"line {lines}: "), (stranger, "line 1: there is no student 'Ida Marsh'")):
        result = run("collect", handed, file)
        assert (result.exit_code, result.stdout) == (1, "")
        assert result.stderr.startswith(f"Error: {file}, {message}")
        assert result.stderr.count("\n") == 1
    assert "no disputes" in said("disputes")


@pytest.mark.parametrize(("days", "taken"), [(1, True), (2, False)])
def test_nothing_is_taken_of_a_file_that_is_of_days_to_come(
    days: int, taken: bool, handed: Path, tmp_path: Path, own_scorebook: Path
) -> None:
    """Where the student lives it may be tomorrow already."""
    ahead = tmp_path / "ahead.log"
    lines = handed.read_text().splitlines(keepends=True)
    (number,) = (place for place, line in enumerate(lines) if line.startswith('{"answer"'))
    answer = json.loads(lines[number])
    answer["answer"]["study_day"] = str(date.today() + timedelta(days=days))
    lines[number] = json.dumps(answer) + "\n"
    ahead.write_text("".join(lines))
    result = run("collect", ahead)
    said_to_come = f"Error: {ahead}, line {number + 1}: {answer['answer']['study_day']} is still to come"
    assert result.exit_code == (0 if taken else 1)
    assert result.stderr.startswith("" if taken else said_to_come)
    with Scorebook.open(own_scorebook) as book:
        assert len(book.answers(1)) == taken
        assert bool(book.last_seen(1)) == taken


def test_handing_in_needs_a_name_answers_and_a_file_of_its_own(handed: Path, tmp_path: Path) -> None:
    annas = tmp_path / "annas.sqlite"
    assert run("hand-in", handed, "--scorebook", annas).exit_code == 2
    result = run("hand-in", handed, "--student", TOM)
    assert (result.exit_code, "has no answers of Tom Reed" in result.stderr) == (1, True)
    diary = tmp_path / "diary.txt"
    diary.write_text("Dear diary")
    result = run("hand-in", diary, "--name", ANNA, "--scorebook", annas)
    assert (result.exit_code, diary.read_text()) == (1, "Dear diary")
    assert "is another file, and stays as it is" in result.stderr
    said("hand-in", handed, "--name", ANNA, "--scorebook", annas)


# Two students at one computer


def test_two_students_never_see_each_others_day(tmp_path: Path, own_scorebook: Path) -> None:
    deck = tmp_path / "deck"
    new_deck(deck, DeckSettings(new_deck_id(), "Saltmarsh rooks", by_heart=True))
    tasks = [a_rook_check(number) for number in range(6)]
    verdicts = [found for task in tasks for found in task.verdicts.values()]
    add_cards(deck, [CardEntry(task.card) for task in tasks], verdicts)
    alone = {}
    for student in (ANNA, TOM):
        book = tmp_path / f"{student}.sqlite"
        said("students", "--add", ANNA, "--add", TOM, "--scorebook", book)
        alone[student] = [sitting(deck, student, book) for _ in range(2)]
    together = [sitting(deck, student, own_scorebook) for student in (ANNA, TOM, TOM, ANNA)]
    assert [together[0], together[3]] == alone[ANNA]
    assert [together[1], together[2]] == alone[TOM]


def sitting(deck: Path, student: str, book: Path) -> list[str]:
    """What a student is told in a sitting of two cards, and then by `due` and `progress`.

    Without the name of the scorebook in what is to be typed.
    """
    asked = said(
        *("today", "--plain", "--deck", deck, "--student", student, "--scorebook", book),
        stdin="Rd1\n\nRd3\n\n",
    )
    about = ("--student", student, "--deck", deck, "--scorebook", book)
    asked = "\n".join(line for line in asked.splitlines() if not line.endswith(" left"))  # it's the clock's
    asked = asked.replace(f" --scorebook {quote(str(book))}", "")
    return [asked, said("due", *about), said("progress", *about)]
