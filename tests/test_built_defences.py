"""Defences that `build` adds to a card: which replies are natural, and which of them are kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

import chess
import pytest
from asked_at_once import ComparesNothing, result_of
from made_tasks import verdicts_for

from decks.build.defences import MOST_BUILT, MOST_GIVEN_UP, natural_replies, with_defences
from decks.cards.cards_file import CardEntry, read_cards, write_card
from decks.cards.movetext import Variation
from decks.tasks.card import Card
from decks.tasks.lines import board_after
from patterns.engines.effort import SETTLED, SURVEY, Effort
from patterns.engines.judging import Evaluation
from patterns.engines.scores import MoveVerdict, PositionVerdicts

IN_CHECK = "3k4/8/1R6/8/7p/8/8/R5K1 w - - 0 40"
"""After 40. Ra8+ the king has three squares: c7, d7 and e7."""

KNIGHT = "3q2k1/5ppp/8/8/4P3/2N5/5PPP/6K1 w - - 0 1"
"""After 1. Nd5 the queen is lost for the knight if it takes it."""

ATTACKED = "6k1/2p2ppp/8/3n4/8/8/4R1PP/6K1 w - - 0 1"
"""1. Rd2 attacks the knight, which has seven squares, and which a pawn can guard."""

TAKES = Card("", KNIGHT, ("play",), line=("c3d5", "g8f8", "g1f1"))
CARD = Card("", IN_CHECK, ("play",), line=("a1a8", "d8d7", "b6h6"))
TO_C7, TO_E7 = (board_after(CARD.board, ["a1a8", reply]).epd() for reply in ("d8c7", "d8e7"))
ANSWERS = {TO_C7: {"b6g6": 0.9}, TO_E7: {"a8a7": 0.8}}


class Scripted(ComparesNothing):
    """A judge that gives the listed moves of a position their scores, and .3 to all others.

    A quick search finds the best of the listed moves.
    """

    def __init__(
        self,
        scores: Mapping[str, Mapping[str, float]],
        unsettled: str = "",
        lines: Mapping[str, tuple[str, ...]] = MappingProxyType({}),
    ) -> None:
        self.scores, self.unsettled, self.lines = scores, unsettled, lines
        self.glanced: list[str] = []
        self.surveyed: list[str] = []
        self.judged: list[str] = []

    def judge(self, board: chess.Board, effort: Effort | None = None) -> PositionVerdicts:
        (self.surveyed if effort == SURVEY else self.judged).append(board.epd())
        found = verdicts_for(board, self.scores.get(board.epd(), {}))
        deep = {
            move: replace(one, depth=21, line=self.lines.get(f"{board.epd()} {move}", one.line))
            for move, one in found.moves.items()
        }
        return replace(found, moves=deep, settled=board.epd() != self.unsettled)

    def evaluate(
        self, board: chess.Board, *, depth: int | None = None, nodes: int | None = None
    ) -> Evaluation:
        self.glanced.append(board.epd())
        scores = self.scores.get(board.epd(), {})
        best = sorted(scores, key=lambda move: scores[move])[-1:]
        return Evaluation(max([0.3, *scores.values()]), 0, tuple(best))


def built(judge: Scripted, card: Card = CARD) -> tuple[Card, tuple[Variation, ...], set[str]]:
    """The card with its defences, their variations, and the positions that it needs verdicts for."""
    keys = card.moves_to_find()
    verdicts = {key.board.epd(): verdicts_for(key.board, {key.move: 0.9}) for key in keys}
    new, variations, known = result_of(with_defences(card, verdicts, SETTLED), judge)
    assert set(verdicts) <= set(known)
    return new, variations, set(known)


@pytest.mark.parametrize(
    ("fen", "key", "natural"),
    [
        (IN_CHECK, "a1a8", "d8c7 d8d7 d8e7"),
        (IN_CHECK, "a1a7", ""),
        # The man that moved may be taken, though the taker is lost.
        (KNIGHT, "c3d5", "d8d5"),
        # Another capture and a check, but only if the man that moves is not simply lost.
        ("6k1/5ppp/8/8/1n6/3q4/P1N4P/2R4K w - - 0 1", "h2h3", "b4a2 b4c2 d3d5 d3e4 d3f3 d3h3"),
        # An attacked man moves away, or is guarded.
        (ATTACKED, "e2d2", "c7c6 d5b4 d5b6 d5c3 d5e3 d5e7 d5f4 d5f6"),
    ],
)
def test_which_replies_a_person_would_try(fen: str, key: str, natural: str) -> None:
    found = sorted(move.uci() for move in natural_replies(chess.Board(fen), key))
    assert found == natural.split()


def test_other_replies_that_have_to_be_met_become_defences() -> None:
    judge = Scripted(ANSWERS)
    card, variations, known = built(judge)
    assert [(one.ply, one.line[:2]) for one in variations] == [
        (1, ("d8e7", "a8a7")),
        (1, ("d8c7", "b6g6")),
    ], "the more stubborn first"
    assert [one.line for one in card.defences] == [one.line for one in variations]
    assert {TO_C7, TO_E7} <= known
    assert judge.judged == judge.surveyed == [TO_E7, TO_C7]
    written = write_card(CardEntry(replace(card, card_id="sm-001"), variations=variations))
    (read,), faults = read_cards(written, ("play",), None)
    assert faults == () and read.entry.card.defences == card.defences


@pytest.mark.parametrize(
    ("after_c7", "why"),
    [
        ({"b6g6": 0.9, "b6f6": 0.9, "b6e6": 0.9}, "three moves hold"),
        ({"b6h6": 0.9}, "the answer is the one to the card's own reply"),
        ({"a8a7": 0.8}, "the answer is the one to another defence"),
        ({}, "every move is as good"),
    ],
)
def test_a_reply_to_which_nothing_new_has_to_be_found_is_no_defence(
    after_c7: dict[str, float], why: str
) -> None:
    judge = Scripted({**ANSWERS, TO_C7: after_c7})
    _, variations, known = built(judge)
    assert [one.line[0] for one in variations if one.line[0] != "d8e7"] == [], why
    assert TO_C7 not in judge.judged and TO_C7 not in known, "a light look is enough to leave it out"


def test_a_reply_that_gives_up_too_much_is_a_blunder_and_no_defence() -> None:
    keys = CARD.moves_to_find()
    drawn = {key.board.epd(): verdicts_for(key.board, {key.move: 0.5}, 0.1) for key in keys}
    scores = {TO_C7: {"b6g6": 0.5 + MOST_GIVEN_UP + 0.01}, TO_E7: {"a8a7": 0.5 + MOST_GIVEN_UP - 0.01}}
    _, variations, _ = result_of(with_defences(CARD, drawn, SETTLED), Scripted(scores))
    assert [one.line[0] for one in variations] == ["d8e7"]


def test_a_variation_goes_on_until_the_gain_is_on_the_board() -> None:
    card = replace(CARD, line=("a1a8", "d8d7", "g1f2"))
    follows = ("e7f7", "h6h4", "f7g7", "h4h5", "g7g6")
    judge = Scripted({TO_E7: {"b6h6": 0.9}}, lines={f"{TO_E7} b6h6": follows})
    assert [one.line for one in built(judge, card)[1]] == [("d8e7", "b6h6", "e7f7", "h6h4")]


def test_a_reply_that_ends_the_game_is_not_looked_at() -> None:
    """After 1. Qa3+ Kxa3 there are only two kings."""
    card = Card("", "8/8/8/8/1k6/8/8/Q6K w - - 0 1", ("play",), line=("a1a3", "b4b5"), to_find=1)
    judge = Scripted({})
    assert built(judge, card)[1] == ()
    assert judge.glanced == [board_after(card.board, ["a1a3", "b4c4"]).epd()]


def test_of_many_replies_only_the_most_stubborn_are_looked_at_and_of_equal_ones_the_natural() -> None:
    card = Card("", ATTACKED, ("play",), line=("e2d2", "c7c6"), to_find=1)
    replies = ("d5b4", "d5c3", "d5f6")
    stubborn = [board_after(card.board, ["e2d2", reply]).epd() for reply in replies]
    others = [board_after(card.board, ["e2d2", reply]).epd() for reply in ("d5b6", "d5e3", "d5e7", "d5f4")]
    judge = Scripted({epd: {"g2g3": 0.8} for epd in others})
    built(judge, card)
    assert set(judge.surveyed) == set(stubborn)
    judge = Scripted({epd: {"g2g3": 0.8} for epd in (*others, *stubborn)})
    built(judge, card)
    assert len(judge.surveyed) == 3 and not {*others, *stubborn} & {*judge.surveyed}


def test_of_replies_with_the_same_answer_the_most_stubborn_is_looked_at() -> None:
    first = replace(CARD, to_find=1)
    judge = Scripted({TO_C7: {"b6g6": 0.8, "b6h6": 0.7}, TO_E7: {"b6g6": 0.9}})
    built(judge, first)
    assert judge.surveyed == [TO_C7]
    judge = Scripted({TO_C7: {"b6h6": 0.8}, TO_E7: {"b6g6": 0.9}})
    built(judge, first)
    assert judge.surveyed == [TO_E7], "the other answer is the one in the card's line"


class Measured(Scripted):
    """Quick searches of one position give this."""

    def __init__(self, epd: str, quick: Evaluation, scores: Mapping[str, Mapping[str, float]]) -> None:
        super().__init__(scores)
        self.epd, self.quick = epd, quick

    def evaluate(
        self, board: chess.Board, *, depth: int | None = None, nodes: int | None = None
    ) -> Evaluation:
        return self.quick if board.epd() == self.epd else super().evaluate(board, depth=depth, nodes=nodes)


QUIET = Card("", "7k/8/p5pp/8/8/8/8/R5K1 w - - 0 1", ("play",), line=("g1f2", "g6g5"), to_find=1)
"""1. Kf2 attacks nothing, and with 1... a5 the king only waits."""

BEST = MoveVerdict(0.5, 21, (), 100)


@pytest.mark.parametrize(
    ("card", "reply", "quick", "best", "found", "why"),
    [
        (QUIET, "a6a5", (0.6, 159), BEST, True, "hardly less than the best"),
        (QUIET, "a6a5", (0.61, 159), BEST, False, "by expected score"),
        (QUIET, "a6a5", (0.6, 160), BEST, False, "by centipawns"),
        (QUIET, "a6a5", (0.6, 900), replace(BEST, centipawns=None), True, "not measured"),
        (
            QUIET,
            "a6a5",
            (1.0, None),
            replace(BEST, score=1.0, mate=5),
            False,
            "the key mates",
        ),
        (QUIET, "a6a5", (1.0, None), replace(BEST, score=1.0), False, "it walks into mate"),
        (CARD, "d8c7", (1.0, None), replace(BEST, score=1.0), False, "naturally, but into mate"),
        (CARD, "d8c7", (0.5, None), replace(BEST, score=1.0), True, "into a draw"),
        (CARD, "d8c7", (1.0, None), replace(BEST, score=1.0, mate=5), True, "every reply is mated"),
        (CARD, "d8c7", (0.79, 900), BEST, True, "a natural reply may give up more"),
        (TAKES, "d8d5", (1.0, None), replace(BEST, score=1.0), True, "it takes what was offered"),
    ],
)
def test_which_replies_resist(
    card: Card, reply: str, quick: tuple[float, int | None], best: MoveVerdict, found: bool, why: str
) -> None:
    key = replace(card, line=card.line[:2], to_find=1)
    there = board_after(key.board, [key.line[0]])
    answered = {board_after(there, [move.uci()]).epd(): {"own": 2.0} for move in there.legal_moves}
    epd = board_after(there, [reply]).epd()
    judge = Measured(epd, Evaluation(*quick, ()), answered)
    verdicts = verdicts_for(key.board, {key.line[0]: best.score})
    verdicts = replace(verdicts, moves={**verdicts.moves, key.line[0]: best})
    result_of(with_defences(key, {key.board.epd(): verdicts}, SETTLED), judge)
    assert (judge.surveyed == [epd]) is found, why


def test_an_answer_that_takes_back_has_not_to_be_found() -> None:
    there = board_after(TAKES.board, ["c3d5"])
    known = {board_after(there, [reply.uci()]).epd(): {"g1f1": 0.9} for reply in there.legal_moves}
    taken = board_after(there, ["d8d5"]).epd()
    judge = Scripted({**known, taken: {"e4d5": 0.9}})
    assert built(judge, replace(TAKES, to_find=1))[1] == ()
    assert judge.surveyed == [taken]


def test_a_position_that_does_not_settle_gives_no_defence_but_counts_as_judged() -> None:
    assert [one.line[0] for one in built(Scripted(ANSWERS, unsettled=TO_E7))[1]] == ["d8c7"]


def test_a_card_costs_no_more_judgings_than_it_may_have_defences() -> None:
    """Here each of two moves has two more replies; only the first two of the four are judged."""
    card = replace(CARD, line=("a1a8", "d8d7", "b6b7", "d7d6", "g1f2"))
    later = [board_after(CARD.board, ["a1a8", "d8d7", "b6b7", to]).epd() for to in ("d7c6", "d7e6")]
    more = {epd: {"b7f7": 0.9} for epd in later}
    judge = Scripted({**ANSWERS, **more}, unsettled=TO_E7)
    assert len(built(judge, card)[1]) == 1
    assert len(judge.judged) == MOST_BUILT == 2
    judge = Scripted(more)
    assert [(one.ply, one.line[:2]) for one in built(judge, card)[1]] == [(3, ("d7e6", "b7f7"))]


def test_a_line_that_ends_with_the_move_gets_the_reply_beside_which_a_defence_stands() -> None:
    short = replace(CARD, line=("a1a8",))
    verdicts = {
        CARD.board.epd(): replace(
            found := verdicts_for(CARD.board, {"a1a8": 0.9}),
            moves={**found.moves, "a1a8": replace(found.moves["a1a8"], line=("d8d7", "b6h6"))},
        )
    }
    card, variations, _ = result_of(with_defences(short, verdicts, SETTLED), Scripted(ANSWERS))
    assert (card.line, card.to_find, len(variations)) == (("a1a8", "d8d7"), 1, 2)
    assert [key.move for key in card.moves_asked()] == ["a1a8", "a8a7", "b6g6"]
    judge = Scripted({TO_E7: {"b6h6": 0.9}, TO_C7: {"b6h6": 0.9}})
    result_of(with_defences(short, verdicts, SETTLED), judge)
    assert judge.surveyed == [], "the answers are the one to that reply"
    none = result_of(with_defences(short, verdicts, SETTLED), Scripted({}))[0]
    assert (none.line, none.to_find) == (("a1a8",), None)


def test_a_card_that_asks_for_no_moves_has_no_defences() -> None:
    judge = Scripted(ANSWERS)
    assert built(judge, replace(CARD, asks=("spot",)))[1] == ()
    assert judge.glanced == judge.surveyed == judge.judged == []
