"""Hand-outs: what becomes a card, with a judge whose scores the test sets."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from io import StringIO

import pytest
from asked_at_once import AtOnce, InAnyOrder
from made_tasks import DOUBLED_ROOKS
from test_cards_from_games import Said

from decks.build.choice import Fell
from decks.build.handouts import LONGEST, handout_cards, is_handout
from decks.build.new_card import BuiltCard
from decks.build.variety import Known
from decks.cards.cards_file import read_cards, write_card
from patterns.engines.judging import EngineError
from patterns.reading.pgn import Game, read_games

TODAY = date(2031, 5, 2)
MATES = Said({"d2d8": 1.0, "d1d8": 1.0}, 0.4, {"d2d8": ("c8d8", "d1d8")})
SOLVED = "24. Rxd8+ Rxd8 25. Rxd8#"


def handed_out(moves: str = "", fen: str = DOUBLED_ROOKS, tags: str = "") -> Game:
    text = f'[Event "Saltmarsh hand-out 3"]\n[Date "2031.04.30"]\n{tags}[FEN "{fen}"]\n\n{moves} *\n'
    (game,) = read_games(StringIO(text))
    assert isinstance(game, Game)
    return game


def built(*games: Game, judge: Said = MATES, **options: object) -> list[BuiltCard]:
    return list(handout_cards(games, AtOnce(judge), TODAY, **options))  # type: ignore[arg-type]


@pytest.mark.parametrize("tags", ["", '[SetUp "1"]\n'])
@pytest.mark.parametrize("moves", ["", SOLVED])
def test_a_short_game_from_a_fen_is_a_hand_out(moves: str, tags: str) -> None:
    assert is_handout(handed_out(moves, tags=tags))


def test_long_games_games_from_the_start_and_ended_ones_are_none() -> None:
    shuffle = " ".join(["Kf1 Kf8 Kg1 Kg8"] * (LONGEST // 4))
    assert is_handout(handed_out(shuffle))
    assert not is_handout(handed_out(f"{shuffle} Kf1"))
    assert not is_handout(handed_out(fen="rnbqkbnr/pppppppp/8/8/8/8/PPPPPPPP/RNBQKBNR w KQkq - 0 1"))
    assert not is_handout(handed_out(fen="3R2k1/5ppp/8/8/8/8/5PPP/6K1 b - - 0 1"))


def test_a_solution_is_the_line_and_nothing_is_marked_where_the_engine_agrees() -> None:
    (one,) = built(handed_out(SOLVED))
    card = one.entry.card
    assert (card.fen, card.line, card.to_find, card.goal) == (
        DOUBLED_ROOKS,
        ("d2d8", "c8d8", "d1d8"),
        None,
        "mate",
    )
    assert [str(tag) for tag in card.motifs] == ["back-rank:white"]
    assert card.origin == "Saltmarsh hand-out 3 2031.04.30"
    assert card.checked == "Stockfish 15.1 depth 16, 2031-05-02"
    assert (one.entry.headers["Event"], one.entry.nags) == ("Saltmarsh hand-out 3", {})
    assert [verdicts.epd for verdicts in one.verdicts] == [key.board.epd() for key in card.moves_to_find()]


def test_a_solution_that_the_engine_refuses_stays_and_is_accepted_for_the_coach() -> None:
    (one,) = built(handed_out("24. h3 Kf8 25. Rxd8+"))
    assert one.entry.card.line == ("h2h3", "g8f8", "d2d8")
    assert one.entry.nags == {1: (1,)}
    (read,), faults = read_cards(
        write_card(replace(one.entry, card=replace(one.entry.card, card_id="h3"))), (), None
    )
    assert (faults, read.entry.card.marks[0]) == ((), {"h2h3": True})


def test_a_solution_may_end_with_a_reply_which_is_only_shown() -> None:
    (one,) = built(handed_out("24. Rxd8+ Rxd8"))
    assert (one.entry.card.line, one.entry.card.to_find) == (("d2d8", "c8d8"), 1)
    assert len(one.verdicts) == 1


def test_without_a_solution_the_engines_line_is_the_cards() -> None:
    (one,) = built(handed_out())
    assert one.entry.card.line == ("d2d8", "c8d8", "d1d8")
    assert one.entry.nags == {}


@pytest.mark.parametrize(
    ("scores", "others", "settled", "why"),
    [
        ({"d2d8": 0.4}, 0.1, True, Fell.LOST),
        ({}, 0.9, True, Fell.MANY_HOLD),
        ({"d2d8": 1.0}, 0.4, False, Fell.NOT_SETTLED),
    ],
)
def test_without_a_solution_the_key_must_be_certain(
    scores: dict[str, float], others: float, settled: bool, why: Fell
) -> None:
    judge, fallen = Said(scores, others, {}), Counter[Fell]()
    judge.settled = settled
    assert built(handed_out(), judge=judge, fallen=fallen) == []
    assert fallen == {why: 1}
    assert len(built(handed_out(SOLVED), judge=judge)) == 1


def test_a_label_marks_every_card_and_no_motif_is_looked_for() -> None:
    quiet = handed_out("1. Ke3 Ke5", fen="8/8/8/3k4/8/3K4/3P4/8 w - - 0 1")
    labels = ("coach:rook-endings", "coach:friday")
    cards = [one.entry.card for one in built(handed_out(SOLVED), quiet, labels=labels)]
    assert [[str(tag) for tag in card.motifs] for card in cards] == [
        ["coach:rook-endings:white", "coach:friday:white"]
    ] * 2
    assert [len(one.entry.card.motifs) for one in built(quiet)] == [0]


@pytest.mark.parametrize(
    ("motifs", "named"), [((), ["back-rank"]), (("back-rank",), ["back-rank"]), (("fork",), None)]
)
def test_with_motifs_asked_for_a_card_needs_one(motifs: Sequence[str], named: list[str] | None) -> None:
    fallen = Counter[Fell]()
    cards = built(handed_out(SOLVED), motifs=motifs, fallen=fallen)
    assert [[tag.motif for tag in one.entry.card.motifs] for one in cards] == (
        [] if named is None else [named]
    )
    assert fallen == ({Fell.NO_MOTIF: 1} if named is None else {})


def test_a_card_that_cannot_have_the_asks_is_left_out() -> None:
    quiet = handed_out("1. Ke3 Ke5", fen="8/8/8/3k4/8/3K4/3P4/8 w - - 0 1")
    cards = built(quiet, handed_out(SOLVED), asks=("spot", "play"))
    assert [one.entry.card.asks for one in cards] == [("spot", "play")]
    fallen = Counter[Fell]()
    assert built(handed_out(SOLVED), asks=("spot",), labels=("coach:friday",), fallen=fallen) == []
    assert fallen == {Fell.UNSUITED: 1}


def test_a_position_makes_one_card_and_none_if_it_is_taken() -> None:
    game = handed_out(SOLVED)
    (one,) = built(game, handed_out())
    fallen = Counter[Fell]()
    assert built(game, known=Known([one.entry.card.board.epd()]), fallen=fallen) == []
    assert fallen == {Fell.KNOWN: 1}


def test_the_work_on_each_is_told() -> None:
    told: list[tuple[int, int]] = []
    engines = InAnyOrder(MATES, 1, seed=1)
    two = [handed_out(), handed_out("1. Ke3 Ke5", fen="8/8/8/3k4/8/3K4/3P4/8 w - - 0 1")]
    made = list(handout_cards(two, engines, TODAY, progress=lambda made, tested: told.append((made, tested))))
    assert len(made) == 2
    assert set(told) == {(0, 0), (1, 1)}


def test_the_cards_come_in_order_and_a_failing_engine_costs_one_card() -> None:
    other = handed_out("1. Ke3 Ke5", fen="8/8/8/3k4/8/3K4/3P4/8 w - - 0 1")
    engines = InAnyOrder(MATES, 2, seed=1, dies_in=[other.start.epd()])
    cards = handout_cards([other, handed_out(SOLVED)], engines, TODAY)
    assert next(cards).entry.card.fen == DOUBLED_ROOKS
    with pytest.raises(EngineError, match="died in 8/8"):
        next(cards)
