"""`built.epd`: the positions of which `build` has made cards for a deck, one four-field EPD a line.

A card that a coach deletes from `cards.pgn` stays here, so that it is not built again. Who wants it back
deletes the line. Lines that are no position are left alone.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import chess

from decks.cards.folder import decode, read_file, replace_file

BUILT_FILE = "built.epd"


def read_built(folder: Path) -> tuple[str, ...]:
    """The positions (EPD) that the file of a deck folder names. DeckError if it can't be read."""
    return tuple(filter(_is_position, map(str.strip, _text(folder).splitlines())))


def note_built(folder: Path, epds: Iterable[str]) -> None:
    """Add positions to the file, which is made if there is none. DeckError if it can't be written."""
    text = _text(folder)
    if text and not text.endswith("\n"):
        text += "\n"
    known = set(text.splitlines())
    new = [epd for epd in dict.fromkeys(epds) if epd not in known]
    if new:
        replace_file(folder, BUILT_FILE, "".join([text, *(f"{epd}\n" for epd in new)]).encode())


def _text(folder: Path) -> str:
    data = read_file(folder, BUILT_FILE)
    return "" if data is None else decode(BUILT_FILE, data)


def _is_position(text: str) -> bool:
    try:
        chess.Board.from_epd(text)
    except (ValueError, IndexError):
        return False
    return bool(text)
