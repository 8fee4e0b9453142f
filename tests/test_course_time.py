"""Days as they may come: a clock set back, other time zones, a leap day, a year away."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import given, settings
from hypothesis import strategies as st
from made_books import new_scorebook
from test_course import Sitting, a_deck, rooks

from decks.memory.day import MINUTES_A_FIRST_MEETING, USUAL_MINUTES, study_day
from decks.memory.minutes import CardStep
from decks.memory.strands import TIERS

BEGUN = datetime(2032, 2, 27, 20, tzinfo=UTC)
"""Two days before a leap day."""

sittings = st.tuples(
    st.sampled_from([-400, -2, 0, 1, 2, 15, 366]),  # days since the sitting before
    st.integers(-11, 14),  # hours east of Greenwich
    st.lists(st.sampled_from(["Rd1", "h6"]), max_size=4),  # a right move and a wrong one
)


@settings(max_examples=12)
@given(st.lists(sittings, min_size=2, max_size=5))
def test_whatever_the_clock_says_no_day_breaks_and_none_is_flooded(
    told: list[tuple[int, int, list[str]]],
) -> None:
    with TemporaryDirectory() as place, new_scorebook(Path(place) / "book.sqlite") as book:
        deck = a_deck(Path(place) / "rooks", *rooks(12), *rooks(6, None, first=12))
        moment = BEGUN
        for days, hours, moves in told:
            moment = (moment + timedelta(days=days)).astimezone(timezone(timedelta(hours=hours)))
            before = book.study_days(book.student())
            sitting = Sitting(book, deck, moment=moment)
            day = sitting.course.log.day
            assert day == study_day(moment, before[-1].day if before else None)
            steps = sitting.course.steps
            assert sum(step.seconds for step in steps[:-1]) < 60 * USUAL_MINUTES or not steps
            met = [step for step in steps if isinstance(step, CardStep) and step.why == "first meeting"]
            if any(each.day < day for each in before):
                assert len(met) <= USUAL_MINUTES // MINUTES_A_FIRST_MEETING
            for move in moves:
                if sitting.state.attempt:
                    sitting.answer(move)
        answers = book.answers(book.student())
        fresh = [answer.fen for answer in answers if answer.first_sight]
        assert len(set(fresh)) == len(fresh), "a position is new only once"
        days_kept = [answer.study_day for answer in answers]
        assert days_kept == sorted(days_kept)
        assert all(state.tier in TIERS for state in book.strand_states(book.student()).values())
        assert book.replay() == []
