"""Grading: what an answer earns, and in which order answers must stand."""

from __future__ import annotations

import random
from dataclasses import replace
from statistics import mean

import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_tasks import doubled_rooks

from decks.asks.assess_mark import cell_credit, score_assess
from decks.asks.play import PlayAnswer
from decks.asks.play_mark import ends_play, grade_play, judge_move
from decks.asks.root import score_root
from decks.asks.spot import score_spot
from decks.review.grading import grade_of
from decks.tasks.ballot import BALLOT_ROWS, cells_of, fold, short_rows
from decks.tasks.card import GRADES
from decks.tasks.messages import Enter
from decks.tasks.scoring import above_chance
from patterns.engines.scores import MoveVerdict, PositionVerdicts
from patterns.words.verdicts import Verdict

VERDICTS = PositionVerdicts(
    "8/8/8/8/8/8/8/8 w - -",
    "Stockfish 15.1",
    "wdl",
    {
        "a2a4": MoveVerdict(0.80, 12, ()),
        "b2b4": MoveVerdict(0.75, 12, ()),
        "c2c4": MoveVerdict(0.65, 12, ("d5c4",)),
        "d2d4": MoveVerdict(0.10, 12, ("e5d4",)),
    },
)
ballots = st.fixed_dictionaries({row: st.sampled_from(cells_of(row)) for row in BALLOT_ROWS})


def verdicts_of(signed: dict[str, int]) -> dict[str, Verdict]:
    return {row: Verdict.from_signed(value) for row, value in signed.items()}


def random_ballot(source: random.Random) -> dict[str, int]:
    return {row: source.choice(cells_of(row)) for row in BALLOT_ROWS}


@pytest.mark.parametrize(
    ("score", "hints", "seconds", "usual", "grade"),
    [
        (0.0, 0, 5, 60, "missed"),
        (0.499, 0, 5, 60, "missed"),
        (0.5, 0, 5, 60, "partly"),
        (0.799, 0, 5, 60, "partly"),
        (0.8, 0, 61, 60, "found"),
        (0.8, 0, 60, 60, "fluent"),
        (1.0, 0, 1, None, "found"),
        (1.0, 1, 1, 60, "helped"),
        (1.0, 3, 100, None, "helped"),
        (0.6, 1, 5, 60, "helped"),
        (0.2, 1, 5, 60, "missed"),
    ],
)
def test_grade_of_a_score(score: float, hints: int, seconds: float, usual: float | None, grade: str) -> None:
    assert grade_of(score, hints, seconds, usual) == grade


def test_nothing_is_earned_where_chance_earns_everything() -> None:
    assert above_chance(1.0, 1.0) == 0
    assert above_chance(0.75, 0.5) == 0.5
    assert above_chance(0.25, 0.5) == 0


@pytest.mark.parametrize(
    ("key", "answer", "accepted", "credit"),
    [
        (0, 0, (), 1.0),
        (0, 1, (), 0.4),
        (0, -1, (), 0.4),
        (0, 2, (), 0.0),
        (0, 1, (0, 1), 1.0),
        (0, 2, (0, 1), 0.0),
        (2, 1, (), 0.75),
        (2, 3, (), 0.75),
        (-1, -3, (), 0.4),
        (-1, 0, (), 0.4),
        (2, 0, (), 0.0),
        (1, -1, (), 0.0),
    ],
)
def test_credit_of_a_cell(key: int, answer: int, accepted: tuple[int, ...], credit: float) -> None:
    assert cell_credit(key, answer, accepted) == credit


@pytest.mark.parametrize(
    ("deciding", "coach", "rows"),
    [
        (("space", "material", "centre", "initiative"), [], ("material", "space", "centre")),
        (("space", "material", "centre", "initiative"), ["initiative", "verdict"],
         ("material", "space", "initiative")),
        (("space", "material"), [], ("material", "space")),
        ((), ["verdict"], ()),
    ],
)  # fmt: skip
def test_a_short_ballot_asks_for_three_factors_and_the_verdict(
    deciding: tuple[str, ...], coach: list[str], rows: tuple[str, ...]
) -> None:
    found = short_rows(deciding, coach)
    assert sorted(found) == sorted([*rows, "verdict"])
    assert list(found) == [row for row in BALLOT_ROWS if row in found]


@pytest.mark.parametrize(
    ("key", "answer", "raw"),
    [
        ({"space": 0, "verdict": 0}, {"space": 0, "verdict": 0}, 1.0),
        ({"space": 0, "verdict": 0}, {"space": 0, "verdict": 3}, 1 / 3),  # weights 1 and 2
        ({"space": 2, "verdict": 0}, {"space": 2, "verdict": 3}, 11 / 13),  # weights 11 and 2
        ({"space": 2, "verdict": 0}, {"space": 1, "verdict": 3}, 8.25 / 13),
        ({"space": -1, "verdict": -3}, {"space": -1}, 6 / 20),  # weights 6 (a cell from clear) and 14
        ({"space": -1, "verdict": -3}, {"verdict": -2}, 10.5 / 20),
        ({"space": 1, "verdict": -1}, {"space": 1}, 9 / 15),  # weights 9 and 6
        ({"space": 0, "verdict": -1}, {"space": 0}, 1 / 7),  # weights 1, as it is level, and 6
    ],
)
def test_rows_weigh_by_their_keys(key: dict[str, int], answer: dict[str, int], raw: float) -> None:
    asked = ("space", "verdict")
    mark = score_assess(verdicts_of(key), answer | {"centre": 1}, asked=asked)
    assert mark.raw == pytest.approx(raw)
    assert [row.row for row in mark.rows] == list(asked)
    assert [row.computed for row in mark.rows] == [key[row] for row in asked]
    blank = score_assess({}, {}, asked=("space",))
    assert (blank.rows[0].key, blank.rows[0].answer, blank.raw, blank.score) == (0, None, 0, 0)
    assert blank.chance == pytest.approx((1 + 0.4 + 0.4) / 5)


def test_a_coachs_key_stands_beside_what_is_computed() -> None:
    mark = score_assess(
        verdicts_of({"material": 3}), {"material": 2}, verdicts_of({"material": -3}), asked=("material",)
    )
    assert [(row.key, row.computed, row.key_by, row.credit) for row in mark.rows] == [(-2, 2, "coach", 0)]


@given(
    score=st.floats(0, 1),
    seconds=st.floats(0, 1e4),
    usual=st.none() | st.floats(0, 1e4),
    hints=st.integers(0, 3),
)
def test_a_hint_never_raises_a_grade_and_never_lets_it_pass_helped(
    score: float, seconds: float, usual: float | None, hints: int
) -> None:
    unaided = GRADES.index(grade_of(score, 0, seconds, usual))
    with_hints = GRADES.index(grade_of(score, hints, seconds, usual))
    assert with_hints <= unaided
    assert hints == 0 or with_hints <= GRADES.index("helped")


@pytest.mark.parametrize(
    ("moves", "grade", "decided", "left_line"),
    [
        ([("a2a4", "a2a4")], "found", "a2a4", False),
        ([("a2a4", "a2a4"), ("b2b4", "a2a4")], "found", "b2b4", True),
        ([("b2b4", "a2a4")], "found", "b2b4", True),
        ([("a2a4", "a2a4"), ("c2c4", "a2a4")], "partly", "c2c4", True),
        ([("c2c4", "c2c4"), ("a2a4", "a2a4")], "partly", "c2c4", False),
        ([("a2a4", "a2a4"), ("d2d4", "a2a4")], "missed", "d2d4", True),
        ([], "missed", None, False),
    ],
)
def test_the_worst_move_makes_a_play_answer(
    moves: list[tuple[str, str]], grade: str, decided: str | None, left_line: bool
) -> None:
    mark = grade_play([judge_move(VERDICTS, move, line_move) for move, line_move in moves])
    assert grade_of(mark.score, 0, 9, None) == grade
    assert (mark.decided.move if mark.decided else None) == decided
    assert mark.left_line == left_line


@pytest.mark.parametrize(
    ("move", "marks", "quality"),
    [
        ("d2d4", {"d2d4": True}, "holds"),
        ("c2c4", {"c2c4": True}, "holds"),
        ("a2a4", {"a2a4": False}, "fails"),
        ("c2c4", {"c2c4": False}, "fails"),
        ("c2c4", {"a2a4": True}, "slips"),
        ("c2c4", {}, "slips"),
    ],
)
def test_the_coachs_word_stands_before_the_engines(move: str, marks: dict[str, bool], quality: str) -> None:
    judged = judge_move(VERDICTS, move, "b2b4", marks)
    assert (judged.quality, judged.by_coach) == (quality, move in marks)
    assert judged.loss == VERDICTS.loss(move)


@pytest.mark.parametrize(
    ("move", "score", "reason"),
    [
        ("Kf1", 1.0, "24. Kf1 isn't in the card's line, but the coach accepts it; the card ends here."),
        ("h3", 0.0, "24. h3 fails: the coach marks it as a mistake."),
    ],
)
def test_an_answer_that_the_coach_marked_says_so(move: str, score: float, reason: str) -> None:
    plain = doubled_rooks("play")
    marked = replace(plain, card=replace(plain.card, marks={0: {"g1f1": True, "h2h3": False}}))
    reaction = PlayAnswer(marked).react(Enter(9.0, move))
    assert reaction.handed_in and isinstance(reaction.answer, PlayAnswer)
    mark = reaction.answer.marked()
    assert (mark.score, mark.reason(marked)) == (score, reason)


@pytest.mark.parametrize(("move", "score"), [("a2a4", 1.0), ("c2c4", 0.65), ("d2d4", 0.0)])
def test_the_score_of_a_move(move: str, score: float) -> None:
    assert grade_play([judge_move(VERDICTS, move, move)]).score == score


@pytest.mark.parametrize(
    ("move", "line_move", "left", "over"),
    [
        ("a2a4", "a2a4", 1, False),
        ("a2a4", "a2a4", 0, True),
        ("b2b4", "a2a4", 1, True),
        ("c2c4", "a2a4", 1, True),
        ("d2d4", "d2d4", 1, True),
    ],
)
def test_only_a_holding_move_of_the_line_with_more_to_come_goes_on(
    move: str, line_move: str, left: int, over: bool
) -> None:
    assert ends_play(judge_move(VERDICTS, move, line_move), left) is over


@given(key=ballots)
def test_the_key_itself_earns_everything_and_nothing_leaves_the_scale(key: dict[str, int]) -> None:
    mark = score_assess(verdicts_of(key), key)
    assert mark.score == pytest.approx(1)
    mirrored = score_assess(verdicts_of(key), {row: -value for row, value in key.items()})
    assert 0 <= mirrored.score <= 1


@given(key=ballots, answer=ballots)
def test_swapping_the_sides_of_key_and_ballot_changes_nothing(
    key: dict[str, int], answer: dict[str, int]
) -> None:
    def swapped(ballot: dict[str, int]) -> dict[str, int]:
        return {row: -value for row, value in ballot.items()}

    there = score_assess(verdicts_of(key), answer).score
    back = score_assess(verdicts_of(swapped(key)), swapped(answer)).score
    assert there == pytest.approx(back)


def test_the_chance_level_is_what_random_ballots_average_before_it_is_taken_out() -> None:
    source = random.Random(11)
    key = random_ballot(source)
    accepted = {"centre": frozenset({key["centre"], 0})}
    marks = [score_assess(verdicts_of(key), random_ballot(source), accepted=accepted) for _ in range(4000)]
    assert mean(mark.raw for mark in marks) == pytest.approx(marks[0].chance, abs=0.01)


def test_the_verdict_counts_double() -> None:
    key = dict.fromkeys(BALLOT_ROWS, 0)
    without_factor = score_assess(verdicts_of(key), key | {"space": 2})
    without_verdict = score_assess(verdicts_of(key), key | {"verdict": 2})
    assert 1 - without_verdict.raw == pytest.approx(2 * (1 - without_factor.raw))


def test_near_a_border_both_neighbours_are_right_but_not_against_the_coach() -> None:
    computed = verdicts_of(dict.fromkeys(BALLOT_ROWS, 0) | {"space": 1})
    accepted = {"space": frozenset({0, 1})}
    answer = dict.fromkeys(BALLOT_ROWS, 0)

    def space(coach: dict[str, Verdict] | None) -> tuple[float, str]:
        mark = score_assess(computed, answer, coach, accepted)
        row = next(row for row in mark.rows if row.row == "space")
        return row.credit, row.key_by

    assert space(None) == (1.0, "computed")
    assert space({"space": Verdict("white", 1)}) == (0.4, "coach")
    assert (
        score_assess(computed, answer, None, {}).score < score_assess(computed, answer, None, accepted).score
    )


def test_a_decisive_factor_is_clear_on_a_row_of_five_cells_and_decisive_on_the_verdict() -> None:
    assert (fold("material", 3), fold("material", -3), fold("verdict", 3)) == (2, -2, 3)
    decisive = {"material": Verdict("white", 3), "verdict": Verdict("white", 3)}
    answer = dict.fromkeys(BALLOT_ROWS, 0) | {"material": 2, "verdict": 3}
    assert score_assess(decisive, answer).score == pytest.approx(1)


def test_a_blank_row_earns_nothing() -> None:
    key = dict.fromkeys(BALLOT_ROWS, 0)
    answer = {row: 0 for row in BALLOT_ROWS if row != "space"}
    mark = score_assess(verdicts_of(key), answer)
    assert mark.raw == pytest.approx(0.9)
    assert next(row for row in mark.rows if row.row == "space").answer is None


PIN = {"pin-on-file": frozenset({"e1", "e5", "e8"})}
ALSO = {"battery": frozenset({"e1", "e2"})}


def spot(named: set[str], squares: set[str], also: dict[str, frozenset[str]] | None = None) -> float:
    return score_spot(PIN, frozenset(named), frozenset(squares), also or {}, motif_count=30).score


def test_spotting_everything_earns_everything_and_another_true_motif_costs_nothing() -> None:
    assert spot({"pin-on-file"}, {"e1", "e5", "e8"}) == pytest.approx(1)
    assert spot({"pin-on-file", "battery"}, {"e1", "e5", "e8", "e2"}, ALSO) == pytest.approx(1)


def test_spotting_half_is_partly_and_the_wrong_motif_is_missed() -> None:
    assert grade_of(spot({"pin-on-file"}, {"e1", "e5"}), 0, 9, None) == "found"
    assert grade_of(spot({"pin-on-file"}, {"e5"}), 0, 9, None) == "partly"
    assert grade_of(spot({"pin-on-file"}, set()), 0, 9, None) == "missed"
    assert spot({"fork"}, {"e1", "e5", "e8"}) == 0
    assert spot(set(), {"e1", "e5", "e8"}) == 0


def test_false_motifs_and_false_squares_cost() -> None:
    whole = spot({"pin-on-file"}, {"e1", "e5", "e8"})
    assert spot({"pin-on-file", "fork"}, {"e1", "e5", "e8"}) < whole
    assert spot({"pin-on-file"}, {"e1", "e5", "e8", "a1", "a2"}) < whole
    assert spot({"pin-on-file", "battery"}, {"e1", "e5", "e8", "e2"}) < whole


def test_naming_one_motif_blindly_averages_nothing_before_the_floor() -> None:
    raw_hit = 0.5
    scores = [
        score_spot(PIN, frozenset({name}), frozenset(), {}, 30).score for name in ["pin-on-file", *"abcdefgh"]
    ]
    assert scores[1:] == [0] * 8
    assert scores[0] == pytest.approx((raw_hit - 0.5 / 30) / (1 - 0.5 / 30))


def test_what_is_right_wrong_left_out_and_additional() -> None:
    key = {"pin-on-file": frozenset({"e1", "e5"}), "fork": frozenset({"c6"})}
    mark = score_spot(
        key, frozenset({"pin-on-file", "battery", "skewer"}), frozenset({"e1", "e2", "h8"}), ALSO, 30
    )
    assert (mark.right, mark.wrong) == (frozenset({"pin-on-file"}), frozenset({"skewer"}))
    assert (mark.left_out, mark.also) == (frozenset({"fork"}), frozenset({"battery"}))
    assert mark.squares_hit == frozenset({"e1"})
    assert mark.squares_wrong == frozenset({"h8"})
    assert mark.squares_left_out == frozenset({"e5", "c6"})
    naming, pointing = 2 / (2 + 1 + 1), 2 / (2 + 1 + 2)
    chance = 0.5 * 2 / 30 * 2 / 3
    expected = (naming * (0.5 + 0.5 * pointing) - chance) / (1 - chance)
    assert mark.score == pytest.approx(expected)


def test_with_nothing_to_point_at_or_choose_only_names_are_scored() -> None:
    assert score_spot({"fork": frozenset()}, frozenset({"fork"}), frozenset(), {}, 30).score == 1
    assert score_spot({"fork": frozenset({"c6"})}, frozenset({"fork"}), frozenset(), {}, 0).score == 0.5
    assert score_spot({}, frozenset(), frozenset(), {}, 30).score == 0


@pytest.mark.parametrize(
    ("answer", "grade"), [(6, "found"), (4, "missed"), (8, "missed"), (5, "missed"), (0, "missed")]
)
def test_only_the_root_itself_is_found(answer: int, grade: str) -> None:
    assert grade_of(score_root(6, answer, 12), 0, 9, None) == grade


def test_the_move_next_to_the_root_earns_something_and_the_other_sides_nothing() -> None:
    assert 0 < score_root(6, 4, 12) == score_root(6, 8, 12) < 0.5
    assert score_root(6, 5, 12) == score_root(6, 7, 12) == 0
    assert score_root(6, 6, 12) == 1
