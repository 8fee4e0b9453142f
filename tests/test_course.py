"""The course of a study day: what follows what, and that what is displayed is used up."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import chess
import pytest
from made_answers import DAY, an_answer
from made_books import new_scorebook
from made_tasks import a_rook_check, doubled_rooks

from decks.cards.cards_file import CardEntry
from decks.cards.deck import Deck, add_cards, new_deck
from decks.cards.settings import DeckSettings, new_deck_id
from decks.course import Course
from decks.memory.answers import CardItem, Strand
from decks.memory.day import DaySoFar, day_ahead
from decks.memory.pool import SEEN_AGAIN, position_key
from decks.memory.strands import StrandState
from decks.preparing import Event
from decks.review import messages as m
from decks.review.dispatch import begun, dispatch
from decks.review.session import State, start
from decks.scorebook.book import Scorebook
from decks.shelf.shelved import ShelvedDeck
from decks.tasks.card import Card, MotifTag

MOMENT = datetime(2031, 5, 2, 19, 0, tzinfo=UTC)
BACK_RANK = Strand("back-rank", "play")


def a_deck(folder: Path, *cards: Card, by_heart: bool = False) -> Deck:
    """A deck of these cards, whose moves are all judged as those of `a_rook_check`."""
    new_deck(folder, DeckSettings(new_deck_id(), "Saltmarsh rooks", by_heart=by_heart))
    verdicts = [found for number in range(32) for found in a_rook_check(number).verdicts.values()]
    verdicts += doubled_rooks("play").verdicts.values()
    add_cards(folder, [CardEntry(card) for card in cards], verdicts)
    return Deck.open(folder)


def rooks(number: int, motif: str | None = "back-rank", first: int = 0) -> list[Card]:
    """So many cards that ask for a rook check, with this motif."""
    tags = () if motif is None else (MotifTag(motif, "black"),)
    return [replace(a_rook_check(place).card, motifs=tags) for place in range(first, first + number)]


class Sitting:
    """One sitting: the session is driven with answers, and the course plans and keeps."""

    def __init__(
        self,
        book: Scorebook,
        *decks: Deck,
        day: int = 0,
        minutes: float | None = None,
        moment: datetime | None = None,
        event: Event | None = None,
    ) -> None:
        moment = moment or MOMENT + timedelta(days=day)
        for deck in decks:
            book.register_deck(deck.settings.deck, "", "")
        student = book.student()
        ahead = day_ahead(book.study_days(student), moment, minutes)
        self.seconds = 0.0
        self.course = Course.begin(
            map(ShelvedDeck.of, decks),
            book,
            student,
            ahead,
            moment,
            lambda: moment,
            print,
            event=event,
            clock=self.clock,
        )
        self.state = begun(
            start(self.course.tasks, ahead.seconds / 60), self.course.keep, self.clock, self.course.plan
        )

    def clock(self) -> float:
        return self.seconds

    def send(self, *messages: m.Message) -> State:
        for message in messages:
            self.seconds = message.at
            self.state = dispatch(self.state, message, self.course.keep, self.clock, plan=self.course.plan)
        return self.state

    def answer(self, move: str = "Rd1", seconds: float = 60) -> None:
        """Answer the card on the screen, or read the worked one, and go on."""
        if self.state.phase == "answering":
            self.send(m.Enter(self.seconds + seconds, move))
        self.send(m.Next(self.seconds))

    def whole(self, move: str = "Rd1", seconds: float = 60) -> str:
        """The rest of the day in short: the cards, in capitals if they were shown worked."""
        words = []
        while self.state.attempt:
            task = self.state.attempt.task
            words.append(task.card.card_id.upper() if task.worked else task.card.card_id)
            self.answer(move, seconds)
        return " ".join(words)


@pytest.fixture
def book(own_scorebook: Path) -> Scorebook:
    return new_scorebook(own_scorebook)


def test_a_motif_is_met_by_a_worked_position_and_one_that_is_asked(tmp_path: Path, book: Scorebook) -> None:
    sitting = Sitting(book, a_deck(tmp_path / "rooks", *rooks(8)))
    first, second, *_ = sitting.state.tasks
    assert (first.worked, first.first_sight, second.worked) == (True, True, False)
    assert sitting.state.phase == "shown"
    sitting.answer()
    sitting.answer("h6")  # it is missed, so a second one is worked
    assert sitting.state.attempt is not None
    assert sitting.state.attempt.task.worked
    state = book.strand_states(1)[BACK_RANK]
    assert (state.asked, state.worked, state.first_sight) == (1, 2, (False,))
    (answer,) = book.answers(1)
    assert (answer.item, answer.motif, answer.tier, answer.why) == (
        str(BACK_RANK),
        "back-rank",
        2,
        "first meeting",
    )
    assert answer.first_sight
    assert book.replay() == []


def test_new_positions_are_spent_slowly_and_never_twice_fresh(tmp_path: Path, book: Scorebook) -> None:
    deck = a_deck(tmp_path / "rooks", *rooks(20))
    days = [Sitting(book, deck, day=day).whole().lower().split() for day in range(9)]
    assert [len(day) for day in days] == [3, 3, 3, 3, 3, 3, 2, 0, 0]
    shown = [card for day in days for card in day]
    assert len(set(shown)) == len(shown) == 20
    assert all(answer.first_sight for answer in book.answers(1))


def test_minutes_on_top_of_a_day_have_new_positions_of_their_own(tmp_path: Path, book: Scorebook) -> None:
    deck = a_deck(tmp_path / "rooks", *rooks(20))
    sittings = [Sitting(book, deck, minutes=minutes).whole().split() for minutes in (None, None, 10, 10)]
    assert [len(cards) for cards in sittings] == [3, 0, 3, 3]
    assert all(answer.first_sight for answer in book.answers(1))


def test_after_a_fortnight_a_position_may_return_but_is_no_new_one(tmp_path: Path, book: Scorebook) -> None:
    deck = a_deck(tmp_path / "rooks", *rooks(3))
    Sitting(book, deck).whole()
    assert Sitting(book, deck, day=13).state.attempt is None
    again = Sitting(book, deck, day=14)
    assert again.state.attempt is not None
    assert again.state.attempt.task.first_sight is False


def test_first_meetings_and_what_returns_get_their_new_positions(tmp_path: Path, book: Scorebook) -> None:
    motifs = ["back-rank", "fork", "skewer", "pin-on-file", "pin-on-diagonal", "trapped-piece", "mating-net"]
    cards = [card for place, motif in enumerate(motifs) for card in rooks(4, motif, 4 * place)]
    deck = a_deck(tmp_path / "rooks", *cards)
    days = [Sitting(book, deck, day=day).whole("Rd1", 150).split() for day in (0, 1, 9)]
    assert [len(day) for day in days] == [10, 4, 6]
    why = [answer.why for answer in book.answers(1)]
    assert why == ["first meeting"] * 7 + ["due"] * 6
    assert all(answer.first_sight for answer in book.answers(1))


def test_what_has_no_new_position_left_is_told_apart_with_the_day_on_which_a_seen_one_returns(
    tmp_path: Path, book: Scorebook
) -> None:
    deck = a_deck(tmp_path / "rooks", *rooks(2), *rooks(4, "fork", 4))
    sitting = Sitting(book, deck)
    sitting.whole()
    assert sitting.state.used_up == {str(BACK_RANK): MOMENT.date() + SEEN_AGAIN}
    assert sitting.course.outlook().used_up == 1
    command = f"rondeau build {deck.folder} --from GAMES.pgn --motif back-rank"
    said = f"1 motif of today has no new position left. `{command}` makes more."
    assert sitting.course.used_up_told() == [said]
    assert Sitting(book, deck, day=3).course.used_up_told() == []  # nothing has come today
    later = Sitting(book, deck, day=14)
    later.whole()
    assert (
        later.state.used_up[str(BACK_RANK)] == book.strand_states(1)[BACK_RANK].returns
    )  # as soon as it may


def test_before_an_event_the_days_left_share_the_new_positions(tmp_path: Path, book: Scorebook) -> None:
    deck = a_deck(tmp_path / "rooks", *rooks(23))
    event = Event(MOMENT.date() + timedelta(days=5), 30, {})
    days = [Sitting(book, deck, day=day, minutes=30, event=event).whole().split() for day in range(5)]
    assert [len(day) for day in days] == [4, 4, 5, 5, 5]


def test_what_is_on_the_screen_is_used_up_when_the_student_leaves(tmp_path: Path, book: Scorebook) -> None:
    deck = a_deck(tmp_path / "rooks", *rooks(8))
    sitting = Sitting(book, deck)
    sitting.answer()
    left = sitting.state.tasks[sitting.state.place]
    sitting.send(m.Stop(5))
    assert position_key(left.card.fen) in map(position_key, book.last_seen(1))
    assert book.answers(1) == []
    later = Sitting(book, deck)
    asked = later.state.tasks[0]
    assert not asked.worked  # the first meeting goes on with another position
    assert asked.card.card_id != left.card.card_id


def test_a_card_without_a_motif_and_a_deck_learned_by_heart_are_fixed_cards(
    tmp_path: Path, book: Scorebook
) -> None:
    bare, heart = (
        a_deck(tmp_path / "bare", *rooks(2, None)),
        a_deck(tmp_path / "h", *rooks(2, first=4), by_heart=True),
    )
    sitting = Sitting(book, bare, heart)
    assert sitting.whole() == "rook-0 rook-1 rook-4 rook-5"
    assert book.strand_states(1) == {}
    assert str(CardItem(heart.settings.deck, "rook-4", "play")) in book.memory_of(1)


def test_a_fixed_card_that_was_left_comes_again_the_same_day(tmp_path: Path, book: Scorebook) -> None:
    deck = a_deck(tmp_path / "heart", *rooks(2), by_heart=True)
    Sitting(book, deck).send(m.Stop(5))
    sitting = Sitting(book, deck)
    assert [task.first_sight for task in sitting.state.tasks] == [False, True]
    sitting.answer()
    assert [task.card.card_id for task in Sitting(book, deck).state.tasks] == ["rook-1"]


def test_a_strand_returns_in_a_week_and_then_in_a_fortnight(tmp_path: Path, book: Scorebook) -> None:
    decks = [a_deck(tmp_path / "rooks", *rooks(20)), a_deck(tmp_path / "forks", *rooks(12, "fork", 20))]
    Sitting(book, *decks, minutes=1).whole()
    state = book.strand_states(1)[BACK_RANK]
    assert state.returns == date(2031, 5, 9)
    sitting = Sitting(book, *decks, day=7)
    assert sitting.state.tasks[0].why == {"play": "due"}
    sitting.answer()
    assert book.strand_states(1)[BACK_RANK].returns == date(2031, 5, 23)


def test_no_card_begins_once_the_minutes_are_used(tmp_path: Path, book: Scorebook) -> None:
    deck = a_deck(tmp_path / "heart", *rooks(20), by_heart=True)
    sitting = Sitting(book, deck)
    assert len(sitting.whole(seconds=400).split()) == 3
    assert sum(answer.seconds for answer in book.answers(1)) == 1200
    assert Sitting(book, deck).state.tasks == ()


def test_reading_counts_for_the_next_sitting_of_the_day_as_within_one(
    tmp_path: Path, book: Scorebook
) -> None:
    deck = a_deck(tmp_path / "rooks", *rooks(8))
    sitting = Sitting(book, deck)
    sitting.send(m.Next(100), m.Enter(120, "Rd1"))  # a worked position is read for 100 seconds
    assert book.study_days(1) == [DaySoFar(MOMENT.date(), 120.0, 0.0, 1)]
    sitting.send(m.Next(300))  # and a result for 180
    assert book.study_days(1) == [DaySoFar(MOMENT.date(), 300.0, 0.0, 1)]
    sitting.send(m.Stop(420))
    sitting.course.note_time(sitting.state.now)
    next_day = MOMENT + timedelta(days=1)
    assert day_ahead(book.study_days(1), MOMENT).seconds == 15 * 60 - 420
    assert day_ahead(book.study_days(1), next_day).seconds == 15 * 60


def test_a_position_that_was_left_at_once_makes_no_study_day(tmp_path: Path, book: Scorebook) -> None:
    sitting = Sitting(book, a_deck(tmp_path / "heart", *rooks(2), by_heart=True))
    sitting.send(m.Stop(50))
    sitting.course.note_time(sitting.state.now)
    assert book.study_days(1) == []


def test_a_fixed_card_missed_four_times_running_is_shown_worked_and_rests_for_a_week(
    tmp_path: Path, book: Scorebook
) -> None:
    deck = a_deck(tmp_path / "heart", *rooks(1), by_heart=True)
    days = {day: said for day in range(16) if (said := Sitting(book, deck, day=day).whole("h6"))}
    assert "".join("w" if said.isupper() else "m" for said in days.values()).startswith("mmmmwm")
    worked, again = [*days][4:6]
    assert again == worked + 7
    assert book.replay() == []
    resting = Sitting(book, deck, day=15)
    assert resting.course.outlook().returns == max(memory.returns for memory in book.memory_of(1).values())


@pytest.mark.parametrize("stuck", [("play",), ("assess", "play")])
def test_asks_on_which_a_student_is_stuck_are_shown_worked_alone_and_the_whole_card_rests(
    stuck: tuple[str, ...], tmp_path: Path, book: Scorebook
) -> None:
    deck = a_deck(tmp_path / "heart", doubled_rooks("assess", "play").card, by_heart=True)
    uuid = deck.settings.deck
    book.student()
    book.register_deck(uuid, "", "")
    for number in range(8):
        ask = ("assess", "play")[number % 2]
        answer = an_answer(number, "missed" if ask in stuck else "found", number, card="rooks", ask=ask)
        book.save_answer(replace(answer, deck=uuid, item=str(CardItem(uuid, "rooks", ask))))
    day = (DAY - MOMENT.date()).days + 9
    sitting = Sitting(book, deck, day=day)
    (task,) = sitting.state.tasks
    assert (task.worked, task.asks) == (True, stuck)
    sitting.whole()
    memories = {item.rpartition("/")[2]: memory for item, memory in book.memory_of(1).items()}
    assert {ask for ask, memory in memories.items() if memory.worked} == {*stuck}
    rest = [Sitting(book, deck, day=day + days).state.tasks for days in range(1, 8)]
    assert [bool(tasks) for tasks in rest] == [False] * 6 + [True]


def test_after_a_long_absence_first_meetings_wait_for_a_day_that_ends_with_nothing_due(
    tmp_path: Path, book: Scorebook
) -> None:
    decks = [a_deck(tmp_path / "rooks", *rooks(16)), a_deck(tmp_path / "forks", *rooks(16, "fork", 16))]
    Sitting(book, *decks, minutes=1).whole()
    back = Sitting(book, *decks, day=30)
    assert {str(item) for task in back.state.tasks for item in task.items.values()} == {str(BACK_RANK)}
    back.whole()
    states = Sitting(book, *decks, day=31)
    assert "motif:fork/play" in {item for task in states.state.tasks for item in task.items.values()}


def test_a_first_meeting_that_goes_on_after_a_long_absence_lets_no_other_begin(
    tmp_path: Path, book: Scorebook
) -> None:
    decks = [a_deck(tmp_path / "rooks", *rooks(16)), a_deck(tmp_path / "forks", *rooks(16, "fork", 16))]
    worked, asked = Sitting(book, *decks, minutes=1).whole("h6").split()
    assert (worked.isupper(), asked.isupper()) == (True, False)
    back = Sitting(book, *decks, day=30)
    (task, *_) = back.state.tasks
    assert (task.worked, set(task.why.values())) == (True, {"first meeting"})
    back.send(m.Next(1), m.Stop(1))
    again = Sitting(book, *decks, day=30)
    assert {item for task in again.state.tasks for item in task.items.values()} == {str(BACK_RANK)}


def test_what_the_day_comes_to_is_told(tmp_path: Path, book: Scorebook) -> None:
    deck = a_deck(tmp_path / "rooks", *rooks(8))
    sitting = Sitting(book, deck)
    sitting.whole()
    outlook = sitting.course.outlook()
    assert (outlook.lacks_positions, outlook.unseen, outlook.motifs, outlook.cards) == (True, 5, 1, 0)
    assert outlook.feeds == f"rondeau build {deck.folder} --from GAMES.pgn --motif back-rank"
    assert outlook.returns == book.strand_states(1)[BACK_RANK].returns


def test_a_stocktaking_and_a_decision_on_one_board_are_two_strands(tmp_path: Path, book: Scorebook) -> None:
    card = doubled_rooks("assess", "play").card
    sitting = Sitting(book, a_deck(tmp_path / "rooks", card))
    (task,) = sitting.state.tasks
    assert task.items in ({"assess": "motif:every-motif/assess"}, {"play": "motif:back-rank/play"})
    assert isinstance(book.strand_states(1).get(BACK_RANK, StrandState()), StrandState)


def test_an_answer_keeps_the_motif_of_its_card_or_the_one_that_only_seems_to_be_there(
    tmp_path: Path, book: Scorebook
) -> None:
    card, tag = doubled_rooks("assess", "play").card, MotifTag("back-rank", "white")
    cards = [replace(card, motifs=(tag,)), replace(card, motifs=(), lookalike=tag), replace(card, motifs=())]
    for number, each in enumerate(cards):
        sitting = Sitting(book, a_deck(tmp_path / str(number), each, by_heart=True), day=number)
        sitting.send(*(m.Enter(1, typed) for typed in ("=", "w", "W", "WW")), m.Submit(1), m.Enter(1, "h3"))
    assert [answer.ask for answer in book.answers(1)] == ["assess", "play"] * 3
    assert [answer.motif for answer in book.answers(1)] == ["back-rank"] * 4 + [None] * 2


def test_every_position_of_a_pool_is_told_apart() -> None:
    fens = {position_key(a_rook_check(number).card.fen) for number in range(32)}
    assert len(fens) == 32
    assert all(chess.Board(f"{fen} 0 1").is_valid() for fen in fens)
