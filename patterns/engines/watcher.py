"""Ends an engine's process group when the program that started it has ended in any way.

A separate process: `python watcher.py GROUP`. Its standard input is a pipe that only the program holds open.
The program says goodbye by sending a byte. If the pipe ends without this byte, the program was killed. Then
the watcher kills the group, with the engine and every helper that the engine started.
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
