"""A worker's own engine. It starts with the worker's first question of a pass, and ends with the pass.

Workers are threads or processes of any executor, so a pass cannot reach them one by one. Instead it holds a
lease: a socket on this machine, to which every worker keeps a connection. When the pass ends, in whatever
way, the connections end too, and each worker ends its engine, in the middle of a search if need be.
"""

from __future__ import annotations

import contextlib
import secrets
import socket
import threading
from dataclasses import dataclass
from types import TracebackType
from typing import NamedTuple

from patterns.engines.judging import EngineCommand, EngineError, Judge
from patterns.engines.questions import Answer, Asked, answered

MOST_WORKERS = 1024
"""Connections that a lease can have at once: far more than any machine has cores."""

END_SECONDS = 5.0
"""Longest wait for one worker's engine to end. It is killed if it does not quit, so this is seldom needed."""


@dataclass(frozen=True)
class Lease:
    """What a worker needs to know of a pass: the engine to start, and where the pass holds the lease.

    `token`: tells passes apart that have had the same port.
    """

    command: EngineCommand
    address: tuple[str, int]
    token: str


class AboutEngine(NamedTuple):
    """An engine's own name, safe to show, and whether it can search several moves at once (MultiPV)."""

    name: str
    several_lines: bool


class LeaseHolder:
    """The pass's side of a lease. Use it in a `with` block: all engines have ended after it."""

    def __init__(self, command: EngineCommand) -> None:
        self._socket = socket.create_server(("127.0.0.1", 0), backlog=MOST_WORKERS)
        self._socket.setblocking(False)
        host, port = self._socket.getsockname()
        self.lease = Lease(command, (host, port), secrets.token_hex(8))

    def __enter__(self) -> LeaseHolder:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.end()

    def end(self) -> None:
        """End the lease, and wait until the workers have ended their engines. A second call does nothing."""
        workers: list[socket.socket] = []
        try:
            with contextlib.suppress(OSError):  # no more connections, or ended before
                while True:
                    workers.append(self._socket.accept()[0])
            # A forked worker has a copy of the socket, so closing ours alone would not end it.
            with contextlib.suppress(OSError):
                self._socket.shutdown(socket.SHUT_RDWR)
            self._socket.close()
            for worker in workers:
                with contextlib.suppress(OSError):
                    worker.shutdown(socket.SHUT_WR)
            for worker in workers:
                worker.settimeout(END_SECONDS)
                with contextlib.suppress(OSError):
                    worker.recv(1)  # the worker closes its side when its engine has ended
        finally:
            for worker in workers:
                worker.close()


class _OwnEngine:
    """A running engine, and the connection that it lives by."""

    def __init__(self, lease: Lease) -> None:
        self.lease = lease
        try:
            self._connection = socket.create_connection(lease.address)
        except OSError as error:
            raise EngineError("the pass has ended") from error
        try:
            self._judge = Judge.open(lease.command)
        except BaseException:
            self._connection.close()
            raise
        self._in_use = threading.Lock()
        self._has_ended = False
        self._guard = threading.Thread(target=self._end_with_connection, daemon=True)
        self._guard.start()

    @property
    def about(self) -> AboutEngine:
        return AboutEngine(self._judge.name, self._judge.several_lines)

    def answer(self, question: Asked) -> Answer:
        with self._in_use:
            if self._has_ended:
                raise EngineError("the pass has ended")
            return answered(question, self._judge)

    def end(self) -> None:
        with contextlib.suppress(OSError):
            self._connection.shutdown(socket.SHUT_RDWR)
        self._guard.join()

    def _end_with_connection(self) -> None:
        with contextlib.suppress(OSError):
            self._connection.recv(1)
        if not self._in_use.acquire(blocking=False):
            self._judge.kill()  # the search in work fails now
            self._in_use.acquire()
        # A question that was already on its way to this worker still comes: it must not wait for ever.
        self._has_ended = True
        self._in_use.release()
        self._judge.close()
        self._connection.close()


class _Here(threading.local):
    """What this worker has."""

    engine: _OwnEngine | None = None


_here = _Here()


def about_engine(lease: Lease) -> AboutEngine:
    """In a worker: what its engine says of itself. It is started for it. EngineError if it can't be."""
    return _engine(lease).about


def answer(lease: Lease, question: Asked) -> Answer:
    """In a worker: the answer of its engine. EngineError if that fails; another is started when needed."""
    engine = _engine(lease)
    try:
        return engine.answer(question)
    except ValueError:
        raise  # the question is wrong, not the engine
    except BaseException:
        _here.engine = None
        engine.end()
        raise


def _engine(lease: Lease) -> _OwnEngine:
    if _here.engine is None or _here.engine.lease != lease:
        if _here.engine is not None:
            _here.engine.end()
            _here.engine = None
        _here.engine = _OwnEngine(lease)
    return _here.engine
