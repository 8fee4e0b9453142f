"""How an answer is laid out and worked: rows of text pieces, paragraphs, keys, completions."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from decks.tasks.messages import Message

Say = Callable[[float], Message]
"""Makes a message, given the time."""

Kind = Literal["text", "title", "grade", "faint", "notice"]


@dataclass(frozen=True)
class Paragraph:
    """Text of any length, which is wrapped to the room there is, and what kind it is."""

    text: str
    kind: Kind = "text"


@dataclass(frozen=True)
class Piece:
    """A piece of a row: text, style class, and the message that a click on it sends."""

    text: str
    style: str = ""
    click: Say | None = None


Row = tuple[Piece, ...]
"""One row of text, laid out to the column."""

BLANK: Row = ()

Block = Paragraph | Row


@dataclass(frozen=True)
class Layout:
    """What stands beside the board under the question: above the hints taken, and below them."""

    above_hints: tuple[Block, ...] = ()
    below_hints: tuple[Block, ...] = ()


@dataclass(frozen=True)
class Key:
    """A key and what it does.

    `key`: as the key reader names it. `label`, `words`: for the last line; a key without a label is left out
    there, because another names it.
    """

    key: str
    label: str
    words: str
    message: Say


@dataclass(frozen=True)
class Completion:
    """One way to go on with what is being typed: the word to show, and the whole entry it makes."""

    word: str
    entry: str
