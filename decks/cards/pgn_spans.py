"""PGN text, taken apart and patched without touching what a person wrote.

`split_games` finds the games of a text, their tag pairs and the tokens of their movetext, each with its
span; `set_tags` changes tag pairs and leaves every other character alone. Both follow the PGN standard
(sections 4 to 8): `;` and `{}` comments, `%` escape lines, `\\"` and `\\\\` in strings. python-chess reads
moves but keeps no spans, and passes over what it does not understand; here such text is a fault.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Literal

from decks.cards.faults import quoted
from patterns.reading.pgn import RESULTS

LONGEST_STRING = 255
"""Characters of a string token: PGN standard, section 7."""

GLYPHS = {"!": 1, "?": 2, "!!": 3, "??": 4, "!?": 5, "?!": 6}
"""Suffix annotations and the NAGs they stand for: PGN standard, section 8.2.3.8."""

Kind = Literal["move", "nag", "comment", "open", "close", "result"]

_TAG = re.compile(r'\[\s*([A-Za-z0-9_]+)\s*"((?:[^"\\\r\n]|\\[^\r\n])*)"\s*\]')
_PIECES = re.compile(
    r"""(?P<space>[\s\ufeff]+)
    |(?P<semicolon>;[^\r\n]*)
    |(?P<dollar>\$\d+)
    |(?P<glyph>[!?]{1,2})
    |(?P<bracket>[()])
    |(?P<dots>\.+)
    |(?P<star>\*)
    |(?P<symbol>(?:[A-Za-z0-9]|--)[A-Za-z0-9_+#=:/-]*)
    |(?P<other>[^\s{};$!?().*\[]+|.)""",
    re.VERBOSE | re.DOTALL,
)
_NEWLINE = re.compile(r"\r\n|\r|\n")
_COMMENT_END = re.compile(r'(?P<close>\})|^\[[A-Za-z0-9_]+[ \t]+"[^\r\n]*"\][ \t\r]*$', re.MULTILINE)


@dataclass(frozen=True)
class TagPair:
    """One tag pair: `value` unescaped; `start:end` spans the brackets, `value_start:value_end` the string."""

    name: str
    value: str
    line: int
    start: int
    end: int
    value_start: int
    value_end: int


@dataclass(frozen=True)
class Token:
    """One token of movetext. `text`: a move as written, a NAG's number, a comment's words, a result."""

    kind: Kind
    text: str
    line: int


@dataclass(frozen=True)
class Game:
    """One game: its place in the text (`start:end`, `line`), its tag pairs and its movetext.

    `faults`: what could not be read in it, as (line, message).
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
    tokens: list[Token] = field(default_factory=list)
    faults: list[tuple[int, str]] = field(default_factory=list)
    has_moves: bool = False
    gap: bool = False

    def ends_at(self, tag: TagPair) -> bool:
        """Whether `tag` belongs to the next game: after moves, or where a name comes again after a gap."""
        return self.has_moves or (self.gap and any(tag.name == known.name for known in self.tags))

    def frozen(self) -> Game:
        tokens, faults = tuple(self.tokens), tuple(self.faults)
        return Game(self.start, self.end, self.line, tuple(self.tags), tokens, faults)


def split_games(text: str) -> tuple[Game, ...]:
    """The games of a PGN text, in order. Never fails: what can't be read is among a game's faults."""
    games: list[Game] = []
    game: _OpenGame | None = None
    for piece in _pieces(text):
        if isinstance(piece, TagPair):
            if game is not None and game.ends_at(piece):
                games.append(game.frozen())
                game = None
            game = game or _OpenGame(piece.start, piece.end, piece.line)
            game.tags.append(piece)
            game.gap = False
            game.end = piece.end
            continue
        kind, content, line, start, end = piece
        if kind == "gap":
            if game is not None:
                game.gap = True
            continue
        if game is None:
            if kind == "comment":
                continue  # between games: nobody's
            game = _OpenGame(start, end, line)
        game.end = end
        if kind == "fault":
            game.faults.append((line, content))
        elif kind == "comment":
            game.gap = True
            game.tokens.append(Token(kind, content, line))
        else:
            game.has_moves = True
            if kind != "number":
                game.tokens.append(Token(kind, content, line))
            if kind == "result":
                games.append(game.frozen())
                game = None
    if game is not None:
        games.append(game.frozen())
    return tuple(games)


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


_Piece = tuple[Kind | Literal["number", "gap", "fault"], str, int, int, int]


def _pieces(text: str) -> Iterator[TagPair | _Piece]:
    """Tag pairs and other pieces (kind, content, line, start, end) in order."""
    starts = [match.end() for match in _NEWLINE.finditer(text)]

    def line_of(place: int) -> int:
        return bisect_right(starts, place) + 1

    place = 0
    while place < len(text):
        if text[place] == "%" and (place == 0 or text[place - 1] in "\r\n\ufeff"):
            place = _line_end(text, place)
            continue
        line = line_of(place)
        if text[place] == "[":
            tag = _tag_pair(text, place, line)
            if tag is not None:
                yield tag
                place = tag.end
            else:
                end = _line_end(text, place)
                what = f'{quoted(text[place:end])} is not a tag pair: write [Name "value"]'
                yield "fault", f'{what}, with \\" for a quote inside', line, place, end
                place = end
            continue
        if text[place] == "{":
            end, complaint = _comment_end(text, place, line_of)
            if complaint:
                yield "fault", complaint, line, place, end
            else:
                yield "comment", text[place + 1 : end - 1], line, place, end
            place = end
            continue
        match = _PIECES.match(text, place)
        assert match is not None, "the last alternative matches anything"
        piece = _piece(match, line)
        if piece is not None:
            yield piece
        place = match.end()


def _piece(match: re.Match[str], line: int) -> _Piece | None:
    """The piece a match stands for; None for what carries no meaning."""
    kind, content, start, end = match.lastgroup, match.group(), match.start(), match.end()
    if kind == "space":
        blank = len(_NEWLINE.findall(content)) > 1
        return ("gap", "", line, start, end) if blank else None
    if kind == "semicolon":
        return "comment", content[1:], line, start, end
    if kind == "dollar":
        if int(content[1:6]) > 255:
            return "fault", f"{quoted(content)} is not a NAG: the standard has $0 to $255", line, start, end
        return "nag", content[1:], line, start, end
    if kind == "glyph":
        return "nag", str(GLYPHS[content]), line, start, end
    if kind == "bracket":
        return "open" if content == "(" else "close", content, line, start, end
    if content in RESULTS:
        return "result", content, line, start, end
    if kind == "dots" or (kind == "symbol" and content.isdigit()):
        return "number", content, line, start, end
    if kind == "symbol":
        return "move", content, line, start, end
    return "fault", f"{quoted(content)} is neither a move nor anything else PGN has", line, start, end


def _tag_pair(text: str, place: int, line: int) -> TagPair | None:
    match = _TAG.match(text, place)
    if match is None:
        return None
    value = re.sub(r'\\(["\\])', r"\1", match.group(2))
    return TagPair(match.group(1), value, line, match.start(), match.end(), match.start(2), match.end(2))


def _comment_end(text: str, place: int, line_of: Callable[[int], int]) -> tuple[int, str]:
    """Where the comment that opens at `place` ends, and what is wrong with it ('' if nothing)."""
    match = _COMMENT_END.search(text, place)
    if match is None:
        return len(text), "the comment is never closed: a } is missing"
    if match.group("close"):
        return match.end(), ""
    tag_line = line_of(match.start())
    return match.start(), f"the comment runs into the tag pair of line {tag_line}: a }} is missing"


def _line_end(text: str, place: int) -> int:
    match = _NEWLINE.search(text, place)
    return match.start() if match else len(text)
