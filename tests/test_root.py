"""`root`: the move that let it in, and the factor that it hurt."""

from __future__ import annotations

import pytest
from made_tasks import root_and_factor_card, root_card
from terminal import ENTER, LEFT, Terminal
from test_plain import Conversation
from test_screen import grades as screen_grades
from test_screen import session
from test_session import grades, send, type_in

from decks.asks.root import ASK, CHOICES, Choose, RootAnswer, score_root
from decks.review import messages as m
from decks.review.session import start
from patterns.words.verdicts import FACTORS


@pytest.mark.parametrize(
    ("answer", "factor_right", "raw", "chance"),
    [
        # Of ten plies the fifth is the mistake: a guess earns (1 + .5 + .5) / 10, and of six factors a sixth.
        (4, None, 1.0, 0.2),
        (6, None, 0.5, 0.2),
        (3, None, 0.0, 0.2),
        (4, True, 1.0, (0.2 + 1 / 6) / 2),
        (4, False, 0.5, (0.2 + 1 / 6) / 2),
        (0, True, 0.5, (0.2 + 1 / 6) / 2),
        (2, True, 0.75, (0.2 + 1 / 6) / 2),
        (2, False, 0.25, (0.2 + 1 / 6) / 2),
        (3, False, 0.0, (0.2 + 1 / 6) / 2),
    ],
)
def test_credit_for_the_neighbour_and_for_either_half(
    answer: int, factor_right: bool | None, raw: float, chance: float
) -> None:
    expected = max(0.0, (raw - chance) / (1 - chance))
    assert score_root(4, answer, 10, factor_right) == pytest.approx(expected)


def test_the_factors_to_choose_from_are_those_that_can_be_a_cause() -> None:
    assert set(FACTORS) - set(CHOICES) == {"material", "initiative"}


@pytest.mark.parametrize(
    ("typed", "grade", "raw"),
    [
        (("2...", "king safety"), "found", {"ply": 4, "factor": "king-safety"}),
        (("2...", "KING-s"), "found", {"ply": 4, "factor": "king-safety"}),
        (("2...", "space"), "missed", {"ply": 4, "factor": "space"}),
        (("1...", "king safety"), "partly", {"ply": 2, "factor": "king-safety"}),
        (("2.", "king safety"), "missed", {"ply": 3, "factor": "king-safety"}),
    ],
)
def test_the_move_is_named_and_then_the_factor(typed: tuple[str, ...], grade: str, raw: object) -> None:
    state, _ = type_in(start([root_and_factor_card("root")]), typed[0])
    assert state.phase == "answering"
    state, effects = type_in(state, typed[1])
    assert grades(state) == [grade]
    (saved,) = effects
    assert isinstance(saved, m.SaveAnswer)
    assert saved.given.raw == str(raw).replace("'", '"')


def test_without_the_tag_only_the_move_is_asked() -> None:
    state, _ = type_in(start([root_card("root")]), "2...")
    assert grades(state) == ["found"]


@pytest.mark.parametrize("text", ["material", "p", "nonsense"])
def test_a_factor_must_be_one_of_those_asked_for(text: str) -> None:
    state, effects = type_in(start([root_and_factor_card("root")]), "2...", text)
    assert (state.phase, effects) == ("answering", [])
    fitting = "pawn structure, piece play" if text == "p" else "king safety, centre, pawn structure, space, "
    assert state.notice.startswith(f"'{text}' is not one of: {fitting}")


def test_a_factor_is_chosen_and_the_move_can_still_be_changed() -> None:
    state, effects = send(
        start([root_and_factor_card("root")]), m.StepInLine(1, -1), m.Submit(1), m.Submit(1)
    )
    assert (state.notice, effects) == ("Choose a factor first.", [])
    state, _ = send(state, Choose(1, "king-safety"), m.StepInLine(1, -1), m.Submit(1), m.Submit(1))
    assert grades(state) == ["found"]


def test_a_factor_is_not_chosen_before_the_move_is_named() -> None:
    task = root_and_factor_card("root")
    answer = RootAnswer(task, ply=6)
    assert answer.react(Choose(1, "space")).answer == answer


def test_the_log_tells_both() -> None:
    card = root_and_factor_card("root").card
    assert ASK.in_words(card, {"ply": 4, "factor": "king-safety"}) == "2... f6, king safety"
    assert ASK.in_words(card, {"ply": 4}) == "2... f6"


@pytest.mark.parametrize(
    ("hurt", "fault"),
    [("king-safety", ""), ("material", "its Hurt tag 'material' is not one of king-safety, centre, ")],
)
def test_the_tag_must_name_a_factor_that_can_be_chosen(hurt: str, fault: str) -> None:
    card = root_and_factor_card("root").card
    found = ASK.lacks(card, {"Root": "4", "Hurt": hurt})
    assert found.startswith(fault) and bool(found) == bool(fault)


def test_in_plain_mode() -> None:
    talk = Conversation([root_and_factor_card("root")], "back", "back", "", "centre", "")
    assert talk.unread == ""
    assert "2... f6: which factor did it hurt?" in talk.said
    assert "write one of: king safety, centre, pawn structure" in talk.said
    assert "2... f6 was the mistake. It hurt king safety, not centre." in talk.said


def test_on_the_screen() -> None:
    async def script(terminal: Terminal) -> None:
        await terminal.press(LEFT, LEFT, ENTER)
        assert "2... f6: which factor did it hurt?" in " ".join(terminal.text.split())
        await terminal.click_text("[ ] king safety")
        assert "[x] king safety" in terminal.text
        await terminal.press(ENTER)
        assert "2... f6 was the mistake. It hurt king safety." in " ".join(terminal.text.split())
        await terminal.press(ENTER)
        assert "1 card in" in terminal.text
        await terminal.press(ENTER)

    terminal = session([root_and_factor_card("root")], script)
    assert screen_grades(terminal) == ["found"]
