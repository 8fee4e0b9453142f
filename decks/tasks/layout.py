"""The parts of an answer on the screen: rows of text pieces, paragraphs, keys, completions."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from decks.tasks.messages import Message

MessageAt = Callable[[float], Message]
"""Makes a message; takes the time."""

Kind = Literal["text", "title", "grade", "faint", "notice"]


@dataclass(frozen=True)
class Paragraph:
    """Text of any length, which will be wrapped, and its kind."""

    text: str
    kind: Kind = "text"


@dataclass(frozen=True)
class Piece:
    """A piece of a row: text, style class, and the message that a click on it sends."""

    text: str
    style: str = ""
    click: MessageAt | None = None


Row = tuple[Piece, ...]
"""One row of text, with every column in its place."""

BLANK: Row = ()

Block = Paragraph | Row


@dataclass(frozen=True)
class Layout:
    """What is drawn beside the board under the question: above the hints taken, and below them."""

    above_hints: tuple[Block, ...] = ()
    below_hints: tuple[Block, ...] = ()


@dataclass(frozen=True)
class Key:
    """A key and what it does.

    `key`: its name in prompt_toolkit. `label`, `words`: for the last lines. A key without a label is left out
    there, because another key's words include it.
    """

    key: str
    label: str
    words: str
    message: MessageAt


@dataclass(frozen=True)
class Completion:
    """One way to complete what is being typed: the word to show, and the whole entry."""

    word: str
    entry: str
