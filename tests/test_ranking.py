"""Which motif a card is about, and which motif a deck turns to. The catalogue's order must not matter."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from types import MappingProxyType

import chess
import pytest
from asked_at_once import AtOnce, ComparesNothing, result_of
from hypothesis import given
from hypothesis import strategies as st

from decks.build.candidates import Candidate, candidates
from decks.build.cards_from_games import build_cards, card_of
from decks.build.choice import Fell
from decks.build.new_card import BuiltCard
from decks.build.ranking import GameRecords, ranked
from patterns.catalogue import MOTIFS
from patterns.engines.effort import Effort
from patterns.engines.judging import Evaluation
from patterns.engines.scores import MoveVerdict, PositionVerdicts
from patterns.lines import Use
from patterns.reading.pgn import Game, read_games
from patterns.scan import scan

PINNED = chess.Board("4k3/8/5n2/4n3/8/P2P4/5P2/4R1K1 w - - 0 1")
"""The knight on e5 hangs and is pinned on the file. 1.d4 attacks it."""

TODAY = date(2026, 11, 25)


def used(motif: str, men: str, ply: int = 1) -> Use:
    actor, *targets = men.split()
    return Use(ply, motif, (actor,), tuple(targets), (), "")


def prepared(motif: str, men: str) -> Use:
    return replace(used(motif, men), prepares=True)


@pytest.mark.parametrize(
    ("uses", "order", "expected", "why"),
    [
        ([used("a", "a1 b1"), used("b", "a1 b1", 2)], "ba", ["a"], "the second move's is another position's"),
        (
            [used("weak-square", "a1 b1 c1"), used("fork", "a1")],
            [],
            ["fork", "weak-square"],
            "it stood there",
        ),
        ([used("a", "a1 b1"), used("b", "a1 b1 c1")], "ab", ["b", "a"], "it accounts for more men"),
        ([used("a", "a1 b1"), used("b", "a1 c1")], "ba", ["b", "a"], "the order decides"),
        ([used("b", "a1 b1"), used("a", "a1 c1")], "c", ["a", "b"], "what is not in it comes after, by id"),
        ([used("b", "a1"), used("c", "a1")], "c", ["c", "b"], "also after what is in it"),
        (
            [used("a", "a1"), used("b", "a1 b1"), used("a", "a1 b1 c1")],
            "",
            ["a", "b"],
            "its fullest use counts",
        ),
        (
            [used("loose-piece", "a1 b1 c1"), used("a", "a1")],
            "loose-piece a",
            ["a", "loose-piece"],
            "a loose piece says least, but",
        ),
        (
            [used("loose-piece", "a1"), used("weak-square", "a1 b1 c1")],
            "",
            ["loose-piece", "weak-square"],
            "more than what stood there",
        ),
        ([prepared("a", "a1 b1 c1"), used("b", "a1")], "ab", ["b", "a"], "a comes with the next move, but"),
        (
            [prepared("a", "a1 b1 c1"), used("a", "a1"), used("b", "a1 b1")],
            "",
            ["a", "b"],
            "here the move itself does a, too",
        ),
        (
            [used("king-hunt", "a1 b1"), prepared("fork", "a1 c1 d1")],
            "",
            ["fork", "king-hunt"],
            "what the hunt leads to says more",
        ),
        ([used("king-hunt", "a1 b1"), used("a", "a1")], "", ["king-hunt", "a"], "it leads to nothing"),
        (
            [used("fork", "c3 e5 b5 d5"), used("pin-on-file", "e1 e8 e5")],
            "",
            ["pin-on-file", "fork"],
            "the forked man is pinned",
        ),
        (
            [used("fork", "c3 e8 b5 d5"), used("pin-on-file", "e1 e8 e5")],
            "",
            ["fork", "pin-on-file"],
            "the fork leaves the pinned man alone",
        ),
        (
            [used("fork", "e1 e5 b5 d5"), used("pin-on-file", "e1 e8 e5")],
            "",
            ["fork", "pin-on-file"],
            "the man that forks pins, too",
        ),
        (
            [used("a", "c3 e5 b5 d5"), used("pin-on-file", "e1 e8 e5")],
            "",
            ["a", "pin-on-file"],
            "a is no fork",
        ),
    ],
)
def test_what_explains_the_first_move_best_comes_first(
    uses: Sequence[Use], order: Sequence[str], expected: list[str], why: str
) -> None:
    assert ranked(uses, list(order)) == expected, why


USES = st.lists(
    st.builds(
        used, st.sampled_from("abcde"), st.sampled_from(["a1", "a1 b1", "a1 b1 c1"]), st.integers(1, 2)
    ),
    max_size=8,
)


@given(USES, st.permutations("abcde"), st.randoms(use_true_random=False))
def test_the_order_of_uses_changes_nothing(uses: list[Use], order: list[str], chance: random.Random) -> None:
    as_they_came = ranked(uses, order)
    chance.shuffle(uses)
    assert ranked(uses, order) == as_they_came


# --- What the games show -------------------------------------------------------------------------------

BOTH = (chess.WHITE, chess.BLACK)
WHITE, BLACK = BOTH


@pytest.mark.parametrize(
    ("games", "expected", "why"),
    [
        ([("1-0", [("b", WHITE)], BOTH)], ["b", "a", "c"], "Black had b against it and lost"),
        ([("0-1", [("b", BLACK)], BOTH)], ["b", "a", "c"], "White had b against it and lost"),
        ([("0-1", [("a", WHITE)], BOTH)], ["b", "c", "a"], "those who had a against them won"),
        (
            [("1-0", [("c", WHITE)], BOTH), ("1-0", [("b", WHITE)], BOTH), ("1-0", [("b", WHITE)], BOTH)],
            ["b", "c", "a"],
            "two losses cost more than one",
        ),
        ([("1-0", [("a", WHITE), ("a", BLACK), ("c", WHITE)], BOTH)], ["c", "b", "a"], "both had a"),
        ([("1/2-1/2", [("a", WHITE)], BOTH), ("*", [("b", WHITE)], BOTH)], ["c", "a", "b"], "nobody lost"),
        ([("1-0", [("b", WHITE)], (WHITE,))], ["a", "c", "b"], "it cost the other player, who doesn't count"),
        ([("1-0", [("b", WHITE)], (BLACK,))], ["b", "a", "c"], "it cost the player"),
        (
            [("*", [("a", WHITE), ("b", WHITE)], BOTH), ("*", [("a", BLACK), ("c", WHITE)], BOTH)],
            ["b", "c", "a"],
            "at equal cost the rarer first, then by id",
        ),
    ],
)
def test_a_deck_turns_first_to_what_cost_most(
    games: Sequence[tuple[str, Sequence[tuple[str, chess.Color]], Sequence[chess.Color]]],
    expected: list[str],
    why: str,
) -> None:
    for motifs in ("abc", "cba", "bcab"):
        records = GameRecords()
        for result, had, students in games:
            records.add(result, had, students)
        assert records.order(motifs) == expected, why


# --- Cards ---------------------------------------------------------------------------------------------


class Keyed(ComparesNothing):
    """A judge for whom in every position only `key` holds, where it is legal, and all other moves fail.

    `line`: the moves after the key.
    """

    def __init__(self, key: str, *line: str) -> None:
        self.key, self.line = key, line

    def judge(self, board: chess.Board, effort: Effort | None = None) -> PositionVerdicts:
        moves = {move.uci(): MoveVerdict(0.4, 16, ()) for move in board.legal_moves}
        if self.key in moves:
            moves[self.key] = MoveVerdict(1.0, 16, self.line)
        else:
            moves[min(moves)] = MoveVerdict(1.0, 16, ())
        return PositionVerdicts(board.epd(), "Stockfish 15.1", "wdl", moves, True)

    def evaluate(
        self, board: chess.Board, *, depth: int | None = None, nodes: int | None = None
    ) -> Evaluation:
        return Evaluation(1.0, 0, (best := self.judge(board).best, *(self.line if best == self.key else ())))


ATTACKED = Keyed("d3d4", "e8d7", "d4e5")
"""The pawn attacks the pinned knight and takes it."""


def candidate(motif: str, line: int = 1, board: chess.Board = PINNED) -> Candidate:
    headers = {"White": "Samphire, Tomasz", "Black": "Plover, Kofi"}
    return Candidate(
        Game(1, line, headers, chess.Board(), (chess.Move.from_uci("e2e4"),), "*"), 1, board, motif
    )


def test_a_card_is_about_the_motif_that_explains_its_key_best() -> None:
    order = ["loose-piece", "pin-on-file"]
    for motif in order:
        built = result_of(card_of(candidate(motif), TODAY, order=order), ATTACKED)
        assert isinstance(built, BuiltCard)
        assert list(map(str, built.entry.card.motifs)) == ["pin-on-file:white"], "the hanging knight may run"
        assert built.entry.card.evidence == {"pin-on-file": ("e1", "e5", "e8")}


def test_a_motif_makes_no_card_where_one_that_is_not_wanted_explains_the_key_better() -> None:
    assert result_of(card_of(candidate("loose-piece"), TODAY), ATTACKED) is Fell.NO_MOTIF
    assert isinstance(result_of(card_of(candidate("pin-on-file"), TODAY), ATTACKED), BuiltCard)


def with_pawns(squares: str) -> chess.Board:
    """PINNED with black pawns, so many that it is another position."""
    board = PINNED.copy()
    for square in squares.split():
        board.set_piece_at(chess.parse_square(square), chess.Piece(chess.PAWN, chess.BLACK))
    return board


def test_the_turn_goes_to_the_motif_with_the_fewest_cards() -> None:
    """The candidates of `loose-piece` become cards about the pin, and count as such."""
    boards = [with_pawns(pawns) for pawns in ("a7 b7 c7 g7 h7", "a6 b6 c6 g6 h6", "a5 b5 g5 h5 h4")]
    queues = {
        "loose-piece": [candidate("loose-piece", 1), candidate("loose-piece", 2, boards[0])],
        "pin-on-file": [candidate("pin-on-file", 1, boards[1]), candidate("pin-on-file", 3, boards[2])],
    }
    cards = [one.entry.card for one in build_cards([queues], list(queues), AtOnce(ATTACKED), 5, TODAY)]
    assert {str(*card.motifs) for card in cards} == {"pin-on-file:white"}
    expected = [PINNED, boards[0], boards[2]]
    assert [card.board.epd() for card in cards] == [board.epd() for board in expected], "one a game and motif"
    assert len(list(build_cards([queues], list(queues), AtOnce(ATTACKED), 1, TODAY))) == 1


@pytest.fixture(scope="module")
def demo_games(project_root: Path) -> list[Game]:
    games = read_games(project_root / "demo_deck" / "games.pgn")
    return [game for game in games if isinstance(game, Game)][:4]


def test_the_order_of_the_catalogue_changes_no_card(
    demo_games: list[Game], monkeypatch: pytest.MonkeyPatch
) -> None:
    wanted = list(MOTIFS)

    def built(motifs: Sequence[str]) -> tuple[list[tuple[str, int]], list[tuple[str, str]]]:
        found = candidates(scan(demo_games), motifs)
        queues, order = found.queues, found.order
        cards = [
            one.entry.card
            for one in build_cards([queues], order, AtOnce(Keyed("")), 6, TODAY, asks=("play",))
        ]
        return (
            [(motif, len(queue)) for motif, queue in queues.items()],
            [(card.fen, str(*card.motifs)) for card in cards],
        )

    queues, cards = built(wanted)
    assert sum(count for _, count in queues) > 30 and len({motif for _, motif in cards}) > 1
    shuffled = list(MOTIFS.items())
    random.Random(1).shuffle(shuffled)
    for module in ("patterns.arguments", "patterns.detect", "decks.build.candidates"):
        monkeypatch.setattr(f"{module}.MOTIFS", MappingProxyType(dict(shuffled)))
    assert built([motif for motif, _ in shuffled if motif in wanted]) == (queues, cards)
