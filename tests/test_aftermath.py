"""What comes after moves: which are searched alone, how their lines end, and that no grade changes by it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import chess
import pytest
from chess.engine import Cp, Mate
from made_verdicts import KNIGHT, Told, verdicts

from patterns.engines.aftermath import with_aftermath
from patterns.engines.effort import Aftermath
from patterns.engines.scores import PositionVerdicts
from patterns.engines.uci import Reading

EFFORT = Aftermath(moves=2, plies=16, open_plies=20, end_plies=12)
FOUND: Mapping[str, Told] = {
    "Nxd5": (0.9, "Kf8"),
    "Nc4": (0.8, "Kf8"),
    "Nf5": (0.5, ""),
    "Kf1": (0.4, "Kf8"),
    "Kh1": (0.3, "Kf8"),
}
"""One move that holds, one that slips, three that fail. The rest fails by more."""

BOARD = chess.Board(KNIGHT)


def uci(san: str) -> str:
    return BOARD.parse_san(san).uci()


class Engine:
    """Answers with the scores told for Black, by the line (SAN) so far; else level. Notes what is asked."""

    def __init__(self, told: Mapping[str, tuple[float, str]]) -> None:
        self.told = {}
        for line, (score, reply) in told.items():
            board = BOARD.copy()
            for san in line.split():
                board.push_san(san)
            self.told[board.epd()] = (score, reply)
        self.asked: list[tuple[str, int]] = []

    def read(self, board: chess.Board, plies: int) -> Reading:
        self.asked.append((board.epd(), plies))
        score, replies = self.told.get(board.epd(), (0.5, ""))
        after, line = board.copy(), []
        for san in replies.split() or [board.san(next(iter(board.legal_moves)))]:
            line.append(after.push_san(san))
        rank = {0.0: Mate(-3), 1.0: Mate(3)}.get(score, Cp(round(score * 100)))
        return Reading(score, plies, rank, tuple(line))


def followed(told: Mapping[str, tuple[float, str]]) -> tuple[PositionVerdicts, Engine]:
    engine = Engine(told)
    return with_aftermath(verdicts(BOARD, FOUND, 0.1), BOARD, EFFORT, engine.read), engine


def epd_after(*line: str) -> str:
    board = BOARD.copy()
    for san in line:
        board.push_san(san)
    return board.epd()


def ends(found: PositionVerdicts) -> Sequence[str]:
    return sorted(move for move, verdict in found.moves.items() if verdict.end is not None)


def test_the_best_moves_that_fail_are_searched_alone() -> None:
    found, engine = followed({"Nf5": (0.8, "Rxf5 h3"), "Kf1": (0.7, "Rb5")})
    moves = found.moves
    assert moves[uci("Nf5")].score == 1 - 0.8
    assert (moves[uci("Nf5")].line, moves[uci("Nf5")].centipawns) == (("d5f5", "h2h3"), -80)
    assert moves[uci("Kf1")].line == ("d5b5",)
    assert [asked for asked in engine.asked if asked[1] == 16] == [
        (epd_after("Nf5"), 16),
        (epd_after("Kf1"), 16),
    ]
    assert moves[uci("Kh1")] == verdicts(BOARD, FOUND, 0.1).moves[uci("Kh1")]
    assert ends(found) == sorted(map(uci, ("Nxd5", "Nc4", "Nf5", "Kf1")))
    assert list(moves)[:3] == [uci("Nxd5"), uci("Nc4"), uci("Kf1")], "best first"


@pytest.mark.parametrize(
    ("score", "depth"), [(1.0, 17), (0.95, 17), (0.94, 21), (0.52, 21), (0.51, 17), (0.49, 17), (0.48, 21)]
)
def test_a_score_that_decides_nothing_is_searched_deeper(score: float, depth: int) -> None:
    found, _ = followed({"Nf5": (score, "Rxf5 h3")})
    assert found.moves[uci("Nf5")].depth == depth


def test_a_line_that_ends_among_captures_is_searched_on() -> None:
    found, _ = followed({"Nf5": (0.8, "Rd6"), "Nf5 Rd6": (0.5, "Nxd6 Kf8 h3")})
    assert found.moves[uci("Nf5")].line == ("d5d6", "f5d6")


def test_the_score_at_the_end_is_the_movers_whoever_is_to_move_there() -> None:
    found, engine = followed({"Nxd5 Kf8": (0.9, "h3"), "Nf5": (0.8, "Rd7 h3"), "Nf5 Rd7 h3": (0.6, "Rb7")})
    assert found.moves[uci("Nxd5")].end == 0.9
    assert found.moves[uci("Nf5")].end == 1 - 0.6
    assert {(epd_after("Nxd5", "Kf8"), 12), (epd_after("Nf5", "Rd7", "h3"), 12)} <= set(engine.asked)


def test_a_move_that_does_not_fail_keeps_its_score_and_its_line() -> None:
    found, _ = followed({"Nxd5": (0.9, "Kh8"), "Nc4": (0.9, "Kh8")})
    for san in ("Nxd5", "Nc4"):
        assert (found.moves[uci(san)].score, found.moves[uci(san)].line) == (FOUND[san][0], ("g8f8",))


def test_a_move_that_turns_out_to_lose_little_is_unclear_and_slips() -> None:
    found, _ = followed({"Nf5": (0.2, "Rb5"), "Kf1": (0.26, "Rb5")})
    nf5, kf1 = found.moves[uci("Nf5")], found.moves[uci("Kf1")]
    assert (nf5.score, nf5.line, nf5.unclear) == (0.75, ("d5b5",), True)
    assert found.quality(uci("Nf5")) == "slips"
    assert (round(kf1.score, 6), kf1.unclear, found.quality(uci("Kf1"))) == (0.74, False, "fails")


def test_a_mate_that_the_rounds_did_not_see_is_none() -> None:
    found, _ = followed({"Nf5": (0.0, "Rb5")})
    assert (found.moves[uci("Nf5")].score, found.moves[uci("Nf5")].mate) == (0.75, None)


@pytest.mark.parametrize(
    ("compared", "black", "centipawns"),
    [(-20, 0.8, -80), (-90, 0.8, -90), (None, 0.8, -80), (-90, 1.0, None), (-90, 0.0, -90), (-10, 0.2, -20)],
)
def test_a_move_gives_up_no_fewer_centipawns_than_where_it_was_compared(
    compared: int | None, black: float, centipawns: int | None
) -> None:
    before = verdicts(BOARD, FOUND, 0.1)
    moves = {**before.moves, uci("Nf5"): replace(before.moves[uci("Nf5")], centipawns=compared)}
    engine = Engine({"Nf5": (black, "Rb5")})
    found = with_aftermath(replace(before, moves=moves), BOARD, EFFORT, engine.read)
    assert found.moves[uci("Nf5")].centipawns == centipawns


def test_where_the_rules_end_the_game_nothing_is_searched() -> None:
    board = chess.Board("k7/2Q5/8/1K6/8/8/8/8 w - - 0 24")
    told: Mapping[str, Told] = {"Kb6": (0.5, ""), "Qc8+": (0.99, "Ka7")}
    engine = Engine({})
    found = with_aftermath(verdicts(board, told, 0.0), board, Aftermath(1, 16, 20, 12), engine.read)
    assert (found.moves["b5b6"].score, found.moves["b5b6"].end) == (0.5, 0.5)
    assert [plies for _, plies in engine.asked] == [12]
