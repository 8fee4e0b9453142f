"""A UCI engine that says again what `verdicts.jsonl` of the demo deck keeps, and finds all other moves equal.

So the demo deck's cards are found again in its games within a second, which no engine that searches can do.
Run as a process, with the checkout and its `tests` on PYTHONPATH. How it talks is `fake_engine`'s.
"""

from __future__ import annotations

import math

import chess
import fake_engine

from decks.cards.demo import demo_deck_folder
from decks.cards.verdicts_file import VERDICTS_FILE, read_verdicts
from patterns.engines.scores import CENTIPAWN_SLOPE

RECORDED = read_verdicts((demo_deck_folder() / VERDICTS_FILE).read_text(encoding="utf-8")).by_epd


def centipawns(score: float) -> int:
    """The engine score that means this expected score."""
    kept = min(max(score, 0.001), 0.999)
    return round(-math.log(1 / kept - 1) / CENTIPAWN_SLOPE)


def search(mode: str, board: chess.Board, depth: int, lines: int, only: list[str], hash_mb: int) -> None:
    moves = [move.uci() for move in board.legal_moves if not only or move.uci() in only]
    known = RECORDED.get(board.epd())
    scores = {move: known.moves[move].score if known else 0.5 for move in moves}
    moves.sort(key=lambda move: -scores[move])
    for number, move in enumerate(moves[:lines], 1):
        line = " ".join([move, *(known.moves[move].line if known else ())])
        score = centipawns(scores[move])
        fake_engine.say(f"info depth {max(depth, 18)} multipv {number} score cp {score} pv {line}")
    fake_engine.say(f"bestmove {moves[0]}")


if __name__ == "__main__":
    fake_engine.search = search
    fake_engine.main("steady")
