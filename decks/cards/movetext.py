"""The movetext of a card: reading its line, variations and comments, and writing them.

A ply counts the half-moves played from the card's position. Ply 0 is before the first move.
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
"""Most moves and variations of one card. Nobody writes so many, and a wrong file can't cost much time."""

COLUMNS = 79
"""Most characters of a text line: the PGN standard discourages 80 and more (section 4.3)."""


@dataclass(frozen=True)
class Variation:
    """A variation from the main line: another move at `ply`, and the moves after it.

    `ply`: plies of the main line before it (even: another move of the student, odd: another reply). `line`:
    its moves in UCI. `nags`, `answer_nags`: those of its first and of its second move. `comment`: all of the
    coach's words in it.
    """

    ply: int
    line: tuple[str, ...]
    nags: tuple[int, ...] = ()
    comment: str = ""
    answer_nags: tuple[int, ...] = ()


@dataclass(frozen=True)
class Movetext:
    """The contents of a card's movetext. Variations within variations are checked, but not kept.

    `line`: the main line in UCI. `comments`: by ply of the main line. `nags`: by the ply that they follow.
    `faults`: as (text line, message).
    """

    line: tuple[str, ...]
    variations: tuple[Variation, ...]
    comments: Mapping[int, str]
    nags: Mapping[int, tuple[int, ...]]
    faults: tuple[tuple[int, str], ...]


@dataclass
class _Line:
    """A line of moves that is being read.

    `ply`: plies played before it. `opened`: its text line. `before`: the position before its last move.
    `dead`: a move could not be played, so the others are not read.
    """

    board: chess.Board
    ply: int
    opened: int
    before: chess.Board | None = None
    dead: bool = False
    moves: list[str] = field(default_factory=list)
    comments: dict[int, list[str]] = field(default_factory=dict)
    nags: dict[int, list[int]] = field(default_factory=dict)


def read_movetext(tokens: Sequence[Token], start: chess.Board, line: int) -> Movetext:
    """Read `tokens` as the moves of a card from position `start`. `line`: the first text line of the game."""
    main = _Line(start.copy(stack=False), 0, line)
    stack: list[_Line] = [main]
    variations: list[Variation] = []
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
                faults.append((token.line, "a ) without a ("))
                continue
            stack.pop()
            if len(stack) == 1 and current.moves:
                variations.append(_variation(current))
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
    return Movetext(tuple(main.moves), tuple(variations), comments, nags, tuple(faults))


def write_movetext(
    card: Card, nags: Mapping[int, Sequence[int]], variations: Sequence[Variation], result: str
) -> list[str]:
    """The movetext as text lines of at most 79 characters, unless a single word is longer."""
    lines, current = [], ""
    for word in _words(card, nags, variations, result):
        if current and len(current) + 1 + len(word) > COLUMNS:
            lines.append(current)
            current = word
        else:
            current = f"{current} {word}" if current else word
    return [*lines, current]


def _play(line: _Line, text: str) -> str:
    """Play a move on `line`. Returns what is wrong with it; empty if nothing is."""
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


def _variation(line: _Line) -> Variation:
    comment = " ".join(words for ply in sorted(line.comments) for words in line.comments[ply])
    first, second = (tuple(dict.fromkeys(line.nags.get(ply, ()))) for ply in (1, 2))
    return Variation(line.ply, tuple(line.moves), first, comment, second)


def _words(
    card: Card, nags: Mapping[int, Sequence[int]], variations: Sequence[Variation], result: str
) -> Iterator[str]:
    """The parts of the movetext that line breaks may separate."""
    board = card.board.copy(stack=False)
    yield from _comment_words(card.comments.get(0, ""))
    yield from _nag_words(nags.get(0, ()))
    numbered = True  # a Black move needs its number unless a move comes directly before it
    for ply, uci in enumerate(card.line):
        before = board.copy(stack=False)
        yield from _move_words(board, uci, numbered)
        yield from _nag_words(nags.get(ply + 1, ()))
        yield from _comment_words(card.comments.get(ply + 1, ""))
        here = [variation for variation in variations if variation.ply == ply]
        for variation in here:
            yield from _variation_words(before.copy(stack=False), variation)
        numbered = bool(here or card.comments.get(ply + 1))
    yield result


def _variation_words(board: chess.Board, variation: Variation) -> Iterator[str]:
    words: list[str] = []
    for index, uci in enumerate(variation.line):
        words += _move_words(board, uci, numbered=index in (0, 1) and (index == 0 or bool(variation.comment)))
        if index == 0:
            words += [*_nag_words(variation.nags), *_comment_words(variation.comment)]
        elif index == 1:
            words += _nag_words(variation.answer_nags)
    if words:
        words[0] = f"({words[0]}"
        words[-1] += ")"
    yield from words


def _move_words(board: chess.Board, uci: str, numbered: bool) -> Iterator[str]:
    """The move number, if needed, and the move. Plays the move. ValueError (of chess) if it is not legal."""
    move = board.parse_uci(uci)
    if board.turn == chess.WHITE:
        yield f"{board.fullmove_number}."
    elif numbered:
        yield f"{board.fullmove_number}..."
    yield board.san_and_push(move)


def _nag_words(nags: Sequence[int]) -> Iterator[str]:
    return (f"${nag}" for nag in nags)


def _comment_words(comment: str) -> Iterator[str]:
    """The words of a comment, with braces around them.

    Braces inside become round brackets, because comments do not nest. A word that has another meaning at the
    start of a text line (escape, comment, tag) stays together with the word before it.
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
