"""The games of a deck's PGN text, and changing tags without changing what a person wrote.

`split_games` finds the games, their tag pairs and the tokens of their movetext, each with its place in the
text, and reports everything else as a fault. `set_tags` changes tag pairs and no other character. Both follow
the PGN standard (1994) strictly, because what a reader of games could ignore may be a mistake of the coach.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from decks.cards.faults import quoted
from patterns.reading.tokens import DECK, TagPair, Token, lines_of, tokens

LONGEST_STRING = 255
"""Most characters of a string token: PGN standard, section 7."""

LARGEST_NAG = 255
"""The largest NAG: PGN standard, section 8.2.4."""

GLYPHS = {"!": 1, "?": 2, "!!": 3, "??": 4, "!?": 5, "?!": 6}
"""Suffix annotations and the NAGs they stand for: PGN standard, section 8.2.3.8."""

_NEWLINE = re.compile(r"\r\n|\r|\n")
_BLANK = re.compile(r"[ \t]|\r?\n")


@dataclass(frozen=True)
class Game:
    """One game: its place in the text (`start:end`; `line`, its first text line), its tag pairs and movetext.

    `tokens`: moves, variations, comments (`text`: without the braces), NAGs (`text`: the number, also for a
    glyph) and results. `faults`: what could not be read, as (text line, message).
    """

    start: int
    end: int
    line: int
    tags: tuple[TagPair, ...]
    tokens: tuple[Token, ...]
    faults: tuple[tuple[int, str], ...]

    def tag(self, name: str) -> TagPair | None:
        """The first tag pair with this name."""
        return next((tag for tag in self.tags if tag.name == name), None)


@dataclass
class _OpenGame:
    """A game being read. `gap`: a comment or blank line came after its last tag pair."""

    start: int
    end: int
    line: int
    tags: list[TagPair] = field(default_factory=list)
    names: set[str] = field(default_factory=set)
    tokens: list[Token] = field(default_factory=list)
    faults: list[tuple[int, str]] = field(default_factory=list)
    has_moves: bool = False
    gap: bool = False

    def ends_at(self, tag: TagPair) -> bool:
        """Whether `tag` belongs to the next game: after moves, or where a name comes again after a gap."""
        return self.has_moves or (self.gap and tag.name in self.names)

    def take(self, found: TagPair | Token, text: str) -> None:
        """Add what comes next in the text. The game now ends where it ends."""
        self.end = found.end
        if isinstance(found, TagPair):
            self.tags.append(found)
            self.names.add(found.name)
            self.gap = False
        elif fault := _fault(found, text):
            self.faults.append((found.line, fault))
        else:
            self.gap |= found.kind == "comment"
            self.has_moves |= found.kind != "comment"
            if found.kind != "number":
                self.tokens.append(_as_read(found, text))

    def frozen(self) -> Game:
        tokens, faults = tuple(self.tokens), tuple(self.faults)
        return Game(self.start, self.end, self.line, tuple(self.tags), tokens, faults)


def split_games(text: str) -> tuple[Game, ...]:
    """The games of a PGN text, in order. What can't be read becomes a fault of its game, not an exception."""
    games: list[Game] = []
    game: _OpenGame | None = None
    for found in tokens(lines_of(text), DECK):
        if isinstance(found, TagPair):
            if game is not None and game.ends_at(found):
                games.append(game.frozen())
                game = None
        elif found.kind == "blank":
            if game is not None:
                game.gap = True
            continue
        elif found.kind == "comment" and game is None:
            continue  # between two games, so it belongs to none
        game = game or _OpenGame(found.start, found.end, found.line)
        game.take(found, text)
        if isinstance(found, Token) and found.kind == "result":
            games.append(game.frozen())
            game = None
    if game is not None:
        games.append(game.frozen())
    return tuple(games)


def _fault(token: Token, text: str) -> str:
    """What is wrong with a token in a deck; empty if nothing is."""
    written = quoted(token.text)
    if token.kind == "bad_tag":
        return f'{written} is not a tag pair: write [Name "value"], with \\" for a quote inside'
    if token.kind == "unclosed":
        if token.end == len(text):
            return "the comment is never closed: a } is missing"
        tag_line = token.line + len(_NEWLINE.findall(text, token.start, token.end))
        return f"the comment runs into the tag pair of line {tag_line}: a }} is missing"
    if token.kind == "nag" and int(token.text[1:6]) > LARGEST_NAG:
        return f"{written} is not a NAG: the standard has $0 to ${LARGEST_NAG}"
    if token.kind == "glyph" and token.text not in GLYPHS:
        return f"{written} is not a glyph of the standard: write one of {' '.join(GLYPHS)}"
    if token.kind == "en_passant":
        return f"{written} is not written in PGN: an en-passant capture is like any other"
    if token.kind == "other":
        return f"{written} is not a move or anything else in PGN"
    return ""


def _as_read(token: Token, text: str) -> Token:
    if token.kind == "comment":
        end = token.end - 1 if text[token.start] == "{" else token.end
        return token._replace(text=text[token.start + 1 : end])
    if token.kind == "nag":
        return token._replace(text=token.text[1:])
    if token.kind == "glyph":
        return token._replace(kind="nag", text=str(GLYPHS[token.text]))
    return token


def set_tags(text: str, edits: Sequence[tuple[Game, str, str]]) -> str:
    """`text` with some tag pairs set. `edits`: (game, name, value) for each.

    If the game has the tag, its value is replaced. If not, the tag pair is added on a new line after the last
    one. Everything else stays as it was. ValueError if a value is too long or has line breaks, or if a game
    has no tags.
    """
    changes: list[tuple[int, int, str]] = []
    for game, name, value in edits:
        known = game.tag(name)
        if known is not None:
            changes.append((known.value_start, known.value_end, escaped(name, value)))
        elif game.tags:
            place = game.tags[-1].end
            changes.append((place, place, f'{newline_of(text)}[{name} "{escaped(name, value)}"]'))
        else:
            raise ValueError(f"the game in line {game.line} has no tag pairs to follow")
    return _patched(text, changes)


def without_tokens(text: str, tokens: Iterable[Token]) -> str:
    """`text` without some tokens and the blank that separates each from what stands before or after it."""
    changes = []
    for token in tokens:
        start, end = token.start, token.end
        if text[start - 1] in " \t":
            start -= 1
        elif blank := _BLANK.match(text, end):
            end = blank.end()
        changes.append((start, end, ""))
    return _patched(text, changes)


def _patched(text: str, changes: list[tuple[int, int, str]]) -> str:
    """`text` with other words in some places, as (start, end, words)."""
    changes.sort(key=lambda change: change[0])  # a stable sort: new pairs of one game keep their order
    parts, done = [], 0
    for start, end, replacement in changes:
        parts += [text[done:start], replacement]
        done = end
    return "".join([*parts, text[done:]])


def append_games(text: str, games: Iterable[str]) -> str:
    """`text` with new games after it, a blank line before each, and with the line ends of `text`."""
    newline = newline_of(text)
    for game in games:
        if text.strip("\ufeff"):
            ends = len(text) - len(text.rstrip("\r\n"))
            breaks = len(_NEWLINE.findall(text[len(text) - ends :]))
            text += newline * max(0, 2 - breaks)
        text += game.strip("\n").replace("\n", newline) + newline
    return text


def newline_of(text: str) -> str:
    """The first line end of the text, or a plain newline if it has none."""
    found = _NEWLINE.search(text)
    return found.group() if found else "\n"


def escaped(name: str, value: str) -> str:
    """`value` as written between the quotes of tag `name`. ValueError if that is not possible."""
    if any(character in value for character in "\r\n"):
        raise ValueError(f"the value of tag {name} must stay on one line: {quoted(value)}")
    raw = value.replace("\\", "\\\\").replace('"', '\\"')
    if len(raw) > LONGEST_STRING:
        raise ValueError(f"tag {name} would have {len(raw)} characters, at most {LONGEST_STRING} are allowed")
    return raw
