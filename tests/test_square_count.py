"""The effective count: the men that bear on a square, which of them count, and the resulting exchange."""

from __future__ import annotations

import chess
import pytest
import slow
from real_positions import wandered

from patterns.square_count import Bearer, count_square


def counted(bearers: tuple[Bearer, ...]) -> dict[str, bool]:
    return {chess.SQUARE_NAMES[one.square]: one.counts for one in bearers}


def test_four_against_four_with_one_defender_pinned_wins_the_target() -> None:
    """Common practice, no source."""
    count = count_square(chess.Board("4r3/3k4/2nb2n1/1B2p3/8/3N1N2/1B6/4R1K1 w - - 0 1"), chess.E5)
    assert counted(count.attackers) == {"b2": True, "d3": True, "f3": True, "e1": True}
    assert counted(count.defenders) == {"c6": False, "d6": True, "g6": True, "e8": True}
    assert "pinned to its king by the bishop on b5" in {one.reason for one in count.defenders}
    assert count.exchange == 1


def test_four_against_four_without_the_pin_wins_nothing() -> None:
    count = count_square(chess.Board("4r3/3k4/2nb2n1/4p3/7B/3N1N2/1B6/4R1K1 w - - 0 1"), chess.E5)
    assert all(counted(count.defenders).values())
    assert count.exchange == 0


def test_a_defender_with_another_duty_does_not_count() -> None:
    """Overloading as in Euwe and Kramer, The Middle Game (named from memory); the position is composed."""
    overloaded = count_square(chess.Board("n2r2k1/8/8/3n4/8/8/8/Q2R2K1 w - - 0 1"), chess.D5)
    assert [(one.counts, one.reason) for one in overloaded.defenders] == [
        (False, "alone guards the knight on a8")
    ]
    assert overloaded.exchange == 3
    free = count_square(chess.Board("3r2k1/8/8/3n4/8/8/8/Q2R2K1 w - - 0 1"), chess.D5)
    assert counted(free.defenders) == {"d8": True}
    assert free.exchange == 0


@pytest.mark.parametrize(
    ("fen", "square", "attackers", "defenders", "exchange"),
    [
        # Pinned along the line: the rook may move up to the pinner.
        ("3r3k/8/8/8/8/8/3R4/3K4 w - - 0 1", "d5", {"d2": True}, {"d8": True}, 0),
        ("3r3k/8/8/8/8/8/3R4/3K4 w - - 0 1", "d8", {"d2": True}, {}, 5),
        # Pinned off the line.
        ("3r3k/8/8/1p6/8/8/3R4/3K4 w - - 0 1", "b2", {"d2": False}, {}, 0),
        ("7k/8/8/8/1b6/2N5/8/r3K3 w - - 0 1", "a1", {}, {}, 0),
        ("7k/8/8/8/1b6/2N5/8/1r2K3 w - - 0 1", "b1", {"c3": False}, {}, 0),
        # Two rooks take before the king could.
        ("8/8/8/3rk3/8/8/3R4/3R2K1 w - - 0 1", "d5", {"d1": True, "d2": True}, {"e5": False}, 5),
        # More attackers than guards: the king takes last.
        ("8/8/4n3/3r4/3K4/8/3R4/7k w - - 0 1", "d5", {"d4": True}, {}, 5),
        ("7k/8/8/3p4/4K3/8/3R4/8 w - - 0 1", "d5", {"d2": True, "e4": True}, {}, 1),
        ("3r3k/8/8/3p4/4K3/8/3R4/8 w - - 0 1", "d5", {"d2": True, "e4": True}, {"d8": True}, 1),
        ("3r3k/3r4/8/3p4/4K3/8/3R4/8 w - - 0 1", "d5", {"d2": True, "e4": False},
         {"d7": True, "d8": True}, 0),
        # Black attacks: real squares are reported, and as attackers only black men.
        ("4k3/8/8/3r4/8/3N4/8/4K3 b - - 0 1", "d3", {"d5": True}, {}, 3),
        ("4k3/8/8/3r4/8/3N4/4P3/4K3 b - - 0 1", "d3", {"d5": True}, {"e2": True}, 0),
        # The guard of two men counts for neither.
        ("n2r2k1/8/8/3n4/8/8/8/Q2R2K1 w - - 0 1", "a8", {"a1": True}, {"d8": False}, 3),
        # A king that guards another man still counts, a pawn does not.
        ("8/3n4/2k5/1n6/8/8/8/1R1R2K1 w - - 0 1", "d7", {"d1": True}, {"c6": True}, 0),
        ("6k1/8/2p5/1n1n4/8/8/8/1R1R2K1 w - - 0 1", "d5", {"d1": True}, {"c6": False}, 3),
        # Guarding a man that falls anyway is not a duty.
        ("n2r2k1/8/8/3n4/8/8/1B6/Q2R2K1 w - - 0 1", "d5", {"d1": True}, {"d8": False}, 3),
        # An empty square is no duty, though a pawn could queen there.
        ("3r2k1/1P6/8/3n4/8/8/8/3R2K1 w - - 0 1", "d5", {"d1": True}, {"d8": True}, 0),
        ("q2r2k1/8/8/3n4/8/8/8/R2R2K1 w - - 0 1", "d5", {"d1": True}, {"d8": True, "a8": True}, 0),
    ],
)  # fmt: skip
def test_which_men_count_and_what_the_exchange_wins(
    fen: str, square: str, attackers: dict[str, bool], defenders: dict[str, bool], exchange: float
) -> None:
    count = count_square(chess.Board(fen), chess.parse_square(square))
    assert (counted(count.attackers), counted(count.defenders)) == (attackers, defenders)
    assert count.exchange == exchange
    assert count.attacker == (chess.WHITE if " w " in fen else chess.BLACK) or exchange <= 0


def test_the_count_as_plain_data() -> None:
    count = count_square(chess.Board("3r2k1/3r4/8/3p4/8/8/3R4/3RQ1K1 w - - 0 1"), chess.D5)
    assert count.as_dict() == {
        "square": "d5",
        "attackers": [
            {"from": "d1", "counts": True, "reason": "through the rook on d2"},
            {"from": "d2", "counts": True, "reason": "directly"},
        ],
        "defenders": [
            {"from": "d7", "counts": True, "reason": "directly"},
            {"from": "d8", "counts": True, "reason": "through the rook on d7"},
        ],
        "exchange": 0.0,
    }


def test_a_battery_looks_through_its_front_man() -> None:
    count = count_square(chess.Board("3r2k1/3r4/8/3p4/8/8/3R4/3RQ1K1 w - - 0 1"), chess.D5)
    assert counted(count.attackers) == {"d1": True, "d2": True}
    assert counted(count.defenders) == {"d7": True, "d8": True}
    assert count.exchange == 0


def test_a_king_takes_only_what_nobody_guards() -> None:
    guarded = count_square(chess.Board("8/8/8/3rk3/8/4K3/8/3R4 w - - 0 1"), chess.D5)
    assert counted(guarded.attackers) == {"d1": True}
    assert counted(guarded.defenders) == {"e5": True}
    lone = count_square(chess.Board("3r4/8/8/8/3p4/4K3/8/k7 w - - 0 1"), chess.D4)
    assert counted(lone.attackers) == {"e3": False}
    assert lone.exchange == 0


@pytest.mark.parametrize("square", [chess.E4, chess.D5])
def test_for_a_man_of_the_side_to_move_the_exchange_is_what_it_loses(square: chess.Square) -> None:
    board = chess.Board("4k3/8/8/3r4/4P3/8/8/4K3 b - - 0 1")
    count = count_square(board, square)
    assert count.exchange == {chess.E4: 0, chess.D5: -5}[square]


def test_the_count_agrees_with_python_chess_on_direct_attackers() -> None:
    seen = 0
    for board in wandered(5, games=2)[::9]:
        for square in chess.SQUARES:
            count = count_square(board, square)
            for bearers, colour in ((count.attackers, count.attacker), (count.defenders, not count.attacker)):
                direct = {
                    one.square for one in bearers if not chess.between(one.square, square) & board.occupied
                }
                assert direct == set(board.attackers(colour, square)), (board.fen(), square)
                pinned = slow.pins_of(board, colour)
                for one in bearers:
                    if one.counts and one.square in pinned:
                        line = chess.ray(pinned[one.square], square) >> one.square & 1
                        assert pinned[one.square] == square or line
                seen += len(bearers)
    assert seen > 1_000
