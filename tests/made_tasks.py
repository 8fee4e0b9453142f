"""Tasks made by hand, for tests of the session and of what shows it. They use no engine and no detector."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import TypeVar

import chess

from decks.asks.ask import Answer
from decks.memory.model import Memory
from decks.review.session import State
from decks.tasks.card import Card, MotifTag
from decks.tasks.task import Task
from patterns.engines.scores import STRENGTH_THRESHOLDS, MoveVerdict, PositionVerdicts
from patterns.explanation import Explanation
from patterns.factors.assessment import Assessment, FactorBalance, StatedReason
from patterns.factors.weights import PER_PAWN
from patterns.motifs.findings import Finding
from patterns.words.verdicts import FACTORS, Verdict

DECK = "6f0c7c1e-6b0a-4b55-9d0e-8f3f5d2f7a11"
MEMORY = Memory(stability=3.0, difficulty=5.0, last=date(2031, 5, 2), due=date(2031, 5, 5))

DOUBLED_ROOKS = "2rr2k1/5ppp/8/8/8/8/3R1PPP/3R2K1 w - - 0 24"
"""24. Rxd8+ Rxd8 25. Rxd8 mate. In the tests 24. h3 is good, 24. g3 a slip, any other move a mistake."""

BLACK_TO_MOVE = "3r2k1/5ppp/8/8/8/8/5PPP/1R4K1 b - - 0 30"
"""The tests' line is 30... Rd1+ 31. Rxd1. The board must be turned for Black."""

BESIEGED = "4r3/3k4/2nb2n1/1B2p3/8/3N1N2/1B6/4R1K1 w - - 0 1"
"""White has four men against e5. Of Black's four the knight on c6 is pinned, so that White wins a pawn."""

PROMOTION = "8/P4k2/8/8/8/8/8/K7 w - - 0 50"

FINDING = Finding(
    "back-rank", "white", ("d1", "d2"), ("g8",), ("e8",), "The king on g8 has no flight square."
)


_Answer = TypeVar("_Answer", bound=Answer)


IN_PAWNS = tuple(math.log((0.5 + gap) / (0.5 - gap)) / PER_PAWN for gap in STRENGTH_THRESHOLDS)
"""The borders of the strengths in pawns."""


def in_hand(state: State, kind: type[_Answer]) -> _Answer:
    """The answer in hand, which is of this kind."""
    assert state.attempt is not None
    assert isinstance(state.attempt.answer, kind)
    return state.attempt.answer


def verdicts_for(board: chess.Board, scores: Mapping[str, float], other: float = 0.3) -> PositionVerdicts:
    """Verdicts for every legal move: `scores` by UCI, `other` for the rest. Each has some reply."""
    moves = {}
    for move in board.legal_moves:
        board.push(move)
        line = tuple(reply.uci() for reply in list(board.legal_moves)[:1])
        board.pop()
        moves[move.uci()] = MoveVerdict(scores.get(move.uci(), other), 12, line)
    return PositionVerdicts(board.epd(), "Stockfish 15.1", "wdl", moves, settled=True)


def explanation_with(findings: tuple[Finding, ...], signed: Mapping[str, int]) -> Explanation:
    """An explanation whose factors and verdict have these signed strengths; level if not named.

    The numbers behind them are far from every border, so that only one cell is right.
    """

    def middle(strength: int, thresholds: tuple[float, ...]) -> float:
        edges = (*thresholds, 2 * thresholds[-1])
        size = 0.0 if strength == 0 else (edges[abs(strength) - 1] + edges[abs(strength)]) / 2
        return size if strength > 0 else -size

    def factor(name: str) -> FactorBalance:
        strength = signed.get(name, 0)
        balance = middle(strength, IN_PAWNS)
        reason = StatedReason(f"Why {name} stands so", balance, ("d1", "g8"))
        return FactorBalance(name, balance, Verdict.from_signed(strength), (reason,))

    factors = tuple(map(factor, FACTORS))
    verdict = signed.get("verdict", 0)
    expected = 0.5 + min(0.45, middle(verdict, STRENGTH_THRESHOLDS))
    return Explanation(chess.Board(), findings, Assessment(factors, Verdict.from_signed(verdict), expected))


def task(card: Card, *asks: str, usual: Mapping[str, float] | None = None, **scores: float) -> Task:
    """A task of this card: line moves score 1, the moves of `scores` theirs, the rest little."""
    verdicts = {}
    for key in card.moves_asked():
        verdicts[key.board.epd()] = verdicts_for(key.board, {**scores, key.move: 1.0})
    explained = explanation_with((FINDING,), {"open-lines": 2, "king-safety": 1, "verdict": 3})
    items: dict[str, str] = {ask: f"card:{DECK}/{card.card_id}/{ask}" for ask in asks}
    return Task(
        DECK,
        card,
        asks,
        verdicts,
        usual or {},
        {ask: seconds / 2 for ask, seconds in (usual or {}).items()},
        items,
        dict.fromkeys(asks, "turn"),
        first_sight=True,
        whole_ballot=True,
        explainer=lambda _: explained,
    )


def doubled_rooks(*asks: str, usual: Mapping[str, float] | None = None, card_id: str = "rooks") -> Task:
    card = Card(
        card_id,
        DOUBLED_ROOKS,
        ("assess", "play"),
        motifs=(MotifTag("back-rank", "white"),),
        factors={"material": Verdict.parse("level"), "verdict": Verdict.parse("white 3")},
        line=("d2d8", "c8d8", "d1d8"),
        origin="Birch - Fenwick, Saltmarsh club evening",
        comments={0: "Count who guards the last rank.", 3: "Mate on the last rank."},
    )
    return task(card, *asks, usual=usual, h2h3=0.97, g2g3=0.88)


def short_ballot(*asks: str) -> Task:
    """The same card with a short ballot: material, which the coach set, king safety, open lines, verdict."""
    return replace(doubled_rooks(*asks), whole_ballot=False)


def black_to_move(*asks: str) -> Task:
    card = Card("rook-check", BLACK_TO_MOVE, ("play",), (MotifTag("back-rank", "black"),), line=("d8d1",))
    return task(card, *asks)


def a_rook_check(number: int) -> Task:
    """A card like that, with White's pawns standing otherwise. `number`: 0 to 31."""
    board = chess.Board(BLACK_TO_MOVE)
    for bit, square in enumerate((chess.A4, chess.B4, chess.C4, chess.E4, chess.F4)):
        if number >> bit & 1:
            board.set_piece_at(square, chess.Piece(chess.PAWN, chess.WHITE))
    card = Card(f"rook-{number}", board.fen(), ("play",), (MotifTag("back-rank", "black"),), line=("d8d1",))
    return task(card, "play")


def promotion(*asks: str) -> Task:
    return task(Card("queen-it", PROMOTION, ("play",), line=("a7a8q",)), *asks)


def spot_card(*asks: str) -> Task:
    card = Card("spot-it", DOUBLED_ROOKS, ("spot",), (MotifTag("back-rank", "white"),))
    return task(card, *asks)


def root_card(*asks: str) -> Task:
    line = ("e2e4", "e7e5", "g1f3", "f7f6", "f3e5", "f6e5")
    card = Card("root-it", chess.STARTING_FEN, ("root",), line=line, root=4)
    return task(card, *asks)


def root_and_factor_card(*asks: str) -> Task:
    """The same, and the mistake hurt the king."""
    plain = root_card(*asks)
    return replace(plain, card=replace(plain.card, own_tags={"Hurt": "king-safety"}))


def count_card(*asks: str) -> Task:
    return task(Card("count-it", BESIEGED, ("count",), own_tags={"Square": "e5"}), *asks)
