"""Slips: which moves of games let a motif slip, and in which order the games are looked at."""

from __future__ import annotations

from dataclasses import replace
from io import StringIO

import chess
import pytest
from asked_at_once import AtOnce, ComparesNothing, InAnyOrder

from decks.build.candidates import Candidate, Shown, candidates
from decks.build.slips import GLANCE_NODES, by_motif, slips
from patterns.catalogue import MOTIFS
from patterns.engines.judging import Evaluation
from patterns.engines.scores import PositionVerdicts
from patterns.reading.pgn import Game, read_games
from patterns.scan import scan

GAME = """\
[Event "Saltmarsh club evening (engine self-play)"]
[Date "2026.07.30"]
[White "Marram, Leila"]
[Black "Cordgrass, Mei"]
[Result "1-0"]

1. e4 c5 2. Nf3 e6 3. d4 cxd4 4. Nxd4 Nc6 5. Nc3 Qc7 6. Be3 a6 7. Qd2 Nf6 8. O-O-O b5 9. Bf4 Qb6 10. Nb3 Be7
11. f3 O-O 12. g4 Rd8 13. Qe1 d5 14. g5 Nh5 15. Be3 d4 16. Nxd4 Bc5 17. Nce2 e5 18. c3 b4 19. Nxc6 Bxe3+
20. Kb1 Rxd1+ 21. Qxd1 Qxc6 22. {} 1-0
"""

MISSED = "r1b3k1/5ppp/p1q5/4p1Pn/1p2P3/2P1bP2/PP2N2P/1K1Q1B1R w - -"
"""White mates on the back rank with 22.Qd8+."""


class Eye(ComparesNothing):
    """A judge that sees the mate in MISSED, and nothing anywhere else.

    `loss`: what a move that misses it loses. `centipawns`: the other side's score after the best move.
    """

    def __init__(self, loss: float = 0.5, best: float = 1.0, centipawns: int | None = None) -> None:
        self.loss, self.best, self.centipawns = loss, best, centipawns
        self.asked: list[str] = []

    def judge(self, *_: object) -> PositionVerdicts:
        raise AssertionError("slips are found by glances")

    def evaluate(
        self, board: chess.Board, *, depth: int | None = None, nodes: int | None = None
    ) -> Evaluation:
        assert nodes == GLANCE_NODES
        epd = board.epd()
        self.asked.append(epd)
        if epd == MISSED:
            return Evaluation(self.best, None, ("d1d8", "c6e8", "d8e8"))
        after = chess.Board(f"{MISSED} 0 1")
        after.push_uci("d1d8")
        if epd == after.epd():
            return Evaluation(1 - self.best, self.centipawns, ("c6e8", "d8e8"))
        return Evaluation(1 - self.best + self.loss, 0, ())


def shown(*played: str, dates: tuple[str, ...] = (), player: str | None = None) -> tuple[Shown, ...]:
    """The game with these 22nd moves, each of its own date."""
    text = "\n".join(GAME.format(move) for move in played)
    games = [game for game in read_games(StringIO(text)) if isinstance(game, Game)]
    assert len(games) == len(played)
    dated = [
        replace(game, headers={**game.headers, "Date": date})
        for game, date in zip(games, dates, strict=False)
    ]
    return candidates(scan(dated or games), list(MOTIFS), player).shown


def found(games: tuple[Shown, ...], eye: Eye) -> list[Candidate]:
    return [one for batch in slips(games, AtOnce(eye), ["back-rank"]) for one in batch]


def test_a_move_that_lets_a_motif_slip_is_found_where_the_best_move_uses_it() -> None:
    (slip,) = found(shown("a3"), Eye())
    assert (slip.board.epd(), slip.played, slip.motif, slip.is_slip) == (MISSED, "a2a3", "back-rank", True)
    assert by_motif([slip]) == {"back-rank": [slip]}


def test_what_is_no_slip() -> None:
    assert found(shown("Qd8+"), Eye()) == [], "the move played uses the motif"
    assert found(shown("a3"), Eye(loss=0.15)) == [], "it lost too little"
    assert found(shown("a3"), Eye(centipawns=-59)) == [], "it gave up too little"
    assert len(found(shown("a3"), Eye(centipawns=-60))) == 1
    assert found(shown("a3"), Eye(best=0.44, loss=0.4)) == [], "the position is lost anyway"
    assert found(shown("a3", player="Cordgrass"), Eye()) == [], "it is the other player's"


def test_the_best_move_may_use_another_motif_than_the_position_shows_but_one_that_is_wanted() -> None:
    (only,) = shown("a3")
    other = Shown(only.game, {ply: frozenset({"outpost"}) for ply in only.motifs}, only.sides)
    assert [one.motif for one in found((other,), Eye())] == ["back-rank"]
    assert list(slips([only], AtOnce(Eye()), ["outpost"])) == []


def test_where_the_score_falls_too_little_for_a_slip_no_third_search_is_made() -> None:
    after = chess.Board(f"{MISSED} 0 1")
    after.push_uci("d1d8")
    for loss, asked in ((0.049, False), (0.051, True)):
        eye = Eye(loss=loss)
        assert found(shown("a3"), eye) == []
        assert (after.epd() in eye.asked) is asked, loss


def test_a_motif_that_is_not_there_is_no_reason_to_look() -> None:
    (only,) = shown("a3")
    eye = Eye()
    nothing = Shown(only.game, {ply: frozenset() for ply in only.motifs}, only.sides)
    assert list(slips([nothing], AtOnce(eye), [])) == [] and eye.asked == []


def test_the_newest_games_come_first_and_no_more_is_asked_than_needed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    games = shown("a3", "b3", "Qd8+", "h4", dates=("2024.??.??", "2026.01.02", "2026.05.05", "2026.01.02"))
    assert [one.played for one in found(games, Eye())] == ["h2h4", "b2b3", "a2a3"], (
        "of one day the later first"
    )
    monkeypatch.setattr("decks.build.slips.BATCH", 8)
    assert [len(stage) for stage in slips(games, AtOnce(Eye()), ["back-rank"])] == [3], "tested together"
    monkeypatch.setattr("decks.build.slips.TOGETHER", 1)
    eye = Eye()
    stages = slips(games, AtOnce(eye), ["back-rank"])
    next(stages)
    first = len(eye.asked)
    list(stages)
    assert 0 < first < len(eye.asked) * 2 / 3


def test_the_slips_are_the_same_with_several_engines() -> None:
    games = shown("a3", "b3", "h4")
    several = slips(games, InAnyOrder(Eye(), 3, 1), ["back-rank"])
    assert [one for batch in several for one in batch] == found(games, Eye())
