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
