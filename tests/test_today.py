"""Today's session with a deck and a scorebook: what is asked and kept, what a lost terminal leaves."""

from __future__ import annotations

import io
import json
import os
import shutil
import signal
import sys
import time
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

import pexpect
import pyte
import pytest
from made_answers import an_answer
from made_tasks import a_rook_check, black_to_move, doubled_rooks

from decks.cards.cards_file import CardEntry
from decks.cards.deck import Deck, add_cards, give_new_identity, new_deck
from decks.cards.faults import DeckError
from decks.cards.settings import DeckSettings, new_deck_id
from decks.course import Course
from decks.memory.answers import CardItem
from decks.memory.day import day_ahead
from decks.memory.model import review
from decks.review import messages as m
from decks.review.dispatch import dispatch
from decks.review.session import start
from decks.scorebook.book import Scorebook, ScorebookError
from decks.shelf.shelved import ShelvedDeck
from decks.tasks.card import MotifTag
from decks.today import known_decks, run_today

MOMENT = datetime(2031, 5, 2, 19, 0, tzinfo=UTC)
PATIENCE = 20
"""Seconds to wait for a program on a terminal."""

BALLOT = "=\nw\nW\nWW\n\n"

RUN = """
import sys
from pathlib import Path
from decks.today import run_today
sys.exit(run_today(Path(sys.argv[1]), Path(sys.argv[2]), plain=len(sys.argv) > 3))
"""


@pytest.fixture
def deck_folder(tmp_path: Path) -> Path:
    """A deck of two cards to know by heart, whose moves are all judged."""
    folder = tmp_path / "deck"
    tasks = [doubled_rooks("assess", "play"), black_to_move("play")]
    new_deck(folder, DeckSettings(new_deck_id(), "Saltmarsh evenings", by_heart=True))
    verdicts = {epd: found for task in tasks for epd, found in task.verdicts.items()}
    add_cards(folder, [CardEntry(task.card) for task in tasks], verdicts.values())
    return folder


def talk(
    monkeypatch: pytest.MonkeyPatch,
    deck: Path | None,
    book: Path,
    typed: str,
    moment: datetime = MOMENT,
    *later: datetime,
    minutes: float | None = None,
    clock_is_right: bool = False,
) -> tuple[int, str]:
    """One plain session that begins at `moment`: its exit status and its text. `later`: its next times."""
    said = io.StringIO()
    monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
    monkeypatch.setattr(sys, "stdout", said)
    moments = iter([moment, *later])
    at = moment

    def now() -> datetime:
        nonlocal at
        at = next(moments, at)
        return at

    status = run_today(deck, book, minutes=minutes, clock_is_right=clock_is_right, now=now)
    return status, said.getvalue()


def many_cards(folder: Path, number: int) -> Deck:
    """A deck with this many cards to know by heart, all asking for a rook check."""
    new_deck(folder, DeckSettings(new_deck_id(), "Saltmarsh rooks", recall="firm", by_heart=True))
    tasks = [a_rook_check(place) for place in range(number)]
    verdicts = {epd: found for task in tasks for epd, found in task.verdicts.items()}
    add_cards(folder, [CardEntry(task.card) for task in tasks], verdicts.values())
    return Deck.open(folder)


ONE_CARD = "Rd1\n\n"


def test_an_answer_after_midnight_belongs_to_the_day_on_which_the_sitting_began(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, own_scorebook: Path
) -> None:
    folder = many_cards(tmp_path / "rooks", 9).folder
    before, after = MOMENT.replace(hour=23, minute=58), MOMENT + timedelta(hours=5, minutes=5)
    talk(monkeypatch, folder, own_scorebook, 2 * ONE_CARD, before, before, before, after)
    talk(monkeypatch, folder, own_scorebook, ONE_CARD, after + timedelta(hours=1))
    talk(monkeypatch, folder, own_scorebook, ONE_CARD, MOMENT)  # the clock was set back
    with Scorebook.open(own_scorebook) as book:
        answers = book.answers(book.student())
    later = after + timedelta(hours=1)
    assert {(str(answer.study_day), answer.time) for answer in answers} == {
        ("2031-05-02", before),
        ("2031-05-02", after),
        ("2031-05-03", later),
        ("2031-05-03", MOMENT),
    }
    assert len(answers) == 4


class Terminal(io.StringIO):
    """Typed on a terminal, or shown there."""

    def isatty(self) -> bool:
        return True


IN_2099 = MOMENT.replace(year=2099)


def with_an_answer(deck: Deck, path: Path, at: datetime) -> None:
    with Scorebook.open(path) as book:
        book.register_deck(deck.settings.deck, "", "")
        answer = replace(an_answer(1, card="rook-0"), student=book.student(), deck=deck.settings.deck)
        item = str(CardItem(deck.settings.deck, "rook-0", "play"))
        book.save_answer(replace(answer, item=item, study_day=at.date(), time=at))


def days_in(path: Path) -> list[str]:
    """The study days of what counts in the log."""
    with Scorebook.open(path) as book:
        return [str(answer.study_day) for answer in book.answers(book.student())]


def test_a_clock_behind_the_last_answer_is_told_and_the_last_day_goes_on(
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    own_scorebook: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    deck = many_cards(tmp_path / "rooks", 3)
    with_an_answer(deck, own_scorebook, IN_2099)
    status, _ = talk(monkeypatch, deck.folder, own_scorebook, ONE_CARD)
    assert status == 0
    assert days_in(own_scorebook) == ["2099-05-02", "2099-05-02"]
    told = capsys.readouterr().err
    assert told.splitlines()[-1] == (
        "The last answer is of 2099-05-02, but this computer's date is 2031-05-02. Your answers count for "
        "2099-05-02. If this computer's date is right, add `--clock-is-right`, which voids the answers of "
        "later dates."
    )
    talk(monkeypatch, deck.folder, own_scorebook, ONE_CARD, clock_is_right=True)
    assert days_in(own_scorebook) == ["2031-05-02", "2031-05-02"]  # both are of the day they were given
    assert "1 answer of later dates no longer counts. `rondeau replay` lists " in capsys.readouterr().err
    with Scorebook.open(own_scorebook) as book:
        assert [entry.voided for entry in book.entries()] == ["given under a wrong clock"]
    talk(monkeypatch, deck.folder, own_scorebook, ONE_CARD, MOMENT + timedelta(days=1))
    assert capsys.readouterr().err == ""


def test_a_clock_more_than_a_year_ahead_asks_nothing_until_it_is_said_to_be_right(
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    own_scorebook: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    deck = many_cards(tmp_path / "rooks", 3)
    with_an_answer(deck, own_scorebook, MOMENT)
    status, said = talk(monkeypatch, deck.folder, own_scorebook, ONE_CARD, IN_2099)
    assert (status, said, days_in(own_scorebook)) == (1, "", ["2031-05-02"])
    assert (
        capsys.readouterr()
        .err.splitlines()[-1]
        .endswith("Nothing is asked. Set the clock or, if it is right, add `--clock-is-right`.")
    )
    assert talk(monkeypatch, deck.folder, own_scorebook, ONE_CARD, IN_2099, clock_is_right=True)[0] == 0
    assert days_in(own_scorebook) == ["2031-05-02", "2099-05-02"]
    assert "`rondeau replay --void 2031-05-02`" in capsys.readouterr().err


@pytest.mark.parametrize("has_default", [True, False])
def test_the_replay_of_another_scorebook_is_named_with_its_file(
    has_default: bool, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    deck, book = many_cards(tmp_path / "rooks", 3), tmp_path / "the club's.sqlite"
    if not has_default:
        monkeypatch.setattr("decks.today.default_path", no_default_path)
    replay = f"`rondeau replay --scorebook '{tmp_path}/the club'\"'\"'s.sqlite'"
    with_an_answer(deck, book, MOMENT)
    talk(monkeypatch, deck.folder, book, ONE_CARD, IN_2099, clock_is_right=True)
    assert capsys.readouterr().err.splitlines()[-1] == (
        f"If the other date was wrong, {replay} --void 2031-05-02` voids its answers."
    )
    talk(monkeypatch, deck.folder, book, ONE_CARD, clock_is_right=True)
    assert capsys.readouterr().err == (
        f"1 answer of later dates no longer counts. {replay}` lists what is voided, and "
        f"{replay} --unvoid ID` brings it back.\n"
    )


def no_default_path() -> Path:
    raise ScorebookError("there is no home directory")


@pytest.mark.parametrize(
    ("last", "typed", "status", "days"),
    [
        (IN_2099, f"y\n{ONE_CARD}", 0, ["2031-05-02"]),
        (IN_2099, f"n\n{ONE_CARD}", 1, ["2099-05-02"]),
        (IN_2099, "\n", 1, ["2099-05-02"]),
        (IN_2099, "", 1, ["2099-05-02"]),
        (MOMENT.replace(year=1970), f"YES\n{ONE_CARD}", 0, ["1970-05-02", "2031-05-02"]),
        (MOMENT.replace(year=1970), f"no\n{ONE_CARD}", 1, ["1970-05-02"]),
        (MOMENT - timedelta(days=1), ONE_CARD, 0, ["2031-05-01", "2031-05-02"]),
    ],
)
def test_on_a_terminal_a_doubtful_clock_is_asked_about(
    last: datetime,
    typed: str,
    status: int,
    days: list[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    own_scorebook: Path,
) -> None:
    deck = many_cards(tmp_path / "rooks", 3)
    with_an_answer(deck, own_scorebook, last)
    shown = Terminal()
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr(sys, "stdin", Terminal(typed))
    monkeypatch.setattr(sys, "stdout", shown)
    assert run_today(deck.folder, own_scorebook, plain=True, now=lambda: MOMENT) == status
    assert days_in(own_scorebook) == days
    question = f"The last answer is of {last.date()}, but this computer's date is 2031-05-02."
    assert shown.getvalue().startswith(f"{question} Is this computer's date right? ") == (last.day != 1)


def test_a_log_kept_by_an_older_rule_of_days_reads_on(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, own_scorebook: Path
) -> None:
    """Study days once ended at four in the morning. What was stored then stays as it is."""
    deck, task = many_cards(tmp_path / "rooks", 3), black_to_move("play")
    night = datetime(2031, 5, 2, 2, 30, tzinfo=UTC)
    with Scorebook.open(own_scorebook) as book:
        book.register_deck(deck.settings.deck, "", "")
        old = replace(
            an_answer(1, card="rook-0"),
            student=book.student(),
            deck=deck.settings.deck,
            item=str(CardItem(deck.settings.deck, "rook-0", "play")),
            fen=task.card.fen,
            study_day=night.date() - timedelta(days=1),
            time=night,
        )
        book.save_answer(old)
    talk(monkeypatch, deck.folder, own_scorebook, ONE_CARD, night + timedelta(minutes=5))
    with Scorebook.open(own_scorebook) as book:
        first, second = book.answers(book.student())
        assert first == old
        assert (second.card_id, second.study_day) == ("rook-1", night.date())
        assert book.replay() == []


def test_an_item_falls_due_by_the_step_of_its_deck(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, own_scorebook: Path
) -> None:
    deck = many_cards(tmp_path / "rooks", 1)
    talk(monkeypatch, deck.folder, own_scorebook, ONE_CARD)
    with Scorebook.open(own_scorebook) as book:
        (answer,) = book.answers(book.student())
        assert answer.target_recall == 0.95
        assert book.replay() == []


def log(book: Scorebook, deck: Deck, *rows: tuple[int, str, float, bool]) -> None:
    """Log answers: days before MOMENT, card, seconds, at first sight."""
    book.register_deck(deck.settings.deck, "", "")
    for number, (days_ago, card, seconds, first_sight) in enumerate(rows):
        day = MOMENT.date() - timedelta(days=days_ago)
        answer = an_answer(number, "found", card=card, seconds=seconds)
        book.save_answer(
            replace(
                answer,
                student=book.student(),
                deck=deck.settings.deck,
                item=str(CardItem(deck.settings.deck, card, "play")),
                study_day=day,
                time=answer.time + (day - answer.study_day),
                first_sight=first_sight,
            )
        )


YESTERDAY = (1, "rook-0", 20.0, True)
"""A first meeting yesterday, of a card that is not due today."""

LONG_AGO = (30, "rook-0", 20.0, True)
"""A first meeting before a long absence, of a card that is due today."""


@pytest.mark.parametrize(
    ("rows", "minutes", "asked"),
    [
        ([], None, range(15)),  # the first day of all: as many as there is time for
        ([], 4, range(4)),
        ([(0, "rook-0", 600.0, True)], None, range(1, 6)),  # and it goes on
        ([YESTERDAY], None, [1, 2, 3]),
        ([YESTERDAY], 30, range(1, 7)),
        ([YESTERDAY, (0, "rook-1", 60.0, True)], None, [2, 3]),
        ([YESTERDAY, *((0, f"rook-{card}", 60.0, True) for card in (1, 2, 3))], None, []),
        ([YESTERDAY, *((0, f"rook-{card}", 60.0, True) for card in (1, 2, 3))], 10, [4, 5]),
        ([YESTERDAY, (0, "rook-0", 451.0, False)], None, []),  # due work took more than half
        ([YESTERDAY, (0, "rook-0", 449.0, False)], None, [1, 2, 3]),
        ([YESTERDAY, (0, "rook-1", 901.0, True)], None, []),
        ([LONG_AGO], None, [0]),
        ([LONG_AGO, (0, "rook-0", 20.0, False)], None, []),  # the day has to end first
        ([LONG_AGO, (1, "rook-0", 20.0, False)], None, [1, 2, 3]),  # yesterday ended with nothing due
        ([LONG_AGO, (29, "rook-1", 20.0, True), (1, "rook-0", 20.0, False)], None, [1]),
        ([(14, "rook-0", 20.0, True)], None, [0]),
        ([(13, "rook-0", 20.0, True)], None, [0, 1, 2, 3]),  # not so long
    ],
)
def test_what_is_asked_by_what_the_log_holds(
    rows: list[tuple[int, str, float, bool]],
    minutes: float | None,
    asked: Iterable[int],
    tmp_path: Path,
    own_scorebook: Path,
) -> None:
    deck = many_cards(tmp_path / "rooks", 20)
    with Scorebook.open(own_scorebook) as book:
        log(book, deck, *rows)
        tasks = _plan(deck, book, MOMENT, minutes).tasks
    assert [task.card.card_id for task in tasks] == [f"rook-{number}" for number in asked]


@pytest.mark.parametrize("stays_due", ["gone", "unjudged"])
def test_an_absence_is_caught_up_by_what_can_still_be_asked(
    stays_due: str, tmp_path: Path, own_scorebook: Path
) -> None:
    """A card that left the deck, or whose moves nobody judged, would otherwise stay due for ever."""
    deck = many_cards(tmp_path / "rooks", 20)
    unjudged = replace(doubled_rooks("play").card, card_id="unjudged", asks=("play",))
    add_cards(deck.folder, [CardEntry(unjudged)])
    with Scorebook.open(own_scorebook) as book:
        log(book, deck, (30, stays_due, 20.0, True), LONG_AGO, (1, "rook-0", 20.0, False))
        assert len(_plan(Deck.open(deck.folder), book, MOMENT).tasks) == 3


@pytest.mark.parametrize(
    ("rows", "cards", "said"),
    [
        (
            [LONG_AGO, (0, "rook-1", 901.0, True)],
            5,
            [
                "Today's 15 minutes are done.",
                "1 card returns tomorrow (2031-05-03).",
                "To go on today: `--minutes M` adds M minutes.",
            ],
        ),
        ([YESTERDAY], 1, ["Nothing returns today.", "1 card returns tomorrow (2031-05-03)."]),
        (
            [YESTERDAY, *((0, f"rook-{card}", 60.0, True) for card in (1, 2, 3))],
            5,
            [
                "Nothing returns today.",
                "1 card returns tomorrow (2031-05-03).",
                "A few first meetings come on a day: `--minutes M` adds M minutes, with one for each 5.",
            ],
        ),
        (
            [LONG_AGO, (0, "rook-0", 20.0, False)],
            5,
            [
                "Nothing returns today.",
                "1 card returns in 37 days (2031-06-08).",
                "Because you were away, new cards and motifs follow from tomorrow on.",
            ],
        ),
        (
            [(1, f"rook-{card}", 20.0, True) for card in (0, 1)],
            2,
            ["Nothing returns today.", "2 cards return tomorrow (2031-05-03)."],
        ),
        ([], 0, ["Nothing returns today."]),
    ],
)
def test_where_nothing_is_asked_it_says_why_and_what_returns_when(
    rows: list[tuple[int, str, float, bool]],
    cards: int,
    said: list[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    own_scorebook: Path,
) -> None:
    deck = many_cards(tmp_path / "rooks", cards)
    with Scorebook.open(own_scorebook) as book:
        log(book, deck, *rows)
    status, lines = talk(monkeypatch, deck.folder, own_scorebook, "")
    assert (status, lines.splitlines()) == (0, said)


def test_a_deck_of_lookalikes_alone_says_why_it_asks_nothing(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, own_scorebook: Path
) -> None:
    seeming = doubled_rooks("play")
    card = replace(seeming.card, asks=("play",), motifs=(), lookalike=MotifTag("fork", "white"), evidence={})
    new_deck(tmp_path / "deck", DeckSettings(new_deck_id(), "Saltmarsh forks"))
    add_cards(tmp_path / "deck", [CardEntry(card)], seeming.verdicts.values())
    status, said = talk(monkeypatch, tmp_path / "deck", own_scorebook, "")
    first, why = said.splitlines()
    assert (status, first) == (0, "Nothing returns today.")
    assert why.startswith(
        "Of 1 motif your decks have only lookalikes, which come among positions that show it."
    )
    assert f"`rondeau build {tmp_path / 'deck'} --from GAMES.pgn --motif fork` makes some." in why


def test_the_session_stops_when_the_minutes_left_of_the_day_are_over(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, own_scorebook: Path
) -> None:
    deck = many_cards(tmp_path / "rooks", 20)
    with Scorebook.open(own_scorebook) as book:
        log(book, deck, YESTERDAY, (0, "rook-0", 780.0, True))
    ticks = count(0.0, 50.0)
    monkeypatch.setattr(time, "monotonic", lambda: next(ticks))
    said = talk(monkeypatch, deck.folder, own_scorebook, 2 * ONE_CARD)[1]
    assert said.startswith("2 cards today.")
    assert "\n1 card in " in said
    with Scorebook.open(own_scorebook) as book:
        assert book.answers(1)[-1].seconds == 100
        assert book.study_days(1)[-1].seconds == 780 + 300  # the rest was reading


def test_answers_go_into_the_scorebook_with_all_that_the_log_keeps(
    monkeypatch: pytest.MonkeyPatch, deck_folder: Path, own_scorebook: Path
) -> None:
    status, said = talk(monkeypatch, deck_folder, own_scorebook, f"{BALLOT}Rxd8\nRxd8\n\nhint\nhint\nRd1\n\n")
    assert status == 0
    assert "2 cards in" in said
    with Scorebook.open(own_scorebook) as book:
        answers = book.answers(book.student())
        assert len(answers) == 3
        assert {
            answer.card_id: (answer.grade, answer.hints) for answer in answers if answer.ask == "play"
        } == {
            "rooks": ("found", 0),
            "rook-check": ("helped", 1),
        }
        assert ["d2d8", "d1d8"] in [json.loads(answer.raw) for answer in answers]
        assert all(answer.first_sight for answer in answers)
        assert all(str(answer.study_day) == "2031-05-02" for answer in answers)
        assert len(book.memory_of(book.student())) == 3
        assert [title for _, title, _ in book.decks()] == ["Saltmarsh evenings"]


def test_what_was_answered_today_is_not_asked_again_today_and_comes_back_when_due(
    monkeypatch: pytest.MonkeyPatch, deck_folder: Path, own_scorebook: Path
) -> None:
    talk(monkeypatch, deck_folder, own_scorebook, f"{BALLOT}Kf1\n\nRd1\n\n")
    assert talk(monkeypatch, None, own_scorebook, "")[1].startswith("Nothing returns today.\n")
    with Scorebook.open(own_scorebook) as book:
        due = min(memory.due for memory in book.memory_of(book.student()).values())
    later = MOMENT + (due - MOMENT.date())
    said = talk(monkeypatch, None, own_scorebook, "", later)[1]
    assert "1 of " in said
    with Scorebook.open(own_scorebook) as book:
        tasks = _plan(Deck.open(deck_folder), book, later).tasks
    assert tasks[0].first_sight is False


@pytest.mark.parametrize(("typed", "claims"), [("contest\nyes\n", ["found"]), ("contest\nyes\nundo\n", [])])
def test_a_contest_waits_in_the_log_and_changes_neither_grade_nor_memory(
    typed: str, claims: list[str], monkeypatch: pytest.MonkeyPatch, deck_folder: Path, own_scorebook: Path
) -> None:
    monkeypatch.setenv("RONDEAU_ENGINE", "/no/such/engine")
    talk(monkeypatch, deck_folder, own_scorebook, f"{BALLOT}Kf1\n{typed}\n")
    with Scorebook.open(own_scorebook) as book:
        student = book.student()
        (answer,) = book.answers(student, ask="play")
        assert answer.grade == "missed"
        assert book.memory_of(student)[answer.item] == review(None, "missed", MOMENT.date())
        assert [(each.answer_id, each.grade) for each in book.open_contests(student)] == [
            (answer.answer_id, claim) for claim in claims
        ]
        assert (book.corrections(student), book.replay()) == ([], [])


def test_a_scorebook_that_cannot_be_written_ends_the_session_with_status_1(
    monkeypatch: pytest.MonkeyPatch,
    deck_folder: Path,
    own_scorebook: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def full(self: Scorebook, answer: object) -> None:
        raise OSError("no room left on the disk")

    monkeypatch.setattr(Scorebook, "save_answer", full)
    status, said = talk(monkeypatch, deck_folder, own_scorebook, f"{BALLOT}Kf1\n\n")
    assert status == 1
    assert "rows right" not in said
    assert "could not be kept: no room left on the disk" in capsys.readouterr().err


def test_a_card_whose_moves_nobody_judged_is_named_and_not_asked(
    deck_folder: Path, own_scorebook: Path
) -> None:
    deck = replace(Deck.open(deck_folder), verdicts={})
    warnings: list[str] = []
    with Scorebook.open(own_scorebook) as book:
        ahead = day_ahead([], MOMENT)
        tasks = Course.begin(
            [ShelvedDeck.of(deck)], book, book.student(), ahead, MOMENT, lambda: MOMENT, warnings.append
        ).tasks
    assert [(task.card.card_id, task.asks) for task in tasks] == [("rooks", ("assess",))]
    (warning,) = warnings
    assert warning.startswith(
        f"{deck_folder}: no verdicts yet on the moves of card rooks and 1 more, so these moves are not asked"
    )


def test_cards_that_nobody_judged_take_no_other_cards_place(tmp_path: Path, own_scorebook: Path) -> None:
    folder, judged = tmp_path / "deck", black_to_move("play")
    new_deck(folder, DeckSettings(new_deck_id(), "Saltmarsh evenings", by_heart=True))
    rooks = replace(doubled_rooks("play").card, asks=("play",))
    others = [replace(rooks, card_id=f"rooks-{number}") for number in range(30)]
    add_cards(folder, [CardEntry(card) for card in (*others, judged.card)], judged.verdicts.values())
    with Scorebook.open(own_scorebook) as book:
        (task,) = _plan(Deck.open(folder), book, MOMENT).tasks
    assert task.card.card_id == judged.card.card_id


def test_a_deck_that_moved_away_or_has_faults_keeps_no_other_from_being_asked(
    own_scorebook: Path, deck_folder: Path, tmp_path: Path
) -> None:
    gone, faulty = tmp_path / "gone", tmp_path / "faulty"
    new_deck(faulty, DeckSettings(new_deck_id(), "faulty"))
    (faulty / "cards.pgn").write_text("Dear Anna", encoding="utf-8")
    warnings: list[str] = []
    with Scorebook.open(own_scorebook) as book:
        for folder in (gone, faulty):
            book.register_deck(new_deck_id(), "", str(folder))
        with pytest.raises(DeckError, match=rf"(?s){gone}: the deck is no longer here.*{faulty}: 1 fault "):
            known_decks(book, "me", warnings.append)
        book.register_deck(new_deck_id(), "", str(deck_folder))
        (deck,) = known_decks(book, "me", warnings.append)
    assert deck.folder == deck_folder
    (warning,) = warnings
    assert warning.startswith(f"{faulty}: 1 fault ")


def test_damaged_memories_are_told_in_one_line_and_worked_out_anew(
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    own_scorebook: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    deck = many_cards(tmp_path / "rooks", 1)
    talk(monkeypatch, deck.folder, own_scorebook, ONE_CARD)
    with Scorebook.open(own_scorebook) as book:
        before = book.memory_of(book.student())
        book._db.execute("UPDATE memory SET due = 'soon'")
    assert talk(monkeypatch, deck.folder, own_scorebook, "")[1].startswith("Nothing returns today.")
    assert capsys.readouterr().err == (
        f"{own_scorebook}: the stored memories are damaged (Invalid isoformat string: 'soon'); "
        f"they are computed again from the log\n"
    )
    with Scorebook.open(own_scorebook) as book:
        assert book.memory_of(book.student()) == before


def test_a_damaged_answer_is_named_and_the_others_count(
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    own_scorebook: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    deck = many_cards(tmp_path / "rooks", 2)
    talk(monkeypatch, deck.folder, own_scorebook, 2 * ONE_CARD)
    with Scorebook.open(own_scorebook) as book:
        damaged, _ = book.answers(book.student())
        book._db.execute("DROP TRIGGER reviews_change_no_row")
        book._db.execute("UPDATE reviews SET seconds = 'long' WHERE answer_id = ?", [damaged.answer_id])
    assert talk(monkeypatch, deck.folder, own_scorebook, "")[0] == 0
    assert capsys.readouterr().err == (
        f"{own_scorebook}: answer {damaged.answer_id} is damaged and takes no part: "
        f"seconds 'long' is not a number of seconds\n"
    )


def folders(path: Path) -> list[str]:
    with Scorebook.open(path) as book:
        return [folder for _, _, folder in book.decks()]


def test_a_copy_takes_neither_place_nor_memories_of_the_deck_it_was_copied_from(
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    own_scorebook: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    deck, copy = many_cards(tmp_path / "rooks", 2).folder, tmp_path / "copy"
    shutil.copytree(deck, copy)
    with (copy / "cards.pgn").open("a") as cards:
        cards.write("\n; a note of the copy's own\n")
    talk(monkeypatch, deck, own_scorebook, ONE_CARD)
    link = tmp_path / "link"
    link.symlink_to(deck)
    talk(monkeypatch, link, own_scorebook, "")  # the same folder by another name
    assert capsys.readouterr().err == ""
    said = talk(monkeypatch, copy, own_scorebook, ONE_CARD)[1]
    assert "1 card today." in said
    assert capsys.readouterr().err == (
        f"{copy}: this is a copy of the deck in {deck}, which is asked instead; "
        f"`rondeau check --new-identity {copy}` makes it a deck of its own\n"
    )
    assert folders(own_scorebook) == [str(deck)]
    give_new_identity(copy)
    tomorrow = MOMENT + timedelta(days=1)  # on one day no position is asked twice
    assert "2 cards today." in talk(monkeypatch, copy, own_scorebook, "", tomorrow, minutes=15)[1]
    assert capsys.readouterr().err == ""
    assert sorted(folders(own_scorebook)) == [str(copy), str(deck)]


def test_a_copy_over_another_known_deck_is_not_asked_twice(
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    own_scorebook: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    one, other = many_cards(tmp_path / "one", 2).folder, many_cards(tmp_path / "other", 2).folder
    for folder in (one, other):
        talk(monkeypatch, folder, own_scorebook, "")
    shutil.copy(one / "deck.toml", other)
    assert "2 cards today." in talk(monkeypatch, None, own_scorebook, "")[1]
    assert capsys.readouterr().err.startswith(f"{other}: this is a copy of the deck in {one}, which is ")
    assert sorted(folders(own_scorebook)) == [str(one), str(other)]


def test_a_deck_that_moved_is_asked_from_its_new_place_and_one_line_says_so(
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    own_scorebook: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    deck = many_cards(tmp_path / "rooks", 2).folder
    talk(monkeypatch, deck, own_scorebook, ONE_CARD)
    moved = deck.rename(tmp_path / "moved")
    assert "1 card today." in talk(monkeypatch, moved, own_scorebook, "")[1]
    told = f"{moved}: this deck was in {deck} before, and is now asked from here\n"
    assert (capsys.readouterr().err, folders(own_scorebook)) == (told, [str(moved)])
    deck.mkdir()
    (deck / "deck.toml").write_text("another deck began here")
    talk(monkeypatch, moved, own_scorebook, "")
    assert capsys.readouterr().err == ""


def test_usual_times_come_from_the_scorebook(deck_folder: Path, own_scorebook: Path) -> None:
    deck = Deck.open(deck_folder)
    with Scorebook.open(own_scorebook) as book:
        book.register_deck(deck.settings.deck, "", "")
        (task,) = (task for task in _plan(deck, book, MOMENT).tasks if task.card.card_id == "rook-check")
        assert task.usual_seconds == {}
        for day in range(10):
            course = _plan(deck, book, _later(day))
            dispatch(start([task]), m.Enter(20.0 + day, "Rd1"), course.keep, lambda: 0.0)
        (task,), (paper,) = (
            [each for each in course.tasks if each.card.card_id == "rook-check"]
            for course in (_plan(deck, book, _later(20000), on_paper=on_paper) for on_paper in (False, True))
        )
    assert task.usual_seconds == paper.usual_seconds == {"play": 24.5}
    assert (task.fluent_within, paper.fluent_within) == ({"play": 12.25}, {})


def _later(days: int) -> datetime:
    return MOMENT + timedelta(days=days)


def _plan(
    deck: Deck, book: Scorebook, moment: datetime, minutes: float | None = None, on_paper: bool = False
) -> Course:
    student = book.student()
    ahead = day_ahead(book.study_days(student), moment, minutes)
    decks = [ShelvedDeck.of(deck)]
    return Course.begin(decks, book, student, ahead, moment, lambda: moment, print, on_paper=on_paper)


class OnTerminal:
    """The program on a real pseudo-terminal, its screen read by an emulator."""

    def __init__(self, deck: Path, book: Path) -> None:
        environment = {**os.environ, "TERM": "xterm-256color", "LC_ALL": "C.UTF-8"}
        command = ["-c", RUN, str(deck), str(book)]
        self.child = pexpect.spawn(
            sys.executable, command, env=environment, dimensions=(24, 80), encoding="utf-8", timeout=PATIENCE
        )
        self.screen = pyte.Screen(80, 24)
        self._stream = pyte.Stream(self.screen)
        self.raw = ""

    def read_until(self, words: str) -> None:
        """Read what is drawn until these words appear on the screen."""
        deadline = time.monotonic() + PATIENCE
        while words not in "\n".join(self.screen.display):
            assert time.monotonic() < deadline, "\n".join([f"never drawn: {words}", *self.screen.display])
            self._take(self.child.read_nonblocking(4096))

    def read_to_the_end(self) -> None:
        """Read until the program has closed the terminal."""
        try:
            while True:
                self._take(self.child.read_nonblocking(4096))
        except pexpect.EOF:
            self.child.wait()

    def _take(self, text: str) -> None:
        self.raw += text
        self._stream.feed(text.replace("\ufe0e", ""))


def test_the_screen_on_a_real_terminal_from_first_board_to_summary(
    deck_folder: Path, own_scorebook: Path
) -> None:
    terminal = OnTerminal(deck_folder, own_scorebook)
    terminal.read_until("Take stock")
    terminal.child.send("=wWWW\r")
    terminal.read_until("Now decide.")
    terminal.child.send("Kf1\r")
    terminal.read_until("24. Kf1 fails")
    terminal.child.send("\r")
    terminal.read_until("Find the move.")
    terminal.child.send("\x11")
    terminal.read_until("By motif")
    terminal.child.send("\r")
    terminal.read_to_the_end()
    assert terminal.child.exitstatus == 0
    assert "1 card in under a minute." in terminal.raw.rpartition("\x1b[?1049l")[2]


def test_sigterm_leaves_the_terminal_clean_and_the_answers_kept(
    deck_folder: Path, own_scorebook: Path
) -> None:
    terminal = OnTerminal(deck_folder, own_scorebook)
    terminal.read_until("Take stock")
    terminal.child.send("=wWWW\r")
    terminal.read_until("Now decide.")
    terminal.child.kill(signal.SIGTERM)
    terminal.read_to_the_end()
    for leaves_full_screen in ("\x1b[?1049l", "\x1b[?1000l", "\x1b[?25h"):
        assert leaves_full_screen in terminal.raw
    assert "Traceback" not in terminal.raw
    assert terminal.child.exitstatus == 128 + signal.SIGTERM
    with Scorebook.open(own_scorebook) as book:
        assert [answer.ask for answer in book.answers(book.student())] == ["assess"]


def test_a_killed_terminal_loses_nothing_that_was_acknowledged(
    deck_folder: Path, own_scorebook: Path
) -> None:
    terminal = OnTerminal(deck_folder, own_scorebook)
    terminal.read_until("Take stock")
    terminal.child.send("=wWWW\r")
    terminal.read_until("Now decide.")
    terminal.child.kill(signal.SIGKILL)
    terminal.read_to_the_end()
    with Scorebook.open(own_scorebook) as book:
        assert [answer.ask for answer in book.answers(book.student())] == ["assess"]
        assert book.replay() == []
