"""What makes a pin count: each consequence, and the same position without it. Composed."""

from __future__ import annotations

import chess
import pytest

from patterns.detect import find_in
from patterns.lines import parse_line, uses
from patterns.motifs.pins import MOTIFS

LEVER = "3r1rk1/ppp1qppp/2n2b2/4p3/2P5/1P1P2P1/PBQ2PBP/3RR1K1 w - - 0 1"
SHUT_IN = "3nkn2/pppbnppp/8/8/8/5Q2/PP3PPP/3R2K1 w - - 0 1"
MAN_TAKES = "3R2rk/7p/1p2N3/n4p2/8/6P1/3B1P1P/6K1 w - - 0 1"
HELD_BACK = "3r2k1/pp3pp1/2p3b1/3p4/2P1P3/2N5/PPQ2PPP/6K1 b - - 0 1"
PAIRS = [
    # The man cannot leave when a pawn attacks it. Without these pawns a guard is enough.
    ("4k3/8/5p2/4n3/8/3P4/5P2/4R1K1 w - - 0 1", "4k3/8/5p2/4n3/8/8/8/4R1K1 w - - 0 1"),
    # It cannot take the lever. Without the queen behind it, it can.
    (LEVER, LEVER.replace("ppp1qppp", "ppp2ppp").replace("3r1rk1", "q2r1rk1")),
    # It cannot take back. With a second guard the pawn is not lost.
    ("4k3/4b3/8/6p1/8/5N2/8/4R1K1 w - - 0 1", "4k3/4b3/7p/6p1/8/5N2/8/4R1K1 w - - 0 1"),
    # It cannot step between: mate. If it does not stand on the line, it can.
    (MAN_TAKES, "6rk/7p/1p2N3/n4p2/8/6P1/3B1P1P/3R2K1 w - - 0 1"),
    # It cannot take the queen that stands there.
    ("5k2/8/6p1/5p2/6Q1/8/8/5RK1 b - - 0 1", "7k/8/6p1/5p2/6Q1/8/8/5RK1 b - - 0 1"),
    # The rook makes the pin. If the king stands aside, it makes none.
    ("4k3/8/8/4q3/8/8/PPP2K2/3R4 w - - 0 1", "5k2/8/8/4q3/8/8/PPP2K2/3R4 w - - 0 1"),
    # A second man will come, and only the king guards. Without that man the pin changes nothing.
    (SHUT_IN, SHUT_IN.replace("5Q2", "8")),
    # The king cannot leave the line. Where it can, and still guards the man, the pin is over.
    (SHUT_IN, "r3k2r/ppp1nppp/8/8/8/5Q2/PP3PPP/3R2K1 w kq - 0 1"),
    # If it takes the pawn, the queen behind it falls. A guarded queen is exchanged.
    ("3q2k1/5ppp/3b4/2P5/8/6P1/5PKP/3Q4 b - - 0 1", "3q1rk1/5ppp/3b4/2P5/8/6P1/5PKP/3Q4 b - - 0 1"),
    # It leaves with check, so that it is not held.
    ("6k1/ppp1qppp/8/4n3/5P2/1Q6/PPP4P/4R2K b - - 0 1", "6k1/ppp1qppp/8/4n3/5P2/1Q6/PPP4P/4R1K1 b - - 0 1"),
]


def pins(fen: str) -> list[str]:
    """The notes of the pins on a board."""
    return [finding.note for finding in find_in([chess.Board(fen)], MOTIFS)[0]]


@pytest.mark.parametrize(("counts", "does_not"), PAIRS)
def test_a_pin_counts_for_what_the_man_cannot_do(counts: str, does_not: str) -> None:
    assert pins(counts)
    assert not pins(does_not)


def test_a_pin_is_judged_by_its_own_line() -> None:
    """The pawn cannot take on c4, because of the rook on d7. The one on f5 is guarded."""
    board = chess.Board("8/1p1r1pkp/6p1/1R1p1r2/P2R4/6P1/2PPKP2/8 b - - 1 32")
    assert [finding.motif for finding in find_in([board], MOTIFS)[0]] == ["pin-on-file"]


@pytest.mark.parametrize("fen", [counts for counts, _ in PAIRS if counts != MAN_TAKES])
def test_a_pin_counts_whoever_is_to_move_if_it_stands(fen: str) -> None:
    board = chess.Board(fen)
    standing = [note for note in pins(fen) if " is pinned " in note]
    board.turn = not board.turn
    assert not standing or not board.is_valid() or pins(board.fen())


@pytest.mark.parametrize(
    ("counts", "soon_over"),
    [
        # Black to move takes the rook that pins.
        (MAN_TAKES, MAN_TAKES.replace(" w ", " b ")),
        # It is their move, and the king goes to f7 and guards the bishop. The knight takes f7 from it.
        ("2R1b1k1/6p1/7p/4N3/8/6P1/6P1/6K1 b - - 0 1", "2R1b1k1/6p1/7p/8/8/6P1/6P1/6K1 b - - 0 1"),
        # The queen takes the bishop that pins her. If a pawn guards it, she stays pinned.
        ("4k3/3q4/8/1B6/P7/8/5PPP/6K1 b - - 0 1", "4k3/3q4/8/1B6/8/8/5PPP/6K1 b - - 0 1"),
        # The pawn can't take on d5, but it takes a bishop on f5.
        (HELD_BACK, HELD_BACK.replace("2p3b1/3p4", "2p5/3p1b2")),
    ],
)
def test_a_pin_that_is_soon_over_does_not_count(counts: str, soon_over: str) -> None:
    assert pins(counts)
    assert not pins(soon_over)


SAYS = ["leave, so", "take on d4 when", "take back on g5, so", "step between, so", "take the queen on g4"]


@pytest.mark.parametrize(("pair", "says"), list(zip(PAIRS, SAYS, strict=False)))
def test_the_note_says_what_the_man_cannot_do(pair: tuple[str, str], says: str) -> None:
    assert f": it cannot {says}" in pins(pair[0])[0]


def test_a_line_uses_the_pin_from_its_first_move() -> None:
    board = chess.Board(LEVER)
    told = [(use.ply, use.motif, use.targets) for use in uses(board, parse_line(board, "d4 exd4 Rxe7"))]
    assert (1, "pin-on-file", ("e5", "e7")) in told


def test_a_capture_that_the_man_could_meet_is_no_use_of_the_pin() -> None:
    """The rook on c8 stands on the line, but it could take the rook that checks."""
    board = chess.Board("6k1/5ppp/4q3/8/6Q1/2r4P/5PP1/1R4K1 w - - 0 1")
    told = uses(board, parse_line(board, "Rb8+ Rc8 Rxc8+ Qxc8 Qxc8#"))
    assert not [use for use in told if use.motif.startswith("pin")]
