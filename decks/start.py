"""Where the `rondeau` command starts: what must hold before anything large is imported.

A stream that the caller closed is opened on nothing, since the next file opened would otherwise take its
number, and be written to as if it were the stream. Ctrl-C while Python still imports ends without a word.
"""

from __future__ import annotations

import os
import signal
import sys
from typing import NoReturn


def open_closed_streams() -> None:
    """Give standard input, output and error a place where there is none."""
    for number, (name, mode) in enumerate((("stdin", "r"), ("stdout", "w"), ("stderr", "w"))):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # takes the lowest free number, which is this one
        if getattr(sys, name) is None:
            setattr(sys, name, os.fdopen(number, mode, encoding="utf-8", closefd=False))


def main() -> NoReturn:
    """The `rondeau` command."""
    open_closed_streams()
    try:
        from decks.cli import main as run

        run()
    except KeyboardInterrupt:
        sys.exit(128 + signal.SIGINT)


if __name__ == "__main__":
    main()
