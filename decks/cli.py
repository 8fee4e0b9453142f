"""The command line: finds the command, and turns every error into a message and an exit status.

Of the heavy libraries only click is imported here, so `rondeau --help` starts as fast as click does.
"""

from __future__ import annotations

import importlib
import io
import os
import signal
import sys
from collections.abc import Sequence
from typing import Any, NoReturn

import click

from decks import __version__
from decks.commands import SUMMARIES, module_of
from decks.commands.terminal import MESSAGE_LIMIT, message_of, warn
from patterns.reading.text import safe

INPUT_AT_FAULT, NO_ENGINE, INTERRUPTED, READER_GONE = 1, 3, 130, 141
"""Exit statuses. 0 means done, and 2 is click's own for wrong usage. The last two are 128 + the signal."""

ENDING_SIGNALS = ("SIGTERM", "SIGHUP")
"""Signals that end the program. Names, because not every system has both. The status is 128 + the signal."""

STATUSES = {
    "patterns.engines.uci.EngineError": NO_ENGINE,
    "patterns.reading.fen.FenError": INPUT_AT_FAULT,
    "patterns.proof.played_line.LineError": INPUT_AT_FAULT,
    "patterns.reading.pgn.GamesError": INPUT_AT_FAULT,
    "decks.cards.faults.DeckError": INPUT_AT_FAULT,
    "decks.scorebook.file.ScorebookError": INPUT_AT_FAULT,
    "decks.scorebook.handed_in.HandInError": INPUT_AT_FAULT,
    "builtins.OSError": INPUT_AT_FAULT,
}
"""Exit status for each exception of a library. The keys are names, so that no library must be imported."""


class Commands(click.Group):
    """A group that knows its commands' names and summaries without importing them."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(SUMMARIES)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in SUMMARIES:
            return None
        command = importlib.import_module(module_of(cmd_name)).command
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(SUMMARIES.items()))

    def invoke(self, ctx: click.Context) -> Any:
        try:
            result = super().invoke(ctx)
            sys.stdout.flush()
            return result
        except BrokenPipeError:
            # Nobody reads what is still buffered, and the interpreter would report an error for it at exit.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            ctx.exit(READER_GONE)

    def main(self, args: Sequence[str] | None = None, *more: Any, **extra: Any) -> NoReturn:
        """Run the command and exit. Only here does an exception become an exit status."""
        extra["standalone_mode"] = False
        try:
            status = super().main(args, *more, **extra)
            sys.exit(status if isinstance(status, int) else 0)
        except click.ClickException as error:
            message = io.StringIO()
            error.show(message)
            for line in message.getvalue().splitlines():  # it may quote control characters that were typed
                warn(safe(line, MESSAGE_LIMIT))
            sys.exit(error.exit_code)
        except (click.Abort, KeyboardInterrupt):
            warn("interrupted")
            sys.exit(INTERRUPTED)
        except Exception as error:
            status = status_of(error)
            if status is None:
                raise
            for line in message_of(error).splitlines():
                warn(f"Error: {safe(line, MESSAGE_LIMIT)}")
            sys.exit(status)


def status_of(error: Exception) -> int | None:
    """The exit status for a library's exception. None for an exception that is a bug in the program."""
    for kind in type(error).__mro__:
        status = STATUSES.get(f"{kind.__module__}.{kind.__qualname__}")
        if status is not None:
            return status
    return None


@click.command(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="rondeau")
def cli() -> None:
    """Drills recurring chess middlegame patterns, in positions from your own games.

    Not for use during play (FIDE Laws of Chess, Article 11.3).
    """


def exit_cleanly(number: int, frame: object) -> NoReturn:
    """Handles a signal to end: closes everything that is open, and ends engines and workers."""
    sys.exit(128 + number)


def main() -> NoReturn:
    """The `rondeau` command."""
    for name in ENDING_SIGNALS:
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), exit_cleanly)
    for stream in (sys.stdin, sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a character that can't be read or shown becomes a ?
    try:
        cli.main(prog_name="rondeau")
    except SystemExit as end:
        if isinstance(end.code, int) and end.code > 128:
            # A signal may come between two steps of a `with` statement. What the statement had still to do is
            # then done later, when files are closed already, and Python would print a traceback of that.
            sys.unraisablehook = lambda _: None
        raise
