"""Making cards from games: candidates are tested with an engine until there are enough cards.

A candidate becomes a card when its motif decides the move: with best play the side to move stands no worse
than level, only a few moves hold, the first move of each takes the motif up, the best move is not obvious
without the motif, and a natural move fails. The line of moves goes on as long as few moves hold. A capture or
a check alone is too short for a line. The engine's verdicts on every legal move are stored with the card.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from enum import Enum

import chess

from decks.asks.catalogue import ASKS, in_order
from decks.build.candidates import Candidate
from decks.build.difficulty import FIRST_LOOK, tier_of
from decks.build.inquiries import Engines, Inquiries, Inquiry, glance_at, verdicts_on
from decks.build.relevance import causes, explaining, uses_of_lines
from decks.build.slips import GLANCE_NODES, WORST_SCORE
from decks.build.temptation import tempting
from decks.build.variety import Known
from decks.cards.cards_file import CardEntry
from decks.cards.deck_check import checked_by
from decks.cards.line_end import ended
from decks.cards.movetext import Variation
from decks.tasks.card import Card, MotifTag
from patterns.detect import find_in
from patterns.engines.effort import SETTLED, SURVEY, Effort
from patterns.engines.judging import EngineError
from patterns.engines.scores import PositionVerdicts, verdict_from_expected
from patterns.engines.strength import strong_enough
from patterns.explanation import explain
from patterns.lines import Use
from patterns.words.verdicts import Verdict

MOST_HOLDING = 3
"""Moves that may hold. With more of them there is little to find."""

MOST_STUDENT_MOVES = 3
"""Moves that one card asks for: as far as club players calculate (common practice, no source)."""

MOST_VARIATIONS = 2
"""Wrong moves that are written into the card as variations, with their refutations."""

CARDS_PER_DRAW = 10
"""At most one card in so many has a draw as the best that can be had."""

MOST_FAILURES = 3
"""Candidates on which an engine may fail before the build stops: it probably fails on all of them."""

BuildProgress = Callable[[int, int], None]
"""Called after each answer with the number of cards made and of candidates tested."""


class Fell(Enum):
    """Why a candidate became no card."""

    LOST = "the position is lost anyway"
    NO_MOTIF = "no wanted motif explains the best move"
    MANY_HOLD = "too many moves hold"
    NOT_SETTLED = "the searches do not agree for certain"
    NO_SLIP = "the move played was no mistake after all"
    OBVIOUS = "a capture or check and nothing after it"
    NOTHING_TEMPTS = "no natural move fails"
    TOO_HARD = "too many quiet replies to foresee"
    KNOWN = "the position, or one like it, is known"
    SAME_GAME = "the game has a card about this motif"
    DRAW = "enough cards with a draw as the best"


@dataclass(frozen=True)
class BuiltCard:
    """A card ready to be added to a deck, with the verdicts for the positions where the student moves."""

    entry: CardEntry
    verdicts: tuple[PositionVerdicts, ...]


def build_cards(
    stages: Iterable[Mapping[str, Sequence[Candidate]]],
    order: Sequence[str],
    engines: Engines,
    wanted: int,
    today: date,
    *,
    asks: tuple[str, ...] = (),
    known: Known | None = None,
    effort: Effort = SETTLED,
    fallen: Counter[Fell] | None = None,
    progress: BuildProgress | None = None,
) -> Iterator[BuiltCard]:
    """Make cards until there are `wanted` of them or no candidates are left.

    `stages`: candidates by motif; all of one stage come before those of the next, which is not asked for
    earlier. `order`: the wanted motifs in the order in which a deck takes them up. Within a stage the next
    candidate is of the side to move with the fewer cards so far, as long as it has one, and there of the
    motif with the fewest cards (the first of them). A card is about the motif that explains its key best. One
    game gives at most one card for each motif, and at most one card in `CARDS_PER_DRAW` is about a draw.
    `asks`: the asks of every card; empty: those that suit the position. `known`: positions that must not be
    asked about again; the new cards are added.
    `today`: the date of the check. `effort`: as for `Judge.judge`. A quick search comes before each judging.
    `fallen`: counts why candidates became no card.

    The engines work on several candidates at a time, but the cards are the same as if they came one by one.
    If an engine fails on a candidate, the others are still tested, and the first EngineError is raised at the
    end, or at once after MOST_FAILURES.
    """
    known = Known() if known is None else known
    fallen = Counter() if fallen is None else fallen
    choice = _Choice({}, {}, Counter(), Counter(), set(), known, wanted // CARDS_PER_DRAW, fallen)
    inquiries = Inquiries[Candidate, BuiltCard | Fell](
        engines, lambda one: card_of(one, today, order=order, asks=asks, effort=effort)
    )
    tested = 0
    failures: list[EngineError] = []

    def told() -> None:
        if progress is not None:
            progress(choice.cards.total(), tested)

    for stage in stages:
        choice.begin(stage, order)
        while choice.cards.total() < wanted and (candidate := choice.next()) is not None:
            built = inquiries.result(candidate, choice.following(), told)
            tested += 1
            if isinstance(built, EngineError):
                failures.append(built)
                if len(failures) >= MOST_FAILURES:
                    raise failures[0]
                continue
            if isinstance(built, BuiltCard):
                built = choice.accepted(candidate, built)
            told()
            if isinstance(built, BuiltCard):
                yield built
            elif built is Fell.NO_SLIP:
                choice.test_again(candidate)
            else:
                fallen[built] += 1
        if choice.cards.total() >= wanted:
            break
    if failures:
        raise failures[0]


def _game(candidate: Candidate) -> object:
    return candidate.game.line, candidate.game.moves  # several files have a game on one line


@dataclass
class _Choice:
    """Which candidate comes next. `queues`: by side to move and motif. `at`: how far each queue is used.

    `cards`: how many were made about each motif. `sides`: how many with each side to move. `used`: motifs of
    games. `draws`: how many more may be about a draw. `tested`: the
    places in games that have been tested: what they become does not depend on the motif they were found by.
    """

    queues: Mapping[tuple[chess.Color, str], Sequence[Candidate]]
    at: dict[tuple[chess.Color, str], int]
    cards: Counter[str]
    sides: Counter[chess.Color]
    used: set[tuple[str, object]]
    known: Known
    draws: int
    fallen: Counter[Fell]
    tested: set[object] = field(default_factory=set)

    def begin(self, stage: Mapping[str, Sequence[Candidate]], order: Sequence[str]) -> None:
        """Go on with another stage."""
        self.queues = {
            (side, motif): [one for one in stage[motif] if one.board.turn == side]
            for motif in order
            if motif in stage
            for side in chess.COLORS
        }
        self.at = dict.fromkeys(self.queues, 0)

    def _place(self, queue: tuple[chess.Color, str]) -> tuple[int, int]:
        """Queues with a lower place come first."""
        side, motif = queue
        return self.sides[side], self.cards[motif]

    def next(self) -> Candidate | None:
        """The next candidate. None if there is none left."""
        while self.at:
            turn = min(self.at, key=self._place)
            place = self.at[turn]
            if place == len(self.queues[turn]):
                del self.at[turn]
                continue
            self.at[turn] += 1
            candidate = self.queues[turn][place]
            where = (_game(candidate), candidate.ply)
            if where in self.tested:
                continue
            self.tested.add(where)
            if (candidate.motif, _game(candidate)) in self.used:
                self.fallen[Fell.SAME_GAME] += 1
            elif self.known.has_like(candidate.board):
                self.fallen[Fell.KNOWN] += 1
            else:
                return candidate
        return None

    def following(self) -> Iterator[Candidate]:
        """The candidates that come next if none of them becomes a card, which is likely for each of them."""
        later = replace(self, at=dict(self.at), fallen=Counter(), tested=set(self.tested))
        while (candidate := later.next()) is not None:
            yield candidate

    def test_again(self, candidate: Candidate) -> None:
        """Test a place once more if a later stage has it."""
        self.tested.discard((_game(candidate), candidate.ply))

    def accepted(self, candidate: Candidate, built: BuiltCard) -> BuiltCard | Fell:
        """The card, which then counts as made, or why it is one too many."""
        card = built.entry.card
        motif = card.motifs[0].motif
        place = (motif, _game(candidate))
        if place in self.used:
            return Fell.SAME_GAME
        if self.known.has_idea(card):
            return Fell.KNOWN
        if card.goal == "draw":
            if not self.draws:
                return Fell.DRAW
            self.draws -= 1
        self.cards[motif] += 1
        self.sides[candidate.board.turn] += 1
        self.used.add(place)
        self.known.add(card)
        return built


def card_of(
    candidate: Candidate,
    today: date,
    *,
    order: Sequence[str] = (),
    asks: tuple[str, ...] = (),
    effort: Effort = SETTLED,
) -> Inquiry[BuiltCard | Fell]:
    """The card made from one candidate, or why there is none.

    `order`: the wanted motifs, those to prefer first; empty: only the candidate's. The card is about the
    motif that explains its key best. There is no card if that motif is not wanted.
    """
    board, order = candidate.board, order or (candidate.motif,)
    fell = yield from _no_promise(board, order)
    if fell:
        return fell
    survey = yield from verdicts_on(board, SURVEY)
    if len(survey.holding()) > MOST_HOLDING + 1:
        return Fell.MANY_HOLD
    verdicts = yield from verdicts_on(board, effort)
    if not _can_be_trusted(verdicts):
        return Fell.NOT_SETTLED
    fell, cause = _cause(candidate, verdicts, order)
    if fell:
        return fell
    tempts = tempting(candidate, verdicts)
    if not tempts:
        return Fell.NOTHING_TEMPTS
    line, judged = yield from _line(board, verdicts, effort)
    if len(line) == 1 and _is_forcing(board, chess.Move.from_uci(line[0])):
        return Fell.OBVIOUS
    white = verdicts.moves[verdicts.best].score
    overall = verdict_from_expected(white if board.turn == chess.WHITE else 1.0 - white)
    asks = asks or suggested_asks(board, overall)
    motif = cause[0].motif
    card = Card(
        card_id="",
        fen=board.fen(en_passant="legal"),
        asks=asks,
        motifs=(MotifTag(motif, "white" if board.turn == chess.WHITE else "black"),),
        factors={factor: key for ask in asks for factor, key in ASKS[ask].built_key(overall).items()},
        line=line,
        origin=candidate.origin,
        chosen=_why(candidate, verdicts, tempts),
        evidence={motif: _evidence(board, cause)},
    )
    by_epd = {one.epd: one for one in judged}
    card = ended(card, by_epd)
    first_look = yield from verdicts_on(board, FIRST_LOOK)
    tier = tier_of(card, verdicts, (first_look, survey))
    if tier is None:
        return Fell.TOO_HARD
    checked = checked_by(card.moves_to_find(), by_epd)
    card = replace(card, tier=tier, checked=f"{checked}, {today.isoformat()}")
    headers = {
        name: value
        for name, value in candidate.game.headers.items()
        if name in ("Event", "Site", "Date", "Round", "White", "Black")
    }
    headers["Result"] = candidate.game.result
    asked = tuple(judged[: len(card.moves_to_find())])
    return BuiltCard(CardEntry(card, headers, _variations(verdicts, tempts)), asked)


def _no_promise(board: chess.Board, order: Sequence[str]) -> Inquiry[Fell | None]:
    """Why a quick search finds no best move that takes up a wanted motif. Most candidates fail here."""
    quick = yield from glance_at(board, GLANCE_NODES)
    if quick.score < WORST_SCORE or not quick.line:
        return Fell.LOST
    (uses,) = uses_of_lines([(board, quick.line)])
    promises = any(use.motif in order for use in explaining(board, quick.line, uses))
    return None if promises else Fell.NO_MOTIF


def _cause(
    candidate: Candidate, verdicts: PositionVerdicts, order: Sequence[str]
) -> tuple[Fell | None, list[Use]]:
    """How the best move uses the motif that explains it best, or why no motif decides the move."""
    if verdicts.moves[verdicts.best].score < WORST_SCORE:
        return Fell.LOST, []
    if len(verdicts.holding()) > MOST_HOLDING:
        return Fell.MANY_HOLD, []
    played = candidate.played
    if candidate.is_slip and played is not None and verdicts.quality(played) == "holds":
        return Fell.NO_SLIP, []
    deciding = causes(candidate.board, verdicts, order)
    motif = next(iter(deciding), "")
    return (None, deciding[motif]) if motif in order else (Fell.NO_MOTIF, [])


def _why(candidate: Candidate, verdicts: PositionVerdicts, tempts: Sequence[str]) -> str:
    """Why the position was taken, in words: the move played if it was a mistake, else what tempts."""
    board, played = candidate.board, candidate.played
    if played is not None and verdicts.quality(played) != "holds":
        return f"{_numbered(board, played)} was played and loses {verdicts.loss(played):.2f}"
    return f"{_numbered(board, tempts[0])} tempts and loses {verdicts.loss(tempts[0]):.2f}"


def _numbered(board: chess.Board, move: str) -> str:
    dots = "." if board.turn == chess.WHITE else "..."
    return f"{board.fullmove_number}{dots}{board.san(chess.Move.from_uci(move))}"


def _can_be_trusted(verdicts: PositionVerdicts) -> bool:
    """Whether a card may be made: all searches agree, or the engine is weak and the card is unverified."""
    return verdicts.settled or not strong_enough(verdicts.engine, verdicts.least_depth)


def _line(
    board: chess.Board, verdicts: PositionVerdicts, effort: Effort
) -> Inquiry[tuple[tuple[str, ...], list[PositionVerdicts]]]:
    """The main line, up to a student's move, and the verdicts for the positions where the student moves."""
    line, judged = [verdicts.best], [verdicts]
    board = board.copy(stack=False)
    while len(judged) < MOST_STUDENT_MOVES:
        board.push_uci(line[-1])
        replies = judged[-1].moves[line[-1]].line
        if not replies or board.is_game_over():
            break
        board.push_uci(replies[0])
        if board.is_game_over():
            break
        following = yield from verdicts_on(board.copy(stack=False), effort)
        if not _can_be_trusted(following):
            break
        if len(following.holding()) > MOST_HOLDING or board.legal_moves.count() <= MOST_HOLDING:
            break
        line += [replies[0], following.best]
        judged.append(following)
    return tuple(line), judged


def _is_forcing(board: chess.Board, move: chess.Move) -> bool:
    return board.is_capture(move) or board.gives_check(move)


def suggested_asks(board: chess.Board, overall: Verdict) -> tuple[str, ...]:
    """The asks that suit a position, given the engine's verdict on it."""
    explanation = explain(board)
    return in_order(ask.id for ask in ASKS.values() if ask.suggested(explanation, overall))


def _evidence(board: chess.Board, uses: Sequence[Use]) -> tuple[str, ...]:
    """The squares of actors and targets, in the order a1, b1, ... h8.

    If the position shows the motif already, they are those of what it shows of these men; otherwise those
    that the move uses.
    """
    side = chess.COLOR_NAMES[board.turn]
    men = {name for use in uses for name in (*use.actors, *use.targets)}
    shown = [
        {*finding.actors, *finding.targets}
        for finding in find_in([board], uses[0].motif)[0]
        if finding.side == side
    ]
    names = set().union(*(squares for squares in shown if squares & men)) or men
    return tuple(sorted(names, key=chess.parse_square))


def _variations(verdicts: PositionVerdicts, tempts: Sequence[str]) -> tuple[Variation, ...]:
    """Tempting moves, each with its refutation.

    They have no NAG: a NAG would count as the coach's word, which decides even against later verdicts.
    """
    refuted = [move for move in tempts if verdicts.moves[move].line][:MOST_VARIATIONS]
    return tuple(Variation(0, (move, *verdicts.moves[move].line[:3])) for move in refuted)
