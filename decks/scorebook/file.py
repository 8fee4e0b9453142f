"""The scorebook as a file: where it lies, opening it safely, keeping copies and bringing one back."""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from tempfile import TemporaryDirectory
from time import monotonic, sleep

from decks.scorebook.database import ScorebookDatabase
from decks.scorebook.parts import part_of
from decks.scorebook.steps import STEPS, steps_taken

PATH_VARIABLE = "RONDEAU_SCOREBOOK"

WAIT_SECONDS = 10.0
"""How long to wait for another process's transaction; ours take milliseconds, a scan's batch a second."""

_NEEDS_WRITING = "{path}: the file or its folder is read-only, and this would write in it"

_COMPANIONS = ("-wal", "-shm", "-journal")


class ScorebookError(Exception):
    """The scorebook can't do what was asked; the message is one line that names the file."""


def default_path() -> Path:
    """Where the scorebook lies: RONDEAU_SCOREBOOK, or else the user's own data folder."""
    chosen = os.environ.get(PATH_VARIABLE)
    if chosen:
        return Path(chosen)
    from platformdirs import user_data_path

    try:
        return user_data_path("rondeau", appauthor=False) / "scorebook.sqlite"
    except RuntimeError as error:
        raise ScorebookError(
            f"there is no home directory for a scorebook: name a file with --scorebook or {PATH_VARIABLE}"
        ) from error


def connect(path: Path) -> ScorebookDatabase:
    """Open the scorebook at `path`, made if it is missing and brought up to date if it is older.

    ScorebookError if the file is no scorebook, was written by a newer version, can't be opened or written in;
    it is then left as it was.
    """
    if _is_read_only(path):
        raise ScorebookError(_NEEDS_WRITING.format(path=path))
    with _naming(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        db = _open(path)
    try:
        with _naming(path):
            _check_version(db, path)
            db.execute("PRAGMA synchronous = FULL")
            db.execute("PRAGMA foreign_keys = ON")
            _use_write_ahead_log(db)
            if steps_taken(db) != {*STEPS}:
                with writing(db):
                    _check_version(db, path)  # another process may have come first
                    _take_all_steps(db)
        return db
    except BaseException:
        db.close()
        raise


def connect_to_read(path: Path) -> ScorebookDatabase:
    """Open the scorebook at `path` for commands that write nothing, also where nothing can be written.

    There a copy is read, in memory, brought up to date like any scorebook. ScorebookError as of `connect`.
    """
    if not _is_read_only(path):
        return connect(path)
    with TemporaryDirectory(prefix="rondeau-") as folder:
        # Only in a place that takes writing does SQLite read what a session has left beside the file.
        copy = Path(folder, path.name)
        with _naming(path):
            for ending in ("", "-wal", "-journal"):
                part = path.with_name(path.name + ending)
                if part.exists():
                    shutil.copyfile(part, copy.with_name(copy.name + ending))
        try:
            with connect(copy) as db, _naming(path):
                _use_no_log(db)
                here = sqlite3.connect(":memory:", isolation_level=None)
                db.conn.backup(here)
        except ScorebookError as error:
            raise ScorebookError(str(error).replace(str(copy), str(path))) from error
    here.execute("PRAGMA query_only = ON")
    return ScorebookDatabase(here)


def _is_read_only(path: Path) -> bool:
    """Whether there is a file that can't be changed where it lies: SQLite makes others beside it for that."""
    return path.is_file() and not (os.access(path, os.W_OK) and os.access(path.parent, os.W_OK))


@contextmanager
def writing(db: ScorebookDatabase) -> Iterator[None]:
    """One transaction, all or nothing.

    It takes the write lock at once, and waits for it: the library's own, which starts by reading, would fail
    without waiting if another process writes meanwhile.
    """
    db.execute("BEGIN IMMEDIATE")
    try:
        yield
        db.conn.commit()
    finally:
        db.conn.rollback()


def back_up(db: ScorebookDatabase, file: Path) -> None:
    """Write a whole copy to `file`, at once or not at all.

    An older copy there is replaced, nothing else: no other file, and no scorebook that is open.
    """
    if file.exists():
        own, *_ = db.query("PRAGMA database_list")
        if own["file"] and file.samefile(own["file"]):
            raise ScorebookError(f"{file}: is the scorebook itself, a copy needs another name")
        _validate(file)
        _settle(file)
    with _naming(file):
        file.parent.mkdir(parents=True, exist_ok=True)
        with part_of(file) as part:
            with _open(part) as copy:
                db.conn.backup(copy.conn)
                _use_no_log(copy)  # one file, that can be moved about alone
            _sync(part)
            os.replace(part, file)
            _sync(file.parent)


def restore(path: Path, source: Path) -> Path | None:
    """Put the copy `source` in the place of the scorebook at `path`; None if there was none before.

    `source` is checked first, and what stood at `path` is kept: returns the file it is kept in.
    """
    if path.exists() and source.exists() and path.samefile(source):
        raise ScorebookError(f"{source}: is the scorebook itself, not a copy of it")
    if _is_read_only(path):
        raise ScorebookError(_NEEDS_WRITING.format(path=path))
    _validate(source)
    with _naming(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        with part_of(path) as part:
            with _open(source, read_only=True) as copy, _open(part) as new:
                copy.conn.backup(new.conn)
            with connect(part) as new:
                _use_no_log(new)
            return _put_in_place(part, path)


def _put_in_place(part: Path, path: Path) -> Path | None:
    """Put a whole scorebook in the place of whatever stands at `path`, which is kept: returns where.

    At every moment there is the old or the new one at `path`. A scorebook is written over in one transaction
    of SQLite's, since another process may have it open; anything else gives way to a renamed file.
    """
    kept = _free_name(path)
    if path.exists() and _keep_a_copy(path, kept):
        with _naming(path), _open(part, read_only=True) as new, _open(path) as here:
            new.conn.backup(here.conn)
        connect(path).close()
        return kept
    standing = [ending for ending in ("", *_COMPANIONS) if path.with_name(path.name + ending).exists()]
    with _naming(path):
        for ending in standing:
            shutil.copy2(path.with_name(path.name + ending), kept.with_name(kept.name + ending))
        for ending in _COMPANIONS:  # before the new one comes: they would be taken for part of it
            path.with_name(path.name + ending).unlink(missing_ok=True)
        _sync(part)
        os.replace(part, path)
        _sync(path.parent)
    return kept if standing else None


@contextmanager
def _naming(path: Path) -> Iterator[None]:
    """Turn what the system and SQLite raise into one line that names the file."""
    try:
        yield
    except (OSError, sqlite3.Error) as error:
        text = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise ScorebookError(f"{path}: {text}") from error


def _open(file: Path, *, read_only: bool = False) -> ScorebookDatabase:
    """The database in a file, every statement committed unless a transaction was begun."""
    place = f"{file.resolve().as_uri()}?{_way_to_read(file)}" if read_only else file
    connection = sqlite3.connect(place, uri=read_only, timeout=WAIT_SECONDS, isolation_level=None)
    return ScorebookDatabase(connection)


def _way_to_read(file: Path) -> str:
    """The parameters of SQLite that leave nothing beside a file that is only read.

    If a file is meant to have a write-ahead log and has none, SQLite makes an empty log in order to read, and
    leaves it there. But such a file is whole, and no process has it open.
    """
    if file.with_name(f"{file.name}-wal").exists():
        return "mode=ro"
    with file.open("rb") as opened:
        wants_log = opened.read(20)[18:] == b"\2\2"
    return "immutable=1" if wants_log else "mode=ro"


def _check_version(db: ScorebookDatabase, path: Path) -> None:
    """ScorebookError if a database holds anything but what this version, or an older one, has put there."""
    taken = steps_taken(db)
    if db.table_names() and not taken:
        raise ScorebookError(f"{path}: is a database, but not a scorebook")
    if newer := sorted(taken.difference(STEPS)):
        raise ScorebookError(
            f"{path}: was written by a newer version of Rondeau (it has {', '.join(newer)}); "
            f"update the program to open it"
        )


def _use_write_ahead_log(db: ScorebookDatabase) -> None:
    """Retried here, since SQLite's own waiting doesn't cover the change of journal mode."""
    deadline = monotonic() + WAIT_SECONDS
    while True:
        try:
            db.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError:
            if monotonic() > deadline:
                raise
            sleep(0.01)


def _use_no_log(db: ScorebookDatabase) -> None:
    db.execute("PRAGMA journal_mode = DELETE")


def _take_all_steps(db: ScorebookDatabase) -> None:
    library = db.library  # before the steps, which import it too
    from decks.scorebook.schema import MIGRATIONS

    MIGRATIONS.apply(library)


def _settle(file: Path) -> None:
    """Make a scorebook one file, so that nothing beside it is taken for part of what replaces it.

    ScorebookError if a process has it open: its answers would go to a file that no name leads to.
    """
    with _naming(file), _open(file) as db:
        _use_no_log(db)


def _validate(file: Path) -> None:
    """ScorebookError unless `file` is a sound scorebook that this version can read."""
    if not file.is_file():
        raise ScorebookError(f"{file}: {'is not a plain file' if file.exists() else 'there is no such file'}")
    with _naming(file), _open(file, read_only=True) as db:
        if not db.table_names():
            raise ScorebookError(f"{file}: is not a scorebook")
        _check_version(db, file)
        ((fault,),) = db.execute("PRAGMA integrity_check(1)")
        if fault != "ok" or db.execute("PRAGMA foreign_key_check").fetchone():
            raise ScorebookError(f"{file}: is damaged ({fault if fault != 'ok' else 'broken links'})")


def _free_name(path: Path) -> Path:
    """The name beside `path` that keeps what stands there."""
    number = 1
    while (kept := path.with_name(f"{path.name}.before-restore-{number}")).exists():
        number += 1
    return kept


def _keep_a_copy(path: Path, kept: Path) -> bool:
    """Copy the scorebook at `path` to `kept`; False if SQLite can't read what stands there."""
    try:
        with connect(path) as db, _naming(path):
            with writing(db):
                pass  # fails in time if another process won't let go of it
            back_up(db, kept)
    except ScorebookError as error:
        if isinstance(error.__cause__, (OSError, sqlite3.OperationalError)):
            raise  # locked, disk full, not ours to read: what stands there may be sound
        return False
    return True


def _sync(path: Path) -> None:
    """Have the system put a file, or the names in a folder, on the disk, if it can."""
    with suppress(OSError):
        handle = os.open(path, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
