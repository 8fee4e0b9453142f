"""What the moves of a line plainly do: for every clause a row that fails without it."""

from __future__ import annotations

import chess
import pytest

from patterns.lines.plain_reasons import Taken, plain_reasons
from patterns.proof.played_line import own_moves_of, parse_line

Told = list[tuple[str, str]]


def first_of(fen: str, line: str, taken: Taken | None = None) -> Told:
    """What the first move does: motifs, and targets as one word."""
    board = chess.Board(f"{fen} 0 30")
    every = plain_reasons(own_moves_of(board, parse_line(board, line)), taken)
    return [(use.motif, " ".join(use.targets)) for use in every if use.ply == 1]


ROOKS = "4k3/8/2r3r1/8/8/3N4/8/4K3 w - -"
GUARDED = "4k3/5p2/2r3b1/8/8/3N4/8/4K3 w - -"
"""A knight that comes to e5 attacks the rook, and a bishop that a pawn guards."""

QUEEN = "4q1k1/8/8/8/n2N4/3B4/8/5K2 w - -"
"""A bishop that comes to b5 attacks the queen and an unguarded knight."""

FORKS: dict[str, tuple[str, str, Told]] = {
    "two rooks, one falls": (ROOKS, "Ne5 Rb6 Nxg6", [("fork", "c6 g6")]),
    "it falls with the third move": (ROOKS, "Ne5 Rc1+ Ke2 Rb1 Nxg6", [("fork", "c6 g6")]),
    "it falls later": (ROOKS, "Ne5 Rc1+ Ke2 Rc2+ Kd3 Rb2 Nxg6", []),
    "nothing falls": (ROOKS, "Ne5 Rb6 Kd2 Rgd6+", []),
    "only one is attacked": ("4k3/8/2r5/8/8/3N4/8/4K3 w - -", "Ne5 Kd8 Nxc6+", []),
    "king and rook": ("4k3/8/8/1r6/2N5/8/8/4K3 w - -", "Nd6+ Ke7 Nxb5", [("fork", "b5 e8")]),
    "a pawn beside a rook": ("k7/5p2/2r5/8/8/3N4/8/4K3 w - -", "Ne5 Rb6 Nxf7", [("fork", "c6 f7")]),
    "only pawns": ("4k3/8/2p3p1/8/8/3N4/8/4K3 w - -", "Ne5 c5 Nxg6", []),
    "the king and a pawn": ("4k3/8/8/1p6/2N5/8/8/4K3 w - -", "Nd6+ Ke7 Nxb5", []),
    "a guarded bishop is not attacked with profit": (GUARDED, "Ne5 Rb6 Kd2 Bf5 Nxf7", []),
    "but the knight takes it next": (GUARDED, "Ne5 Rb6 Nxg6", [("fork", "c6 g6")]),
    "at a loss": (GUARDED.replace("2r3b1", "2r3p1"), "Ne5 Rb6 Nxg6", []),
    "a king does not fork": ("8/1n1n4/8/1K6/8/8/8/7k w - -", "Kc6 Kg1 Kxb7", []),
    "the knight is taken": ("4k3/8/2r2pr1/8/8/3N4/8/4K1R1 w - -", "Ne5 fxe5 Rxg6", []),
    "by one that it attacks, and that falls for it": (QUEEN, "Bb5 Qxb5 Nxb5", [("fork", "a4 e8")]),
    "by one that it attacks, and that stays": (
        QUEEN.replace("5K2", "R4K2"),
        "Bb5 Qxb5+ Kg1 Qb6 Rxa4",
        [],
    ),
    "by another, which is taken": (
        "4k3/8/2r2pr1/8/8/3N4/6R1/4RK2 w - -",
        "Ne5 fxe5 Rxe5+ Kf7 Rxg6",
        [],
    ),
    "another man takes next": ("4k3/5p2/2r3b1/7B/8/3N4/8/4K3 w - -", "Ne5 Rb6 Bxg6 fxg6", []),
}


@pytest.mark.parametrize("name", FORKS)
def test_forks(name: str) -> None:
    fen, line, expected = FORKS[name]
    assert [(motif, targets) for motif, targets in first_of(fen, line) if motif == "fork"] == expected


BEFORE_QUEEN = "2n3q1/7k/8/8/8/8/8/R6K w - -"
IN_THE_CORNER = "8/r7/8/8/k7/8/5K2/7R w - -"

LINED_UP: dict[str, tuple[str, str, Told]] = {
    "on a file": ("4k3/8/8/4n3/8/8/8/R5K1 w - -", "Re1 Kd7 Rxe5", [("pin-on-file", "e5 e8")]),
    "on a diagonal": ("k2q4/8/5n2/8/8/8/8/2B3K1 w - -", "Bg5 Kb8 Bxf6", [("pin-on-diagonal", "f6 d8")]),
    "on a rank": (BEFORE_QUEEN, "Ra8 Kh6 Rxc8", [("pin-on-rank", "c8 g8")]),
    "neither falls": (BEFORE_QUEEN, "Ra8 Kh6 Kh2 Qg3+ Kh1", []),
    "a pawn is not pinned": ("7k/8/2p3q1/8/8/8/8/R6K w - -", "Ra6 Kh7 Rxc6", []),
    "to a rook that is guarded": (BEFORE_QUEEN.replace("q", "r"), "Ra8 Kh6 Rxc8", []),
    "to a rook that is not": ("2n3r1/8/7k/8/8/8/8/R6K w - -", "Ra8 Kg5 Rxc8", [("pin-on-rank", "c8 g8")]),
    "the slider is taken": ("1k2n3/8/8/8/8/8/8/R3r2K w - -", "Rxe1 Kc8 Rxe8+", []),
    "the slider is taken, and the man falls": (
        "k2q4/8/5n1p/7N/8/8/8/2B3K1 w - -",
        "Bg5 hxg5 Nxf6",
        [],
    ),
    "only the man in front falls": ("6k1/8/8/4n3/3r4/8/8/2B3K1 w - -", "Bb2 Kf8 Bxd4", []),
    "the man in front need not go, but goes": ("k2b4/8/5n2/8/8/8/8/2B3K1 w - -", "Bg5 Nd5 Bxd8", []),
    "a skewer": (IN_THE_CORNER, "Ra1+ Kb5 Rxa7", [("skewer", "a4 a7")]),
    "the one behind does not fall": (IN_THE_CORNER, "Ra1+ Kb5 Rb1+ Ka6", []),
    "a guarded man in front need not go": ("k2b4/8/5n2/8/8/8/8/2B3K1 w - -", "Bg5 Kb8 Bxf6", []),
}


@pytest.mark.parametrize("name", LINED_UP)
def test_pins_and_skewers(name: str) -> None:
    fen, line, expected = LINED_UP[name]
    told = [(motif, targets) for motif, targets in first_of(fen, line) if motif != "loose-piece"]
    assert [(motif, {*targets.split()}) for motif, targets in told] == [
        (motif, {*targets.split()}) for motif, targets in expected
    ]


BOUND = "6k1/8/2n5/4b3/1P6/8/8/4R1K1 w - -"

REMOVED: dict[str, tuple[str, str, Told]] = {
    "taken": ("6k1/6p1/5n1p/3b2B1/8/8/8/3R2K1 w - -", "Bxf6 gxf6 Rxd5", [("removed-defender", "d5 f6")]),
    "taken for nothing": ("6k1/8/5n2/3b2B1/8/8/8/3R2K1 w - -", "Bxf6 Kf7 Rxd5", [("loose-piece", "f6")]),
    "drawn off": (
        "6k1/6p1/5n1p/8/8/8/3Q4/5RK1 w - -",
        "Rxf6 gxf6 Qxh6",
        [("removed-defender", "h6 g7")],
    ),
    "driven off": (BOUND, "b5 Na5 Rxe5", [("removed-defender", "e5 c6")]),
    "it goes by itself": (BOUND, "Kf1 Na5 Rxe5", []),
    "it still guards": ("6k1/2q5/8/1P2b3/8/8/8/4R1NK w - -", "b6 Qd6 Nf3 Kf8 Nxe5", []),
    "on a square where a man of ours stood": (
        "6k1/8/2n5/4N3/1P6/8/8/4R1K1 w - -",
        "b5 Nxe5 Rxe5",
        [],
    ),
    "nothing falls": (BOUND, "b5 Nd8 Kf1 Nf7", []),
    "it could be taken before": (BOUND.replace("4b3", "4q3"), "b5 Na5 Rxe5", []),
    "another guards it": (BOUND.replace("2n5", "2n2p2"), "b5 Na5 Rxe5 fxe5", []),
}


@pytest.mark.parametrize("name", REMOVED)
def test_removed_defenders(name: str) -> None:
    fen, line, expected = REMOVED[name]
    assert first_of(fen, line) == expected


BISHOP = "6k1/p7/8/8/2b5/3P4/8/R5K1 w - -"
TOOK_A_KNIGHT = Taken(chess.C4, 3)
HANGS = ("loose-piece", "a7")
BEFORE = ("in-between-move", "c4")

IN_BETWEEN: dict[str, tuple[str, str, Taken | None, Told]] = {
    "a capture": (BISHOP, "Rxa7 Kf8 dxc4", TOOK_A_KNIGHT, [BEFORE, HANGS]),
    "a check": (BISHOP.replace("p7", "8"), "Ra8+ Kf7 dxc4", TOOK_A_KNIGHT, [BEFORE]),
    "a quiet move": (BISHOP, "Kf2 Kf8 dxc4", TOOK_A_KNIGHT, []),
    "they took nothing": (BISHOP, "Rxa7 Kf8 dxc4", None, [HANGS]),
    "the bishop gets away": (BISHOP, "Rxa7 Bxd3 Ra3 Bf5", TOOK_A_KNIGHT, [HANGS]),
    "it could not be taken": (
        BISHOP.replace("3P4/8", "8/1P6"),
        "Rxa7 Kf8 b3 Ke8 bxc4",
        TOOK_A_KNIGHT,
        [HANGS],
    ),
    "it is taken at once": (BISHOP, "dxc4 Kf8", TOOK_A_KNIGHT, []),
}


@pytest.mark.parametrize("name", IN_BETWEEN)
def test_in_between_moves(name: str) -> None:
    fen, line, taken, expected = IN_BETWEEN[name]
    assert first_of(fen, line, taken) == expected


def told_of(fen: str, line: str, taken: Taken | None = None) -> str:
    """How the note on the first move ends, if it takes a loose man; empty if it does not."""
    board = chess.Board(f"{fen} 0 30")
    every = plain_reasons(own_moves_of(board, parse_line(board, line)), taken)
    return next(
        (use.note.rpartition(", ")[2] for use in every if use.motif == "loose-piece" and use.ply == 1), ""
    )


PAWN_TAKES = "6k1/8/8/2r5/1P6/8/8/6K1 w - -"


@pytest.mark.parametrize(
    ("fen", "line", "taken", "why"),
    [
        ("6k1/8/8/2p5/8/8/8/2R3K1 w - -", "Rxc5", None, "which nothing guards."),
        ("6k1/8/3p4/2q5/8/8/8/2R3K1 w - -", "Rxc5 dxc5", None, "which is worth more than the rook."),
        ("6k1/3n4/8/2b5/8/1N6/8/2R3K1 w - -", "Nxc5 Nxc5 Rxc5", None, "which its guards cannot hold."),
        ("6k1/3n4/8/2b5/8/1N6/8/6K1 w - -", "Nxc5 Nxc5", None, ""),
        ("1n6/P5k1/8/8/8/8/8/6K1 w - -", "axb8=Q Kf7", None, ""),
        ("6k1/8/8/4Pp2/8/8/8/6K1 w - f6", "exf6 Kf7", None, ""),
        # What they have just taken there counts, and the line has to keep what is left.
        (PAWN_TAKES, "bxc5 Kf7", Taken(chess.C5, 3), "which nothing guards."),
        (PAWN_TAKES, "bxc5 Kf7", Taken(chess.C5, 5), ""),
        (PAWN_TAKES, "bxc5 Kf7", Taken(chess.A1, 5), "which nothing guards."),
        ("q5k1/8/8/2r5/1P6/8/8/R5K1 w - -", "bxc5 Kf7 Rxa8", Taken(chess.C5, 5), ""),
        ("6k1/8/8/2r5/1P4b1/8/8/Q2R3K w - -", "bxc5 Bxd1 Kg1 Bf3", Taken(chess.C5, 3), ""),
    ],
)  # fmt: skip
def test_men_that_fall(fen: str, line: str, taken: Taken | None, why: str) -> None:
    assert told_of(fen, line, taken) == why


def test_what_is_taken_within_the_line_counts_as_well() -> None:
    board = chess.Board("6k1/8/3p4/2n5/1P6/8/8/2R3K1 w - - 0 30")
    line = own_moves_of(board, parse_line(board, "bxc5 dxc5 Rxc5"))
    assert [(use.ply, use.motif) for use in plain_reasons(line, None)] == [(1, "loose-piece")]
