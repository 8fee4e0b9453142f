"""Keys of ballots that ask for no move: what another search changes, and what stays as the coach has it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path

import chess
import pytest
from asked_at_once import AtOnce, ComparesNothing, judged_by

from decks.build.ballot_key import PLIES, keys_anew
from decks.build.slips import GLANCE_NODES
from decks.cards.ballot_keys import SearchedKey, ballots
from decks.cards.cards_file import CardEntry, read_cards
from decks.cards.deck import Deck, add_cards, new_deck
from decks.cards.deck_check import CheckResult, check_deck
from decks.cards.settings import DeckSettings
from decks.tasks.card import Card
from patterns.engines.effort import Effort
from patterns.engines.judging import EngineError
from patterns.engines.scores import Evaluation, PositionVerdicts
from patterns.words.verdicts import Verdict

WHITE_TO_MOVE = "r1bq1rk1/pp2bppp/2n1pn2/3p4/3P4/2N2N2/PPQ1BPPP/R1B2RK1 w - - 0 10"
BLACK_TO_MOVE = WHITE_TO_MOVE.replace(" w ", " b ")
SAYS = "White slight: space for White, centre for Black"
LATER = date(2031, 5, 2)


class Searches(ComparesNothing):
    """White's expected score by the quick and by the deep search."""

    def __init__(self, quick: float, deep: float) -> None:
        self.quick, self.deep = quick, deep

    def judge(self, board: chess.Board, effort: Effort | None = None) -> PositionVerdicts:
        raise AssertionError("a ballot needs no verdict on every move")

    def evaluate(
        self, board: chess.Board, *, depth: int | None = None, nodes: int | None = None
    ) -> Evaluation:
        assert (depth, nodes) in [(None, GLANCE_NODES), (PLIES, None)]
        white = self.quick if depth is None else self.deep
        return Evaluation(white if board.turn else 1 - white, 0, ())


@pytest.mark.parametrize(
    ("quick", "deep", "verdict"),
    [
        (0.61, 0.61, "white 1"),
        (0.25, 0.25, "black 2"),
        (0.61, 0.75, None),
        (0.61, 0.65, None),  # near the border at .66
    ],
)
def test_the_searches_have_to_agree_off_the_border(quick: float, deep: float, verdict: str | None) -> None:
    boards = [chess.Board(WHITE_TO_MOVE), chess.Board(BLACK_TO_MOVE)]
    found = SearchedKey(Verdict.parse(verdict) if verdict else None, f"Stockfish 15.1 depth {PLIES}")
    assert list(keys_anew(boards, AtOnce(Searches(quick, deep)))) == [found, found]


def test_an_engine_that_fails_is_an_error() -> None:
    class Dies(Searches):
        def evaluate(
            self, board: chess.Board, *, depth: int | None = None, nodes: int | None = None
        ) -> Evaluation:
            raise EngineError("it died")

    with pytest.raises(EngineError, match="it died"):
        list(keys_anew([chess.Board(WHITE_TO_MOVE)], AtOnce(Dies(0.5, 0.5))))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    new_deck(tmp_path / "deck", DeckSettings("7c3a51f0-2f0f-4c53-8d55-6a4f6a4f1b11", "Taking stock"))
    return tmp_path / "deck"


def put(folder: Path, key: str, chosen: str) -> None:
    factors = {"space": Verdict.parse("white 1"), "verdict": Verdict.parse(key)}
    card = Card(
        "card-1", WHITE_TO_MOVE, ("assess",), factors=factors, chosen=chosen, checked="sunfish depth 6, today"
    )
    add_cards(folder, [CardEntry(card)])


def check(folder: Path, verdict: str | None, *, again: bool = True) -> CheckResult:
    def search(boards: Sequence[chess.Board]) -> Iterator[SearchedKey]:
        assert [board.fen() for board in boards] == [WHITE_TO_MOVE]
        yield SearchedKey(Verdict.parse(verdict) if verdict else None, "Stockfish 15.1 depth 18")

    nobody = judged_by(Searches(0.5, 0.5))
    return check_deck(folder, None, nobody, LATER, again=again, key_search=search)


@pytest.mark.parametrize(
    ("key", "chosen", "search", "becomes", "chosen_then", "added", "note"),
    [
        ("white 1", SAYS, "white 1", "white 1", SAYS, "", ""),
        (
            "white 1",
            SAYS,
            "black 2",
            "black 2",
            "Black clear: space for White, centre for Black",
            "its verdict is black 2 instead of white 1, by the search",
            "",
        ),
        (
            "white 2",  # which a coach has set in the place of the one that build found
            SAYS,
            "white 1",
            "white 2",
            SAYS,
            "",
            "the coach's key for verdict is white 2, by the search it is white 1; the coach's key counts",
        ),
        (
            "white 2",
            "",
            "white 1",
            "white 2",
            "",
            "",
            "the coach's key for verdict is white 2, by the search it is white 1; the coach's key counts",
        ),
        ("white 2", "", "white 2", "white 2", "", "", ""),
        (
            "white 1",
            SAYS,
            None,
            "white 1",
            SAYS,
            "",
            "the key for verdict is white 1, but the searches leave it open",
        ),
    ],
)
def test_a_key_that_build_has_set_follows_the_search_and_a_coachs_stays(
    folder: Path,
    key: str,
    chosen: str,
    search: str | None,
    becomes: str,
    chosen_then: str,
    added: str,
    note: str,
) -> None:
    put(folder, key, chosen)
    result = check(folder, search)
    card = Deck.open(folder).cards[0]
    assert {row: str(one) for row, one in card.factors.items()} == {"space": "white 1", "verdict": becomes}
    assert (card.chosen, card.checked) == (chosen_then, "Stockfish 15.1 depth 18, 2031-05-02")
    assert [one.message for one in result.added] == ([added] if added else [])
    assert [one.message for one in result.notes] == ([note] if note else [])
    assert result.judged == (chess.Board(WHITE_TO_MOVE).epd(),)


def test_a_key_that_followed_once_follows_again(folder: Path) -> None:
    put(folder, "white 1", SAYS)
    check(folder, "level")
    assert Deck.open(folder).cards[0].chosen.startswith("level: ")
    check(folder, "white 2")
    assert str(Deck.open(folder).cards[0].factors["verdict"]) == "white 2"


def test_only_on_request(folder: Path) -> None:
    put(folder, "white 1", SAYS)
    result = check(folder, "white 2", again=False)
    assert (result.judged, result.added, result.notes) == ((), (), ())
    assert str(Deck.open(folder).cards[0].factors["verdict"]) == "white 1"


@pytest.mark.parametrize(
    ("tags", "moves", "searched"),
    [
        ('[Asks "assess"][Factors "verdict=level"]', "", True),
        ('[Asks "assess"][Factors "space=level"]', "", False),
        ('[Asks "count"][Square "d5"][Factors "verdict=level"]', "", False),
        ('[Asks "assess play"][Factors "verdict=level"]', "10. a4 ", False),
    ],
    ids=["a ballot", "no key for the verdict", "no ballot", "verdicts on its moves are enough"],
)
def test_which_cards_have_a_key_to_search(tags: str, moves: str, searched: bool) -> None:
    cards, faults = read_cards(f'{tags}[SetUp "1"][FEN "{WHITE_TO_MOVE}"]\n\n{moves}*\n', ("play",), None)
    assert (len(cards), faults) == (1, ())
    assert len(ballots(cards)) == searched
