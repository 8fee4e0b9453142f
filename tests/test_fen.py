"""Positions from text: what is read, and that a bad one is told field by field and square by square."""

from __future__ import annotations

import chess
import pytest
from hypothesis import given
from hypothesis import strategies as st

from patterns.reading.fen import _STATUS_WORDS, FenError, board_from_fen

START = chess.STARTING_FEN


@pytest.mark.parametrize(
    ("text", "fen"),
    [
        (START, START),
        (f"  {START}\n", START),
        ("8/8/4k3/8/8/4K3/8/7R b - -", "8/8/4k3/8/8/4K3/8/7R b - - 0 1"),
        ("4k3/8/8/3pP3/8/8/8/4K3 w - d6 0 30", "4k3/8/8/3pP3/8/8/8/4K3 w - d6 0 30"),
    ],
)
def test_reads_full_and_four_field_positions(text: str, fen: str) -> None:
    assert board_from_fen(text).fen(en_passant="fen") == fen


NOT_A_FEN = [
    ("", ["nothing there"]),
    ("8/8", ["1 field, not 6"]),
    ("8/8/8/8/8/8/8 w - -", ["7 ranks, not 8"]),
    ("4k3/8/9/8/8/8/8/4K3 w - -", ["rank 6", "'9'"]),
    ("4k3/8/8/8/8/44/8/4K3 w - -", ["rank 3", "side by side"]),
    ("4k3/8/8/8/8/8/8/4K2 w - -", ["rank 1", "7 squares"]),
    ("4k3/8/8/8/8/8/8/4K3 white KX e4 a b", ["'white'", "'KX'", "'e4'", "clock", "move number"]),
]


@pytest.mark.parametrize(("text", "named"), NOT_A_FEN)
def test_names_every_misspelt_field(text: str, named: list[str]) -> None:
    with pytest.raises(FenError, match=r"^not a FEN: ") as raised:
        board_from_fen(text)
    for part in named:
        assert part in str(raised.value)


KINGS = "4k3/8/8/8/8/8/8/4K3"

FIELDS = [  # one fault each, in the words of the whole message: PGN standard, section 16.1.3
    (" ", "there is nothing there"),
    (KINGS, "1 field, not 6 (placement, side to move, castling, en passant, two counters)"),
    (f"{KINGS} w -", "3 fields, not 6 (placement, side to move, castling, en passant, two counters)"),
    (f"{KINGS} w - - 0", "5 fields, not 6 (placement, side to move, castling, en passant, two counters)"),
    (f"{KINGS} w - - 0 1 x", "7 fields, not 6 (placement, side to move, castling, en passant, two counters)"),
    ("8 w - -", "the placement has 1 rank, not 8"),
    (f"{KINGS}/8 w - -", "the placement has 9 ranks, not 8"),
    (f"{KINGS}/ w - -", "the placement has 9 ranks, not 8"),
    ("k/8/8/8/8/8/8/4K3 w - -", "rank 8 ('k') has 1 square, not 8"),
    ("4k3//8/8/8/8/8/4K3 w - -", "rank 7 ('') has 0 squares, not 8"),
    ("4k3/8/8/8/8/8/8/4K4 w - -", "rank 1 ('4K4') has 9 squares, not 8"),
    ("4k3/8/8/8/8/8/p11p4/4K3 w - -", "rank 2 ('p11p4') has two numbers side by side"),
    ("4k3/8/8/8/8/8/0p7/4K3 w - -", "rank 2 ('0p7') has '0', no piece letter"),
    ("4k3/8/8/8/8/8/z9x/4K3 w - -", "rank 2 ('z9x') has '9', 'x', 'z', no piece letter"),
    (f"{KINGS} W - -", "side to move is w or b, not 'W'"),
    (f"{KINGS} w kK -", "castling is - or some of KQkq in that order, not 'kK'"),
    (f"{KINGS} w QK -", "castling is - or some of KQkq in that order, not 'QK'"),
    (f"{KINGS} w KQkq- -", "castling is - or some of KQkq in that order, not 'KQkq-'"),
    (f"{KINGS} w - e5", "en passant is - or a square of rank 3 or 6, not 'e5'"),
    (f"{KINGS} w - i3", "en passant is - or a square of rank 3 or 6, not 'i3'"),
    (f"{KINGS} w - e", "en passant is - or a square of rank 3 or 6, not 'e'"),
    (f"{KINGS} w - - 12345 1", "the half-move clock is a number, not '12345'"),
    (f"{KINGS} w - - -1 1", "the half-move clock is a number, not '-1'"),
    (f"{KINGS} w - - 0 1.", "the move number is a number, not '1.'"),
]


@pytest.mark.parametrize(("text", "fault"), FIELDS)
def test_names_the_fault_of_a_field(text: str, fault: str) -> None:
    with pytest.raises(FenError) as raised:
        board_from_fen(text)
    assert str(raised.value) == f"not a FEN: {fault}"


@pytest.mark.parametrize("castling", ["-", "K", "Q", "k", "q", "KQ", "Kk", "Qq", "kq", "KQkq"])
@pytest.mark.parametrize("turn", ["w", "b"])
def test_reads_every_sort_of_castling_and_side(castling: str, turn: str) -> None:
    fen = f"r3k2r/8/8/8/8/8/8/R3K2R {turn} {castling} - 9999 1234"
    assert board_from_fen(fen).fen() == fen


@pytest.mark.parametrize("fen", ["4k3/8/8/8/4Pp2/8/8/4K3 b - e3 0 1", "4k3/8/8/pP6/8/8/8/4K3 w - a6 0 1"])
def test_reads_en_passant_of_either_side(fen: str) -> None:
    assert board_from_fen(fen).fen() == fen


POSSIBLE = [
    "4k3/pppppppp/8/8/8/8/PPPPPPPP/4K3 w - -",
    "rnbqkbnr/pppppppp/8/8/8/8/PPPPPPPP/RNBQKBNR w KQkq -",
    "4k3/8/3N4/8/8/8/8/4R1K1 b - -",
]


@pytest.mark.parametrize("text", POSSIBLE)
def test_reads_positions_at_the_limit(text: str) -> None:
    assert board_from_fen(text).fen() == f"{text} 0 1"


TOLD = [
    ("4k3/8/8/8/8/8/8/8 b - -", "White has no king"),
    ("8/8/8/8/8/8/8/4K3 w - -", "Black has no king"),
    ("4k3/8/8/8/8/8/8/K3K3 w - -", "two or more kings of one side (a1, e1, e8)"),
    ("4k2P/8/8/8/8/8/8/p3K3 w - -", "a pawn on a1, h8"),
    ("4k2r/8/8/8/8/8/8/4K3 w KQkq -", "castling KQq without king and rook at home"),
    ("r2k3r/8/8/8/8/8/8/R3K2R w KQkq -", "castling kq without king and rook at home"),
    ("4k3/8/8/8/8/8/8/1R2K3 w Q -", "castling Q without king and rook at home"),
    ("4k3/8/8/4P3/8/8/8/4K3 w - d6", "en passant on d6, but no pawn has just passed it"),
    ("4k3/8/8/8/8/8/8/4R1K1 w - -", "the side that is not to move is in check (e8)"),
    (
        "4k3/8/3N1N2/8/8/8/8/4R1K1 b - -",
        "check from e1, d6, f6: more than two at once; check from e1, d6, f6: no move could have given it",
    ),
    ("4R3/8/8/4k3/8/8/8/4R1K1 b - -", "check from e1, e8: no move could have given it"),
]


@pytest.mark.parametrize(("text", "reason"), TOLD)
def test_words_name_the_squares(text: str, reason: str) -> None:
    with pytest.raises(FenError) as raised:
        board_from_fen(text)
    assert str(raised.value) == f"impossible position: {reason}"


IMPOSSIBLE = {
    chess.STATUS_NO_WHITE_KING: ("4k3/8/8/8/8/8/8/8 b - -", "White has no king"),
    chess.STATUS_NO_BLACK_KING: ("8/8/8/8/8/8/8/4K3 w - -", "Black has no king"),
    chess.STATUS_TOO_MANY_KINGS: ("4k3/8/8/8/8/8/8/K3K3 w - -", "a1, e1, e8"),
    chess.STATUS_TOO_MANY_WHITE_PAWNS: ("4k3/8/8/8/8/P7/PPPPPPPP/4K3 w - -", "White has more than 8 pawns"),
    chess.STATUS_TOO_MANY_BLACK_PAWNS: ("4k3/pppppppp/p7/8/8/8/8/4K3 w - -", "Black has more than 8 pawns"),
    chess.STATUS_TOO_MANY_WHITE_PIECES: (
        "4k3/8/8/8/N7/NNNNNNNN/PPPPPPPP/4K3 w - -",
        "White has more than 16 men",
    ),
    chess.STATUS_TOO_MANY_BLACK_PIECES: (
        "4k3/pppppppp/nnnnnnnn/n7/8/8/8/4K3 w - -",
        "Black has more than 16 men",
    ),
    chess.STATUS_PAWNS_ON_BACKRANK: ("4k2P/8/8/8/8/8/8/p3K3 w - -", "a1, h8"),
    chess.STATUS_BAD_CASTLING_RIGHTS: ("4k2r/8/8/8/8/8/8/4K3 w Kk -", "castling K"),
    chess.STATUS_INVALID_EP_SQUARE: ("4k3/8/8/4P3/8/8/8/4K3 w - d6", "d6"),
    chess.STATUS_OPPOSITE_CHECK: ("4k3/8/8/8/8/8/8/4R1K1 w - -", "in check (e8)"),
    chess.STATUS_TOO_MANY_CHECKERS: ("4k3/8/3N1N2/8/8/8/8/4R1K1 b - -", "e1, d6, f6"),
    chess.STATUS_IMPOSSIBLE_CHECK: ("4R3/8/8/4k3/8/8/8/4R1K1 b - -", "e1, e8"),
}


@pytest.mark.parametrize("flag", _STATUS_WORDS)
def test_names_every_reason_why_a_position_cannot_arise(flag: chess.Status) -> None:
    fen, words = IMPOSSIBLE[flag]
    assert chess.Board(f"{fen} 0 1").status() & flag
    with pytest.raises(FenError, match=r"^impossible position: ") as raised:
        board_from_fen(fen)
    assert words in str(raised.value)


def test_every_fault_that_the_rules_library_knows_for_standard_chess_has_words() -> None:
    variants_only = chess.STATUS_RACE_CHECK | chess.STATUS_RACE_OVER | chess.STATUS_RACE_MATERIAL
    implied = chess.STATUS_EMPTY  # no men: no kings either
    known = [flag for flag in chess.Status if flag and not flag & (variants_only | implied)]
    assert len(known) == len(_STATUS_WORDS) == 13
    assert set(known) == set(_STATUS_WORDS)


def test_tells_several_reasons_at_once() -> None:
    with pytest.raises(FenError) as raised:
        board_from_fen("P6p/8/8/8/8/8/8/4K3 w k -")
    assert str(raised.value).count(";") == 2


@given(st.lists(st.sampled_from("pnbrqkPNBRQK12345678/w -abh36"), max_size=60).map("".join))
def test_any_text_gives_a_legal_position_or_a_fen_error(text: str) -> None:
    try:
        board = board_from_fen(text)
    except FenError:
        return
    assert board.is_valid()
