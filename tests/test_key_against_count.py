"""Where the card's verdict is not the program's: the card's line says why."""

from __future__ import annotations

import re

import pytest

from decks.asks.assess import AssessAnswer
from decks.asks.key_against_count import why_they_differ
from decks.tasks.card import Card
from decks.tasks.task import Task
from patterns.words.verdicts import Verdict

PAWN_FALLS = "4k3/8/8/3p4/7n/2N5/8/4K3 b - - 0 1"


def task(line: tuple[str, ...], asks: tuple[str, ...] = ("assess",), verdict: str = "white 3") -> Task:
    card = Card("one", PAWN_FALLS, asks, factors={"verdict": Verdict.parse(verdict)}, line=line)
    return Task("deck", card, asks)


def counted(of: Task) -> int:
    return of.explanation.assessment.verdict.signed


def test_the_line_is_told_with_the_balances_that_it_changes() -> None:
    asked = task(("h4g6", "c3d5"))
    differ, changes = why_they_differ(asked, 3, may_tell_the_line=True)
    assert differ.endswith(", the card White decisive. The line that was searched: 1... Ng6 2. Nxd5.")
    by = r"has changed by \d\.\d\d for White"
    # From d5 the knight has safe checks.
    assert re.fullmatch(f"After it material {by} and initiative {by}\\.", changes)


def test_a_line_that_changes_little_is_told_alone() -> None:
    (told,) = why_they_differ(task(("e8f8", "e1f1")), 3, may_tell_the_line=True)
    assert told.endswith("The line that was searched: 1... Kf8 2. Kf1.")


@pytest.mark.parametrize(("line", "may"), [((), True), (("h4g6", "c3d5"), False)])
def test_without_a_line_that_may_be_told_it_is_said_that_they_differ(
    line: tuple[str, ...], may: bool
) -> None:
    (told,) = why_they_differ(task(line), 3, may_tell_the_line=may)
    assert told.endswith("the card White decisive: a search sees more than a count.")


def test_nothing_is_told_where_they_agree() -> None:
    asked = task(("h4g6", "c3d5"))
    assert why_they_differ(asked, counted(asked), may_tell_the_line=True) == []


@pytest.mark.parametrize(("asks", "told"), [(("assess",), True), (("assess", "play"), False)])
def test_the_row_of_the_verdict_keeps_a_line_that_is_asked_later(asks: tuple[str, ...], told: bool) -> None:
    asked = task(("h4g6", "c3d5"), asks)
    *_, verdict = AssessAnswer(asked, ballot={"verdict": 0}).marked().rows
    assert any("Nxd5" in reason for reason in verdict.reasons(asked, keeping_secret=False)) == told
