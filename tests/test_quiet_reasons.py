"""What a move gives away besides men: for every clause a row that fails without it."""

from __future__ import annotations

import chess
import pytest

from patterns.lines.quiet_reasons import quiet_reasons
from patterns.proof.played_line import own_moves_of, parse_line


def told(fen: str, moves: str, wins: float = 0.0) -> list[tuple[int, str]]:
    """The ply and the motif of each reason. The first of the moves is the one that gives something away."""
    board = chess.Board(f"{fen} 0 30")
    move, *line = parse_line(board, moves)
    after = board.copy()
    after.push(move)
    return [(use.ply, use.motif) for use in quiet_reasons(board, move, own_moves_of(after, line), wins)]


BARE = "6k1/5ppp/8/8/8/4q3/P7/R5K1 w - -"
"""White's king has no pawn before it, and Black a queen."""

OPEN_KING: dict[str, tuple[str, str, list[tuple[int, str]]]] = {
    "a check and a queen that comes near": (BARE, "Kh1 Qf3+ Kg1 Kf8 a3 Qg4+", [(1, "open-king")]),
    "the queen is traded": (
        "6k1/7p/8/8/8/4q3/P6Q/R5K1 w - -", "Qf2 Qg5+ Kh1 Qh4+ Qxh4 h6", []
    ),
    "in the centre": (
        "6k1/5ppp/8/8/7q/8/P7/R3K3 w - -", "Kd1 Qd4+ Ke1 Kf8 a3 Qe3+", [(1, "king-in-centre")]
    ),
    "one of them": (BARE, "Kh1 Qf3+ Kg1 Kf8 a3 g6", []),
    "the second comes too late": (BARE, "Kh1 Qf3+ Kg1 Kf8 a3 g6 a4 h6 a5 Qg4+", []),
    "with the fourth move": (BARE, "Kh1 Qf3+ Kg1 Kf8 a3 g6 a4 Qg4+", [(1, "open-king")]),
    "it was near before": (BARE, "Kh1 Qe2 a3 Qg4 a4 h6", []),
    "one pawn": (
        "6k1/4qppp/8/8/8/8/P5P1/R5K1 w - -", "Kh1 Qe4 a3 Qh4+ Kg1 h6", [(1, "open-king")]
    ),
    "two pawns": ("6k1/4qppp/8/8/8/8/P5PP/R5K1 w - -", "Kh1 Qe2 a3 Qf1+ Rxf1 h6", []),
    "pawns on other files": (BARE.replace("P7", "PP6"), "Kh1 Qf3+ Kg1 Kf8 a3 Qg4+", [(1, "open-king")]),
    "pawns far away": (BARE.replace("8/4q3", "6PP/4q3"), "Kh1 Qf3+ Kg1 Kf8 a3 Qg4+", [(1, "open-king")]),
    "without a queen": ("6k1/7p/8/8/8/4r3/P7/R5K1 w - -", "Kh1 Re1+ Rxe1 h6", []),
    "two checks without a queen": (
        "6k1/7p/8/8/8/r7/1r6/4R2K w - -", "Kg1 Rg3+ Kh1 Rh3+ Kg1 h6", []
    ),
    "three checks without a queen": (
        "6k1/7p/8/8/8/r7/1r6/4R2K w - -", "Kg1 Rg3+ Kh1 Rh3+ Kg1 Rg3+ Kf1 h6", [(1, "open-king")]
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", OPEN_KING)
def test_an_attack_on_an_open_king(name: str) -> None:
    fen, moves, expected = OPEN_KING[name]
    assert told(fen, moves) == expected


ATTACK = "3qk3/8/8/6p1/7p/8/5PPP/6K1 w - -"

LEVER: dict[str, tuple[str, str, list[tuple[int, str]]]] = {
    "it hits a pawn": ("4k3/2p5/8/8/1P6/8/8/4K3 w - -", "b5 c6 Ke2 Ke7", [(1, "pawn-lever")]),
    "with the second move": ("4k3/2p5/8/8/1P6/8/8/4K3 w - -", "b5 Ke7 Ke2 c6", [(2, "pawn-lever")]),
    "with the third": ("4k3/2p5/8/8/1P6/8/8/4K3 w - -", "b5 Ke7 Ke2 Ke8 Ke1 c6", []),
    "a piece": ("4k3/2p5/8/1N6/8/8/8/4K3 w - -", "Ke2 c6", []),
    "it takes": ("4k3/2p5/1N6/P7/8/8/8/4K3 w - -", "Ke2 cxb6", []),
    "a piece that hits a pawn": ("4k3/2n5/8/8/1P6/8/8/4K3 w - -", "b5 Nd5 Ke2 Nc3", []),
    "a pawn of its own": ("4k3/2p5/3p4/4P3/8/8/8/4K3 w - -", "Ke2 c6", []),
}


@pytest.mark.parametrize("name", LEVER)
def test_a_pawn_lever(name: str) -> None:
    fen, moves, expected = LEVER[name]
    assert [(ply, motif) for ply, motif in told(fen, moves) if motif == "pawn-lever"] == expected


STORM: dict[str, tuple[str, str, list[tuple[int, str]]]] = {
    "two pawn moves": (ATTACK, "f3 h3 g3 g4", [(2, "pawn-storm")]),
    "the second is the third move": (ATTACK, "f3 h3 g3 Ke7 Kf1 g4", [(3, "pawn-storm")]),
    "the second comes later": (ATTACK, "f3 h3 g3 Ke7 Kf1 Ke8 Kg1 g4", []),
    "one takes a pawn": (ATTACK, "f3 h3 gxh3 g4 hxg4", [(2, "pawn-storm")]),
    "one takes a knight": (ATTACK.replace("8/5PPP", "5N2/5PPP"), "Kf1 g4 Ke1 gxf3", []),
    "on the other wing": ("3qk3/1p6/p7/8/8/8/5PPP/6K1 w - -", "f3 a5 g3 b5", []),
    "the king in the centre": ("3qk3/8/8/5pp1/8/8/5PPP/4K3 w - -", "f3 g4 g3 f4", []),
    "no queen": (ATTACK.replace("3q", "3n"), "f3 h3 g3 g4", []),
}


@pytest.mark.parametrize("name", STORM)
def test_a_pawn_storm(name: str) -> None:
    fen, moves, expected = STORM[name]
    assert [one for one in told(fen, moves) if one[1] != "pawn-lever"] == expected


FILES: dict[str, tuple[str, str, list[tuple[int, str]]]] = {
    "an exchange opens the file of a rook": (
        "r3k3/p6p/1p6/P7/8/8/5PPP/5RK1 w - -", "axb6 axb6 Rd1 Ra2", [(1, "open-file")],
    ),
    "of a queen that comes": (
        "3qk3/p6p/1p6/P7/8/8/5PPP/5RK1 w - -", "axb6 axb6 Rd1 Qa8", [(1, "open-file")],
    ),
    "nobody comes": ("3qk3/p6p/1p6/P7/8/8/5PPP/5RK1 w - -", "axb6 axb6 Rd1 Qb8", []),
    "another pawn is left on it": (
        "r3k3/p6p/pp6/P7/8/8/1P3PPP/5RK1 w - -", "axb6 axb6 Rd1 Ra7", []
    ),
    "no pawn takes back": ("r3k3/7p/1p6/P7/8/8/5PPP/5RK1 w - -", "axb6 h6 Rd1 Ra2", []),
    "a piece takes back": ("3rk3/p6p/1r6/P7/8/8/5PPP/5RK1 w - -", "axb6 Rd6 b7 Ra6", []),
    "the pawn does not take": ("r3k3/7p/1p6/P7/8/8/5PPP/5RK1 w - -", "a6 b5 Rd1 Rxa6", []),
    "a rook goes to an open file": ("r3k3/7p/p7/8/8/8/5PPP/5RK1 w - -", "h3 Rd8", [(1, "open-file")]),
    "where a pawn stands": ("r3k3/3p3p/p7/8/8/8/5PPP/5RK1 w - -", "h3 Rd8", []),
    "with check": ("r3k3/7p/p7/8/8/8/5PPP/2R2K2 w - -", "Rd1 Rb8 Kg1 Rb1", [(1, "open-file")]),
    "a rook on its file": ("3rk3/7p/p7/8/8/8/5PPP/5RK1 w - -", "h3 Rd2", []),
    "a queen": ("q3k3/7p/p7/8/8/8/5PPP/5RK1 w - -", "h3 Qd8", []),
}  # fmt: skip


@pytest.mark.parametrize("name", FILES)
def test_open_files(name: str) -> None:
    fen, moves, expected = FILES[name]
    assert told(fen, moves) == expected


def test_a_rook_that_takes_or_checks_does_not_go_to_a_file() -> None:
    fen = "r3k3/7p/p7/8/8/8/5PP1/3N2K1 w - -"
    assert told(fen, "f3 Rd8 Ne3 Rd2") == [(1, "open-file")]
    assert told(fen.replace("r3k3", "k2r4"), "f3 Rxd1+") == []
    assert told("r3k3/7p/p7/8/8/8/6P1/1N1K4 w - -", "g3 Rd8+") == []


TRADE = "4k3/pp5p/2n5/8/3N4/8/PP5P/4K3 b - -"

WEAK: dict[str, tuple[str, str, float, list[tuple[int, str]]]] = {
    "isolated": (TRADE.replace("pp5p", "3pp3"), "Kf8 Nxc6 dxc6 Ke2", 0, [(1, "isolated-pawn")]),
    "it was before": (TRADE.replace("pp5p", "3p3p"), "Kf8 Nxc6 dxc6 Ke2", 0, []),
    "it has a neighbour": (TRADE.replace("pp5p", "1p1pp3"), "Kf8 Nxc6 dxc6 Ke2", 0, []),
    "doubled": (TRADE.replace("pp5p", "ppp4p"), "h6 Nxc6 bxc6 Ke2", 0, [(1, "doubled-pawns")]),
    "in the second exchange": (
        TRADE.replace("pp5p", "ppp4p"), "h6 Ke2 h5 Nxc6 bxc6 a3", 0, [(2, "doubled-pawns")],
    ),
    "later": (TRADE.replace("pp5p", "ppp4p"), "h6 Ke2 h5 Ke3 h4 Nxc6 bxc6 a3", 0, []),
    "the line wins something": (TRADE.replace("pp5p", "ppp4p"), "h6 Nxc6 bxc6 Ke2", 1, []),
    "a piece takes back": (TRADE.replace("pp5p", "p2b3p"), "h6 Nxc6 Bxc6 Ke2", 0, []),
    "a pawn takes elsewhere": ("4k3/1pp4p/2n5/8/8/1N6/2P4P/4K3 b - -", "h6 Nc5 b6 Nb3", 0, []),
}  # fmt: skip


@pytest.mark.parametrize("name", WEAK)
def test_pawns_that_take_back_and_are_weak(name: str) -> None:
    fen, moves, wins, expected = WEAK[name]
    assert told(fen, moves, wins) == expected


@pytest.mark.parametrize(
    ("fen", "moves", "expected"),
    [
        ("3qk3/5ppp/8/8/PP6/8/6P1/3QK3 b - -", "Qxd1+ Kxd1 h5 a5", [(2, "passed-pawn")]),
        ("3qk3/5ppp/8/8/PP6/8/6P1/3QK3 b - -", "Qe7+ Kf2 h5 a5", []),  # the queens are still there
        ("3qk3/p4ppp/8/8/PP6/8/6P1/3QK3 b - -", "Qxd1+ Kxd1 h5 b5", []),  # they are not passed
        ("3qk3/5ppp/8/8/P1P5/8/6P1/3QK3 b - -", "Qxd1+ Kxd1 h5 a5", []),  # nor side by side
        ("3qk3/5ppp/8/8/8/8/PP4P1/3QK3 w - -", "Qxd8+ Kxd8 g3 h5", []),  # they are the player's own
    ],
)
def test_passed_pawns_in_the_ending(fen: str, moves: str, expected: list[tuple[int, str]]) -> None:
    assert told(fen, moves) == expected


def test_a_line_without_moves_has_no_reason() -> None:
    board = chess.Board()
    assert quiet_reasons(board, chess.Move.from_uci("e2e4"), (), 0) == []
