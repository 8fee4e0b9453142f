"""A motif that a card's position does not show yet: the move that makes it, and what this move does. Pure."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from typing import TYPE_CHECKING

import chess

from decks.tasks.card import MotifTag
from decks.tasks.hints import men_named
from decks.tasks.lines import board_after, legal_part, move_at
from decks.tasks.task import Task
from decks.tasks.tried import EXPLAINED_BY

if TYPE_CHECKING:
    from patterns.lines import Use

LINES_KEPT = 64
"""Lines whose uses are kept, because the screen asks for them again each time that it is drawn."""


def motif_made(task: Task, tag: MotifTag) -> str:
    """What follows the motif's title: `, with 20. Rab1: The rook on a1 skewers the queen on b3 and ...`.

    Where no line that the deck knows makes the motif, only the men of the card's evidence.
    """
    card = task.card
    evidence = {*card.evidence.get(tag.motif, ())}
    for before, moves in _lines(task, tag):
        made = [use for use in _uses_of(card.fen, before, moves) if use.motif == tag.motif]
        for use in sorted(made, key=lambda use: evidence.isdisjoint((*use.actors, *use.targets))):
            ply, line = len(before) + 2 * use.ply - 1, (*before, *moves)
            lets_in = f" after {move_at(card.board, line, ply - 1)}" if tag.side != _mover(task) else ""
            return f", with {move_at(card.board, line, ply)}{lets_in}: {use.note}"
    return f": {men_named(card.board, sorted(evidence))}." if evidence else "."


def _mover(task: Task) -> str:
    """The side that has to find the move, or that made the mistake."""
    white = task.card.board.turn ^ ((task.card.root or 1) % 2 == 0)
    return chess.COLOR_NAMES[white]


def _lines(task: Task, tag: MotifTag) -> Iterator[tuple[tuple[str, ...], tuple[str, ...]]]:
    """The lines that can show the motif: the moves (UCI) before it, and those of the side that profits.

    The mover's motif is in the card's line, or in what the engine plays. The other side's is let in by a
    wrong move: the root of the line, or a move that the deck has as a variation.
    """
    card = task.card
    before = card.line[: card.root - 1] if card.root else ()
    verdicts = task.verdicts.get(board_after(card.board, before).epd())
    if tag.side == _mover(task):
        if not card.root:
            yield from ((before, card.line), (before, card.line[:1]))
        if verdicts is not None:
            yield before, (verdicts.best, *verdicts.moves[verdicts.best].line)
        return
    for move, *replies in [card.line[len(before) :]] if card.root else card.tried:
        if verdicts is not None:
            yield (*before, move), verdicts.moves[move].line
        yield (*before, move), tuple(replies)


@lru_cache(LINES_KEPT)
def _uses_of(fen: str, before: tuple[str, ...], moves: tuple[str, ...]) -> tuple[Use, ...]:
    """What the side to move after `before` uses in the moves, as far as they are legal."""
    from patterns.lines import uses  # array code, imported only when a motif is told

    board = board_after(chess.Board(fen), before)
    return tuple(uses(board, [chess.Move.from_uci(move) for move in legal_part(board, moves)[:EXPLAINED_BY]]))
