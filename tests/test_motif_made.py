"""A motif that a card's position does not show yet is told by the move that makes it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import chess
import pytest
from made_verdicts import verdicts

from decks.cards.deck import Deck
from decks.cards.demo import demo_deck_folder
from decks.tasks.card import LABEL, Card, MotifTag
from decks.tasks.task import Task
from decks.telling.about_card import evidence_in_words
from decks.tasks.motif_made import motif_made
from patterns.engines.scores import PositionVerdicts
from patterns.lines import parse_line

FORK = MotifTag("fork", "white")
FORKING = "r3k3/8/8/3N4/8/8/8/4K3 w - - 0 24"
LETTING_IN = "r3k3/7p/8/3N4/8/8/8/4K3 b - - 0 23"
THREATENING = "2q1r1k1/p1p2ppp/1rp5/3pP3/3Pn2P/B1N2N1b/P1Q2PP1/R3R1K1 b - - 6 20"
TWO_PINS = "rnb1k2r/pp1qppbp/6p1/2p5/Q2PP3/2P2N2/P4PPP/R1B1KB1R w KQkq - 2 9"

FORKS = (
    "The knight on d5 forks the rook on a8 and the king on e8 from c7, which wins material worth at least a"
    " rook."
)


def card(fen: str, line: str = "", tried: Sequence[str] = (), root: int | None = None) -> Card:
    """A card with a line and with other first moves, each with what follows."""
    board = chess.Board(fen)
    main, *others = (tuple(move.uci() for move in parse_line(board, text)) for text in (line, *tried))
    return Card("a", fen, (), line=main, tried=tuple(others), root=root)


def told(about: Card, tag: MotifTag, evidence: str = "", verdict: PositionVerdicts | None = None) -> str:
    """What follows the title of the motif."""
    shown = {tag.motif: tuple(evidence.split())} if evidence else {}
    found = {} if verdict is None else {verdict.epd: verdict}
    return motif_made(Task("b", replace(about, evidence=shown), (), found), tag)


@pytest.mark.parametrize(
    ("about", "made"),
    [
        (card(FORKING, "Nc7+ Kd7 Nxa8"), ", with 24. Nc7+: "),
        (card(LETTING_IN, "Kd7", ["h6 Nc7+ Kd7"]), ", with 24. Nc7+ after 23... h6: "),
        (card(LETTING_IN, "Kd7", ["Ra7", "h5"]), ""),
        (card(LETTING_IN, "h6 Nc7+ Kd7 Nxa8", root=1), ", with 24. Nc7+ after 23... h6: "),
        (card(FORKING.replace("24", "23"), "Ke2 Kd7 Nc3", root=1), ""),
    ],
)
def test_it_is_told_by_the_line_by_what_the_deck_has_tried_or_by_the_root(about: Card, made: str) -> None:
    assert told(about, FORK) == (made + FORKS if made else ".")


def test_what_the_engine_plays_tells_more_than_the_deck_has() -> None:
    board = chess.Board(FORKING)
    engine = verdicts(board, {"Nc7+": (1.0, "Kd7 Nxa8")}, 0.5)
    overlooked = card(FORKING, "Ke2 Kd7 Nc3", root=1)
    assert told(overlooked, FORK, verdict=engine) == f", with 24. Nc7+: {FORKS}"
    board = chess.Board(LETTING_IN)
    engine = verdicts(board, {"Kd7": (0.5, ""), "h6": (0.0, "Nc7+ Kd7 Nxa8")}, 0.1)
    let_in = card(LETTING_IN, "Kd7", ["h6"])
    assert told(let_in, FORK, verdict=engine) == f", with 24. Nc7+ after 23... h6: {FORKS}"


def test_the_root_may_come_late_and_so_may_the_move_that_makes_the_motif() -> None:
    later = card(FORKING.replace("/8/8/3N4", "/7p/8/3N4"), "Kf2 h6 Nc7+ Kd7", root=2)
    assert told(later, FORK) == f", with 25. Nc7+ after 24... h6: {FORKS}"
    second = card(FORKING.replace("/8/8/3N4", "/7p/8/3N4"), "Kd1 h6 Nc7+ Kd7 Nxa8")
    assert told(second, FORK) == f", with 25. Nc7+: {FORKS}"


def test_of_several_moves_the_one_with_the_men_of_the_evidence_is_told() -> None:
    pin = MotifTag("pin-on-diagonal", "white")
    pins = card(TWO_PINS, "Bb5 Nc6 d5 Bxc3+ Bd2 Bxd2+ Nxd2 Qc7 dxc6")
    assert told(pins, pin).startswith(", with 9. Bb5: The bishop on f1 pins the queen on d7 ")
    assert told(pins, pin, "c6").startswith(", with 10. d5: The knight on c6 is pinned ")


def test_a_threat_is_told_though_the_line_goes_on_to_something_greater() -> None:
    mates = card(THREATENING, "Qg4 g3 Qxf3 Qxe4 dxe4 Nxe4 Qg2#")
    made = ", with 20... Qg4: The queen on c8 goes to g4 and threatens mate on g2."
    assert told(mates, MotifTag("threat-of-mate", "black")) == made


def test_what_no_move_makes_is_told_by_the_men_of_the_evidence() -> None:
    assert told(card(FORKING), FORK, "d5 a8 c7") == ": the rook on a8, c7 and the knight on d5."
    assert told(card(FORKING, "Nc7+ Kd7"), MotifTag(f"{LABEL}tempo", "white"), "e8") == ": the king on e8."


def test_a_position_that_shows_the_motif_elsewhere_only_is_told_with_the_move_too() -> None:
    promoting = "6k1/p2qP1p1/3P3p/5r1n/2p5/N1P1nP2/P6P/1R3R1K w - - 0 28"
    passed = replace(
        card(promoting, "Rb8+ Kh7 e8=Q Ng3+ hxg3 Qxd6 Nxc4"),
        motifs=(MotifTag("passed-pawn", "white"),),
        evidence={"passed-pawn": ("b1",)},
    )
    stands = "Passed pawn, for White: White has a protected, connected passed pawn on e7."
    told_twice = evidence_in_words(Task("b", passed, ()), ())
    assert told_twice[0] == stands
    assert told_twice[1].startswith("Passed pawn, for White, with 28. Rb8+: The rook on b1 goes to b8 ")
    evidence = {"passed-pawn": ("e7",)}
    assert evidence_in_words(Task("b", replace(passed, evidence=evidence), ()), ()) == [stands]


def test_every_motif_of_the_demo_deck_is_told_in_a_sentence() -> None:
    deck = Deck.open(demo_deck_folder())
    named = [one for one in deck.cards if one.motifs]
    assert len(named) > 40
    for one in named:
        for text in evidence_in_words(Task(deck.settings.deck, one, one.asks, deck.verdicts), ()):
            _, sentence = text.split(": ", 1)
            assert " " in sentence and sentence[0].isupper() and sentence.endswith("."), (one.card_id, text)
