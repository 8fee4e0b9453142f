"""The rounds of a search: which moves go on, what a second look does, and when a position is settled."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

import chess
import pytest
from chess.engine import Cp, Mate

from patterns.engines.effort import SECOND_LOOK, SETTLED, Round, Search
from patterns.engines.rounds import (
    Readings,
    Searched,
    as_verdict,
    is_settled,
    search_in_rounds,
    unclear_moves,
)
from patterns.engines.uci import Reading

START = chess.Board()
FIRST, SECOND = SETTLED.searches
CUTTING = Search((Round(11), Round(15, 0.5, 0.8), Round(19, 0.3, 0.3), Round(21, 0.2, 0.2)), second_look=17)
"""Leaves moves out in every round, and gives exact scores to all others."""

KEY, OTHER, THIRD = (chess.Move.from_uci(move) for move in ("e2e4", "d2d4", "a2a3"))

Story = Mapping[int, float]
"""The expected score of a move by the plies of the search. Between two of them, the one before counts."""


def reading(score: float, depth: int, line: Sequence[chess.Move]) -> Reading:
    """A loss of .10 is a pawn here, so that only expected scores count below .90."""
    return Reading(score, depth, Cp(round(score * 1000)), tuple(line))


class ScriptedAsker:
    """Knows the story of some moves; all others have the score `otherwise`. Remembers what it was asked.

    `rounds`: plies and moves of each search for a round, whether for all of them or for the best. `looks`:
    the second looks, and how many lines they asked for. `lines_asked`: the same for the rounds.
    """

    def __init__(
        self,
        stories: Mapping[chess.Move, Story],
        otherwise: float = 0.0,
        board: chess.Board = START,
        lines: Mapping[chess.Move, Sequence[str]] | None = None,
    ) -> None:
        self.board, self.stories, self.otherwise = board, stories, otherwise
        self.lines = lines or {}
        self.rounds: list[tuple[int, set[chess.Move]]] = []
        self.looks: list[tuple[int, set[chess.Move], int]] = []
        self.lines_asked: list[tuple[int, int]] = []

    def _reading(self, move: chess.Move, plies: int) -> Reading:
        story = self.stories.get(move, {0: self.otherwise})
        line = [move, *map(chess.Move.from_uci, self.lines.get(move, ()))]
        return reading(story[max(depth for depth in story if depth <= plies)], plies, line)

    def each(self, moves: Sequence[chess.Move], plies: int) -> dict[chess.Move, Reading]:
        self.rounds.append((plies, set(moves)))
        self.lines_asked.append((plies, len(moves)))
        return {move: self._reading(move, plies) for move in moves}

    def best_of(self, moves: Sequence[chess.Move], plies: int, lines: int) -> dict[chess.Move, Reading]:
        if plies == SECOND_LOOK:
            self.looks.append((plies, set(moves), lines))
        else:
            self.rounds.append((plies, set(moves)))
            self.lines_asked.append((plies, lines))
        found = {move: self._reading(move, plies) for move in moves}
        return {move: found[move] for move in sorted(found, key=lambda one: -found[one].score)[:lines]}

    def plies_of(self, move: chess.Move) -> list[int]:
        """The rounds in which the move was asked about."""
        return [plies for plies, moves in self.rounds if move in moves]


def searched(
    asker: ScriptedAsker,
    search: Search = FIRST,
    tried: Collection[chess.Move] = (),
    ended: Readings | None = None,
    most_holding: int | None = None,
) -> Searched:
    moves = [move for move in asker.board.legal_moves if move not in (ended or {})]
    return search_in_rounds(asker, search, moves, ended or {}, tried, most_holding)


@pytest.mark.parametrize(
    ("search", "losses", "tried", "rounds"),
    [
        (CUTTING, (0.51,), False, [11]),
        (CUTTING, (0.49, 0.49), False, [11, 15]),
        (CUTTING, (0.51, 0.51), True, [11, 15]),
        (CUTTING, (0.79, 0.79), True, [11, 15]),
        (CUTTING, (0.81,), True, [11]),
        (CUTTING, (0.31, 0.31), True, [11, 15]),
        (CUTTING, (0.29, 0.29, 0.29), False, [11, 15, 19]),
        (CUTTING, (0.29, 0.29, 0.19, 0.19), False, [11, 15, 19, 21]),
        (CUTTING, (0.14, 0.49, 0.6, 0.6), False, [11, 15, 19, 21]),
        (CUTTING, (0.16, 0.31, 0.31, 0.31), False, [11, 15]),
        (CUTTING, (0.2, 0.41, 0.41, 0.41), False, [11, 15, 19, 21]),
        (CUTTING, (0.25, 0.44, 0.44, 0.44), False, [11, 15]),
        (FIRST, (0.51,), False, [11]),
        (FIRST, (0.49, 0.49), False, [11, 15, 19, 21]),
        (FIRST, (0.79, 0.79), True, [11, 15, 19, 21]),
        (FIRST, (0.81,), True, [11]),
        (SECOND, (0.49, 0.51, 0.51), False, [11, 15, 19, 21]),
        (SECOND, (0.7, 0.7), False, [11, 15, 19, 21]),
    ],
)
def test_how_far_a_move_goes(
    search: Search, losses: tuple[float, ...], tried: bool, rounds: list[int]
) -> None:
    """`losses`: what the move loses in each of the rounds. In the second search it loses no material."""
    story = {one.plies: 1.0 - loss for one, loss in zip(search.rounds, losses, strict=False)}
    asker = ScriptedAsker({KEY: {0: 1.0}, OTHER: story})
    found = searched(asker, search, tried={OTHER} if tried else ())
    assert asker.plies_of(OTHER) == rounds
    assert found.readings[OTHER].depth == max(rounds[-1], search.second_look)
    assert found.readings.keys() == set(START.legal_moves)


def test_a_move_counts_as_unsteady_only_if_its_own_score_moves_too() -> None:
    """The key is found late. The other move's loss grows only by that, so it is left out."""
    asker = ScriptedAsker({KEY: {0: 0.6, 15: 1.0}, OTHER: {0: 0.4}, THIRD: {0: 0.2}}, otherwise=0.2)
    searched(asker, CUTTING)
    assert asker.plies_of(OTHER) == [11, 15]


@pytest.mark.parametrize(
    ("best", "other", "rounds"),
    [
        ((0.6, 40), (0.39, -90), [11, 15, 19, 21]),
        ((1.0, 900), (1.0, 600), [11, 15, 19, 21]),
        ((1.0, 900), (1.0, 300), [11, 15, 19]),
        ((1.0, 900), (0.95, 150), [11]),
        ((1.0, Mate(4)), (1.0, 900), [11]),
        ((1.0, Mate(6)), (1.0, 900), [11, 15, 19, 21]),
        ((1.0, Mate(6)), (1.0, 300), [11, 15, 19]),
        ((1.0, Mate(4)), (1.0, Mate(9)), [11, 15, 19, 21]),
    ],
)
def test_in_a_won_position_centipawns_and_mates_leave_moves_out(
    best: tuple[float, int | Mate], other: tuple[float, int | Mate], rounds: list[int]
) -> None:
    class Measuring(ScriptedAsker):
        def _reading(self, move: chess.Move, plies: int) -> Reading:
            score, rank = {KEY: best, OTHER: other}.get(move, (0.0, -900))
            return Reading(score, plies, Cp(rank) if isinstance(rank, int) else rank, (move,))

    asker = Measuring({})
    searched(asker)
    assert asker.plies_of(OTHER) == rounds


HANGING = chess.Board("4k3/8/4p3/8/8/3Q4/8/4K3 w - - 0 1")


@pytest.mark.parametrize(
    ("move", "line", "rounds"),
    [("d3d5", ("e6d5",), [11]), ("d3e2", ("e8f7",), [11, 15, 19, 21])],
)
def test_the_second_search_lets_go_early_only_what_loses_material_outright(
    move: str, line: tuple[str, ...], rounds: list[int]
) -> None:
    key, other = chess.Move.from_uci("d3g6"), chess.Move.from_uci(move)
    asker = ScriptedAsker({key: {0: 0.8}}, 0.1, HANGING, {other: line})
    searched(asker, SECOND)
    assert asker.plies_of(other) == rounds


def test_what_the_rounds_left_out_gets_a_second_look_together() -> None:
    asker = ScriptedAsker({KEY: {0: 1.0}, OTHER: {0: 0.6, 17: 0.3}, THIRD: {0: 0.45, 17: 0.4}}, otherwise=0.1)
    found = searched(asker, CUTTING)
    left_out = set(START.legal_moves) - {KEY}
    assert asker.looks == [(17, left_out | {KEY}, 2)]
    readings = {move: (one.score, one.depth) for move, one in found.readings.items()}
    assert readings.pop(KEY) == (1.0, 21)
    assert readings.pop(OTHER) == (0.4, 17), "no better than the best of those looked at"
    assert readings.pop(THIRD) == (0.4, 17)
    assert set(readings.values()) == {(0.1, 17)}


def test_a_second_look_can_bring_a_move_into_the_last_round() -> None:
    asker = ScriptedAsker({KEY: {0: 1.0}, OTHER: {0: 0.4, 17: 0.97}}, otherwise=0.1)
    found = searched(asker)
    assert asker.rounds[-1] == (21, {KEY, OTHER})
    assert (found.readings[OTHER].score, found.readings[OTHER].depth) == (0.97, 21)
    assert [(plies, len(moves), lines) for plies, moves, lines in asker.looks] == [(17, 20, 2), (17, 19, 4)]


def test_a_second_look_that_finds_better_moves_than_the_best() -> None:
    asker = ScriptedAsker({KEY: {0: 0.9, 21: 0.6}, OTHER: {0: 0.2, 17: 0.95}, THIRD: {0: 0.2, 17: 0.94}})
    found = searched(asker)
    assert asker.rounds[-1] == (21, {KEY, OTHER, THIRD})
    assert found.readings[OTHER].score == 0.95


def test_moves_near_a_best_move_that_fell_are_searched_with_it() -> None:
    search = Search((Round(4), Round(8, 0.1, 0.1)))
    asker = ScriptedAsker({KEY: {0: 0.9, 8: 0.4}}, otherwise=0.5)
    found = searched(asker, search)
    assert asker.looks == []
    assert {one.depth for one in found.readings.values()} == {8}


def test_moves_that_end_the_game_are_compared_but_not_searched() -> None:
    ended = {KEY: Reading(1.0, 21, Mate(1), (KEY,))}
    asker = ScriptedAsker({OTHER: {0: 0.9}}, otherwise=0.1)
    found = searched(asker, ended=ended)
    assert [plies for plies, _ in asker.rounds] == [11], "no other move mates"
    assert found.readings[KEY] == ended[KEY] and all(KEY in one for one in found.rounds)
    ((plies, moves, _),) = asker.looks
    assert plies == 17 and KEY not in moves


@pytest.mark.parametrize(
    ("losses", "lines"),
    [
        ((0.29, 0.28), [(19, 2), (21, 2)]),
        ((0.14, 0.28), [(19, 3), (21, 3)]),
        ((0.14, 0.19, 0.28), [(19, 3), (21, 3)]),
    ],
)
def test_late_rounds_find_exact_scores_only_near_the_best(
    losses: tuple[float, ...], lines: list[tuple[int, int]]
) -> None:
    """`losses`: of some moves; all others lose .295. The move with the last loss is the first that is far."""
    others = [move for move in START.legal_moves if move != KEY]
    stories = {move: {0: 1.0 - loss, 19: 1.0 - loss} for move, loss in zip(others, losses, strict=False)}
    asker = ScriptedAsker({KEY: {0: 1.0}, **stories}, otherwise=0.705)
    found = searched(asker)
    assert [one for one in asker.lines_asked if one[0] > 15] == lines
    assert all(moves == set(START.legal_moves) for _, moves in asker.rounds)
    assert {one.depth for one in found.readings.values()} == {21}
    assert [found.readings[move].score for move in others[: len(losses)]] == [
        pytest.approx(1.0 - loss) for loss in losses
    ]


def test_a_late_round_asks_for_more_lines_until_one_is_far_from_the_best() -> None:
    """Three moves come near the best only at 19 plies."""
    near = list(START.legal_moves)[:3]
    asker = ScriptedAsker({KEY: {0: 1.0}, **{move: {0: 0.75, 19: 0.87} for move in near}}, otherwise=0.72)
    found = searched(asker)
    assert [one for one in asker.lines_asked if one[0] > 15] == [(19, 2), (19, 4), (19, 8), (21, 5)]
    assert all(found.rounds[-1][move].score == 0.87 for move in near)
    assert not found.rounds[-1].keys() - set(START.legal_moves)


def test_what_a_late_round_bounds_is_no_better_than_its_last_line() -> None:
    """`THIRD` was thought better at 15 plies than the last line is at 19."""
    fell = {0: 0.79, 19: 0.4}
    asker = ScriptedAsker({KEY: {0: 1.0}, OTHER: {0: 0.75, 19: 0.7}, THIRD: fell}, otherwise=0.71)
    reading_ = searched(asker).rounds[2][THIRD]
    assert (reading_.score, reading_.depth) == (0.71, 19)


@pytest.mark.parametrize(("most", "plies"), [(3, 15), (4, 21), (None, 21)])
def test_the_search_ends_early_if_more_moves_hold_than_wanted(most: int | None, plies: int) -> None:
    holding = list(START.legal_moves)[:4]
    asker = ScriptedAsker({move: {0: 0.8} for move in holding}, otherwise=0.1)
    asker.stories = {**asker.stories, THIRD: {0: 0.9, 15: 0.5}}
    found = searched(asker, most_holding=most)
    assert asker.rounds[-1][0] == plies and found.complete is (plies == 21)
    assert found.readings.keys() == set(START.legal_moves)
    assert max(found.readings, key=lambda move: found.readings[move].score) in holding


@pytest.mark.parametrize(("behind", "plies"), [(39, 15), (40, 19)])
def test_the_search_ends_early_if_a_move_that_does_not_hold_is_nearly_as_good(
    behind: int, plies: int
) -> None:
    class Steep(ScriptedAsker):
        def _reading(self, move: chess.Move, plies: int) -> Reading:
            score, rank = {KEY: (0.8, 120), OTHER: (0.7, 120 - behind)}.get(move, (0.1, -200))
            return Reading(score, plies, Cp(rank), (move,))

    asker = Steep({})
    assert not searched(asker, most_holding=4).complete
    assert asker.rounds[-1][0] == plies


@pytest.mark.parametrize(("loss", "last"), [(0.04, 21), (0.07, 19), (0.11, 21)])
def test_a_position_that_cannot_settle_gets_no_last_round(loss: float, last: int) -> None:
    asker = ScriptedAsker({KEY: {0: 0.8}, OTHER: {0: 0.8, 19: 0.8 - loss}}, otherwise=0.1)
    found = searched(asker)
    assert asker.rounds[-1][0] == last == found.readings[KEY].depth
    assert found.complete is is_settled([found]) is (last == 21)


def test_what_left_a_round_out_is_not_settled() -> None:
    clear = two_rounds(SURE, SURE)
    assert is_settled([clear])
    assert not is_settled([replace(clear, complete=False)])
    assert not is_settled([clear, replace(clear, complete=False)])


# When it is settled


def two_rounds(*rounds: Mapping[chess.Move, float]) -> Searched:
    made = tuple(
        {move: reading(score, 19 + 2 * place, [move]) for move, score in one.items()}
        for place, one in enumerate(rounds)
    )
    return Searched(made[-1], made)


SURE = {KEY: 0.8, OTHER: 0.75, THIRD: 0.69}


@pytest.mark.parametrize(
    ("changed", "settled"),
    [
        ({}, True),
        ({OTHER: 0.74}, False),
        ({OTHER: 0.85}, True),
        ({OTHER: 0.86}, False),
        ({THIRD: 0.7}, False),
        ({THIRD: 0.76}, False),
        ({KEY: 0.6, OTHER: 0.6}, False),
    ],
)
@pytest.mark.parametrize("place", range(4))
def test_what_settles(changed: Mapping[chess.Move, float], settled: bool, place: int) -> None:
    rounds = [{**SURE, **changed} if place == number else SURE for number in range(4)]
    assert is_settled([two_rounds(*rounds[:2]), two_rounds(*rounds[2:])]) is settled
    assert is_settled([two_rounds(SURE, SURE)])


@pytest.mark.parametrize(("behind", "settled"), [(80, True), (79, False)])
def test_a_move_that_gives_up_little_does_not_clearly_fail(behind: int, settled: bool) -> None:
    """Where one side is a pawn ahead, a third of a pawn can cost .15."""
    key, other = Reading(0.8, 21, Cp(120), (KEY,)), Reading(0.6, 21, Cp(120 - behind), (OTHER,))
    assert is_settled([Searched({}, ({KEY: key, OTHER: other},) * 2)]) is settled


@pytest.mark.parametrize(("before", "settled"), [(0.66, True), (0.65, False)])
@pytest.mark.parametrize("place", range(2))
def test_a_key_that_changes_much_in_the_last_three_rounds_is_not_settled(
    before: float, settled: bool, place: int
) -> None:
    """Only scores: by losses, all rounds agree. What a round before the last three said does not count."""
    changes = two_rounds(
        {KEY: 0.1}, {KEY: before, THIRD: 0.5}, {KEY: 0.8, THIRD: 0.6}, {KEY: 0.8, THIRD: 0.6}
    )
    steady = two_rounds({KEY: 0.8, THIRD: 0.6}, {KEY: 0.8, THIRD: 0.6})
    searches = [steady, changes] if place else [changes, steady]
    assert is_settled(searches) is settled


def test_a_move_that_holds_must_be_in_every_round() -> None:
    without = {KEY: 0.8, THIRD: 0.69}
    assert not is_settled([two_rounds(without, SURE)])
    assert is_settled([two_rounds({KEY: 0.8, OTHER: 0.75}, SURE)]), "what fails may have been left out"


def test_one_round_settles_nothing() -> None:
    assert not is_settled([two_rounds(SURE)])
    assert not is_settled([two_rounds(SURE, SURE), two_rounds(SURE)])


@pytest.mark.parametrize(
    ("mate", "centipawns", "settled"), [(5, 900, True), (6, 900, True), (6, 300, False), (6, 100, True)]
)
def test_a_long_mate_counts_as_a_win_beside_other_wins(mate: int, centipawns: int, settled: bool) -> None:
    mates = Reading(1.0, 21, Mate(mate), (KEY,))
    wins = Reading(1.0, 21, Cp(centipawns), (OTHER,))
    one = Searched({}, ({KEY: mates, OTHER: wins},) * 2)
    assert is_settled([one]) is settled


def test_a_move_that_only_a_later_round_liked_is_unclear() -> None:
    liked = two_rounds({KEY: 0.8, OTHER: 0.65, THIRD: 0.8}, {KEY: 0.8, OTHER: 0.2, THIRD: 0.64})
    later = two_rounds({KEY: 0.8, OTHER: 0.2}, {KEY: 0.8, OTHER: 0.66})
    assert unclear_moves([liked]) == {KEY}, "the first round is only a glance"
    assert unclear_moves([liked, later]) == {KEY, OTHER}


TANGLED = {
    "c4d2": ((0.5, 0), (0.626, 73), (0.968, 149), (0.5, 0), (0.5, 0), (0.759, 96)),
    "g6f7": ((0.3285, -82), (0.321, -83), (0.3225, -83), (0.4625, -44), (0.1705, -108), (0.399, -67)),
    "b6b5": ((0.3595, -76), (0.4905, -19), (0.4975, -6), (0.4465, -52), (0.4725, -38), (0.492, -16)),
}
"""r3k1r1/2p1q3/1p4b1/3Pp3/1Pn1p1QP/1KN5/4N1BR/5R2 b q - 0 31, by Stockfish 15.1 in the rounds of 15, 19 and
21 plies of both searches. At 24 plies g6f7 loses .02."""


def test_a_tangled_position_does_not_settle_and_its_good_moves_are_not_refused() -> None:
    rounds = [
        {
            chess.Move.from_uci(move): Reading(score, 15, Cp(centipawns), ())
            for move, (score, centipawns) in ((move, seen[place]) for move, seen in TANGLED.items())
        }
        for place in range(6)
    ]
    glance: Readings = {}
    first, second = (Searched({}, (glance, *rounds[place : place + 3])) for place in (0, 3))
    assert not is_settled([first, second])
    assert unclear_moves([first, second]) == set(map(chess.Move.from_uci, TANGLED))


def test_a_reading_as_a_verdict() -> None:
    assert as_verdict(Reading(1.0, 9, Mate(3), (KEY,))).mate == 3
    verdict = as_verdict(Reading(0.6, 9, Cp(40), (KEY,)), ("e7e5",))
    assert (verdict.score, verdict.depth, verdict.centipawns, verdict.mate) == (0.6, 9, 40, None)
    assert verdict.line == ("e7e5",)
