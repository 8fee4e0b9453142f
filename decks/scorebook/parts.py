"""Files that are still being made: each in a folder of its own beside its place, then moved there whole.

If the process is killed, the folder stays. The next process that makes a file there removes it.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from tempfile import TemporaryDirectory

from decks.locks import folder_lock

_PREFIX = ".rondeau-part-"
_NAME = re.compile(rf"{re.escape(_PREFIX)}[a-z0-9_]{{8}}")
"""What `tempfile` makes of the prefix."""


@contextmanager
def part_of(file: Path) -> Iterator[Path]:
    """Where to make `file`, on the same disk. What is not moved away when the block ends is removed.

    What killed processes left in the same place is removed first. OSError if nothing can be made there.
    """
    for left in file.parent.glob(f"{_PREFIX}*"):
        if _NAME.fullmatch(left.name) and left.is_dir() and not left.is_symlink():
            _remove_if_abandoned(left)
    with ExitStack() as held:
        yield _own_folder(file.parent, held) / file.name


def _own_folder(place: Path, held: ExitStack) -> Path:
    """A new folder, which this process has locked, so that no other one removes it."""
    while True:
        folder = Path(
            held.enter_context(TemporaryDirectory(prefix=_PREFIX, dir=place, ignore_cleanup_errors=True))
        )
        with suppress(FileNotFoundError):
            is_ours = held.enter_context(folder_lock(folder))
            if is_ours is not False and folder.exists():
                return folder
        # Before it was locked, another process took it for abandoned.


def _remove_if_abandoned(folder: Path) -> None:
    with suppress(OSError), folder_lock(folder) as is_ours:
        if is_ours:
            shutil.rmtree(folder)
