"""Where a card comes from: the game and the last move played, in words, and the tags it takes over."""

from __future__ import annotations

import chess

from patterns.reading.pgn import Game

KEPT_TAGS = ("Event", "Site", "Date", "Round", "White", "Black")
"""Tags of a game that its cards keep. The result is kept too, as it was read."""


def origin_of(game: Game, ply: int) -> str:
    """The game and the last move played. `ply`: moves played before the position."""
    headers = game.headers
    names = f"{headers.get('White', '?')}-{headers.get('Black', '?')}"
    where = " ".join(text for text in (headers.get("Event", ""), headers.get("Date", "")) if text.strip("?."))
    parts = [names if names.strip("?-") or ply else "", where]
    if ply:
        before = game.start.copy(stack=False)
        for move in game.moves[: ply - 1]:
            before.push(move)
        dots = "." if before.turn == chess.WHITE else "..."
        parts.append(f"after {before.fullmove_number}{dots}{before.san(game.moves[ply - 1])}")
    return ", ".join(filter(None, parts))


def headers_of(game: Game) -> dict[str, str]:
    """The tags that a card takes over from its game."""
    kept = {name: value for name, value in game.headers.items() if name in KEPT_TAGS}
    return {**kept, "Result": game.result}
