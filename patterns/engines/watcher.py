"""Ends an engine's process group when the program that started it is gone, however it went.

A process of its own: `python watcher.py GROUP`, whose standard input is a pipe that the program alone holds
open. The program says goodbye by a byte; if the pipe ends without one, it was killed, and the group, with the
engine and every helper that it started, is killed too.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys

GOODBYE = b"."


def watch(group: int) -> None:
    """Wait for the end of standard input, and kill the process group unless a goodbye comes first."""
    if os.read(sys.stdin.fileno(), 1) != GOODBYE:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(group, signal.SIGKILL)


if __name__ == "__main__":
    watch(int(sys.argv[1]))
