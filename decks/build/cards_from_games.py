"""Making cards from games: candidates are tested with an engine until there are enough cards.

A candidate becomes a card when its motif decides the move: with best play the side to move stands no worse
than level, only a few moves hold, the first move of each takes the motif up, the best move is not obvious
without the motif, and a natural move fails. The line of moves goes on as long as few moves hold. A capture or
a check alone is too short for a line. The engine's verdicts on every legal move are stored with the card.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import chess

from decks.asks.catalogue import ASKS
from decks.build.candidates import Candidate
from decks.build.choice import Choice, Fell
from decks.build.difficulty import FIRST_LOOK, tier_of
from decks.build.inquiries import Engines, Inquiries, Inquiry, glance_at, verdicts_on
from decks.build.new_card import (
    MOST_HOLDING,
    BuiltCard,
    built_card,
    can_be_trusted,
    line_to_find,
    motif_tag,
    new_card,
)
from decks.build.origins import headers_of
from decks.build.relevance import causes, explained_by
from decks.build.slips import GLANCE_NODES, WORST_SCORE
from decks.build.temptation import tempting
from decks.build.variety import Known
from decks.cards.line_end import ended
from decks.cards.movetext import Variation
from decks.cards.tags import card_tags
from decks.tasks.card import MotifTag
from decks.tasks.lines import move_at, numbered
from patterns.detect import find_in
from patterns.engines.effort import SETTLED, SURVEY, Effort
from patterns.engines.judging import EngineError
from patterns.engines.scores import PositionVerdicts
from patterns.lines import Use

MOST_VARIATIONS = 2
"""Wrong moves that are written into the card as variations, with their refutations."""

CARDS_PER_DRAW = 10
"""At most one card in so many has a draw as the best that can be had."""

MOST_FAILURES = 3
"""Candidates on which an engine may fail before the build stops: it probably fails on all of them."""

BuildProgress = Callable[[int, int], None]
"""Called after each answer with the number of cards made and of candidates tested."""


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
    choice = Choice({}, {}, Counter(), Counter(), set(), known, wanted // CARDS_PER_DRAW, fallen)
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
    if not candidate.is_slip:
        fell = yield from _no_promise(board, order)
        if fell:
            return fell
    survey = yield from verdicts_on(board, SURVEY)
    if len(survey.holding()) > MOST_HOLDING + 1:
        return Fell.MANY_HOLD
    effort = replace(effort, most_holding=MOST_HOLDING + 1)
    verdicts = yield from verdicts_on(board, effort)
    if not can_be_trusted(verdicts):
        return Fell.NOT_SETTLED
    cause = _cause(candidate, verdicts, order)
    if isinstance(cause, Fell):
        return cause
    tempts = tempting(candidate, verdicts)
    if not tempts:
        return Fell.NOTHING_TEMPTS
    line, judged = yield from line_to_find(board, verdicts, effort)
    if len(line) == 1 and _is_forcing(board, chess.Move.from_uci(line[0])):
        return Fell.OBVIOUS
    card = new_card(
        verdicts,
        board,
        line,
        [cause.tag],
        asks,
        origin=candidate.origin,
        chosen=_why(candidate, cause, verdicts, tempts),
        evidence={cause.tag.motif: cause.squares} if cause.squares else {},
    )
    if any(ASKS[ask].lacks(card, dict(card_tags(card))) for ask in card.asks):
        return Fell.UNSUITED
    by_epd = {one.epd: one for one in judged}
    card = ended(card, by_epd)
    first_look = yield from verdicts_on(board, FIRST_LOOK)
    tier = tier_of(card, verdicts, (first_look, survey))
    if tier is None:
        return Fell.TOO_HARD
    card, variations = replace(card, tier=tier), _variations(verdicts, tempts)
    return built_card(card, by_epd, headers_of(candidate.game), today, variations=variations)


def _no_promise(board: chess.Board, order: Sequence[str]) -> Inquiry[Fell | None]:
    """Why a quick search finds no best move that takes up a wanted motif. Most candidates fail here."""
    quick = yield from glance_at(board, GLANCE_NODES)
    if quick.score < WORST_SCORE or not quick.line:
        return Fell.LOST
    promised = explained_by(board, quick.line, order)
    return None if any(motif in order for motif in promised) else Fell.NO_MOTIF


@dataclass(frozen=True)
class _Cause:
    """The motif that decides the move, and the squares of its men."""

    tag: MotifTag
    squares: tuple[str, ...]


def _cause(candidate: Candidate, verdicts: PositionVerdicts, order: Sequence[str]) -> _Cause | Fell:
    """The motif that explains the best move best, or else the one that the move played lets in."""
    if verdicts.moves[verdicts.best].score < WORST_SCORE:
        return Fell.LOST
    if len(verdicts.holding()) > MOST_HOLDING:
        return Fell.MANY_HOLD
    board, played = candidate.board, candidate.played
    if candidate.is_slip and played is not None and verdicts.quality(played) == "holds":
        return Fell.NO_SLIP
    deciding = causes(board, verdicts, order)
    motif = next(iter(deciding), "")
    if motif in order:
        return _Cause(motif_tag(motif, board.turn), _evidence(board, deciding[motif]))
    if candidate.is_slip and played is not None:
        after = board.copy(stack=False)
        after.push_uci(played)
        let_in = explained_by(after, verdicts.moves[played].line, order)
        motif = next(iter(let_in), "")
        if motif in order:
            return _Cause(motif_tag(motif, after.turn), _targets(board, let_in[motif]))
    return Fell.NO_MOTIF


def _why(candidate: Candidate, cause: _Cause, verdicts: PositionVerdicts, tempts: Sequence[str]) -> str:
    """Why the position was taken, in words: the move played if it was a mistake, else what tempts."""
    board, played = candidate.board, candidate.played
    if played is None or verdicts.quality(played) == "holds":
        return f"{move_at(board, (tempts[0],), 1)} tempts and loses {verdicts.loss(tempts[0]):.2f}"
    move, *replies = numbered(board, (played, *verdicts.moves[played].line[:1]))
    let_in = f"lets in {replies[0]}" if cause.tag.side != chess.COLOR_NAMES[board.turn] else "was played"
    return f"{move} {let_in} and loses {verdicts.loss(played):.2f}"


def _is_forcing(board: chess.Board, move: chess.Move) -> bool:
    return board.is_capture(move) or board.gives_check(move)


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


def _targets(board: chess.Board, uses: Sequence[Use]) -> tuple[str, ...]:
    """The squares of the own men that a motif of the other side is aimed at, in the order a1, b1, ... h8."""
    names = {name for use in uses for name in use.targets}
    return tuple(
        name
        for name in sorted(names, key=chess.parse_square)
        if board.color_at(chess.parse_square(name)) == board.turn
    )


def _variations(verdicts: PositionVerdicts, tempts: Sequence[str]) -> tuple[Variation, ...]:
    """Tempting moves, each with its refutation.

    They have no NAG: a NAG would count as the coach's word, which decides even against later verdicts.
    """
    refuted = [move for move in tempts if verdicts.moves[move].line][:MOST_VARIATIONS]
    return tuple(Variation(0, (move, *verdicts.moves[move].line[:3])) for move in refuted)
