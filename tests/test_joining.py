"""Logs that were kept on several machines, joined: the same as one log, in whatever order they come."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import count, permutations
from pathlib import Path
from typing import NamedTuple
from uuid import UUID, uuid5

import chess
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_answers import DECK, an_answer
from made_books import new_scorebook

from decks.memory.answers import Answer, Contest, Correction, Display, Logged
from decks.scorebook.book import Scorebook
from decks.scorebook.handed_in import HandedIn, HandInError, read, save, written
from decks.scorebook.joining import Joined
from decks.tasks.card import Grade

BEGAN = datetime(2031, 5, 5, 18, tzinfo=UTC)
ITEMS = ("motif:fork/play", "motif:back-rank/play", f"card:{DECK}/heron-rook/play")


class Event(NamedTuple):
    """What a student does. `pause`: minutes since the event before; `back`: so many is the clock behind."""

    machine: int
    pause: int
    item: str
    grade: Grade
    tier: int = 1
    worked: bool = False
    back: int = 0


events = st.builds(
    Event,
    st.integers(0, 1),
    st.integers(1, 3000),
    st.sampled_from(ITEMS),
    st.sampled_from(["missed", "helped", "partly", "found", "fluent"]),
    st.integers(1, 3),
    st.booleans(),
    st.just(0),
)
wrong_clocks = st.builds(lambda event, back: event._replace(back=back), events, st.sampled_from([0, 0, 9000]))


def happened(these: Sequence[Event]) -> Iterator[tuple[int, Logged]]:
    """What each machine keeps of these events."""
    moment = BEGAN
    for number, event in enumerate(these):
        moment += timedelta(minutes=event.pause)
        clock = moment - timedelta(minutes=event.back)
        id_ = str(uuid5(UUID(DECK), f"event {number}"))
        if event.worked and event.item.startswith("motif:"):
            day = clock.date()
            shown = Display(id_, 1, DECK, "c", chess.STARTING_FEN, "worked", day, clock, event.item, "due")
            yield event.machine, shown
        else:
            answer = an_answer(number, event.grade)
            yield (
                event.machine,
                replace(
                    answer,
                    answer_id=id_,
                    item=event.item,
                    tier=event.tier,
                    time=clock,
                    study_day=clock.date(),
                ),
            )


def keep(book: Scorebook, logged: Logged) -> None:
    if isinstance(logged, Answer):
        book.save_answer(logged)
    else:
        assert isinstance(logged, Display)
        last = book.last_answer(1)
        day = max(logged.study_day, last.study_day) if last else logged.study_day
        book.save_display(replace(logged, study_day=day))


_NUMBERS = count()


def a_book(folder: Path, *others: str) -> Scorebook:
    """A scorebook with a student of number 1, after whom others come."""
    book = new_scorebook(folder / f"{next(_NUMBERS)}.sqlite")
    for name in ("Anna Wren", *others):
        book.student(name)
    book.register_deck(DECK, "Saltmarsh evenings", "/nowhere")
    return book


def handed_in(book: Scorebook, student: int = 1) -> HandedIn:
    """The student's log as it comes out of a file."""
    file = book.path.with_suffix(".log")
    save(file, written("Anna Wren", {DECK: "Saltmarsh evenings"}, book.log_of(student)))
    return read(file, date.max)


def known(book: Scorebook, student: int = 1) -> tuple[object, ...]:
    """All that is derived of a student, and the log in its order; everything stored follows from the log."""
    assert book.replay() == []
    log = [replace(each, student=0) for each in book.log_of(student) if isinstance(each, Answer)]
    return book.memory_of(student), book.strand_states(student), log


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("logs")


@settings(max_examples=15)
@given(st.lists(events, min_size=1, max_size=10), st.integers(0, 10))
def test_a_log_that_was_split_over_two_machines_joins_to_the_same_states(
    folder: Path, these: list[Event], half: int
) -> None:
    machines, one = (a_book(folder), a_book(folder)), a_book(folder)
    parts = []
    for number, (machine, logged) in enumerate(happened(these)):
        if number == half:  # the first machine's log is also handed in half-way
            parts.append(handed_in(machines[0]))
        keep(machines[machine], logged)
        keep(one, logged)
    parts += [handed_in(machine) for machine in machines]
    for order in (parts, parts[::-1], [*parts[1:], parts[0]]):
        coach = a_book(folder)
        for part in (*order, order[0]):
            coach.collect([(1, part)])
        assert known(coach) == known(one)
    machines[0].collect([(1, parts[-1])])
    assert known(machines[0]) == known(one)


@settings(max_examples=15)
@given(st.lists(wrong_clocks, min_size=2, max_size=10))
def test_with_wrong_clocks_the_order_of_collecting_still_changes_nothing(
    folder: Path, these: list[Event]
) -> None:
    machines = (a_book(folder), a_book(folder))
    for machine, logged in happened(these):
        keep(machines[machine], logged)
    parts = [handed_in(machine) for machine in machines]
    found = []
    for order in permutations(parts):
        coach = a_book(folder)
        for part in order:
            coach.collect([(1, part)])
        again = handed_in(coach)
        for part in (again, *order):
            coach.collect([(1, part)])
        found.append(known(coach))
    assert found[0] == found[1]
    joined = ids(coach)
    for book in machines:  # what one machine kept stays in its order, whatever its clock said
        assert [each for each in joined if each in ids(book)] == ids(book)


def ids(book: Scorebook) -> list[str]:
    """The ids of Anna's answers, in the order of the log."""
    return [each.answer_id for each in book.log_of(1) if isinstance(each, Answer)]


# Row by row


@pytest.fixture
def anna(folder: Path) -> Scorebook:
    book = a_book(folder)
    for number in range(4):
        book.save_answer(an_answer(number, "missed", day=number))
    return book


@pytest.fixture
def coach(folder: Path) -> Scorebook:
    """A scorebook in which another student has the number 1."""
    book = a_book(folder)
    book.rename(1, "Tom Reed")
    book.student("Anna Wren")
    book.save_answer(replace(an_answer(99), answer_id=str(uuid5(UUID(DECK), "Tom's"))))
    return book


def shown_and_answered(number: int, day: int, fen: str) -> tuple[Display, Answer]:
    """A position as a machine keeps it that has never shown it before."""
    answer = replace(an_answer(number, day=day), item=ITEMS[0], tier=1, fen=fen)
    id_ = str(uuid5(UUID(DECK), f"display {number}"))
    day_, moment = answer.study_day, answer.time - timedelta(seconds=20)
    return Display(id_, 1, DECK, answer.card_id, fen, "asked", day_, moment, ITEMS[0], "turn"), answer


FIRST, LATER = "8/8/4k3/8/8/4K3/8/R7 w - - 0 1", "8/8/4k3/8/8/4K3/8/R7 w - - 3 9"
"""The same position with other counts of moves."""


@pytest.fixture
def two_homes(folder: Path) -> list[HandedIn]:
    """The log of a student to whom two machines have shown the same position, and others to one."""
    logs = []
    for shown in ([(1, 0, FIRST), (2, 1, chess.STARTING_FEN)], [(3, 2, LATER), (4, 3, LATER)]):
        home = a_book(folder)
        for number, day, fen in shown:
            display, answer = shown_and_answered(number, day, fen)
            home.save_display(display)
            home.save_answer(replace(answer, first_sight=number != 4))
        logs.append(handed_in(home))
    return logs


@pytest.fixture
def joined(two_homes: list[HandedIn], folder: Path) -> Scorebook:
    """A scorebook with both logs."""
    coach = a_book(folder)
    coach.collect([(1, each) for each in two_homes])
    return coach


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_a_position_is_at_first_sight_once_though_two_machines_have_shown_it(
    two_homes: list[HandedIn], order: tuple[int, ...], folder: Path
) -> None:
    coach = a_book(folder)
    for number in order:
        coach.collect([(1, two_homes[number])])
    ((strand, log),) = coach.strand_logs(1).items()
    assert [each.fresh for each in log] == [True, True, False, False]
    assert (len(coach.strand_states(1)[strand].sights), coach.replay()) == (2, [])
    kept = [each.first_sight for each in coach.answers(1)]
    assert kept == [True, True, True, False]  # as each machine saw it


def test_a_replay_finds_a_position_that_counts_twice_as_new_and_mends_it(joined: Scorebook) -> None:
    right = joined.strand_states(1)
    joined._db.execute("UPDATE reviews SET seen_before = 0")
    with joined._writing():
        joined._remember_all()
    assert [(each.student, each.item) for each in joined.replay()] == [(1, ITEMS[0])]
    assert len(joined.replay(mend=True)) == 1
    assert (joined.strand_states(1), joined.replay()) == (right, [])


def test_logs_that_were_joined_by_an_older_version_are_set_right(joined: Scorebook) -> None:
    right = joined.strand_states(1)
    joined._db.execute("ALTER TABLE reviews DROP COLUMN seen_before")
    joined._db.execute("DELETE FROM _sqlite_migrations WHERE name = '0016-first-sights'")
    joined._db.execute("DELETE FROM strands")
    joined.close()
    with Scorebook.open(joined.path) as again:
        assert (again.strand_states(1), again.replay()) == (right, [])


def test_a_position_that_was_only_shown_on_the_other_machine_is_no_new_one(folder: Path) -> None:
    book = a_book(folder)
    display, answer = shown_and_answered(1, 1, LATER)
    book.save_display(replace(display, display_id=str(UUID(int=1)), fen=FIRST, how="looked up", item=None))
    book.save_display(display)
    book.save_answer(answer)
    assert [each.fresh for log in book.strand_logs(1).values() for each in log] == [False]


def test_contests_and_decisions_travel_both_ways(anna: Scorebook, coach: Scorebook) -> None:
    first, second, *_ = anna.log_of(1)
    assert isinstance(first, Answer) and isinstance(second, Answer)
    later = BEGAN + timedelta(days=9)
    claim = anna.contest(first.answer_id, "found", later)
    anna.withdraw(anna.contest(second.answer_id, "found", later), later)
    (joined,) = coach.collect([(2, handed_in(anna))])
    assert (joined.answers, joined.contests, joined.known) == (4, 3, 0)
    ((contest, answer),) = coach.disputes()
    assert (contest.contest_id, answer.student) == (claim, 2)
    coach.decide(claim, "found", "right", later + timedelta(hours=1))
    anna.collect([(1, handed_in(coach, 2))])
    assert anna.answers(1)[0].grade == "found"
    assert anna.disputes() == []
    assert known(anna) == known(coach, 2)
    assert [each.answer_id for each in coach.answers(1)] == [str(uuid5(UUID(DECK), "Tom's"))]


def test_twice_is_once(anna: Scorebook, coach: Scorebook) -> None:
    part = handed_in(anna)
    coach.collect([(2, part), (2, part)])
    before = known(coach, 2)
    (joined,) = coach.collect([(2, part)])
    assert joined == Joined(known=4)
    assert known(coach, 2) == before


def test_an_answer_of_yesterday_that_comes_today_has_its_own_day(anna: Scorebook, coach: Scorebook) -> None:
    coach.collect([(2, handed_in(anna))])
    late = replace(an_answer(50, day=1), student=2)
    coach.save_answer(replace(an_answer(51, day=9), student=2))
    other = a_book(coach.path.parent)
    other.save_answer(replace(late, student=1))
    coach.collect([(2, handed_in(other))])
    days = [(each.study_day - an_answer(0).study_day).days for each in coach.answers(2)]
    assert days == [0, 1, 1, 2, 3, 9]


def an_answer_of(book: Scorebook) -> Answer:
    found = book.log_of(1)[0]
    assert isinstance(found, Answer)
    return found


@pytest.mark.parametrize(
    ("what", "message"),
    [
        ("another", "is not what it was before"),
        ("stranger", "is another student's here"),
        ("correction", "is about answer 00000000-0000-4000-8000-000000000000, which is not there"),
        ("twice", "is not what it was before"),
    ],
)
def test_a_line_that_does_not_fit_changes_nothing_and_is_named(
    what: str, message: str, anna: Scorebook, coach: Scorebook
) -> None:
    nobody = "00000000-0000-4000-8000-000000000000"
    coach.collect([(2, handed_in(anna))])
    before = known(coach, 1), known(coach, 2)
    answer = an_answer_of(anna)
    fresh = replace(answer, answer_id=nobody)
    student = 2
    bad: list[Logged] = [fresh, replace(answer, grade="found")]
    if what == "stranger":
        student, bad = 1, [fresh, answer]
    elif what == "correction":
        bad = [replace(answer), Correction(nobody, nobody, "found", "", BEGAN)]
    elif what == "twice":
        bad = [fresh, replace(fresh, grade="found")]
    handed = HandedIn(Path("anna.log"), "Anna Wren", {}, [(2, bad[0]), (7, bad[1])])
    with pytest.raises(HandInError) as caught:
        coach.collect([(2, handed_in(anna)), (student, handed)])
    assert str(caught.value).startswith("anna.log, line 7: ")
    assert message in str(caught.value)
    assert (known(coach, 1), known(coach, 2)) == before


def test_a_claim_that_is_taken_back_must_be_there(anna: Scorebook, coach: Scorebook) -> None:
    answer = an_answer_of(anna)
    claim = anna.contest(answer.answer_id, "found", BEGAN)
    anna.withdraw(claim, BEGAN)
    log = [each for each in anna.log_of(1) if not isinstance(each, Contest)]
    handed = HandedIn(Path("anna.log"), "Anna Wren", {}, list(enumerate(log, 2)))
    with pytest.raises(HandInError, match=f"takes back {claim}, which is not there"):
        coach.collect([(2, handed)])


def test_a_deck_that_was_never_here_is_noted_but_not_asked(anna: Scorebook, folder: Path) -> None:
    book = Scorebook.open(folder / "empty.sqlite")
    book.student("Anna Wren")
    book.collect([(1, handed_in(anna))])
    assert book.decks() == []
    assert len(book.answers(1, deck=DECK)) == 4
    book.register_deck(DECK, "Saltmarsh evenings", "/here")
    assert [each[2] for each in book.decks()] == ["/here"]
