"""A progress bar for engine work: how much is done, and how long the rest takes by what was measured."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from time import monotonic
from typing import Any, Protocol

import click


class WorkReport(Protocol):
    """Tells the bar how the work stands."""

    def __call__(self, done: int, total: int, *, searched: int, left: float | None, note: str = "") -> None:
        """`done` of `total` fill the bar. `searched`: searches made so far. `left`: searches still to make,
        None if nobody knows yet. `note`: what else to show."""
        ...


class Pace:
    """How long searches take: from the moment before the first one, over all engines at work."""

    def __init__(self, clock: Callable[[], float] = monotonic) -> None:
        self._clock = clock
        self._begin = clock()
        self._searched = 0
        self._now = self._begin

    def note(self, searched: int) -> None:
        """Note how many searches have been made. What was kept from before takes no time and is left out."""
        self._now = self._clock()
        if searched == 0:
            self._begin = self._now
        self._searched = searched

    def seconds_for(self, searches: float) -> float | None:
        """How long so many more searches will take. None before one has been measured."""
        return (self._now - self._begin) / self._searched * searches if self._searched else None


def time_left(seconds: float) -> str:
    """A time in words, no more exact than it can be.

    >>> time_left(3), time_left(48), time_left(100), time_left(4000), time_left(7210)
    ('about 5 s left', 'about 50 s left', 'about 2 min left', 'about 1 h 10 min left', 'about 2 h left')
    """
    if seconds <= 57.5:
        return f"about {max(5, 5 * round(seconds / 5))} s left"
    minutes = max(1, round(seconds / 60))
    if minutes < 60:
        return f"about {minutes} min left"
    hours, minutes = divmod(10 * round(minutes / 10), 60)
    return f"about {hours} h {minutes} min left" if minutes else f"about {hours} h left"


@contextmanager
def work_bar(label: str, clock: Callable[[], float] = monotonic) -> Iterator[WorkReport]:
    """A progress bar on standard error if that is a terminal. It appears with the first report."""
    pace = Pace(clock)
    with ExitStack() as shown:
        bar: Any = None

        def report(done: int, total: int, *, searched: int, left: float | None, note: str = "") -> None:
            nonlocal bar
            pace.note(searched)
            if bar is None and sys.stderr.isatty():
                bar = shown.enter_context(
                    click.progressbar(
                        length=total,
                        label=label,
                        file=sys.stderr,
                        show_pos=True,
                        show_eta=False,
                        show_percent=False,
                        item_show_func=lambda text: text,
                        update_min_steps=0,
                    )
                )
            if bar is not None:
                seconds = None if left is None else pace.seconds_for(left)
                told = [note, "" if not left or seconds is None else time_left(seconds)]
                bar.update(done - bar.pos, ", ".join(filter(None, told)))

        yield report
