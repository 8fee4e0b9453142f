"""Indexes of decks that are kept from one run to the next, in the user's cache folder.

A kept index holds as long as no file of the deck, and no module of this program, has another size, time or
place on the disk. One that is missing, damaged or out of date is made again, and any of them can be deleted
at any time. Each is a file that is replaced as a whole, so that processes don't disturb each other.
"""

from __future__ import annotations

import json
import os
import time
import zlib
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass
from functools import cache
from hashlib import blake2b
from pathlib import Path
from typing import Any

import chess

import decks
import patterns
from decks.cards.cards_file import CARDS_FILE
from decks.cards.settings import SETTINGS_FILE, DeckSettings
from decks.cards.verdicts_file import VERDICTS_FILE
from decks.memory.askable import Kind
from decks.shelf.index import DeckIndex

PACKAGES = [Path(folder).resolve() for package in (decks, patterns) for folder in package.__path__]

SETTLED_AFTER = 2.0
"""Seconds since the last change of a file after which another change surely gives it another time."""

Stamp = list[list[int] | None]
"""What shows that files have not changed; JSON keeps it as it is. None for a file that is missing."""


@dataclass(frozen=True)
class KeptIndex:
    """An index, and where its cards stand.

    `places`: for each row offsets in bytes, as `start end start end ...`: of the card in `cards.pgn`, and of
    the verdicts on its positions in `verdicts.jsonl`. `stamp`: of the files that were read.
    """

    index: DeckIndex
    places: Sequence[str]
    stamp: Stamp


def stamp_of(folder: Path) -> Stamp:
    """The stamp of the files of a deck."""
    return [file_stamp(folder / name) for name in (SETTINGS_FILE, CARDS_FILE, VERDICTS_FILE)]


def file_stamp(file: Path | int) -> list[int] | None:
    """Size, times and place of a file, or of an open one; None if it is missing."""
    try:
        found = os.stat(file)
    except OSError:
        return None
    return [found.st_size, found.st_mtime_ns, found.st_ctime_ns, found.st_ino]


def kept_index(folder: Path) -> KeptIndex | None:
    """The index of the deck in a folder, if one is kept that holds."""
    with suppress(OSError, ValueError, LookupError, TypeError, RuntimeError):
        check, body = _file_for(folder).read_bytes().split(b"\n", 1)
        if int(check, 16) == zlib.crc32(body):
            found = json.loads(body)
            stamp = stamp_of(folder)
            if found["program"] == _program() and found["stamp"] == stamp:
                return KeptIndex(_read(found), found["places"].split("\n"), stamp)
    return None


def keep(folder: Path, kept: KeptIndex) -> None:
    """Keep an index for the next run, if that is possible and its files did not change just now."""
    changed = max((stamp[1] for stamp in kept.stamp if stamp), default=0) / 1e9
    if time.time() - changed < SETTLED_AFTER or stamp_of(folder) != kept.stamp or not kept.index.card_ids:
        return
    body = json.dumps(
        {
            "program": _program(),
            "stamp": kept.stamp,
            **_written(kept.index),
            "places": "\n".join(kept.places),
        }
    ).encode()
    with suppress(OSError, RuntimeError):
        file = _file_for(folder)
        file.parent.mkdir(parents=True, exist_ok=True)
        part = file.with_suffix(f".{os.getpid()}")
        part.write_bytes(b"%08x\n%b" % (zlib.crc32(body), body))
        os.replace(part, file)


def _written(index: DeckIndex) -> dict[str, Any]:
    """An index for JSON. A column is one text, because that is far faster to read than a list."""
    return {
        "settings": asdict(index.settings),
        "kinds": index.kinds,
        "kind_of": " ".join(map(str, index.kind_of)),
        "card_ids": " ".join(index.card_ids),
        "keys": "\n".join(index.keys),
        "squares": "\n".join(index.squares),
        "unjudged": index.unjudged,
    }


def _read(found: dict[str, Any]) -> DeckIndex:
    settings = found["settings"]
    return DeckIndex(
        DeckSettings(**{**settings, "asks": tuple(settings["asks"])}),
        [Kind(tuple(asks), *others) for asks, *others in found["kinds"]],
        [int(kind) for kind in found["kind_of"].split()],
        found["card_ids"].split(),
        found["keys"].split("\n"),
        found["squares"].split("\n"),
        found["unjudged"],
    )


def _file_for(folder: Path) -> Path:
    """Where the index of a deck is kept. RuntimeError if the user has no home."""
    name = blake2b(os.fsencode(folder.resolve()), digest_size=16).hexdigest()
    return _cache_folder() / f"{name}.index"


def _cache_folder() -> Path:
    from platformdirs import user_cache_path

    return user_cache_path("rondeau", appauthor=False) / "decks"


@cache
def _program() -> str:
    """A text that changes with this program: a later version may read a deck in another way."""
    modules = sorted(path for package in PACKAGES for path in package.rglob("*.py"))
    stamps = [(str(path), file_stamp(path)) for path in modules]
    return blake2b(json.dumps([chess.__version__, stamps]).encode(), digest_size=16).hexdigest()
