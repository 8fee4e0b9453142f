"""Each factor on hand-made positions, judged as in books or common practice, and against slow loops.

The books are named from memory; the positions are made for these tests.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable, Iterator
from functools import cache
from pathlib import Path

import chess
import pytest
import slow
from real_positions import wandered

from patterns.boards.bitboards import square_names
from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.factors.assessment import MODULES, FactorBalance, assess_boards
from patterns.factors.initiative import TAKES, TAKES_LITTLE
from patterns.factors.term import Term
from patterns.words.verdicts import FACTORS


def factor(fen: str, name: str) -> FactorBalance:
    (assessment,) = assess_boards([chess.Board(fen)])
    return assessment.factors[FACTORS.index(name)]


def term(fen: str, name: str, part: str) -> tuple[float, float, set[str], set[str]]:
    """A term's worth for White and for Black, and for each the squares it is about."""
    board = chess.Board(fen)
    view = View(Positions.from_boards([board]))
    (found,) = [entry for entry in MODULES[name].terms(view) if entry.name == part]
    white, black = (int(men) for men in found.men)
    return (
        float(found.worth[0]),
        float(found.worth[1]),
        set(square_names(white)),
        set(square_names(chess.flip_vertical(black))),
    )


def gold(name: str) -> list[dict[str, str]]:
    """The rows of a file of gold positions. In both files the columns say which result is right, and why."""
    with (Path(__file__).parent / name).open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def judged() -> list[dict[str, str]]:
    return gold("gold_factors.csv")


@pytest.mark.parametrize("row", judged(), ids=lambda row: f"{row['factor']}: {row['words'] or row['source']}")
def test_a_position_is_judged_as_in_the_books(row: dict[str, str]) -> None:
    found = factor(row["fen"], row["factor"])
    assert not row["words"] or any(row["words"] in reason for reason in found.reasons), (row, found)
    sign = {"white": 1, "neither": 0, "black": -1}[row["better"]]
    if sign:
        assert found.balance * sign > 0, (row, found)
        assert found.verdict.signed * sign >= 0
    else:
        assert abs(found.balance) < 0.35, (row, found)


def test_every_factor_has_gold_positions() -> None:
    assert {row["factor"] for row in judged()} == set(FACTORS)
    assert len(judged()) >= 30


@pytest.mark.parametrize(
    "row", gold("gold_factor_terms.csv"), ids=lambda row: f"{row['factor']}: {row['term']}, {row['reason']}"
)
def test_a_term_speaks_for_the_right_side_and_about_the_right_men(row: dict[str, str]) -> None:
    white, black, white_men, black_men = term(row["fen"], row["factor"], row["term"])
    sign = {"white": 1, "neither": 0, "black": -1}[row["better"]]
    assert (white - black) * sign > 0 or (sign == 0 and white == black), (row, white, black)
    about = (white_men if white else set()) | (black_men if black else set())
    assert not row["men"] or about == set(row["men"].split()), (row, about)


def test_every_term_has_a_gold_position_in_which_it_speaks() -> None:
    view = View(Positions.from_boards([chess.Board()]))
    every = {(name, entry.name) for name, module in MODULES.items() for entry in module.terms(view)}
    shown = {
        (row["factor"], row["term"]) for row in gold("gold_factor_terms.csv") if row["better"] != "neither"
    }
    assert shown == every


def test_the_starting_position_is_level_on_every_factor() -> None:
    (assessment,) = assess_boards([chess.Board()])
    assert [entry.verdict.signed for entry in assessment.factors] == [0] * len(FACTORS)
    assert assessment.verdict.signed == 0


def test_the_pair_is_worth_more_when_pawns_are_gone() -> None:
    closed = term("4k3/pppppppp/2n1n3/8/8/8/PPPPPPPP/2B1KB2 w - - 0 1", "material", "bishop-pair")[0]
    half = term("4k3/ppppp3/2n1n3/8/8/8/PPPPP3/2B1KB2 w - - 0 1", "material", "bishop-pair")[0]
    opened = term("4k3/pp6/2n1n3/8/8/8/PP6/2B1KB2 w - - 0 1", "material", "bishop-pair")[0]
    assert closed < half == 0.5 < opened


def test_two_bishops_of_one_colour_are_not_a_pair() -> None:
    assert term("4k3/8/8/8/8/8/8/2B1K1B1 w - - 0 1", "material", "bishop-pair")[0] == 0


def test_bishops_of_the_same_colour_do_not_help_to_draw() -> None:
    opposite = "8/1p3k2/4b3/8/1P1P4/P1BK4/8/8 w - - 0 1"
    same = "8/1p3k2/3b4/8/1P1P4/P1BK4/8/8 w - - 0 1"
    assert term(opposite, "material", "drawn-out")[1] > 1
    assert term(same, "material", "drawn-out")[1] < term(opposite, "material", "drawn-out")[1]


def test_an_unmoved_cover_on_a_wing_leaves_two_squares_of_one_colour_behind_it() -> None:
    # f7, g7, h7: only g7 is dark. With the g-pawn moved, no pawn holds g7 and h6; f6 is still the e-pawn's.
    bare = "r1bq1rk1/pp2pp1p/3p2p1/8/4P3/2N1B3/PPPQ1PPP/R3K2R b KQ - 0 1"
    guarded = "r2q1rk1/pp2ppbp/3p2p1/8/4P3/2N1B3/PPPQ1PPP/R3K2R b KQ - 0 1"
    worth, weak = term(bare, "king-safety", "weak-colour")[1::2]
    assert worth < 0
    assert weak == {"g7", "h6"}
    assert term(guarded, "king-safety", "weak-colour")[1] == 0


def test_a_fianchettoed_bishop_counts_for_its_king() -> None:
    worth, squares = term("r2q1rk1/pp2ppbp/6p1/8/8/8/PPPQ1PPP/R4RK1 w - - 0 1", "king-safety", "guardian")[
        1::2
    ]
    assert worth > 0
    assert squares == {"g7"}
    away = "r2q1rk1/pp2pp1p/b5p1/8/8/8/PPPQ1PPP/R4RK1 w - - 0 1"
    assert term(away, "king-safety", "guardian")[1] == 0


def test_a_storm_weighs_more_with_opposite_castling() -> None:
    opposite = "r2q1rk1/ppp2ppp/8/6P1/7P/8/PPP2P2/2KR1Q1R w - - 0 1"
    same = "r2q1rk1/ppp2ppp/8/6P1/7P/8/PPP2P2/R4QKR w - - 0 1"
    assert term(opposite, "king-safety", "storm")[1] < term(same, "king-safety", "storm")[1] < 0


def test_king_safety_fades_with_the_attackers() -> None:
    with_queens = "3q2k1/5pp1/8/8/8/8/8/3Q2K1 w - - 0 1"
    without = "3r2k1/5pp1/8/8/8/8/8/3R2K1 w - - 0 1"
    assert factor(with_queens, "king-safety").balance < factor(without, "king-safety").balance < 0


def test_a_flight_square_ends_the_weakness_of_the_back_rank() -> None:
    shut = "3q2k1/5ppp/8/8/8/8/5PPP/6K1 w - - 0 1"
    luft = "3q2k1/5ppp/8/8/8/7P/5PP1/6K1 w - - 0 1"
    assert term(shut, "king-safety", "back-rank")[0] < 0
    assert term(luft, "king-safety", "back-rank")[0] == 0


def test_a_centre_pawn_that_a_pawn_can_attack_is_worth_less() -> None:
    firm = "4k2r/pp3ppp/2n2n2/8/3PP3/2P5/PP3PPP/4K2R w - - 0 1"
    shaky = "4k2r/pp3ppp/2n2n2/8/3PP3/8/PP3PPP/4K2R w - - 0 1"
    assert factor(firm, "centre").balance > factor(shaky, "centre").balance


@pytest.mark.parametrize(
    ("fen", "part", "square", "there"),
    [
        # The only attacker is pinned to its queen, by a bishop and by a rook.
        ("rn2kb1r/p3qppp/2p2n2/1B2p1B1/4P3/1Q6/PPP2PPP/R3K2R b KQkq - 0 1", "outnumbered-pawns", "e4", False),
        ("r2q1rk1/4bppp/p1bppn2/1p2P3/8/PBN1B3/1PP1QPPP/2KR3R b - - 0 1", "outnumbered-pawns", "e5", False),
        # The same without the pin, and with a queen as the pinner that is taken in turn.
        ("rn2kb1r/p3qppp/2p2n2/1B2p3/4P3/1Q6/PPP2PPP/R3K2R b KQkq - 0 1", "outnumbered-pawns", "e4", True),
        ("rn2kb1r/p3qppp/2p2n2/1B2p1Q1/4P3/8/PPP2PPP/R3K2R b KQkq - 0 1", "outnumbered-pawns", "e4", True),
        # The pawn itself is pinned, or the pawn that guards it.
        ("2br2k1/ppp2ppp/2n5/8/3P4/4P3/PP3PPP/R2Q1RK1 b - - 0 1", "firm-pawns", "d4", False),
        ("2b1r1k1/ppp2ppp/2n5/8/3P4/4P3/PP3PPP/R2Q1RK1 b - - 0 1", "firm-pawns", "d4", True),
        ("4r1k1/ppp2ppp/2n5/8/3P4/4P3/PP2QPPP/R4RK1 b - - 0 1", "outnumbered-pawns", "d4", True),
        ("4r1k1/ppp2ppp/2n5/8/3P4/4P3/PP1Q1PPP/R4RK1 b - - 0 1", "firm-pawns", "d4", True),
        ("4r1k1/ppp2ppp/1b6/8/3P4/4PN2/PP2QPPP/R4RK1 b - - 0 1", "firm-pawns", "d4", False),
        ("3r2k1/ppp2ppp/2n5/8/3P4/8/PP1N1PPP/R2Q1RK1 b - - 0 1", "outnumbered-pawns", "d4", True),
        # The pinned guard takes a rook for the pawn: that pays for what the queen brings.
        ("3rr1k1/ppp2ppp/8/8/3P4/4P3/PP2QPPP/5BK1 w - - 0 1", "outnumbered-pawns", "d4", False),
        ("3rr1k1/ppp2ppp/8/8/3P4/4P3/PP2QPPP/6K1 w - - 0 1", "outnumbered-pawns", "d4", True),
        ("4r1k1/ppp2ppp/2n5/8/3P4/4P3/PP2QPPP/5BK1 w - - 0 1", "outnumbered-pawns", "d4", True),
        # It can, if the cheaper attacker is pinned too.
        ("3rr1k1/ppp2ppq/8/5n2/3P4/3BP3/PP2Q1PP/5BK1 w - - 0 1", "outnumbered-pawns", "d4", False),
        ("3rr1k1/ppp2pp1/8/5n2/3P4/3BP3/PP2Q1PP/5BK1 w - - 0 1", "outnumbered-pawns", "d4", True),
        # A king in check is not pinned: it may take.
        ("4r1k1/ppp2ppp/2n5/8/3P4/4K3/PP2QPPP/8 w - - 0 1", "outnumbered-pawns", "d4", False),
    ],
)
def test_men_pinned_to_their_queen_take_no_part_in_the_centre(
    fen: str, part: str, square: str, there: bool
) -> None:
    white_men = term(fen, "centre", part)[2]
    assert (square in white_men) == there


def test_a_passed_pawn_that_no_man_can_catch_decides() -> None:
    running = "8/8/P7/8/8/7k/8/7K w - - 0 1"
    caught = "8/2k5/P7/8/8/8/8/7K w - - 0 1"
    assert term(running, "pawn-structure", "passed")[0] > 3 > term(caught, "pawn-structure", "passed")[0]


def test_a_passed_pawn_held_up_by_a_man_is_worth_less() -> None:
    free = term("4k3/8/1n6/P7/8/8/8/4K3 w - - 0 1", "pawn-structure", "passed")[0]
    held_up = term("4k3/8/n7/P7/8/8/8/4K3 w - - 0 1", "pawn-structure", "passed")[0]
    assert 0 < held_up < free


def test_the_nearer_king_counts_for_a_passed_pawn() -> None:
    escorted = term("7k/8/1K6/P7/8/8/8/n7 w - - 0 1", "pawn-structure", "passed")[0]
    watched = term("8/1k6/8/P7/8/8/7K/n7 w - - 0 1", "pawn-structure", "passed")[0]
    assert escorted > watched > 0


def test_a_rook_opposed_on_its_file_is_worth_less() -> None:
    alone = term("r3k3/8/8/8/8/8/P7/3RK3 w - - 0 1", "open-lines", "open-file")[0]
    opposed = term("3rk3/8/8/8/8/8/P7/3RK3 w - - 0 1", "open-lines", "open-file")[0]
    assert 0 < opposed < alone


def test_a_knight_that_a_pawn_can_drive_off_has_no_outpost() -> None:
    post = "6k1/pp3ppp/4p3/3pN3/3P4/8/PP3PPP/6K1 w - - 0 1"
    challenged = "6k1/pp2pppp/8/3pN3/3P4/8/PP3PPP/6K1 w - - 0 1"
    assert term(post, "piece-play", "outpost")[0] == 0  # f7-f6 drives it off
    assert term(post.replace("3ppp/4p3", "4pp/4p3"), "piece-play", "outpost")[0] > 0
    assert term(challenged, "piece-play", "outpost")[0] == 0


def test_only_the_one_guard_of_two_is_overloaded() -> None:
    # The rook on d8 alone guards d5 and a8, both attacked.
    found = term("n2r2k1/5ppp/8/3p4/4B3/8/5PPP/R5K1 w - - 0 1", "piece-play", "overloaded")
    assert found[1] < 0
    assert found[3] == {"d8"}


def test_a_trapped_bishop_is_seen_and_one_with_a_way_out_is_not() -> None:
    trapped = "6k1/B1p2ppp/1p6/8/8/8/5PPP/6K1 w - - 0 1"  # nothing attacks it yet
    attacked = "r5k1/B1p2ppp/1p6/8/8/8/5PPP/6K1 w - - 0 1"
    escapes = "r5k1/B1p2ppp/8/8/8/8/5PPP/6K1 w - - 0 1"
    assert term(trapped, "piece-play", "trapped")[0] == 0
    assert term(attacked, "piece-play", "trapped")[0] < 0
    assert term(escapes, "piece-play", "trapped")[0] == 0


def test_a_possible_capture_counts_more_for_the_side_to_move() -> None:
    ours = term("6k1/5ppp/8/3n4/8/8/5PPP/3R2K1 w - - 0 1", "initiative", "wins")[0]
    theirs = term("6k1/5ppp/8/3n4/8/8/5PPP/3R2K1 b - - 0 1", "initiative", "wins")[0]
    assert ours > 2 > 0.5 > theirs > 0


def test_a_pawn_that_can_be_won_counts_little_and_a_piece_for_most_of_its_worth() -> None:
    pawn = term("6k1/5ppp/8/3p4/8/8/5PPP/3R2K1 w - - 0 1", "initiative", "wins")[0]
    knight = term("6k1/5ppp/8/3n4/8/8/5PPP/3R2K1 w - - 0 1", "initiative", "wins")[0]
    assert 0 < pawn < 0.3 < 2 < knight


def test_of_a_gain_only_what_is_left_after_the_answers_counts() -> None:
    bare = term("r7/7k/8/8/3N4/8/8/R6K w - - 0 1", "initiative", "wins")[0]
    answered = term("r7/6bk/8/8/3N4/8/8/R6K w - - 0 1", "initiative", "wins")[0]
    assert bare == pytest.approx(5 * TAKES)
    assert answered == pytest.approx(2 * TAKES_LITTLE)  # the bishop takes the knight


def test_a_capture_that_the_second_answer_refutes_wins_nothing() -> None:
    # Rxd4 Rc8+ Qf8, and the pawn has cost the queen or more.
    board = "6k1/4q1p1/4p1Qp/pp1pP2P/2rP2P1/P7/1PR1K3/8 b - - 1 33"
    assert term(board, "initiative", "wins")[1] == 0


AHEAD = "White is ahead in development: Black's bishop on c8 and knights on b8 and g8 are still at home"


@pytest.mark.parametrize(
    ("fen", "says"),
    [
        (
            "rnbq1rk1/pp3pp1/2p2b1p/7P/3pP3/5PQ1/PPPPB3/R1B1K1NR b KQ - 0 1",
            "Black is ahead in development: White's king on e1 has not castled yet",
        ),
        (
            "rnbqk1nr/ppppbppp/8/4p3/4P3/2N2N2/PPPPBPPP/R1BQ1RK1 b kq - 0 1",
            AHEAD + " (of White's only the bishop on c1) and Black's king on e8 has not castled yet",
        ),
        (
            "rnbqk1nr/ppppbppp/8/4p3/2B1P3/2N1BN2/PPPPQPPP/R3K2R b KQkq - 0 1",
            AHEAD,
        ),
        (
            "rnbq1rk1/ppppbppp/5n2/4p3/2B1P3/2N1BN2/PPPPQPPP/R3K2R b KQ - 0 1",
            "White is ahead in development: Black's bishop on c8 and knight on b8 are still at home",
        ),
    ],
)
def test_development_tells_what_makes_the_difference(fen: str, says: str) -> None:
    told = [reason.partition(" (+")[0] for reason in factor(fen, "initiative").reasons]
    assert says in told


def test_a_safe_check_counts_the_same_whoever_is_to_move_and_more_with_more_pieces() -> None:
    few = "4k3/8/8/8/8/8/8/R3K3 w - - 0 1"
    many = "4k3/8/8/8/8/8/8/RN1QK3 w - - 0 1"
    ours, theirs = (term(few.replace(" w ", turn), "initiative", "checks")[0] for turn in (" w ", " b "))
    assert 0 < ours == theirs < term(many, "initiative", "checks")[0]


def test_a_bishop_counts_a_little_more_than_a_knight() -> None:
    reasons = factor("4k1n1/pppp1ppp/8/8/8/8/PPPP1PPP/4K1B1 w - - 0 1", "material").reasons
    assert "White has a bishop for a knight (+0.10 White)." in reasons


# The array code compared with slow, obvious loops over python-chess, for White in each position and its
# mirror.


@cache
def sweep() -> tuple[chess.Board, ...]:
    boards = wandered(seed=11, games=6)
    return tuple(boards) + tuple(board.mirror() for board in boards)


def squares_by_term(name: str, part: str) -> Iterator[tuple[chess.Board, set[int]]]:
    view = View(Positions.from_boards(sweep()))
    (found,) = [entry for entry in MODULES[name].terms(view) if entry.name == part]
    for board, men in zip(sweep(), found.men, strict=False):
        yield board, set(chess.scan_forward(int(men)))


def files_beside(square: int) -> set[int]:
    return {chess.square_file(square) - 1, chess.square_file(square) + 1}


def pawns(board: chess.Board, colour: chess.Color) -> Iterable[int]:
    return board.pieces(chess.PAWN, colour)


def isolated(board: chess.Board) -> set[int]:
    files = {chess.square_file(square) for square in pawns(board, chess.WHITE)}
    return {square for square in pawns(board, chess.WHITE) if not files & files_beside(square)}


def passed(board: chess.Board) -> set[int]:
    found = set()
    for square in pawns(board, chess.WHITE):
        file, rank = chess.square_file(square), chess.square_rank(square)
        stoppers = [
            other
            for other in pawns(board, chess.BLACK)
            if abs(chess.square_file(other) - file) <= 1 and chess.square_rank(other) > rank
        ]
        own_ahead = [
            other
            for other in pawns(board, chess.WHITE)
            if chess.square_file(other) == file and chess.square_rank(other) > rank
        ]
        if not stoppers and not own_ahead:
            found.add(square)
    return found


def can_step(board: chess.Board, square: int) -> bool:
    """Whether White's pawn can step forward and loses nothing by exchange, whoever is to move."""
    free = board.piece_at(square + 8) is None and square + 8 in board.pin(chess.WHITE, square)
    return free and slow.exchange(board, square, square + 8) >= 0


def backward(board: chess.Board) -> set[int]:
    found = set()
    for square in set(pawns(board, chess.WHITE)) - isolated(board):
        rank = chess.square_rank(square)
        helpers = [
            other
            for other in pawns(board, chess.WHITE)
            if chess.square_file(other) in files_beside(square) and chess.square_rank(other) <= rank
        ]
        stop = square + 8
        held = any(stop in board.attacks(other) or other == stop for other in pawns(board, chess.BLACK))
        if not helpers and held and not can_step(board, square):
            found.add(square)
    return found


def on_open_file(board: chess.Board) -> set[int]:
    def has(kind: chess.PieceType, colour: chess.Color, file: int) -> bool:
        return any(chess.square_file(square) == file for square in board.pieces(kind, colour))

    found = set()
    for kind in (chess.ROOK, chess.QUEEN):
        for square in board.pieces(kind, chess.WHITE):
            file = chess.square_file(square)
            opposed = kind == chess.QUEEN and has(chess.ROOK, chess.BLACK, file)
            if (
                not has(chess.PAWN, chess.WHITE, file)
                and not has(chess.PAWN, chess.BLACK, file)
                and not opposed
            ):
                found.add(square)
    return found


def outposts(board: chess.Board) -> set[int]:
    found = set()
    for kind in (chess.KNIGHT, chess.BISHOP):
        for square in board.pieces(kind, chess.WHITE):
            file, rank = chess.square_file(square), chess.square_rank(square)
            guarded = any(square in board.attacks(pawn) for pawn in pawns(board, chess.WHITE))
            hunters = [
                pawn
                for pawn in pawns(board, chess.BLACK)
                if chess.square_file(pawn) in files_beside(square) and chess.square_rank(pawn) > rank
            ]
            rim = kind == chess.KNIGHT and file in (0, 7)
            if 3 <= rank <= 5 and guarded and not hunters and not rim:
                found.add(square)
    return found


def unguarded(board: chess.Board) -> set[int]:
    pieces = board.occupied_co[chess.WHITE] & ~board.pawns & ~board.kings
    return {
        square
        for square in chess.scan_forward(pieces)
        if not board.attackers(chess.WHITE, square)
        and (chess.square_rank(square) > 0 or board.is_attacked_by(chess.BLACK, square))
    }


SLOW: list[tuple[str, str, Callable[[chess.Board], set[int]]]] = [
    ("pawn-structure", "isolated", isolated),
    ("pawn-structure", "passed", passed),
    ("pawn-structure", "backward", backward),
    ("open-lines", "open-file", on_open_file),
    ("piece-play", "outpost", outposts),
    ("piece-play", "loose", unguarded),
]


@pytest.mark.parametrize(("name", "part", "slowly"), SLOW, ids=[part for _, part, _ in SLOW])
def test_a_term_names_the_men_a_slow_loop_finds(
    name: str, part: str, slowly: Callable[[chess.Board], set[int]]
) -> None:
    seen = shown = 0
    for board, men in squares_by_term(name, part):
        assert men == slowly(board), (board.fen(), part)
        seen, shown = seen + 1, shown + bool(men)
    assert seen == len(sweep()) > 700
    assert shown > 20


def test_the_sum_of_men_is_what_counting_gives() -> None:
    values = {chess.PAWN: 1, chess.KNIGHT: 3.25, chess.BISHOP: 3.35, chess.ROOK: 5, chess.QUEEN: 9.75}
    view = View(Positions.from_boards(sweep()))
    (men,) = [entry for entry in MODULES["material"].terms(view) if entry.name == "men"]
    half = len(sweep())
    for index, board in enumerate(sweep()):
        gap = sum(
            worth * (len(board.pieces(kind, chess.WHITE)) - len(board.pieces(kind, chess.BLACK)))
            for kind, worth in values.items()
        )
        assert men.worth[index] - men.worth[half + index] == pytest.approx(gap), board.fen()


def test_a_term_is_plain_data() -> None:
    view = View(Positions.from_boards([chess.Board()]))
    assert all(isinstance(entry, Term) for module in MODULES.values() for entry in module.terms(view))
