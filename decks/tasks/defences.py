"""What is said of a defence: the other side's move, and what it fails to. Pure."""

from __future__ import annotations

from decks.tasks.card import Card, KeyMove
from decks.tasks.lines import move_at
from decks.tasks.tried import tried
from patterns.engines.scores import PositionVerdicts
from patterns.words.wording import side_name


def defence_played(card: Card, key: KeyMove) -> str:
    """The defence that a key move answers, with its number."""
    return move_at(card.board, key.before, key.ply)


def what_it_fails_to(card: Card, key: KeyMove, move: str, verdicts: PositionVerdicts) -> str:
    """A sentence on a defence that this move (UCI) meets: what it gains, or how the mover then stands."""
    defence, own = defence_played(card, key), tried(key.board, move, verdicts, key.line)
    side = side_name(key.board.turn)
    if own.wins.mates or (own.wins.words and own.is_told_better and own.comes(own.wins.plies)):
        return f"{defence} fails to {own.move}: {side} {own.wins.words}."
    if own.is_perpetual(key.board.turn):
        return f"{defence} is met by {own.move}: {side} draws by perpetual check."
    about = f" ({own.point})" if own.point else ""
    return f"{defence} is met by {own.move}{about}: {own.game}."
