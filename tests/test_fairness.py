"""Ballots graded against the keys of real positions: better answers earn more, and guessing earns nothing."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from random import Random
from statistics import mean

import chess
import pytest
from real_positions import positions_in

from decks.asks.assess_mark import AssessMark, score_assess
from decks.build.guessing import GUESS_EARNS, Guesses, ballot_of
from decks.cards.deck import read_deck
from decks.review.grading import grade_of
from decks.tasks.ballot import BALLOT_ROWS, FACTOR_CELLS, SHORT_BALLOT_FACTORS, cells_of, fold, short_rows
from patterns.factors.assessment import Assessment, accepted, assess_boards
from patterns.words.verdicts import Verdict

DECK = Path(__file__).resolve().parent.parent / "demo_deck"
BALLOTS = 105
FIRST_MOVE, FEWEST_PIECES = 8, 6
"""From the eighth move on, with six pieces besides kings and pawns, it is a middlegame (common practice)."""

VALUES = {chess.PAWN: 1, chess.KNIGHT: 3, chess.BISHOP: 3, chess.ROOK: 5, chess.QUEEN: 9, chess.KING: 99}


def is_quiet_middlegame(board: chess.Board) -> bool:
    """No check, and no man to take that is unguarded or worth more than the man that takes it."""
    pieces = board.occupied & ~board.pawns & ~board.kings
    if board.is_check() or board.fullmove_number < FIRST_MOVE or chess.popcount(pieces) < FEWEST_PIECES:
        return False
    for move in board.generate_legal_captures():
        taken = board.piece_type_at(move.to_square) or chess.PAWN
        taker = board.piece_type_at(move.from_square) or chess.PAWN
        if VALUES[taken] > VALUES[taker] or not board.attackers(not board.turn, move.to_square):
            return False
    return True


@pytest.fixture(scope="module")
def assessments(chess_archive: Path) -> list[Assessment]:
    """Of positions that suit a ballot, those of a deck: a third level, a third for each side."""
    quiet = [board for board in positions_in(chess_archive / "data" / "pgn") if is_quiet_middlegame(board)]
    suited = [assessment for assessment in assess_boards(quiet) if speaks_for_both(assessment)]
    chosen = []
    for side in ("white", "level", "black"):
        fit = [assessment for assessment in suited if assessment.verdict.side == side]
        chosen += Random(2031).sample(fit, BALLOTS // 3)
    return chosen


def speaks_for_both(assessment: Assessment) -> bool:
    """Whether of the factors on a short ballot some favour White and some Black."""
    verdicts = computed(assessment)
    return {"white", "black"} <= {verdicts[row].side for row in assessment.deciding[:SHORT_BALLOT_FACTORS]}


def computed(assessment: Assessment) -> dict[str, Verdict]:
    return {entry.factor: entry.verdict for entry in assessment.factors} | {"verdict": assessment.verdict}


def rows_of(assessment: Assessment, form: str) -> Sequence[str]:
    return BALLOT_ROWS if form == "whole" else short_rows(assessment.deciding)


def guesses(key: dict[str, int]) -> dict[str, dict[str, int]]:
    """Ballots that take a part of the key, and guess the rest."""
    some = next(row for row in key if row != "verdict")
    return {
        "one row off": key | {some: key[some] + (1 if key[some] <= 0 else -1)},
        "a step off": {row: signed and one_step(signed) for row, signed in key.items()},
        "half the sides": {
            row: signed if place % 2 else -signed for place, (row, signed) in enumerate(key.items())
        },
        "verdict copied": {row: fold(row, key["verdict"]) for row in key},
        "verdict only": {row: -signed for row, signed in key.items()} | {"verdict": key["verdict"]},
        "mirrored": {row: -signed for row, signed in key.items()},
        "all level": dict.fromkeys(key, 0),
    }


def one_step(signed: int) -> int:
    """The cell beside it on the same side: slight for clear, clear for slight and for decisive."""
    return (1 if abs(signed) == 2 else 2) * (1 if signed > 0 else -1)


def marks_by_kind(assessments: list[Assessment], form: str) -> dict[str, list[AssessMark]]:
    """One ballot of each kind for every position, marked."""
    chance = Random(5)
    marks: dict[str, list[AssessMark]] = {}
    for assessment in assessments:
        rows, verdicts = rows_of(assessment, form), computed(assessment)
        key = {row: fold(row, verdicts[row].signed) for row in rows}
        ballots = guesses(key) | {
            "key": key,
            "off by one": {
                row: chance.choice([cell for cell in (signed - 1, signed + 1) if cell in cells_of(row)])
                for row, signed in key.items()
            },
            "random": {row: chance.choice(cells_of(row)) for row in rows},
        }
        for kind, ballot in ballots.items():
            mark = score_assess(verdicts, ballot, None, accepted(assessment), rows)
            marks.setdefault(kind, []).append(mark)
    return marks


@pytest.mark.parametrize("form", ["whole", "short"])
def test_the_nearer_to_the_key_the_more_a_ballot_earns(assessments: list[Assessment], form: str) -> None:
    marks = marks_by_kind(assessments, form)
    earned = {kind: mean(mark.score for mark in found) for kind, found in marks.items()}
    assert [len(found) for found in marks.values()] == [BALLOTS] * 10
    assert earned["key"] == pytest.approx(1)
    assert earned["key"] > earned["off by one"] > earned["all level"]
    assert earned["all level"] >= earned["random"] > earned["mirrored"]
    assert earned["random"] < 0.2


@pytest.mark.parametrize("form", ["whole", "short"])
def test_random_ballots_average_the_chance_level(assessments: list[Assessment], form: str) -> None:
    marks = marks_by_kind(assessments, form)["random"]
    expected = mean(mark.chance for mark in marks)
    assert mean(mark.raw for mark in marks) == pytest.approx(expected, abs=0.04)


@pytest.mark.parametrize("form", ["whole", "short"])
def test_only_the_key_and_what_is_near_it_is_found(assessments: list[Assessment], form: str) -> None:
    found = {
        kind: mean(grade_of(mark.score, 0, 60, None) == "found" for mark in marks)
        for kind, marks in marks_by_kind(assessments, form).items()
    }
    assert found["key"] == 1
    assert max(found["random"], found["mirrored"], found["off by one"]) < 0.1
    assert found["all level"] < 0.1, "right only where the position is level"


def test_the_short_ballot_asks_for_the_largest_shares_of_the_verdict(assessments: list[Assessment]) -> None:
    for assessment in assessments:
        shares = {entry.factor: abs(entry.balance) for entry in assessment.factors}
        asked = set(rows_of(assessment, "short")) - {"verdict"}
        assert len(asked) == 3
        assert min(shares[factor] for factor in asked) >= max(
            share for factor, share in shares.items() if factor not in asked
        )


@pytest.fixture(scope="module")
def of_the_deck() -> dict[str, list[AssessMark]]:
    """Every guess at every ballot of the demo deck, short as it is asked, and every cell in all rows."""
    cards = [one.entry.card for one in read_deck(DECK).cards if "assess" in one.entry.card.asks]
    marks: dict[str, list[AssessMark]] = {}
    for card, assessment in zip(cards, assess_boards([card.board for card in cards]), strict=True):
        rows = short_rows(assessment.deciding, card.factors)
        verdicts = {**computed(assessment), **card.factors}
        key = {row: fold(row, verdicts[row].signed) for row in rows}
        same = {f"{cell} everywhere": dict.fromkeys(rows, cell) for cell in FACTOR_CELLS}
        for kind, ballot in (guesses(key) | same | {"key": key}).items():
            mark = score_assess(verdicts, ballot, card.factors, accepted(assessment), rows)
            marks.setdefault(kind, []).append(mark)
    assert len(marks["key"]) > 24
    return marks


def share(marks: list[AssessMark], grade: str) -> float:
    return mean(grade_of(mark.score, 0, 60, None) == grade for mark in marks)


def test_on_the_demo_deck_guessing_earns_little(of_the_deck: dict[str, list[AssessMark]]) -> None:
    for kind, marks in of_the_deck.items():
        if kind in ("verdict copied", "all level") or kind.endswith("everywhere"):
            assert mean(mark.score for mark in marks) < 0.35, kind
            assert share(marks, "found") < 0.05, kind


def test_on_the_demo_deck_the_right_sides_are_partly_and_the_verdict_alone_is_missed(
    of_the_deck: dict[str, list[AssessMark]],
) -> None:
    assert share(of_the_deck["key"], "found") == 1
    assert share(of_the_deck["a step off"], "missed") == 0
    assert share(of_the_deck["verdict only"], "missed") > 0.9
    assert share(of_the_deck["mirrored"], "missed") == 1
    earned = {kind: mean(mark.score for mark in marks) for kind, marks in of_the_deck.items()}
    order = ["key", "one row off", "a step off", "half the sides", "all level", "mirrored"]
    assert order == sorted(order, key=lambda kind: -earned[kind])


def test_on_the_demo_deck_no_guess_by_colour_mover_or_material_does_well() -> None:
    cards = [one.entry.card for one in read_deck(DECK).cards if one.entry.card.asks == ("assess",)]
    assessments = assess_boards([card.board for card in cards])
    ballots = [
        ballot_of(assessment, card.factors["verdict"], card.board.turn)
        for card, assessment in zip(cards, assessments, strict=True)
    ]
    assert len(ballots) >= 24
    assert max(Guesses(ballots).earned()) <= GUESS_EARNS
