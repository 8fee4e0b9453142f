"""Positions for taking stock: which are chosen, and what an engine must say before one becomes a card."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from datetime import date
from itertools import islice
from pathlib import Path
from statistics import mean

import chess
import pytest
from asked_at_once import AtOnce, ComparesNothing, result_of

from decks.asks.assess_mark import score_assess
from decks.build.ballot_key import PLIES
from decks.build.candidates import Candidate
from decks.build.choice import Fell
from decks.build.guessing import GUESS_EARNS, Guesses, ballot_of
from decks.build.new_card import BuiltCard
from decks.build.stock_taking import (
    STANDINGS,
    card_of,
    most_by_one_cell,
    standing,
    stock_cards,
    stock_takings,
)
from decks.cards.cards_file import write_card
from decks.review.grading import grade_of
from decks.tasks.ballot import FACTOR_CELLS, fold, short_rows
from patterns.engines.effort import Effort
from patterns.engines.judging import Evaluation
from patterns.engines.scores import PositionVerdicts
from patterns.factors.assessment import accepted, assess_boards
from patterns.reading.pgn import Game, read_games
from patterns.words.verdicts import Verdict

GAMES = Path(__file__).resolve().parent.parent / "demo_deck" / "games.pgn"
TODAY = date(2031, 5, 2)
MIDDLE = {-2: 0.25, -1: 0.39, 0: 0.5, 1: 0.61, 2: 0.75}
"""White's expected score in the middle of a verdict."""


class Scores(ComparesNothing):
    """A judge of quick and of deep searches: White's expected score and the best move by either."""

    def __init__(
        self,
        quick: Callable[[chess.Board], float],
        deep: Callable[[chess.Board], float] | None = None,
        best: Callable[[chess.Board], chess.Move] | None = None,
    ) -> None:
        self.quick, self.deep, self.best = quick, deep or quick, best or quiet_move

    def judge(self, board: chess.Board, effort: Effort | None = None) -> PositionVerdicts:
        raise AssertionError("a ballot needs no verdict on every move")

    def evaluate(
        self, board: chess.Board, *, depth: int | None = None, nodes: int | None = None
    ) -> Evaluation:
        white = self.quick(board) if depth is None else self.deep(board)
        return Evaluation(white if board.turn else 1 - white, 0, (self.best(board).uci(),))


def quiet_move(board: chess.Board) -> chess.Move:
    return next(one for one in board.legal_moves if not (board.is_capture(one) or board.gives_check(one)))


def as_counted(board: chess.Board) -> float:
    """The middle of the verdict that the program's own count comes to."""
    (assessment,) = assess_boards([board])
    return MIDDLE[fold("space", assessment.verdict.signed)]


@pytest.fixture(scope="module")
def games() -> list[Game]:
    return [game for game in islice(read_games(GAMES), 30) if isinstance(game, Game)]


@pytest.fixture(scope="module")
def found(games: list[Game]) -> dict[str, list[Candidate]]:
    return stock_takings(games)


def test_candidates_are_quiet_and_some_factors_speak_for_each_side(found: dict[str, list[Candidate]]) -> None:
    boards = [one.board for queue in found.values() for one in queue]
    assert len(boards) > 20
    for board, assessment in zip(boards, assess_boards(boards), strict=True):
        rows = short_rows(assessment.deciding)
        assert {"white", "black"} <= {one.verdict.side for one in assessment.factors if one.factor in rows}
        assert not board.is_check()
        assert most_by_one_cell(assessment, assessment.verdict) < 0.4


def test_a_game_gives_one_candidate_for_each_standing_and_side_to_move(
    found: dict[str, list[Candidate]],
) -> None:
    assert tuple(found) == STANDINGS
    for how, queue in found.items():
        assert queue
        assert {one.motif for one in queue} == {how}
        places = [(one.game.line, one.board.turn) for one in queue]
        assert len(places) == len({*places})
        for one in queue:
            (assessment,) = assess_boards([one.board])
            assert standing(one.board.turn, assessment.verdict) == how


def test_only_positions_where_the_player_is_to_move(games: list[Game]) -> None:
    name = games[0].headers["White"]
    queues = stock_takings(games, name).values()
    assert any(queues)
    for one in (one for queue in queues for one in queue):
        assert one.game.headers["White" if one.board.turn else "Black"] == name


@pytest.fixture(scope="module")
def slightly_white(found: dict[str, list[Candidate]]) -> Candidate:
    """A candidate with White slightly better by the count, and with a capture to make."""
    return next(
        one
        for one in (*found["better"], *found["worse"])
        if assess_boards([one.board])[0].verdict == Verdict("white", 1)
        and any(one.board.generate_legal_captures())
    )


def test_two_searches_that_agree_make_a_card_with_their_verdict_as_the_key(slightly_white: Candidate) -> None:
    built = result_of(card_of(slightly_white, AtOnce(Scores(lambda _: 0.61)), TODAY), Scores(lambda _: 0.61))
    assert isinstance(built, BuiltCard)
    card = built.entry.card
    assert (card.asks, card.factors) == (("assess",), {"verdict": Verdict("white", 1)})
    assert card.line == (quiet_move(card.board).uci(),)
    assert card.checked == f"Stockfish 15.1 depth {PLIES}, 2031-05-02"
    assert card.chosen.startswith("White slight: ")
    assert " for White, " in card.chosen and card.chosen.endswith(" for Black")
    assert '[Factors "verdict=white 1"]' in write_card(built.entry)
    assert built.verdicts == ()


@pytest.mark.parametrize(
    ("quick", "deep", "why"),
    [
        (0.5, 0.5, None),
        (0.75, 0.75, None),
        (0.39, 0.39, Fell.COUNTED_OTHERWISE),
        (0.95, 0.95, Fell.COUNTED_OTHERWISE),
        (0.61, 0.75, Fell.NOT_SETTLED),
        (0.61, 0.39, Fell.NOT_SETTLED),
        (0.61, 0.65, Fell.NOT_SETTLED),  # near the border at .66
    ],
)
def test_what_the_searches_must_say(
    slightly_white: Candidate, quick: float, deep: float, why: Fell | None
) -> None:
    judge = Scores(lambda _: quick, lambda _: deep)
    built = result_of(card_of(slightly_white, AtOnce(judge), TODAY), judge)
    assert built is why if why else isinstance(built, BuiltCard)


def test_a_position_with_a_capture_to_make_is_not_quiet(slightly_white: Candidate) -> None:
    board = chess.Board(slightly_white.board.fen())
    capture = next(board.generate_legal_captures())
    judge = Scores(lambda _: 0.61, best=lambda _: capture)
    assert result_of(card_of(slightly_white, AtOnce(judge), TODAY), judge) is Fell.NOT_QUIET


def test_a_key_that_one_cell_for_all_rows_comes_near_to_makes_no_card(
    found: dict[str, list[Candidate]],
) -> None:
    """The count's own verdict is hard to guess; one that is a step off it may not be."""
    for one in (one for queue in found.values() for one in queue):
        (assessment,) = assess_boards([one.board])
        for signed in (assessment.verdict.signed - 1, assessment.verdict.signed + 1):
            if signed in MIDDLE and most_by_one_cell(assessment, Verdict.from_signed(signed)) >= 0.4:
                judge = Scores(lambda _: MIDDLE[signed])  # noqa: B023
                assert result_of(card_of(one, AtOnce(judge), TODAY), judge) is Fell.GUESSABLE
                return
    raise AssertionError("no such candidate in these games")


def test_a_third_for_each_standing_and_both_sides_to_move(found: dict[str, list[Candidate]]) -> None:
    fallen: Counter[Fell] = Counter()
    built = list(stock_cards(found, AtOnce(Scores(as_counted)), 12, TODAY, fallen=fallen))
    assert Counter(one.about for one in built) == dict.fromkeys(STANDINGS, 4)
    turns = Counter(one.entry.card.board.turn for one in built)
    assert turns == {chess.WHITE: 6, chess.BLACK: 6}


def test_what_the_search_says_counts_and_no_standing_gets_more_than_its_third(
    found: dict[str, list[Candidate]],
) -> None:
    fallen: Counter[Fell] = Counter()
    built = list(stock_cards(found, AtOnce(Scores(lambda _: 0.5)), 6, TODAY, fallen=fallen))
    assert [one.about for one in built] == ["level", "level"]
    assert fallen[Fell.ENOUGH]


def test_guessing_does_not_pay(found: dict[str, list[Candidate]]) -> None:
    """On the cards of a deck one cell for all rows is never `found`, and earns little on average."""
    cards = [one.entry.card for one in stock_cards(found, AtOnce(Scores(as_counted)), 12, TODAY)]
    by_cell: dict[int, list[float]] = {cell: [] for cell in FACTOR_CELLS}
    for card, assessment in zip(cards, assess_boards([card.board for card in cards]), strict=True):
        rows = short_rows(assessment.deciding)
        key = card.factors["verdict"]
        computed = {one.factor: one.verdict for one in assessment.factors}
        for cell, earned in by_cell.items():
            marked = dict.fromkeys(rows, cell)
            earned.append(score_assess(computed, marked, {"verdict": key}, accepted(assessment), rows).score)
            assert earned[-1] <= most_by_one_cell(assessment, key)
            assert grade_of(earned[-1], 0, 60, None) != "found"
    assert max(map(mean, by_cell.values())) < 0.35


def test_a_card_that_makes_the_deck_easy_to_guess_waits_until_no_others_are_left(
    found: dict[str, list[Candidate]], monkeypatch: pytest.MonkeyPatch
) -> None:
    def beyond() -> float:
        cards = [one.entry.card for one in stock_cards(found, AtOnce(Scores(as_counted)), 12, TODAY)]
        assert len(cards) == 12
        taken = zip(cards, assess_boards([card.board for card in cards]), strict=True)
        ballots = [ballot_of(one, card.factors["verdict"], card.board.turn) for card, one in taken]
        return sum(max(0.0, earned - GUESS_EARNS) for earned in Guesses(ballots).earned())

    careful = beyond()
    monkeypatch.setattr(Guesses, "suits", lambda self, ballot: True)
    assert careful < beyond() / 2
