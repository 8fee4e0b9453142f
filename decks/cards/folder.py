"""The files of a deck folder: reading and replacing them as a whole, and no other files."""

from __future__ import annotations

import contextlib
import os
import re
import stat
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from decks.cards.faults import DeckError, Fault
from decks.locks import folder_lock

SIZE_LIMITS = {
    "deck.toml": 64 * 1024,
    "cards.pgn": 8 * 1024 * 1024,
    "verdicts.jsonl": 64 * 1024 * 1024,
    "built.epd": 1024 * 1024,
}
"""Most bytes of each file. Five thousand cards fit, and a wrong file is refused."""

PROBE_BYTES = 64 * 1024
"""Bytes written as a test: about the size of a card with its verdicts."""

_TEMPORARY = re.compile(r"\.(deck\.toml|cards\.pgn|verdicts\.jsonl|built\.epd)\.[0-9a-f]{32}")
"""Names of files that are being written; see `replace_file`."""


def read_file(folder: Path, name: str) -> bytes | None:
    """The bytes of one of a deck's files. None if there is no such file.

    DeckError if it is not a plain file, is a link out of the folder, is too large, or can't be read.
    """
    path = _inside(folder, name)
    try:
        found = os.stat(path)
        if not stat.S_ISREG(found.st_mode):
            raise DeckError([Fault(name, None, None, "this is not a plain file")])
        if found.st_size > SIZE_LIMITS[name]:
            raise _too_large(name, "larger than", "this can't be a deck's")
        return path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise DeckError([Fault(name, None, None, f"can't be read: {error.strerror}")]) from error


def _too_large(name: str, larger: str, so: str) -> DeckError:
    limit = SIZE_LIMITS[name] >> 10
    most = f"{limit >> 10} MB" if limit >= 1024 else f"{limit} KB"
    return DeckError([Fault(name, None, None, f"{larger} {most}: {so}")])


def replace_file(folder: Path, name: str, data: bytes) -> None:
    """Replace one of a deck's files. Even after a crash it is either the old or the new one, never a part.

    DeckError if it can't be written, or could not be read again because it is too large.
    """
    path = _inside(folder, name)
    if len(data) > SIZE_LIMITS[name]:
        raise _too_large(name, "would be larger than", "start another deck for more cards")
    new = path.with_name(f".{path.name}.{uuid.uuid4().hex}")
    try:
        with new.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        with contextlib.suppress(FileNotFoundError):
            new.chmod(stat.S_IMODE(path.stat().st_mode))
        os.replace(new, path)
        _sync_folder(path.parent)
    except OSError as error:
        raise DeckError([Fault(name, None, None, f"can't be written: {error.strerror}")]) from error
    finally:
        with contextlib.suppress(OSError):
            new.unlink()


@contextmanager
def reserved(folder: Path) -> Iterator[None]:
    """Reserve a deck folder for this process until the block ends. A missing folder is created.

    DeckError at once if another process has reserved it, or if nothing can be written there. Half-written
    files of a killed process are removed. A folder that was created here is removed if it stayed empty.
    """
    fresh = not folder.exists()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise DeckError([Fault(str(folder), None, None, f"can't be made: {error.strerror}")]) from error
    try:
        with folder_lock(folder) as is_ours:
            if is_ours is False:
                message = "another process is writing in this deck: try again when it is done"
                raise DeckError([Fault(str(folder), None, None, message)])
            for stray in filter(is_stray, folder.iterdir()):
                with contextlib.suppress(OSError):
                    stray.unlink()
            _try_to_write(folder)
            yield
    finally:
        if fresh:
            with contextlib.suppress(OSError):  # it is not empty any more
                folder.rmdir()


def is_stray(path: Path) -> bool:
    """Whether a killed process left this file behind: half written, or empty in a folder without a deck."""
    if _TEMPORARY.fullmatch(path.name):
        return True
    alone = not (path.parent / "deck.toml").exists()
    return alone and path.name in SIZE_LIMITS and path.is_file() and path.stat().st_size == 0


def _try_to_write(folder: Path) -> None:
    """DeckError if a small file can't be written. This is better known before minutes of work than after."""
    probe = folder / f".deck.toml.{uuid.uuid4().hex}"
    try:
        probe.write_bytes(b" " * PROBE_BYTES)
    except OSError as error:
        message = f"can't be written in: {error.strerror}"
        raise DeckError([Fault(str(folder), None, None, message)]) from error
    finally:
        with contextlib.suppress(OSError):
            probe.unlink()


def decode(name: str, data: bytes) -> str:
    """The text of a file. DeckError with the text line that is not UTF-8."""
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        wrong = data[error.start]
        raise DeckError(
            [Fault(name, line, None, f"not UTF-8: byte {wrong:#04x} can't start a character")]
        ) from error


def _inside(folder: Path, name: str) -> Path:
    """The file's real path. DeckError if links lead out of the folder."""
    if name not in SIZE_LIMITS:
        raise ValueError(f"{name!r} is not a file of a deck")
    home = folder.resolve()
    try:
        path = (home / name).resolve()
    except (OSError, RuntimeError) as error:
        raise DeckError([Fault(name, None, None, "a link that leads nowhere")]) from error
    if not path.is_relative_to(home):
        raise DeckError([Fault(name, None, None, "a link that leads out of the deck folder")])
    return path


def _sync_folder(folder: Path) -> None:
    """Make a rename durable, if the system can sync a folder."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
