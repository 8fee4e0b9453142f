"""A line taken apart: each move of the side that began, with the boards before and after it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import chess

from patterns.boards.worth import ahead
from patterns.proof import captures
from patterns.reading.tokens import GAMES, Token, tokens
from patterns.reading.written_move import PGN, MoveError, read_move
from patterns.words import wording


class LineError(ValueError):
    """A word of a line is not a move, or not legal, or ambiguous. The message quotes it."""


Line = tuple[chess.Board, Sequence[chess.Move]]
"""A position, and moves from it on."""


@dataclass(frozen=True)
class Use:
    """What one move of a line uses. `ply`: 1 is the first move of the side that began. Squares are named.

    `note`: says nothing of a gain, because the line shows it. `wins`: what the move wins at least by it, as
    `patterns.proof.claims.worth` says; 0 if it claims no gain. `shown`: whether the line plays it out; it can
    leave a claim alone that holds, because they give something else. `prepares`: whether only the next move
    does it, thanks to this one.
    """

    ply: int
    motif: str
    actors: tuple[str, ...]
    targets: tuple[str, ...]
    squares: tuple[str, ...]
    note: str
    wins: int = 0
    shown: bool = True
    prepares: bool = False


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
    def ranks_out(self) -> int:
        """How many ranks in front of its first rank their king stands."""
        rank = chess.square_rank(self.their_king)
        return 7 - rank if self.us == chess.WHITE else rank

    @property
    def captures(self) -> bool:
        return self.before.is_capture(self.move)

    @property
    def deed(self) -> str:
        """What is played: `the rook on e1 takes on e8`."""
        man, goal = wording.named(self.before, self.move.from_square), chess.SQUARE_NAMES[self.move.to_square]
        check = " with check" if self.after.is_check() else ""
        return f"{man} takes on {goal}{check}" if self.captures else f"{man} goes to {goal}{check}"

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


def takes_in_the_end(rest: Sequence[OwnMove], square: chess.Square) -> bool:
    """Whether these moves take the man on the square, wherever it goes."""
    for own_move in rest:
        if own_move.captures and own_move.move.to_square == square:
            return True
        if own_move.reply is not None and own_move.reply.from_square == square:
            square = own_move.reply.to_square
    return False


def gain_of(own_moves: Sequence[OwnMove]) -> int:
    """What these moves win in pawns, after all captures on the last move's square."""
    us, last = own_moves[0].us, own_moves[-1]
    lost = captures.falls(last.after, last.move.to_square)
    return ahead(last.after, us) - lost - ahead(own_moves[0].before, us)


_BLANKS = str.maketrans(",;\r\n", "    ")
"""What may stand between moves, besides white space; it also makes one line of several."""


def parse_line(board: chess.Board, text: str) -> tuple[chess.Move, ...]:
    """The moves of a line in UCI or SAN, blanks, commas or semicolons between.

    Move numbers, glyphs, NAGs, comments in braces and a result are skipped, as PGN has them. LineError tells
    an invalid move from an illegal and an ambiguous one, and quotes it.

    >>> [move.uci() for move in parse_line(chess.Board(), "1. e4 e7e5 2. Nf3!")]
    ['e2e4', 'e7e5', 'g1f3']
    >>> parse_line(chess.Board(), "e4 e4")
    Traceback (most recent call last):
    patterns.proof.played_line.LineError: move 2 ('e4') is not legal: no black pawn can go to e4; a pawn \
can go a5, a6, b5, b6, c5, c6, d5, d6 ...
    """
    current = board.copy(stack=False)
    moves: list[chess.Move] = []
    for token in tokens([" " + text.translate(_BLANKS)], GAMES):
        if isinstance(token, Token) and token.kind in ("comment", "result"):
            continue
        written = (token.text or "{") if isinstance(token, Token) else f"[{token.name}"
        try:
            move = read_move(current, written, PGN)
        except MoveError as error:
            raise LineError(f"move {len(moves) + 1} ('{error.text}') {error.told()}") from error
        moves.append(move)
        current.push(move)
    return tuple(moves)
