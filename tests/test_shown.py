"""Displays of positions in the scorebook, and the states of strands, which follow from the log."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from uuid import UUID, uuid5

import chess
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_answers import DAY, DECK, an_answer
from made_books import new_scorebook

from decks.memory.answers import Answer, Display, How, Strand
from decks.memory.day import DaySoFar
from decks.memory.strands import StrandState
from decks.scorebook.book import DamagedMemoryError, Difference, Scorebook
from decks.tasks.card import GRADES, Grade, Why

FORK = Strand("fork", "play")
MOMENT = datetime(2031, 6, 1, 12, tzinfo=UTC)
ELSEWHERE = "8/8/8/8/8/8/8/K6k w - - 0 1"


@pytest.fixture
def book(own_scorebook: Path) -> Iterator[Scorebook]:
    with closing(a_new_book(own_scorebook)) as book:
        yield book


def a_new_book(path: Path) -> Scorebook:
    book = new_scorebook(path)
    assert book.student() == 1
    book.register_deck(DECK, "Saltmarsh files", "saltmarsh")
    return book


def in_a_fork(number: int, grade: Grade = "found", day: int = 0, tier: int = 1) -> Answer:
    """An answer to a fresh position for FORK, `day` days after DAY."""
    return replace(an_answer(number, grade, day), item=str(FORK), motif="fork", tier=tier, why="turn")


def a_display(
    number: int, how: How = "worked", day: int = 0, fen: str = chess.STARTING_FEN, why: Why | None = "turn"
) -> Display:
    study_day = DAY + timedelta(days=day)
    moment = MOMENT + timedelta(minutes=number)
    name = str(uuid5(UUID(DECK), f"display {number}"))
    return Display(name, 1, DECK, "heron-rook", fen, how, study_day, moment, str(FORK), why)


def test_an_answer_keeps_what_it_was_about(book: Scorebook) -> None:
    kept = replace(in_a_fork(1, tier=3), lookalike=True, on_paper=True, first_sight=False)
    book.save_answer(kept)
    assert book.answers(1) == [kept]


def test_every_display_uses_a_position_up(book: Scorebook) -> None:
    hows: tuple[How, ...] = ("asked", "worked", "looked up", "on paper")
    for number, how in enumerate(hows):
        book.save_display(a_display(number, how, number, f"{ELSEWHERE[:-1]}{number}"))
    book.save_display(a_display(4, "asked", 9, f"{ELSEWHERE[:-1]}0"))
    days = {fen[-1]: (last - DAY).days for fen, last in book.last_seen(1).items()}
    assert days == {"0": 9, "1": 1, "2": 2, "3": 3}
    fens = list(book.last_seen(1))[:2]
    before = [book.seen_before(1, DAY + timedelta(days=days), fens) for days in range(3)]
    assert before == [set(), {fens[0]}, {*fens}]
    position, part_of_a_field = "8/8/8/8/8/8/8/K6k w - -", "8/8/8/8/8/8/8/K6"
    starts = [position, part_of_a_field]
    assert [book.seen_before(1, DAY + timedelta(days=days), starts) for days in (0, 1)] == [set(), {position}]
    assert book.last_seen(2) == {}
    assert book.last_displayed(1) == {FORK: f"{ELSEWHERE[:-1]}0"}


@pytest.mark.parametrize(
    "statement",
    [
        "DELETE FROM displays",
        "UPDATE displays SET how = 'asked'",
        "INSERT OR REPLACE INTO displays SELECT * FROM displays",
    ],
)
def test_displays_are_append_only(book: Scorebook, statement: str) -> None:
    book.save_display(a_display(1))
    with pytest.raises(sqlite3.IntegrityError, match="displays is append-only"):
        book._db.execute(statement)


def test_worked_positions_and_answers_make_the_state_in_the_order_in_which_they_came(book: Scorebook) -> None:
    book.save_display(a_display(1))
    assert book.strand_states(1) == {FORK: StrandState(worked=1, tiers=((DAY, 1),))}
    missed = book.save_answer(in_a_fork(1, "missed"))
    assert isinstance(missed, StrandState)
    assert missed.wants_worked
    book.save_display(a_display(2))
    state = book.strand_states(1)[FORK]
    assert (state.asked, state.worked, state.wants_worked) == (1, 2, False)
    assert book.replay() == []


@settings(max_examples=30, deadline=None)
@given(
    st.lists(
        st.tuples(st.sampled_from([*GRADES, None]), st.integers(0, 40), st.integers(1, 3)),
        min_size=1,
        max_size=25,
    ),
    st.sets(st.integers(0, 24)),
    st.sets(st.integers(0, 24)),
)
def test_what_is_kept_step_by_step_is_what_a_replay_gives(
    tmp_path_factory: pytest.TempPathFactory,
    drawn: list[tuple[Grade | None, int, int]],
    contested: set[int],
    voided: set[int],
) -> None:
    with a_new_book(tmp_path_factory.mktemp("steps") / "scorebook.sqlite") as book:
        answers = []
        for number, (grade, day, tier) in enumerate(drawn):
            if grade is None:
                latest = max((answer.study_day for answer in book.answers(1)), default=DAY)
                book.save_display(a_display(number, day=max(day, (latest - DAY).days)))
                continue
            answers.append(book.save_answer(in_a_fork(number, grade, day, tier)) and number)
            if number in contested:
                book.contest(in_a_fork(number).answer_id, "found", MOMENT)
        assert book.replay() == []
        chosen = [in_a_fork(number).answer_id for number in answers if number in voided]
        book.void(chosen, "wrong clock", MOMENT)
        assert book.replay() == []
        book.unvoid(chosen, "it was right", MOMENT)
        assert book.replay() == []


def test_a_worked_position_kept_while_later_dates_did_not_count_stays_in_its_place(
    book: Scorebook,
) -> None:
    wrong = in_a_fork(1, day=25000)
    book.save_answer(wrong)
    book.void([wrong.answer_id], "wrong clock", MOMENT)
    book.save_display(a_display(2, day=1))
    book.unvoid([wrong.answer_id], "it was right", MOMENT)
    assert (book.strand_states(1)[FORK].worked, book.replay()) == (1, [])


def test_an_open_contest_is_not_right_until_it_is_decided(book: Scorebook) -> None:
    book.save_answer(in_a_fork(1, "partly"))
    contest = book.contest(in_a_fork(1).answer_id, "found", MOMENT)
    book.save_answer(in_a_fork(2, "found", 1))
    other = book.contest(in_a_fork(2).answer_id, "fluent", MOMENT)
    assert book.strand_states(1)[FORK].first_sight == (False, False)
    book.withdraw(other, MOMENT)
    assert book.strand_states(1)[FORK].first_sight == (False, True)
    decided = book.decide(contest, "found", "Rd1 forks too", MOMENT)
    assert isinstance(decided, StrandState)
    assert (decided.first_sight, decided.row) == ((True, True), 2)
    assert book.replay() == []


def test_a_corrected_grade_counts_for_its_strand(book: Scorebook) -> None:
    book.save_answer(in_a_fork(1, "missed"))
    corrected = book.correct(in_a_fork(1).answer_id, "found", "Rd1 forks too", MOMENT)
    assert corrected == book.strand_states(1)[FORK]
    assert book.strand_states(1)[FORK].first_sight == (True,)
    book.void([in_a_fork(1).answer_id], "wrong clock", MOMENT)
    assert book.strand_states(1) == {}


@pytest.mark.parametrize("state", ["", "[]", '{"tier": 1}', "soon"])
def test_a_damaged_state_is_told_of_and_mended(book: Scorebook, state: str) -> None:
    kept = book.save_answer(in_a_fork(1))
    book._db.execute("UPDATE strands SET state = ?", [state])
    with pytest.raises(DamagedMemoryError, match="stored strands are damaged"):
        book.strand_states(1)
    assert book.replay(mend=True) == [Difference(1, str(FORK), None, kept)]
    assert book.strand_states(1) == {FORK: kept}


def test_an_answer_after_damage_is_kept(book: Scorebook) -> None:
    book.save_answer(in_a_fork(1))
    book._db.execute("UPDATE strands SET state = 'soon'")
    state = book.save_answer(in_a_fork(2, day=1))
    assert isinstance(state, StrandState)
    assert (state.asked, book.replay()) == (2, [])


def test_a_day_counts_due_work_and_first_meetings_by_why_it_was_asked(book: Scorebook) -> None:
    book.save_display(a_display(1, why="first meeting"))
    book.save_answer(replace(in_a_fork(1), why="first meeting", seconds=70.0))
    book.save_answer(replace(in_a_fork(2), why="due", seconds=50.0))
    book.save_answer(replace(in_a_fork(3), why="turn", seconds=40.0))
    assert book.study_days(1) == [DaySoFar(DAY, 190.0, 50.0, 1)]  # 30 of them for the worked position


def test_a_first_meeting_counts_on_the_day_on_which_it_began(book: Scorebook) -> None:
    book.save_display(a_display(1, why="first meeting"))
    book.save_answer(replace(in_a_fork(1, "missed", day=1), why="first meeting"))
    book.save_display(a_display(2, day=1, why="first meeting"))
    assert [each.first_meetings for each in book.study_days(1)] == [1, 0]


def test_a_day_is_a_date(book: Scorebook) -> None:
    assert book.study_days(1) == []
    book.save_display(a_display(1, day=3))
    assert [each.day for each in book.study_days(1)] == [date(2031, 5, 8)]
