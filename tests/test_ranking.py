"""Which motif a card is about, and which motif a deck turns to. The catalogue's order must not matter."""

from __future__ import annotations

import random
from collections.abc import Sequence
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
from decks.build.ranking import GameRecords, ranked
from decks.build.relevance import touches
from patterns.catalogue import MOTIFS
from patterns.engines.effort import Effort
from patterns.engines.judging import Evaluation
from patterns.engines.scores import MoveVerdict, PositionVerdicts
from patterns.lines import Use
from patterns.motifs.findings import Finding
from patterns.reading.pgn import Game, read_games
from patterns.scan import scan

PINNED = chess.Board("4k3/8/5n2/4n3/8/P2P4/5P2/4R1K1 w - - 0 1")
"""The knight on e5 hangs and is pinned on the file. 1.d4 attacks it."""

KEY = chess.Move.from_uci("d3d4")
TODAY = date(2026, 11, 25)


def found(motif: str, actors: str = "", targets: str = "", squares: str = "") -> Finding:
    return Finding(motif, "white", tuple(actors.split()), tuple(targets.split()), tuple(squares.split()), "")


def used(motif: str, ply: int) -> Use:
    return Use(ply, motif, (), (), (), "")


THERE = "a1"
"""A square that has nothing to do with the key."""


@pytest.mark.parametrize(
    ("uses", "findings", "order", "expected", "why"),
    [
        (
            [used("b", 1), used("c", 2)],
            [found("a", THERE), found("c", THERE), found("b", THERE)],
            ["a", "c", "b"],
            ["b", "c", "a"],
            "the first move's before the second's before none's",
        ),
        (
            [used("b", 2), used("b", 1), used("a", 2)],
            [found("a", THERE), found("b", THERE)],
            ["a", "b"],
            ["b", "a"],
            "a motif of both moves is the first one's",
        ),
        (
            [used("a", 3)],
            [found("a", THERE), found("b", THERE)],
            ["b", "a"],
            ["b", "a"],
            "what is used later than the second move is another position's",
        ),
        (
            [used("b", 2)],
            [found("a", "d3"), found("b", THERE)],
            ["a", "b"],
            ["b", "a"],
            "a use counts for more than a touch",
        ),
        ([], [found("a", THERE), found("b", "d3")], ["a", "b"], ["b", "a"], "an actor of b moves"),
        (
            [],
            [found("a", THERE), found("b", THERE, "d4")],
            ["a", "b"],
            ["b", "a"],
            "it goes to a target of b",
        ),
        (
            [],
            [found("a", THERE), found("b", THERE, "e5")],
            ["a", "b"],
            ["b", "a"],
            "it attacks a target of b",
        ),
        ([], [found("a"), found("b", "", "", "d4")], ["a", "b"], ["b", "a"], "it goes to a square of b"),
        (
            [],
            [found("a", THERE), found("b", THERE), found("b", "d3")],
            ["a", "b"],
            ["b", "a"],
            "one of two instances is enough",
        ),
        ([], [found("a"), found("b"), found("c")], ["c", "b", "a"], ["c", "b", "a"], "the order decides"),
        (
            [],
            [found("a"), found("b"), found("c")],
            ["c"],
            ["c", "a", "b"],
            "what is not in it comes after, by id",
        ),
        (
            [used("a", 1)],
            [found("a"), found("c")],
            ["c"],
            ["a", "c"],
            "reasons count for more than the order",
        ),
        ([used("d", 1)], [found("a")], [], ["a"], "only motifs of the position are ranked"),
    ],
)
def test_what_explains_the_key_best_comes_first(
    uses: Sequence[Use], findings: Sequence[Finding], order: Sequence[str], expected: list[str], why: str
) -> None:
    assert ranked(PINNED, KEY, uses, findings, order) == expected, why


def test_a_move_touches_what_it_moves_takes_enters_or_attacks_and_nothing_else() -> None:
    assert touches(PINNED, chess.Move.from_uci("e1e5"), found("x", "", "e5"))
    assert touches(PINNED, chess.Move.from_uci("e1d1"), found("x", "e1"))
    assert not touches(PINNED, KEY, found("x", "e1", "e8 f6", "e2 e3"))


INSTANCES = st.lists(
    st.builds(
        lambda motif, men, ply: (found(motif, men), used(motif, ply)),
        st.sampled_from("abcde"),
        st.sampled_from(["", "d3", THERE]),
        st.integers(1, 4),
    ),
    min_size=1,
    max_size=8,
)


@given(INSTANCES, st.permutations("abcde"), st.randoms(use_true_random=False))
def test_the_order_of_findings_and_uses_changes_nothing(
    instances: list[tuple[Finding, Use]], order: list[str], chance: random.Random
) -> None:
    findings, uses = [one for one, _ in instances], [use for _, use in instances[::2]]
    as_they_came = ranked(PINNED, KEY, uses, findings, order)
    chance.shuffle(findings)
    chance.shuffle(uses)
    assert ranked(PINNED, KEY, uses, findings, order) == as_they_came


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
        return Evaluation(1.0, 0, (self.judge(board).best,))


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
        assert built is not None
        assert list(map(str, built.entry.card.motifs)) == ["pin-on-file:white"], "the hanging knight may run"
        assert built.entry.card.evidence == {"pin-on-file": ("e1", "e5", "e8")}


def test_a_motif_makes_no_card_where_one_that_is_not_wanted_explains_the_key_better() -> None:
    assert result_of(card_of(candidate("loose-piece"), TODAY), ATTACKED) is None
    assert result_of(card_of(candidate("pin-on-file"), TODAY), ATTACKED) is not None


def test_the_turn_goes_to_the_motif_with_the_fewest_cards() -> None:
    """The candidates of `loose-piece` become cards about the pin, and count as such."""
    boards = [
        chess.Board(PINNED.fen().replace("P2P4/5P2", pawns))
        for pawns in ("P2P2P1/5P2", "P2P3P/5P2", "3P4/P4P2")
    ]
    queues = {
        "loose-piece": [candidate("loose-piece", 1), candidate("loose-piece", 2, boards[0])],
        "pin-on-file": [candidate("pin-on-file", 1, boards[1]), candidate("pin-on-file", 3, boards[2])],
    }
    cards = [one.entry.card for one in build_cards(queues, AtOnce(ATTACKED), 5, TODAY)]
    assert {str(*card.motifs) for card in cards} == {"pin-on-file:white"}
    expected = [PINNED, boards[0], boards[2]]
    assert [card.board.epd() for card in cards] == [board.epd() for board in expected], "one a game and motif"
    assert len(list(build_cards(queues, AtOnce(ATTACKED), 1, TODAY))) == 1


@pytest.fixture(scope="module")
def demo_games(project_root: Path) -> list[Game]:
    games = read_games(project_root / "demo_deck" / "games.pgn")
    return [game for game in games if isinstance(game, Game)][:4]


def test_the_order_of_the_catalogue_changes_no_card(
    demo_games: list[Game], monkeypatch: pytest.MonkeyPatch
) -> None:
    wanted = ["loose-piece", "pin-on-file", "pawn-storm", "back-rank", "open-file", "battery", "weak-square"]

    def built(motifs: Sequence[str]) -> tuple[list[tuple[str, int]], list[tuple[str, str]]]:
        queues = candidates(scan(demo_games), motifs)
        cards = [one.entry.card for one in build_cards(queues, AtOnce(Keyed("")), 6, TODAY, asks=("play",))]
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
