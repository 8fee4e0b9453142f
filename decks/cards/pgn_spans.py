"""The games of a deck's PGN text, and patching it without touching what a person wrote.

`split_games` finds the games, their tag pairs and the tokens of their movetext, each with its span, and names
what is none; `set_tags` changes tag pairs and leaves every other character alone. The PGN standard (1994) is
followed strictly: a fault that a reader of games would pass over may be a slip of the coach's.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from decks.cards.faults import quoted
from patterns.reading.tokens import DECK, TagPair, Token, lines_of, tokens

LONGEST_STRING = 255
"""Characters of a string token: PGN standard, section 7."""

LARGEST_NAG = 255
"""PGN standard, section 8.2.4."""

GLYPHS = {"!": 1, "?": 2, "!!": 3, "??": 4, "!?": 5, "?!": 6}
"""Suffix annotations and the NAGs they stand for: PGN standard, section 8.2.3.8."""

_NEWLINE = re.compile(r"\r\n|\r|\n")


@dataclass(frozen=True)
class Game:
    """One game: its place in the text (`start:end`, `line`), its tag pairs and its movetext.

    `tokens` are those of moves, variations, comments (their text is what they say), NAGs (their text is the
    number, whether it was written or a glyph) and results. `faults`: what could not be read in it, as (line,
    message).
    """

    start: int
    end: int
    line: int
    tags: tuple[TagPair, ...]
    tokens: tuple[Token, ...]
    faults: tuple[tuple[int, str], ...]

    def tag(self, name: str) -> TagPair | None:
        """The first tag pair of that name."""
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
        """Add what comes next in the text; the game now reaches to its end."""
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
    """The games of a PGN text, in order. Never fails: what can't be read is among a game's faults."""
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
            continue  # between games: nobody's
        game = game or _OpenGame(found.start, found.end, found.line)
        game.take(found, text)
        if isinstance(found, Token) and found.kind == "result":
            games.append(game.frozen())
            game = None
    if game is not None:
        games.append(game.frozen())
    return tuple(games)


def _fault(token: Token, text: str) -> str:
    """What is wrong with the token in a deck; nothing if it may stand there."""
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
        return f"{written} is none of the standard's glyphs: write one of {' '.join(GLYPHS)}"
    if token.kind == "en_passant":
        return f"{written} is not written in PGN: an en-passant capture is like any other"
    if token.kind == "other":
        return f"{written} is neither a move nor anything else PGN has"
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
    """`text` with tag pairs set: (game, name, value) each.

    A pair the game has gets the new value in place; one it lacks follows the last pair on a line of its own.
    Everything else stays as it was. ValueError if a value is too long or spans lines, or a game has no tags.
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
    changes.sort(key=lambda change: change[0])  # stable: new pairs of one game keep their order
    parts, done = [], 0
    for start, end, replacement in changes:
        parts += [text[done:start], replacement]
        done = end
    return "".join([*parts, text[done:]])


def append_games(text: str, games: Iterable[str]) -> str:
    """`text` followed by new games, one blank line between; its line ends are followed, its text is kept."""
    newline = newline_of(text)
    for game in games:
        if text.strip("\ufeff"):
            ends = len(text) - len(text.rstrip("\r\n"))
            breaks = len(_NEWLINE.findall(text[len(text) - ends :]))
            text += newline * max(0, 2 - breaks)
        text += game.strip("\n").replace("\n", newline) + newline
    return text


def newline_of(text: str) -> str:
    """The line end the text uses first; a plain newline if it has none."""
    found = _NEWLINE.search(text)
    return found.group() if found else "\n"


def escaped(name: str, value: str) -> str:
    """`value` as it stands between the quotes of tag `name`; ValueError if it can't stand there."""
    if any(character in value for character in "\r\n"):
        raise ValueError(f"the value of tag {name} must stay on one line: {quoted(value)}")
    raw = value.replace("\\", "\\\\").replace('"', '\\"')
    if len(raw) > LONGEST_STRING:
        raise ValueError(f"tag {name} would have {len(raw)} characters, at most {LONGEST_STRING} are allowed")
    return raw
