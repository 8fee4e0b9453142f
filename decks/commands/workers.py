"""Worker processes of a command. They end with it, however it ends."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from concurrent.futures import Executor


@contextmanager
def worker_processes(workers: int) -> Iterator[Executor]:
    """A pool of processes. They leave Ctrl-C to this process, and end with it, however it ends."""
    from concurrent.futures import ProcessPoolExecutor

    pool = ProcessPoolExecutor(workers, initializer=_follow_parent)
    try:
        yield pool
    finally:
        pool.shutdown(cancel_futures=True)


def _follow_parent() -> None:
    """In a worker: ignore Ctrl-C, and exit as soon as the parent process is gone."""
    from multiprocessing import parent_process
    from multiprocessing.connection import wait
    from threading import Thread

    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, signal.SIG_IGN if number == signal.SIGINT else signal.SIG_DFL)
    parent = parent_process()
    assert parent is not None

    def exit_with_parent() -> None:
        wait([parent.sentinel])
        os._exit(1)

    Thread(target=exit_with_parent, daemon=True).start()
