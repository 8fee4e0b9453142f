"""What commands print in the same way: JSON, tables, messages and progress."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from typing import Any

import click

FAIR_PLAY = "Not for use during play (FIDE Laws of Chess, Article 11.3)."
MESSAGE_LIMIT = 2000
"""Most characters shown of an error message. A path and every fault of a position fit."""


def print_json(data: object) -> None:
    """Print an object on one line of standard output. It is ASCII, so it holds no control characters."""
    import json

    click.echo(json.dumps(data))


def warn(message: str) -> None:
    """Print a message on standard error. Text from files must have passed through `safe` before."""
    click.echo(message, err=True)


def message_of(error: Exception) -> str:
    """The message of an error. For a file error it leaves out the error number."""
    if isinstance(error, OSError) and error.strerror:
        return f"{error.filename}: {error.strerror}" if error.filename else error.strerror
    return str(error)


def table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """Text lines with aligned columns: words to the left, numbers to the right."""
    every = [heads, *rows]
    widths = [max(len(row[column]) for row in every) for column in range(len(heads))]
    right = [
        all(row[column][:1].isdigit() or row[column] == "-" for row in rows) for column in range(len(heads))
    ]
    return [
        "  ".join(
            text.rjust(width) if to_the_right else text.ljust(width)
            for text, width, to_the_right in zip(row, widths, right, strict=True)
        ).rstrip()
        for row in every
    ]


@contextmanager
def progress(label: str, show_pos: bool = True) -> Iterator[Callable[[int, int], None]]:
    """A progress bar on standard error if that is a terminal. Yields a function of (done, total).

    The bar appears at the first call, so there is no bar when there is nothing to do. `show_pos`: whether
    the numbers mean something to the reader.
    """
    with ExitStack() as shown:
        bar: Any = None

        def report(done: int, total: int) -> None:
            nonlocal bar
            if bar is None and sys.stderr.isatty():
                bar = click.progressbar(length=total, label=label, file=sys.stderr, show_pos=show_pos)
                shown.enter_context(bar)
            if bar is not None:
                bar.update(done - bar.pos)

        yield report
