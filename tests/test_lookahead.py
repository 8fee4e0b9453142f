"""Look ahead and claims: positions judged by hand for each clause, a slow version on odd positions."""

from __future__ import annotations

from collections.abc import Sequence
from random import Random

import chess
import numpy as np
import pytest
import slow
from real_positions import wandered

from patterns.boards.bitboards import ALL, BIT, EMPTY
from patterns.boards.moves import Moves
from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.proof.aims import MATE, Aims
from patterns.proof.claims import claims, hold, worth
from patterns.proof.gains import threatened, threats
from patterns.proof.lookahead import IN_TURN, collects, holds

EVERYWHERE = chess.SquareSet(chess.BB_ALL)
Case = tuple[chess.Board, int, chess.SquareSet, int]
"""A board, what is needed, where captures count (squares of the board), how many checks may be tried."""


def aims_of(cases: Sequence[Case], we: Sequence[chess.Color]) -> Aims:
    """The aims of the side given for each case."""
    seen = [
        int(w) if us == chess.WHITE else chess.flip_vertical(int(w))
        for us, (_, _, w, _) in zip(we, cases, strict=True)
    ]
    needed, checks = (np.array([case[place] for case in cases]) for place in (1, 3))
    return Aims.of(needed, np.array(seen, dtype=np.uint64), checks)


def seen_by_mover(cases: Sequence[Case]) -> Positions:
    """The boards, those with Black to move upside down with colours exchanged."""
    return Positions.from_boards([slow.seen_by_us(board, board.turn) for board, *_ in cases])


def held(cases: Sequence[Case]) -> list[bool]:
    """Where the side that is not to move reaches its aims."""
    aims = aims_of(cases, [not board.turn for board, *_ in cases])
    result: list[bool] = holds(seen_by_mover(cases).side_view(chess.WHITE), aims).tolist()
    return result


def collected(cases: Sequence[Case], looks: int = 1) -> list[bool]:
    """Where the side to move reaches its aims."""
    aims = aims_of(cases, [board.turn for board, *_ in cases])
    result: list[bool] = collects(seen_by_mover(cases).side_view(chess.WHITE), aims, looks).tolist()
    return result


def wins(fen: str, move: str, least: int, targets: str = "", checks: int = 0) -> bool:
    """Whether the move wins so much on the target squares (or anywhere), whatever is answered."""
    board = chess.Board(fen)
    played = board.parse_san(move)
    wanted = chess.SquareSet(map(chess.parse_square, targets.split())) if targets else EVERYWHERE
    needed = least - (slow.gain(board, played) if least < MATE else 0)
    return held([(slow.pushed(board, played), needed, wanted, checks)])[0]


@pytest.mark.parametrize(
    ("fen", "move", "least", "stands"),
    [
        ("6k1/5ppp/1p3n2/6B1/4r3/7P/2Q2PPK/8 w - - 0 1", "Bxf6", 1, True),
        ("6k1/5ppp/1p3n2/6B1/4r3/8/2Q2PPP/6K1 w - - 0 1", "Bxf6", 1, False),  # the rook mates on e1
        ("6k1/5ppp/1p3n2/6B1/2r5/7P/2Q2PPK/8 w - - 0 1", "Bxf6", 1, False),  # the rook takes the queen
        ("4k3/8/8/3p4/8/8/3Q4/4K3 w - - 0 1", "Qxd5", 1, True),
        ("4k3/8/8/3p4/8/8/3Q4/4K3 w - - 0 1", "Qxd5", 2, False),  # a pawn is all there is
        ("4k3/8/4p3/3p4/8/8/3Q4/4K3 w - - 0 1", "Qxd5", 1, False),  # guarded
        ("4k3/8/8/3r4/8/4P3/8/3QK3 w - - 0 1", "e4", 1, False),  # attacked, but the rook takes the queen
        ("5rk1/p4p1p/5P1Q/8/6rP/6P1/3B2K1/8 w - - 0 1", "Bg5", MATE, True),  # the rook on g3 only delays it
        ("5rk1/p4p1p/5P1Q/8/6r1/6P1/3B2K1/8 w - - 0 1", "Bb4", MATE, False),
    ],
)
def test_a_move_wins_only_what_no_answer_takes_from_it(fen: str, move: str, least: int, stands: bool) -> None:
    assert wins(fen, move, least, checks=2 if least == MATE else 0) == stands


@pytest.mark.parametrize(
    ("fen", "needed", "works"),
    [
        ("6k1/5ppp/8/8/8/8/8/KR6 w - - 0 1", 9, True),  # mate
        ("3q2k1/5pp1/8/8/4N3/8/8/K6Q w - - 0 1", 9, False),
        ("r5k1/6pp/8/8/8/8/8/1K1Q4 w - - 0 1", 5, True),  # d5, with check and the rook
        ("r5k1/6pp/2b5/8/8/8/8/1K1Q4 w - - 0 1", 5, False),  # the bishop takes
    ],
)
def test_checks_are_followed_to_mate_or_to_what_they_win(fen: str, needed: int, works: bool) -> None:
    assert collected([(chess.Board(fen), needed, EVERYWHERE, 2)]) == [works]


def test_what_they_take_next_is_deducted() -> None:
    board = chess.Board("6k1/8/8/3r4/8/8/1B6/K2R4 w - - 0 1")
    assert collected([(board, 5, EVERYWHERE, 0)], 0) == [True]
    board.set_piece_at(chess.E6, chess.Piece(chess.PAWN, chess.BLACK))
    assert collected([(board, needed, EVERYWHERE, 0) for needed in (5, 1)], 0) == [False, False]


@pytest.mark.parametrize(
    ("fen", "needed", "checks", "stands"),
    [
        # What they take must be made good, and the man that took may be taken.
        ("8/7p/7K/8/8/8/8/1k6 w - - 0 1", 0, 0, False),
        ("6k1/1p6/2b5/8/8/2R5/8/6K1 w - - 0 1", 0, 0, True),
        # There must be a threat: here White is mated only because it has to move.
        ("8/2k5/8/8/K7/6q1/1r6/8 w - - 0 1", 1, 2, False),
        # A check wins the bishop; the knight steps away; the bishop gives itself for the pawn with check.
        ("8/2K5/8/6Q1/1k2b3/8/8/8 w - - 0 1", -1, 0, False),
        ("1r4k1/8/8/8/8/8/6K1/1N6 w - - 0 1", 3, 0, False),
        ("8/4K3/8/1k6/8/1B6/4p3/8 w - - 0 1", 5, 0, False),
        # The second answer counts too: both pawns queen, and White is the first to check.
        ("8/3P4/4K2k/8/8/8/5p2/8 w - - 0 1", -1, 0, False),
        # A check that changes nothing: the king steps out, and the pawn still queens, or is still guarded.
        ("8/1k4K1/N7/8/8/8/7p/5b2 w - - 0 1", 1, 0, True),
        ("2B5/8/8/8/8/8/5pk1/2K5 w - - 0 1", 1, 1, True),
        ("8/2p1k3/8/8/8/8/5Q2/1K6 w - - 0 1", 0, 1, True),
        # Stalemate wins nothing.
        ("8/8/8/8/2k5/6q1/p7/7K w - - 0 1", 3, 0, False),
        # One threat is parried, but not two, a mate, or what a check wins. What can be spared may be lost.
        ("8/1k6/8/8/6n1/8/4K3/8 w - - 0 1", 0, 0, True),
        ("r3r1k1/5ppp/8/3N4/8/7P/6PK/8 w - - 0 1", 0, 0, False),
        ("k7/2R5/2K5/7Q/8/8/8/8 w - - 0 1", -3, 0, False),
        ("6k1/8/2p5/8/3Q4/8/5K2/8 w - - 0 1", -1, 0, True),
        # A capture that is even comes first, then the other bishop is safe.
        ("5k2/8/8/3K4/1b6/4B2b/8/8 w - - 0 1", 0, 2, True),
        # Checks of ours: the rook mates or wins, if it may check at all, and twice where it must.
        ("8/8/5r2/8/8/7k/6p1/7K w - - 0 1", 5, 1, True),
        ("8/8/5r2/8/8/7k/6p1/7K w - - 0 1", 5, 0, False),
        ("2N5/5q2/8/8/8/3k4/6n1/3K4 w - - 0 1", 1, 1, True),
        ("8/8/8/8/q4k2/2P5/r7/5K2 w - - 0 1", 1, 1, False),
        # The new queen gives check, and White has no time to queen.
        ("8/8/3P2k1/8/8/8/7p/K7 w - - 0 1", 1, 0, True),
    ],
)
def test_what_holds_for_black_whatever_white_answers(
    fen: str, needed: int, checks: int, stands: bool
) -> None:
    assert held([(chess.Board(fen), needed, EVERYWHERE, checks)]) == [stands]


def test_only_captures_on_wanted_squares_count_or_of_the_man_that_answered() -> None:
    blocked = chess.Board("6k1/8/8/8/3K4/7p/r6P/8 w - - 0 1")
    taken = chess.Board("6k1/1p6/2b5/8/8/2R5/8/6K1 w - - 0 1")
    pawn, elsewhere = chess.SquareSet([chess.H2]), chess.SquareSet([chess.A8])
    assert held([(blocked, 1, pawn, 0), (blocked, 1, elsewhere, 0)]) == [True, False]
    assert held([(taken, 0, elsewhere, 0)]) == [True]


def test_the_most_that_can_be_won_and_on_how_many_squares_more_than_asked() -> None:
    fens = [
        "4k3/8/8/r2Q4/8/8/6b1/4K3 w - - 0 1",  # both loose
        "4k3/P7/8/3p4/8/8/8/3RK3 w - - 0 1",  # a promotion counts as what it gains
        "1n2k3/P7/8/8/8/8/8/4K3 w - - 0 1",  # taking, a pawn gains as much besides
        "3rk3/P7/8/8/8/8/8/4K3 w - - 0 1",  # the new queen falls
        "4k3/8/2p5/3p4/8/8/8/3RK3 w - - 0 1",  # guarded
        "4k3/8/8/8/8/8/8/4K3 w - - 0 1",
    ]
    boards = Positions.from_fens(fens).side_view(chess.WHITE)
    assert threats(boards, np.full(len(fens), ALL)).tolist() == [5, 8, 11, 0, 0, 0]
    assert threats(boards, np.full(len(fens), EMPTY)).tolist() == [0] * 6
    beyond = {
        0: [2, 2, 2, 0, 0, 0],
        2: [2, 1, 2, 0, 0, 0],
        4: [1, 1, 2, 0, 0, 0],
        7: [0, 1, 2, 0, 0, 0],
        8: [0, 0, 1, 0, 0, 0],
        11: [0] * 6,
    }
    for asked, squares in beyond.items():
        assert threatened(boards, np.full(len(fens), asked)).tolist() == squares, asked


def scattered(random: Random) -> chess.Board:
    """A legal position with a few men anywhere, many pawns on their last step among them."""
    while True:
        board = chess.Board(None)
        for kind in (
            chess.KING,
            *random.choices(chess.PIECE_TYPES[:5], (4, 1, 1, 1, 1), k=random.randint(2, 5)),
        ):
            for colour in chess.COLORS if kind == chess.KING else [random.random() < 0.5]:
                square = random.randrange(8, 56)
                if kind == chess.PAWN and random.random() < 0.3:
                    square = square % 8 + (48 if colour else 8)
                board.set_piece_at(square, chess.Piece(kind, colour))
        board.turn = random.random() < 0.5
        if board.is_valid():
            return board


def cases(random: Random, boards: Sequence[chess.Board]) -> list[Case]:
    """Aims at random for each board: gains that are still needed or to spare, or mate."""
    return [
        (
            board,
            random.choice((-3, -1, 0, 0, 1, 1, 2, 3, 5, 9, MATE)),
            random.choice((EVERYWHERE, chess.SquareSet(random.getrandbits(64)))),
            random.choice((0, 0, 1, 2)),
        )
        for board in boards
    ]


def test_it_agrees_with_a_slow_version_on_odd_positions() -> None:
    random = Random(11)
    crowded = random.sample(wandered(31, games=12), 15)
    asked = cases(random, [*(scattered(random) for _ in range(400)), *crowded])
    right = [slow.holds(*case) for case in asked]
    assert held(asked) == right, _first_difference(asked, held(asked), right)
    assert 50 < sum(right) < len(asked) - 50
    right = [slow.collects(*case) for case in asked]
    assert collected(asked) == right, _first_difference(asked, collected(asked), right)


def test_few_boards_and_many_are_looked_at_in_another_order_with_the_same_result() -> None:
    random = Random(12)
    asked = cases(random, [scattered(random) for _ in range(2 * IN_TURN)])
    parts = [asked[begin : begin + IN_TURN // 6] for begin in range(0, len(asked), IN_TURN // 6)]
    for question in (held, collected):
        together = question(asked)
        assert [one for part in parts for one in question(part)] == together
        assert 50 < sum(together) < len(asked) - 50


def _first_difference(asked: Sequence[Case], found: Sequence[bool], right: Sequence[bool]) -> str:
    place = [one == other for one, other in zip(found, right, strict=True)].index(False)
    board, needed, wanted, checks = asked[place]
    return f"{board.fen()} needed {needed}, checks {checks}, on\n{wanted}\nshould be {right[place]}"


def mates(board: chess.Board, checks: int) -> bool:
    """Whether the side to move mates by so many checks, by trying them all."""
    for move in slow.moves(board) if checks else ():
        after = slow.pushed(board, move)
        answers = slow.moves(after)
        if after.is_check() and all(mates(slow.pushed(after, answer), checks - 1) for answer in answers):
            return True
    return False


def test_mates_by_checks_are_those_that_trying_all_checks_finds() -> None:
    random = Random(12)
    boards = [scattered(random) for _ in range(1500)]
    boards = [board for board in boards if not board.is_check()]
    right = [mates(board, 2) for board in boards]
    assert collected([(board, MATE, EVERYWHERE, 2) for board in boards]) == right
    assert len(boards) > 1000 and sum(right) > 10


def claimed(fen: str, move: str, targets: str, least: int, checks: int = 0, allowed: int = 0) -> bool:
    """Whether White's claim holds. `move`: in UCI, or only a square where nothing need be moved."""
    view = View(Positions.from_fens([fen]))
    origin, square = (np.array([chess.parse_square(name)]) for name in (move[:2], move[-2:]))
    wanted = np.bitwise_or.reduce(BIT[[chess.parse_square(name) for name in targets.split()]], keepdims=True)
    moves = Moves(np.array([0]), origin, square)
    return bool(hold(view, claims(moves, BIT[origin], wanted, least=least, checks=checks), allowed)[0])


@pytest.mark.parametrize(
    ("fen", "move", "targets", "least", "stands"),
    [
        ("r3k3/8/8/3N4/8/8/8/4K3 w q - 0 1", "d5c7", "a8 e8", 5, True),
        ("r3k3/8/8/3N4/8/8/8/4K3 w q - 0 1", "d5c7", "a8 e8", 6, False),
        # What the move takes counts.
        ("r3k3/2b5/8/3N4/8/8/8/4K3 w q - 0 1", "d5c7", "a8 e8", 6, True),
        # It is tested as if it were our move, unless their king is in check then.
        ("r3k3/8/8/3N4/8/8/8/4K3 b q - 0 1", "d5c7", "a8 e8", 5, True),
        ("r3k3/8/8/1B1N4/8/8/8/4K3 b q - 0 1", "d5c7", "a8 e8", 5, False),
        # It must not leave our king in check.
        ("r3k3/8/8/3N4/8/3r4/8/3K4 w q - 0 1", "d5c7", "a8 e8", 5, False),
        ("6k1/5ppp/8/8/8/8/8/KR5r w - - 0 1", "b1b8", "g8", MATE, False),
        # If it is our move, it must not win much less than could be won anywhere.
        ("r3k3/8/8/3N3r/8/5B2/6P1/4K3 w q - 0 1", "d5c7", "a8 e8", 5, True),
        ("r3k3/8/8/3N3q/8/5B2/6P1/4K3 w q - 0 1", "d5c7", "a8 e8", 5, False),
        ("r3k3/8/8/3N3q/8/5B2/6P1/4K3 b q - 0 1", "d5c7", "a8 e8", 5, True),
        # It must win more than could be won without it, on the other squares.
        ("6k1/8/8/n6n/8/8/7P/3QK3 w - - 0 1", "d1d5", "a5 h5", 2, False),
        ("6k1/8/8/n6n/8/8/7P/3QK3 w - - 0 1", "d1h5", "h5", 2, True),
        # What stands is tested as if it were their move, which does not answer a check.
        ("1r4k1/8/8/8/8/8/8/NR4K1 b - - 0 1", "b1", "b8", 5, False),
        ("6k1/5ppp/8/8/8/1P6/bKP2PPP/7R w - - 0 1", "h1", "a2", 1, True),
        ("6k1/5ppp/8/8/8/8/bKP2PPP/7R w - - 0 1", "h1", "a2", 1, False),
        ("6k1/5ppp/8/8/n7/1P6/bKP2PPP/7R w - - 0 1", "h1", "a2", 1, False),
        ("8/8/8/8/8/2k5/1r6/R3K2q w - - 0 1", "a1", "b2", 5, False),
        # A king may be the man that stands.
        ("4k3/8/8/8/8/8/6K1/7n b - - 0 1", "g2", "h1", 3, True),
        ("4k3/8/8/8/8/7n/6K1/8 b - - 0 1", "g2", "h3", 3, False),
    ],
)
def test_a_claim_holds_if_its_move_wins_what_it_says(
    fen: str, move: str, targets: str, least: int, stands: bool
) -> None:
    assert claimed(fen, move, targets, least) == stands


def test_a_line_may_allow_more_checks_than_the_claim_asks_for() -> None:
    given = ("2r3k1/5ppp/8/8/8/8/3Q1PPP/3R2K1 w - - 0 1", "d2d8", "g8", MATE)
    assert [claimed(*given, allowed=allowed) for allowed in (0, 1)] == [False, True]


@pytest.mark.parametrize(
    ("fen", "move", "won"),
    [
        ("4k3/8/8/8/8/8/8/3QK3 w - - 0 1", "d1d2", 0),
        ("4k3/8/8/3p4/8/8/3Q4/4K3 w - - 0 1", "d2d5", 1),
        ("4k3/8/2p5/3r4/8/8/6B1/4K3 w - - 0 1", "g2d5", 2),
        ("4k3/8/8/3n4/8/8/3Q4/4K3 w - - 0 1", "d2d5", 3),
        ("r3k3/8/8/3N4/8/8/8/4K3 w q - 0 1", "d5c7", 5),
        ("4k3/8/8/q7/8/8/8/R3K3 w - - 0 1", "a1a5", 8),
        ("6k1/5ppp/8/8/8/8/8/KR6 w - - 0 1", "b1b8", MATE),
        ("2r3k1/5ppp/8/8/8/8/3Q1PPP/3R2K1 w - - 0 1", "d2d8", MATE),
    ],
)
def test_what_a_move_wins_for_good(fen: str, move: str, won: int) -> None:
    view, played = View(Positions.from_fens([fen])), chess.Move.from_uci(move)
    moves = Moves(np.array([0]), np.array([played.from_square]), np.array([played.to_square]))
    assert worth(view, moves).tolist() == [won]
