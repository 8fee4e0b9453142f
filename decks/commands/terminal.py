"""What the commands share: JSON on standard output, progress on standard error."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

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
def progress(length: int, label: str) -> Iterator[Callable[[int], None]]:
    """A progress bar on standard error, shown only on a terminal; yields the function that moves it on."""
    bar = click.progressbar(
        length=length, label=label, file=sys.stderr, hidden=not sys.stderr.isatty(), show_pos=True
    )
    with bar:
        yield bar.update
