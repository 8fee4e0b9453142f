"""The bar of engine work: an honest time left, from measured searches only."""

from __future__ import annotations

import io

import pytest

from decks.commands.work_bar import Pace, work_bar


class Clock:
    """A clock that the test sets."""

    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


def test_no_time_is_told_before_a_search_was_measured() -> None:
    clock = Clock()
    pace = Pace(clock)
    assert pace.seconds_for(5) is None
    clock.now += 60
    pace.note(0)
    assert pace.seconds_for(5) is None


def test_what_was_kept_does_not_count() -> None:
    clock = Clock()
    pace = Pace(clock)
    clock.now += 60  # reading what was kept
    pace.note(0)
    clock.now += 20
    pace.note(2)
    assert pace.seconds_for(3) == 30


def test_several_engines_at_work_are_measured_together() -> None:
    clock = Clock()
    pace = Pace(clock)
    for done in (2, 4):
        clock.now += 10
        pace.note(done)
    assert pace.seconds_for(2) == 10


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_the_bar_shows_work_and_time_left(monkeypatch: pytest.MonkeyPatch) -> None:
    clock, screen = Clock(), Terminal()
    monkeypatch.setattr("sys.stderr", screen)
    with work_bar("Judging positions", clock) as report:
        report(0, 10, searched=0, left=10)
        assert "0/10" in screen.getvalue() and "left" not in screen.getvalue()
        clock.now += 30
        report(4, 10, searched=1, left=6)
        assert "4/10" in screen.getvalue() and "about 3 min left" in screen.getvalue()
        report(4, 10, searched=1, left=None, note="7 positions")
        assert screen.getvalue().rstrip().endswith("7 positions")
        report(10, 10, searched=7, left=0)
        assert "10/10" in screen.getvalue()


def test_there_is_no_bar_where_nobody_looks(monkeypatch: pytest.MonkeyPatch) -> None:
    screen = io.StringIO()
    monkeypatch.setattr("sys.stderr", screen)
    with work_bar("Judging positions") as report:
        report(1, 2, searched=1, left=1)
    assert screen.getvalue() == ""
