"""`spot` in the coach's wording: the weakest point, the men that can go at it, and only then the motif."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import replace

import chess
import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_tasks import explanation_with
from terminal import DOWN, ENTER, Terminal
from test_plain import Conversation
from test_screen import grades, session

from decks.asks.ask import Answer
from decks.asks.catalogue import ASKS
from decks.asks.spot import SpotAnswer
from decks.asks.weak_point import WeakPointAnswer
from decks.asks.weak_point_mark import (
    ManRow,
    WeakPoint,
    how_it_gets_at,
    read_weak_point,
    score_weak_point,
    weak_point_in,
)
from decks.tasks.card import Card, MotifTag
from decks.tasks.evidence import Marks
from decks.tasks.messages import Click, Enter, Submit
from decks.tasks.task import Task
from patterns.motifs.findings import Finding

BATTERY = "r4rk1/pp3ppp/8/3n4/8/2PB4/PPQ2PPP/R4RK1 w - - 0 20"
"""White's queen and bishop look at h7, which the king guards; the knight on d5 is not guarded."""

KEY = WeakPoint(frozenset({"h7"}), frozenset({"c2", "d3"}))
FINDING = Finding("king-attack", "white", ("c2", "d3"), ("h7",), ("g8", "f7"), "White looks at h7.")
LOOSE = Finding("loose-piece", "white", ("d3",), ("d5",), (), "The knight on d5 is unguarded.")
OURS = Finding("loose-piece", "black", ("d5",), ("c3",), (), "Not White's to use.")
CARD = Card(
    "battery",
    BATTERY,
    ("spot",),
    (MotifTag("king-attack", "white"),),
    own_tags={"WeakPoint": "h7: c2 d3"},
)


def battery(*findings: Finding) -> Task:
    explained = explanation_with(findings or (FINDING, LOOSE, OURS), {})
    return Task("deck", CARD, ("spot",), explainer=lambda _: explained)


def answered(*messages: str, task: Task | None = None) -> tuple[WeakPointAnswer, list[str], bool]:
    """The answer after these lines, the notices, and whether it was handed in with the last of them."""
    answer: Answer = ASKS["spot"].begin(task or battery(), "", True)
    notices, over = [], False
    for text in messages:
        assert not over
        reaction = answer.react(Enter(1.0, text))
        answer, over = reaction.answer, reaction.handed_in
        notices.append(reaction.notice)
    assert isinstance(answer, WeakPointAnswer)
    return answer, notices, over


def test_a_card_with_the_tag_is_asked_so_and_one_without_it_as_before() -> None:
    assert isinstance(ASKS["spot"].begin(battery(), "", True), WeakPointAnswer)
    plain = replace(battery(), card=replace(CARD, own_tags={}))
    assert isinstance(ASKS["spot"].begin(plain, "", True), SpotAnswer)


def test_first_the_point_then_the_men_are_asked_and_the_motif_is_never_named() -> None:
    steps = [answered(*lines) for lines in ((), ("h7",), ("h7", "d3"), ("h7", "d3", "C2, e1, e1"))]
    told = [answer.question for answer, _, _ in steps]
    assert told[:2] == [
        "White to move. Where can White hurt Black most? Name one square.",
        "Which White men can go at the pawn on h7?",
    ]
    assert steps[1][1] == ["Right: it is the pawn on h7."]
    assert [sorted(answer.men) for answer, _, _ in steps] == [[], [], ["d3"], ["d3"]]
    answer, _, over = answered("h7", "d3", "c2", "")
    assert over and answer.raw() == {"point": "h7", "men": ["c2", "d3"]}
    said = [*told, *answer.news(None), *answer.help, *(hint.text for hint in answer.hints(True))]
    assert not any("king attack" in text.lower() or "king-attack" in text for text in said)


@pytest.mark.parametrize(
    ("lines", "notice"),
    [
        (("f7",), "Not f7: it is the pawn on h7."),
        (("h7 f7",), "Name one square only."),
        (("the pawn",), "'the' is not a square like e4."),
        (("",), "Name a square first."),
        (("h7", ""), "Name a man first."),
        (("h7", "d3 f8"), "No man of White's stands on f8."),
        (("h7", "e4"), "No man of White's stands on e4."),
        (("h7", "Bd3"), "'Bd3' is not a square like e4."),
    ],
)
def test_what_cannot_be_an_answer_is_said(lines: tuple[str, ...], notice: str) -> None:
    answer, notices, over = answered(*lines)
    assert (notices[-1], over) == (notice, False)
    assert answer.men == frozenset()


def test_the_mouse_can_change_the_point_until_it_is_named() -> None:
    answer: Answer = WeakPointAnswer(battery())
    for message in (Click(1.0, "f7"), Click(2.0, "h7")):
        answer = answer.react(message).answer
    assert answer.marks == Marks(targets=frozenset({"h7"}))
    answer = answer.react(Submit(3.0)).answer
    for click in (Click(4.0, "d3"), Click(5.0, "c2"), Click(6.0, "c2")):
        answer = answer.react(click).answer
    assert answer.marks == Marks(frozenset({"d3"}), frozenset({"h7"}))
    assert answer.react(Submit(7.0)).handed_in


@pytest.mark.parametrize(
    ("point", "men", "rows", "grade"),
    [
        ("h7", "c2 d3", "weakest point: h7, right|c2: right|d3: right", "found"),
        ("g7", "c2 d3", "weakest point: g7, near|c2: right|d3: right", "partly"),
        ("d5", "c2 d3", "weakest point: d5, near|c2: right|d3: right", "partly"),
        ("f7", "c2 d3", "weakest point: f7, near|c2: right|d3: right", "partly"),
        ("c3", "c2 d3", "weakest point: c3, off|c2: right|d3: right", "missed"),
        ("b7", "c2 d3", "weakest point: b7, off|c2: right|d3: right", "missed"),
        ("h7", "d3", "weakest point: h7, right|c2: left out|d3: right", "partly"),
        ("h7", "c2 d3 f1", "weakest point: h7, right|f1: off|c2: right|d3: right", "found"),
        ("h7", "c2 d3 f1 a1", "weakest point: h7, right|a1: off|f1: off|c2: right|d3: right", "partly"),
        ("b7", "f1", "weakest point: b7, off|f1: off|c2: left out|d3: left out", "missed"),
    ],
)
def test_an_answer_is_graded_man_by_man(point: str, men: str, rows: str, grade: str) -> None:
    talk = Conversation([battery()], point, men, "", "")
    (attempt,) = talk.state.done
    told = "|".join(row.in_words() for row in attempt.marked_rows)
    for name in ("the queen on ", "the bishop on ", "the rook on "):
        told = told.replace(name, "")
    assert (told, talk.grades()) == (rows, [grade])


def test_a_man_that_attacks_the_point_without_being_in_the_key_is_near() -> None:
    board = chess.Board(BATTERY)
    key = WeakPoint(frozenset({"h7"}), frozenset({"c2"}))
    near, off = (score_weak_point(board, key, "h7", ["c2", other]) for other in ("d3", "f1"))
    assert [row.credit for row in near.rows if isinstance(row, ManRow)] == [1.0, 0.5]
    assert [row.credit for row in off.rows if isinstance(row, ManRow)] == [0.0, 1.0]
    assert off.score < near.score <= 1.0


def test_of_several_points_each_is_right() -> None:
    board = chess.Board(BATTERY)
    key = WeakPoint(frozenset({"h7", "d5"}), KEY.men)
    assert [score_weak_point(board, key, point, KEY.men).score for point in ("h7", "d5")] == [1.0, 1.0]


def test_guessing_earns_nothing_on_average() -> None:
    board = chess.Board(BATTERY)
    ours, theirs = (
        [chess.SQUARE_NAMES[square] for square in chess.SquareSet(board.occupied_co[colour])]
        for colour in chess.COLORS
    )
    raw = [score_weak_point(board, KEY, point, [man]).score for point in theirs for man in ours]
    assert sum(raw) / len(raw) < 0.12
    assert score_weak_point(board, KEY, theirs[0], ours).score < 0.5, "to name every man is no answer"


@given(st.sets(st.sampled_from(["a1", "b2", "f1", "g1"]), max_size=3), st.sampled_from(["h7", "g7", "b7"]))
def test_a_better_answer_earns_no_less(beside: set[str], point: str) -> None:
    board = chess.Board(BATTERY)
    some = score_weak_point(board, KEY, point, {"d3", *beside}).score
    assert score_weak_point(board, KEY, point, {"c2", "d3", *beside}).score >= some
    assert score_weak_point(board, KEY, "h7", {"d3", *beside}).score >= some
    assert score_weak_point(board, KEY, point, {"d3"}).score >= some


def test_the_result_tells_the_key_the_men_and_then_the_motif() -> None:
    talk = Conversation([battery()], "g7", "d3", "", "")
    for told in (
        "The queen on c2 and the bishop on d3 can go at the pawn on h7. Your point: near; men found: one",
        "weakest point: g7, near.",
        "    White looks at h7.",
        "the queen on c2: left out.",
        "The bishop on d3 attacks the pawn on h7.",
    ):
        assert told in talk.said
    asked, _, result = talk.said.partition("Motif: ")
    assert "ing attack" not in asked and "ing attack, for White: White looks at h7." in result
    mark = talk.state.done[0].given[0].mark
    assert mark.marks(battery()) == Marks(KEY.men, KEY.points)


@pytest.mark.parametrize(
    ("fen", "man", "points", "how"),
    [
        (BATTERY, "d3", ["h7"], "attacks the pawn on h7"),
        (BATTERY, "c2", ["h7"], "looks at it through the bishop on d3"),
        (BATTERY, "d5", ["g2"], "gets at it by going to e3 or f4"),
        (BATTERY, "a1", ["a7"], "looks at it through the pawn on a2"),
        (BATTERY, "a1", ["a8"], ""),
        ("4k3/4p3/4n3/8/8/8/8/K3R3 w - - 0 1", "e1", ["e7"], "gets at it by going to e6"),
        (BATTERY, "c2", ["d5"], "gets at it by going to b3"),
        (BATTERY, "a1", ["h7"], ""),
        # Black's man, though White is to move; and a square that a man simply goes to.
        (BATTERY, "d5", ["c3"], "attacks the pawn on c3"),
        (BATTERY, "f8", ["e8"], "attacks e8"),
    ],
)
def test_how_a_man_gets_at_a_point(fen: str, man: str, points: list[str], how: str) -> None:
    assert how_it_gets_at(chess.Board(fen), man, points) == how


UNREAD, EXAMPLE = "its WeakPoint tag can't be read", "write, for example, h7: c2 d3"


def test_of_many_ways_the_motifs_own_is_told_or_none() -> None:
    board = chess.Board("4r2k/p5pp/1p1P2n1/6N1/2p3P1/5RK1/P1Q2P1P/4q3 b - - 10 43")
    points = ["g3", "g5", "d6"]
    assert how_it_gets_at(board, "e1", points) == "can get at it with its next move"
    assert how_it_gets_at(board, "e1", points, ["e5"]) == "gets at it by going to e5"
    assert how_it_gets_at(board, "e1", points, ["h8"]) == "can get at it with its next move"
    shown = replace(FINDING, squares=("b3",))
    row = ManRow(chess.Board(BATTERY), "c2", frozenset({"d5", "b2"}), 1.0)
    assert row.reasons(battery(shown), False) == ["The queen on c2 attacks the pawn on b2."]
    row = replace(row, points=frozenset({"a7", "d5"}))
    assert row.reasons(battery(shown), False) == ["The queen on c2 gets at it by going to b3."]
    assert row.reasons(battery(), False) == ["The queen on c2 gets at it by going to b3 or a4."]


@pytest.mark.parametrize(
    ("text", "wrong"),
    [
        ("h7: c2 d3", ""),
        ("H7 G8: D3", ""),
        (
            "h7",
            f"{UNREAD}: points and men must both be there: {EXAMPLE}",
        ),
        (
            ": c2",
            f"{UNREAD}: points and men must both be there: {EXAMPLE}",
        ),
        ("h9: c2", f"{UNREAD}: 'h9' is not a square: {EXAMPLE}"),
        ("h7: c2 d5", "the men that its WeakPoint tag names are not men of one side"),
        ("h7: c2 e4", "the men that its WeakPoint tag names are not men of one side"),
    ],
)
def test_what_a_card_lacks_for_it(text: str, wrong: str) -> None:
    tags = {"Motifs": "king-attack:white", "WeakPoint": text}
    assert ASKS["spot"].lacks(CARD, tags) == wrong


def test_a_card_with_the_tag_still_needs_a_motif_and_a_label_is_enough() -> None:
    """Nobody has to name it: it is told."""
    assert ASKS["spot"].lacks(replace(CARD, motifs=()), {"WeakPoint": "h7: c2"}) == "no Motifs tag names one"
    label = replace(CARD, motifs=(MotifTag("coach:batteries", "white"),))
    tags = {"Motifs": "coach:batteries:white"}
    assert ASKS["spot"].lacks(label, tags) != ""
    assert ASKS["spot"].lacks(label, {**tags, "WeakPoint": "h7: c2"}) == ""


@pytest.mark.parametrize(
    ("findings", "evidence", "key"),
    [
        ([FINDING], (), "h7: c2 d3"),
        ([replace(FINDING, side="black")], (), None),
        ([replace(FINDING, targets=())], (), None),
        ([replace(FINDING, actors=())], (), None),
        ([FINDING], ("d3",), "h7: c2 d3"),
        ([FINDING], ("h7",), "h7: c2 d3"),
        ([FINDING], ("a7",), None),
        ([FINDING, replace(FINDING, targets=("a7",), actors=("a2",))], ("d3",), "h7: c2 d3"),
        ([FINDING, replace(FINDING, targets=("d5",), actors=("c3",))], (), "d5 h7: c2 c3 d3"),
        ([replace(FINDING, targets=("h7", "g2"), actors=("d3", "g8"))], (), "h7: d3"),
        ([replace(FINDING, targets=("e4", "h7"))], (), "e4 h7: c2 d3"),
        ([replace(FINDING, targets=("f7", "g7", "h7", "g8"))], (), "f7 g7 h7 g8: c2 d3"),
        ([replace(FINDING, targets=("f7", "g7", "h7", "g8", "b7"))], (), None),
    ],
)
def test_the_key_that_build_takes_from_what_the_position_shows(
    findings: Iterable[Finding], evidence: tuple[str, ...], key: str | None
) -> None:
    card = replace(CARD, own_tags={}, evidence={"king-attack": evidence} if evidence else {})
    found = weak_point_in(card, "king-attack", findings)
    assert (str(found) if found else None) == key
    assert key is None or read_weak_point(key) == found


def test_the_hints_go_step_by_step() -> None:
    texts = [hint.text for hint in WeakPointAnswer(battery()).hints(keeping_secret=True)]
    assert texts == ["Look for a pawn.", "Two men can go at it.", "Look at the pawn on h7."]
    for key, looks in {"e4: d3": "a square", "f7 g8: d3": "a man", "e4 h7: d3": "a square"}.items():
        card = replace(CARD, own_tags={"WeakPoint": key})
        texts = [hint.text for hint in WeakPointAnswer(replace(battery(), card=card)).hints(True)]
        assert texts[:2] == [f"Look for {looks}.", "One man can go at it."]


def test_an_answer_from_the_log_reads_in_words() -> None:
    raw = json.loads(json.dumps(answered("h7", "d3 c2")[0].raw()))
    assert ASKS["spot"].in_words(CARD, raw) == "h7; c2, d3"


def test_on_the_screen_by_keyboard_and_by_mouse() -> None:
    async def typed(terminal: Terminal) -> None:
        await terminal.enter("g7")
        assert "Not g7: it is the pawn on h7." in terminal.text
        await terminal.enter("c2 d3")
        assert "Men: c2, d3" in terminal.text
        await terminal.press(ENTER)
        assert "~ weakest point: g7, near" in terminal.text
        await terminal.press(DOWN, DOWN)
        assert "The queen on c2 looks at it through" in terminal.text
        await terminal.press(ENTER, ENTER)

    async def clicked(terminal: Terminal) -> None:
        await terminal.click_square("h7")
        await terminal.click_text("this point")
        for square in ("c2", "d3"):
            await terminal.click_square(square)
        await terminal.click_text("hand in")
        await terminal.click_text("+ the bishop on d3: right")
        assert "The bishop on d3 attacks the pawn" in terminal.text
        await terminal.press(ENTER, ENTER)

    assert grades(session([battery()], typed)) == ["partly"]
    assert grades(session([battery()], clicked)) == ["found"]
