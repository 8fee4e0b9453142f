"""Why a position was chosen, in words: the loss, or what a move gives up that costs no expected score."""

from __future__ import annotations

from dataclasses import replace

import chess
import pytest
from made_verdicts import QUIET, TWO_TO_TAKE, Told, verdicts

from decks.build.candidates import Candidate
from decks.build.cause import what_it_costs, why_chosen
from patterns.engines.scores import PositionVerdicts
from patterns.reading.pgn import Game

MATE: Told = (1.0, "h6 Rd8#", 2)
ROOK: Told = (1.0, "Kf8 h3")
PAWN: Told = (0.97, "Rd7 h3")
NOTHING: Told = (0.97, "h6")


def judged(fen: str, told: dict[str, Told], centipawns: dict[str, int]) -> PositionVerdicts:
    """Verdicts by SAN, with the centipawns of some moves; all other moves lose nearly everything."""
    board = chess.Board(fen)
    found = verdicts(board, told, 0.1)
    measured = {board.parse_san(san).uci(): value for san, value in centipawns.items()}
    moves = {move: replace(one, centipawns=measured.get(move)) for move, one in found.moves.items()}
    return replace(found, moves=moves)


@pytest.mark.parametrize(
    ("fen", "best", "told", "centipawns", "costs"),
    [
        (QUIET, {"Rd7": MATE}, (0.94, "h6"), {"Kf1": 300}, "loses 0.06"),
        (QUIET, {"Rd7": MATE}, (0.95, "h6"), {"Kf1": 300}, "gives up the mate"),
        (TWO_TO_TAKE, {"Nxd5": ROOK}, NOTHING, {"Nxd5": 900, "Kf1": 320}, "does not win a rook"),
        (TWO_TO_TAKE, {"h3": NOTHING}, NOTHING, {"h3": 600, "Kf1": 325}, "gives up 2.8 pawns"),
        # Nothing but expected score was measured.
        (TWO_TO_TAKE, {"Nxd5": ROOK}, NOTHING, {}, "loses 0.03"),
    ],
)
def test_what_a_quiet_move_costs(
    fen: str, best: dict[str, Told], told: Told, centipawns: dict[str, int], costs: str
) -> None:
    assert what_it_costs(chess.Board(fen), "g1f1", judged(fen, {**best, "Kf1": told}, centipawns)) == costs


@pytest.mark.parametrize(
    ("told", "costs"),
    [(PAWN, "only wins a pawn"), ((0.96, "Rd7 h3"), "only wins a pawn"), ((0.94, "Rd7 h3"), "loses 0.06")],
)
def test_what_a_move_costs_that_wins_less(told: Told, costs: str) -> None:
    found = judged(TWO_TO_TAKE, {"Nxd5": ROOK, "Nxf5": told}, {"Nxd5": 900, "Nxf5": 320})
    assert what_it_costs(chess.Board(TWO_TO_TAKE), "e3f5", found) == costs


def test_a_move_that_wins_the_same_gives_up_what_the_engine_measured() -> None:
    fen = TWO_TO_TAKE.replace("4N3", "2N1N3")
    found = judged(fen, {"Ncxd5": ROOK, "Nexd5": (0.98, "Kf8 h3")}, {"Ncxd5": 900, "Nexd5": 480})
    assert what_it_costs(chess.Board(fen), "e3d5", found) == "gives up 4.2 pawns"


def test_it_is_said_of_the_move_played_or_of_the_one_that_tempts() -> None:
    found = judged(TWO_TO_TAKE, {"Nxd5": ROOK, "Nxf5": PAWN}, {"Nxd5": 900, "Nxf5": 320})
    board = chess.Board(TWO_TO_TAKE)
    for played, says in (("e3f5", "was played"), ("e3d5", "tempts")):
        game = Game(1, 1, {}, board, (chess.Move.from_uci(played),), "*")
        why = why_chosen(Candidate(game, 0, board, "loose-piece"), found, ["e3f5"])
        assert why == f"24. Nxf5 {says} and only wins a pawn"
