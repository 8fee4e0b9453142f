"""Positions shown worked: what the page of a first meeting holds, in plain mode and on the screen."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import replace

import pytest
from made_tasks import count_card, doubled_rooks, root_and_factor_card, short_ballot

from decks.plain import run_plain
from decks.review import messages as m
from decks.review.session import State, start, update
from decks.screen.pane import pane_rows
from decks.tasks.task import Task

WOULD_BE = "Nothing is asked here. The question would be:"
WHICH_MOVE = "Something went wrong on this sheet. Which move was the mistake?"


def shown_worked(task: Task) -> State:
    return start([replace(task, worked=True)])


def page(task: Task) -> list[str]:
    """What plain mode says of it, without the board above."""
    write = io.StringIO()
    run_plain(shown_worked(task), lambda _: None, lambda: 0.0, io.StringIO(""), write)
    said = write.getvalue()
    return said[said.index("A worked position") :].splitlines()


def pane(state: State) -> Iterator[str]:
    return ("".join(piece.text for piece in row) for row in pane_rows(state, 60))


@pytest.mark.parametrize(
    ("task", "said"),
    [
        (
            doubled_rooks("play"),
            [
                "A worked position: weak back rank",
                "Nothing is asked here. Look how it is done, then go on.",
                "The line: 24. Rxd8+ Rxd8 25. Rxd8#",
            ],
        ),
        (
            short_ballot("assess"),
            [
                "A worked position: stock-taking",
                f"{WOULD_BE} White to move. Take stock. The verdict: White decisive.",
                "The stock-taking, row by row",
                "  material: level (by the card's key).",
                "  king safety: White slight.",
                "    Why king-safety stands so (+0.50 White).",
                "  open lines: White clear.",
                "    Why open-lines stands so (+1.33 White).",
                "  verdict: White decisive (by the card's key).",
            ],
        ),
        (
            count_card("count"),
            [
                "A worked position: count",
                "  attackers: 4.",
                "  defenders: 3.",
                "  winner: white.",
                "    The knight on c6 does not count: pinned to its king by the bishop on b5.",
            ],
        ),
        (
            root_and_factor_card("root"),
            [
                "A worked position: root",
                f"{WOULD_BE} {WHICH_MOVE} 2... f6 was the mistake. It hurt king safety.",
            ],
        ),
    ],
    ids=lambda each: each.asks[0] if isinstance(each, Task) else "",
)
def test_the_page_shows_what_a_right_answer_would_be(task: Task, said: list[str]) -> None:
    lines = page(task)
    assert [line for line in said if line not in lines] == []
    assert not any(", right" in line or "Your" in line for line in lines)


@pytest.mark.parametrize("task", [short_ballot("assess"), count_card("count")], ids=["assess", "count"])
def test_on_the_screen_the_rows_are_filled_in_with_the_key_and_tell_why(task: Task) -> None:
    state = shown_worked(task)
    shown = list(pane(state))
    assert "() key" in shown
    assert not any("[" in row for row in shown if "(" in row and ")" in row and "[<]" not in row)
    state, _ = update(state, m.MoveRow(0.0, 1))
    assert state.attempt is not None
    row = state.attempt.marked_rows[0]
    assert row.in_words() in pane(state)
