"""Making cards from games: candidates are tested with an engine until there are enough cards.

A candidate becomes a card when its motif decides the move: with best play the side to move stands no worse
than level, only a few moves hold, each of these exploits the motif, and the best move is not obvious without
the motif. The line of moves goes on as long as few moves hold. A capture or a check alone is too short for a
line. The engine's verdicts on every legal move are stored with the card.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import chess

from decks.asks.catalogue import ASKS, in_order
from decks.build.candidates import Candidate
from decks.build.inquiries import Engines, Inquiries, Inquiry, glance_at, verdicts_on
from decks.build.origins import headers_of
from decks.build.ranking import ranked
from decks.build.relevance import exploits_at_once, exploits_in_time, needs_no_motif, uses_of_moves
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
from patterns.motifs.findings import Finding
from patterns.words.verdicts import Verdict

MOST_HOLDING = 3
"""Moves that may hold. With more of them there is little to find."""

WORST_SCORE = 0.45
"""Expected score that the best move must keep. Below it the card would only teach how to lose more slowly."""

MOST_STUDENT_MOVES = 3
"""Moves that one card asks for: as far as club players calculate (common practice, no source)."""

MOST_VARIATIONS = 2
"""Wrong moves that are written into the card as variations, with their refutations."""

QUICK_NODES = 10_000
"""Nodes of the first quick search: hundredths of a second for a fast engine, a second for a slow one."""

MOST_FAILURES = 3
"""Candidates on which an engine may fail before the build stops: it probably fails on all of them."""

BuildProgress = Callable[[int, int], None]
"""Called after each answer with the number of cards made and of candidates tested."""


@dataclass(frozen=True)
class BuiltCard:
    """A card ready to be added to a deck, with the verdicts for the positions where the student moves."""

    entry: CardEntry
    verdicts: tuple[PositionVerdicts, ...]


def build_cards(
    candidates: Mapping[str, Sequence[Candidate]],
    engines: Engines,
    wanted: int,
    today: date,
    *,
    asks: tuple[str, ...] = (),
    taken: frozenset[str] = frozenset(),
    effort: Effort = SETTLED,
    progress: BuildProgress | None = None,
) -> Iterator[BuiltCard]:
    """Make cards until there are `wanted` of them or no candidates are left.

    `candidates`: by motif, in the order in which a deck takes up the motifs. The next candidate always comes
    from the motif with the fewest cards so far (the first of them). A card is about the motif that explains
    its key best. One game gives at most one card for each motif. `asks`: the asks of every card; empty: those
    that suit the position. `taken`: EPDs that must not be asked about again. `today`: the date of the check.
    `effort`: as for `Judge.judge`. A quick search comes before each judging.

    The engines work on several candidates at a time, but the cards are the same as if they came one by one.
    If an engine fails on a candidate, the others are still tested, and the first EngineError is raised at the
    end, or at once after MOST_FAILURES.
    """
    order = list(candidates)
    choice = _Choice(candidates, dict.fromkeys(order, 0), Counter(), set(), set(taken))
    inquiries = Inquiries[Candidate, BuiltCard | None](
        engines, lambda one: card_of(one, today, order=order, asks=asks, effort=effort)
    )
    tested = 0
    failures: list[EngineError] = []

    def told() -> None:
        if progress is not None:
            progress(choice.cards.total(), tested)

    while choice.cards.total() < wanted and (candidate := choice.next()) is not None:
        built = inquiries.result(candidate, choice.following(), told)
        tested += 1
        if isinstance(built, EngineError):
            failures.append(built)
            if len(failures) >= MOST_FAILURES:
                break
            continue
        is_new = built is not None and choice.accepts(candidate, built.entry.card.motifs[0].motif)
        told()
        if built is not None and is_new:
            yield built
    if failures:
        raise failures[0]


def _game(candidate: Candidate) -> object:
    return candidate.game.line, candidate.game.moves  # several files have a game on one line


@dataclass
class _Choice:
    """Which candidate comes next. `at`: how far each motif's queue is used. `used`: motifs of games.

    `cards`: how many were made about each motif. `seen`: EPDs that must not be asked about again.
    """

    queues: Mapping[str, Sequence[Candidate]]
    at: dict[str, int]
    cards: Counter[str]
    used: set[tuple[str, object]]
    seen: set[str]

    def next(self) -> Candidate | None:
        """The next candidate. None if there is none left."""
        while self.at:
            turn = min(self.at, key=self.cards.__getitem__)
            place = self.at[turn]
            if place == len(self.queues[turn]):
                del self.at[turn]
                continue
            self.at[turn] += 1
            candidate = self.queues[turn][place]
            if (turn, _game(candidate)) not in self.used and candidate.board.epd() not in self.seen:
                return candidate
        return None

    def following(self) -> Iterator[Candidate]:
        """The candidates that come next if none of them becomes a card, which is likely for each of them."""
        later = replace(self, at=dict(self.at))
        while (candidate := later.next()) is not None:
            yield candidate

    def accepts(self, candidate: Candidate, motif: str) -> bool:
        """Whether a card about this motif may be made of a candidate. If so, it counts as made."""
        place = (motif, _game(candidate))
        if place in self.used:
            return False
        self.cards[motif] += 1
        self.used.add(place)
        self.seen.add(candidate.board.epd())
        return True


def card_of(
    candidate: Candidate,
    today: date,
    *,
    order: Sequence[str] = (),
    asks: tuple[str, ...] = (),
    effort: Effort = SETTLED,
) -> Inquiry[BuiltCard | None]:
    """The card made from one candidate, or None if its motif does not decide what to play.

    `order`: the wanted motifs, those to prefer first; empty: only the candidate's. The card is about the
    motif that explains its key best. There is no card if that motif is not wanted.
    """
    board, order = candidate.board, order or (candidate.motif,)
    own = _own_findings(board, candidate.motif)
    if not (yield from _promising(board, own)):
        return None
    if not _deciding(board, (yield from verdicts_on(board, SURVEY)), own, slack=1):
        return None
    effort = replace(effort, most_holding=MOST_HOLDING + 1)
    verdicts = yield from verdicts_on(board, effort)
    if not can_be_trusted(verdicts):
        return None
    deciding = _deciding(board, verdicts, _own_findings(board), slack=0)
    if candidate.motif not in {finding.motif for finding in deciding}:
        return None
    (uses,) = uses_of_moves(board, verdicts, [verdicts.best])
    motif, *_ = ranked(board, chess.Move.from_uci(verdicts.best), uses, deciding, order)
    if motif not in order:
        return None
    line, judged = yield from line_to_find(board, verdicts, effort)
    if len(line) == 1 and _is_forcing(board, chess.Move.from_uci(line[0])):
        return None
    overall = overall_verdict(board, verdicts)
    asks = asks or suggested_asks(board, overall)
    card = Card(
        card_id="",
        fen=board.fen(en_passant="legal"),
        asks=asks,
        motifs=(MotifTag(motif, deciding[0].side),),
        factors={factor: key for ask in asks for factor, key in ASKS[ask].built_key(overall).items()},
        line=line,
        origin=candidate.origin,
        evidence={motif: _evidence([finding for finding in deciding if finding.motif == motif])},
    )
    by_epd = {one.epd: one for one in judged}
    card = ended(card, by_epd)
    checked = checked_by(card.moves_to_find(), by_epd)
    card = replace(card, checked=f"{checked}, {today.isoformat()}")
    asked = tuple(judged[: len(card.moves_to_find())])
    return BuiltCard(CardEntry(card, headers_of(candidate.game), _tempting_moves(board, verdicts)), asked)


def _own_findings(board: chess.Board, motif: str | None = None) -> list[Finding]:
    """The findings that the side to move profits from, of one motif or of all motifs."""
    return [
        finding for finding in find_in([board], motif)[0] if finding.side == chess.COLOR_NAMES[board.turn]
    ]


def _promising(board: chess.Board, findings: Sequence[Finding]) -> Inquiry[bool]:
    """Whether in a quick search the best move could need one of the findings. Most candidates fail here."""
    quick = yield from glance_at(board, QUICK_NODES)
    if quick.score < WORST_SCORE or not quick.line:
        return False
    best = chess.Move.from_uci(quick.line[0])
    return any(not needs_no_motif(board, best, finding) for finding in findings)


def _deciding(
    board: chess.Board, verdicts: PositionVerdicts, findings: Sequence[Finding], slack: int
) -> list[Finding]:
    """The findings that every holding move exploits. Empty if too many moves hold or the position is lost."""
    holding = verdicts.holding()
    if verdicts.moves[verdicts.best].score < WORST_SCORE or len(holding) > MOST_HOLDING + slack:
        return []
    best = chess.Move.from_uci(verdicts.best)
    moves = {uci: chess.Move.from_uci(uci) for uci in holding}
    left = {  # for each finding, the moves that do not exploit it at once: what follows them decides
        place: [uci for uci, move in moves.items() if not exploits_at_once(board, move, finding)]
        for place, finding in enumerate(findings)
        if not needs_no_motif(board, best, finding)
    }
    unclear = [uci for uci in holding if any(uci in later for later in left.values())]
    used = dict(zip(unclear, uses_of_moves(board, verdicts, unclear), strict=True)) if unclear else {}
    return [
        findings[place]
        for place, later in left.items()
        if all(exploits_in_time(used[uci], findings[place]) for uci in later)
    ]


def can_be_trusted(verdicts: PositionVerdicts) -> bool:
    """Whether a card may be made: all searches agree, or the engine is weak and the card is unverified."""
    return verdicts.settled or not strong_enough(verdicts.engine, verdicts.least_depth)


def line_to_find(
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
        if not can_be_trusted(following):
            break
        if len(following.holding()) > MOST_HOLDING or board.legal_moves.count() <= MOST_HOLDING:
            break
        line += [replies[0], following.best]
        judged.append(following)
    return tuple(line), judged


def _is_forcing(board: chess.Board, move: chess.Move) -> bool:
    return board.is_capture(move) or board.gives_check(move)


def overall_verdict(board: chess.Board, verdicts: PositionVerdicts) -> Verdict:
    """Who stands better, and how clearly, by the best move."""
    best = verdicts.moves[verdicts.best].score
    return verdict_from_expected(best if board.turn == chess.WHITE else 1.0 - best)


def suggested_asks(board: chess.Board, overall: Verdict) -> tuple[str, ...]:
    """The asks that suit a position, given the engine's verdict on it."""
    explanation = explain(board)
    return in_order(ask.id for ask in ASKS.values() if ask.suggested(explanation, overall))


def _evidence(findings: Sequence[Finding]) -> tuple[str, ...]:
    """The squares of the actors and targets, in the order a1, b1, ... h8."""
    names = {name for finding in findings for name in (*finding.actors, *finding.targets)}
    return tuple(sorted(names, key=chess.parse_square))


def _tempting_moves(board: chess.Board, verdicts: PositionVerdicts) -> tuple[Variation, ...]:
    """Moves that fail but look good, captures and checks first, each with its refutation.

    They have no NAG: a NAG would count as the coach's word, which decides even against later verdicts.
    """
    failing = [
        move for move in verdicts.moves if verdicts.quality(move) == "fails" and verdicts.moves[move].line
    ]

    def temptation(uci: str) -> tuple[bool, float]:
        move = chess.Move.from_uci(uci)
        return board.is_capture(move) or board.gives_check(move), verdicts.moves[uci].score

    chosen = sorted(failing, key=temptation, reverse=True)[:MOST_VARIATIONS]
    return tuple(Variation(0, (move, *verdicts.moves[move].line[:3])) for move in chosen)
