"""Text from files is made harmless, whatever it holds. Categories: Unicode Character Database."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patterns.reading.text import safe


@pytest.mark.parametrize(
    ("raw", "shown"),
    [
        ("Anna Birch", "Anna Birch"),
        ("Jürgen Þórsson, 王", "Jürgen Þórsson, 王"),
        ("a\x1b[31mb", "a\ufffd[31mb"),
        ("bell\x07 C1 \x9b2J", "bell\ufffd C1 \ufffd2J"),
        ("one\ntwo\tthree\r\nfour", "one two three  four"),
        ("line\u2028paragraph\u2029end", "line paragraph end"),
        ("right\u202eto left\u200b", "rightto left"),
        ("lone \ud800 private \ue000 unassigned \u0378", "lone \ufffd private \ufffd unassigned \ufffd"),
        ("", ""),
        (12, "12"),
    ],
)
def test_what_is_shown(raw: object, shown: str) -> None:
    assert safe(raw) == shown


def test_long_text_is_cut_and_says_so() -> None:
    assert safe("x" * 1000, limit=10) == "xxxxxxx..."
    assert safe("x" * 10, limit=10) == "x" * 10
    assert safe("\u200b" * 5000 + "x", limit=10) == "..."
    assert safe("long", limit=2) == ".."


@given(st.text(alphabet=st.characters()), st.integers(0, 50))
def test_nothing_a_terminal_obeys_comes_through(raw: str, limit: int) -> None:
    shown = safe(raw, limit)
    assert len(shown) <= limit
    assert not {unicodedata.category(c) for c in shown} & {"Cc", "Cs", "Co", "Cn", "Cf", "Zl", "Zp"}
    assert safe(shown, limit) == shown
