"""Taking stock: reasons add up, nothing depends on colour or side of the board, borders are fair."""

from __future__ import annotations

import re
from functools import cache

import chess
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from real_positions import wandered

from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.engines.scores import STRENGTH_THRESHOLDS, verdict_from_expected
from patterns.factors.assessment import (
    MODULES,
    Assessment,
    FactorBalance,
    accepted,
    assess,
    assess_boards,
    factor_verdict,
)
from patterns.factors.weights import BORDER, EXPECTED_BORDER, GRAIN, LEAST_GRAINS, THRESHOLDS, WEIGHTS
from patterns.words.verdicts import FACTORS, LEVEL

WORTH = re.compile(r" \(\+(\d+\.\d\d) (White|Black)\)\.$")
INDICES = st.integers(min_value=0, max_value=500)


@cache
def boards() -> tuple[chess.Board, ...]:
    """Positions of games of random moves, and a handful of opening and ending positions."""
    known = [
        chess.STARTING_FEN,
        "r1bqk2r/pppp1ppp/2n2n2/2b1p3/2B1P3/2N2N2/PPPP1PPP/R1BQK2R w KQkq - 6 5",
        "rnbq1rk1/ppp1ppbp/3p1np1/8/2PPP3/2N2N2/PP3PPP/R1BQKB1R w KQ - 2 6",
        "8/8/4k3/8/3K4/4P3/8/8 w - - 0 1",
        "4k3/8/8/8/8/8/8/4K3 b - - 0 1",
    ]
    return tuple([chess.Board(fen) for fen in known] + list(wandered(seed=5)))


def stated_worth(reason: str) -> float:
    found = WORTH.search(reason)
    assert found, reason
    return float(found.group(1)) * (1 if found.group(2) == "White" else -1)


def test_a_balance_is_the_sum_of_its_reasons() -> None:
    reasons = 0
    for board, assessment in zip(boards(), assess_boards(boards()), strict=True):
        for factor in assessment.factors:
            total = round(sum(stated_worth(reason) for reason in factor.reasons), 2)
            assert total == pytest.approx(factor.balance, abs=1e-9), (board.fen(), factor)
            reasons += len(factor.reasons)
    assert len(boards()) > 400
    assert reasons > 20 * len(boards())


def test_a_reason_is_a_sentence_that_names_what_it_speaks_of() -> None:
    square = re.compile(r"\b[a-h][1-8]\b|\b[a-h]-|\d|is ahead by|has .* for|is to move")
    seen = 0
    for board, assessment in zip(boards(), assess_boards(boards()), strict=True):
        for factor in assessment.factors:
            for reason in factor.reasons:
                text = WORTH.sub("", reason)
                assert text[0].isupper(), (board.fen(), reason)
                assert re.search(r"White|Black", text), (board.fen(), reason)
                assert square.search(text), (board.fen(), reason)
                assert "None" not in text, (board.fen(), reason)
                assert "  " not in text, (board.fen(), reason)
                assert "1 squares" not in text, (board.fen(), reason)
                seen += 1
    assert seen > 9000


def test_every_term_counts_in_some_position() -> None:
    view = View(Positions.from_boards(boards()))
    active = {
        (factor, term.name): int((np.abs(term.worth) >= LEAST_GRAINS * GRAIN).sum())
        for factor, module in MODULES.items()
        for term in module.terms(view)
    }
    assert len(active) > 55
    assert [name for name, number in active.items() if number == 0] == []


def test_terms_have_unique_names_and_one_value_per_row() -> None:
    view = View(Positions.from_boards(boards()))
    for factor, module in MODULES.items():
        terms = module.terms(view)
        assert len({term.name for term in terms}) == len(terms), factor
        for term in terms:
            assert re.fullmatch(r"[a-z]+(-[a-z]+)*", term.name)
            assert term.worth.shape == term.men.shape == (len(view),), term.name
            assert np.isfinite(term.worth).all(), term.name
            assert term.men.dtype == np.uint64, term.name


def same_with_sides_changed(one: Assessment, other: Assessment) -> None:
    for ours, theirs in zip(one.factors, other.factors, strict=True):
        assert ours.balance == pytest.approx(-theirs.balance, abs=1e-9), ours.factor
        assert ours.verdict.signed == -theirs.verdict.signed
        assert sorted(map(stated_worth, ours.reasons)) == pytest.approx(
            sorted(-stated_worth(reason) for reason in theirs.reasons)
        )
    assert one.expected_score == pytest.approx(1 - other.expected_score, abs=1e-9)


@settings(max_examples=150)
@given(INDICES)
def test_black_is_judged_as_white_is(index: int) -> None:
    board = boards()[index % len(boards())]
    same_with_sides_changed(*assess_boards([board, board.mirror()]))


@settings(max_examples=150)
@given(INDICES)
def test_left_and_right_are_judged_alike_without_castling_rights(index: int) -> None:
    board = boards()[index % len(boards())].copy(stack=False)
    board.castling_rights = chess.BB_EMPTY
    flipped = board.transform(chess.flip_horizontal)
    one, other = assess_boards([board, flipped])
    for ours, theirs in zip(one.factors, other.factors, strict=True):
        assert ours.balance == pytest.approx(theirs.balance, abs=1e-9), (board.fen(), ours, theirs)
    assert one.expected_score == pytest.approx(other.expected_score)


def test_one_board_alone_is_judged_as_in_a_batch() -> None:
    together = assess_boards(boards())
    alone = [assess_boards([board])[0] for board in boards()[::7]]
    assert alone == together[::7]
    assert len(alone) > 60


def test_no_boards_give_no_assessments() -> None:
    assert assess_boards([]) == []
    assert assess(View(Positions.from_boards([]))).balances.shape == (len(FACTORS), 0)


def test_factors_come_in_the_order_of_the_sheet() -> None:
    (assessment,) = assess_boards([chess.Board()])
    assert tuple(factor.factor for factor in assessment.factors) == FACTORS
    assert tuple(THRESHOLDS) == tuple(WEIGHTS) == FACTORS


def test_the_verdict_is_that_of_the_expected_score() -> None:
    assessments = assess_boards(boards())
    assert all(entry.verdict == verdict_from_expected(entry.expected_score) for entry in assessments)
    assert {entry.verdict.signed for entry in assessments} == {-3, -2, -1, 0, 1, 2, 3}


@pytest.mark.parametrize("factor", FACTORS)
def test_a_border_belongs_to_the_stronger_verdict(factor: str) -> None:
    for strength, threshold in enumerate(THRESHOLDS[factor], start=1):
        assert factor_verdict(factor, threshold).signed == strength
        assert factor_verdict(factor, -threshold).signed == -strength
        assert factor_verdict(factor, threshold - GRAIN).signed == strength - 1
        assert factor_verdict(factor, GRAIN - threshold).signed == 1 - strength
    assert factor_verdict(factor, 0.0) == LEVEL


def at_balance(factor: str, balance: float, expected: float = 0.5) -> Assessment:
    """An assessment with one factor at this balance, the others level."""
    factors = tuple(
        FactorBalance(name, at, factor_verdict(name, at), ())
        for name in FACTORS
        for at in [balance if name == factor else 0.0]
    )
    return Assessment(factors, verdict_from_expected(expected), expected)


@pytest.mark.parametrize("factor", FACTORS)
def test_near_a_border_both_neighbours_are_right(factor: str) -> None:
    first, second, third = THRESHOLDS[factor]
    margin = BORDER * first
    assert accepted(at_balance(factor, 0.0))[factor] == {0}
    assert accepted(at_balance(factor, first + margin / 2))[factor] == {0, 1}
    assert accepted(at_balance(factor, first - margin / 2))[factor] == {0, 1}
    assert accepted(at_balance(factor, -first + margin / 2))[factor] == {-1, 0}
    assert accepted(at_balance(factor, (first + second) / 2))[factor] == {1}
    assert accepted(at_balance(factor, -second))[factor] == {-2, -1}
    assert accepted(at_balance(factor, third + 2 * margin))[factor] == {3}


def test_near_a_border_of_the_verdict_both_neighbours_are_right() -> None:
    slight, clear, decisive = STRENGTH_THRESHOLDS
    near = EXPECTED_BORDER / 2
    assert accepted(at_balance("space", 0.0, 0.5))["verdict"] == {0}
    assert accepted(at_balance("space", 0.0, 0.5 + slight - near))["verdict"] == {0, 1}
    assert accepted(at_balance("space", 0.0, 0.5 - clear - near))["verdict"] == {-2, -1}
    assert accepted(at_balance("space", 0.0, 0.5 + (clear + decisive) / 2))["verdict"] == {2}


def test_the_verdict_itself_is_always_accepted() -> None:
    for assessment in assess_boards(boards()):
        right = accepted(assessment)
        assert set(right) == {*FACTORS, "verdict"}
        assert assessment.verdict.signed in right["verdict"]
        for factor in assessment.factors:
            assert factor.verdict.signed in right[factor.factor]
            assert len(right[factor.factor]) <= 2


def test_more_on_a_factor_never_lowers_the_expected_score() -> None:
    assert all(weight >= 0 for pair in WEIGHTS.values() for weight in pair)


def test_a_board_without_a_king_is_named() -> None:
    with pytest.raises(ValueError, match="position 1 needs one king per side"):
        assess_boards([chess.Board(), chess.Board("8/8/8/8/8/8/8/K7 w - - 0 1")])
