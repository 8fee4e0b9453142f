"""Reading a move: every form from every source, and every error told.

Sources: the PGN standard of 1994, section 8.2.3 (SAN); the UCI protocol; FIDE Laws, appendix C, for `e.p.`.
"""

from __future__ import annotations

import io

import chess
import pytest
from real_positions import wandered

from decks.cards.movetext import read_movetext
from decks.cards.pgn_spans import split_games
from decks.tasks.entry import EntryError
from decks.tasks.entry import read_move as read_typed
from decks.tasks.lines import legal_part
from patterns.lines import LineError, parse_line
from patterns.reading.pgn import Unreadable, read_games
from patterns.reading.written_move import (
    ENGINE,
    LONGEST,
    PGN,
    TYPED,
    AmbiguousMove,
    IllegalMove,
    InvalidMove,
    MoveError,
    NullMove,
    PromotionMissing,
    Source,
    read_move,
)

START = chess.STARTING_FEN
CASTLING = "r3k2r/8/8/8/8/8/8/R3K2R w KQkq - 0 1"
NO_CASTLING = "r3k2r/8/8/8/8/8/8/R3K2R w - - 0 1"
PROMOTION = "1n6/P6k/8/8/8/8/8/4K3 w - - 0 1"
EN_PASSANT = "4k3/8/8/3pP3/8/8/8/4K3 w - d6 0 1"
PAWN_OR_BISHOP = "4k3/8/8/8/3B4/2p5/1P6/4K3 w - - 0 1"
BISHOP_ALONE = "4k3/8/8/8/3B4/2p5/P7/4K3 w - - 0 1"
BISHOP_BEHIND_PAWN = "4k3/8/8/8/8/B7/1P6/4K3 w - - 0 1"
ROOKS = "6k1/8/8/8/R7/4K3/8/R6R w - - 0 1"
CHECKED = "4k3/8/8/8/8/8/3PP3/n2QK2r w - - 0 1"

NULL, INVALID, ILLEGAL, AMBIGUOUS, BECOMES = (
    NullMove,
    InvalidMove,
    IllegalMove,
    AmbiguousMove,
    PromotionMissing,
)
Outcome = str | type[MoveError]

SAME_FROM_ALL: list[tuple[str, str, Outcome]] = [
    # Squares, as UCI writes them.
    (START, "g1f3", "g1f3"),
    (PROMOTION, "a7a8q", "a7a8q"),
    (PROMOTION, "a7a8r", "a7a8r"),
    (PROMOTION, "a7a8b", "a7a8b"),
    (PROMOTION, "a7b8n", "a7b8n"),
    (PROMOTION, "a7a8", BECOMES),
    (CASTLING, "e1g1", "e1g1"),
    (CASTLING, "e1h1", "e1g1"),
    (CASTLING, "e1a1", "e1c1"),
    (NO_CASTLING, "e1g1", ILLEGAL),
    (START, "g1e4", ILLEGAL),
    (START, "e2e4q", ILLEGAL),
    (START, "e2e2", ILLEGAL),
    (PAWN_OR_BISHOP, "b1c3", ILLEGAL),
    # No move at all.
    (START, "0000", NULL),
    (START, "--", NULL),
    (START, "Z0", NULL),
    (START, "@@@@", NULL),
    (START, "", INVALID),
    (START, "xyzzy", INVALID),
    (START, "g1f", INVALID),
    (START, "g1f9", INVALID),
    (START, "i1f3", INVALID),
    (START, "a7a8k", INVALID),
]

OF_PEOPLE: list[tuple[str, str, Outcome]] = [  # typed and in PGN; an engine writes nothing of the kind
    # The whole square of each man, and no more than is needed: 8.2.3.1 to 8.2.3.4.
    (START, "Nf3", "g1f3"),
    (START, "e4", "e2e4"),
    (ROOKS, "Kd3", "e3d3"),
    (EN_PASSANT, "exd6", "e5d6"),
    (ROOKS, "R4a3", "a4a3"),
    (ROOKS, "Rhd1", "h1d1"),
    (ROOKS, "Rh2", "h1h2"),
    (ROOKS, "Rd1", AMBIGUOUS),
    (ROOKS, "R1a3", "a1a3"),
    (ROOKS, "R1d1", AMBIGUOUS),
    (ROOKS, "Rgd1", ILLEGAL),
    (ROOKS, "R8d1", ILLEGAL),
    (ROOKS, "Rh4d1", ILLEGAL),
    (START, "Ne4", ILLEGAL),
    (START, "e5", ILLEGAL),
    (START, "Nd2", ILLEGAL),
    (START, "Nf9", INVALID),
    (START, "Pe4", INVALID),
    (START, "Sf3", INVALID),
    # More than is needed, as in long algebraic notation.
    (START, "Ng1f3", "g1f3"),
    (START, "Ng1-f3", "g1f3"),
    (START, "Nxf3", "g1f3"),
    (START, "e2-e4", "e2e4"),
    (START, "g1-f3", "g1f3"),
    (EN_PASSANT, "e5xd6", "e5d6"),
    (PROMOTION, "a7-a8=Q", "a7a8q"),
    (CASTLING, "e1-h1", "e1g1"),
    (START, "Ng1--f3", INVALID),
    # A capture without its sign (8.2.3.7), but with its file: a pawn that does not capture names none.
    (EN_PASSANT, "ed6", "e5d6"),
    (EN_PASSANT, "d6", ILLEGAL),
    (EN_PASSANT, "5d6", INVALID),
    (EN_PASSANT, "5xd6", INVALID),
    (START, "ee4", INVALID),
    (START, "exe4", INVALID),
    (START, "2e4", INVALID),
    (START, "ed3", ILLEGAL),
    # Promotion: 8.2.3.3.
    (PROMOTION, "a8=Q", "a7a8q"),
    (PROMOTION, "a8=N", "a7a8n"),
    (PROMOTION, "a8Q", "a7a8q"),
    (PROMOTION, "a8=r", "a7a8r"),
    (PROMOTION, "a8b", "a7a8b"),
    (PROMOTION, "axb8=Q", "a7b8q"),
    (PROMOTION, "a8", BECOMES),
    (PROMOTION, "axb8", BECOMES),
    (PROMOTION, "a8=K", INVALID),
    (PROMOTION, "a8=", INVALID),
    (PROMOTION, "a8==Q", INVALID),
    (PROMOTION, "b8=Q", ILLEGAL),
    (START, "e4=Q", ILLEGAL),
    (START, "Nf3=Q", ILLEGAL),
    # Castling, with the letter O (8.2.3.3) or with zeros.
    (CASTLING, "O-O", "e1g1"),
    (CASTLING, "O-O-O", "e1c1"),
    (CASTLING, "0-0", "e1g1"),
    (CASTLING, "0-0-0", "e1c1"),
    (CASTLING, "o-o", "e1g1"),
    (CASTLING, "o-o-o", "e1c1"),
    (CASTLING, "O-O-O+", "e1c1"),
    (CASTLING, "Kg1", ILLEGAL),
    (CASTLING, "Kh1", ILLEGAL),
    (CASTLING, "OO", INVALID),
    (CASTLING, "O-O-O-O", INVALID),
    (NO_CASTLING, "O-O", ILLEGAL),
    (NO_CASTLING, "O-O-O", ILLEGAL),
    # Signs of check and mate, right or wrong (8.2.3.5, 8.2.3.7), and of en passant.
    (START, "Nf3+", "g1f3"),
    (START, "Nf3#", "g1f3"),
    (START, "Nf3++", "g1f3"),
    (START, "g1f3+", "g1f3"),
    (EN_PASSANT, "exd6e.p.", "e5d6"),
    (EN_PASSANT, "exd6+e.p.", "e5d6"),
    (EN_PASSANT, "exd6e.p.+", "e5d6"),
    (EN_PASSANT, "exd6 e.p.", "e5d6"),
    (START, "Nf3=", INVALID),
    (START, "+", INVALID),
    # Letter case is made good: 8.2.3.7.
    (START, "nf3", "g1f3"),
    (START, "NF3", "g1f3"),
    (START, "nF3", "g1f3"),
    (START, "E4", "e2e4"),
    (START, "E2E4", "e2e4"),
    (EN_PASSANT, "EXD6", "e5d6"),
    (PROMOTION, "A8=Q", "a7a8q"),
    (PROMOTION, "A7A8Q", "a7a8q"),
    (CASTLING, "kf1", "e1f1"),
    (CASTLING, "rb1", "a1b1"),
    (CHECKED, "qb1", ILLEGAL),
    # But not of a capital before small letters, a piece in some language: 8.2.3.2.
    (START, "Dd4", INVALID),
    (EN_PASSANT, "Exd6", INVALID),
    (START, "G1f3", INVALID),
    # The b-pawn or the bishop: as it is written, if that is as it should be; else what is legal.
    (PAWN_OR_BISHOP, "bxc3", "b2c3"),
    (PAWN_OR_BISHOP, "Bxc3", "d4c3"),
    (PAWN_OR_BISHOP, "bc3", AMBIGUOUS),
    (PAWN_OR_BISHOP, "BXC3", AMBIGUOUS),
    (PAWN_OR_BISHOP, "b4", "b2b4"),
    (BISHOP_ALONE, "bxc3", "d4c3"),
    (BISHOP_ALONE, "bc3", "d4c3"),
    (BISHOP_ALONE, "bb6", "d4b6"),
    (BISHOP_BEHIND_PAWN, "bb4", "a3b4"),
    (BISHOP_BEHIND_PAWN, "bb3", ILLEGAL),
]

DRESSED: list[tuple[str, str, Outcome]] = [  # typed only: in PGN these are tokens of their own
    (START, " Nf3 ", "g1f3"),
    (START, "\tg1f3\n", "g1f3"),
    (START, "1. Nf3", "g1f3"),
    (START, "1.Nf3", "g1f3"),
    (START, "1 . Nf3", "g1f3"),
    (START, "1 Nf3", "g1f3"),
    (START, "12... Nf3", "g1f3"),
    (START, "...Nf3", "g1f3"),
    (START, "1. O-O", ILLEGAL),
    (START, "Nf3!", "g1f3"),
    (START, "Nf3??", "g1f3"),
    (START, "Nf3+ !?", "g1f3"),
    (START, "e4 !", "e2e4"),
    (EN_PASSANT, "exd6 e.p.!", "e5d6"),
    (START, "1. --", NULL),
    (START, "1. 1. e4", INVALID),
    (START, "1.", INVALID),
]

TABLE: list[tuple[str, str, Source, Outcome]] = [
    *((fen, text, source, told) for fen, text, told in SAME_FROM_ALL for source in (TYPED, PGN, ENGINE)),
    *((fen, text, source, told) for fen, text, told in OF_PEOPLE for source in (TYPED, PGN)),
    *((fen, text, ENGINE, INVALID) for fen, text, _ in OF_PEOPLE),
    *((fen, text, TYPED, told) for fen, text, told in DRESSED),
    *((fen, text, source, INVALID) for fen, text, _ in DRESSED for source in (PGN, ENGINE)),
]
NAMES = {TYPED: "typed", PGN: "in PGN", ENGINE: "from an engine"}


def outcome(fen: str, text: str, source: Source) -> Outcome:
    try:
        return read_move(chess.Board(fen), text, source).uci()
    except MoveError as error:
        return type(error)


@pytest.mark.parametrize(
    ("fen", "text", "source", "told"),
    TABLE,
    ids=[f"{text!r} {NAMES[source]}" for _, text, source, _ in TABLE],
)
def test_a_text_means_one_thing_at_one_leniency(fen: str, text: str, source: Source, told: Outcome) -> None:
    assert outcome(fen, text, source) == told


def in_games(fen: str, text: str) -> str | None:
    (game,) = read_games(io.StringIO(f'[FEN "{fen}"]\n\n{text} *'))
    if isinstance(game, Unreadable):
        return None
    return game.moves[0].uci() if game.moves else None


def in_a_deck(fen: str, text: str) -> str | None:
    (game,) = split_games(f'[FEN "{fen}"]\n\n{text} *')
    found = read_movetext(game.tokens, chess.Board(fen), 1)
    return found.line[0] if found.line and not found.faults and not game.faults else None


def in_a_line(fen: str, text: str) -> str | None:
    try:
        moves = parse_line(chess.Board(fen), text)
    except LineError:
        return None
    return moves[0].uci() if moves else None


def typed(fen: str, text: str) -> str | None:
    try:
        return read_typed(chess.Board(fen), text).uci()
    except EntryError:
        return None


def from_an_engine(fen: str, text: str) -> str | None:
    return text if legal_part(chess.Board(fen), [text]) else None


@pytest.mark.parametrize(
    ("fen", "text"),
    [(fen, text) for fen, text, _ in (*SAME_FROM_ALL, *OF_PEOPLE)],
    ids=lambda part: repr(part),
)
def test_whoever_reads_a_text_reads_the_same(fen: str, text: str) -> None:
    def move(source: Source) -> str | None:
        found = outcome(fen, text, source)
        return found if isinstance(found, str) else None

    assert in_games(fen, text) == in_a_line(fen, text) == move(PGN)
    assert in_a_deck(fen, text) == (None if "e.p." in text else move(PGN))  # a deck is told to leave it out
    assert typed(fen, text) == move(TYPED)
    assert bool(from_an_engine(fen, text)) == bool(move(ENGINE))


MESSAGES = [
    ("xyzzy", START, "'xyzzy' is not a move: write it like a3 or a2a3"),
    ("--", START, "'--' is a null move, which chess does not have"),
    ("Ne4", START, "'Ne4' is not legal: no white knight can go to e4; a knight can go Na3, Nc3, Nf3, Nh3"),
    (
        "e5",
        START,
        "'e5' is not legal: no white pawn can go to e5; a pawn can go a3, a4, b3, b4, c3, c4, d3, d4 ...",
    ),
    ("Nbf3", START, "no white knight on the b-file can go to f3; a knight can go"),
    ("N2f3", START, "no white knight on rank 2 can go to f3; a knight can go"),
    ("Nb2f3", START, "no white knight on b2 can go to f3; a knight can go"),
    ("Qd4", START, "no white queen can go to d4; no queen of yours can move"),
    ("Qa1", CHECKED, "no white queen can go to a1; no queen of yours can move out of this check"),
    ("bxc3", START, "no white pawn on the b-file can go to c3; a pawn can go"),
    ("e3e4", START, "'e3e4' is not legal: e3 is empty"),
    ("e7e5", START, "'e7e5' is not legal: the man on e7 is not yours"),
    ("g1g3", START, "the knight on g1 can't go to g3; the knight on g1 can go Nf3, Nh3"),
    ("a1a3", START, "the rook on a1 can't go to a3; the rook on a1 can't move"),
    ("d1a1", CHECKED, "the queen on d1 can't move out of this check"),
    ("O-O", START, "castling is not possible; the king can't castle that way now"),
    ("e4=Q", START, "'e4=Q' is not legal: nothing is promoted there; write e4"),
    ("e2e4q", START, "nothing is promoted there; write e4"),
    ("b7=Q", PROMOTION, "no white pawn can go to b7"),
    ("Rd1", ROOKS, "'Rd1' is ambiguous: Rad1 or Rhd1; say which"),
    ("Ra3", ROOKS, "'Ra3' is ambiguous: R1a3 or R4a3; say which"),
    ("bc3", PAWN_OR_BISHOP, "'bc3' is ambiguous: bxc3 or Bxc3; say which"),
    ("a8", PROMOTION, "'a8' is ambiguous: a8=Q, a8=R, a8=B or a8=N; say what the pawn becomes"),
    ("a7a8", PROMOTION, "'a7a8' is ambiguous: a8=Q, a8=R, a8=B or a8=N; say what the pawn becomes"),
    ("x" * 99, START, "'xxxxxxxxxxxxxxxxx...' is not a move"),
    ("\x1b[2J", START, "'\ufffd[2J' is not a move"),
    ("Ra8", "R5k1/5ppp/8/8/8/8/8/6K1 b - - 0 1", "no black rook can go to a8; no rook of yours can move"),
    ("y", "R5k1/5ppp/8/8/8/8/8/6K1 b - - 0 1", "write it like a3 or a2a3"),
    # The first of the legal moves is the one to find.
    ("y", "6k1/8/8/q7/8/8/8/2K4R b - - 0 1", "write it like a3 or a2a3"),
]


@pytest.mark.parametrize(("text", "fen", "says"), MESSAGES)
def test_an_error_quotes_the_text_and_says_what_would_be_right(text: str, fen: str, says: str) -> None:
    with pytest.raises(MoveError) as raised:
        read_move(chess.Board(fen), text, PGN)
    assert says in str(raised.value)


def test_an_engine_is_told_only_what_engines_write() -> None:
    with pytest.raises(InvalidMove, match=r"'Nf3' is not a move: write it like a2a3$"):
        read_move(chess.Board(), "Nf3", ENGINE)


def test_a_message_offers_few_moves_of_many() -> None:
    with pytest.raises(IllegalMove, match=r"can go Kd2, Kd3, Kd4, Ke2, Ke4, Kf2, Kf3, Kf4$"):
        read_move(chess.Board("6k1/8/8/8/8/4K3/8/8 w - - 0 1"), "Kh8", PGN)


@pytest.mark.parametrize("text", ["Nf3" + "+" * (LONGEST - 3), "Nf3" + "+" * (LONGEST - 2)])
def test_a_move_is_not_longer_than_any_move(text: str) -> None:
    assert outcome(START, text, PGN) == ("g1f3" if len(text) <= LONGEST else INVALID)


def test_every_legal_move_is_read_in_every_notation() -> None:
    seen = 0
    for board in wandered(seed=11, games=3):
        for move in board.legal_moves:
            san = board.san(move)
            spellings = {san, board.lan(move), move.uci(), san.rstrip("+#"), san.replace("O", "0")}
            if san[0] not in "bB":  # bc3 may be a pawn's move or a bishop's
                spellings |= {san.replace("x", ""), san.lower()}
            for source in (PGN, TYPED):
                assert {read_move(board, text, source) for text in spellings} == {move}, (board.fen(), san)
            assert read_move(board, move.uci(), ENGINE) == move
            seen += 1
    assert seen > 5_000
