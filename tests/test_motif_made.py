"""A motif that a card's position does not show yet is told by the move that makes it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import chess
import pytest
from made_tasks import explanation_with
from made_verdicts import verdicts

from decks.cards.deck import Deck
from decks.cards.demo import demo_deck_folder
from decks.tasks.card import Card, MotifTag
from decks.tasks.evidence import key_findings
from decks.tasks.motif_made import motif_made
from decks.tasks.task import Task
from decks.tasks.tried import EXAMINED
from decks.telling.about_card import evidence_in_words
from patterns.engines.scores import PositionVerdicts
from patterns.lines import Use, parse_line
from patterns.motifs.findings import Finding

FORK = MotifTag("fork", "white")
FORKING = "r3k3/8/8/3N4/8/8/8/4K3 w - - 0 24"
LETTING_IN = "r3k3/7p/8/3N4/8/8/8/4K3 b - - 0 23"
THREATENING = "2q1r1k1/p1p2ppp/1rp5/3pP3/3Pn2P/B1N2N1b/P1Q2PP1/R3R1K1 b - - 6 20"
TWO_PINS = "rnb1k2r/pp1qppbp/6p1/2p5/Q2PP3/2P2N2/P4PPP/R1B1KB1R w KQkq - 2 9"

FORKS = "The knight on d5 forks the rook on a8 and the king on e8 from c7."


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
    assert told(about, FORK) == (made + FORKS if made else "")


def test_what_the_engine_plays_tells_more_than_the_deck_has() -> None:
    board = chess.Board(FORKING)
    engine = verdicts(board, {"Nc7+": (1.0, "Kd7 Nxa8")}, 0.5)
    overlooked = card(FORKING, "Ke2 Kd7 Nc3", root=1)
    assert told(overlooked, FORK, verdict=engine) == f", with 24. Nc7+: {FORKS} This wins a rook."
    board = chess.Board(LETTING_IN)
    engine = verdicts(board, {"Kd7": (0.5, ""), "h6": (0.0, "Nc7+ Kd7 Nxa8")}, 0.1)
    let_in = card(LETTING_IN, "Kd7", ["h6"])
    made = f", with 24. Nc7+ after 23... h6: {FORKS} This wins a rook."
    assert told(let_in, FORK, verdict=engine) == made


@pytest.mark.parametrize(
    ("line", "mate", "won", "why"),
    [
        ("Nc7+ Kd7 Nxa8 Kc8", None, " The line wins a rook.", "the knight stays"),
        ("Nc7+ Kd7 Nxa8 Kc8 Kd2 Kb8 Kd3 Kxa8", None, " The line wins the exchange.", "it falls in the end"),
        ("Nc7+ Kd7 Nxa8 Kc8 Kd2 Kb8 Kd3", None, "", "it can fall"),
        ("Nc7+ Kd7", None, "", "the card's line stops too soon"),
        ("Nc7+ Kd7 Nxa8 Kc8", 12, " The line wins a rook.", "the engine sees a mate, which the line lacks"),
    ],
)
def test_what_is_won_is_what_the_line_shows(line: str, mate: int | None, won: str, why: str) -> None:
    engine = (1.0, "Kd7 Nxa8 Kc8")
    found = verdicts(chess.Board(FORKING), {"Nc7+": engine if mate is None else (*engine, mate)}, 0.5)
    assert told(card(FORKING, line), FORK, verdict=found) == f", with 24. Nc7+: {FORKS}{won}", why


@pytest.mark.parametrize(
    ("score", "told_too"), [(1.0, ""), (0.5, ", and the game is level"), (0.2, ", and White is much worse")]
)
def test_who_only_wins_something_back_is_told_how_it_stands(score: float, told_too: str) -> None:
    line = "Nc7+ Kd7 Nxa8 Kc8"
    found = verdicts(chess.Board(FORKING), {"Nc7+": (score, line.removeprefix("Nc7+ "))}, 0.0)
    made = f", with 24. Nc7+: {FORKS} The line wins a rook{told_too}."
    assert told(card(FORKING, line), FORK, verdict=found) == made


@pytest.mark.parametrize(("plies", "known"), [(2, True), (EXAMINED, True), (EXAMINED - 1, False)])
def test_the_part_of_a_line_that_a_new_card_was_chosen_by_is_looked_at_too(
    monkeypatch: pytest.MonkeyPatch, plies: int, known: bool
) -> None:
    """More of a line may show something else instead: a mate at its end, for example."""
    board, line = chess.Board(FORKING), "Kd7 Nxa8 Kc8 Nb6+ Kb7 Nd5 Kc6 Nf4 Kd6"
    engine = verdicts(board, {"Nc7+": (1.0, line)}, 0.5)
    only = parse_line(board, f"Nc7+ {line}")[:plies]
    fork = Use(1, "fork", ("d5",), ("a8", "e8"), ("c7",), FORKS)

    def uses_of(fen: str, before: tuple[str, ...], moves: tuple[str, ...]) -> tuple[Use, ...]:
        return (fork,) if moves == tuple(move.uci() for move in only) else ()

    monkeypatch.setattr("decks.tasks.motif_made._uses_of", uses_of)
    assert told(card(FORKING, "Nc7+ Kd7"), FORK, verdict=engine) == (f", with 24. Nc7+: {FORKS}" * known)


@pytest.mark.parametrize(("man", "won"), [("n", "a rook"), ("r", "two rooks for a knight")])
def test_what_can_be_taken_back_after_the_line_counts_as_taken(man: str, won: str) -> None:
    """The knight takes another man in the end, and the pawn on a7 takes back."""
    fen, line = f"r3k3/p7/1{man}6/3N4/8/8/8/4K3 w - - 0 24", "Kd7 Nxa8 Kc8 Nxb6+"
    found = verdicts(chess.Board(fen), {"Nc7+": (1.0, line)}, 0.5)
    assert told(card(fen, f"Nc7+ {line}"), FORK, verdict=found).endswith(f" The line wins {won}.")


def test_a_motif_of_a_mistake_that_nothing_shows_is_left_to_the_comment() -> None:
    about = replace(card(LETTING_IN, "Kd7", root=1), motifs=(MotifTag("skewer", "white"),))
    assert evidence_in_words(Task("b", about, ()), ()) == ["Skewer, for White."]
    for place, told in ((1, []), (0, ["Skewer, for White."])):
        explained = replace(about, comments={place: "It lets in a skewer."})
        assert evidence_in_words(Task("b", explained, ()), ()) == told


SEEMS = "q3r2k/6pp/8/1N5n/8/7B/6PP/5RK1 w - - 0 20"
"""Composed: the knight would fork queen and rook on c7, but the queen checks on a7 and then takes it."""


def lookalike(tried: Sequence[str] = (), line: str = "Rf2") -> Card:
    """A card on which the fork on c7 only seems to be there."""
    seeming = MotifTag("fork", "white")
    return replace(card(SEEMS, line, tried), lookalike=seeming, evidence={"fork": ("a8",)})


def test_a_lookalike_tells_its_stroke_what_refutes_it_and_what_comes_of_it() -> None:
    about = lookalike(["g3 Nf6", "Nc7 Qa7+ Kh1 Qxc7"])
    seems = "Fork, for White, only seems to be there: "
    fails = f"{seems}20. Nc7 fails to 20... Qa7+ 21. Kh1 Qxc7"
    assert evidence_in_words(Task("b", about, ()), ()) == [f"{fails}."]
    for score, line, comes_to in (
        (0.0, "Qa7+ Kh1 Qxc7 g3", ", which wins a knight"),
        (0.5, "Qa7+ Kh1 Qb8", ", after which the game is level"),
        (0.1, "Qa7+ Kh1 Qb8", ", after which White is lost"),
    ):
        found = verdicts(chess.Board(SEEMS), {"Nc7": (score, line)}, 0.2)
        told = evidence_in_words(Task("b", about, (), {found.epd: found}), ())
        assert told == [f"{fails}{comes_to}."]
    other = lookalike(["Nc7 Nf4"])
    assert evidence_in_words(Task("b", other, ()), ()) == [f"{seems}the queen on a8 refutes it."]


def test_a_lookalike_tells_what_its_key_does_and_wins(monkeypatch: pytest.MonkeyPatch) -> None:
    found = verdicts(chess.Board(FORKING), {"Nc7+": (1.0, "Kd7 Nxa8 Kc8")}, 0.5)

    def key_of(motif: str) -> str:
        about = replace(card(FORKING, "Nc7+ Kd7 Nxa8"), lookalike=MotifTag(motif, "white"))
        _, key = evidence_in_words(Task("b", about, (), {found.epd: found}), ())
        return key

    assert key_of("skewer") == f"Fork, for White, with 24. Nc7+: {FORKS} The line wins a rook."
    assert key_of("fork").startswith("Loose piece, for White, with 24. Nc7+: "), "what seems is not told"
    monkeypatch.setattr("decks.tasks.motif_made._uses_of", lambda *_: ())
    assert key_of("skewer") == "The line wins a rook."


def test_a_move_that_is_asked_is_told_before_what_stands_on_the_board() -> None:
    promoting = "6k1/p2qP1p1/3P3p/5r1n/2p5/N1P1nP2/P6P/1R3R1K w - - 0 28"
    passed = replace(
        card(promoting, "Rb8+ Kh7 e8=Q Ng3+ hxg3 Qxd6 Nxc4"),
        motifs=(MotifTag("passed-pawn", "white"),),
        evidence={"passed-pawn": ("b1",)},
    )
    stands = "Passed pawn, for White: White has a protected, connected passed pawn on e7."
    (made,) = evidence_in_words(Task("b", passed, ()), ())
    assert made.startswith("Passed pawn, for White, with 28. Rb8+: The rook on b1 goes to b8 ")
    there = replace(passed, evidence={"passed-pawn": ("e7",)})
    assert evidence_in_words(Task("b", there, ()), ()) == [stands], "no move is asked"
    (made,) = evidence_in_words(Task("b", replace(there, asks=("play",)), ()), ())
    assert ", with 29. e8=Q: " in made
    theirs = replace(there, motifs=(MotifTag("passed-pawn", "black"),), asks=("play",))
    assert evidence_in_words(Task("b", theirs, ()), ()) == ["Passed pawn, for Black: the pawn on e7."]
    near = replace(there, evidence={"passed-pawn": ("e8",)})  # a square on its way, and no man of it
    assert stands not in evidence_in_words(Task("b", near, ()), ())


def test_of_several_findings_of_its_motif_a_card_marks_and_tells_those_of_its_evidence() -> None:
    def found(actors: str, squares: str, note: str) -> Finding:
        return Finding("fork", "white", tuple(actors.split()), (), tuple(squares.split()), note)

    findings = (found("d5", "e4", "one"), found("a1", "d5", "two"), found("", "d5 c4", "three"))
    explained = explanation_with(findings, {})
    about = replace(card(FORKING), motifs=(FORK,))
    for evidence, notes in (("", "one two three"), ("d5", "one three"), ("c4", "three"), ("h8", "")):
        squares = {"fork": tuple(evidence.split())} if evidence else {}
        task = Task("b", replace(about, evidence=squares), (), explainer=lambda _: explained)
        assert [finding.note for finding in key_findings(task)] == notes.split()


def test_no_move_is_told_while_the_line_is_kept_back() -> None:
    asked = replace(card(FORKING, "Nc7+ Kd7 Nxa8"), motifs=(FORK,), asks=("play",))
    (told,) = evidence_in_words(Task("b", asked, ()), {"line"})
    assert told.startswith("Fork, for White: The knight on d5 can fork ")
    seems = replace(lookalike(["Nc7 Qa7+ Kh1 Qxc7"]), fen=SEEMS)
    (told,) = evidence_in_words(Task("b", seems, ()), {"line"})
    assert told == "Fork, for White, only seems to be there: the queen on a8 refutes it."
    made = replace(card(FORKING, "Nc7+ Kd7 Nxa8"), lookalike=MotifTag("skewer", "white"))
    assert evidence_in_words(Task("b", made, ()), {"line"}) == ["Skewer, for White, only seems to be there."]


def test_every_motif_of_the_demo_deck_is_told_in_a_sentence() -> None:
    deck = Deck.open(demo_deck_folder())
    named = [one for one in deck.cards if one.motifs]
    assert len(named) > 40
    for one in named:
        for text in evidence_in_words(Task(deck.settings.deck, one, one.asks, deck.verdicts), ()):
            _, sentence = text.split(": ", 1)
            assert " " in sentence and sentence[0].isupper() and sentence.endswith("."), (one.card_id, text)
