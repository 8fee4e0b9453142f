"""The scorebook loses nothing, counts nothing twice, and refuses what it can't read."""

from __future__ import annotations

import multiprocessing
import os
import random
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from multiprocessing.context import ForkServerContext
from pathlib import Path
from time import sleep
from uuid import UUID, uuid5

import chess
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_answers import DAY, DECK, an_answer, restore_until_killed, save_answers_until_killed
from made_books import new_scorebook
from sqlite_utils import Database, Migrations, hookimpl
from sqlite_utils.db import NoTable
from sqlite_utils.plugins import pm

from decks.asks.catalogue import ASKS
from decks.locks import folder_lock
from decks.memory.answers import Answer, CardItem, Contest, Correction, Strand, parse_item
from decks.memory.day import DaySoFar
from decks.memory.model import Memory, replay_log, review
from decks.scorebook import file as scorebook_file
from decks.scorebook import parts as scorebook_parts
from decks.scorebook import schema as scorebook_schema
from decks.scorebook.book import (
    DamagedMemoryError,
    Difference,
    Entry,
    Scorebook,
    ScorebookError,
    default_path,
)
from decks.scorebook.games import MotifCount
from decks.scorebook.parts import part_of
from decks.scorebook.rows import FindingRow, GameRecord, row_of_game
from decks.scorebook.steps import STEPS
from decks.tasks.card import GRADES, Grade

ITEM = str(CardItem(DECK, "heron-rook", "play"))
MOMENT = datetime(2031, 6, 1, 12, tzinfo=UTC)


@pytest.fixture
def book(own_scorebook: Path) -> Iterator[Scorebook]:
    """A scorebook with one student (number 1) and one deck."""
    with a_new_book(own_scorebook) as book:
        yield book


def a_new_book(path: Path) -> Scorebook:
    book = new_scorebook(path)
    assert book.student() == 1
    book.register_deck(DECK, "Saltmarsh files", "saltmarsh")
    return book


# Items


@pytest.mark.parametrize("ask", ASKS)
def test_an_item_id_says_what_it_was_made_from(ask: str) -> None:
    for made in (CardItem(DECK, "12", ask), CardItem(DECK, "a/b:c", ask), Strand("pin-on-file", ask)):
        assert parse_item(str(made)) == made


@pytest.mark.parametrize(
    "text",
    [
        "",
        "card:",
        "card:deck/play",
        "card:/x/play",
        "card:deck//play",
        "motif:/spot",
        "motif:pin/guess",
        "pin",
    ],
)
def test_a_malformed_item_id_is_quoted(text: str) -> None:
    with pytest.raises(ValueError, match="is not an item") as caught:
        parse_item(text)
    assert repr(text) in str(caught.value)


@pytest.mark.parametrize(
    "wrong",
    [
        {"answer_id": "seven"},
        {"item": "card:x"},
        {"ask": "spot"},
        {"grade": "brilliant"},
        {"score": 1.01},
        {"score": float("nan")},
        {"seconds": -1.0},
        {"seconds": float("nan")},
        {"hints": -1},
        {"time": datetime(2031, 5, 5)},
        {"target_recall": 1.0},
    ],
)
def test_an_answer_that_makes_no_sense_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=r"\S"):
        replace(an_answer(0), **wrong)  # type: ignore[arg-type]


# Students and decks


def test_a_students_name_is_found_whatever_its_capitals_and_spaces(book: Scorebook) -> None:
    anna = book.student("Änna  Brook")
    assert book.student(" änna brook ") == anna
    assert book.students() == {1: "me", anna: "Änna Brook"}
    with pytest.raises(ScorebookError, match="needs a name"):
        book.student("  ")


def test_a_deck_registered_again_has_its_new_title_and_folder(book: Scorebook) -> None:
    book.register_deck(DECK, "Open files", "elsewhere")
    assert book.decks() == [(DECK, "Open files", "elsewhere")]


# Answers


def test_an_answer_comes_back_as_it_was_saved(book: Scorebook) -> None:
    zone = timezone(timedelta(hours=-7))
    saved = [
        an_answer(1),
        replace(an_answer(2, "missed", 1), first_sight=None, target_recall=0.85),
        replace(an_answer(3, "partly", 2), first_sight=False, deck=None, item="motif:fork/play"),
        replace(an_answer(4, "fluent", 3), time=datetime(2031, 5, 8, 23, 1, 2, 345, tzinfo=zone)),
    ]
    for answer in saved:
        book.save_answer(answer)
    assert book.answers(1) == saved
    assert book.answers(2) == []
    assert book.answers(1, since=DAY + timedelta(days=2)) == saved[2:]
    assert book.answers(1, item=ITEM) == [saved[0], saved[1], saved[3]]
    assert book.answers(1, deck=DECK, ask="play", since=DAY + timedelta(days=1)) == [saved[1], saved[3]]
    assert book.answers(1, ask="spot") == []


def test_saving_returns_the_memory_it_stored(book: Scorebook) -> None:
    first = book.save_answer(an_answer(1))
    assert first == review(None, "found", DAY)
    second = book.save_answer(replace(an_answer(2, "partly", 3), target_recall=0.8))
    assert second == review(first, "partly", DAY + timedelta(days=3), 0.8)
    other = book.save_answer(an_answer(3, "missed", card="'; DROP TABLE reviews; --"))
    assert book.memory_of(1, [ITEM, "card:unmet/1/play"]) == {ITEM: second}
    assert sorted(book.memory_of(1).values(), key=lambda m: m.stability) == [other, second]
    assert book.memory_of(2) == {}


def test_the_same_answer_id_again_changes_nothing(book: Scorebook) -> None:
    memory = book.save_answer(an_answer(1))
    assert book.save_answer(replace(an_answer(1, "missed"), item="motif:fork/play")) == memory
    assert book.answers(1) == [an_answer(1)]


def test_a_second_answer_of_a_day_is_logged_but_the_memory_keeps_the_first(book: Scorebook) -> None:
    first = book.save_answer(an_answer(1, "missed"))
    assert book.save_answer(an_answer(2, "fluent")) == first
    assert [answer.grade for answer in book.answers(1)] == ["missed", "fluent"]


# The order of arrival


@settings(max_examples=30)
@given(
    st.lists(st.tuples(st.sampled_from(GRADES), st.integers(0, 40)), min_size=1, max_size=8),
    st.sets(st.integers(0, 7)),
)
def test_answers_count_in_the_order_in_which_they_came_whatever_their_dates(
    tmp_path_factory: pytest.TempPathFactory, drawn: list[tuple[Grade, int]], voided: set[int]
) -> None:
    answers = [an_answer(number, grade, day) for number, (grade, day) in enumerate(drawn)]
    chosen = [answer.answer_id for number, answer in enumerate(answers) if number in voided]

    def so_far(counted: list[Answer]) -> list[Answer]:
        return [
            replace(answer, study_day=max(earlier.study_day for earlier in counted[: place + 1]))
            for place, answer in enumerate(counted)
        ]

    with a_new_book(tmp_path_factory.mktemp("order") / "scorebook.sqlite") as book:
        for answer in answers:
            book.save_answer(answer)
        assert book.answers(1) == so_far(answers)
        assert book.replay() == []
        assert book.void(chosen, "wrong clock", MOMENT) == len(chosen)
        left = so_far([answer for answer in answers if answer.answer_id not in chosen])
        assert book.answers(1) == left
        memory = replay_log((answer.grade, answer.study_day, 0.9) for answer in left)
        assert book.memory_of(1) == ({ITEM: memory} if memory else {})
        assert book.replay() == []
        assert book.unvoid(chosen, "it was right", MOMENT) == len(chosen)
        assert book.answers(1) == so_far(answers)
        assert book.answers(1, as_corrected=False) == answers
        assert book.replay() == []


def test_an_answer_of_2099_retires_its_card_until_it_is_voided(book: Scorebook) -> None:
    """One answer under a wrong clock; those that came after it counted as earlier ones, and voiding it is
    enough: they were kept under their own dates."""
    first, wrong, other = an_answer(1), an_answer(2, day=25000), an_answer(3, day=3, card="b")
    for answer in (first, wrong, other, an_answer(4, "found", 5)):
        book.save_answer(answer)
    assert {memory.last for memory in book.memory_of(1).values()} == {wrong.study_day}
    assert book.study_days(1)[-1].day == wrong.study_day
    book.void([wrong.answer_id], "wrong clock", MOMENT)
    expected = replay_log([("found", DAY, 0.9), ("found", DAY + timedelta(days=5), 0.9)])
    assert book.memory_of(1)[ITEM] == expected
    assert book.memory_of(1)[other.item] == review(None, "found", DAY + timedelta(days=3))
    assert [each.day for each in book.study_days(1)] == [DAY + timedelta(days=days) for days in (0, 3, 5)]


def test_an_answer_of_1970_first_gives_no_interval_of_months_once_it_is_voided(book: Scorebook) -> None:
    wrong = replace(an_answer(1), study_day=date(1970, 1, 1))
    book.save_answer(wrong)
    months = book.save_answer(an_answer(2))
    assert isinstance(months, Memory)
    assert (months.due - months.last).days > 60
    book.void([wrong.answer_id], "wrong clock", MOMENT)
    assert book.memory_of(1) == {ITEM: review(None, "found", DAY)}


def test_voiding_keeps_the_log_and_holds_whatever_the_clock_says_at_the_time(book: Scorebook) -> None:
    book.save_answer(an_answer(1, "missed"))
    only = an_answer(1).answer_id
    book.correct(only, "partly", "Rd1 wins too", datetime(2099, 1, 1, tzinfo=UTC))
    assert book.void([only, only], "wrong clock", MOMENT) == 1
    assert book.void([only], "once more", MOMENT) == 0
    assert (book.answers(1), book.memory_of(1), book.study_days(1)) == ([], {}, [])
    assert book.entries() == [Entry(only, 1, ITEM, str(DAY), "missed", "wrong clock")]
    assert book.entries(DAY) == book.entries()
    assert book.entries(DAY + timedelta(days=1)) == []
    with pytest.raises(ScorebookError, match=f"answer {only} is voided"):
        book.save_answer(an_answer(1))
    assert book.unvoid([only], "it was right", MOMENT) == 1
    assert [answer.grade for answer in book.answers(1)] == ["partly"]
    assert (book.entries(), book.unvoid([only], "", MOMENT)) == ([], 0)
    assert [correction.grade for correction in book.corrections(1)] == ["partly", None, "partly"]


def test_voiding_an_answer_that_is_not_there_is_refused_and_changes_nothing(book: Scorebook) -> None:
    book.save_answer(an_answer(1))
    with pytest.raises(ScorebookError, match=f"there is no answer {an_answer(9).answer_id}"):
        book.void([an_answer(1).answer_id, an_answer(9).answer_id], "", MOMENT)
    assert book.entries() == []


def test_a_contested_grade_of_a_voided_answer_counts_again_with_its_day(book: Scorebook) -> None:
    wrong, later = an_answer(1, day=25000), an_answer(2, day=3, card="b")
    for answer in (wrong, later):
        book.save_answer(answer)
    book.void([wrong.answer_id], "", MOMENT)
    book.correct(wrong.answer_id, "missed", "it was asked after all", MOMENT + timedelta(days=1))
    assert book.memory_of(1)[later.item].last == wrong.study_day
    assert book.replay() == []


def test_another_students_clock_changes_nothing(book: Scorebook) -> None:
    anna = book.student("Anna Brook")
    book.save_answer(replace(an_answer(1, day=25000), student=anna))
    assert book.save_answer(an_answer(2)).last == DAY
    assert book.last_answer(1) == an_answer(2)
    assert book.dated_after(anna, DAY) == [an_answer(1).answer_id]
    assert book.dated_after(1, DAY) == []
    assert book.last_answer(book.student("Tom Reed")) is None


def test_an_answer_is_saved_without_reading_the_whole_log(book: Scorebook) -> None:
    plan = book._rows(
        "EXPLAIN QUERY PLAN SELECT day_now FROM counted WHERE student = 1 AND item = ? ORDER BY arrival", ITEM
    )
    assert "USING INDEX reviews_by_item (student=? AND item=?)" in str(plan)
    assert "ORDER BY" not in str([row for row in plan if row["parent"] == 0])


def test_an_answer_of_an_unknown_student_or_deck_is_refused_and_leaves_nothing(book: Scorebook) -> None:
    for wrong in (replace(an_answer(1), student=7), replace(an_answer(1), deck=DECK.replace("1", "2"))):
        with pytest.raises(ScorebookError, match="isn't in the scorebook"):
            book.save_answer(wrong)
    assert book.answers(1) == []
    assert book.memory_of(1) == {}


@pytest.mark.parametrize(
    "statement",
    [
        "DELETE FROM {table}",
        "UPDATE {table} SET grade = 'fluent'",
        "INSERT OR REPLACE INTO {table} SELECT * FROM {table}",
    ],
)
@pytest.mark.parametrize("table", ["reviews", "corrections", "contests"])
def test_the_log_is_append_only_for_any_program(book: Scorebook, table: str, statement: str) -> None:
    book.save_answer(an_answer(1))
    book.contest(an_answer(1).answer_id, "partly", an_answer(2).time)
    book.correct(an_answer(1).answer_id, "partly", "the other rook works too", an_answer(2).time)
    with closing(sqlite3.connect(book.path)) as other:
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            other.execute(statement.format(table=table))
        assert other.execute(f"SELECT count(*) FROM {table}").fetchone() == (1,)


# Corrected and contested grades


def test_a_corrected_grade_counts_from_then_on_and_the_answer_stays(book: Scorebook) -> None:
    book.save_answer(an_answer(1, "missed"))
    book.save_answer(an_answer(2, "found", 4))
    contested = an_answer(1).answer_id
    memory = book.correct(contested, "found", "Rd1 wins too", an_answer(3).time, str(uuid5(UUID(DECK), "c")))
    assert memory == replay_log([("found", DAY, 0.9), ("found", DAY + timedelta(days=4), 0.9)])
    assert book.memory_of(1) == {ITEM: memory}
    assert [answer.grade for answer in book.answers(1)] == ["found", "found"]
    assert [answer.grade for answer in book.answers(1, as_corrected=False)] == ["missed", "found"]
    (correction,) = book.corrections(1)
    assert correction == Correction(
        str(uuid5(UUID(DECK), "c")), contested, "found", "Rd1 wins too", an_answer(3).time
    )
    again = book.correct(contested, "missed", "", an_answer(9).time, correction.correction_id)
    assert (again, book.corrections(1)) == (memory, [correction])
    assert book.replay() == []


def test_the_later_of_two_corrections_counts_in_either_order(book: Scorebook) -> None:
    book.save_answer(an_answer(1, "missed"))
    book.correct(an_answer(1).answer_id, "partly", "the coach's word", an_answer(8).time)
    book.correct(an_answer(1).answer_id, "fluent", "merged later, but older", an_answer(5).time)
    assert book.answers(1)[0].grade == "partly"
    assert book.memory_of(1)[ITEM] == review(None, "partly", DAY)


def test_correcting_a_missing_answer_is_refused(book: Scorebook) -> None:
    with pytest.raises(ScorebookError, match="there is no answer"):
        book.correct(an_answer(1).answer_id, "found", "", an_answer(1).time)


def test_a_contest_changes_nothing_until_a_correction_decides_it(book: Scorebook) -> None:
    memory = book.save_answer(an_answer(1, "missed"))
    first = book.contest(an_answer(1).answer_id, "found", an_answer(5).time)
    assert (book.answers(1)[0].grade, book.memory_of(1)) == ("missed", {ITEM: memory})
    claim = Contest(first, an_answer(1).answer_id, "found", an_answer(5).time)
    assert book.open_contests(1) == [claim]
    assert book.open_contests(2) == []
    book.correct(an_answer(1).answer_id, "missed", "an older word on it", an_answer(4).time)
    assert book.open_contests(1) == [claim]
    book.correct(an_answer(1).answer_id, "found", "Rd1 wins too", an_answer(6).time)
    assert book.open_contests(1) == []
    second = book.contest(an_answer(1).answer_id, "fluent", an_answer(7).time)
    assert [contest.contest_id for contest in book.open_contests(1)] == [second]
    assert (book.answers(1)[0].grade, book.replay()) == ("found", [])


def test_a_contest_is_open_again_when_its_voided_answer_counts_again(book: Scorebook) -> None:
    only = an_answer(1).answer_id
    book.save_answer(an_answer(1, "missed"))
    contest = book.contest(only, "found", an_answer(2).time)
    decided = book.contest(only, "fluent", an_answer(2).time)
    book.withdraw(decided, an_answer(3).time)
    for _ in range(2):
        book.void([only], "wrong clock", MOMENT)
        assert book.open_contests(1) == []
        book.unvoid([only], "it was right", MOMENT)
        assert [each.contest_id for each in book.open_contests(1)] == [contest]
    assert [each.unvoids for each in book.corrections(1)] == [False, True] * 2
    book.void([only], "wrong clock", MOMENT)
    book.correct(only, "missed", "it was asked after all", MOMENT + timedelta(days=1))
    assert (book.open_contests(1), book.replay()) == ([], [])


def test_a_withdrawn_contest_is_no_longer_open_whatever_the_clock_said(book: Scorebook) -> None:
    book.save_answer(an_answer(1, "missed"))
    first, second = (book.contest(an_answer(1).answer_id, "found", an_answer(n).time) for n in (5, 6))
    for _ in range(2):
        book.withdraw(first, an_answer(2).time)
    assert [contest.contest_id for contest in book.open_contests(1)] == [second]
    with closing(sqlite3.connect(book.path)) as other:
        assert other.execute("SELECT count(*) FROM contests").fetchone() == (3,)


def test_contesting_or_withdrawing_what_is_not_there_is_refused(book: Scorebook) -> None:
    with pytest.raises(ScorebookError, match="there is no answer"):
        book.contest(an_answer(1).answer_id, "found", an_answer(1).time)
    with pytest.raises(ScorebookError, match="there is no contest"):
        book.withdraw(an_answer(1).answer_id, an_answer(1).time)


def test_a_decision_holds_whatever_the_clock_said_and_closes_every_claim(book: Scorebook) -> None:
    book.save_answer(an_answer(1, "missed"))
    book.save_answer(an_answer(2, "found", 4))
    only = an_answer(1).answer_id
    book.correct(only, "partly", "half of it", an_answer(7).time)
    first, _ = (book.contest(only, "found", an_answer(n).time) for n in (8, 9))
    memory = book.decide(first, "found", "Rd1 wins too", an_answer(3).time)
    assert memory == replay_log([("found", DAY, 0.9), ("found", DAY + timedelta(days=4), 0.9)])
    assert book.memory_of(1) == {ITEM: memory}
    assert [(each.grade, each.reason) for each in book.corrections(1)] == [
        ("partly", "half of it"),
        ("found", "Rd1 wins too"),
    ]
    assert (book.open_contests(1), book.disputes(), book.replay()) == ([], [], [])


def test_a_refusal_leaves_grade_and_memory_and_decides_too(book: Scorebook) -> None:
    memory = book.save_answer(an_answer(1, "missed"))
    contest = book.contest(an_answer(1).answer_id, "found", an_answer(2).time)
    assert book.decide(contest, "missed", "it loses a rook", an_answer(3).time) == memory
    assert (book.open_contests(1), book.answers(1)[0].grade) == ([], "missed")


def test_a_decision_is_replaced_only_if_that_is_wanted(book: Scorebook) -> None:
    book.save_answer(an_answer(1, "missed"))
    contest = book.contest(an_answer(1).answer_id, "found", an_answer(2).time)
    assert book.decided_disputes() == []
    found = book.decide(contest, "found", "it wins too", an_answer(4).time)
    assert book.decide(contest, "missed", "by an engine", an_answer(5).time) == found
    ((claim, answer, contested),) = book.decided_disputes()
    assert (claim.contest_id, answer.grade, contested) == (contest, "found", "missed")
    book.decide(contest, "missed", "it does not", an_answer(3).time, again=True)  # the clock was set back
    assert [(each.grade, each.reason) for each in book.corrections(1)] == [
        ("found", "it wins too"),
        ("missed", "it does not"),
    ]
    assert (book.answers(1)[0].grade, book.settled()[-1].grade, book.replay()) == ("missed", "missed", [])


def test_of_an_answer_the_last_claim_is_decided_anew_and_about_the_grade_of_then(book: Scorebook) -> None:
    book.save_answer(an_answer(1, "missed"))
    only = an_answer(1).answer_id
    book.decide(book.contest(only, "found", an_answer(2).time), "partly", "half of it", an_answer(3).time)
    last = book.contest(only, "found", an_answer(4).time)
    assert book.decided_disputes() == [], "one waits"
    book.decide(last, "found", "all of it", an_answer(5).time)
    ((claim, _, contested),) = book.decided_disputes()
    assert (claim.contest_id, contested) == (last, "partly")
    taken_back = book.contest(only, "fluent", an_answer(6).time)
    book.withdraw(taken_back, an_answer(7).time)
    assert [claim.contest_id for claim, *_ in book.decided_disputes()] == [last]
    book.decide(taken_back, "fluent", "too late", an_answer(8).time, again=True)
    assert book.answers(1)[0].grade == "found"
    book.void([only], "two boards were mixed up", an_answer(9).time)
    assert book.decided_disputes() == []
    with pytest.raises(ScorebookError, match="is voided"):
        book.decide(last, "missed", "too late", an_answer(10).time, again=True)


def test_a_contest_that_is_no_longer_open_is_not_decided(book: Scorebook) -> None:
    memory = book.save_answer(an_answer(1, "missed"))
    contest = book.contest(an_answer(1).answer_id, "found", an_answer(2).time)
    book.withdraw(contest, an_answer(3).time)
    assert book.decide(contest, "found", "too late", an_answer(4).time) == memory
    assert book.corrections(1) == []
    with pytest.raises(ScorebookError, match="there is no contest"):
        book.decide(an_answer(1).answer_id, "found", "", an_answer(4).time)


def test_disputes_are_the_open_contests_of_all_students_with_the_grade_that_holds_now(
    book: Scorebook,
) -> None:
    assert book.disputes() == []
    other = replace(an_answer(2, "partly"), student=book.student("Tom Reed"))
    for answer in (an_answer(1, "missed"), other):
        book.save_answer(answer)
    later = book.contest(an_answer(1).answer_id, "found", an_answer(9).time)
    earlier = book.contest(other.answer_id, "found", an_answer(8).time)
    assert [(claim.contest_id, answer) for claim, answer in book.disputes()] == [
        (earlier, other),
        (later, an_answer(1, "missed")),
    ]
    book.correct(an_answer(1).answer_id, "partly", "an older word", an_answer(7).time)
    assert [answer.grade for _, answer in book.disputes()] == ["partly", "partly"]
    book.void([other.answer_id], "wrong clock", an_answer(9).time)
    assert [claim.contest_id for claim, _ in book.disputes()] == [later]


# Usual time and replay


def test_own_times_are_those_of_the_last_right_answers_to_an_ask_in_a_tier(
    book: Scorebook, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number in range(4):
        book.save_answer(replace(an_answer(number, seconds=10.0 + number), tier=1 + number % 2))
        book.save_answer(an_answer(100 + number, "missed", number, seconds=500.0))
        book.save_answer(an_answer(200 + number, "found", number, ask="spot", seconds=1.0))
    assert book.own_times(1, "play") == [13.0, 12.0, 11.0, 10.0]
    assert book.own_times(1, "play", tier=2) == [13.0, 11.0]
    assert book.own_times(1, "play", parts=2) == [13.0, 12.0, 11.0, 10.0]
    assert book.own_times(1, "play", parts=3) == []
    book.correct(an_answer(3).answer_id, "helped", "I had help", an_answer(400).time)
    monkeypatch.setattr("decks.scorebook.log_read.OWN_TIMES", 2)
    assert book.own_times(1, "play") == [12.0, 11.0]


def test_study_days_hold_what_was_done_on_each(book: Scorebook) -> None:
    assert book.study_days(1) == []
    other = book.student("Anna Brook")
    for answer in (
        an_answer(1, seconds=10),
        an_answer(2, seconds=20, ask="spot"),  # the same card at first sight is one first meeting
        an_answer(3, seconds=40, card="b"),
        replace(an_answer(4, seconds=80, card="c"), deck=None),
        replace(an_answer(5, seconds=160, card="d"), first_sight=None),
        replace(an_answer(6, "missed", 3, seconds=7), first_sight=False),
        replace(an_answer(7, "found", 0, seconds=3, card="e"), time=an_answer(1, day=5).time),  # clock back
        replace(an_answer(8), student=other),
    ):
        book.save_answer(answer)
    assert book.study_days(1) == [
        DaySoFar(DAY, seconds=310.0, due_seconds=160.0, first_meetings=3),
        DaySoFar(DAY + timedelta(days=3), seconds=10.0, due_seconds=7.0, first_meetings=1),
    ]


def test_replay_names_and_repairs_each_memory_that_differs_from_the_log(book: Scorebook) -> None:
    kept = book.save_answer(an_answer(1))
    changed = book.save_answer(an_answer(2, card="b"))
    lost = book.save_answer(an_answer(3, card="c"))
    assert isinstance(kept, Memory) and isinstance(changed, Memory)
    assert book.replay() == []
    with closing(sqlite3.connect(book.path)) as other, other:
        other.execute("UPDATE memory SET stability = stability * 1.001 WHERE item LIKE '%/b/play'")
        other.execute("DELETE FROM memory WHERE item LIKE '%/c/play'")
        other.execute(
            "INSERT INTO memory SELECT 1, 'motif:ghost/spot', 5, 5, last, due, 0, NULL FROM memory LIMIT 1"
        )
    expected = [
        Difference(1, f"card:{DECK}/b/play", replace(changed, stability=changed.stability * 1.001), changed),
        Difference(1, f"card:{DECK}/c/play", None, lost),
        Difference(1, "motif:ghost/spot", Memory(5.0, 5.0, kept.last, kept.due), None),
    ]
    assert book.replay() == expected
    assert book.replay(mend=True) == expected
    assert book.replay() == []
    assert book.memory_of(1).keys() == {ITEM, f"card:{DECK}/b/play", f"card:{DECK}/c/play"}


# Damage

MEMORY_DAMAGE = [
    "due = 'soon'",
    "last = '2031-02-30'",
    "last = 7",
    "stability = 'long'",
    "stability = 9e999",
    "difficulty = -1",
    "difficulty = x'00ff'",
    "student = 'me'",
    "item = x'00ff'",
    "item = CAST(x'80ff' AS TEXT)",
    "due = CAST(x'80ff' AS TEXT)",
]


def damaged(path: Path, *statements: str) -> None:
    """Change a scorebook as only a bad disk would: no rule of the schema stops it."""
    with closing(sqlite3.connect(path)) as other, other:
        other.execute("PRAGMA ignore_check_constraints = ON")
        triggers = other.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in triggers:
            other.execute(f"DROP TRIGGER {name}")
        for statement in (*statements, *(sql for _, sql in triggers)):
            other.execute(statement)


@pytest.mark.parametrize("damage", MEMORY_DAMAGE)
def test_damaged_memories_are_mended_without_being_read(book: Scorebook, damage: str) -> None:
    kept = {
        ITEM: book.save_answer(an_answer(1)),
        an_answer(2, card="b").item: book.save_answer(an_answer(2, card="b")),
    }
    damaged(book.path, f"UPDATE memory SET {damage} WHERE item = '{ITEM}'")
    if not damage.startswith(("student", "item = x")):
        with pytest.raises(DamagedMemoryError, match="the stored memories are damaged") as caught:
            book.memory_of(1)
        assert "\n" not in str(caught.value)
    differences = book.replay()
    assert Difference(1, ITEM, None, kept[ITEM]) in differences
    assert book.replay(mend=True) == differences
    assert (book.replay(), book.memory_of(1)) == ([], kept)


LOG_DAMAGE = [
    ("answer_id", "'12ddd155'"),
    ("answer_id", "x'00ff'"),
    ("student", "'me'"),
    ("item", "'card:x'"),
    ("item", "'motif:fork/spot'"),
    ("item", "x'00ff'"),
    ("ask", "'spot'"),
    ("study_day", "'yesterday'"),
    ("study_day", "'2031-02-30'"),
    ("study_day", "'0000-01-01'"),
    ("study_day", "'9999-12-31'"),
    ("study_day", "20310505"),
    ("time", "'noon'"),
    ("time", "'2031-05-05T18:01:00.000000'"),
    ("time", "'2031-05-05T18:61:00.000000+00:00'"),
    ("time", "'2031-05-05T24:00:00.000000+00:00'"),
    ("time", "'2031-02-30T18:01:00.000000+00:00'"),
    ("time", "5"),
    ("score", "'good'"),
    ("score", "2"),
    ("grade", "'brilliant'"),
    ("seconds", "'long'"),
    ("seconds", "-1"),
    ("hints", "'none'"),
    ("target_recall", "'firm'"),
    ("target_recall", "1.0"),
    ("target_recall", "0"),
]


@pytest.mark.parametrize(("column", "value"), LOG_DAMAGE)
def test_a_damaged_row_of_the_log_is_named_and_the_rest_is_used(
    book: Scorebook, column: str, value: str
) -> None:
    good, wrong = an_answer(1), an_answer(2, "missed", 1)
    for answer in (good, wrong):
        book.save_answer(answer)
    assert book.damage() == []
    damaged(book.path, f"UPDATE reviews SET {column} = {value} WHERE answer_id = '{wrong.answer_id}'")
    (damage,) = book.damage()
    assert damage.kind == "answer"
    assert str(damage).startswith(f"answer {damage.id} is damaged and takes no part: ")
    assert damage.wrong.startswith(f"{'item' if column == 'ask' else column} ")
    assert book.answers(1) == [good]
    assert [each.day for each in book.study_days(1)] == [DAY]
    assert book.last_answer(1) == good
    assert len(book.replay(mend=True)) == 1
    assert book.memory_of(1) == {ITEM: review(None, "found", DAY)}
    assert book.save_answer(an_answer(3, "found", 4)).last == DAY + timedelta(days=4)
    assert len(book.entries()) == 0


@pytest.mark.parametrize(("column", "value"), [("time", "'noon'"), ("grade", "'brilliant'")])
def test_a_damaged_correction_is_named_and_corrects_nothing(book: Scorebook, column: str, value: str) -> None:
    book.save_answer(an_answer(1, "missed"))
    book.correct(an_answer(1).answer_id, "found", "Rd1 wins too", MOMENT)
    damaged(book.path, f"UPDATE corrections SET {column} = {value}")
    (damage,) = book.damage()
    assert (damage.kind, damage.wrong.split()[0]) == ("correction", column)
    assert [answer.grade for answer in book.answers(1)] == ["missed"]
    assert len(book.replay()) == 1


# The file


def test_the_default_path_is_the_one_the_environment_names(
    own_scorebook: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert default_path() == own_scorebook
    monkeypatch.delenv("RONDEAU_SCOREBOOK")
    assert default_path().parent.name == "rondeau"


def test_a_scorebook_is_made_with_its_folders_and_keeps_what_it_held(tmp_path: Path) -> None:
    path = tmp_path / "new" / "folder" / "scorebook.sqlite"
    with Scorebook.open(path) as book:
        assert book.student() == 1
        book.register_deck(DECK, "Saltmarsh files", "saltmarsh")
        memory = book.save_answer(an_answer(1))
    with Scorebook.open(path) as book:
        assert book.memory_of(1) == {ITEM: memory}
    with closing(sqlite3.connect(path)) as plain:
        assert plain.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_answers_are_synchronised_to_disk(book: Scorebook) -> None:
    assert book._db.execute("PRAGMA synchronous").fetchall() == [(2,)]
    assert book._db.execute("PRAGMA foreign_keys").fetchall() == [(1,)]


def test_an_insert_does_not_create_a_missing_table(book: Scorebook) -> None:
    with pytest.raises(NoTable, match="no table reveiws"):
        book._db.table("reveiws").insert({"answer_id": "1"})
    with pytest.raises(sqlite3.OperationalError, match="no such table: reveiws"):
        book._db.insert("reveiws", {"answer_id": "1"})
    assert "reveiws" not in book._db.table_names()


@pytest.mark.parametrize(
    "content", [b'[Event "?"]\n\n1. e4 *\n', b"not a database, but longer than a header" * 99]
)
def test_a_file_that_is_no_database_is_refused_and_left_alone(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "club.pgn"
    path.write_bytes(content)
    refused(path, "file is not a database")
    assert path.read_bytes() == content


def test_a_database_of_another_kind_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "other.sqlite"
    with closing(sqlite3.connect(path)) as other, other:
        other.execute("CREATE TABLE recipes (name TEXT)")
    before = path.read_bytes()
    refused(path, "not a scorebook")
    assert path.read_bytes() == before


def test_a_newer_scorebook_is_refused_and_left_alone(book: Scorebook) -> None:
    book.close()
    with closing(sqlite3.connect(book.path)) as newer, newer:
        newer.execute(
            "INSERT INTO _sqlite_migrations VALUES (99, 'scorebook', '0099-from-the-future', '2040')"
        )
    before = book.path.read_bytes()
    refused(book.path, "newer version of Rondeau (it has 0099-from-the-future)")
    assert book.path.read_bytes() == before


def test_a_folder_in_the_place_of_the_file_is_refused(tmp_path: Path) -> None:
    refused(tmp_path, "unable to open database file")


def refused(path: Path, reason: str) -> None:
    with pytest.raises(ScorebookError) as caught:
        Scorebook.open(path)
    message = str(caught.value)
    assert message.startswith(f"{path}: ")
    assert reason in message
    assert "\n" not in message


def the_first_step() -> Migrations:
    """The migrations of the first version."""
    first = Migrations("scorebook")
    first(name="0001-first-tables")(scorebook_schema.first_tables)
    return first


def with_a_step(patch: pytest.MonkeyPatch, *statements: str) -> None:
    """Let this be a later version, which has a step more."""
    later = Migrations("scorebook")
    with Database(memory=True, execute_plugins=False) as empty:
        for each in scorebook_schema.MIGRATIONS.pending(empty):
            later(name=each.name)(each.fn)

    @later(name="0099-test")
    def step(db: Database) -> None:
        for statement in statements:
            db.execute(statement)

    patch.setattr(scorebook_schema, "MIGRATIONS", later)
    patch.setattr(scorebook_file, "STEPS", (*STEPS, "0099-test"))


def test_the_steps_are_those_that_the_migrations_take() -> None:
    with Database(memory=True, execute_plugins=False) as empty:
        assert tuple(each.name for each in scorebook_schema.MIGRATIONS.pending(empty)) == STEPS


def test_an_older_scorebook_is_brought_up_to_date(book: Scorebook, monkeypatch: pytest.MonkeyPatch) -> None:
    book.save_answer(an_answer(1))
    book.close()
    with_a_step(monkeypatch, "CREATE TABLE added (x INTEGER)")
    with Scorebook.open(book.path) as updated:
        assert updated._rows("SELECT * FROM added") == []
        assert updated.answers(1) == [an_answer(1)]


def test_a_log_that_knew_four_asks_keeps_every_row_and_takes_any_ask(tmp_path: Path) -> None:
    path = tmp_path / "old.sqlite"
    every_row = [
        "SELECT answer_id, raw, grade, study_day, time, target_recall FROM reviews ORDER BY answer_id",
        "SELECT correction_id, answer_id, grade, reason, time FROM corrections ORDER BY correction_id",
        "SELECT item, stability, difficulty, last, due FROM memory WHERE item GLOB 'card:*' ORDER BY item",
    ]
    with closing(sqlite3.connect(path)) as old:
        old.executescript((Path(__file__).parent / "scorebook_0001.sql").read_text(encoding="utf-8"))
        before = [old.execute(rows).fetchall() for rows in every_row]
        with pytest.raises(sqlite3.IntegrityError, match="CHECK"):
            old.execute(ODD_ASK)
    with Scorebook.open(path) as book:
        assert [book._db.execute(rows).fetchall() for rows in every_row] == before
        assert [len(rows) for rows in before] == [4, 1, 2]
        assert book.replay() == []
        book._db.execute(ODD_ASK)
        for change in ("DELETE FROM reviews", "UPDATE corrections SET reason = ''"):
            with pytest.raises(sqlite3.IntegrityError, match="append-only"):
                book._db.execute(change)
        with pytest.raises(sqlite3.IntegrityError, match="FOREIGN KEY"):
            book._db.execute("INSERT INTO corrections VALUES ('x', 'nobody', 'found', '', '', 0)")


ODD_ASK = (
    "INSERT INTO reviews (answer_id, student, item, card_id, ask, fen, key_version, raw, score, grade, "
    "seconds, hints, study_day, time, target_recall) VALUES ('an id', 1, 'card:d/c/odd', 'c', 'odd', 'fen', "
    "'v', '{}', 1, 'found', 1, 0, '2031-05-05', '2031-05-05T18:00:00+00:00', 0.9)"
)


def test_a_migration_that_fails_leaves_the_file_as_it_was(
    book: Scorebook, monkeypatch: pytest.MonkeyPatch
) -> None:
    book.close()
    with monkeypatch.context() as patched:
        with_a_step(patched, "CREATE TABLE added (x)", "NONSENSE")
        refused(book.path, "syntax error")
    with Scorebook.open(book.path) as again:
        assert "added" not in again._db.table_names()


def test_a_scorebook_of_the_first_version_opens_and_keeps_everything(tmp_path: Path) -> None:
    """That version kept the record of its migrations by itself; the dump is of a file it made."""
    path = tmp_path / "scorebook.sqlite"
    with closing(sqlite3.connect(path)) as old:
        old.executescript((Path(__file__).parent / "scorebook_0001.sql").read_text(encoding="utf-8"))
    with Scorebook.open(path) as book:
        assert book.students() == {1: "me", 2: "Änna Brook"}
        assert book.decks() == [(DECK, "Saltmarsh files", "saltmarsh")]
        assert book.answers(1) == [an_answer(1, "found"), an_answer(2, "found", 4)]
        assert book.answers(1, as_corrected=False)[0] == an_answer(1, "missed")
        assert book.answers(2) == [
            replace(an_answer(3, "partly", 5, ask="spot"), student=2, first_sight=None),
            replace(
                an_answer(4, "fluent", 6), student=2, deck=None, item="motif:fork/play", first_sight=False
            ),
        ]
        assert [correction.reason for correction in book.corrections(1)] == ["Rd1 wins too"]
        assert len(book.memory_of(1)) == 1
        assert len(book.memory_of(2)) == 1
        fork = book.strand_states(2)[Strand("fork", "play")]
        assert (fork.asked, fork.returns, fork.first_sight) == (1, date(2031, 5, 18), ())
        assert book.last_seen(1) == {chess.STARTING_FEN: date(2031, 5, 9)}
        assert book.seen_before(1, date(2031, 5, 6), [chess.STARTING_FEN]) == {chess.STARTING_FEN}
        assert book.replay() == []
        assert book.findings(1) == [FindingRow(1, 9, "fork", "white", 1 << 63, 1 << 36, 1 << 20, "Rd1")]
        assert book.motif_counts("Wren, Ada") == [MotifCount("fork", "player", 1, 1, 1, 0, 0)]
        assert book.preparation(1, date(2031, 6, 1)) == '{"days": 2}'
        later = book.save_answer(an_answer(5, "found", 9))
        assert book.memory_of(1) == {ITEM: later}


def objects(connection: sqlite3.Connection) -> list[tuple[str, ...]]:
    """Every table, index, trigger and view, spacing aside."""
    rows = connection.execute("SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY type, name")
    return [tuple("".join(str(cell).split()) for cell in row) for row in rows]


def test_the_first_step_makes_the_tables_of_the_first_version() -> None:
    with closing(sqlite3.connect(":memory:")) as old:
        old.executescript((Path(__file__).parent / "scorebook_0001.sql").read_text(encoding="utf-8"))
        with Database(memory=True, execute_plugins=False) as new:
            the_first_step().apply(new)
            assert objects(new.conn) == objects(old)
        assert len(objects(old)) > 15


def test_a_scorebook_of_the_first_version_comes_to_have_the_tables_of_a_new_one(
    book: Scorebook, tmp_path: Path
) -> None:
    path = tmp_path / "old.sqlite"
    with closing(sqlite3.connect(path)) as old:
        old.executescript((Path(__file__).parent / "scorebook_0001.sql").read_text(encoding="utf-8"))
    with Scorebook.open(path) as updated:
        assert objects(book._db.conn) == objects(updated._db.conn)
        assert len(objects(book._db.conn)) > 20


def test_opening_a_scorebook_imports_no_library_that_the_first_board_would_wait_for(book: Scorebook) -> None:
    book.student()
    script = (
        "import sys; from pathlib import Path; from decks.scorebook.book import Scorebook\n"
        "with Scorebook.open(Path(sys.argv[1])) as book:\n"
        "    book.student(); print({'numpy', 'platformdirs', 'sqlite_utils'} & sys.modules.keys())\n"
        "    book.student('Nia'); print('sqlite_utils' in sys.modules, 'numpy' in sys.modules)\n"
        "import numpy; print(numpy.arange(3).sum())"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, str(book.path)], capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == ["set()", "True", "False", "3"]


def test_a_scorebook_runs_no_plugin_of_the_database_library(book: Scorebook, tmp_path: Path) -> None:
    class Plugin:
        @hookimpl
        def prepare_connection(self, conn: sqlite3.Connection) -> None:
            raise AssertionError("a plugin was given the scorebook")

    plugin = Plugin()
    pm.register(plugin)
    try:
        with pytest.raises(AssertionError, match="was given"):
            Database(memory=True)
        book.backup(tmp_path / "copy.sqlite")
        book.restore(tmp_path / "copy.sqlite")
        with a_new_book(tmp_path / "new.sqlite") as new:
            assert new.replay() == []
    finally:
        pm.unregister(plugin)


# Several processes at once

STUDENT_ADDER = """
import sys
from pathlib import Path
from decks.scorebook.book import Scorebook
sys.stdin.readline()
with Scorebook.open(Path(sys.argv[1])) as book:
    book.student(sys.argv[2])
"""


def test_eight_processes_can_open_a_new_scorebook_at_once(tmp_path: Path) -> None:
    path = tmp_path / "scorebook.sqlite"
    processes = [
        subprocess.Popen(
            [sys.executable, "-c", STUDENT_ADDER, str(path), f"student {number}"],
            stdin=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for number in range(8)
    ]
    for process in processes:
        assert process.stdin is not None
        process.stdin.write("go\n")
        process.stdin.flush()
    complaints = [process.communicate()[1] for process in processes]
    assert complaints == [""] * 8
    with Scorebook.open(path) as book:
        assert sorted(book.students().values()) == [f"student {number}" for number in range(8)]


def quick_processes(monkeypatch: pytest.MonkeyPatch) -> ForkServerContext:
    """Processes that import once, and then each start is a fork."""
    here = Path(__file__).parent
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(here.parent), str(here)]))
    processes = multiprocessing.get_context("forkserver")
    processes.set_forkserver_preload(["pytest", "made_answers"])
    return processes


@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL is POSIX")
def test_no_acknowledged_answer_is_lost_by_fifty_kills(
    book: Scorebook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two processes at a time write to one file, and are killed (SIGKILL) at a random moment, 25 times."""
    processes = quick_processes(monkeypatch)
    dice = random.Random(50)
    acknowledged: list[str] = []
    kills = 0
    for _ in range(25):
        outputs = [tmp_path / "first", tmp_path / "second"]
        writers = []
        for output in outputs:
            output.write_text("")
            writers.append(processes.Process(target=save_answers_until_killed, args=(book.path, output)))
            writers[-1].start()
        for writer, output in zip(writers, outputs, strict=True):
            while not output.stat().st_size and writer.is_alive():
                sleep(0.001)
            sleep(dice.uniform(0.0, 0.05))
            writer.kill()
            writer.join()
            assert writer.exitcode == -signal.SIGKILL
            kills += 1
            lines = output.read_text().splitlines(keepends=True)
            acknowledged += [line.strip() for line in lines if line.endswith("\n")]
    assert kills == 50
    assert len(acknowledged) >= kills
    kept = {answer.answer_id for answer in book.answers(1)}
    assert set(acknowledged) <= kept
    assert len(set(acknowledged)) == len(acknowledged)
    assert len(kept) - len(acknowledged) <= kills, "at most the one answer each had not yet acknowledged"
    assert book._db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert book.replay() == []


# Copies


def test_a_backup_is_one_file_that_holds_everything(book: Scorebook, tmp_path: Path) -> None:
    book.save_answer(an_answer(1))
    copy = tmp_path / "keep" / "copy.sqlite"
    book.backup(copy)
    book.save_answer(an_answer(2, "found", 3))
    assert [file.name for file in copy.parent.iterdir()] == ["copy.sqlite"]
    with Scorebook.open(copy) as other:
        assert other.answers(1) == [an_answer(1)]
    book.backup(copy)
    with Scorebook.open(copy) as other:
        assert len(other.answers(1)) == 2


def test_a_backup_never_replaces_a_file_that_is_no_scorebook(book: Scorebook, tmp_path: Path) -> None:
    notes = tmp_path / "notes.txt"
    notes.write_text("Saltmarsh, round 3: bring the clocks.\n" * 50)
    with pytest.raises(ScorebookError, match=r"notes\.txt: file is not a database"):
        book.backup(notes)
    assert notes.read_text().startswith("Saltmarsh")


def test_a_backup_onto_the_scorebook_itself_is_refused(book: Scorebook) -> None:
    with Scorebook.open(book.path) as other, pytest.raises(ScorebookError, match="is the scorebook itself"):
        other.backup(book.path.parent / "." / book.path.name)
    book.save_answer(an_answer(1))
    with Scorebook.open(book.path) as later:
        assert len(later.answers(1)) == 1, "the file under an open session must stay the same one"


def test_a_backup_does_not_replace_a_scorebook_that_is_open(
    book: Scorebook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(scorebook_file, "WAIT_SECONDS", 0.1)
    with a_new_book(tmp_path / "other.sqlite") as other:
        with pytest.raises(ScorebookError, match=r"other\.sqlite: database is locked"):
            book.backup(other.path)
        other.save_answer(an_answer(1))
    with Scorebook.open(tmp_path / "other.sqlite") as later:
        assert len(later.answers(1)) == 1


def test_what_a_killed_process_left_beside_an_older_copy_does_not_reach_the_new_one(
    book: Scorebook, tmp_path: Path
) -> None:
    copy = tmp_path / "copy.sqlite"
    with a_new_book(tmp_path / "other.sqlite") as other:
        other.save_answer(an_answer(2))
        for ending in ("", "-wal"):  # as a kill leaves them
            shutil.copy(f"{other.path}{ending}", f"{copy}{ending}")
    book.save_answer(an_answer(1))
    book.backup(copy)
    with Scorebook.open(copy) as opened:
        assert opened.answers(1) == [an_answer(1)]


def test_a_backup_touches_no_file_but_its_own(book: Scorebook, tmp_path: Path) -> None:
    theirs = tmp_path / "copy.sqlite.part"
    theirs.write_text("half of something else")
    book.backup(tmp_path / "copy.sqlite")
    assert theirs.read_text() == "half of something else"


def test_a_restore_brings_the_copy_back_and_keeps_the_replaced_file(book: Scorebook, tmp_path: Path) -> None:
    book.save_answer(an_answer(1))
    book.backup(tmp_path / "copy.sqlite")
    book.save_answer(an_answer(2, "found", 3))
    for number in (1, 2):
        kept = book.restore(tmp_path / "copy.sqlite")
        assert kept == book.path.with_name(f"scorebook.sqlite.before-restore-{number}")
        assert book.answers(1) == [an_answer(1)]
        with Scorebook.open(kept) as before:
            assert len(before.answers(1)) == 3 - number
    book.save_answer(an_answer(3, "found", 5))
    assert len(book.answers(1)) == 2


def test_a_restore_reaches_a_scorebook_that_another_process_has_open(book: Scorebook, tmp_path: Path) -> None:
    book.backup(tmp_path / "copy.sqlite")
    book.save_answer(an_answer(1))
    scorebook_file.restore(book.path, tmp_path / "copy.sqlite")
    assert book.answers(1) == []
    book.save_answer(an_answer(2))
    with Scorebook.open(book.path) as other:
        assert other.answers(1) == [an_answer(2)]


def test_a_restore_checks_the_copy_first(book: Scorebook, tmp_path: Path) -> None:
    book.save_answer(an_answer(1))
    good = tmp_path / "good.sqlite"
    book.backup(good)
    damaged = tmp_path / "damaged.sqlite"
    data = bytearray(good.read_bytes())
    page = data.index(b"Saltmarsh files") // 4096 * 4096
    data[page : page + 4096] = b"\xff" * 4096
    damaged.write_bytes(data)
    text = tmp_path / "text.sqlite"
    text.write_text("no database\n" * 100)
    empty = tmp_path / "empty.sqlite"
    empty.touch()
    for source, reason in (
        (damaged, "damaged|malformed"),
        (text, "not a database"),
        (empty, "not a scorebook"),
        (tmp_path / "missing.sqlite", "no such file"),
        (book.path, "the scorebook itself"),
    ):
        with pytest.raises(ScorebookError, match=reason) as caught:
            book.restore(source)
        assert str(caught.value).startswith(str(source))
        assert book.answers(1) == [an_answer(1)]
    assert not list(tmp_path.glob("*.before-restore-*"))


def test_a_restore_gives_up_while_another_process_is_writing(
    book: Scorebook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    book.save_answer(an_answer(1))
    book.backup(tmp_path / "copy.sqlite")
    monkeypatch.setattr(scorebook_file, "WAIT_SECONDS", 0.1)
    with closing(sqlite3.connect(book.path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(ScorebookError, match="database is locked"):
            scorebook_file.restore(book.path, tmp_path / "copy.sqlite")
    assert book.answers(1) == [an_answer(1)]
    assert not list(tmp_path.glob("*.before-restore-*"))


def test_a_restore_replaces_a_scorebook_that_no_longer_opens_and_keeps_its_bytes(
    book: Scorebook, tmp_path: Path
) -> None:
    book.save_answer(an_answer(1))
    book.backup(tmp_path / "copy.sqlite")
    book.close()
    book.path.write_bytes(b"the disk was not well" * 1000)
    kept = scorebook_file.restore(book.path, tmp_path / "copy.sqlite")
    assert kept is not None
    assert kept.read_bytes() == b"the disk was not well" * 1000
    with Scorebook.open(book.path) as restored:
        assert restored.answers(1) == [an_answer(1)]
    assert scorebook_file.restore(tmp_path / "elsewhere.sqlite", tmp_path / "copy.sqlite") is None


@pytest.mark.skipif(sys.platform == "win32", reason="a forked process is POSIX")
@pytest.mark.parametrize("before", ["sound", "damaged", "missing"])
def test_a_restore_killed_at_any_moment_leaves_the_old_or_the_new_in_place(
    before: str, book: Scorebook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    processes = quick_processes(monkeypatch)
    book.save_answer(an_answer(1))
    book.backup(tmp_path / "copy.sqlite")
    book.save_answer(an_answer(2, card="b"))
    book.close()
    old = {"sound": book.path.read_bytes(), "damaged": b"the disk was not well" * 1000}.get(before)
    kills, finished, left_something = 0, False, 0
    while not finished:
        place = tmp_path / f"{kills}" / "scorebook.sqlite"
        place.parent.mkdir()
        if old is not None:
            place.write_bytes(old)
        killed = processes.Process(
            target=restore_until_killed, args=(place, tmp_path / "copy.sqlite", kills + 1)
        )
        killed.start()
        killed.join()
        finished = killed.exitcode == 0
        assert finished or killed.exitcode == 9
        kills += not finished
        found = place.read_bytes() if place.exists() else None
        if finished or (found != old and before != "sound"):
            assert answers_in(place) == [an_answer(1)]
        elif before == "sound":
            assert answers_in(place)[:1] == [an_answer(1)]
            assert place.stat().st_size > 4096
        left_something += names_in(place.parent) != ["scorebook.sqlite"]
        scorebook_file.restore(place, tmp_path / "copy.sqlite")
        assert all(
            re.fullmatch(r"scorebook\.sqlite(\.before-restore-\d)?", name) for name in names_in(place.parent)
        )
    assert kills > 20
    assert left_something > 10


def names_in(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


@pytest.mark.skipif(sys.platform == "win32", reason="without locks nothing is removed")
def test_a_backup_removes_what_a_killed_one_left_and_nothing_else(book: Scorebook, tmp_path: Path) -> None:
    place = tmp_path / "copies"
    theirs = [".rondeau-part-", ".rondeau-part-notes.txt", ".copy.sqlite", "copy.sqlite-notes"]
    for name in (*theirs, ".rondeau-part-0123456789"):
        (place / name).mkdir(parents=True)
    (place / ".rondeau-part-01234567").write_text("a file of this name is not ours")
    (place / ".rondeau-part-aaaaaaaa").symlink_to(tmp_path)
    before = names_in(place)
    with part_of(place / "other.sqlite") as in_use:
        abandoned = place / ".rondeau-part-ab_d3f7h"
        abandoned.mkdir()
        for name in ("copy.sqlite", "copy.sqlite-journal", "copy.sqlite-wal"):
            (abandoned / name).touch()
        book.backup(place / "copy.sqlite")
        assert names_in(place) == sorted([*before, "copy.sqlite", in_use.parent.name])
    assert names_in(place) == sorted([*before, "copy.sqlite"])
    assert book.path.exists()


@pytest.mark.skipif(sys.platform == "win32", reason="there are no such locks")
def test_a_part_that_another_process_removed_before_it_was_locked_is_made_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tried: list[Path] = []

    @contextmanager
    def late(folder: Path) -> Iterator[bool | None]:
        tried.append(folder)
        if len(tried) == 1:
            folder.rmdir()
        with folder_lock(folder) as is_ours:
            if len(tried) == 2:
                folder.rmdir()
            yield is_ours if len(tried) != 3 else False

    monkeypatch.setattr(scorebook_parts, "folder_lock", late)
    with part_of(tmp_path / "copy.sqlite") as part:
        assert part.parent == tried[3]
        part.touch()
    assert names_in(tmp_path) == []


def test_reading_a_copy_that_wants_a_log_leaves_nothing_beside_it(book: Scorebook, tmp_path: Path) -> None:
    book.save_answer(an_answer(1))
    book.close()
    place = tmp_path / "copies"
    place.mkdir()
    shutil.copy(book.path, place / "raw.sqlite")  # as a scorebook is, and as no backup is
    scorebook_file.restore(book.path, place / "raw.sqlite")
    assert names_in(place) == ["raw.sqlite"]
    with Scorebook.open(book.path) as restored:
        assert restored.answers(1) == [an_answer(1)]


def test_answers_that_are_still_in_the_log_of_a_copy_are_restored(book: Scorebook, tmp_path: Path) -> None:
    with a_new_book(tmp_path / "other.sqlite") as other:
        other.save_answer(an_answer(1))
        for ending in ("", "-wal"):
            shutil.copy(f"{other.path}{ending}", f"{tmp_path}/raw.sqlite{ending}")
    book.restore(tmp_path / "raw.sqlite")
    assert book.answers(1) == [an_answer(1)]


def answers_in(path: Path) -> list[Answer]:
    with Scorebook.open(path) as book:
        return book.answers(1)


# A read-only medium


@pytest.fixture
def read_only(own_scorebook: Path, tmp_path: Path) -> Iterator[Path]:
    """The folder of a scorebook, with an answer in it, that takes no writing."""
    folder = tmp_path / "medium"
    folder.mkdir()
    with a_new_book(folder / "scorebook.sqlite") as book:
        book.save_answer(an_answer(1))
        for ending in ("", "-wal"):  # as a kill leaves them
            shutil.copy(f"{book.path}{ending}", f"{own_scorebook}{ending}")
    for ending in ("", "-wal"):
        shutil.copy(f"{own_scorebook}{ending}", folder / f"scorebook.sqlite{ending}")
        (folder / f"scorebook.sqlite{ending}").chmod(0o444)
    folder.chmod(0o555)
    yield folder
    folder.chmod(0o755)


def without_privilege(*arguments: str | Path, book: Path) -> subprocess.CompletedProcess[str]:
    """The program, run so that the modes of files hold for it, also if it is root's."""
    unprivileged = ["setpriv", "--bounding-set=-dac_override,-dac_read_search"]
    command = [sys.executable, "-m", "decks.start", *map(str, arguments), "--scorebook", str(book)]
    return subprocess.run(
        [*(unprivileged if os.geteuid() == 0 else []), *command],
        cwd=Path(__file__).parent.parent,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.skipif(sys.platform == "win32", reason="the modes of files are POSIX")
def test_a_scorebook_on_a_read_only_medium_is_read_replayed_and_copied(
    read_only: Path, tmp_path: Path
) -> None:
    book = read_only / "scorebook.sqlite"
    before = {path.name: path.read_bytes() for path in read_only.iterdir()}
    for arguments, said in (
        (["students"], "   1  me\n"),
        (["replay"], "every stored memory follows from the log\n"),
        (["replay", "--day", str(DAY)], f"{an_answer(1).answer_id}  student 1, {DAY}, {ITEM}, found\n"),
        (["backup", tmp_path / "copy.sqlite"], f"{book} copied to {tmp_path}/copy.sqlite\n"),
    ):
        result = without_privilege(*arguments, book=book)
        assert (result.returncode, result.stdout, result.stderr) == (0, said, "")
    assert answers_in(tmp_path / "copy.sqlite") == [an_answer(1)]
    for arguments in (
        ["students", "--add", "Tom Reed"],
        ["replay", "--mend"],
        ["replay", "--void", str(DAY)],
        ["today"],
        ["scan", tmp_path / "none.pgn"],
        ["restore", tmp_path / "copy.sqlite"],
    ):
        result = without_privilege(*arguments, book=book)
        told = f"Error: {book}: the file or its folder is read-only, and this would write in it\n"
        assert (result.returncode, result.stdout, result.stderr) == (1, "", told)
    assert {path.name: path.read_bytes() for path in read_only.iterdir()} == before


# Games


def a_game(number: int, white: str = "Wren, Ada", black: str = "Tern, Bo", result: str = "1-0") -> GameRecord:
    tags = {"White": white, "Black": black, "Result": result, "Date": f"2031.05.{number:02}", "Round": "1"}
    return GameRecord("club.pgn", number, {**tags, "Annotator": "nobody"}, ("e2e4", "e7e5"))


def a_finding(game: int, ply: int, motif: str = "pin-on-file", *, black: bool = False) -> FindingRow:
    return FindingRow(game, ply, motif, "black" if black else "white", 1 << 4, 1 << 36, 1 << 20)


def test_a_game_scanned_twice_is_stored_once_whatever_file_it_came_from(book: Scorebook) -> None:
    numbers = book.store_games([a_game(1), a_game(2)])
    same = {"Annotator": "somebody", "Event": "Club open", "Round": "?", "White": "WREN,  ada", "Result": "*"}
    copied = GameRecord("copy.pgn", 7, {**a_game(2).headers, **same}, a_game(2).moves)
    others = [
        replace(a_game(2), moves=("e2e4", "c7c5")),
        a_game(2, white="Wren, Anna"),
        a_game(2, black="Wren, Anna"),
        replace(a_game(2), headers={**a_game(2).headers, "FEN": "4k3/8/8/8/8/8/8/4K3 w - - 0 1"}),
    ]
    again = book.store_games([copied, a_game(1), *others, a_game(3)])
    assert again[:2] == [numbers[1], numbers[0]]
    assert len({*numbers, *again}) == 7
    assert book.store_games([]) == []


def test_games_that_the_first_version_stored_are_known_again(book: Scorebook) -> None:
    """That version told games apart by all tags: one under two titles was stored twice."""
    retitled = replace(a_game(1), headers={**a_game(1).headers, "Event": "Club open"})
    for number, game in enumerate((a_game(1), retitled, a_game(2)), 1):
        row = {**row_of_game(game), "content": game.content_before}
        assert book._db.table("games").insert(row).last_pk == number
        book._db.table("findings").insert(a_finding(number, 9)._asdict())
    assert book.store_games([a_game(1), retitled, a_game(2)]) == [1, 1, 3]
    assert [len(book.findings(number)) for number in (1, 2, 3)] == [1, 0, 1]
    assert book._rows("SELECT count(*) AS games FROM games") == [{"games": 2}]


@settings(max_examples=40)
@given(*[st.integers(0, 2**64 - 1)] * 3)
def test_square_sets_of_all_64_bits_come_back(
    tmp_path_factory: pytest.TempPathFactory, actors: int, targets: int, squares: int
) -> None:
    with Scorebook.open(tmp_path_factory.getbasetemp() / "sets.sqlite") as book:
        (game,) = book.store_games([a_game(1)])
        row = FindingRow(game, 30, "back-rank", "black", actors, targets, squares, "Rd1 mates")
        assert book.store_findings([game], [row]) == 1
        assert book.findings(game) == [row]


def test_numpy_square_sets_are_stored_as_numbers(book: Scorebook) -> None:
    import numpy as np

    (game,) = book.store_games([a_game(1)])
    sets = np.array([2**63, 2**64 - 1, 1], dtype=np.uint64)
    book.store_findings([game], [FindingRow(game, 1, "fork", "white", *sets)])
    assert book.findings(game)[0][4:7] == (2**63, 2**64 - 1, 1)


def test_a_second_scan_replaces_the_findings_of_its_games_only(book: Scorebook) -> None:
    first, second = book.store_games([a_game(1), a_game(2)])
    book.store_findings([first, second], [a_finding(first, 9), a_finding(second, 9), a_finding(second, 10)])
    assert book.store_findings([second], [a_finding(second, 12)]) == 1
    assert [finding.ply for game in (first, second) for finding in book.findings(game)] == [9, 12]
    with pytest.raises(ScorebookError):
        book.store_findings([first], [a_finding(first, 1), a_finding(99, 1)])
    assert [finding.ply for finding in book.findings(first)] == [9]


def test_motifs_are_counted_by_instance_and_game_with_the_players_results(book: Scorebook) -> None:
    won, lost, drawn, others, open_ended = book.store_games(
        [
            a_game(1),
            a_game(2, "Tern, Bo", "Wren, Ada", "1-0"),
            a_game(3, "wren, ada", "Heron, Cy", "1/2-1/2"),
            a_game(4, "Heron, Cy", "Tern, Bo", "0-1"),
            a_game(5, "Wren, Ada", "Heron, Cy", "*"),
        ]
    )
    findings = [
        *(a_finding(won, ply) for ply in (10, 11, 12, 14, 20)),  # two instances: 10 to 14, and 20
        a_finding(won, 30, black=True),
        a_finding(lost, 8, black=True),
        a_finding(lost, 8, "fork"),
        a_finding(drawn, 5),
        *(a_finding(others, ply) for ply in (1, 2)),
        a_finding(open_ended, 40),
    ]
    book.store_findings([won, lost, drawn, others, open_ended], findings)
    assert book.motif_counts("WREN, Ada") == [
        MotifCount("pin-on-file", "player", instances=5, games=4, won=1, drawn=1, lost=1),
        MotifCount("fork", "opponent", instances=1, games=1, won=0, drawn=0, lost=1),
        MotifCount("pin-on-file", "opponent", instances=1, games=1, won=1, drawn=0, lost=0),
    ]
    assert book.motif_counts() == [
        MotifCount("pin-on-file", "white", instances=5, games=4, won=1, drawn=1, lost=1),
        MotifCount("pin-on-file", "black", instances=2, games=2, won=0, drawn=0, lost=2),
        MotifCount("fork", "white", instances=1, games=1, won=1, drawn=0, lost=0),
    ]
    assert book.motif_counts("Nobody") == []


# Preparations


def test_the_newest_plan_for_an_event_is_in_force(book: Scorebook) -> None:
    event = date(2031, 6, 1)
    assert book.preparation(1, event) is None
    book.save_preparation(1, event, '{"days": 2}', datetime(2031, 5, 2, tzinfo=UTC))
    book.save_preparation(1, event, '{"days": 1}', datetime(2031, 5, 1, tzinfo=UTC))
    assert book.preparation(1, event) == '{"days": 2}'
    assert book.preparation(1, DAY) is None
