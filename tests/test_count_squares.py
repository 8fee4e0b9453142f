"""Squares where a naive count goes wrong, and counts against captures that are played out on the board."""

from __future__ import annotations

from io import StringIO
from pathlib import Path

import chess
import pytest
import slow
from made_tasks import BESIEGED
from real_positions import positions_in

from decks.build.count_squares import count_cards, misleading_squares, naive_count
from decks.cards.cards_file import write_card
from patterns.reading.pgn import Game, read_games
from patterns.square_count import SquareCount, count_square

LEAVES_ITS_DUTY = "6k1/8/R1p3b1/3n4/1R6/2r1Np2/2n1Q3/6K1 w - - 0 1"


def names(counts: list[SquareCount]) -> list[str]:
    return [chess.SQUARE_NAMES[count.square] for count in counts]


@pytest.mark.parametrize(
    ("fen", "found", "why"),
    [
        (BESIEGED, ["e5"], "a defender is pinned, so four against four wins a pawn"),
        (BESIEGED.replace("1B2p3", "4p3"), [], "no defender is pinned, and four against four is even"),
        (BESIEGED.replace(" w ", " b "), [], "Black cannot take his own pawn"),
        (
            "3r2k1/3r4/8/3p4/8/8/3R4/3RQ1K1 w - - 0 1",
            [],
            "a rook behind each of the rooks: both counts say that nobody wins",
        ),
        ("4r1k1/4r3/8/4p3/8/5N2/8/4R1K1 w - - 0 1", ["e5"], "the rook behind the rook defends too"),
        ("4r1k1/8/8/4p3/8/5N2/4R3/4R1K1 w - - 0 1", [], "two against one, and three against one, win"),
        ("6k1/4r3/8/4p3/8/5N2/8/4R1K1 w - - 0 1", [], "nothing is behind the rook"),
        ("n2r2k1/5b2/8/3n4/8/5B2/8/Q2R2K1 w - - 0 1", ["d5"], "the rook on d8 alone guards the knight on a8"),
        ("5r1k/8/8/4p2q/8/5N2/4R3/4R1K1 w - - 0 1", [], "the queen that attacks e5 at once counts already"),
        ("4r1k1/4r3/8/4p3/8/5N2/8/q3R1K1 w - - 0 1", [], "the rook on e1 is pinned: one against two"),
        ("4r1k1/4r3/8/4p3/7q/5N2/8/4R1K1 w - - 0 1", ["e5"], "a queen elsewhere changes nothing"),
        ("4r1k1/4r3/8/4p3/8/5Nq1/8/4R1K1 w - - 0 1", [], "White is in check"),
    ],
)
def test_squares_where_the_men_at_first_sight_mislead(fen: str, found: list[str], why: str) -> None:
    assert names(misleading_squares(chess.Board(fen))) == found, why


def test_a_bound_defender_that_may_leave_its_duty_after_all_makes_no_card() -> None:
    """Two count against one on c2, but the man with another duty takes there all the same."""
    board = chess.Board(LEAVES_ITS_DUTY)
    count = count_square(board, chess.C2)
    assert (count.counted, count.exchange, naive_count(board, chess.C2)) == ((2, 1), 3, (2, 2))
    assert misleading_squares(board) == []


def test_the_naive_count_is_of_men_that_attack_at_once() -> None:
    assert naive_count(chess.Board(BESIEGED), chess.E5) == (4, 4)
    assert naive_count(chess.Board("4r1k1/4r3/8/4p3/8/5N2/8/4R1K1 w - - 0 1"), chess.E5) == (2, 1)
    assert naive_count(chess.Board("4r1k1/4r3/8/8/8/5N2/8/4R1K1 b - - 0 1"), chess.E5) == (1, 2)


def takes(board: chess.Board, square: chess.Square) -> list[chess.Move]:
    """The legal captures on the square by python-chess, promotions to queens only."""
    return [
        move
        for move in board.legal_moves
        if move.to_square == square and board.is_capture(move) and move.promotion in (None, chess.QUEEN)
    ]


def by_minimax(board: chess.Board, square: chess.Square, must_take: bool = False) -> int | None:
    """What the side to move wins by legal captures on the square. Either side may stop at any time."""
    values = []
    for move in takes(board, square):
        after = slow.pushed(board, move)
        values.append(slow.gain(board, move) - (by_minimax(after, square) or 0))
    if must_take:
        return max(values, default=None)
    return max([0, *values])


def can_join_in(board: chess.Board, square: chess.Square) -> set[chess.Square]:
    """The men, kings aside, that can legally capture on the square once others have captured and gone.

    Whoever has captured leaves the board, and a pawn of the other side stands on the square again.
    """
    found: set[chess.Square] = set()
    open_yet, seen = [frozenset[int]()], {frozenset[int]()}
    while open_yet:
        gone = open_yet.pop()
        for side in chess.COLORS:
            left = board.copy(stack=False)
            for origin in gone:
                left.remove_piece_at(origin)
            left.turn = side
            left.ep_square = None
            left.set_piece_at(square, chess.Piece(chess.PAWN, not side))
            for origin in {move.from_square for move in left.legal_moves if move.to_square == square}:
                if left.piece_type_at(origin) != chess.KING:
                    found.add(origin)
                    after = gone | {origin}
                    open_yet += [after] if after not in seen else []
                    seen.add(after)
    return found


def test_the_key_is_what_playing_all_captures_out_gives(chess_archive: Path) -> None:
    """Real games of the python-chess source archive (data/pgn), every fourth position.

    Left out: positions in check, and squares with a defender that has another duty, which legal moves ignore.
    """
    exchanges = winners = 0
    for board in positions_in(chess_archive / "data" / "pgn")[::4]:
        if board.is_check():
            continue
        for square in chess.SquareSet(board.occupied_co[not board.turn] & ~board.kings):
            if not takes(board, square):
                continue
            count = count_square(board, square)
            if any("alone" in one.reason for one in count.defenders):
                continue
            assert count.exchange == by_minimax(board, square), (board.fen(), square)
            exchanges += 1
            first = by_minimax(board, square, must_take=True)
            assert first is not None
            assert count.wins == (None if first == 0 else board.turn == (first > 0)), (board.fen(), square)
            winners += first != 0
            men = {one.square for one in (*count.attackers, *count.defenders) if one.counts}
            pieces = {at for at in men if board.piece_type_at(at) != chess.KING}
            assert pieces == can_join_in(board, square), (board.fen(), square)
    assert exchanges > 400
    assert winners > 200


def games(text: str) -> list[Game]:
    return [game for game in read_games(StringIO(text)) if isinstance(game, Game)]


HANDED_OUT = f"""
[Event "Saltmarsh hand-out"]
[White "Reed"]
[Black "Wren"]
[FEN "{BESIEGED}"]

1. Kf1 Kc8 *
"""


def test_a_game_gives_one_card_about_the_square_that_most_men_look_at() -> None:
    (entry,) = count_cards(games(HANDED_OUT))
    assert (entry.card.fen, entry.card.own_tags) == (BESIEGED, {"Square": "e5"})
    assert entry.card.origin == "Reed-Wren, Saltmarsh hand-out"
    assert '[Square "e5"]' in write_card(entry)
    assert list(count_cards(games(HANDED_OUT), taken={entry.card.board.epd()})) == []
    assert list(count_cards(games(HANDED_OUT * 2)))[1:] == [], "the same position once"


@pytest.mark.parametrize(("player", "cards"), [("reed", 1), ("wren", 0), ("nobody", 0)])
def test_only_positions_where_the_player_is_to_move(player: str, cards: int) -> None:
    assert len(list(count_cards(games(HANDED_OUT), player))) == cards
