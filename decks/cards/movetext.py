"""The movetext of a card: reading it into a line, tries and comments, and writing it.

A ply is a count of half-moves played from the card's position: what stands at ply 0 comes before any move.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import chess

from decks.cards.faults import quoted
from decks.tasks.card import Card
from patterns.reading.tokens import Token
from patterns.reading.written_move import PGN, InvalidMove, MoveError, read_move

MOST_MOVES = 2000
"""Moves and variations of one card: far more than anyone annotates, so a wrong file can't stall us."""

COLUMNS = 79
"""Printing characters of a line: the PGN standard discourages 80 and more (section 4.3)."""


@dataclass(frozen=True)
class Try:
    """A variation from the main line: a move other than the line's at `ply`, and how it goes on.

    `ply`: plies of the main line before it (even: a try of the student's, odd: another reply). `line`: UCI.
    `nags`: those of its first move. `comment`: the coach's words along it.
    """

    ply: int
    line: tuple[str, ...]
    nags: tuple[int, ...] = ()
    comment: str = ""


@dataclass(frozen=True)
class Movetext:
    """What a card's movetext says; variations within variations are only checked.

    `comments` by ply of the main line, `nags` by the ply they follow, `faults` as (line, message).
    """

    line: tuple[str, ...]
    tries: tuple[Try, ...]
    comments: Mapping[int, str]
    nags: Mapping[int, tuple[int, ...]]
    faults: tuple[tuple[int, str], ...]


@dataclass
class _Line:
    """A line being read. `before`: the position before its last move. `dead`: after a move that can't be."""

    board: chess.Board
    ply: int
    opened: int
    before: chess.Board | None = None
    dead: bool = False
    moves: list[str] = field(default_factory=list)
    comments: dict[int, list[str]] = field(default_factory=dict)
    nags: dict[int, list[int]] = field(default_factory=dict)


def read_movetext(tokens: Sequence[Token], start: chess.Board, line: int) -> Movetext:
    """Read `tokens` as the moves of a card from position `start`, in the game that begins in `line`."""
    main = _Line(start.copy(stack=False), 0, line)
    stack, tries = [main], []
    faults: list[tuple[int, str]] = []
    count = 0
    for token in tokens:
        current = stack[-1]
        count += token.kind in ("move", "open")
        if count > MOST_MOVES:
            faults.append((token.line, f"more than {MOST_MOVES} moves and variations in one card"))
            break
        if token.kind == "move" and not current.dead:
            wrong = _play(current, token.text)
            if wrong:
                faults.append((token.line, wrong))
                current.dead = True
        elif token.kind == "open":
            if current.before is None and not current.dead:
                faults.append((token.line, "a variation must follow the move it replaces"))
            dead = current.dead or current.before is None
            before = current.board if current.before is None else current.before
            played = current.ply + max(0, len(current.moves) - 1)
            stack.append(_Line(before.copy(stack=False), played, token.line, dead=dead))
        elif token.kind == "close":
            if len(stack) == 1:
                faults.append((token.line, "a ) that closes nothing"))
                continue
            stack.pop()
            if len(stack) == 1 and current.moves:
                tries.append(_try(current))
        elif token.kind == "comment":
            words = " ".join(token.text.split())
            if words:
                current.comments.setdefault(len(current.moves), []).append(words)
        elif token.kind == "nag":
            current.nags.setdefault(len(current.moves), []).append(int(token.text))
    unclosed = stack[1:] if count <= MOST_MOVES else []
    faults += [(one.opened, "the variation is never closed: a ) is missing") for one in unclosed]
    comments = {ply: " ".join(words) for ply, words in main.comments.items()}
    nags = {ply: tuple(dict.fromkeys(found)) for ply, found in main.nags.items()}
    return Movetext(tuple(main.moves), tuple(tries), comments, nags, tuple(faults))


def write_movetext(
    card: Card, nags: Mapping[int, Sequence[int]], tries: Sequence[Try], result: str
) -> list[str]:
    """The movetext as lines of at most 79 characters, unless a single word is longer."""
    lines, current = [], ""
    for word in _words(card, nags, tries, result):
        if current and len(current) + 1 + len(word) > COLUMNS:
            lines.append(current)
            current = word
        else:
            current = f"{current} {word}" if current else word
    return [*lines, current]


def _play(line: _Line, text: str) -> str:
    """Play a move on `line`; what is wrong with it, '' if nothing."""
    board = line.board
    try:
        move = read_move(board, text, PGN)
    except MoveError as error:
        where = "" if isinstance(error, InvalidMove) else f" in {board.fen()}"
        return f"{quoted(text)} {error.told(where)}"
    line.before = board.copy(stack=False)
    line.moves.append(move.uci())
    board.push(move)
    return ""


def _try(line: _Line) -> Try:
    comment = " ".join(words for ply in sorted(line.comments) for words in line.comments[ply])
    return Try(line.ply, tuple(line.moves), tuple(dict.fromkeys(line.nags.get(1, ()))), comment)


def _words(card: Card, nags: Mapping[int, Sequence[int]], tries: Sequence[Try], result: str) -> Iterator[str]:
    """What must not be broken over lines, in order."""
    board = card.board.copy(stack=False)
    yield from _comment_words(card.comments.get(0, ""))
    yield from _nag_words(nags.get(0, ()))
    numbered = True  # a black move needs its number at the start and after anything but a move
    for ply, uci in enumerate(card.line):
        before = board.copy(stack=False)
        yield from _move_words(board, uci, numbered)
        yield from _nag_words(nags.get(ply + 1, ()))
        yield from _comment_words(card.comments.get(ply + 1, ""))
        here = [variation for variation in tries if variation.ply == ply]
        for variation in here:
            yield from _variation_words(before.copy(stack=False), variation)
        numbered = bool(here or card.comments.get(ply + 1))
    yield result


def _variation_words(board: chess.Board, variation: Try) -> Iterator[str]:
    words: list[str] = []
    for index, uci in enumerate(variation.line):
        words += _move_words(board, uci, numbered=index in (0, 1) and (index == 0 or bool(variation.comment)))
        if index == 0:
            words += [*_nag_words(variation.nags), *_comment_words(variation.comment)]
    if words:
        words[0] = f"({words[0]}"
        words[-1] += ")"
    yield from words


def _move_words(board: chess.Board, uci: str, numbered: bool) -> Iterator[str]:
    """The number, where one is due, and the move; plays it. ValueError (chess) if it is not legal."""
    move = board.parse_uci(uci)
    if board.turn == chess.WHITE:
        yield f"{board.fullmove_number}."
    elif numbered:
        yield f"{board.fullmove_number}..."
    yield board.san_and_push(move)


def _nag_words(nags: Sequence[int]) -> Iterator[str]:
    return (f"${nag}" for nag in nags)


def _comment_words(comment: str) -> Iterator[str]:
    """A comment's words, braces round them.

    Braces inside become round brackets, for comments do not nest. A word that means something else at the
    start of a line (escape, comment, tag) stays with the word before it.
    """
    words: list[str] = []
    for word in comment.translate(str.maketrans("{}", "()")).split():
        if words and word[0] in "%;[":
            words[-1] += f" {word}"
        else:
            words.append(word)
    if words:
        words[0] = "{" + words[0]
        words[-1] += "}"
    yield from words
