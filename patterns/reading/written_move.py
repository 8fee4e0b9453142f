"""Reading a written move: text and a board in, a legal move out, or what is wrong with the text.

How a move is written is told by the PGN standard of 1994 for SAN (section 8.2.3; 8.2.3.7 on what a reader may
forgive) and by the UCI protocol (2006) for squares, as in e2e4 and e7e8q. Long algebraic notation (Ng1-f3,
e7xd8=Q) is read as SAN that says more than it needs to.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import lru_cache

import chess

from patterns.reading.text import safe

SHOWN_MOVES = 8
"""How many legal moves a message offers."""

SHOWN_TEXT = 20
"""Characters of the text that a message quotes."""

LONGEST = 16
"""Characters of a move, without number and glyphs: SAN has at most seven (8.2.3.6), long forms a few more."""


@dataclass(frozen=True)
class Source:
    """Where a text comes from, and so which forms of a move it may have. Squares (UCI) may stand anywhere.

    `san`: SAN, in any letter case that leaves one sense, with zeros for castling, with signs of check whether
    they are right or not, and with `e.p.`. `dressed`: a number before the move, white space, and !? behind
    it, which in PGN are tokens of their own.
    """

    san: bool
    dressed: bool


TYPED = Source(san=True, dressed=True)
PGN = Source(san=True, dressed=False)
ENGINE = Source(san=False, dressed=False)


class MoveError(ValueError):
    """A text that is no move to play. It is one of InvalidMove, IllegalMove and AmbiguousMove.

    `text`: what was written, safe to show. `verdict`: the sort of error, as a sentence goes on after the
    text; `brief`: the same for a list. `why` and `right`: what is wrong with it, and what would be right;
    empty where that is not known.
    """

    verdict = brief = ""

    def __init__(self, text: str, why: str = "", right: str = "") -> None:
        self.text, self.why, self.right = safe(text, SHOWN_TEXT), why, right
        super().__init__(f"'{self.text}' {self.told()}")

    def told(self, where: str = "") -> str:
        """All but the text, to put after it; `where` follows the verdict."""
        reasons = "; ".join(filter(None, (self.why, self.right)))
        return f"{self.verdict}{where}{': ' if reasons else ''}{reasons}"


class InvalidMove(MoveError):
    """Not a move in any notation that is read from there."""

    verdict, brief = "is not a move", "not a move"


class NullMove(InvalidMove):
    """A sign for no move at all."""

    verdict, brief = "is a null move, which chess does not have", "null move, which chess does not have"


class IllegalMove(MoveError):
    """A move, but not a legal one in this position."""

    verdict, brief = "is not legal", "illegal move"


class AmbiguousMove(MoveError):
    """More than one legal move fits: `why` names them, `right` says what to add."""

    verdict, brief = "is ambiguous", "ambiguous move, more than one man can go there"


class PromotionMissing(AmbiguousMove):
    """A pawn reaches the last rank, and the text does not say what it becomes (8.2.3.3)."""

    brief = "ambiguous move, the pawn must become something"


def read_move(board: chess.Board, text: str, source: Source) -> chess.Move:
    """The legal move that `text` means on `board`. MoveError says why there is none.

    >>> board = chess.Board()
    >>> [read_move(board, text, TYPED).uci() for text in ("Nf3", "1. nf3!", "g1f3", "Ng1-f3")]
    ['g1f3', 'g1f3', 'g1f3', 'g1f3']
    >>> read_move(board, "Ne4", PGN)
    Traceback (most recent call last):
    patterns.reading.written_move.IllegalMove: 'Ne4' is not legal: no white knight can go to e4; a knight \
can go Na3, Nc3, Nf3, Nh3
    """
    bare = _undressed(text) if source.dressed else text
    senses = _senses(bare, source.san) if len(bare) <= LONGEST else ()
    for likely in senses:
        fitting = [move for sense in likely for move in _fitting(board, sense)]
        if len(fitting) == 1:
            return fitting[0]
        if fitting:
            choices = _either(_sans(board, fitting))
            if len({move.from_square for move in fitting}) == 1:
                raise PromotionMissing(bare, choices, "say what the pawn becomes")
            raise AmbiguousMove(bare, choices, "say which")
    if bare in _NULL_MOVES:
        raise NullMove(bare)
    if not senses:
        raise InvalidMove(bare, right=f"write it like {_examples(source)}")
    raise IllegalMove(bare, *_why_not(board, senses[0][0]))


# --- What a text may mean ------------------------------------------------------------------------------

_NUMBER = re.compile(r"(?:[0-9]+(?:\s*\.+|\s+)|\.+)\s*")  # any number of periods: 8.2.2.1
_NULL_MOVES = {"0000", "--", "Z0", "@@@@"}  # the first: UCI; the others: common practice, no source
_CASTLING = re.compile("[Oo0]-[Oo0](-[Oo0])?")
_SAN = re.compile("([NBRQK]?)([a-h]?[1-8]?)[-x]?([a-h][1-8])(?:=?([NBRQnbrq]))?")
_UCI = re.compile("()([a-h][1-8])([a-h][1-8])([nbrq])?")


@dataclass(frozen=True)
class _Sense:
    """One sense of a text: `castles` (in SAN), or a man that goes from one of the squares `origins`.

    `man` is None if the text names two squares and no man; `start`: what it says of the first of them.
    """

    castles: str = ""
    man: chess.PieceType | None = None
    start: str = ""
    origins: chess.Bitboard = chess.BB_EMPTY
    target: chess.Square = chess.A1
    promotion: chess.PieceType | None = None

    @property
    def uci(self) -> str:
        promoted = chess.piece_symbol(self.promotion) if self.promotion else ""
        return self.start + chess.square_name(self.target) + promoted


def _undressed(text: str) -> str:
    text = text.strip()
    number = _NUMBER.match(text)
    return text[number.end() if number else 0 :].rstrip("!? \t")


@lru_cache(maxsize=4096)
def _senses(text: str, san: bool) -> tuple[tuple[_Sense, ...], ...]:
    """What `text` may mean, likeliest first; senses that stand together are equally likely."""
    if not san:
        return _together(_spelt(_UCI, text))
    # Signs of check may be left out (8.2.3.7), so they may be wrong too; e.p.: FIDE Laws, appendix C.
    bare = text.rstrip("+# ").removesuffix("e.p.").rstrip("+# ")
    if castling := _CASTLING.fullmatch(bare):
        return _together([_Sense(castles="O-O-O" if castling[1] else "O-O")])
    # Letter case is made good (8.2.3.7), but not of a capital before small letters: that names a piece,
    # perhaps in another language (8.2.3.2), and Dd4 must not be read as d4.
    first, rest = bare[:1].upper(), bare[1:].lower()
    if bare[:1] == first and any(letter.islower() for letter in bare):
        return _together(_spelt(_SAN, first + rest))
    small, large = _spelt(_SAN, first.lower() + rest), _spelt(_SAN, first + rest)
    if small and small[0].man is None:
        return _together(small)
    if bare.startswith("bx"):  # a pawn's capture as it should be (8.2.3.3), only else a bishop's
        return _together(small) + _together(large)
    return _together(small + large)


def _together(senses: list[_Sense]) -> tuple[tuple[_Sense, ...], ...]:
    return (tuple(senses),) if senses else ()


def _spelt(notation: re.Pattern[str], text: str) -> list[_Sense]:
    """The sense of a text in this notation, if it is in it."""
    found = notation.fullmatch(text)
    if found is None:
        return []
    letter, start, target_name, promoted = (part or "" for part in found.groups())
    target = chess.parse_square(target_name)
    origins = chess.BB_ALL
    for mark in start:
        line = chess.BB_RANKS[int(mark) - 1] if mark.isdigit() else chess.BB_FILES["abcdefgh".index(mark)]
        origins &= line
    if not letter and len(start) < 2:
        if start.isdigit() or start == target_name[0]:
            return []  # a pawn names a file, and only if it captures, to another one: 8.2.3.3
        letter, origins = "P", origins if start else chess.BB_FILES[chess.square_file(target)]
    man = chess.PIECE_SYMBOLS.index(letter.lower()) if letter else None
    promotion = chess.PIECE_SYMBOLS.index(promoted.lower()) if promoted else None
    return [_Sense("", man, start, origins, target, promotion)]


# --- What fits it on the board -------------------------------------------------------------------------


def _fitting(board: chess.Board, sense: _Sense) -> list[chess.Move]:
    """The legal moves that have this sense; every promotion, if the text names none."""
    if sense.castles:
        is_it = board.is_queenside_castling if sense.castles == "O-O-O" else board.is_kingside_castling
        return [move for move in board.generate_castling_moves() if is_it(move)]
    origins, us = sense.origins, board.turn
    if sense.man is None:
        with suppress(ValueError):  # castling may be written as the king's move, or as king takes rook
            return [board.parse_uci(sense.uci)]
    else:
        origins &= board.pieces_mask(sense.man, us)
    # To a square without a man of ours: python-chess generates castling as king takes rook.
    moves = board.generate_legal_moves(origins, chess.BB_SQUARES[sense.target] & ~board.occupied_co[us])
    return [move for move in moves if sense.promotion in (None, move.promotion)]


# --- What is wrong, and what would be right ------------------------------------------------------------


def _why_not(board: chess.Board, sense: _Sense) -> tuple[str, str]:
    """Why no legal move has this sense, and what would be right."""
    if sense.castles:
        return "castling is not possible", "the king can't castle that way now"
    if sense.promotion and (unpromoted := _fitting(board, replace(sense, promotion=None))):
        return "nothing is promoted there", f"write {_either(_sans(board, unpromoted))}"
    target = chess.square_name(sense.target)
    if sense.man is None:
        return _why_not_from(board, sense.start, target)
    name = chess.piece_name(sense.man)
    own = [move for move in board.legal_moves if board.piece_type_at(move.from_square) == sense.man]
    return (
        f"no {chess.COLOR_NAMES[board.turn]} {name}{_place(sense.start)} can go to {target}",
        f"a {name} can go {_list(board, own)}" if own else f"no {name} of yours can move{_in_check(board)}",
    )


def _why_not_from(board: chess.Board, start: str, target: str) -> tuple[str, str]:
    """The same, of the man on the square `start`."""
    man = board.piece_at(chess.parse_square(start))
    if man is None:
        return f"{start} is empty", ""
    if man.color != board.turn:
        return f"the man on {start} is not yours", ""
    name = f"the {chess.piece_name(man.piece_type)} on {start}"
    own = [move for move in board.legal_moves if chess.square_name(move.from_square) == start]
    can = f"can go {_list(board, own)}" if own else f"can't move{_in_check(board)}"
    return f"{name} can't go to {target}", f"{name} {can}"


def _place(start: str) -> str:
    """What a text says of the square a man comes from, in words."""
    if len(start) == 2:
        return f" on {start}"
    return "" if not start else f" on rank {start}" if start.isdigit() else f" on the {start}-file"


def _in_check(board: chess.Board) -> str:
    return " out of this check" if board.is_check() else ""


def _sans(board: chess.Board, moves: Iterable[chess.Move]) -> list[str]:
    """Moves in SAN, by the square they start from; promotions from the queen down."""

    def place(move: chess.Move) -> tuple[str, int]:
        return chess.square_name(move.from_square), -(move.promotion or 0)

    return [board.san(move) for move in sorted(moves, key=place)]


def _list(board: chess.Board, moves: Iterable[chess.Move]) -> str:
    names = sorted(board.san(move) for move in moves)
    return ", ".join(names[:SHOWN_MOVES]) + (" ..." if len(names) > SHOWN_MOVES else "")


def _either(names: list[str]) -> str:
    return " or ".join(filter(None, (", ".join(names[:-1]), names[-1])))


def _examples(source: Source) -> str:
    """A move as it may be written there. One of the position at hand could be the move that is asked for."""
    return "a3 or a2a3" if source.san else "a2a3"
