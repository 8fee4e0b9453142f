"""Cards from games: what becomes a card and what does not, with a judge whose scores the test sets."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date
from io import StringIO
from pathlib import Path
from typing import Any

import chess
import pytest
from asked_at_once import AtOnce, ComparesNothing, InAnyOrder, result_of

from decks.build.candidates import Candidate, candidates
from decks.build.cards_from_games import build_cards, card_of
from decks.build.cause import Cause, cause_of
from decks.build.choice import Fell
from decks.build.new_card import MOST_STUDENT_MOVES, BuiltCard, line_to_find
from decks.build.play_card import judged
from decks.build.relevance import explained_by, needs_no_motif, pays, uses_of_lines
from decks.build.variety import Known
from decks.cards.deck import Deck, add_cards, new_deck
from decks.cards.settings import DeckSettings, new_deck_id
from patterns.catalogue import MOTIFS
from patterns.engines.effort import SETTLED, Effort
from patterns.engines.judging import EngineError, Evaluation
from patterns.engines.scores import MoveVerdict, PositionVerdicts
from patterns.lines import Use
from patterns.motifs.findings import Finding
from patterns.reading.pgn import Game, read_games
from patterns.scan import scan
from patterns.words.verdicts import Verdict

DOUBLED = "3r2k1/5ppp/8/8/8/8/4QPPP/4R1K1 w - - 0 1"
"""Composed: the queen sacrifices itself on e8 and the rook mates there."""

MATE_ON_D1 = "3r2k1/1p3ppp/p3b3/4p3/P3N2q/4PP2/2Q3PP/R1B3K1 b - - 1 24"
"""Composed of self-play: the queen mates on e1, the rook is one check short of it."""

TODAY = date(2026, 11, 25)

STORM = """
[Event "Saltmarsh club evening"]
[Date "2026.02.05"]
[White "Sandhopper, Ravi"]
[Black "Tidewell, Oskar"]
[Result "*"]

1. e4 c5 2. Nf3 d6 3. d4 cxd4 4. Nxd4 Nf6 5. Nc3 g6 6. Be3 Bg7 7. f3 O-O 8. Qd2 Nc6 9. O-O-O d5
10. exd5 Nxd5 11. Nxc6 bxc6 12. g4 Qa5 13. h4 Rb8 14. h5 Bf6 15. Kb1 e6 16. Bc4 Nxe3 17. Qxe3 c5 *
"""


class Said(ComparesNothing):
    """A judge that gives the listed moves their scores and all other moves one other score."""

    def __init__(self, scores: dict[str, float], others: float, replies: dict[str, tuple[str, ...]]) -> None:
        self.scores, self.others, self.replies = scores, others, replies
        self.asked: list[str] = []
        self.settled = True

    def judge(self, board: chess.Board, effort: Effort | None = None) -> PositionVerdicts:
        self.asked.append(board.epd())
        moves = {
            move.uci(): MoveVerdict(
                self.scores.get(move.uci(), self.others), 16, self.replies.get(move.uci(), ())
            )
            for move in board.legal_moves
        }
        return PositionVerdicts(board.epd(), "Stockfish 15.1", "wdl", moves, self.settled)

    def evaluate(
        self, board: chess.Board, *, depth: int | None = None, nodes: int | None = None
    ) -> Evaluation:
        best = max(
            map(chess.Move.uci, board.legal_moves), key=lambda move: self.scores.get(move, self.others)
        )
        return Evaluation(self.scores.get(best, self.others), 0, (best, *self.replies.get(best, ())))


def candidate(fen: str, motif: str, played: str = "g2g3") -> Candidate:
    """A candidate in whose game another move was played."""
    board = chess.Board(fen)
    earlier = chess.Board()
    game = Game(
        1,
        1,
        {"White": "Samphire, Tomasz", "Black": "Plover, Kofi"},
        earlier,
        (chess.Move.from_uci("e2e4"), chess.Move.from_uci(played)),
        "*",
    )
    return Candidate(game, 1, board, motif)


def test_a_motif_that_decides_becomes_a_card() -> None:
    judge = Said({"e2e8": 1.0, "e1e8": 1.0}, 0.4, {"e2e8": ("d8e8", "e1e8")})
    built = result_of(card_of(candidate(DOUBLED, "back-rank"), TODAY), judge)
    assert isinstance(built, BuiltCard)
    card = built.entry.card
    assert card.line == ("e2e8", "d8e8", "e1e8")
    assert [str(tag) for tag in card.motifs] == ["back-rank:white"]
    assert card.evidence == {"back-rank": ("e1", "e2", "g8")}
    assert card.asks == ("play",), "the stock-taking alone would not find a mate"
    assert card.factors == {}
    assert card.origin == "Samphire, Tomasz-Plover, Kofi, after 1.e4"
    assert card.comments == {}, "comments are the coach's words"
    assert [verdicts.epd for verdicts in built.verdicts] == [key.board.epd() for key in card.moves_to_find()]
    assert (card.to_find, card.goal) == (None, "mate")


def test_a_card_asks_only_for_moves_that_have_to_be_found_and_keeps_no_other_verdicts() -> None:
    scores = {"e2e8": 1.0, "e1e8": 1.0, "e1e3": 1.0, "e1e4": 1.0}  # of the second moves three hold
    judge = Said(scores, 0.4, {"e2e8": ("d8e8", "e1e8")})
    built = result_of(card_of(candidate(DOUBLED, "back-rank"), TODAY), judge)
    assert isinstance(built, BuiltCard)
    assert [key.move for key in built.entry.card.moves_to_find()] == ["e2e8"]
    assert [verdicts.epd for verdicts in built.verdicts] == [built.entry.card.board.epd()]


def test_a_card_has_the_result_as_its_game_was_read_whatever_the_tag_says() -> None:
    judge = Said({"e2e8": 1.0, "e1e8": 1.0}, 0.4, {"e2e8": ("d8e8", "e1e8")})
    one = candidate(DOUBLED, "back-rank")
    game = replace(one.game, headers={**one.game.headers, "Result": "1/2"}, result="1/2-1/2")
    built = result_of(card_of(replace(one, game=game), TODAY), judge)
    assert isinstance(built, BuiltCard)
    assert built.entry.headers["Result"] == "1/2-1/2"


def test_a_card_asks_for_what_the_coach_wants_asked() -> None:
    judge = Said({"e2e8": 1.0, "e1e8": 1.0}, 0.4, {"e2e8": ("d8e8", "e1e8")})
    built = result_of(card_of(candidate(DOUBLED, "back-rank"), TODAY, asks=("assess", "spot")), judge)
    assert isinstance(built, BuiltCard)
    assert built.entry.card.asks == ("assess", "spot")
    assert built.entry.card.factors == {"verdict": Verdict("white", 3)}, "the engine's verdict is the key"


@pytest.mark.parametrize(
    ("scores", "others", "why", "words"),
    [
        ({"h4e1": 1.0}, 0.4, Fell.OBVIOUS, "a check and nothing after it"),
        ({"a6a5": 1.0}, 0.4, Fell.NO_MOTIF, "the best move has nothing to do with the motif"),
        ({"h4e1": 1.0, "a6a5": 0.99}, 0.4, Fell.NO_MOTIF, "another move holds that does not take it up"),
        ({"h4e1": 0.51}, 0.5, Fell.MANY_HOLD, "every move holds"),
        ({"h4e1": 0.4}, 0.1, Fell.LOST, "all is lost anyway"),
        ({"h4e1": 1.0}, 0.9, Fell.NOTHING_TEMPTS, "the other moves only slip"),
        ({"h4e1": 1.0, "h7h6": 0.4}, 0.9, Fell.OBVIOUS, "what was played fails, but a check is too short"),
        ({"h4e1": 1.0, "h7h5": 0.4}, 0.9, Fell.NOTHING_TEMPTS, "nobody would play what fails"),
    ],
)
def test_why_a_candidate_becomes_no_card(
    scores: dict[str, float], others: float, why: Fell, words: str
) -> None:
    judge = Said(scores, others, {"h4e1": ("g1h1",)})
    assert result_of(card_of(candidate(MATE_ON_D1, "mating-net", "h7h6"), TODAY), judge) is why, words


def test_a_candidate_falls_that_is_not_settled_and_a_slip_that_was_none() -> None:
    one = candidate(DOUBLED, "back-rank", "e2e8")
    judge = Said({"e2e8": 1.0, "e1e8": 1.0}, 0.4, {"e2e8": ("d8e8", "e1e8")})
    assert result_of(card_of(replace(one, is_slip=True), TODAY), judge) is Fell.NO_SLIP
    judge.settled = False
    assert result_of(card_of(candidate(DOUBLED, "back-rank"), TODAY), judge) is Fell.NOT_SETTLED


def test_a_card_says_why_it_was_taken_and_shows_the_move_played_as_a_mistake() -> None:
    judge = Said({"e2e8": 1.0, "e1e8": 1.0}, 0.4, {"e2e8": ("d8e8", "e1e8"), "g2g3": ("d8d1",)})
    built = result_of(card_of(candidate(DOUBLED, "back-rank"), TODAY), judge)
    assert isinstance(built, BuiltCard)
    assert built.entry.card.chosen == "1. g3 was played and loses 0.60"
    assert [one.line for one in built.entry.variations] == [("g2g3", "d8d1")]
    assert built.entry.card.tier == 1


WINS_A_ROOK = "r3k3/pp3ppp/8/3N4/8/8/PP3PPP/4K3 w q - 0 24"
"""Composed: the knight forks on c7."""


@pytest.mark.parametrize(
    ("best", "reply", "pays_off", "why"),
    [
        ((0.5, 0), "e8d7 c7a8", True, "it wins a rook, though only back"),
        ((0.8, 200), "", True, "it leaves the mover better and everything else 150 behind"),
        ((0.8, 199), "", False, "another move is nearer"),
        ((0.5, 200), "", False, "the game is only level"),
        ((1.0, None), "", True, "it mates"),
    ],
)
def test_a_key_mates_wins_the_exchange_or_leaves_the_rest_clearly_behind(
    best: tuple[float, int | None], reply: str, pays_off: bool, why: str
) -> None:
    board, (score, centipawns) = chess.Board(WINS_A_ROOK), best
    mate = 3 if centipawns is None else None
    key = MoveVerdict(score, 16, tuple(reply.split()), centipawns=centipawns, mate=mate, end=score)
    other = MoveVerdict(0.2, 16, ("a7a6",), centipawns=50, end=0.2)
    moves = {"d5c7": key, **{move.uci(): other for move in board.legal_moves if move.uci() != "d5c7"}}
    verdicts = PositionVerdicts(board.epd(), "Stockfish 15.1", "wdl", moves, True)
    assert pays(board, verdicts) is pays_off, why


def mating(fen: str, key: str, other: MoveVerdict) -> PositionVerdicts:
    """Verdicts by which the key (UCI) mates in two, and every other move has this verdict."""
    board = chess.Board(fen)
    moves = {move.uci(): other for move in board.legal_moves if move.uci() != key}
    first = {key: MoveVerdict(1.0, 17, ("h7h6",), mate=2)}
    return PositionVerdicts(board.epd(), "Stockfish 15.1", "wdl", {**first, **moves}, True)


@pytest.mark.parametrize(
    ("other", "alone"),
    [
        (MoveVerdict(1.0, 17, ("h7h6",), centipawns=499), True),
        (MoveVerdict(1.0, 17, ("h7h6",), centipawns=500), False),
        (MoveVerdict(1.0, 17, ("h7h6",), mate=9), True),  # it is known to mate, and holds
    ],
)
def test_a_key_that_mates_does_so_alone(other: MoveVerdict, alone: bool) -> None:
    assert pays(chess.Board(WINS_A_ROOK), mating(WINS_A_ROOK, "d5c7", other)) is alone


@pytest.mark.parametrize(("centipawns", "plies"), [(499, 3), (500, 1)])
def test_the_line_ends_before_a_mate_beside_which_another_move_may_mate_too(
    centipawns: int, plies: int
) -> None:
    class Mates(Said):
        def judge(self, board: chess.Board, effort: Effort | None = None) -> PositionVerdicts:
            return mating(board.fen(), "e1e8", MoveVerdict(1.0, 17, ("h7h6",), centipawns=centipawns))

    judge = Said({"e2e8": 1.0}, 0.4, {"e2e8": ("d8e8",)})
    verdicts = judge.judge(chess.Board(DOUBLED))
    line, _ = result_of(line_to_find(chess.Board(DOUBLED), verdicts, SETTLED), Mates({}, 0.0, {}))
    assert len(line) == plies


def test_a_candidate_whose_best_move_achieves_little_falls(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("decks.build.cards_from_games.pays", lambda *_: False)
    judge = Said({"e2e8": 1.0, "e1e8": 1.0}, 0.4, {"e2e8": ("d8e8", "e1e8")})
    assert result_of(card_of(candidate(DOUBLED, "back-rank"), TODAY), judge) is Fell.PAYS_LITTLE
    assert len(judge.asked) == 1, "a light search is enough to see it"


class Follows(Said):
    """A judge that sees better what comes of some moves when it searches them alone: their scores."""

    def __init__(self, alone: Mapping[str, float], **said: Any) -> None:
        super().__init__(**said)
        self.alone, self.followed_in = alone, list[str]()

    def followed(self, verdicts: PositionVerdicts, effort: Effort) -> PositionVerdicts:
        assert effort.aftermath == SETTLED.aftermath
        self.followed_in.append(verdicts.epd)
        seen = {
            move: replace(verdicts.moves[move], score=score, end=score) for move, score in self.alone.items()
        }
        return replace(verdicts, moves={**verdicts.moves, **seen})


@pytest.mark.parametrize(
    ("alone", "falls", "why"),
    [
        ({"g2g3": 0.2}, None, "the move played loses even more"),
        ({"g2g3": 0.9}, Fell.NOTHING_TEMPTS, "the move played only slips"),
    ],
)
def test_what_comes_of_moves_is_searched_only_for_cards_and_counts_for_them(
    alone: dict[str, float], falls: Fell | None, why: str
) -> None:
    said: dict[str, Any] = {"scores": {"e2e8": 1.0, "e1e8": 1.0}, "others": 0.4}
    judge = Follows(alone, **said, replies={"e2e8": ("d8e8", "e1e8"), "g2g3": ("d8d1",)})
    built = result_of(card_of(candidate(DOUBLED, "back-rank"), TODAY), judge)
    if falls is None:
        assert isinstance(built, BuiltCard), why
        assert built.entry.card.chosen == "1. g3 was played and loses 0.80"
        assert judge.followed_in == [one.epd for one in built.verdicts]
        assert [one.moves["g2g3"].end for one in built.verdicts[:1]] == [0.2]
    else:
        assert built is falls, why
    judge = Follows({}, **said, replies={"e2e8": ("d8e8", "e1e8")})
    judge.settled = False
    assert result_of(card_of(candidate(DOUBLED, "back-rank"), TODAY), judge) is Fell.NOT_SETTLED
    assert judge.followed_in == []


def test_a_perpetual_check_needs_no_motif() -> None:
    """The first check hits the bishop, too, but what saves White is that the checks go on."""
    fen = "5r1k/5p2/8/b7/6Q1/8/5PPP/6K1 w - - 0 24"
    causes = []
    for line in (("h8g7", "h5a5"), ("h8g7", "h5g5", "g7h7", "g5h5", "h7g7", "h5g5")):
        judge = Said({"g4h5": 0.5}, 0.1, {"g4h5": line})
        verdicts = judge.judge(chess.Board(fen))
        causes.append(result_of(cause_of(candidate(fen, "fork"), verdicts, ["fork"]), judge))
    assert isinstance(causes[0], Cause) and causes[1] is Fell.NO_MOTIF


def test_without_a_cause_in_the_light_search_no_whole_one_is_made() -> None:
    judge = Said({"g2g3": 0.7, "g2g4": 0.7}, 0.3, {})
    one = replace(candidate(DOUBLED, "back-rank", "h2h3"), is_slip=True)
    assert result_of(card_of(one, TODAY), judge) is Fell.NO_MOTIF
    assert len(judge.asked) == 1


UNCOVERS = "5rk1/1p2R3/2pP1q2/p1P3p1/5n1p/8/PP3QBN/6K1 b - - 0 34"


@pytest.mark.parametrize(
    ("fen", "line", "first"),
    [
        (UNCOVERS, "f4h3 g2h3 f6f2", "discovered-attack"),
        (UNCOVERS, "f4h3 g1h1 h3f2", "fork"),
        # Nothing else explains it.
        ("r3k3/8/1p6/3N4/8/8/8/2R1K3 w q - 0 24", "d5c7 e8d7 c7a8", "fork"),
    ],
)
def test_a_fork_by_a_man_whom_the_reply_takes_explains_a_move_only_if_nothing_else_does(
    fen: str, line: str, first: str
) -> None:
    asked = chess.Board(fen), line.split()
    (uses,) = uses_of_lines([asked])
    assert next(iter(explained_by(asked, uses, sorted(MOTIFS, reverse=True)))) == first


IN_VAIN = DOUBLED.replace("5ppp", "n4ppp", 1)
"""DOUBLED with a knight that is lost on b5."""

WINS_THE_KNIGHT = "e2a6"
LOSES_THE_KNIGHT = ("d8d2", "a6a7")


def test_a_stroke_in_vain_is_a_card_about_what_only_seems_to_be_there() -> None:
    replies = {"e2e8": ("d8e8", "e1d1", "h7h6"), WINS_THE_KNIGHT: LOSES_THE_KNIGHT}
    judge = Said({WINS_THE_KNIGHT: 0.7}, 0.3, replies)
    one = replace(candidate(IN_VAIN, "back-rank", "h2h3"), stroke="e2e8")
    built = result_of(card_of(one, TODAY), judge)
    assert isinstance(built, BuiltCard)
    card = built.entry.card
    assert (card.motifs, str(card.lookalike)) == ((), "back-rank:white")
    assert (card.line, card.to_find) == ((WINS_THE_KNIGHT, *LOSES_THE_KNIGHT), 1)
    assert card.evidence == {"back-rank": ("d8",)}, "the rook refutes it"
    assert card.chosen == "1. Qe8+ tempts and loses 0.40"
    assert [one.line for one in built.entry.variations] == [("e2e8", "d8e8", "e1d1", "h7h6")]
    played = result_of(card_of(replace(one, game=candidate(DOUBLED, "", "e2e8").game), TODAY), judge)
    assert isinstance(played, BuiltCard)
    assert played.entry.card.chosen == "1. Qe8+ was played and loses 0.40"


@pytest.mark.parametrize(
    ("stroke", "scores", "replies", "why", "words"),
    [
        ("e2e8", {WINS_THE_KNIGHT: 0.7, "e2e8": 0.65}, ("d8e8",), Fell.WORKS, "it holds"),
        ("e2e8", {WINS_THE_KNIGHT: 0.99, "e2e8": 0.65}, ("d8e8",), Fell.WORKS, "it leaves White better"),
        ("e2e8", {WINS_THE_KNIGHT: 0.6, "e2e8": 0.5}, ("d8e8",), Fell.NOTHING_TEMPTS, "it does not fail"),
        ("e2e8", {WINS_THE_KNIGHT: 0.7}, (), Fell.WORKS, "nothing refutes it"),
        ("e2e8", {WINS_THE_KNIGHT: 0.4}, ("d8e8",), Fell.LOST, "all is lost anyway"),
        ("e2b5", {"e2e8": 0.9}, ("d8d1",), Fell.WORKS, "the back rank is weak after all"),
        ("e2b5", {"e2e8": 1.0}, ("d8d1",), Fell.NOTHING_TEMPTS, "there is a mate"),
    ],
)
def test_why_a_stroke_in_vain_becomes_no_card(
    stroke: str, scores: dict[str, float], replies: tuple[str, ...], why: Fell, words: str
) -> None:
    one = replace(candidate(IN_VAIN, "back-rank", "h2h3"), stroke=stroke)
    judge = Said(scores, 0.3, {"e2e8": ("d8e8", "e1e8"), WINS_THE_KNIGHT: LOSES_THE_KNIGHT, stroke: replies})
    assert result_of(card_of(one, TODAY), judge) is why, words


@pytest.mark.parametrize(
    ("score", "key", "becomes", "why"),
    [
        (0.6, "e2a6 d8d2 a6a7", Cause, "it wins the knight by a motif"),
        (0.5, "e2a6 d8d2 a6a7", Fell.NO_MOTIF, "it only keeps the game level"),
        (0.6, "g2g3 a7b5 e2b5", Fell.NO_MOTIF, "it wins the knight by no motif"),
        (0.6, "g2g3 h7h6 h2h3", Fell.NO_MOTIF, "it does nothing"),
        (0.6, "e2e7 a7b5 e7d8", Fell.WORKS, "the man falls that refutes the stroke"),
        (0.6, "e2e7 d8d7 e7d7", Fell.WORKS, "the man falls on another square"),
    ],
)
def test_the_key_of_a_lookalike_has_a_motif_of_its_own(
    score: float, key: str, becomes: Fell | type[Cause], why: str
) -> None:
    best, *line = key.split()
    judge = Said({best: score}, 0.2, {"e2e8": ("d8e8", "e1d1"), best: tuple(line)})
    one = replace(candidate(IN_VAIN, "back-rank", "h2h3"), stroke="e2e8")
    found = result_of(cause_of(one, judge.judge(one.board), ["back-rank"]), judge)
    assert isinstance(found, Cause) if becomes is Cause else found is becomes, why


def test_the_key_of_a_lookalike_may_have_a_motif_that_wins_nothing_by_count(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    judge = Said({"g2g3": 0.6}, 0.2, {"e2e8": ("d8e8", "e1d1"), "g2g3": ("h7h6", "h2h3")})
    one = replace(candidate(IN_VAIN, "back-rank", "h2h3"), stroke="e2e8")
    outpost = Use(1, "outpost", (), (), (), "")
    for wins, becomes in ((0, Cause), (1, Fell)):
        found = {"outpost": [replace(outpost, wins=wins)]}
        monkeypatch.setattr("decks.build.cause.explained_by", lambda *_, found=found: found)
        cause = result_of(cause_of(one, judge.judge(one.board), ["back-rank"]), judge)
        assert isinstance(cause, becomes)


def test_the_line_goes_on_while_other_moves_fail() -> None:
    judge = Said({"e2e8": 1.0, "e1e8": 1.0}, 0.4, {"e2e8": ("d8e8", "e1e8")})
    built = result_of(card_of(candidate(DOUBLED, "back-rank"), TODAY), judge)
    assert isinstance(built, BuiltCard)
    assert built.entry.card.line == ("e2e8", "d8e8", "e1e8")
    assert len(built.verdicts) == 2 <= MOST_STUDENT_MOVES
    judge = Said({"e2e8": 1.0}, 0.4, {"e2e8": ("d8e8", "e1e8")})
    assert result_of(card_of(candidate(DOUBLED, "back-rank"), TODAY), judge) is Fell.OBVIOUS


def test_the_line_ends_before_a_reply_that_one_cannot_expect() -> None:
    """A check has an answer that few others replace; after a quiet key the reply is anybody's guess."""
    for key, reply, follows, line in (
        ("e2e8", "d8e8", "e1e8", ("e2e8", "d8e8", "e1e8")),
        ("g2g3", "h7h6", "e2e8", ("g2g3",)),
    ):
        judge = Said({key: 1.0, follows: 0.9}, 0.4, {key: (reply,)})
        verdicts = judge.judge(chess.Board(DOUBLED))
        assert result_of(line_to_find(chess.Board(DOUBLED), verdicts, SETTLED), judge)[0] == line


@pytest.mark.parametrize(
    ("near", "behind", "falls"), [(3, 60, False), (4, 60, True), (4, 59, True), (3, 59, True)]
)
def test_where_a_light_search_cannot_tell_more_than_three_moves_apart_no_whole_one_is_made(
    near: int, behind: int, falls: bool
) -> None:
    """`near` moves have the same score, and one more is so many centipawns `behind`."""
    board = chess.Board(DOUBLED)
    moves = [move.uci() for move in board.legal_moves]

    class Measured(Said):
        def judge(self, board: chess.Board, effort: Effort | None = None) -> PositionVerdicts:
            found = super().judge(board, effort)
            worth = dict.fromkeys(moves[:near], 100) | {moves[near]: 100 - behind}
            told = {
                move: replace(one, centipawns=worth.get(move, -900), score=0.6 if move in worth else 0.1)
                for move, one in found.moves.items()
            }
            return replace(found, moves=told)

    judge = Measured({}, 0.0, {})
    found = result_of(judged(board, SETTLED), judge)
    assert (found is Fell.MANY_HOLD) is falls
    assert len(judge.asked) == (1 if falls else 2)


def test_a_card_that_only_takes_what_hangs_and_takes_back_is_obvious() -> None:
    hangs = "r1b1k2r/1pqpNppp/p7/4p3/4Pn2/8/PPPQ1PPP/2KR1B1R b kq - 0 12"
    judge = Said({"e8e7": 0.9, "e5f4": 0.9}, 0.3, {"e8e7": ("d2f4", "e5f4"), "d7d6": ("e7c8",)})
    one = replace(candidate(hangs, "loose-piece", "d7d6"), is_slip=True)
    assert result_of(card_of(one, TODAY), judge) is Fell.OBVIOUS
    assert len(judge.asked) == 1, "a light search is enough to see it"


def test_candidates_are_positions_of_the_player_asked_for() -> None:
    games = [game for game in read_games(StringIO(STORM)) if isinstance(game, Game)]
    everyone = candidates(scan(games), ["pawn-storm"]).queues["pawn-storm"]
    assert everyone
    assert {one.board.turn for one in everyone} == {chess.WHITE}
    assert all(one.ply >= 14 for one in everyone)
    assert candidates(scan(games), ["pawn-storm"], "tidewell").queues["pawn-storm"] == []
    assert candidates(scan(games), ["pawn-storm"], "Sandhopper").queues["pawn-storm"] == everyone
    assert everyone[0].origin.startswith(
        "Sandhopper, Ravi-Tidewell, Oskar, Saltmarsh club evening 2026.02.05, after"
    )


def test_build_gives_one_card_a_game_and_motif_and_never_the_same_position_twice(tmp_path: Path) -> None:
    once = candidate(DOUBLED, "back-rank")
    judge = Said({"e2e8": 1.0, "e1e8": 1.0}, 0.4, {"e2e8": ("d8e8", "e1e8")})
    built = list(build_cards([{"back-rank": [once, once]}], ["back-rank"], AtOnce(judge), 5, TODAY))
    assert len(built) == 1
    known = Known([once.board.epd()])
    assert (
        list(build_cards([{"back-rank": [once]}], ["back-rank"], AtOnce(judge), 5, TODAY, known=known)) == []
    )
    folder = tmp_path / "deck"
    new_deck(folder, DeckSettings(new_deck_id(), "Back ranks"))
    add_cards(folder, [one.entry for one in built], built[0].verdicts, set(MOTIFS))
    deck = Deck.open(folder, set(MOTIFS))
    assert [card.line for card in deck.cards] == [("e2e8", "d8e8", "e1e8")]
    assert once.board.epd() in deck.verdicts


def test_a_place_is_tested_once_but_a_slip_that_was_none_is_tested_again_without_that_claim() -> None:
    one = candidate(DOUBLED, "back-rank", "e2e8")
    slip, fallen = replace(one, is_slip=True), Counter[Fell]()
    lost = Said({}, 0.3, {})
    stages = [{"back-rank": [one], "fork": [replace(one, motif="fork")]}, {"back-rank": [one]}]
    assert list(build_cards(stages, ["back-rank", "fork"], AtOnce(lost), 5, TODAY, fallen=fallen)) == []
    assert fallen == {Fell.LOST: 1}
    judge = Said({"e2e8": 1.0, "e1e8": 1.0, "e2b5": 0.4}, 0.4, {"e2e8": ("d8e8", "e1e8")})
    fallen.clear()
    stages = [{"back-rank": [slip]}, {"back-rank": [one]}]
    assert list(build_cards(stages, ["back-rank"], AtOnce(judge), 5, TODAY, fallen=fallen)) == []
    assert fallen == {Fell.NOTHING_TEMPTS: 1}, "no natural move but the key was there"


def test_a_game_gives_a_second_card_only_after_all_other_games() -> None:
    """The first game has two candidates, about different motifs; a later stage has another game."""
    first, _, other, _ = some_candidates()["back-rank"]
    fork = replace(
        candidate("5r1k/5p2/8/b7/6Q1/8/5PPP/6K1 w - - 0 24", "fork"), game=first.game, ply=first.ply + 1
    )
    judge = DoubledRooks()
    judge.scores |= {"g4h5": 0.9, "h5a5": 0.9}
    judge.replies["g4h5"] = ("h8g7", "h5a5")
    stages, order = [{"back-rank": [first], "fork": [fork]}, {"back-rank": [other]}], ["back-rank", "fork"]

    def boards(wanted: int, known: Known | None = None) -> list[chess.Board]:
        cards = build_cards(stages, order, AtOnce(judge), wanted, TODAY, known=known)
        return [one.entry.card.board for one in cards]

    assert boards(2) == [first.board, other.board]
    assert boards(3) == [first.board, other.board, fork.board]
    known = Known()
    known.games.add((first.game.line, first.game.moves))
    assert boards(1, known) == [other.board], "another run has had a card of the first game"


def test_the_side_with_fewer_cards_comes_next() -> None:
    """Each candidate of White's has one of Black's after it, seen from the other side and on other files."""
    white = [one for place, one in enumerate(some_candidates()["back-rank"]) if place != 1]
    black = [
        replace(
            one,
            board=one.board.mirror(),
            game=replace(one.game, line=10 + place, moves=(one.game.moves[0], chess.Move.from_uci("g7g6"))),
        )
        for place, one in enumerate(white)
    ]
    judge = DoubledRooks()
    judge.scores |= {"e7e1": 1.0, "e8e1": 1.0}
    judge.replies["e7e1"] = ("d1e1", "e8e1")
    cards = build_cards([{"back-rank": [*white, *black]}], ["back-rank"], AtOnce(judge), 4, TODAY)
    turns = [one.entry.card.board.turn for one in cards]
    assert turns == [chess.WHITE, chess.BLACK] * 2


def test_few_cards_are_about_a_draw() -> None:
    """Of ten cards one may be about a draw, of fewer none. The queen wins a bishop back by a fork."""
    drawn = Said({"g4h5": 0.5, "h5a5": 0.5}, 0.1, {"g4h5": ("h8g7", "h5a5")})
    fork, fallen = "5r1k/{}p2/8/b7/6Q1/8/5PPP/6K1 w - - 0 24", Counter[Fell]()
    boards = [candidate(fork.format(pawns), "fork") for pawns in ("5", "2p2", "2pp1")]
    games = [replace(one, game=replace(one.game, line=line)) for line, one in enumerate(boards)]
    queues, order = [{"fork": games}], ["fork"]
    assert list(build_cards(queues, order, AtOnce(drawn), 9, TODAY, fallen=fallen)) == []
    assert fallen[Fell.DRAW] == 3
    (only,) = build_cards(queues, order, AtOnce(drawn), 10, TODAY)
    assert only.entry.card.goal == "draw"


class DoubledRooks(Said):
    """Finds the sacrifice of DOUBLED with other pawns too, and that all else fails."""

    def __init__(self) -> None:
        super().__init__({"e2e8": 1.0, "e1e8": 1.0}, 0.4, {"e2e8": ("d8e8", "e1e8")})


def some_candidates() -> dict[str, list[Candidate]]:
    """Four candidates of different games. The second cannot become a card: the king has air."""
    found: list[Candidate] = []
    for place, squares in enumerate(("a6 b6 c6", "a5 b5 c5", "a7 b7 c7", "a4 b4 c4")):
        board = chess.Board(DOUBLED)
        for square in squares.split():
            board.set_piece_at(chess.parse_square(square), chess.Piece(chess.PAWN, chess.BLACK))
        if place == 1:
            board.remove_piece_at(chess.H7)
        one = candidate(board.fen(), "back-rank")
        found.append(replace(one, game=replace(one.game, line=len(found))))
    return {"back-rank": found}


def test_the_cards_are_the_same_with_several_engines_and_one_may_die() -> None:
    queues = some_candidates()
    one_by_one = list(build_cards([queues], [*queues], AtOnce(DoubledRooks()), 2, TODAY))
    assert [one.entry.card.fen for one in one_by_one] == [
        queues["back-rank"][place].board.fen() for place in (0, 2)
    ]
    engines = InAnyOrder(DoubledRooks(), 3, 1)
    assert list(build_cards([queues], [*queues], engines, 2, TODAY)) == one_by_one
    assert engines.most_in_work > 1
    built: list[BuiltCard] = []
    engines = InAnyOrder(DoubledRooks(), 3, 1, [queues["back-rank"][0].board.epd()])
    with pytest.raises(EngineError, match="died in"):
        built.extend(build_cards([queues], [*queues], engines, 50, TODAY))
    assert built[0] == one_by_one[1] and len(built) == 2


def test_progress_counts_cards_and_candidates() -> None:
    progress: list[tuple[int, int]] = []
    note: Callable[[int, int], None] = lambda made, tried: progress.append((made, tried))  # noqa: E731
    once = candidate(MATE_ON_D1, "back-rank")
    engines = AtOnce(Said({}, 0.5, {}))
    assert list(build_cards([{"back-rank": [once]}], ["back-rank"], engines, 3, TODAY, progress=note)) == []
    assert progress == [(0, 1)]


PIN = Finding("pin-on-file", "white", ("e1",), ("e5", "e8"), ("e2", "e3", "e4", "e6", "e7"), "")
PINNED = "4k3/8/5n2/4n3/8/P2P4/5P2/4R1K1 w - - 0 1"


@pytest.mark.parametrize(
    ("fen", "move", "expected", "why"),
    [
        ("4k3/8/5n2/4n3/8/P2P4/5P2/4R1K1 w - - 0 1", "e1e5", False, "it takes the target"),
        ("4k3/8/5n2/4n3/3b4/P1PP4/5P2/4R1K1 w - - 0 1", "c3d4", True, "it takes what hangs"),
        ("4k3/8/1b6/4n3/8/P2P4/5N2/4R1K1 w - - 0 1", "d3d4", False, "a quiet move"),
        ("4k3/8/8/4n3/1b6/P2P4/8/4R1K1 w - - 0 1", "e1e2", True, "the rook was attacked"),
        (
            "4k3/8/8/1b2n3/8/P2P4/8/4R1K1 w - - 0 1",
            "d3d4",
            False,
            "only a pawn was",
        ),
        ("6k1/5ppp/8/8/8/8/3q1PPP/3RR1K1 w - - 0 1", "e1e8", False, "mate is mate"),
        ("4k3/8/5n2/4q3/3p4/P1P5/5P2/4R1K1 w - - 0 1", "c3d4", False, "a queen is at stake, not a pawn"),
    ],
)
def test_which_moves_are_obvious_without_the_motif(fen: str, move: str, expected: bool, why: str) -> None:
    assert needs_no_motif(chess.Board(fen), chess.Move.from_uci(move), PIN) is expected, why


def test_a_man_saved_with_a_threat_to_the_king_alone_was_attacked_all_the_same() -> None:
    board, to_king = chess.Board("4k3/8/8/4n3/1b6/P2P4/8/4R1K1 w - - 0 1"), replace(PIN, targets=("e8",))
    assert needs_no_motif(board, chess.Move.from_uci("e1e2"), to_king)
