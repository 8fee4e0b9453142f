"""Reading games from PGN, main lines only.

The format is the import format of the PGN standard (1994): its text is taken apart by `tokens`, its moves
are read by `written_move`. A game that cannot be read is never cut short in silence: it comes back as
`Unreadable` with the reason, and reading goes on with the next one.
"""

from __future__ import annotations

import codecs
import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path
from typing import Literal, TextIO

import chess

from patterns.reading.clocks import clock_seconds
from patterns.reading.fen import FenError, board_from_fen
from patterns.reading.text import safe
from patterns.reading.tokens import GAMES, RESULTS, TagPair, Token, tokens
from patterns.reading.written_move import PGN, MoveError, read_move

MAX_BYTES = 512 * 1024 * 1024
"""Largest file read: some 600,000 games; beyond it is another sort of file, or one to split."""

MAX_LINE = 1024 * 1024
"""Longest line, in characters: ten times what a whole annotated game needs; a line is held whole."""

MAX_PLIES = 1200
"""Longest game: twice and more the longest played in a tournament (269 moves; from memory)."""

MAX_TAGS = 100
"""Tags kept of one game; the standard's own list has about thirty."""

MOST_OF_FAULTS = 600
"""Characters told of what is wrong with a start position: every rank can be at fault."""

STANDARD_VARIANTS = {"", "?", "standard", "normal", "chess", "from position"}
"""What a Variant tag may say, casefolded, in a game of ordinary chess."""


class GamesError(Exception):
    """A file that cannot be read as games; the message is one line and names the file."""


@dataclass(frozen=True)
class Game:
    """One game. `number`: place in the file, from 1. `line`: where it starts, from 1.

    `start`: the position before the first move (do not push moves on it; copy it first). `result`: one of
    RESULTS. Header texts are as the file has them: not fit for a terminal. `clocks`: seconds left to the
    mover after a move, by ply (from 0), where a comment says so.
    """

    number: int
    line: int
    headers: Mapping[str, str]
    start: chess.Board
    moves: tuple[chess.Move, ...]
    result: str
    clocks: Mapping[int, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Unreadable:
    """A game left out. `players`: both names, or empty if it names neither; safe to show, like `reason`."""

    number: int
    line: int
    players: str
    reason: str

    def __str__(self) -> str:
        players = f" ({self.players})" if self.players else ""
        return f"game {self.number}{players}, line {self.line}: {self.reason}"


def read_games(source: str | Path | TextIO, name: str | None = None) -> Iterator[Game | Unreadable]:
    """Each game of a PGN file (path) or text stream, in order, readable or not.

    `name` stands for the source in messages. UTF-8 with or without a byte-order mark, and Latin-1, which the
    PGN standard prescribes (section 4.1). TypeError at once if the source is neither a path nor a text
    stream; GamesError, once it is read, if it is not there, is too large, is not text, or holds no game at
    all.
    """
    if isinstance(source, (str, Path)):
        return _read_file(Path(source), safe(source) if name is None else name)
    if not isinstance(getattr(source, "readline", lambda limit: None)(0), str):
        given = type(source).__name__
        raise TypeError(f"games are read from a path or a stream open for reading text, not from {given}")
    return _read(source, name or "the games")


def _read_file(path: Path, name: str) -> Iterator[Game | Unreadable]:
    with _open(path, name) as stream:
        yield from _read(stream, name)


def boards_of(game: Game) -> Iterator[chess.Board]:
    """The position before each move of a game and the one after the last: len(game.moves) + 1 boards.

    Each is a board of its own, with no moves on its stack: keep it, or push moves on it.
    """
    board = game.start.copy(stack=False)
    yield board.copy(stack=False)
    for move in game.moves:
        board.push(move)
        yield board.copy(stack=False)


def positions(game: Game) -> Iterator[tuple[int, chess.Board, chess.Move]]:
    """Each move of a game with its ply (from 0) and the board before it, as `boards_of` gives it."""
    return zip(count(), boards_of(game), game.moves, strict=False)


def sides_of(game: Game, player: str) -> tuple[Literal["white", "black"], ...]:
    """The sides whose player's name contains `player`: none, one or (two of a family) both.

    Differences that `folded_name` takes away make none.
    """
    wanted = folded_name(player)
    if not wanted:
        return ()
    names: tuple[tuple[Literal["white", "black"], str], ...] = (("white", "White"), ("black", "Black"))
    return tuple(side for side, tag in names if wanted in folded_name(game.headers.get(tag, "")))


def folded_name(name: str) -> str:
    """A player's name without differences of letter case, spacing and compatibility forms of Unicode (NFKC).

    >>> folded_name(" WREN,  Anna")
    'wren, anna'
    """
    # Once more after folding: casefold can leave text that NFKC would still change.
    return " ".join(unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", name).casefold()).split())


# --- Files ---------------------------------------------------------------------------------------------


def _latin_1(error: UnicodeError) -> tuple[str, int]:
    assert isinstance(error, UnicodeDecodeError)
    return error.object[error.start : error.end].decode("latin-1"), error.end


codecs.register_error("rondeau-latin-1", _latin_1)


def _open(path: Path, name: str) -> TextIO:
    try:
        with path.open("rb") as raw:
            if b"\0" in raw.read(64 * 1024):
                raise GamesError(f"{name}: not a text file (PGN is plain text, in UTF-8 or Latin-1)")
            size = raw.seek(0, 2)
        if size > MAX_BYTES:
            raise GamesError(f"{name}: {size >> 20} MB, and {MAX_BYTES >> 20} MB is the most; split the file")
        return path.open(encoding="utf-8-sig", errors="rondeau-latin-1")
    except OSError as error:
        raise GamesError(f"{name}: {error.strerror or error}") from error
    except ValueError as error:  # a path with a NUL in it
        raise GamesError(f"{name}: {safe(error)}") from error


def _lines(stream: TextIO, name: str) -> Iterator[str]:
    number = 0
    while line := stream.readline(MAX_LINE + 1):
        number += 1
        if len(line) > MAX_LINE:
            raise GamesError(f"{name}, line {number}: longer than {MAX_LINE} characters, which no game needs")
        yield line


# --- Games ---------------------------------------------------------------------------------------------

_STARTS_GAME = re.compile(r'\[\s*(?:[A-Za-z0-9_]+\s*"|(?:FEN|SetUp|Variant)\b)')
"""A faulty tag pair that is one none the less, and not something in brackets among the moves."""

_NEEDED_TAG = re.compile(r"\[\s*(FEN|SetUp|Variant)\b")
"""A faulty tag pair that a game cannot do without."""

_MOVE_SHAPED = re.compile(r"[KQRBNkqrbn]?[a-h1-8]*[-x:]?[a-h][1-8]|[O0]-[O0]")


def _read(stream: TextIO, name: str) -> Iterator[Game | Unreadable]:
    found = 0
    for draft in _drafts(_lines(stream, name)):
        found += 1
        yield draft.finish(found)
    if not found:
        raise GamesError(f"{name}: no chess game in it")


def _drafts(lines: Iterator[str]) -> Iterator[_Draft]:
    """The games as far as they were read. Text without a tag or anything like a move is not a game."""
    draft, token = _Draft(), None
    for token in tokens(lines, GAMES):
        if (isinstance(token, TagPair) or token.kind == "bad_tag") and draft.ends_before(token):
            if draft.is_game:
                yield draft
            draft = _Draft()
        draft.read(token)
        if draft.ended:
            yield draft
            draft = _Draft()
    if isinstance(token, Token) and token.kind == "unclosed":
        draft.fail_at_comment(token.line)  # whether in a game or not: it may have swallowed games
        yield draft
    elif draft.is_game:
        yield draft


@dataclass
class _Draft:
    """One game while it is being read. `fault` is the first reason it cannot be; the rest is then skipped."""

    line: int = 0
    headers: dict[str, str] = field(default_factory=dict)
    start: chess.Board = field(default_factory=chess.Board)
    board: chess.Board | None = None
    moves: list[chess.Move] = field(default_factory=list)
    clocks: dict[int, float] = field(default_factory=dict)
    result: str = "*"
    fault: str = ""
    depth: int = 0
    movetext: bool = False
    move_shaped: bool = False
    ended: bool = False

    @property
    def is_game(self) -> bool:
        return bool(self.headers) or self.move_shaped

    def fail(self, reason: str) -> None:
        self.fault = self.fault or reason

    def fail_at_comment(self, line: int) -> None:
        self.fail(f"the comment opened in line {line} is not closed")

    def ends_before(self, token: Token | TagPair) -> bool:
        """Whether the token belongs to the next game: the first tag after moves, or the roster's anew."""
        if isinstance(token, TagPair):
            return self.movetext or (token.name == "Event" and bool(self.headers.get("Event")))
        return token.kind == "bad_tag" and self.movetext and bool(_STARTS_GAME.match(token.text))

    def read(self, token: Token | TagPair) -> None:
        if isinstance(token, TagPair):
            self.line = self.line or token.line
            if token.name in self.headers or len(self.headers) < MAX_TAGS:
                self.headers[token.name] = token.value
            return
        kind, text, self.line = token.kind, token.text, self.line or token.line
        if kind == "move" or (kind == "other" and any(map(str.isalnum, text))):  # else a sign such as +=
            if not self.depth:
                self._move(text)
        elif kind == "comment":
            if text and self.moves and not self.depth and not self.fault:
                seconds = clock_seconds(text)
                if seconds is not None:
                    self.clocks[len(self.moves) - 1] = seconds
        elif kind == "open":
            self.depth += 1
        elif kind == "close":
            self.depth = max(0, self.depth - 1)
        elif kind == "result" and not self.depth:
            self.result, self.movetext = text, True
            self.ended = self.is_game
        elif kind == "unclosed" and self.is_game:
            self.fail_at_comment(token.line)
        elif kind == "bad_tag":
            self._bad_tag(text)

    def _bad_tag(self, text: str) -> None:
        if self.movetext:
            if not self.depth:
                self.fail(f"{safe(text, 20)}: neither a move nor a tag pair")
        elif needed := _NEEDED_TAG.match(text):  # any other tag the game can do without
            self.fail(f'the tag {needed[1]} is not written [{needed[1]} "..."]')

    def _move(self, text: str) -> None:
        self.movetext = True
        self.move_shaped = self.move_shaped or bool(_MOVE_SHAPED.match(text))
        if self.fault:
            return
        if self.board is None:
            self._set_up()
            if self.board is None:
                return
        board = self.board
        if len(self.moves) == MAX_PLIES:
            self.fail(f"longer than {MAX_PLIES} plies")
            return
        try:
            move = read_move(board, text, PGN)
        except MoveError as error:
            dots = "." if board.turn == chess.WHITE else "..."
            self.fail(f"{board.fullmove_number}{dots} {error.text}: {error.brief}")
            return
        board.push(move)
        self.moves.append(move)

    def _set_up(self) -> None:
        variant = self.headers.get("Variant", "")
        if variant.casefold().strip() not in STANDARD_VARIANTS:
            self.fail(f"Variant {safe(variant, 40)}: only ordinary chess is read")
            return
        fen = self.headers.get("FEN", "").strip()
        if fen:
            try:
                self.start = board_from_fen(fen)
            except FenError as error:
                self.fail(f"FEN {safe(fen, 90)}: {safe(error, MOST_OF_FAULTS)}")
                return
        self.board = self.start.copy(stack=False)

    def finish(self, number: int) -> Game | Unreadable:
        if self.board is None:
            self._set_up()  # a game without moves may still have a faulty start
        if self.depth:
            self.fail("a variation is not closed")
        if self.fault:
            named = [self.headers.get(tag, "?") for tag in ("White", "Black")]
            players = " - ".join(safe(player, 40) for player in named) if named != ["?", "?"] else ""
            return Unreadable(number, self.line, players, self.fault)
        tagged = self.headers.get("Result", "*")
        result = tagged if tagged in RESULTS and tagged != "*" else self.result
        return Game(number, self.line, self.headers, self.start, tuple(self.moves), result, self.clocks)
