"""PGN text taken apart into tokens, each with its place: the one lexer, for games and for decks.

The source is the PGN standard (1994): comments (section 5), the escape line (6), tokens (7), tag pairs (8.1)
and movetext (8.2). What it does not understand becomes a token too (`bad_tag`, `unclosed`, `other`), so that
nothing is passed over unseen; whether that is a fault is for its caller to say.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal, NamedTuple

RESULTS = ("1-0", "0-1", "1/2-1/2", "*")
"""The game terminations (section 8.2.6)."""

TAG_LINES = 4
"""Most lines of one tag pair: in import format it may span lines (section 8.1), and it has four tokens."""

Kind = Literal[
    "move",  # what may be a move: a symbol (section 7), or a null move as it is commonly written
    "number",  # of a move, with or without periods (8.2.2.1)
    "result",
    "nag",  # $ and digits (8.2.4)
    "glyph",  # any run of ! and ? (8.2.3.8)
    "en_passant",  # e.p., which SAN does not write
    "comment",  # with its braces or from its semicolon; cut out by its span: it may be long
    "unclosed",  # a comment that the text's end or a tag pair cuts short
    "open",  # of a variation (8.2.5)
    "close",
    "blank",  # a line with nothing in it
    "bad_tag",  # from a [ that opens no tag pair to the last ] of the line, else to its end
    "other",
]


class Token(NamedTuple):
    """A token: its text, the line where it starts, from 1, and its span in the text.

    The text of a comment is only what it says of the clock (`0:04:59`), else it is empty.
    """

    kind: Kind
    text: str
    line: int
    start: int
    end: int


class TagPair(NamedTuple):
    """One tag pair: `value` unescaped; `start:end` spans the brackets, `value_start:value_end` the string."""

    name: str
    value: str
    line: int
    start: int
    end: int
    value_start: int
    value_end: int


@dataclass(frozen=True)
class Leniency:
    """How odd a text may be.

    `odd_tags`: names may hold other signs than letters, digits and underscores, and a string in a line of
    its own may hold quotes without a backslash. `cuts_comment`: the line that shows an open comment to be
    one whose brace was forgotten. `skipped`: the kinds that are read and not told.
    """

    odd_tags: bool
    cuts_comment: re.Pattern[str]
    skipped: frozenset[Kind] = frozenset()


GAMES = Leniency(
    odd_tags=True,
    cuts_comment=re.compile(r'\[Event\s+"'),
    skipped=frozenset({"number", "nag", "glyph", "en_passant", "blank"}),
)
"""Games from anywhere. A comment may hold lines in brackets; the roster's first tag (8.1.1) starts a game."""

DECK = Leniency(odd_tags=False, cuts_comment=re.compile(r'\[[A-Za-z0-9_]+[ \t]+"[^\r\n]*"\][ \t\r\n]*$'))
"""A deck, in which every fault is to be named where it is."""

_LINE = re.compile(r"[^\r\n]*(?:\r\n|\r|\n)|[^\r\n]+")
_TAG = re.compile(r'\[\s*([A-Za-z0-9_+#=:-]+)\s*"((?:[^"\\\r\n]|\\[^\r\n])*)"\s*\]')
_TAG_NAME = re.compile("[A-Za-z0-9_]+")
_QUOTES_INSIDE = re.compile(r'\[\s*([A-Za-z0-9_+#=:-]+)\s*"([^\r\n]*)"\s*\]\s*$')
_CUT_TAG = re.compile(r'\[\s*(?:[A-Za-z0-9_+#=:-]+\s*(?:"(?:[^"\\\r\n]|\\[^\r\n])*"\s*)?)?$')
_BAD_TAG = re.compile(r"\[(?:[^\r\n]*\]|[^\r\n]*)")
_TOKEN = re.compile(  # ends in a token always, so that white space is looked at once
    r"""\s*(?:
      (?P<en_passant> e\.p\.[+\#]* )
    | (?P<result> \* | (?:1-0|0-1|1/2-1/2)(?![A-Za-z0-9_+\#=:/-]) )
    | (?P<number> (?!0000(?![0-9.]))[0-9]+(?![A-Za-z0-9_+\#=:/-])\.* | \.+ )
    | (?P<move> [a-h][1-8]?x?[a-h][1-8][+\#]*(?=e\.p\.) | (?:[A-Za-z0-9]|--|@@@@)[A-Za-z0-9_+\#=:/-]* )
    | (?P<brace> \{[^}]*\}? )
    | (?P<semicolon> ;[^\r\n]* )
    | (?P<nag> \$[0-9]+ )
    | (?P<glyph> [!?]+ )
    | (?P<open> \( )
    | (?P<close> \) )
    | (?P<bracket> \[ )
    | (?P<other> [^\s\ufeff{};$!?().*]+ | \S )
    )""",
    re.VERBOSE,
)
_CLOCK = re.compile(r"\[%clk\s+([0-9:.]{1,20})\s*\]")
"""The time left on the mover's clock, in a comment. Common practice: the standard has none."""

_PLAIN: tuple[Kind, ...] = (
    "en_passant",
    "result",
    "number",
    "move",
    "nag",
    "glyph",
    "open",
    "close",
    "other",
)
"""The alternatives of _TOKEN that are tokens as they stand."""


def lines_of(text: str) -> Iterator[str]:
    """The lines of a text with their ends: a line feed, a carriage return, or both."""
    return (line[0] for line in _LINE.finditer(text))


def unescaped(raw: str) -> str:
    """What stands between the quotes of a string token, without its backslashes (section 7).

    >>> unescaped('The \\\\"Marsh\\\\" cup')
    'The "Marsh" cup'
    """
    return re.sub(r'\\(["\\])', r"\1", raw) if "\\" in raw else raw


def tokens(lines: Iterable[str], leniency: Leniency) -> Iterator[Token | TagPair]:
    """The tokens of a text, given as lines with their ends, in order; a few lines at a time are held.

    Reading takes time in proportion to the text, whatever it says.

    >>> text = '[White "Birch"]\\n\\n1. e4 {a\\nb} e5!?'
    >>> [(found.line, text[found.start : found.end]) for found in tokens(lines_of(text), DECK)]
    [(1, '[White "Birch"]'), (2, '\\n'), (3, '1.'), (3, 'e4'), (3, '{a\\nb}'), (4, 'e5'), (4, '!?')]
    """
    text = _Text(iter(lines), leniency)
    plain: dict[str, Kind] = {kind: kind for kind in _PLAIN if kind not in leniency.skipped}
    opened: tuple[int, int] | None = None  # line and start of the comment that is open
    clock = ""  # what it says of the clock so far
    while line := text.next_line():
        at = 0
        if opened:
            if leniency.cuts_comment.match(line):
                yield Token("unclosed", "", *opened, text.offset)
            elif closed := line.find("}") + 1:
                at = closed
                clock = _clock(line[:closed]) or clock
                yield Token("comment", clock, *opened, text.offset + at)
            else:
                clock = _clock(line) or clock
                continue
            opened = None
        if not at:
            at = 1 if line.startswith("\ufeff") else 0  # a byte-order mark, where files were put together
            if line.startswith("%", at):
                continue
            if not text.stop and "blank" not in leniency.skipped:
                yield Token("blank", "", text.number, text.offset, text.offset + len(line))
        while at >= 0:
            line, number, offset, tag_at = text.line, text.number, text.offset, -1
            for found in _TOKEN.finditer(line, at, text.stop):
                name = found.lastgroup or ""
                start, end = found.span(name)
                if kind := plain.get(name):
                    yield Token(kind, line[start:end], number, offset + start, offset + end)
                elif name == "bracket":
                    tag_at = start
                    break
                elif name == "semicolon" or (name == "brace" and line[end - 1] == "}"):
                    yield Token("comment", _clock(line[start:end]), number, offset + start, offset + end)
                elif name == "brace":
                    opened, clock = (number, offset + start), _clock(line[start:end])
            at = tag_at
            if at >= 0:
                tag = text.tag(at)
                yield tag
                at = text.pass_to(tag.end)
    if opened:
        yield Token("unclosed", "", *opened, text.offset)


def _clock(comment: str) -> str:
    found = _CLOCK.search(comment) if "%clk" in comment else None
    return found[1] if found else ""


class _Text:
    """Lines of a text one after the other, and tag pairs in them, which may reach over several."""

    def __init__(self, lines: Iterator[str], leniency: Leniency) -> None:
        self._lines = lines
        self._ahead: list[str] = []
        self._leniency = leniency
        self.line = ""
        self.number = 0
        self.offset = 0
        """Where the line starts in the text."""
        self.stop = 0
        """Where the white space at its end starts."""

    def next_line(self) -> str:
        """The next line, with its end; nothing at the end of the text."""
        self.offset += len(self.line)
        self.line = self._ahead.pop(0) if self._ahead else next(self._lines, "")
        self.stop = len(self.line.rstrip())
        self.number += 1
        return self.line

    def pass_to(self, place: int) -> int:
        """Go on to the line in which that place of the text is; the place within it."""
        while place - self.offset > len(self.line):
            self.next_line()
        return place - self.offset

    def tag(self, at: int) -> TagPair | Token:
        """The tag pair that starts at this place of the line, or the text that is none."""
        tag = _TAG.match(self.line, at) or self._tag_over_lines(at)
        if tag is None and self._leniency.odd_tags and not self.line[:at].strip(" \t\ufeff"):
            tag = _QUOTES_INSIDE.match(self.line, at)
        if tag is None or not (self._leniency.odd_tags or _TAG_NAME.fullmatch(tag[1])):
            tag = tag or _BAD_TAG.match(self.line, at)
            assert tag is not None
            start, end = tag.span()
            return Token("bad_tag", tag[0], self.number, self.offset + start, self.offset + end)
        offset, (start, end), (value_start, value_end) = self.offset, tag.span(), tag.span(2)
        return TagPair(
            tag[1],
            unescaped(tag[2]),
            self.number,
            offset + start,
            offset + end,
            offset + value_start,
            offset + value_end,
        )

    def _tag_over_lines(self, at: int) -> re.Match[str] | None:
        if not _CUT_TAG.match(self.line, at):
            return None
        while len(self._ahead) < TAG_LINES - 1 and (more := next(self._lines, "")):
            self._ahead.append(more)
        return _TAG.match(self.line + "".join(self._ahead), at)
