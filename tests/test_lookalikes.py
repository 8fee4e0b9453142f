"""Lookalikes: where a motif only seems to win, with a judge whose scores the test sets."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from io import StringIO

import chess
import pytest
from asked_at_once import AtOnce, ComparesNothing

from decks.build.candidates import Candidate, Shown, candidates
from decks.build.lookalikes import lookalikes, mixed
from decks.build.slips import GLANCE_NODES
from patterns.engines.judging import Evaluation
from patterns.engines.scores import PositionVerdicts
from patterns.reading.pgn import Game, read_games
from patterns.scan import scan

SEEMS = "q3r2k/6pp/8/1N5n/8/7B/6PP/5RK1 w - - 0 20"
"""Composed: the knight would fork queen and rook on c7, but the queen checks on a7 and then takes it."""

GAME = """\
[Date "2026.10.15"]
[White "Marram, Leila"]
[Black "Cordgrass, Mei"]
[SetUp "1"]
[FEN "{}"]

20. {} *
"""


@dataclass
class Eye(ComparesNothing):
    """A judge by which White can keep `best` with Rf2, and which sees a man of Black's answer the fork."""

    best: float = 0.6
    loss: float = 0.5
    centipawns: int = 500
    answer: str = "a8a7"

    def judge(self, *_: object) -> PositionVerdicts:
        raise AssertionError("lookalikes are found by glances")

    def evaluate(
        self, board: chess.Board, *, depth: int | None = None, nodes: int | None = None
    ) -> Evaluation:
        assert nodes == GLANCE_NODES
        if board.turn == chess.WHITE:
            return Evaluation(self.best, 100, ("f1f2",))
        if board.piece_at(chess.F2):
            return Evaluation(1 - self.best, 0, ("a8a7",))
        return Evaluation(1 - self.best + self.loss, self.centipawns, (self.answer,))


def games(fen: str = SEEMS, played: str = "Rf2", player: str | None = None) -> tuple[Shown, ...]:
    (game,) = read_games(StringIO(GAME.format(fen, played)))
    assert isinstance(game, Game)
    return candidates(scan([game]), ["fork"], player).shown


def found(shown: tuple[Shown, ...], eye: Eye, *motifs: str) -> list[Candidate]:
    return [one for batch in lookalikes(shown, AtOnce(eye), motifs or ["fork"]) for one in batch]


def test_a_stroke_that_fails_to_one_man_is_found_whatever_was_played() -> None:
    (one,) = found(games(), Eye())
    assert (one.board.fen(), one.motif, one.stroke, one.is_slip) == (SEEMS, "fork", "b5c7", False)
    assert [one.played for one in found(games(played="Nc7"), Eye())] == ["b5c7"]


@pytest.mark.parametrize(
    ("eye", "count", "why"),
    [
        (Eye(loss=0.14), 0, "the stroke loses too little"),
        (Eye(centipawns=59), 0, "it gives up too little"),
        (Eye(centipawns=60), 1, "it gives up enough"),
        (Eye(answer="h5f4"), 0, "another man refutes it"),
        (Eye(answer="a8c8"), 1, "this man refutes it in another way"),
        (Eye(answer="a8c7"), 0, "it just takes the knight"),
        (Eye(best=0.44, loss=0.4), 0, "the position is lost anyway"),
        (Eye(best=0.45, loss=0.4), 1, "the position can be held"),
    ],
)
def test_what_quick_searches_must_say(eye: Eye, count: int, why: str) -> None:
    assert len(found(games(), eye)) == count, why


def test_where_no_stroke_only_seems_to_win_nothing_is_searched() -> None:
    class Blind(Eye):
        def evaluate(self, *_: object, **__: object) -> Evaluation:
            raise AssertionError("nothing is asked")

    assert found(games(SEEMS.replace("6PP", "5PPP"), "Be6"), Blind()) == [], "it is a real fork"
    assert found(games(player="Cordgrass"), Blind()) == [], "the other player is to move"
    assert found(games(), Blind(), "skewer") == [], "the motif is not wanted"
    assert found(games(), Blind(), "open-file") == [], "an open file is there or not"


@pytest.mark.parametrize(
    ("real", "seeming", "wanted", "made"),
    [
        ("abcdefghijklm", "xyz", 12, "abcdefghijxy"),
        ("abcdefghijklm", "x", 12, "abcdefghijxk"),
        ("abcdefghijklm", "xyz", 5, "abcde"),
        ("abc", "xyz", 12, "abcxy"),
    ],
)
def test_one_card_in_six_is_a_lookalike(real: str, seeming: str, wanted: int, made: str) -> None:
    """They come after the real ones, which are made first."""
    told: list[str] = []

    def real_ones() -> Iterator[str]:
        for one in real:
            told.append(one)
            yield one

    def those_that_seem() -> Iterator[str]:
        assert len(told) == min(len(real), wanted - wanted // 6)
        return iter(seeming)

    assert "".join(mixed(real_ones(), those_that_seem, wanted)) == made  # type: ignore[arg-type]


BOTH = "r1b2qk1/5ppp/2p1r3/p2p1Q2/8/2PB3P/PP1N4/2KnR3 b - - 0 24"
"""From self-play: the rook takes a loose rook and lays the queen open, but the queen mates on h7."""


def test_a_stroke_is_named_by_the_first_motif_and_a_loose_piece_only_if_there_is_no_other() -> None:
    class Mates(Eye):
        """A judge that sees the mate after the rook has left."""

        def evaluate(self, board: chess.Board, **_: object) -> Evaluation:
            if board.turn == chess.BLACK:
                return Evaluation(0.6, 100, ("e6h6",))
            left = board.color_at(chess.E1) == chess.BLACK
            return Evaluation(0.9, 500, ("f5h7",)) if left else Evaluation(0.4, 0, ())

    strokes = found(games(BOTH, "Rh6"), Mates(), "loose-piece", "discovered-attack")
    assert [(one.stroke, one.motif) for one in strokes] == [("e6e1", "discovered-attack")]
