"""A line taken apart: each move of the side that began, with the boards before and after it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import chess

from patterns.boards.worth import ahead
from patterns.lines import captures
from patterns.words import wording


class LineError(ValueError):
    """A word of a line is not a move, or not legal, or ambiguous. The message quotes it."""


@dataclass(frozen=True)
class Use:
    """What one move of a line uses. `ply`: 1 is the first move of the side that began. Squares are named."""

    ply: int
    motif: str
    actors: tuple[str, ...]
    targets: tuple[str, ...]
    squares: tuple[str, ...]
    note: str


@dataclass(frozen=True)
class OwnMove:
    """One move of ours: the board before it, the move, the board after it, and their reply, if any."""

    ply: int
    before: chess.Board
    move: chess.Move
    after: chess.Board
    reply: chess.Move | None

    @property
    def us(self) -> chess.Color:
        return self.before.turn

    @property
    def mover(self) -> chess.PieceType:
        """The kind of man that moved (a pawn, even if it promotes)."""
        return self.before.piece_type_at(self.move.from_square) or chess.PAWN

    @property
    def theirs(self) -> chess.Bitboard:
        """Their men after our move."""
        return self.after.occupied_co[not self.us]

    @property
    def their_king(self) -> chess.Square:
        king = self.after.king(not self.us)
        assert king is not None
        return king

    @property
    def captures(self) -> bool:
        return self.before.is_capture(self.move)

    def use(
        self,
        motif: str,
        note: str,
        actors: Iterable[chess.Square] = (),
        targets: Iterable[chess.Square] = (),
        squares: Iterable[chess.Square] = (),
    ) -> Use:
        """A use by this move."""
        return Use(self.ply, motif, _names(actors), _names(targets), _names(squares), wording.sentence(note))


def _names(squares: Iterable[chess.Square]) -> tuple[str, ...]:
    return tuple(chess.SQUARE_NAMES[square] for square in sorted(set(squares)))


def own_moves_of(board: chess.Board, line: Sequence[chess.Move]) -> tuple[OwnMove, ...]:
    """The moves of the side to move at the start of the line. LineError if a move is not legal."""
    before, own_moves = board.copy(stack=False), []
    for index in range(0, len(line), 2):
        move = line[index]
        after = _pushed(before, move)
        reply = line[index + 1] if index + 1 < len(line) else None
        own_moves.append(OwnMove(index // 2 + 1, before, move, after, reply))
        if reply is not None:
            before = _pushed(after, reply)
    return tuple(own_moves)


def _pushed(board: chess.Board, move: chess.Move) -> chess.Board:
    if not board.is_legal(move):
        raise LineError(f"{move.uci()!r} is not legal in {board.fen()}")
    return captures.after_move(board, move)


def gain_of(own_moves: Sequence[OwnMove]) -> int:
    """What these moves win in pawns, after all captures on the last move's square."""
    us, last = own_moves[0].us, own_moves[-1]
    lost = captures.falls(last.after, last.move.to_square)
    return ahead(last.after, us) - lost - ahead(own_moves[0].before, us)


_SEPARATORS = re.compile(r"[\s,;]+")
_NUMBER = re.compile(r"^\d+\.+")
_GLYPHS = re.compile(r"[!?]+$")
_UCI = re.compile(r"[a-h][1-8][a-h][1-8][qrbnQRBN]?")


def parse_line(board: chess.Board, text: str) -> tuple[chess.Move, ...]:
    """The moves of a line in UCI or SAN, separated by blanks or commas. Move numbers and !? are skipped.

    LineError says whether a move is invalid, illegal or ambiguous, and quotes it.

    >>> [move.uci() for move in parse_line(chess.Board(), "1. e4 e7e5 2. Nf3!")]
    ['e2e4', 'e7e5', 'g1f3']
    >>> parse_line(chess.Board(), "e4 e4")
    Traceback (most recent call last):
    patterns.lines.played_line.LineError: move 2 ('e4') is not legal: no black pawn can go to e4
    """
    current = board.copy(stack=False)
    moves: list[chess.Move] = []
    for token in _SEPARATORS.split(text):
        word = _GLYPHS.sub("", _NUMBER.sub("", token))
        if not word:
            continue
        move = _parsed(current, word, f"move {len(moves) + 1} ({token!r})")
        moves.append(move)
        current.push(move)
    return tuple(moves)


def _parsed(board: chess.Board, word: str, name: str) -> chess.Move:
    if _UCI.fullmatch(word):
        try:
            return board.parse_uci(word.lower())
        except ValueError as error:
            origin, square = chess.parse_square(word[:2].lower()), chess.parse_square(word[2:4].lower())
            if board.is_legal(chess.Move(origin, square, chess.QUEEN)) and len(word) == 4:
                raise LineError(f"{name} is not legal: say what the pawn becomes, as in {word}q") from error
            why = _why_not(board, square, None)
            raise LineError(f"{name} is not legal: {why}") from error
    try:
        move = board.parse_san(word)
    except ValueError as error:
        raise LineError(f"{name} {_what_is_wrong(board, word)}") from error
    if not move:  # SAN has several spellings of a null move, which a line cannot contain
        raise LineError(f"{name} {_what_is_wrong(board, word)}")
    return move


def _what_is_wrong(board: chess.Board, word: str) -> str:
    match = chess.SAN_REGEX.match(word)
    if match is None:
        if word.rstrip("+#") in ("O-O", "O-O-O", "0-0", "0-0-0"):
            return "is not legal: castling is not possible here"
        return "is not a move: write it as e2e4, e4 or Nf3"
    kind = chess.PIECE_SYMBOLS.index(match.group(1).lower()) if match.group(1) else chess.PAWN
    square = chess.parse_square(match.group(4))
    fitting = [
        move
        for move in board.legal_moves
        if move.to_square == square and board.piece_type_at(move.from_square) == kind
    ]
    if len({move.from_square for move in fitting}) > 1:
        choices = " or ".join(sorted(board.san(move) for move in fitting))
        return f"is ambiguous: {choices}"
    if fitting and fitting[0].promotion:
        return f"is not legal: say what the pawn becomes, as in {board.san(fitting[0])}"
    return f"is not legal: {_why_not(board, square, kind)}"


def _why_not(board: chess.Board, square: chess.Square, kind: chess.PieceType | None) -> str:
    side = chess.COLOR_NAMES[board.turn]
    what = f"{side} {chess.piece_name(kind)}" if kind else f"such move of {side}'s"
    return f"no {what} can go to {chess.SQUARE_NAMES[square]}"
