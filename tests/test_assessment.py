"""Taking stock: reasons add up, nothing depends on colour or side of the board, borders are fair."""

from __future__ import annotations

import math
import re
from functools import cache
from pathlib import Path

import chess
import numpy as np
import pytest
from quiet_steps import ROWS, quiet_steps
from real_positions import games_in, wandered

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
    verdict_of,
)
from patterns.factors.weights import EXPECTED_BORDER, GRAIN, PER_PAWN, SMALL, expected_score
from patterns.words.verdicts import FACTORS, LEVEL

WORTH = re.compile(r" \(\+(\d+\.\d\d) (White|Black)\)\.$")


@cache
def boards() -> tuple[chess.Board, ...]:
    """Positions of games of random moves, and a handful of opening and ending positions."""
    known = [
        chess.STARTING_FEN,
        "r1bqk2r/pppp1ppp/2n2n2/2b1p3/2B1P3/2N2N2/PPPP1PPP/R1BQK2R w KQkq - 6 5",
        "rnbq1rk1/ppp1ppbp/3p1np1/8/2PPP3/2N2N2/PP3PPP/R1BQKB1R w KQ - 2 6",
        "8/8/4k3/8/3K4/4P3/8/8 w - - 0 1",
        "4k3/8/8/8/8/8/8/4K3 b - - 0 1",
        "6k1/3b1ppp/4p3/1p1pP3/p2P4/P3N3/1P3PPP/6K1 w - - 0 1",
        "6k1/5p1p/5p1p/4p3/8/7N/5PPP/2B3K1 w - - 0 1",
        "3q2k1/5ppp/8/2b5/8/8/5PPP/3Q2K1 w - - 0 1",
        "1r4k1/5ppp/2p5/8/3N4/1P6/5PPP/6K1 w - - 0 1",
    ]
    return tuple([chess.Board(fen) for fen in known] + list(wandered(seed=5)))


@cache
def assessments() -> tuple[Assessment, ...]:
    return tuple(assess_boards(boards()))


def stated_worth(reason: str) -> float:
    found = WORTH.search(reason)
    assert found, reason
    return float(found.group(1)) * (1 if found.group(2) == "White" else -1)


def test_a_balance_is_the_sum_of_its_reasons() -> None:
    reasons = 0
    for board, assessment in zip(boards(), assessments(), strict=True):
        for factor in assessment.factors:
            total = round(sum(stated_worth(reason) for reason in factor.reasons), 2)
            assert total == pytest.approx(factor.balance, abs=1e-9), (board.fen(), factor)
            reasons += len(factor.reasons)
    assert len(boards()) > 400
    assert reasons > 12 * len(boards())


def test_a_reason_is_a_sentence_that_names_what_it_speaks_of() -> None:
    square = re.compile(r"\b[a-h][1-8]\b|\b[a-h]-|\d|is ahead by|has .* for|is to move")
    seen = 0
    for board, assessment in zip(boards(), assessments(), strict=True):
        for factor in assessment.factors:
            for reason in factor.reasons:
                text = WORTH.sub("", reason)
                if text.endswith("small things together"):
                    continue
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
        (factor, term.name): int((np.abs(term.worth) >= GRAIN).sum())
        for factor, module in MODULES.items()
        for term in module.terms(view)
    }
    assert len(active) > 50
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


def test_black_is_judged_as_white_is() -> None:
    mirrored = assess_boards([board.mirror() for board in boards()])
    for one, other in zip(assessments(), mirrored, strict=True):
        same_with_sides_changed(one, other)


def test_left_and_right_are_judged_alike_without_castling_rights() -> None:
    bare = [board.copy(stack=False) for board in boards()]
    for board in bare:
        board.castling_rights = chess.BB_EMPTY
    flipped = assess_boards([board.transform(chess.flip_horizontal) for board in bare])
    for board, one, other in zip(bare, assess_boards(bare), flipped, strict=True):
        for ours, theirs in zip(one.factors, other.factors, strict=True):
            assert ours.balance == pytest.approx(theirs.balance, abs=1e-9), (board.fen(), ours, theirs)
        assert one.expected_score == pytest.approx(other.expected_score)


def test_one_board_alone_is_judged_as_in_a_batch() -> None:
    alone = [assess_boards([board])[0] for board in boards()[::29]]
    assert alone == list(assessments()[::29])
    assert len(alone) > 15


def test_no_boards_give_no_assessments() -> None:
    assert assess_boards([]) == []
    assert assess(View(Positions.from_boards([]))).balances.shape == (len(FACTORS), 0)


def test_factors_come_in_the_order_of_the_sheet() -> None:
    (assessment,) = assess_boards([chess.Board()])
    assert tuple(factor.factor for factor in assessment.factors) == FACTORS


def test_the_verdict_is_that_of_the_expected_score() -> None:
    assert all(entry.verdict == verdict_from_expected(entry.expected_score) for entry in assessments())
    assert {entry.verdict.signed for entry in assessments()} == {-3, -2, -1, 0, 1, 2, 3}


def in_pawns(gap: float) -> float:
    """The advantage in pawns that gives this distance of the expected score from one half."""
    return math.log((0.5 + gap) / (0.5 - gap)) / PER_PAWN


def test_one_scale_for_every_factor_and_for_the_whole() -> None:
    for strength, gap in enumerate(STRENGTH_THRESHOLDS, start=1):
        border = in_pawns(gap)
        assert verdict_of(border + GRAIN).signed == strength
        assert verdict_of(-border - GRAIN).signed == -strength
        assert verdict_of(border - GRAIN).signed == strength - 1
        assert verdict_of(GRAIN - border).signed == 1 - strength
    assert verdict_of(0.0) == LEVEL
    assert [round(in_pawns(gap), 2) for gap in STRENGTH_THRESHOLDS] == [0.27, 0.74, 1.93]


def test_the_balances_add_up_to_the_verdict() -> None:
    for assessment in assessments():
        total = sum(factor.balance for factor in assessment.factors)
        assert float(expected_score(np.array(total))) == pytest.approx(assessment.expected_score)
        assert verdict_of(total) == assessment.verdict
        assert all(factor.verdict == verdict_of(factor.balance) for factor in assessment.factors)


def at_balance(factor: str, balance: float, expected: float = 0.5) -> Assessment:
    """An assessment with one factor at this balance, the others level."""
    factors = tuple(
        FactorBalance(name, at, verdict_of(at), ())
        for name in FACTORS
        for at in [balance if name == factor else 0.0]
    )
    return Assessment(factors, verdict_from_expected(expected), expected)


@pytest.mark.parametrize("factor", FACTORS)
def test_near_a_border_both_neighbours_are_right(factor: str) -> None:
    slight, clear, decisive = STRENGTH_THRESHOLDS
    near = EXPECTED_BORDER / 2
    for gap, right in (
        (0.0, {0}),
        (slight + near, {0, 1}),
        (slight - near, {0, 1}),
        (near - slight, {0, -1}),
        ((slight + clear) / 2, {1}),
        (-clear, {-2, -1}),
        (decisive + 2 * EXPECTED_BORDER, {3}),
    ):
        assert accepted(at_balance(factor, in_pawns(gap)))[factor] == right


def test_near_a_border_of_the_verdict_both_neighbours_are_right() -> None:
    slight, clear, decisive = STRENGTH_THRESHOLDS
    near = EXPECTED_BORDER / 2
    assert accepted(at_balance("space", 0.0, 0.5))["verdict"] == {0}
    assert accepted(at_balance("space", 0.0, 0.5 + slight - near))["verdict"] == {0, 1}
    assert accepted(at_balance("space", 0.0, 0.5 - clear - near))["verdict"] == {-2, -1}
    assert accepted(at_balance("space", 0.0, 0.5 + (clear + decisive) / 2))["verdict"] == {2}


def test_the_verdict_itself_is_always_accepted() -> None:
    for assessment in assessments():
        right = accepted(assessment)
        assert set(right) == {*FACTORS, "verdict"}
        assert assessment.verdict.signed in right["verdict"]
        for factor in assessment.factors:
            assert factor.verdict.signed in right[factor.factor]
            assert len(right[factor.factor]) <= 2


def test_what_speaks_of_both_sides_is_told_once() -> None:
    both = "4k3/1p3pp1/8/8/8/8/P1P2PP1/4K3 w - - 0 1"
    (assessment,) = assess_boards([chess.Board(both)])
    told = [reason for factor in assessment.factors for reason in factor.reasons if "isolated" in reason]
    assert told == ["White's pawns on a2 and c2 are isolated; Black's pawn on b7 is isolated (+0.15 Black)."]


def test_small_reasons_are_told_together_and_last() -> None:
    together = 0
    for assessment in assessments():
        for factor in assessment.factors:
            small = [reason for reason in factor.stated if "small things" in reason.text]
            apart = [reason for reason in factor.stated if reason not in small]
            assert apart == sorted(apart, key=lambda reason: -abs(reason.worth))
            assert sum(abs(reason.worth) < SMALL for reason in apart) <= (0 if small else 1)
            assert not small or factor.stated[-1] in small
            together += len(small)
    assert together > 200


def test_a_board_without_a_king_is_named() -> None:
    with pytest.raises(ValueError, match="position 1 needs one king per side"):
        assess_boards([chess.Board(), chess.Board("8/8/8/8/8/8/8/K7 w - - 0 1")])


def test_a_quiet_move_hardly_ever_changes_a_level_by_two(chess_archive: Path) -> None:
    steps = quiet_steps(games_in(chess_archive / "data" / "pgn"))
    assert steps.plain.sum() > 600
    assert steps.plain.mean() > 0.9
    for row, jumps, clear in zip(ROWS, steps.jumps[:, steps.plain], steps.clear, strict=True):
        assert jumps.mean() <= (0.02 if row == "verdict" else 0.01), row
        assert clear.mean() <= 0.02, row
