"""Squares where a naive count goes wrong, and the cards about them that a deck can have.

A naive count compares the men that attack a square at once with those that defend it at once. It goes wrong
where a man behind another one joins in, or where a pinned man, a king or a defender with another duty cannot.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator

import chess

from decks.asks.count import ASK
from decks.asks.count_mark import SQUARE_TAG
from decks.build.candidates import is_past_opening
from decks.build.origins import headers_of, origin_of
from decks.cards.cards_file import CardEntry
from decks.tasks.card import Card
from patterns.proof.captures import played_out
from patterns.reading.pgn import Game, boards_of, sides_of
from patterns.square_count import SquareCount, count_square

FEWEST_MEN = 2
"""Men of each side that bear on the square. With fewer there is little to count."""

FEWEST_AT_ONCE = 3
"""Men of both sides that attack the square at once. This is asked first, because it is quick to see."""


def misleading_squares(board: chess.Board) -> list[SquareCount]:
    """The counts on squares where the side to move can capture and a naive count gives the wrong answer.

    A count says that the attacker wins if it has more men than the defender. On these squares that is right
    for the men that count, and wrong for the men that attack and defend at once. The exchange must also come
    out as computed when it is played with legal moves, in which a defender may leave its duty. The side to
    move must not be in check.

    >>> board = chess.Board("4r3/3k4/2nb2n1/1B2p3/8/3N1N2/1B6/4R1K1 w - - 0 1")
    >>> [chess.SQUARE_NAMES[count.square] for count in misleading_squares(board)]
    ['e5']
    """
    if board.is_check():
        return []
    contested = (
        square
        for square in chess.SquareSet(board.occupied_co[not board.turn] & ~board.kings)
        if all(naive := naive_count(board, square)) and sum(naive) >= FEWEST_AT_ONCE
    )
    return [count for square in contested if _misleads(board, count := count_square(board, square))]


def _misleads(board: chess.Board, count: SquareCount) -> bool:
    attackers, defenders = count.counted
    naively, wins = naive_count(board, count.square), count.exchange > 0
    return (
        min(len(count.attackers), len(count.defenders)) >= FEWEST_MEN
        and (attackers > defenders) == wins
        and (naively[0] > naively[1]) != wins
        and (played_out(board, _fought_over(board, count)) > 0) == wins
    )


def naive_count(board: chess.Board, square: chess.Square) -> tuple[int, int]:
    """How many men of each side attack the square at once: first those of the attacker."""
    owner = board.color_at(square)
    attacker = board.turn if owner is None else not owner
    return len(board.attackers(attacker, square)), len(board.attackers(not attacker, square))


def _fought_over(board: chess.Board, count: SquareCount) -> chess.SquareSet:
    """The square, and those of the men that would fall if a defender left its duty."""
    duties = (square for one in count.defenders if not one.counts for square in one.about)
    owner = board.color_at(count.square)
    return chess.SquareSet([count.square, *(at for at in duties if board.color_at(at) == owner)])


def count_cards(
    games: Iterable[Game], player: str | None = None, taken: Collection[str] = frozenset()
) -> Iterator[CardEntry]:
    """Cards about misleading squares, at most one from each game: the square that most men bear on.

    `player`: only positions where this player is to move. `taken`: EPDs that must not be asked about again.
    """
    seen = set(taken)
    for game in games:
        sides = {"white", "black"} if player is None else set(sides_of(game, player))
        found = [
            (count, ply, board)
            for ply, board in enumerate(boards_of(game) if sides else ())
            if is_past_opening(game, ply)
            and chess.COLOR_NAMES[board.turn] in sides
            and board.epd() not in seen
            for count in misleading_squares(board)
        ]
        if found:
            count, ply, board = max(found, key=lambda one: len(one[0].attackers) + len(one[0].defenders))
            seen.add(board.epd())
            card = Card(
                card_id="",
                fen=board.fen(en_passant="legal"),
                asks=(ASK.id,),
                origin=origin_of(game, ply),
                own_tags={SQUARE_TAG: chess.SQUARE_NAMES[count.square]},
            )
            yield CardEntry(card, headers_of(game))
