"""Keys from positions that others have published: how they are read, and that a judging agrees with some."""

from __future__ import annotations

from pathlib import Path

import chess
import pytest
from published import MATES_UP_TO, Published, bratko_kopec, short_endgame_mates, textbook_mates

from patterns.engines.effort import Effort, Round, Search
from patterns.engines.judging import EngineCommand, Judge
from patterns.engines.scores import MoveVerdict, PositionVerdicts

SHALLOW = Effort((Search((Round(6), Round(9, 0.3, 0.3, exact_within=0.15))),), ends_quiet=False)


def test_the_published_best_moves_are_read(chess_archive: Path) -> None:
    found = bratko_kopec(chess_archive)
    assert len(found) == 24
    assert all(one.best and one.mate is None for one in found)
    assert all(chess.Move.from_uci(move) in one.board.legal_moves for one in found for move in one.best)
    assert found[0].name == "BK.01" and found[0].best == {"d6d1"}


def test_the_known_mates_are_read(chess_archive: Path) -> None:
    endgames, textbook = short_endgame_mates(chess_archive), textbook_mates()
    assert len(endgames) == 19 and len(textbook) >= 10
    assert all(one.mate and one.mate <= MATES_UP_TO and one.shortest for one in endgames)
    assert all(one.mate and len(one.best) == 1 and not one.shortest for one in textbook)


MATING = chess.Board("6k1/5ppp/8/8/8/8/8/K2RR3 w - - 0 1")


def verdicts(mates: dict[str, int], otherwise: float = 0.99, board: chess.Board = MATING) -> PositionVerdicts:
    """`mates`: moves to mate, by move. All other moves only keep the win."""
    moves = {
        move.uci(): MoveVerdict(1.0, 21, (), mate=mates[move.uci()])
        if move.uci() in mates
        else MoveVerdict(otherwise, 21, (), 900)
        for move in board.legal_moves
    }
    return PositionVerdicts(board.epd(), "Stockfish 15.1", "wdl", moves, settled=True)


@pytest.mark.parametrize(
    ("published", "mates", "fault"),
    [
        (Published("", MATING, frozenset({"d1d8"}), 1), {"d1d8": 1, "e1e8": 1}, None),
        (Published("", MATING, frozenset({"a1b1"}), 1), {"d1d8": 1}, "a1b1 does not hold, but d1d8"),
        (Published("", MATING, frozenset({"a1b1", "d1d8"}), 1), {"d1d8": 1}, None),
        (Published("", MATING, mate=1), {}, "no mate found, but one in 1 is known"),
        (Published("", MATING, mate=1), {"d1d8": 2}, "a mate in 2, not in 1"),
        (Published("", MATING, mate=2), {"d1d8": 1}, None),
        (Published("", MATING, mate=2, shortest=True), {"d1d8": 1}, "a mate in 1, not in 2"),
        (Published("", MATING), {}, None),
    ],
)
def test_what_speaks_against_a_published_key(
    published: Published, mates: dict[str, int], fault: str | None
) -> None:
    assert published.faults(verdicts(mates)) == ([fault] if fault else [])


def test_a_judging_finds_published_mates_and_best_moves(chess_archive: Path, stockfish: str) -> None:
    """A few that need little depth: a mate in three, and mates in up to two from both collections."""
    (queen_sacrifice, *_) = bratko_kopec(chess_archive)
    short = [one for one in (*short_endgame_mates(chess_archive), *textbook_mates()) if one.mate in (1, 2)]
    with Judge.open(EngineCommand((stockfish,), "")) as judge:
        faults = {
            one.name: one.faults(judge.judge(one.board, SHALLOW)) for one in [queen_sacrifice, *short[:4]]
        }
    assert len(faults) == 5
    assert not any(faults.values()), faults
