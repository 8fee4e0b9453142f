"""Where the `rondeau` command starts: what must be done before anything large is imported.

If the caller closed a standard stream, it is opened on the null device. Otherwise the next file to be opened
would get its number, and output meant for the stream would go into that file. Ctrl-C during the imports ends
the program without a traceback.
"""

from __future__ import annotations

import os
import signal
import sys
from typing import NoReturn


def open_closed_streams() -> None:
    """Open standard input, output and error on the null device where the caller closed them."""
    for number, (name, mode) in enumerate((("stdin", "r"), ("stdout", "w"), ("stderr", "w"))):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # gets the lowest free number, which is this stream's
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
