"""Ballots marked without a look: what they earn on a deck, and which card comes in between."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import product
from statistics import mean

import chess
import pytest

from decks.asks.assess_mark import score_assess
from decks.build.guessing import GUESS_EARNS, Ballot, Guesses, ballot_of
from decks.tasks.ballot import cells_of, short_rows
from patterns.factors.assessment import Assessment, accepted, assess_boards
from patterns.words.verdicts import Verdict

FENS = (
    "r1bq1rk1/pp2bppp/2n1pn2/3p4/3P1B2/2NBPN2/PP3PPP/R2QK2R w KQ - 0 9",
    "r2q1rk1/pp1b1ppp/2n1pn2/3p4/1b1P4/2NBPN2/PPQB1PPP/R3K2R b KQ - 0 9",
    "2r3k1/pp3ppp/4p3/3pP3/3P4/P1n2N2/5PPP/R5K1 w - - 0 25",
)


KEYS = (Verdict("white", 1), Verdict("level", 0), Verdict("black", 2))


def score(one: Assessment, key: Verdict, marked: Mapping[str, int]) -> float:
    """The score of a ballot, which may be below 0."""
    computed = {each.factor: each.verdict for each in one.factors}
    mark = score_assess(computed, marked, {"verdict": key}, accepted(one), short_rows(one.deciding))
    return (mark.raw - mark.chance) / (1 - mark.chance)


@pytest.mark.parametrize("way", [0, 1, 2])
def test_the_best_guess_is_the_best_of_all_ballots_with_the_same_cells(way: int) -> None:
    """For White, for the side to move, and for the side ahead in material: row by row each cell is tried."""
    boards = [chess.Board(fen) for fen in FENS]
    taken = assess_boards(boards)
    rows = {row for one in taken for row in short_rows(one.deciding)}
    sides = [
        (1, 1 if board.turn else -1, -1 if one.factors[0].balance < 0 else 1)[way]
        for board, one in zip(boards, taken, strict=True)
    ]
    assert way == 0 or set(sides) == {1, -1}

    def earns(cells: Mapping[str, int]) -> float:
        return mean(
            score(one, key, {row: cell * side for row, cell in cells.items()})
            for one, key, side in zip(taken, KEYS, sides, strict=True)
        )

    best = dict.fromkeys(rows, 0)
    for row in rows:
        best = max(({**best, row: cell} for cell in cells_of(row)), key=earns)
    ballots = [ballot_of(one, key, board.turn) for board, one, key in zip(boards, taken, KEYS, strict=True)]
    assert Guesses(ballots).earned()[way] == pytest.approx(earns(best))


def ballot(side: int, mover: int = 1, ahead: int = 1) -> Ballot:
    """One row, on which the side is right and everything else earns nothing."""
    return Ballot(0.0, {("verdict", cell): float(cell == side) for cell in (-1, 0, 1)}, (1, mover, ahead))


def test_the_first_card_suits_and_one_that_a_guess_gets_right_as_well_does_not() -> None:
    guesses = Guesses()
    assert guesses.suits(ballot(1))
    guesses.ballots.append(ballot(1))
    assert not guesses.suits(ballot(1))
    assert guesses.suits(ballot(-1))


@pytest.mark.parametrize(("side", "mover", "ahead"), [*product((1, -1), repeat=3)])
def test_a_card_suits_if_it_makes_guessing_worse_all_in_all(side: int, mover: int, ahead: int) -> None:
    """After a card for White, to move and ahead: not if each guess is right again."""
    right_again = [side == 1, side * mover == 1, side * ahead == 1]
    guesses = Guesses([ballot(1), ballot(side, mover, ahead)])
    assert guesses.earned() == [1.0 if right else 0.5 for right in right_again]
    assert Guesses([ballot(1)]).suits(ballot(side, mover, ahead)) == (not all(right_again))


def test_a_guess_may_earn_a_little() -> None:
    third = [ballot(0), ballot(1), ballot(-1)]
    assert max(Guesses(third).earned()) == pytest.approx(1 / 3)
    assert 1 / 3 < GUESS_EARNS < 2 / 4
    assert not Guesses(third).suits(ballot(0))
    assert Guesses(third * 6).suits(ballot(0))
