"""The process group of an engine: watched in case this program is killed, and ended as a whole."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys

from patterns.engines import watcher


def watch(group: int) -> subprocess.Popen[bytes] | None:
    """A process that watches an engine's process group. None on systems without process groups."""
    if not hasattr(os, "killpg"):
        return None
    return subprocess.Popen(
        [sys.executable, "-I", "-S", watcher.__file__, str(group)],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,  # a signal to this program's group must not end the watcher
    )


def dismiss(watching: subprocess.Popen[bytes]) -> None:
    """Tell a watcher that the program ends its group itself."""
    with contextlib.suppress(BrokenPipeError):
        watching.communicate(watcher.GOODBYE)


def end(group: int) -> None:
    """Kill every process of a group."""
    if hasattr(os, "killpg"):
        os.killpg(group, signal.SIGKILL)
    # On other systems the process ends when the transport is closed.
