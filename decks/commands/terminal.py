"""What the commands share: JSON on standard output, progress on standard error."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from typing import Any

import click

FAIR_PLAY = "Not for use during play (FIDE Laws of Chess, Article 11.3)."
MESSAGE_LIMIT = 2000
"""Characters shown of one error message: room for a path and every fault of a position."""


def print_json(data: object) -> None:
    """One object on one line of standard output; ASCII only, so nothing in it can steer a terminal."""
    import json

    click.echo(json.dumps(data))


def warn(message: str) -> None:
    """A line for the person at the terminal, beside the results. Text from files must be `safe` already."""
    click.echo(message, err=True)


@contextmanager
def progress(label: str) -> Iterator[Callable[[int, int], None]]:
    """A progress bar on standard error, if a terminal; yields the function to tell: done, of how many.

    The bar appears when it is first told: work that turns out to be none shows none.
    """
    with ExitStack() as shown:
        bar: Any = None

        def tell(done: int, total: int) -> None:
            nonlocal bar
            if bar is None and sys.stderr.isatty():
                bar = click.progressbar(length=total, label=label, file=sys.stderr, show_pos=True)
                shown.enter_context(bar)
            if bar is not None:
                bar.update(done - bar.pos)

        yield tell
