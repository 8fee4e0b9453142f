"""Locks on folders, for one process at a time. When it ends, in any way, the system frees the lock."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def folder_lock(folder: Path) -> Iterator[bool | None]:
    """Lock a folder until the block ends, at once or not at all. OSError if it can't be opened.

    Yields whether this process has the lock now: False if another one has it, None if there are no such locks
    (on Windows, and on some file systems).
    """
    if sys.platform == "win32":
        yield None
        return
    import fcntl

    handle = os.open(folder, os.O_RDONLY)
    try:
        is_ours: bool | None = True
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            is_ours = False
        except OSError:
            is_ours = None
        yield is_ours
    finally:
        os.close(handle)
