"""The defence that the main line of a new card shows, with verdicts that the test sets."""

from __future__ import annotations

from dataclasses import replace

import chess
import pytest
from asked_at_once import ComparesNothing, result_of
from made_verdicts import Told, verdicts

from decks.build.main_defence import with_main_defence
from decks.cards.movetext import Variation
from decks.tasks.card import Card, MotifTag
from patterns.engines.judging import Evaluation
from patterns.engines.scores import PositionVerdicts

FORKED = "6k1/8/8/2n1r3/8/3P4/8/3Q2K1 w - - 0 30"
"""The pawn forks rook and knight; then the rook can give a last check on e1, where it simply falls."""

AFTER_THE_KNIGHT = "6k1/8/4n3/4r3/3P4/8/8/3Q2K1 w - - 1 31"
AFTER_THE_ROOK = "4r1k1/8/8/2n5/3P4/8/8/3Q2K1 w - - 1 31"

KNIGHT, ROOK = Variation(1, ("c5e6", "d4e5")), Variation(1, ("e5e8", "d4c5", "g8g7"))
CHECKS = Card("", FORKED, ("play",), (MotifTag("fork", "white"),), line=("d3d4", "e5e1", "d1e1"), to_find=1)


class Nobody(ComparesNothing):
    """No engine is asked."""

    def judge(self, *_: object) -> PositionVerdicts:
        raise AssertionError("nobody asks")

    def evaluate(self, *_: object, **__: object) -> Evaluation:
        raise AssertionError("nobody asks")


def with_another(
    card: Card,
    *variations: Variation,
    key: Told = (1.0, "Re1+ Qxe1"),
    knight: Told = (1.0, "Kf7"),
) -> tuple[Card, tuple[Variation, ...]]:
    found = [
        verdicts(card.board, {"d4": key}, 0.1),
        verdicts(chess.Board(AFTER_THE_KNIGHT), {"dxe5": knight}, 0.1),
        verdicts(chess.Board(AFTER_THE_ROOK), {"dxc5": (1.0, "Kg7")}, 0.1),
    ]
    return result_of(with_main_defence(card, variations, {one.epd: one for one in found}), Nobody())


def test_another_defence_takes_the_place_of_a_check_that_only_delays() -> None:
    card, variations = with_another(CHECKS, KNIGHT, ROOK)
    assert (card.line, card.to_find) == (("d3d4", "c5e6", "d4e5"), None)
    assert variations == (ROOK,)
    assert [one.line for one in card.defences] == [ROOK.line]
    card, variations = with_another(CHECKS, ROOK)
    assert (card.line, card.to_find, variations) == (("d3d4", *ROOK.line), 2, ())


@pytest.mark.parametrize(
    ("card", "why"),
    [
        (replace(CHECKS, to_find=None), "its answer has to be found"),
        (replace(CHECKS, line=("d3d4",), to_find=None), "no defence is shown"),
        (replace(CHECKS, line=("d3d4", "e5e4", "d4c5")), "it is no check"),
        (replace(CHECKS, line=("d3d4", "c5d3", "d1d3")), "it is a man that falls, but no check"),
        (replace(CHECKS, motifs=(MotifTag("skewer", "white"),)), "the line does not use the motif"),
    ],
)
def test_what_stays_in_the_main_line(card: Card, why: str) -> None:
    assert with_another(card, KNIGHT, ROOK) == (card, (KNIGHT, ROOK)), why


def test_a_check_that_does_not_lose_its_man_stays() -> None:
    guarded = replace(CHECKS, fen="4r1k1/8/8/2n1r3/8/3P4/8/3Q2K1 w - - 0 30")
    assert with_another(guarded, KNIGHT) == (guarded, (KNIGHT,))


@pytest.mark.parametrize(
    ("key", "knight", "swapped"),
    [
        ((1.0, "Re1+", 4), (1.0, "Kf7"), False),
        ((1.0, "Re1+", 4), (1.0, "Kf7", 3), True),
        ((1.0, "Re1+", 4), (1.0, "Kf7", 2), False),
        ((1.0, "Re1+ Qxe1"), (0.7, "Kf7"), False),
        ((0.7, "Re1+ Qxe1"), (0.7, "Kf7"), True),
        ((0.7, "Re1+ Kf2"), (0.7, "Kf7"), False),
    ],
)
def test_the_other_defence_leaves_the_mover_as_well_off_and_no_better(
    key: Told, knight: Told, swapped: bool
) -> None:
    _, left = with_another(CHECKS, KNIGHT, key=key, knight=knight)
    assert (left == ()) is swapped


def test_a_defence_to_a_later_move_does_not_count() -> None:
    later = Variation(3, ("g8f7", "e1e5"))
    assert with_another(CHECKS, later) == (CHECKS, (later,))
