"""`count`: reading, scoring and explaining the count on a square."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import product

import chess
import pytest
from made_tasks import BESIEGED, count_card, in_hand

from decks.asks.count import ASK, EXAMPLE, CountAnswer, computed_key, read_count
from decks.asks.count_mark import MOST, ROWS, SIDES, CountMark, score_count
from decks.cards.cards_file import CardEntry, read_cards, write_card
from decks.review.session import start
from decks.tasks.card import Card, MotifTag
from decks.tasks.evidence import Marks
from decks.tasks.messages import Enter, Submit
from decks.tasks.task import Task
from patterns.square_count import count_square

FOUR_THREE_WHITE = {"attackers": 4, "defenders": 3, "winner": 1}


@pytest.mark.parametrize(
    ("text", "blank", "read"),
    [
        ("3 2 white", ROWS, {"attackers": 3, "defenders": 2, "winner": 1}),
        ("3, 2, Black", ROWS, {"attackers": 3, "defenders": 2, "winner": -1}),
        ("n 3 2", ROWS, {"attackers": 3, "defenders": 2, "winner": 0}),
        ("defenders: 4", ROWS, {"defenders": 4}),
        ("def 4 5", ROWS, {"defenders": 4, "attackers": 5}),
        ("winner = w", ROWS, {"winner": 1}),
        ("2", ("defenders", "winner"), {"defenders": 2}),
        ("12", ROWS, {"attackers": MOST}),
    ],
)
def test_a_count_is_read(text: str, blank: tuple[str, ...], read: dict[str, int]) -> None:
    assert read_count(text, blank) == read


@pytest.mark.parametrize(
    ("text", "blank", "message"),
    [
        ("3 2 green", ROWS, "'green' is not part of a count: write a number, or white, nobody, black"),
        ("3 2 1", ROWS, "'1': write attackers 1 or defenders 1"),
        ("2", ("winner",), "'2': write attackers 2 or defenders 2"),
        ("attackers", ROWS, f"attackers has no answer: write, for example, {EXAMPLE}"),
        (",", ROWS, f"that has no answer: write, for example, {EXAMPLE}"),
        ("winner 3", ROWS, "'3' is not part of a count"),
        ("٣", ROWS, "'٣' is not part of a count"),
        ("100", ROWS, "'100' is not part of a count"),
        ("a", ROWS, "'a' is not part of a count"),
    ],
)
def test_what_is_no_count_is_quoted(text: str, blank: tuple[str, ...], message: str) -> None:
    with pytest.raises(ValueError, match="^" + message.replace("'", "\\'")):
        read_count(text, blank)


@pytest.mark.parametrize(
    ("answer", "credits"),
    [
        (FOUR_THREE_WHITE, [1, 1, 1]),
        ({"attackers": 3, "defenders": 4, "winner": 0}, [0.5, 0.5, 0.5]),
        ({"attackers": 2, "defenders": 5, "winner": -1}, [0, 0, 0]),
    ],
)
def test_each_part_is_a_third_and_near_answers_are_near(answer: dict[str, int], credits: list[float]) -> None:
    mark = score_count(FOUR_THREE_WHITE, answer)
    assert [row.credit for row in mark.rows] == credits
    assert (mark.score == 1) == (credits == [1, 1, 1])
    assert (mark.score == 0) == (credits == [0, 0, 0])


def test_one_part_wrong_is_partly_right_at_best_and_one_near_is_partly_right() -> None:
    scores = [score_count(FOUR_THREE_WHITE, {**FOUR_THREE_WHITE, row: 0}).score for row in ROWS]
    assert scores[0] == scores[1] < scores[2]
    assert 0.45 < scores[0] < 0.55
    assert 0.5 <= scores[2] < 0.8


def test_the_chance_that_is_taken_out_is_that_of_all_guesses() -> None:
    for key in (FOUR_THREE_WHITE, {"attackers": 0, "defenders": 2, "winner": 0}):
        cells = [range(MOST + 1), range(MOST + 1), SIDES]
        raw = [
            sum(row.credit for row in score_count(key, dict(zip(ROWS, guess, strict=True))).rows) / 3
            for guess in product(*cells)
        ]
        chance = sum(raw) / len(raw)
        best = {**key, "winner": -1}
        expected = (sum(row.credit for row in score_count(key, best).rows) / 3 - chance) / (1 - chance)
        assert score_count(key, best).score == pytest.approx(expected)


def test_the_coachs_key_counts_and_the_programs_is_told() -> None:
    mark = score_count(FOUR_THREE_WHITE, FOUR_THREE_WHITE, {"defenders": 4, "winner": 0})
    assert [row.in_words() for row in mark.rows] == [
        "attackers: 4, right",
        "defenders: 3, near (the key says 4; the program makes it 3)",
        "winner: white, near (the key says nobody; the program makes it white)",
    ]
    right = score_count(FOUR_THREE_WHITE, {**FOUR_THREE_WHITE, "winner": 0}, {"winner": 0})
    assert right.score == 1
    assert right.rows[2].in_words() == "winner: nobody, right (the program makes it white)"


@pytest.mark.parametrize(
    ("fen", "square", "key"),
    [
        (BESIEGED, "e5", (4, 3, 1)),
        # Black attacks: White loses a piece, wins nothing, or Black loses by taking.
        ("4k3/8/8/3r4/8/3N4/8/4K3 b - - 0 1", "d3", (1, 0, -1)),
        ("4k3/8/8/3r4/8/3R4/4P3/4K3 b - - 0 1", "d3", (1, 1, 0)),
        ("4k3/8/8/3r4/8/3N4/4P3/4K3 b - - 0 1", "d3", (1, 1, 1)),
        # It makes no difference which side is to move.
        ("4k3/8/8/3r4/8/3N4/8/4K3 w - - 0 1", "d3", (1, 0, -1)),
        ("4k3/8/8/3r4/8/3N4/4P3/4K3 w - - 0 1", "d3", (1, 1, 1)),
        # Nobody can take: the only man that looks at the square is pinned.
        ("7k/8/8/8/1b6/2N5/p7/r3K3 w - - 0 1", "a2", (0, 1, 0)),
        # The cheapest man takes first.
        ("4k3/8/4p3/3p4/4P3/8/8/3RK3 w - - 0 1", "d5", (2, 1, 1)),
    ],
)
def test_the_programs_key(fen: str, square: str, key: tuple[int, int, int]) -> None:
    count = count_square(chess.Board(fen), chess.parse_square(square))
    assert tuple(computed_key(count).values()) == key


def test_more_men_than_can_be_answered_are_the_most_that_can() -> None:
    crowd = chess.Board("3r2k1/3r4/3q4/3r4/1nb1nb2/3p4/3R4/4K3 w - - 0 1")
    count = count_square(crowd, chess.D3)
    assert count.counted[1] <= MOST
    assert computed_key(replace(count, defenders=count.defenders * 3))["defenders"] == MOST


def tag_fault(**tags: str | None) -> str:
    own = {"Square": "e5", **tags}
    card = Card(
        "c", BESIEGED, (ASK.id,), own_tags={name: text for name, text in own.items() if text is not None}
    )
    _, faults = read_cards(write_card(CardEntry(card)), ("play",), None)
    return " / ".join(fault.message for fault in faults)


@pytest.mark.parametrize(
    ("tags", "message"),
    [
        ({}, ""),
        ({"Count": "4 4 nobody"}, ""),
        ({"Count": "winner nobody"}, ""),
        ({"Square": None}, "the card asks count, but no Square tag names one"),
        ({"Square": "E5"}, "the card asks count, but its Square tag 'E5' is not a square: write a1 to h8"),
        ({"Square": "e4"}, "the card asks count, but on e4, which its Square tag names, there is no man"),
        ({"Square": "d7"}, "the card asks count, but on d7, which its Square tag names, there is no man"),
        ({"Count": "4 4 green"}, "the card asks count, but its Count tag can't be read: 'green' is not"),
        ({"Count": " "}, "the card asks count, but its Count tag can't be read: that has no answer"),
    ],
)
def test_the_tags_are_checked(tags: Mapping[str, str | None], message: str) -> None:
    assert tag_fault(**tags).startswith(message)
    assert bool(tag_fault(**tags)) == bool(message)


def test_the_tags_are_part_of_the_key() -> None:
    card = count_card().card
    others = ({"Square": "d6"}, {"Square": "e5", "Count": "4 4 nobody"})
    versions = {card.key_version, *(replace(card, own_tags=tags).key_version for tags in others)}
    assert len(versions) == 3


def answer_to(task: Task) -> CountAnswer:
    return in_hand(start([task]), CountAnswer)


def test_parts_can_be_changed_and_all_three_are_needed() -> None:
    answer = answer_to(count_card("count"))
    for message, filled, notice in (
        (Submit(1), {}, "Still to fill in: attackers, defenders, winner."),
        (Enter(2, "4"), {"attackers": 4}, ""),
        (Enter(3, "green"), {"attackers": 4}, "'green' is not part of a count: write a number, or white,"),
        (Enter(4, "2 white"), {"attackers": 4, "defenders": 2, "winner": 1}, ""),
        (Enter(5, "7"), {"attackers": 4, "defenders": 2, "winner": 1}, ""),
    ):
        reaction = answer.react(message)
        assert isinstance(reaction.answer, CountAnswer)
        answer = reaction.answer
        if message.at == 5:
            assert answer.filled == {"attackers": 7, "defenders": 2, "winner": 1}, "the first is changed"
            break
        assert (answer.filled, reaction.handed_in) == (filled, False)
        assert reaction.notice.startswith(notice)
    assert answer.react(Submit(6)).handed_in
    assert answer.raw() == {"attackers": 7, "defenders": 2, "winner": "white"}
    assert ASK.in_words(answer.task.card, answer.raw()) == "attackers 7, defenders 2, winner white"


def test_only_words_that_answer_are_offered() -> None:
    answer = answer_to(count_card("count"))
    offered = {typed: [one.entry for one in answer.completions(typed)] for typed in ("4 3 W", "b", "4", "x")}
    assert offered == {"4 3 W": ["4 3 white"], "b": ["black"], "4": [], "x": []}


def test_hints_name_the_men_then_how_many_then_which_do_not_count() -> None:
    answer = answer_to(count_card("count"))
    first, second, third = answer.hints(keeping_secret=False)
    assert first.text.startswith(
        "These men look at e5, directly or through others: the rook on e1, the bishop"
    )
    assert second.text == "Of these men, one cannot take part."
    assert third.text == "The knight on c6 does not count: pinned to its king by the bishop on b5."
    assert third.marks == Marks(actors=frozenset({"c6"}), squares=frozenset({"b5"}))
    assert answer.hints(keeping_secret=True) == [first, second]
    calm = replace(answer.task.card, fen=BESIEGED.replace("1B2p3", "4p3"))
    assert [hint.text for hint in answer_to(replace(answer.task, card=calm)).hints(False)][1:] == [
        "All of them can take part."
    ]


def marked(task: Task, **changed: int) -> CountMark:
    return replace(answer_to(task), filled={**FOUR_THREE_WHITE, **changed}).marked()


def test_the_marks_say_who_counts_and_keep_the_motif_back() -> None:
    task = count_card("count")
    attackers, defenders, winner = marked(task).rows
    assert attackers.marks(task, False).actors == {"b2", "d3", "f3", "e1"}
    assert defenders.marks(task, False) == Marks(
        frozenset({"d6", "g6", "e8"}), frozenset({"e5"}), frozenset({"c6", "b5"})
    )
    assert winner.marks(task, False).actors == {"b2", "d3", "f3", "e1", "d6", "g6", "e8"}
    pin = replace(
        task.card,
        motifs=(MotifTag("pin-on-diagonal", "white"),),
        evidence={"pin-on-diagonal": ("b5", "c6", "d7")},
    )
    secret = replace(task, card=pin)
    told = defenders.reasons(secret, keeping_secret=True)
    assert len(told) == 4
    assert told[-1] == "1 man more: not shown before you have been asked for the motif."
    assert "c6" not in " ".join(told)
    assert defenders.marks(secret, keeping_secret=True).squares == set()
    assert len(defenders.reasons(secret, keeping_secret=False)) == 4
    assert "pinned" in " ".join(defenders.reasons(secret, keeping_secret=False))


@pytest.mark.parametrize(
    ("fen", "square", "said"),
    [
        (BESIEGED, "e5", "If White takes on e5, White comes out 1 pawn ahead by count."),
        (
            "4k3/8/8/3r4/8/3N4/4P3/4K3 b - - 0 1",
            "d3",
            "If Black takes on d3, Black comes out 2 pawns behind by count.",
        ),
        (
            "4k3/8/8/3r4/8/3R4/4P3/4K3 b - - 0 1",
            "d3",
            "If Black takes on d3, Black comes out even by count.",
        ),
        ("7k/8/8/8/1b6/2N5/p7/r3K3 w - - 0 1", "a2", "White has no man that can take on a2."),
        (
            "4k3/8/8/3r4/8/3N4/8/4K3 w - - 0 1",
            "d3",
            "If Black takes on d3, Black comes out 3 pawns ahead by count.",
        ),
    ],
)
def test_what_the_exchange_comes_to(fen: str, square: str, said: str) -> None:
    card = Card("c", fen, (ASK.id,), own_tags={"Square": square})
    task = replace(count_card("count"), card=card)
    mark = marked(task)
    assert mark.rows[2].reasons(task, False) == [said]
    assert mark.reason(task).endswith(said)
