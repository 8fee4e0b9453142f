"""Variety: no position twice, nor one that a student would take for the same."""

from __future__ import annotations

from collections.abc import Iterable

import chess

from decks.tasks.card import Card

ALIKE_SQUARES = 4
"""Two positions are the same again if no more squares than this differ: a move and its reply change four."""

Men = tuple[int, ...]
"""For each kind and colour of men, the squares they stand on."""

Idea = tuple[object, ...]


class Known:
    """Positions that have been asked about.

    `epds`: positions of which no more is known. `cards`: with these, positions a few plies on and cards of
    the same structure and idea count as known too. `games`: those that have given a card since.
    """

    def __init__(self, epds: Iterable[str] = (), cards: Iterable[Card] = ()) -> None:
        self.games: set[object] = set()
        self._epds = set(epds)
        self._men = {_men(chess.Board.from_epd(epd)[0]) for epd in self._epds}
        self._ideas: set[Idea] = set()
        for card in cards:
            self.add(card)

    def add(self, card: Card) -> None:
        """Note a card."""
        self._epds.add(card.board.epd())
        self._men.add(_men(card.board))
        if card.line:
            self._ideas.add(_idea(card))

    def has(self, board: chess.Board) -> bool:
        """Whether a position is known."""
        return board.epd() in self._epds

    def has_like(self, board: chess.Board) -> bool:
        """Whether a position is known, or is only a move and a reply away from one."""
        men = _men(board)
        return men in self._men or any(_differing(men, other) <= ALIKE_SQUARES for other in self._men)

    def has_idea(self, card: Card) -> bool:
        """Whether there is a card with the same pawns, the same motifs, and the same man going to the same
        square. A card without moves has no idea."""
        return bool(card.line) and _idea(card) in self._ideas


def _men(board: chess.Board) -> Men:
    return tuple(board.pieces_mask(kind, colour) for colour in chess.COLORS for kind in chess.PIECE_TYPES)


def _differing(men: Men, others: Men) -> int:
    """On how many squares two positions differ."""
    differing = 0
    for mine, theirs in zip(men, others, strict=True):
        differing |= mine ^ theirs
    return differing.bit_count()


def _idea(card: Card) -> Idea:
    board, key = card.board, chess.Move.from_uci(card.line[0])
    pawns = [board.pieces_mask(chess.PAWN, colour) for colour in chess.COLORS]
    return *pawns, card.motifs, board.piece_type_at(key.from_square), key.to_square
