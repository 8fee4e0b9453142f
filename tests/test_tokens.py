"""The lexer of PGN: every clause of the PGN standard (1994, sections 5 to 8) that it follows, as rows."""

from __future__ import annotations

from time import process_time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patterns.reading.tokens import DECK, GAMES, Leniency, TagPair, Token, lines_of, tokens

Told = list[tuple[str, str]]


def told(text: str, leniency: Leniency = DECK) -> Told:
    """Each token's kind (a tag pair's: `tag`) and what stands in its span."""
    return [
        ("tag" if isinstance(found, TagPair) else found.kind, text[found.start : found.end])
        for found in tokens(lines_of(text), leniency)
    ]


MOVETEXT: list[tuple[str, Told]] = [
    # Movetext: symbols (section 7), move numbers (8.2.2), results (8.2.6).
    ("", []),
    ("e4", [("move", "e4")]),
    ("Nf3+ exd8=Q# O-O", [("move", "Nf3+"), ("move", "exd8=Q#"), ("move", "O-O")]),
    ("a_b:c/d", [("move", "a_b:c/d")]),
    ("0-0 0-0-0", [("move", "0-0"), ("move", "0-0-0")]),
    ("1e4", [("move", "1e4")]),
    ("1.e4", [("number", "1."), ("move", "e4")]),
    ("1 e4", [("number", "1"), ("move", "e4")]),
    ("12...e4", [("number", "12..."), ("move", "e4")]),
    ("1. ... e4", [("number", "1."), ("number", "..."), ("move", "e4")]),
    ("10000", [("number", "10000")]),
    ("00000", [("number", "00000")]),
    ("0000.", [("number", "0000.")]),
    ("1)", [("number", "1"), ("close", ")")]),
    ("e4.e5", [("move", "e4"), ("number", "."), ("move", "e5")]),
    ("1-0", [("result", "1-0")]),
    ("0-1", [("result", "0-1")]),
    ("1/2-1/2", [("result", "1/2-1/2")]),
    ("*", [("result", "*")]),
    ("Rd8#*", [("move", "Rd8#"), ("result", "*")]),
    ("1-0)", [("result", "1-0"), ("close", ")")]),
    ("1-0-0", [("move", "1-0-0")]),
    ("1-0x", [("move", "1-0x")]),
    ("1-0/1", [("move", "1-0/1")]),
    ("0-1_", [("move", "0-1_")]),
    ("1/2", [("move", "1/2")]),
    # Null moves as they are commonly written are moves, so that they can be told.
    ("--", [("move", "--")]),
    ("0000", [("move", "0000")]),
    ("@@@@", [("move", "@@@@")]),
    ("Z0", [("move", "Z0")]),
    ("-+ +-", [("other", "-+"), ("other", "+-")]),
    # Glyphs (8.2.3.8), NAGs (8.2.4), and the sign of en passant.
    ("e4!", [("move", "e4"), ("glyph", "!")]),
    ("e4 !? $1", [("move", "e4"), ("glyph", "!?"), ("nag", "$1")]),
    ("!!!", [("glyph", "!!!")]),
    ("$139", [("nag", "$139")]),
    ("$", [("other", "$")]),
    ("$x", [("other", "$"), ("move", "x")]),
    ("exd6e.p.", [("move", "exd6"), ("en_passant", "e.p.")]),
    ("exd6 e.p.", [("move", "exd6"), ("en_passant", "e.p.")]),
    ("exd6+e.p.#", [("move", "exd6+"), ("en_passant", "e.p.#")]),
    ("e5d6e.p.", [("move", "e5d6"), ("en_passant", "e.p.")]),
    ("ed6e.p.", [("move", "ed6"), ("en_passant", "e.p.")]),
    # Variations (8.2.5), which end a move's text.
    ("(e4)", [("open", "("), ("move", "e4"), ("close", ")")]),
    ("e4(d4)", [("move", "e4"), ("open", "("), ("move", "d4"), ("close", ")")]),
    # Comments (5): to the brace, over lines, not nested; to the end of the line.
    ("e4{a}d4", [("move", "e4"), ("comment", "{a}"), ("move", "d4")]),
    ("{a {b} c", [("comment", "{a {b}"), ("move", "c")]),
    ("{a\nb\n}d4", [("comment", "{a\nb\n}"), ("move", "d4")]),
    ("{a\n\n% b\n; } d4", [("comment", "{a\n\n% b\n; }"), ("move", "d4")]),
    ("{}", [("comment", "{}")]),
    ("{[a]}", [("comment", "{[a]}")]),
    ("{a", [("unclosed", "{a")]),
    ("{a\nb", [("unclosed", "{a\nb")]),
    ("{a\n}% e4", [("comment", "{a\n}"), ("other", "%"), ("move", "e4")]),
    ("}", [("other", "}")]),
    ("e4;d4\ne5", [("move", "e4"), ("comment", ";d4"), ("move", "e5")]),
    ("; a {b\ne5", [("comment", "; a {b"), ("move", "e5")]),
    # The escape line (6): only in the first column.
    ("% e4 {\ne5", [("move", "e5")]),
    ("e4\n%d4\ne5", [("move", "e4"), ("move", "e5")]),
    (" % e4", [("other", "%"), ("move", "e4")]),
    # What is nothing of these.
    ("±", [("other", "±")]),
    ("e4,e5", [("move", "e4"), ("other", ",e5")]),
    ("+=[x", [("other", "+=[x")]),
    # A byte-order mark at the start of a line, where files were put together.
    ("\ufeffe4", [("move", "e4")]),
    ("\ufeff% e4\nd4", [("move", "d4")]),
    ("e4\n\ufeff% d4", [("move", "e4")]),
    ('1-0\ufeff[A "b"]', [("result", "1-0"), ("other", "\ufeff"), ("tag", '[A "b"]')]),
]

SKIPPED = {"number", "nag", "glyph", "en_passant", "blank"}


@pytest.mark.parametrize(("text", "found"), MOVETEXT)
def test_movetext(text: str, found: Told) -> None:
    assert told(text) == found
    assert told(text, GAMES) == [(kind, part) for kind, part in found if kind not in SKIPPED]


# Tag pairs (8.1), strings (7).
TAGS: list[tuple[str, Told, Told | None]] = [  # in a deck, and in games if that is something else
    ('[A "b"]', [("tag", '[A "b"]')], None),
    ('[ A_1 "b" ]', [("tag", '[ A_1 "b" ]')], None),
    ('[A"b"]', [("tag", '[A"b"]')], None),
    ('[A ""]', [("tag", '[A ""]')], None),
    (r'[A "\"b\" \\"]', [("tag", r'[A "\"b\" \\"]')], None),
    ('[A "b"][C "d"] [E "f"]', [("tag", '[A "b"]'), ("tag", '[C "d"]'), ("tag", '[E "f"]')], None),
    ('  [A "b"]', [("tag", '[A "b"]')], None),
    ('e4 [A "b"]', [("move", "e4"), ("tag", '[A "b"]')], None),
    ('[A "b"] e4', [("tag", '[A "b"]'), ("move", "e4")], None),
    ('[A "b"] ; c', [("tag", '[A "b"]'), ("comment", "; c")], None),
    ('[A "b]c"]', [("tag", '[A "b]c"]')], None),
    # A tag pair may span lines, but no string does.
    ('[A\n"b"]', [("tag", '[A\n"b"]')], None),
    ('[\nA\n"b"\n] e4', [("tag", '[\nA\n"b"\n]'), ("move", "e4")], None),
    ('[A "b"\n]\ne4', [("tag", '[A "b"\n]'), ("move", "e4")], None),
    ('e4 [A\n"b"][C\n"d"]', [("move", "e4"), ("tag", '[A\n"b"]'), ("tag", '[C\n"d"]')], None),
    ('[A "b"\n][\nC "d"]', [("tag", '[A "b"\n]'), ("tag", '[\nC "d"]')], None),
    ('[A "b\nc"]', [("bad_tag", '[A "b'), ("move", "c"), ("other", '"]')], None),
    ('[\n\nA\n\n"b"]', [("bad_tag", "["), ("blank", "\n"), ("move", "A"), ("blank", "\n"), ("other", '"b"]')],
     [("bad_tag", "["), ("move", "A"), ("other", '"b"]')]),
    ('[A\n[B "c"]', [("bad_tag", "[A"), ("tag", '[B "c"]')], None),
    ('[A\n%"b"]\nd4', [("bad_tag", "[A"), ("move", "d4")], None),
    # What is no tag pair reaches to the last ] of the line, else to its end.
    ("[", [("bad_tag", "[")], None),
    ("[A", [("bad_tag", "[A")], None),
    ("[A]", [("bad_tag", "[A]")], None),
    ("[x] e4", [("bad_tag", "[x]"), ("move", "e4")], None),
    ('["x"]', [("bad_tag", '["x"]')], None),
    ("[%a 1] e4 [%b]\nd4", [("bad_tag", "[%a 1] e4 [%b]"), ("move", "d4")], None),
    ('[A "b e4\nd4', [("bad_tag", '[A "b e4'), ("move", "d4")], None),
    ('[A "b\\"]', [("bad_tag", '[A "b\\"]')], [("tag", '[A "b\\"]')]),
    # In games names may have other signs, and a line of its own may have quotes without a backslash.
    ('[A-b+#=: "c"]', [("bad_tag", '[A-b+#=: "c"]')], [("tag", '[A-b+#=: "c"]')]),
    ('[A-b "c"] e4', [("bad_tag", '[A-b "c"]'), ("move", "e4")], [("tag", '[A-b "c"]'), ("move", "e4")]),
    ('[A.b "c"]', [("bad_tag", '[A.b "c"]')], None),
    ('[A "the "b" c"]', [("bad_tag", '[A "the "b" c"]')], [("tag", '[A "the "b" c"]')]),
    ('\ufeff [A "the "b" c"] ', [("bad_tag", '[A "the "b" c"]')], [("tag", '[A "the "b" c"] ')]),
    ('e4 [A "the "b" c"]', [("move", "e4"), ("bad_tag", '[A "the "b" c"]')], None),
    ('[A "the "b" c"] e4', [("bad_tag", '[A "the "b" c"]'), ("move", "e4")], None),
    # An open comment ends where a tag pair shows that its brace was forgotten.
    ('{a\n[Event "b"]', [("unclosed", "{a\n"), ("tag", '[Event "b"]')], None),
    ('{a\n[B "c"] \n}', [("unclosed", "{a\n"), ("tag", '[B "c"]'), ("other", "}")],
     [("comment", '{a\n[B "c"] \n}')]),
    ('{a\n[B "c"] d\n}', [("comment", '{a\n[B "c"] d\n}')], None),
    ('{a\n[Event "b"] d\n}', [("comment", '{a\n[Event "b"] d\n}')],
     [("unclosed", "{a\n"), ("tag", '[Event "b"]'), ("move", "d"), ("other", "}")]),
    ("{a\n[B c]\n}", [("comment", "{a\n[B c]\n}")], None),
    ('{a\n [Event "b"]\n}', [("comment", '{a\n [Event "b"]\n}')], None),
    ('{a\n[B"c"]\n}', [("comment", '{a\n[B"c"]\n}')], None),
    ('{a\n[B\t "c"]\n', [("unclosed", "{a\n"), ("tag", '[B\t "c"]')], [("unclosed", '{a\n[B\t "c"]\n')]),
    ('{a [Event "b"]\n}', [("comment", '{a [Event "b"]\n}')], None),
    # Blank lines.
    ("e4\n\nd4", [("move", "e4"), ("blank", "\n"), ("move", "d4")], [("move", "e4"), ("move", "d4")]),
    ("e4\n \t\r\nd4", [("move", "e4"), ("blank", " \t\r\n"), ("move", "d4")],
     [("move", "e4"), ("move", "d4")]),
]  # fmt: skip


@pytest.mark.parametrize(("text", "in_deck", "in_games"), TAGS)
def test_tag_pairs(text: str, in_deck: Told, in_games: Told | None) -> None:
    assert told(text) == in_deck
    assert told(text, GAMES) == (in_deck if in_games is None else in_games)


def test_a_tag_pair_says_where_its_value_is() -> None:
    text = '\n[A "b"] [ Long_name\n "a \\"b\\" \\\\ \\c" ]'
    first, second = (found for found in tokens(lines_of(text), DECK) if isinstance(found, TagPair))
    assert (first.name, first.value, first.line) == ("A", "b", 2)
    assert (second.name, second.value, second.line) == ("Long_name", 'a "b" \\ \\c', 2)
    assert text[second.value_start : second.value_end] == r"a \"b\" \\ \c"


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_lines_are_counted_whatever_their_ends(end: str) -> None:
    text = end.join(["e4", "{a", "b} e5 {c}", "", '[A "', '[A "', "d4 [B", '"c"', "]", "d5 {", ""])
    found = list(tokens(lines_of(text), DECK))
    assert [(each.line, text[each.start : each.end]) for each in found] == [
        (1, "e4"),
        (2, end.join(["{a", "b}"])),
        (3, "e5"),
        (3, "{c}"),
        (4, end),
        (5, '[A "'),
        (6, '[A "'),
        (7, "d4"),
        (7, end.join(["[B", '"c"', "]"])),
        (10, "d5"),
        (10, "{" + end),
    ]


def test_the_lines_of_a_text() -> None:
    assert list(lines_of("a\nb\r\nc\rd\u2028\x0ce")) == ["a\n", "b\r\n", "c\r", "d\u2028\x0ce"]
    assert list(lines_of("a\n")) == ["a\n"]
    assert list(lines_of("")) == []


@given(
    st.text(alphabet='[]{}()"%;\\ \n\r*01-.eEdNp$!?/\ufeffx', max_size=120), st.sampled_from([GAMES, DECK])
)
def test_nothing_is_passed_over_unseen(text: str, leniency: Leniency) -> None:
    """Tokens stand in order; between them is white space, and else only what the leniency says."""
    place, between = 0, []
    for found in tokens(lines_of(text), leniency):
        assert place <= found.start <= found.end
        between.append(text[place : found.start])
        if isinstance(found, Token) and found.text:
            assert found.text == text[found.start : found.end]
        place = found.end
    between.append(text[place:])
    if leniency is DECK:
        lines = [line for part in between for line in lines_of(part)]
        assert [line for line in lines if line.strip(" \r\n\ufeff") and "%" not in line] == []


NASTY = {
    "tags in one line": '[a ""]',
    "odd tags in one line": '[a-b ""]',
    "open brackets": "[",
    "brackets": "[]",
    "names": "[a",
    "open strings": '[a "',
    "quotes": '"',
    "backslashes": '[a "\\',
    "white space": " ",
    "byte-order marks": "\ufeff",
    "braces": "{",
    "comments": "{}",
    "periods": ".",
    "digits": "1",
    "marks": "[!",
    "cut tags": "[\n",
    "tags over lines": '[a\n"b"\n]\n',
    "unclosed comments": '{\n[Event "x"]\n',
    "strings and brackets": '[a "] ',
}


@pytest.mark.parametrize("part", NASTY.values(), ids=NASTY)
@pytest.mark.parametrize("leniency", [GAMES, DECK], ids=["games", "deck"])
def test_reading_takes_time_in_proportion_to_the_text(part: str, leniency: Leniency) -> None:
    """Sixteen times the text would take 256 times as long, if each place were looked at from each other."""

    def seconds(times: int) -> float:
        text = part * times + "x"
        start = process_time()
        for _ in tokens(lines_of(text), leniency):
            pass
        return process_time() - start

    short = min(seconds(1_000) for _ in range(5))
    assert seconds(16_000) < 80 * short + 0.05
