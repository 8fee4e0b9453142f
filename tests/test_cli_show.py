"""`rondeau show`: one card again, found by its id."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from made_answers import an_answer
from made_tasks import DECK, black_to_move, doubled_rooks, root_card, spot_card

from decks.cards.cards_file import CardEntry
from decks.cards.deck import Deck, add_cards, new_deck
from decks.cards.settings import DeckSettings, new_deck_id
from decks.cli import cli
from decks.memory.answers import Answer
from decks.scorebook.book import Scorebook
from decks.tasks.card import Card
from decks.tasks.task import Ruling, Task
from decks.telling.card_page import card_page


def run(*arguments: str | Path, stdin: str = "") -> Result:
    return CliRunner().invoke(cli, [str(argument) for argument in arguments], input=stdin)


def a_deck(folder: Path, *cards: Card) -> Path:
    tasks = [doubled_rooks("play"), black_to_move("play")]
    new_deck(folder, DeckSettings(new_deck_id(), "Saltmarsh evenings", by_heart=True))
    verdicts = [verdict for task in tasks for verdict in task.verdicts.values()]
    add_cards(folder, [CardEntry(card) for card in cards], verdicts)
    return folder


@pytest.fixture
def evening(tmp_path: Path) -> Path:
    rooks = replace(doubled_rooks("play").card, card_id="rooks", asks=("play",), origin="Wren - Reed 2031")
    return a_deck(tmp_path / "evening", rooks)


def shown(*arguments: str | Path) -> str:
    result = run("show", *arguments)
    assert (result.exit_code, result.stderr) == (0, "")
    return result.stdout


def test_a_card_is_shown_with_board_question_motif_line_comments_and_the_last_answer(
    evening: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RONDEAU_ENGINE", "/no/such/engine")
    said = run("today", "--plain", "--deck", evening, stdin="Rxd8\ng3\ncontest\nyes\n\n").stdout
    assert "To look at again" not in said  # partly right
    page = shown("rooks")
    assert page.startswith("rooks, from Saltmarsh evenings\nWren - Reed 2031\n\n8  . . r r . . k .\n")
    for line in (
        "Move: White to move. Find the move.",
        "The line: 24. Rxd8+ Rxd8 25. Rxd8#",
        "Coach, on 25. Rxd8#: Mate on the last rank.",
    ):
        assert f"\n{line}\n" in page
    assert "\nWeak back rank, for White, with 24. Rxd8+: " in page
    *_, heading, answer = page.splitlines()
    assert heading == "Your last answers"
    assert answer.endswith("Move: partly right (contested, waits for your coach): 24. Rxd8+ Rxd8 25. g3")
    assert "--all" not in page


def test_a_card_that_was_shown_is_no_new_position_any_more(evening: Path, own_scorebook: Path) -> None:
    shown("rooks", "--deck", evening)
    with Scorebook.open(own_scorebook) as book:
        assert book.last_seen(book.student()).keys() == {doubled_rooks("play").card.fen}


def test_of_several_answers_the_last_is_shown_with_the_grade_that_holds_now(evening: Path) -> None:
    for move in ("Kf1", "h3"):
        run("today", "--plain", "--deck", evening, "--minutes", "5", stdin=f"{move}\n\n")
        with Scorebook.open(Path(str(evening.parent / "scorebook.sqlite"))) as book:
            answers = book.answers(book.student())
            book.correct(answers[-1].answer_id, "partly", "the coach's word", answers[-1].time)
    page = shown("rooks", "--deck", evening)
    assert page.splitlines()[-1].endswith("Move: partly right: 24. Kf1")
    assert page.count("Move: ") == 2


def test_what_is_still_to_be_asked_is_kept_back_unless_all_is_wanted(evening: Path) -> None:
    page = shown("rooks", "--deck", evening)
    assert "The line is not shown before you have been asked for it." in page
    assert "Rxd8" not in page
    assert "Coach" not in page
    assert "\nTo see everything: rondeau show rooks --all\n" in page
    assert page.endswith("Your last answers: none yet.\n")
    everything = shown("rooks", "--deck", evening, "--all")
    assert "The line: 24. Rxd8+ Rxd8 25. Rxd8#" in everything
    assert "Coach, on 25. Rxd8#: Mate on the last rank." in everything
    assert "To see everything" not in everything


def test_the_motif_is_kept_back_while_it_is_still_to_be_asked(tmp_path: Path) -> None:
    card = replace(doubled_rooks("play").card, card_id="rooks", asks=("spot", "play"))
    page = shown("rooks", "--deck", a_deck(tmp_path / "deck", card))
    assert "The motif is not shown before you have been asked for it." in page
    assert "ack rank" not in page
    assert "Weak back rank, for White" in shown("rooks", "--deck", tmp_path / "deck", "--all")


@pytest.mark.parametrize(
    ("card", "typed", "answer"),
    [
        (replace(doubled_rooks("play").card, asks=("play",)), "Kf1\n\n", "Move: missed: 24. Kf1"),
        (black_to_move("play").card, "Rd1\n\n", "Move: found: 30... Rd1+"),
        (
            spot_card("spot").card,
            "weak back rank, pin on the file, d1 g8\n\n\n",
            "Motif: partly right: weak back rank, pin on the file, d1, g8",
        ),
        (root_card("root").card, "2.\n\n", "Root: missed: 2. "),
    ],
    ids=["play", "play-black", "spot", "root"],
)
def test_an_answer_to_any_ask_is_put_in_words(card: Card, typed: str, answer: str, tmp_path: Path) -> None:
    deck = a_deck(tmp_path / "deck", card)
    run("today", "--plain", "--deck", deck, stdin=typed)
    assert answer in shown(card.card_id).splitlines()[-1]


def test_a_ballot_is_put_in_words_and_an_answer_to_another_key_is_not(tmp_path: Path) -> None:
    card = replace(doubled_rooks("play").card, card_id="rooks", asks=("assess",), factors={})
    deck = a_deck(tmp_path / "deck", card)
    run("today", "--plain", "--deck", deck, stdin="w\nb\n=\nWW\n\n\n")
    last = shown("rooks").splitlines()[-1]
    assert last.endswith(" level, verdict White decisive")
    assert " White slight, " in last
    assert " Black slight, " in last
    with Scorebook.open(tmp_path / "scorebook.sqlite") as book:
        answers = book.answers(book.student())
    changed = replace(card, line=card.line[:1])
    task = replace(doubled_rooks("play"), card=changed)
    page = card_page(task, "Saltmarsh evenings", answers, ())
    assert page[-1].endswith(": the card has changed since then")


def test_an_unknown_card_is_one_line_and_status_1(evening: Path) -> None:
    result = run("show", "rook\x1b[2Js", "--deck", evening)
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == f"Error: there is no card rook\ufffd[2Js in {evening}\n"


def test_a_card_in_several_decks_is_asked_for_by_deck(evening: Path, tmp_path: Path) -> None:
    other = a_deck(tmp_path / "other", *Deck.open(evening).cards)
    for deck in (evening, other):
        run("today", "--plain", "--deck", deck)
    result = run("show", "rooks")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == (
        f"Error: several decks have a card rooks: {evening}, {other}. Choose one with --deck DIR\n"
    )
    assert shown("rooks", "--deck", other).startswith("rooks, from Saltmarsh evenings\n")


def test_each_student_sees_the_own_answers(evening: Path) -> None:
    run("today", "--plain", "--deck", evening, stdin="Kf1\n\n")
    run("students", "--add", "Anna Wren")
    assert "24. Kf1" in shown("rooks")
    assert shown("rooks", "--student", "Anna Wren").endswith("Your last answers: none yet.\n")


def test_the_closing_page_says_how_to_open_what_went_wrong_and_it_opens(tmp_path: Path) -> None:
    card = replace(doubled_rooks("play").card, card_id="rooks-and-king", asks=("play",), origin="Wren - Reed")
    said = run("today", "--plain", "--deck", a_deck(tmp_path / "deck", card), stdin="Kf1\n\n").stdout
    assert (
        "To look at again (type the command)\nrondeau show rooks-and-king: weak back rank (Wren - Reed)\n"
        in said
    )
    assert shown("rooks-and-king").startswith("rooks-and-king, from")


def test_a_scorebook_that_was_named_is_named_in_what_to_type(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RONDEAU_ENGINE", "/no/such/engine")
    book, task = tmp_path / "the club.sqlite", doubled_rooks("play")
    deck = a_deck(tmp_path / "deck", replace(task.card, card_id="king", asks=("play",)))
    named = f"--scorebook '{book}'"
    looked_up = run("show", "king", "--deck", deck, "--scorebook", book).stdout
    assert f"To see everything: rondeau show king {named} --all\n" in looked_up
    typed = "Kf1\ncontest\nyes\n\n"
    said = run("today", "--plain", "--deck", deck, "--scorebook", book, stdin=typed).stdout
    assert f"\nrondeau show king {named}: weak back rank" in said
    disputes = run("disputes", "--scorebook", book).stdout
    assert f"(rondeau show king --student me {named} --all)" in disputes


def test_without_a_deck_the_demo_deck_is_looked_in(tmp_path: Path) -> None:
    result = run("show", "no-such-card")
    assert result.exit_code == 1
    assert "this is the demo deck" in result.stderr
    assert "there is no card no-such-card in " in result.stderr


# Verdicts


def page_of(task: Task, *, in_full: bool = True, answers: Sequence[Answer] = ()) -> list[str]:
    return card_page(task, "Saltmarsh evenings", answers, (), in_full)


def test_the_moves_of_every_position_asked_are_told_with_their_line_and_the_effort() -> None:
    task = doubled_rooks("play")
    page = page_of(replace(task, card=replace(task.card, checked="Stockfish 15.1 depth 12, 2031-05-01")))
    first = page.index("Before 24. Rxd8+ (Stockfish 15.1, 12 plies at least, settled)")
    assert page[first + 1 : first + 9] == [
        "  holds: 24. Rxd8+, mates in two (1.00): 24... Rxd8 25. Rxd8#",
        "  holds: 24. h3, winning (0.97): 24... Kh8",
        "  slips: 24. g3, winning (0.88): 24... Kh8",
        "  fails: 24. Rd7, worse (0.30): 24... Kh8",
        "  fails: 24. Rd6, worse (0.30): 24... Kh8",
        "  fails: 24. Rd5, worse (0.30): 24... Kh8",
        "  fails: 24. Rd4, worse (0.30): 24... Kh8",
        "  fails: 16 other moves, worse at best",
    ]
    second = page.index("Before 25. Rxd8# (Stockfish 15.1, 12 plies at least, settled)")
    assert page[second + 1] == "  holds: 25. Rxd8#, mates (1.00)"
    assert page[second + 8 : second + 10] == [
        "  fails: 13 other moves, worse at best",
        "Checked: Stockfish 15.1 depth 12, 2031-05-01",
    ]


def test_moves_are_told_as_they_are_graded_and_whose_word_it_is() -> None:
    task = doubled_rooks("play")
    marks = {0: {"h2h3": False, "d1a1": True, "d1d7": False, "g2g3": True}}
    slow, idle = (Ruling("fails", reason, date(2031, 5, 2)) for reason in ("too slow", "idle"))
    card = replace(task.card, marks=marks)
    page = page_of(replace(task, card=card, rulings={0: {"g2g3": slow, "d1b1": idle}}))
    first = page.index("Before 24. Rxd8+ (Stockfish 15.1, 12 plies at least, settled)")
    assert page[first + 1 : first + 9] == [
        "  holds: 24. Rxd8+, mates in two (1.00): 24... Rxd8 25. Rxd8#",
        "  holds, by the coach (the engine: fails): 24. Ra1, worse (0.30): 24... Kh8",
        "  fails, by the coach (the engine: holds): 24. h3, winning (0.97): 24... Kh8",
        "  fails, as it was decided (the engine: slips): 24. g3, winning (0.88): 24... Kh8",
        "  fails: 24. Rd7, worse (0.30): 24... Kh8",
        "  fails: 24. Rd6, worse (0.30): 24... Kh8",
        "  fails: 24. Rb1, worse (0.30): 24... Kh8",
        "  fails: 16 other moves, worse at best",
    ]


def test_a_move_that_was_played_is_told_even_if_it_is_hopeless() -> None:
    task = black_to_move("play")
    assert not any("a8" in line for line in page_of(task) if "fails" in line)
    played = replace(an_answer(1), ask="play", item=f"card:{DECK}/rook-check/play", raw='["d8a8"]')
    page = page_of(task, answers=[played])
    assert "  fails: 30... Ra8, worse (0.30): 31. Kh1" in page


def test_an_unsettled_position_says_so_and_one_without_verdicts_what_to_do() -> None:
    task = doubled_rooks("play")
    unsettled = {epd: replace(found, settled=False) for epd, found in task.verdicts.items()}
    page = page_of(replace(task, verdicts=unsettled))
    assert "Before 24. Rxd8+ (Stockfish 15.1, 12 plies at least, not settled)" in page
    assert "Checked: not yet" in page
    page = page_of(replace(doubled_rooks("play"), verdicts={}))
    assert "Instead of 24. Rxd8+: no verdicts yet: `rondeau check` adds them" in page


def test_verdicts_are_kept_back_as_long_as_the_line_is(evening: Path) -> None:
    assert "holds" not in shown("rooks", "--deck", evening)
    assert "holds: 24. Rxd8+, mates in two" in shown("rooks", "--deck", evening, "--all")
    run("today", "--plain", "--deck", evening, stdin="Kf1\n\n")
    assert "holds: 24. Rxd8+, mates in two" in shown("rooks", "--deck", evening)


def test_a_card_that_asks_for_no_move_has_no_verdicts_to_tell() -> None:
    assert not any("Checked" in line for line in page_of(spot_card("spot")))
