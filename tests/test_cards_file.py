"""Reading, writing and patching `cards.pgn`: nothing lost, nothing passed over, nothing else touched."""

from __future__ import annotations

import dataclasses
import io
import logging
import random
import re
from time import process_time

import chess
import chess.pgn
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decks.asks.catalogue import ASKS
from decks.cards.cards_file import ROSTER, CardEntry, read_cards, write_card
from decks.cards.coach_marks import coach_marks
from decks.cards.defences import defences_in
from decks.cards.movetext import MOST_MOVES, Variation
from decks.cards.pgn_spans import append_games, set_tags, split_games
from decks.cards.tags import CARD_TAGS, FACTOR_KEYS
from decks.tasks.card import Card, MotifTag
from patterns.words.verdicts import Verdict

logging.getLogger("chess.pgn").setLevel(logging.CRITICAL)

FEN = "3r2k1/5ppp/8/8/8/8/5PPP/3RR1K1 w - - 0 30"
"""Two rooks against one: 30. Rxd8# is mate on the back rank."""

START = chess.STARTING_FEN


def card_text(moves: str = "30. Rxd8# *", **tags: str | None) -> str:
    """One card's game, plain; a tag given as None is left out."""
    known = {**ROSTER, "SetUp": "1", "FEN": FEN, "CardId": "sm-001", "Asks": "play", **tags}
    pairs = [f'[{name} "{value}"]' for name, value in known.items() if value is not None]
    return "\n".join([*pairs, "", moves, ""])


def faults_of(text: str, motifs: tuple[str, ...] | None = ("back-rank", "pin-on-file")) -> list[str]:
    return [str(fault) for fault in read_cards(text, ("play",), motifs)[1]]


def only_card(text: str) -> CardEntry:
    cards, faults = read_cards(text, ("play",), None)
    assert faults == ()
    (card,) = cards
    return card.entry


# What a card says


def test_every_tag_is_read() -> None:
    text = card_text(
        "{Look at the king.} 30. Rxd8# $3 {Mate.} (30. h3 $2 {No hurry} 30... Rxd1) *",
        Asks="play assess",
        Motifs="back-rank:white; pin-on-file:black",
        Factors="material=white 2; verdict=white 3; space=level",
        Evidence="back-rank=d8 g8",
        Root="1",
        CardOrigin="Birch - Reed, Saltmarsh 2025, move 30",
        Checked="unverified: sunfish depth 6, 2025-11-02",
    )
    entry = only_card(text)
    assert entry.card == Card(
        card_id="sm-001",
        fen=FEN,
        asks=("assess", "play"),
        motifs=(MotifTag("back-rank", "white"), MotifTag("pin-on-file", "black")),
        factors={
            "material": Verdict("white", 2),
            "verdict": Verdict("white", 3),
            "space": Verdict("level", 0),
        },
        line=("d1d8",),
        origin="Birch - Reed, Saltmarsh 2025, move 30",
        evidence={"back-rank": ("d8", "g8")},
        root=1,
        checked="unverified: sunfish depth 6, 2025-11-02",
        comments={0: "Look at the king.", 1: "Mate."},
        marks={0: {"d1d8": True, "h2h3": False}},
        tried=(("h2h3", "d8d1"),),
    )
    assert entry.nags == {1: (3,)}
    assert entry.variations == (Variation(0, ("h2h3", "d8d1"), (2,), "No hurry"),)
    assert entry.headers == ROSTER


def test_a_card_without_asks_uses_those_of_the_deck() -> None:
    cards, faults = read_cards(card_text(Asks=None, Motifs="back-rank:white"), ("spot",), None)
    assert faults == () and cards[0].entry.card.asks == ("spot",)


@pytest.mark.parametrize(
    ("moves", "line"),
    [
        ("30. Rxd8#*", ("d1d8",)),
        ("30.Rxd8# 1-0", ("d1d8",)),
        ("30.Rxd8#", ("d1d8",)),
        ("Rd1xd8", ("d1d8",)),
        ("; to the end\n% an escape line (Kf9\n30. ; Kf1\nRxd8!! *", ("d1d8",)),
        ("30. Rxd8 {(Kf1 1. [x]\n\n; not a comment} *", ("d1d8",)),
        ("30. f3\n\nRxd1\n\n\n31. Rxd1 *", ("f2f3", "d8d1", "e1d1")),
        ("30. f3 (30. h3 (30. g3 Rxd1) Rxd1 31. Rxd1) 30... Rxd1 31. Rxd1", ("f2f3", "d8d1", "e1d1")),
    ],
)
def test_unusual_but_valid_movetext_is_read(moves: str, line: tuple[str, ...]) -> None:
    assert only_card(card_text(moves)).card.line == line


def test_a_comment_after_a_tag_pair_starts_no_new_game() -> None:
    text = card_text().replace('[SetUp "1"]', '[SetUp "1"] ; as it stood {"')
    assert only_card(text).card.line == ("d1d8",)


@pytest.mark.parametrize("result", ["1/2", "White won", "", "½-½"])
def test_a_result_the_standard_lacks_is_written_as_unknown(result: str) -> None:
    entry = CardEntry(Card("sm-001", FEN, ("play",), line=("d1d8",)), {"Result": result})
    read = only_card(write_card(entry))
    assert read.card.line == ("d1d8",)
    assert read.headers["Result"] == "*"


@pytest.mark.parametrize(
    ("text", "motifs"),
    [
        ("coach:rook-endings:white", ["coach:rook-endings"]),
        ("coach : friday : white; back-rank:white", None),
        ("back-rank:white; coach:Türme_2:black;", ["back-rank", "coach:Türme_2"]),
    ],
)
def test_a_coachs_label_is_a_motif_that_need_not_be_known(text: str, motifs: list[str] | None) -> None:
    (cards, faults) = read_cards(card_text(Motifs=text), ("play",), {"back-rank"})
    assert bool(faults) == (motifs is None)
    assert [[tag.motif for tag in card.entry.card.motifs] for card in cards] == ([motifs] if motifs else [])


def test_a_fen_is_enough_for_the_position() -> None:
    assert only_card(card_text(SetUp=None)).card.fen == FEN


def test_cards_without_a_result_and_without_moves_stay_apart() -> None:
    cards = [card_text("", CardId=f"sm-{number}", Asks="assess") for number in range(3)]
    read, faults = read_cards("\n".join(cards), ("play",), None)
    assert faults == () and [card.entry.card.card_id for card in read] == ["sm-0", "sm-1", "sm-2"]


# Faults

TAG_FAULTS: list[tuple[dict[str, str | None], str]] = [
    ({"FEN": None}, "has no FEN"),
    ({"FEN": "8/8/8/8 w"}, "FEN '8/8/8/8 w': not a FEN"),
    ({"FEN": "8/8/8/8/8/8/8/8 w - - 0 1"}, "White has no king; Black has no king"),
    ({"FEN": "4k3/8/8/8/8/8/8/4RK2 w - - 0 1"}, "the side that is not to move is in check (e8)"),
    ({"FEN": "3rk3/8/8/8/8/8/8/P3K3 w - - 0 1"}, "a pawn on a1"),
    ({"SetUp": "0"}, 'SetUp must be "1"'),
    ({"CardId": "two words"}, "CardId 'two words' is not an id"),
    ({"CardId": "x" * 65}, "is not an id"),
    ({"Asks": "play dance"}, "unknown ask 'dance'"),
    ({"Asks": "play play"}, "each once"),
    ({"Asks": ""}, "must name one or more asks"),
    ({"Asks": "root"}, "no Root tag"),
    ({"Asks": "root", "Root": "1"}, "no other move to choose"),
    ({"Asks": "spot"}, "no Motifs tag"),
    ({"Asks": "spot", "Motifs": ""}, "no Motifs tag"),
    ({"Root": "0"}, "Root '0' is not the number of a move of the line"),
    ({"Root": "2"}, "write 1 to 1"),
    ({"Root": "1.5"}, "Root '1.5'"),
    ({"Root": "٣"}, "is not the number of a move of the line"),
    ({"Motifs": "pin-on-flie:white"}, "unknown motif 'pin-on-flie'"),
    ({"Motifs": "back-rank"}, "doesn't name a side: write back-rank:white"),
    ({"Motifs": "back-rank:White"}, "doesn't name a side"),
    ({"Motifs": "back-rank:level"}, "doesn't name a side"),
    ({"Motifs": "coach:endings"}, "doesn't name a side: write coach:endings:white or coach:endings:black"),
    ({"Motifs": "coach:endings:level"}, "doesn't name a side"),
    ({"Motifs": "coach:white"}, "doesn't name a side: write coach:white:white"),
    ({"Motifs": "coach::white"}, "'coach:' is not a label: write coach: and a word"),
    ({"Motifs": "coach:rook endings:white"}, "'coach:rook endings' is not a label"),
    ({"Motifs": "coach:endings:white; coach:endings:white"}, "appears twice"),
    (
        {"Asks": "spot", "Motifs": "coach:endings:white"},
        "its Motifs tag has only labels, which nobody can name",
    ),
    ({"Motifs": "back-rank:white;;"}, "unknown motif ''"),
    ({"Motifs": "back-rank:white; back-rank:white"}, "appears twice"),
    ({"Factors": "tempo=white 2"}, "unknown factor 'tempo'"),
    ({"Factors": "material=white 4"}, "'white 4' is not a verdict"),
    ({"Factors": "material=+2"}, "'+2' is not a verdict"),
    ({"Factors": "material"}, "has no verdict"),
    ({"Factors": "material=level; material=level"}, "material appears twice"),
    ({"Motifs": "back-rank:white", "Evidence": "back-rank=d9"}, "'d9' is not a square"),
    ({"Motifs": "back-rank:white", "Evidence": "back-rank="}, "has no squares"),
    ({"Evidence": "back-rank=d8"}, "not among the card's Motifs"),
    ({"Variant": "Atomic"}, "must be standard chess"),
    ({"asks": "play"}, "tag asks is misspelt: write Asks"),
    ({"Cardorigin": "here"}, "tag Cardorigin is misspelt: write CardOrigin"),
    ({"CardOrigin": "x" * 256}, "has 256 characters, the PGN standard allows 255"),
]


@pytest.mark.parametrize(("tags", "message"), TAG_FAULTS)
def test_a_faulty_tag_is_named(tags: dict[str, str | None], message: str) -> None:
    (fault,) = faults_of(card_text("30. Rxd8# *", **tags))
    assert message in fault
    assert re.match(r"cards\.pgn line \d+", fault)


MOVE_FAULTS = [
    ("30. Ra8 *", "'Ra8' is not legal in 3r2k1/"),
    ("30. Rxd8# (30. Rb8) *", "'Rb8' is not legal"),
    ("30. Rxd8# Kh8 *", "'Kh8' is not legal"),
    ("30. Nf9 *", "'Nf9' is not a move"),
    ("30. Rxd88 *", "'Rxd88' is not a move"),
    ("30. Rook takes *", "'Rook' is not a move"),
    ("30. Rxd8# and mates *", "'and' is not a move"),
    ("30. -- *", "'--' is a null move"),
    ("30. R1d1 *", "is not legal"),
    ("30. Rxd8# $256 *", "is not a NAG"),
    ("30. Rxd8# $99999999999999999999 *", "is not a NAG"),
    ("30. Rxd8# ± *", "'±' is not a move or anything else in PGN"),
    ("30. Rxd8# $ *", "'$' is not a move"),
    ("30. Rxd8#!!! *", "'!!!' is not a glyph of the standard: write one of ! ? !! ?? !? ?!"),
    ("30. Rxd8#!?! *", "'!?!' is not a glyph of the standard"),
    ("30. Rxd8# e.p. *", "'e.p.' is not written in PGN"),
    ("30. 0000 *", "'0000' is a null move, which chess does not have"),
    ("30. Dxd8# *", "'Dxd8#' is not a move: write it like"),
    ("30. Kd5 (30. Zz (30. Zz)) Zz *", "'Kd5' is not legal in 3r2k1/"),
    ("30. f3 (30. Zz Zz) Rxd1 31. Rxd1 *", "'Zz' is not a move"),
    ("30. f3 (30. h3 Kd5 (30... Kd4) Kd6) Rxd1 31. Rxd1 *", "'Kd5' is not legal"),
    ("30. f3 (30. h3 (30. g3 Rxd1) *", "never closed"),
    ("30. Rxd8# (30. h3 *", "never closed: a ) is missing"),
    ("30. Rxd8# ) *", "a ) without a ("),
    ("(30. h3) 30. Rxd8# *", "must follow the move it replaces"),
    ("30. Rxd8# {no end *", "never closed: a } is missing"),
    ("*", "there is no line to find"),
    ("30. f3 Rxd1 *", "ends with a reply"),
]


@pytest.mark.parametrize(("moves", "message"), MOVE_FAULTS)
def test_a_faulty_line_is_named(moves: str, message: str) -> None:
    (fault,) = faults_of(card_text(moves))
    assert message in fault and fault.startswith("cards.pgn line ") and ", card sm-001: " in fault


def test_each_variation_that_is_not_closed_is_named_where_it_opens() -> None:
    found = faults_of(card_text("30. f3 (30. h3\n(30. g3 *"))
    assert ["line 13," in found[0], "line 14," in found[1], len(found)] == [True, True, 2]


@pytest.mark.parametrize(
    ("moves", "nags", "comments", "variations"),
    [
        ("30. Rxd8#! *", {1: (1,)}, {}, ()),
        ("30. Rxd8#? $255 $0 *", {1: (2, 255, 0)}, {}, ()),
        ("30. Rxd8#!! ?? *", {1: (3, 4)}, {}, ()),
        ("$7 30. Rxd8#!? ?! $5 *", {0: (7,), 1: (5, 6)}, {}, ()),
        ("{ a\n b } {} {c} 30. Rxd8# ; d\n; e\n*", {}, {0: "a b c", 1: "d e"}, ()),
        (
            "30. f3 {x} (h3! ! {y} ? Rxd1 {z} (h6) 31. Rxd1) ({w} g3) Rxd1 (h6) 31. Rxd1 $1 *",
            {3: (1,)},
            {1: "x"},
            (
                Variation(0, ("h2h3", "d8d1", "e1d1"), (1, 2), "y z"),
                Variation(0, ("g2g3",), (), "w"),
                Variation(1, ("h7h6",)),
            ),
        ),
        ("30. f3 ( ) ({nothing}) 30... Rxd1 31. Rxd1 *", {}, {}, ()),
    ],
)
def test_what_is_said_of_moves_is_read(
    moves: str, nags: dict[int, tuple[int, ...]], comments: dict[int, str], variations: tuple[Variation, ...]
) -> None:
    entry = only_card(card_text(moves))
    assert (entry.nags, entry.card.comments, entry.variations) == (nags, comments, variations)


GAMES_OF: list[tuple[str, list[tuple[list[str], list[str]]]]] = [  # tag names and movetext of each game
    ("", []),
    ("{a} ; b\n\n% c\n", []),
    ('[A "1"]', [(["A"], [])]),
    ('{a} [A "1"] {b} e4 * {c}', [(["A"], ["b", "e4", "*"])]),
    ("e4 * d4", [([], ["e4", "*"]), ([], ["d4"])]),
    ("1. [A", [([], [])]),
    # After moves a tag pair starts a game; where none are, a name that comes again after a gap.
    ('[A "1"] e4 [B "1"]', [(["A"], ["e4"]), (["B"], [])]),
    ('[A "1"] 1. [B "1"]', [(["A"], []), (["B"], [])]),
    ('[A "1"] $1 [B "1"]', [(["A"], ["1"]), (["B"], [])]),
    ('[A "1"] ( [B "1"]', [(["A"], ["("]), (["B"], [])]),
    ('[A "1"] ± [B "1"]', [(["A", "B"], [])]),
    ('[A "1"]\n[A "1"]', [(["A", "A"], [])]),
    ('[A "1"]\n\n[A "1"]', [(["A"], []), (["A"], [])]),
    ('[A "1"]\n\n[B "1"]', [(["A", "B"], [])]),
    ('[A "1"] {a} [A "1"]', [(["A"], ["a"]), (["A"], [])]),
    ('[A "1"] ;a\n[B "1"]', [(["A", "B"], ["a"])]),
    ('[A "1"]\n\n[B "1"]\n[A "1"]', [(["A", "B", "A"], [])]),
    ('\n\n[A "1"]\n[A "1"]', [(["A", "A"], [])]),
]


@pytest.mark.parametrize(("text", "games"), GAMES_OF)
def test_where_games_of_a_deck_start_and_end(text: str, games: list[tuple[list[str], list[str]]]) -> None:
    found = split_games(text)
    assert [
        ([tag.name for tag in game.tags], [token.text for token in game.tokens]) for game in found
    ] == games
    for game in found:
        assert not text[game.start].isspace() and not text[game.end - 1].isspace()


def test_an_ambiguous_move_lists_the_choices() -> None:
    (fault,) = faults_of(card_text("1. Rd1 *", FEN="6k1/8/8/8/8/4K3/8/R6R w - - 0 1"))
    assert "'Rd1' is ambiguous" in fault and "Rad1 or Rhd1" in fault


def test_faults_name_the_exact_line() -> None:
    text = card_text("30. f3\n30... Rxd1\n31. Rxd9 *")
    (fault,) = faults_of(text)
    wanted = text.split("\n").index("31. Rxd9 *") + 1
    assert fault.startswith(f"cards.pgn line {wanted}, card sm-001: 'Rxd9'")
    (fault,) = faults_of(text.replace("\n", "\r\n"))
    assert fault.startswith(f"cards.pgn line {wanted}, ")


def test_all_faults_are_reported_at_once() -> None:
    text = "\n".join(
        [
            card_text("30. Kd5 *", Asks="dance", Motifs="nonsense:white"),
            card_text("30. Rxd8# *", FEN=None),
            card_text("30. Rxd8# (30. Qd4) *", CardId="sm-003", SetUp="0"),
        ]
    )
    found = faults_of(text)
    expected = ["unknown ask", "unknown motif", "'Kd5'", "this CardId is taken", "no FEN", "SetUp", "'Qd4'"]
    assert len(found) == len(expected)
    assert [message for message in expected if not any(message in fault for fault in found)] == []


def test_a_missing_brace_does_not_swallow_the_next_card() -> None:
    text = card_text("30. Rxd8# {mate *") + "\n" + card_text("30. Kd5 *", CardId="sm-002")
    first, second = faults_of(text)
    assert "runs into the tag pair of line 15: a } is missing" in first and "card sm-001" in first
    assert "'Kd5' is not legal" in second and "card sm-002" in second


@pytest.mark.parametrize("tag", ['[White "A "quoted" name"]', '[White "no end]', "[White]", "[", '["x"]'])
def test_a_malformed_tag_pair_is_named(tag: str) -> None:
    faults = faults_of(card_text().replace('[White "?"]', tag))
    assert len(faults) == 1 and "is not a tag pair" in faults[0] and "line 5" in faults[0]


def test_a_repeated_tag_is_named() -> None:
    (fault,) = faults_of(card_text().replace('[SetUp "1"]', '[SetUp "1"]\n[SetUp "1"]'))
    assert fault == "cards.pgn line 9, card sm-001: tag SetUp appears twice in this game"


def test_moves_without_tags_are_not_a_card() -> None:
    assert "the moves have no tag pairs" in faults_of("1. e4 e5 *\n")[0]
    assert "the moves have no tag pairs" in faults_of(card_text() + "\n30. Kf1 *\n")[0]


def test_too_many_moves_are_refused() -> None:
    shuffle = "1. Nf3 Nf6 2. Ng1 Ng8 " * (MOST_MOVES // 4)
    assert faults_of(card_text(shuffle, FEN=START, Asks="assess")) == []
    (fault,) = faults_of(card_text(shuffle + "e4", FEN=START))
    assert f"more than {MOST_MOVES} moves and variations" in fault
    (fault,) = faults_of(card_text(shuffle + "(e4)", FEN=START))
    assert f"more than {MOST_MOVES} moves and variations" in fault
    shuffle += "1. Nf3 Nf6 2. Ng1 Ng8 "
    for moves in (shuffle, "1. Nf3 " + "(1. e4 " * 20_000):
        (fault,) = faults_of(card_text(moves, FEN=START))
        assert f"more than {MOST_MOVES} moves and variations" in fault


@given(
    st.text(
        alphabet=st.sampled_from('[]{}();"\\ \n\r\t%$!?*.-=#+0128abdeghNRKQOxFENSup\ufeff\x1b…'), max_size=80
    )
)
def test_reading_does_not_crash_on_any_text(text: str) -> None:
    read_cards(text, ("play",), None)
    read_cards(card_text(text), ("play",), None)


# Writing


def random_line(board: chess.Board, plies: int, chance: random.Random) -> list[str]:
    board = board.copy(stack=False)
    line: list[str] = []
    while len(line) < plies and (legal := list(board.legal_moves)):
        move = chance.choice(legal)
        line.append(move.uci())
        board.push(move)
    return line


WORDS_SEEN = ["the", "knight;", "%clk", "[x]", "Nf3", "a}", "{b", "1.", "...", "$1", "(so)", "é!", "♞", "*"]
WORDS = st.lists(st.sampled_from(WORDS_SEEN), max_size=40)


@pytest.mark.parametrize(
    ("moves", "marks"),
    [
        ("30. Rxd8# *", {}),
        ("30. Rxd8#! (30. Re8+!!) (30. h3?) (30. h4??) *", {
            0: {"d1d8": True, "e1e8": True, "h2h3": False, "h2h4": False}
        }),
        ("30. Rxd8# $7 (30. h3?!) (30. h4!?) (30. g3 $8) *", {0: {"d1d8": True}}),
        ("30. Rxd8#?! ! ?? *", {0: {"d1d8": True}}),
        ("30. Rxd8#? (30. Rxd8#!) (30. h3) (30. h3!) (30. h3?) *", {0: {"d1d8": False, "h2h3": True}}),
        ("30. f3! Rxd1? (30... h6!) 31. Rxd1!! (31. Kf2?) *", {
            0: {"f2f3": True}, 2: {"e1d1": True, "g1f2": False}
        }),
    ],
)  # fmt: skip
def test_the_students_moves_that_the_coach_accepts_and_refuses(
    moves: str, marks: dict[int, dict[str, bool]]
) -> None:
    assert only_card(card_text(moves)).card.marks == marks


@pytest.mark.parametrize(
    ("moves", "to_find", "defences"),
    [
        ("30. f3 Rxd1 (30... h6 31. Rxd8+) 31. Rxd1 *", None, [(1, "h7h6", {})]),
        ("30. f3 Rxd1 (30... h6 31. Rxd8+!) 31. Rxd1 *", None, [(1, "h7h6", {"d1d8": True})]),
        ("30. f3 Rxd1 (30... h6 31. Rxd8+?) 31. Rxd1 *", None, []),
        ("30. f3 Rxd1 (30... h6? 31. Rxd8+) 31. Rxd1 *", None, [(1, "h7h6", {})]),
        ("30. f3 Rxd1 (30... h6) 31. Rxd1 *", None, []),
        ("30. f3 (30. f4 Rxd1) Rxd1 31. Rxd1 *", None, []),
        ("30. f3 Rxd1 (30... Rxd1 31. Rxd1) 31. Rxd1 *", None, []),
        ("30. f3 Rxd1 (30... h6 31. Rxd8+) (30... h6 31. Kf2!) 31. Rxd1 *", None, [(1, "h7h6", {})]),
        (
            "30. f3 Rxd1 (30... h6 31. Rxd8+) (30... h5 31. Rxd8+) 31. Rxd1 Kf8 (31... h6 32. Kf2) 32. Kf2 *",
            None,
            [(1, "h7h6", {}), (1, "h7h5", {}), (3, "h7h6", {})],
        ),
        (
            "30. f3 Rxd1 (30... h6 31. Rxd8+) 31. Rxd1 Kf8 (31... h6 32. Kf2) 32. Kf2 *",
            "1",
            [(1, "h7h6", {})],
        ),
        (
            "30. f3 Rxd1 (30... h6 31. h3) (30... h5 31. h3) (30... g6 31. h3) (30... g5 31. h3) 31. Rxd1 *",
            None,
            [(1, "h7h6", {}), (1, "h7h5", {}), (1, "g7g6", {})],
        ),
    ],
)
def test_which_variations_are_defences_to_meet(
    moves: str, to_find: str | None, defences: list[tuple[int, str, dict[str, bool]]]
) -> None:
    card = only_card(card_text(moves, ToFind=to_find)).card
    assert [(one.ply, one.line[0], one.marks) for one in card.asked_defences] == defences


def test_a_defence_that_is_asked_makes_another_key_of_it() -> None:
    def version(moves: str, **tags: str) -> str:
        return only_card(card_text(moves, **tags)).card.key_version

    plain_line = "30. f3 Rxd1 31. Rxd1 Kf8 32. Kf2 *"
    defended = "30. f3 Rxd1 31. Rxd1 Kf8 (31... h6 32. Kf2) 32. Kf2 *"
    assert version(plain_line) != version(defended)
    assert version(defended) != version(defended.replace("32. Kf2)", "32. Kf1)"))
    assert version(defended) == version(defended.replace("32. Kf2)", "32. Kf2 g6)"))
    assert version(plain_line, ToFind="1") == version(defended, ToFind="1")


@st.composite
def entries(draw: st.DrawFn) -> CardEntry:
    """A card of random moves with comments, NAGs and variations."""
    chance = random.Random(draw(st.integers(0, 10**6)))
    opening = chess.Board()
    for uci in random_line(opening, draw(st.integers(0, 30)), chance):
        opening.push_uci(uci)
    line = random_line(opening, draw(st.sampled_from([0, 1, 3, 7])), chance)
    if len(line) % 2 == 0:
        line = line[:-1]
    comments = {ply: " ".join(words) for ply in range(len(line) + 1) if (words := draw(WORDS))}
    nags = {ply: (draw(st.integers(1, 139)),) for ply in range(1, len(line) + 1) if draw(st.booleans())}
    variations, board = [], opening.copy(stack=False)
    for ply, uci in enumerate(line):
        for _ in range(draw(st.integers(0, 2))):
            variation = random_line(board, draw(st.integers(1, 4)), chance)
            glyph = draw(st.sampled_from([(), (2,), (4, 6)]))
            answer = draw(st.sampled_from([(), (1,), (2,)])) if len(variation) > 1 else ()
            variations.append(Variation(ply, tuple(variation), glyph, " ".join(draw(WORDS)), answer))
        board.push_uci(uci)
    motifs = (MotifTag("pin-on-file", "white"), MotifTag("back-rank", "black"))
    card = Card(
        card_id="sm-001",
        fen=opening.fen(),
        asks=("assess", "play") if line else ("spot",),
        motifs=motifs,
        factors={draw(st.sampled_from(FACTOR_KEYS)): Verdict.from_signed(draw(st.integers(-3, 3)))},
        line=tuple(line),
        origin=draw(st.text(alphabet='ab"\\ é', max_size=20)).strip(),
        evidence={"back-rank": ("e1", "h8")},
        root=len(line) or None,
        comments=comments,
        marks=coach_marks(line, nags, variations),
        defences=defences_in(line, variations),
        tried=tuple(one.line for one in variations if one.ply == 0),
    )
    headers = {**ROSTER, "White": draw(st.sampled_from(["Birch, Anna", 'The "Saltmarsh" four', "a\\b"]))}
    return CardEntry(card, headers, tuple(variations), nags)


def plain(comment: str) -> str:
    """A comment as it reads once written: comments do not nest, white space is one space."""
    return " ".join(comment.replace("{", "(").replace("}", ")").split())


@given(entries())
@settings(max_examples=40)
def test_a_written_card_reads_back_the_same(entry: CardEntry) -> None:
    read = only_card(write_card(entry))
    card = entry.card
    assert read.card == Card(
        **{
            **{name: getattr(card, name) for name in Card.__dataclass_fields__},
            "origin": " ".join(card.origin.split()),
            "comments": {ply: plain(words) for ply, words in card.comments.items()},
        }
    )
    assert read.nags == entry.nags and read.headers == entry.headers
    assert read.variations == tuple(
        dataclasses.replace(one, comment=plain(one.comment)) for one in entry.variations
    )
    assert only_card(write_card(read)) == read


@given(entries())
@settings(max_examples=40)
def test_python_chess_reads_a_written_card_the_same(entry: CardEntry) -> None:
    file = io.StringIO(write_card(entry))
    game = chess.pgn.read_game(file)
    assert game is not None and game.errors == []
    assert chess.pgn.read_game(file) is None, "nothing of it may look like another game"
    assert game.board().fen() == entry.card.fen
    line: list[str] = []
    comments = {0: plain(game.comment)}
    variations: list[Variation] = []
    node: chess.pgn.GameNode = game
    while node.variations:
        for child in node.variations[1:]:
            moves = [step.uci() for step in (child.move, *child.mainline_moves())]
            glyphs = [tuple(sorted(step.nags)) for step in (child, *child.mainline())][:2]
            variations.append(
                Variation(len(line), tuple(moves), glyphs[0], plain(child.comment), *glyphs[1:])
            )
        node = node.variations[0]
        assert isinstance(node, chess.pgn.ChildNode)
        line.append(node.move.uci())
        assert tuple(node.nags) == entry.nags.get(len(line), ())
        comments[len(line)] = plain(node.comment)
    assert tuple(line) == entry.card.line
    assert variations == [dataclasses.replace(one, comment=plain(one.comment)) for one in entry.variations]
    expected = {ply: plain(words) for ply, words in entry.card.comments.items()}
    assert {ply: words for ply, words in comments.items() if words} == expected


@given(entries())
@settings(max_examples=40)
def test_written_cards_keep_to_export_format(entry: CardEntry) -> None:
    """PGN standard, sections 3.2, 4.3, 8.1: roster first, others in ASCII order, lines under 80 columns."""
    lines = write_card(entry).split("\n")
    names = [line[1:].split()[0] for line in lines if line.startswith("[")]
    assert names[:7] == list(ROSTER) and names[7:] == sorted(names[7:])
    blank = lines.index("")
    assert blank == len(names) and lines[-1] == "" and "" not in lines[blank + 1 : -1]
    for line in lines[blank + 1 :]:
        assert len(line) < 80 and line == line.strip() and line[:1] not in ("%", ";", "[")


MOVES = ("f2f3", "d8d1", "e1d1")


@pytest.mark.parametrize(
    ("comments", "nags", "variations", "movetext"),
    [
        # Black's number stands at the start of a line and after anything but a move: 8.2.2.2.
        ({}, {}, (), "30. f3 Rxd1 31. Rxd1 *"),
        ({1: "a"}, {}, (), "30. f3 {a} 30... Rxd1 31. Rxd1 *"),
        ({0: "a", 3: "b"}, {0: (7,), 1: (1, 3)}, (), "{a} $7 30. f3 $1 $3 Rxd1 31. Rxd1 {b} *"),
        ({}, {}, (Variation(0, ("g2g3", "d8d1")),), "30. f3 (30. g3 Rxd1) 30... Rxd1 31. Rxd1 *"),
        (
            {},
            {},
            (Variation(0, ("g2g3", "d8d1", "e1d1", "h7h6"), (2,), "a b"), Variation(0, ("h2h3",))),
            "30. f3 (30. g3 $2 {a b} 30... Rxd1 31. Rxd1 h6) (30. h3) 30... Rxd1 31. Rxd1 *",
        ),
        ({}, {}, (Variation(1, ("h7h6", "d1d8")),), "30. f3 Rxd1 (30... h6 31. Rxd8+) 31. Rxd1 *"),
        (
            {},
            {},
            (Variation(1, ("h7h6", "d1d8"), (2,), "", (1,)),),
            "30. f3 Rxd1 (30... h6 $2 31. Rxd8+ $1) 31. Rxd1 *",
        ),
        ({2: "{a} % ;b"}, {}, (), "30. f3 Rxd1 {(a) % ;b} 31. Rxd1 *"),
    ],
)
def test_movetext_as_it_is_written(
    comments: dict[int, str],
    nags: dict[int, tuple[int, ...]],
    variations: tuple[Variation, ...],
    movetext: str,
) -> None:
    card = Card("sm-001", FEN, ("play",), line=MOVES, comments=comments)
    lines = write_card(CardEntry(card, {}, variations, nags)).split("\n\n")[1].split("\n")
    assert " ".join(lines).strip() == movetext


@pytest.mark.parametrize(("letters", "first_line"), [(75, 79), (76, 2)])
def test_a_line_of_movetext_has_at_most_79_characters(letters: int, first_line: int) -> None:
    """PGN standard, section 4.3: a short word and a long one, which fits behind it or does not."""
    card = Card("sm-001", FEN, ("play",), line=MOVES, comments={0: "x " + "y" * letters})
    lines = write_card(CardEntry(card)).split("\n\n")[1].split("\n")
    assert len(lines[0]) == first_line


def test_the_writer_makes_no_tag_too_long() -> None:
    long = Card("sm-001", FEN, ("play",), line=("d1d8",), origin='"' * 300, checked="x" * 400)
    text = write_card(CardEntry(long, {"Event": "\\" * 200}))
    entry = only_card(text)
    assert entry.card.origin.endswith('"...') and len(entry.card.checked) == 255
    motifs = tuple(MotifTag(f"motif-{'x' * number}", "white") for number in range(1, 20))
    with pytest.raises(ValueError, match="tag Motifs would have"):
        write_card(CardEntry(Card("sm-001", FEN, ("play",), motifs, line=("d1d8",))))


def test_an_illegal_line_is_not_written() -> None:
    with pytest.raises(ValueError, match="d2d4"):
        write_card(CardEntry(Card("sm-001", FEN, ("play",), line=("d2d4",))))


# Patching and appending: what was not touched stays byte for byte

BREAK = st.sampled_from(["\n", "\r\n"])
SPACE = st.sampled_from(["", " ", "  ", "\t"])


@st.composite
def odd_decks(draw: st.DrawFn) -> str:
    """A deck as a person might leave it: odd spacing, either line end, comments everywhere, tags missing."""
    parts = [draw(st.sampled_from(["", "\ufeff"]))]

    def newline(least: int = 1) -> str:
        return "".join(draw(st.lists(BREAK, min_size=least, max_size=least + 2)))

    for number in range(draw(st.integers(1, 4))):
        tags = {"Event": 'Saltmarsh \\"open\\"', "SetUp": "1", "FEN": FEN, "Asks": "play"}
        if draw(st.booleans()):
            tags["CardId"] = f"sm-{number}"
        if draw(st.booleans()):
            tags["Checked"] = draw(st.sampled_from(["", "by hand", "x" * 255, "Zürich ♞"]))
        for name in draw(st.permutations(sorted(tags))):
            space = [draw(SPACE) for _ in range(3)]
            parts += [f'[{space[0]}{name}{space[1]}"{tags[name]}"{space[2]}]', draw(SPACE)]
            parts += [draw(st.sampled_from(["", '; as it stood [Not "a tag"]'])), newline()]
        parts += [draw(st.sampled_from(["", "{one\r\n\n[two}", '% [Asks "spot"]'])), newline()]
        moves = ["30.Rxd8#", "30. Rxd8#!!", "30.\tRxd8+$1"]
        parts += [draw(st.sampled_from(moves)), draw(SPACE), newline()]
        parts += [
            draw(st.sampled_from(["", '{ [Asks "spot"] }', "( 30.h3{why?}Rxd1 )", ";(\n"])),
            draw(SPACE),
        ]
        parts += [draw(st.sampled_from(["*", "1-0"])), newline(0 if number == 3 else 1)]
        parts += [draw(st.sampled_from(["", "; between games\n", "\n% escaped\n", "{loose words}\n"]))]
    return "".join(parts)


@given(odd_decks(), st.data())
@settings(max_examples=100)
def test_setting_a_tag_leaves_every_other_byte_alone(text: str, data: st.DataObject) -> None:
    games = split_games(text)
    cards, faults = read_cards(text, ("play",), None)
    assert faults == () and len(cards) == len(games) > 0
    index = data.draw(st.integers(0, len(games) - 1))
    name = data.draw(st.sampled_from(["CardId", "Checked", "CardOrigin", "Event"]))
    value = data.draw(st.sampled_from(["new-1", "", 'a "b" \\', "é" * 255]))
    patched = set_tags(text, [(games[index], name, value)])
    before, after = text.encode(), patched.encode()
    old = games[index].tag(name)
    start = len(text[: old.value_start if old else games[index].tags[-1].end].encode())
    end = len(text[: old.value_end if old else games[index].tags[-1].end].encode())
    assert after.startswith(before[:start]) and after.endswith(before[end:])
    written = value.replace("\\", "\\\\").replace('"', '\\"').encode()
    middle = after[start : len(after) - len(before[end:])]
    assert middle == written if old else middle.strip() == b"[" + name.encode() + b' "' + written + b'"]'
    reread = split_games(patched)
    assert [[tag.value for tag in game.tags if tag.name == name] for game in reread] == [
        [value] if place == index else [tag.value for tag in game.tags if tag.name == name]
        for place, game in enumerate(games)
    ]
    assert [[(token.kind, token.text) for token in game.tokens] for game in reread] == [
        [(token.kind, token.text) for token in game.tokens] for game in games
    ]


@given(odd_decks())
@settings(max_examples=40)
def test_many_tags_at_once_equal_one_after_the_other(text: str) -> None:
    values = {"CardId": "new-7", "Checked": "today"}
    at_once = set_tags(text, [(game, *item) for game in split_games(text) for item in values.items()])
    in_turn = text
    for index in range(len(split_games(text))):
        for item in values.items():
            in_turn = set_tags(in_turn, [(split_games(in_turn)[index], *item)])
    assert at_once == in_turn
    assert set_tags(at_once, []) == at_once


@given(odd_decks(), entries())
@settings(max_examples=40)
def test_appending_keeps_the_text_and_adds_one_card(text: str, entry: CardEntry) -> None:
    longer = append_games(text, [write_card(entry)])
    assert longer.encode().startswith(text.encode())
    before, after = read_cards(text, ("play",), None)[0], read_cards(longer, ("play",), None)[0]
    assert [card.entry for card in after[:-1]] == [card.entry for card in before]
    assert after[-1].entry == only_card(write_card(entry))


def test_appending_follows_the_files_line_ends() -> None:
    longer = append_games('[Event "x"]\r\n\r\n*', ["[A]\n\n*\n", "[B]\n\n*\n"])
    assert longer == '[Event "x"]\r\n\r\n*\r\n\r\n[A]\r\n\r\n*\r\n\r\n[B]\r\n\r\n*\r\n'
    assert append_games("", ["[A]\n"]) == "[A]\n"
    for ending in ("", "\r", "\r\r"):
        assert append_games(f"x\ry{ending}", ["\n\n[A]\n\n"]) == "x\ry\r\r[A]\r"
    assert append_games("x\n\n\n", ["[A]"]) == "x\n\n\n[A]\n"
    assert append_games("\ufeff", ["[A]\n"]) == "\ufeff[A]\n"


def test_a_tag_value_stays_on_its_line() -> None:
    (game,) = split_games(card_text())
    for newline in "\r\n":
        with pytest.raises(ValueError, match="must stay on one line"):
            set_tags(card_text(), [(game, "Checked", f"a{newline}b")])
    assert "x" * 255 in set_tags(card_text(), [(game, "Checked", "x" * 255)])
    with pytest.raises(ValueError, match="tag Checked would have 256 characters, at most 255"):
        set_tags(card_text(), [(game, "Checked", "x" * 254 + '"')])
    (bare,) = split_games("\n1. e4 *")
    with pytest.raises(ValueError, match="the game in line 2 has no tag pairs to follow"):
        set_tags("\n1. e4 *", [(bare, "Checked", "x")])


def test_every_tag_of_ours_is_written_and_known() -> None:
    card = Card(
        "sm-001", FEN, tuple(ASKS), (MotifTag("back-rank", "white"),), {"verdict": Verdict("white", 3)}
    )
    full = Card(
        **{**vars(card), "line": ("d1d8",), "origin": "o", "evidence": {"back-rank": ("d8",)}, "root": 1}
    )
    full = dataclasses.replace(full, checked="c", to_find=1, goal="mate", tier=2, chosen="c")
    full = dataclasses.replace(full, lookalike=MotifTag("fork", "white"))
    text = write_card(CardEntry(full))
    (game,) = split_games(text)
    assert {tag.name for tag in game.tags} == {*ROSTER, "SetUp", "FEN", *CARD_TAGS}


def test_games_are_split_in_a_time_in_proportion_to_their_tags() -> None:
    """Sixteen times the tags would take 256 times as long, if each were compared with each."""

    def seconds(tags: int) -> float:
        text = "".join(f'[Tag{number} "x"]\n\n' for number in range(tags))
        start = process_time()
        (game,) = split_games(text)
        assert len(game.tags) == tags
        return process_time() - start

    short = min(seconds(1_000) for _ in range(3))
    assert seconds(16_000) < 80 * short + 0.05


def test_the_evidence_of_a_lookalike_is_read_as_it_was_written() -> None:
    card = Card(
        "sm-001",
        FEN,
        ("play",),
        line=("d1d8",),
        lookalike=MotifTag("fork", "white"),
        evidence={"fork": ("d8",)},
    )
    (read,), faults = read_cards(write_card(CardEntry(card)), ("play",), None)
    assert (read.entry.card.evidence, list(faults)) == ({"fork": ("d8",)}, [])


@pytest.mark.parametrize("value", ["fork", "fork:white; back-rank:white", "coach:friday:white"])
def test_a_lookalike_is_one_motif(value: str) -> None:
    card = Card("sm-001", FEN, ("play",), line=("d1d8",), lookalike=MotifTag("fork", "white"))
    text = write_card(CardEntry(card))
    (read,), _ = read_cards(text, ("play",), None)
    assert read.entry.card.lookalike == card.lookalike
    _, (fault,) = read_cards(text.replace("fork:white", value), ("play",), None)
    assert value in fault.message


@pytest.mark.parametrize("value", ["0", "4", "two", "1.0"])
def test_a_tier_is_1_to_3_and_makes_no_other_question_of_a_card(value: str) -> None:
    card = Card("sm-001", FEN, ("play",), line=("d1d8",), tier=3)
    assert card.key_version == dataclasses.replace(card, tier=1).key_version
    text = write_card(CardEntry(card))
    (read,), _ = read_cards(text, ("play",), None)
    assert read.entry.card.tier == 3
    _, (fault,) = read_cards(text.replace('[Tier "3"]', f'[Tier "{value}"]'), ("play",), None)
    assert fault.message == f"Tier '{value}' is not a tier: write 1 to 3"
