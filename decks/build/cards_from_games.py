"""Making cards from games: candidates tried with an engine until enough hold up.

A candidate becomes a card when its motif matters: the side to move stands no worse than level with best play,
few moves hold, every one of them takes up the motif, and the best is not plain to see without it. The line
goes on as long as the moves stay that telling; a capture or a check alone is no line. What the engine said
of every legal move goes with the card.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Protocol

import chess

from decks.asks.catalogue import ASKS, in_order
from decks.build.candidates import Candidate
from decks.build.ranking import ranked
from decks.build.relevance import plain_to_see, taken_up, uses_of_moves
from decks.cards.cards_file import CardEntry
from decks.cards.deck_check import PositionJudge, checked_by
from decks.cards.movetext import Try
from decks.tasks.card import Card, MotifTag
from patterns.detect import find_in
from patterns.engines.judging import Evaluation
from patterns.engines.scores import PositionVerdicts, verdict_from_expected
from patterns.explanation import explain
from patterns.motifs.findings import Finding
from patterns.words.verdicts import Verdict

MOST_HOLDING = 3
"""More moves that hold than this, and there is little to find."""

WORST_SCORE = 0.45
"""Expected score the best move must keep: below it the card would teach how to lose more slowly."""

MOST_STUDENT_MOVES = 3
"""Moves asked of the student on one card: as deep as club players calculate (common practice, no source)."""

MOST_TRIES = 2
"""Wrong tries, with their refutations, written out for the reader of the deck."""

POOR_MOVE, GOOD_MOVE = 2, 1
"""NAGs of the PGN standard, section 10."""

GLANCE_NODES = 10_000
"""Positions searched at the first glance: hundredths of a second for a strong engine, one for a slow one."""

Tried = Callable[[int, int], None]
"""Told after each candidate: how many cards are made, how many candidates were tried."""


class BuildJudge(PositionJudge, Protocol):
    """What building needs of `patterns.engines.judging.Judge`."""

    def survey(self, board: chess.Board) -> PositionVerdicts:
        """A first, light verdict for every legal move."""
        ...

    def evaluate(
        self, board: chess.Board, *, depth: int | None = None, nodes: int | None = None
    ) -> Evaluation:
        """The position's score for the side to move, and the line expected."""
        ...


@dataclass(frozen=True)
class BuiltCard:
    """A card ready to be added to a deck, with the verdicts of the positions where the student moves."""

    entry: CardEntry
    verdicts: tuple[PositionVerdicts, ...]


def build_cards(
    candidates: Mapping[str, Sequence[Candidate]],
    judge: BuildJudge,
    wanted: int,
    today: date,
    *,
    asks: tuple[str, ...] = (),
    taken: frozenset[str] = frozenset(),
    wide: int | None = None,
    deep: int | None = None,
    tried: Tried | None = None,
) -> Iterator[BuiltCard]:
    """Cards, until `wanted` are made or the candidates are used up.

    `candidates`: by motif, in the order in which the motifs have their turn; it is always the turn of the
    first that has the fewest cards so far. A card is about the motif that explains its key best, and one game
    gives one card a motif at most. `asks`: what every card asks for; none: whatever each ask suggests.
    `taken`: EPDs not to ask about again. `today`: the date of the check. Each candidate gets a glance before
    it is judged.
    """
    queues = {motif: list(queue) for motif, queue in candidates.items()}
    order = list(queues)
    seen, used = set(taken), set[tuple[str, object]]()
    cards: Counter[str] = Counter()
    tries = 0
    while queues and cards.total() < wanted:
        turn = min(queues, key=cards.__getitem__)
        if not queues[turn]:
            del queues[turn]
            continue
        candidate = queues[turn].pop(0)
        game = (candidate.game.line, candidate.game.moves)  # several files have a game on one line
        if (turn, game) in used or candidate.board.epd() in seen:
            continue
        built = card_of(candidate, judge, today, order=order, asks=asks, wide=wide, deep=deep)
        tries += 1
        if built is not None:
            (tag,) = built.entry.card.motifs
            place = (tag.motif, game)
            if place in used:
                built = None
            else:
                cards[tag.motif] += 1
                used.add(place)
                seen.add(candidate.board.epd())
        if tried is not None:
            tried(cards.total(), tries)
        if built is not None:
            yield built


def card_of(
    candidate: Candidate,
    judge: BuildJudge,
    today: date,
    *,
    order: Sequence[str] = (),
    asks: tuple[str, ...] = (),
    wide: int | None = None,
    deep: int | None = None,
) -> BuiltCard | None:
    """The card of one candidate, or None where its motif does not decide what to play.

    `order`: the motifs that cards are wanted of, those to prefer first; without it the candidate's alone. The
    card is about the one that explains its key best. There is none where a motif that is not wanted explains
    the key better.
    """
    board, order = candidate.board, order or (candidate.motif,)
    own = _ours(board, candidate.motif)
    if not _promising(board, judge, own) or not _decides(board, judge.survey(board), own, slack=1):
        return None
    verdicts = judge.judge(board, wide, deep)
    deciding = _decides(board, verdicts, _ours(board), slack=0)
    if candidate.motif not in {finding.motif for finding in deciding}:
        return None
    (uses,) = uses_of_moves(board, verdicts, [verdicts.best])
    motif, *_ = ranked(board, chess.Move.from_uci(verdicts.best), uses, deciding, order)
    if motif not in order:
        return None
    line, judged = _line(board, verdicts, judge, wide, deep)
    if len(line) == 1 and _is_forcing(board, chess.Move.from_uci(line[0])):
        return None
    white = verdicts.moves[verdicts.best].score
    whole = verdict_from_expected(white if board.turn == chess.WHITE else 1.0 - white)
    asks = asks or suggested_asks(board, whole)
    card = Card(
        card_id="",
        fen=board.fen(en_passant="legal"),
        asks=asks,
        motifs=(MotifTag(motif, deciding[0].side),),
        factors={factor: key for ask in asks for factor, key in ASKS[ask].built_key(whole).items()},
        line=line,
        origin=candidate.origin,
        evidence={motif: _evidence([finding for finding in deciding if finding.motif == motif])},
    )
    by_epd = {one.epd: one for one in judged}
    checked = checked_by(card.moves_to_find(), by_epd)
    card = replace(card, checked=f"{checked}, {today.isoformat()}")
    nags = {1: (GOOD_MOVE,)} if len(verdicts.holding()) == 1 else {}
    headers = {
        name: value
        for name, value in candidate.game.headers.items()
        if name in ("Event", "Site", "Date", "Round", "White", "Black")
    }
    headers["Result"] = candidate.game.result
    return BuiltCard(CardEntry(card, headers, _tries(board, verdicts, line), nags), tuple(judged))


def _ours(board: chess.Board, motif: str | None = None) -> list[Finding]:
    """The findings that the side to move profits from, of one motif or of all."""
    return [
        finding for finding in find_in([board], motif)[0] if finding.side == chess.COLOR_NAMES[board.turn]
    ]


def _promising(board: chess.Board, judge: BuildJudge, findings: Sequence[Finding]) -> bool:
    """Whether at a glance the best move takes up a finding: most candidates go no further."""
    glance = judge.evaluate(board, nodes=GLANCE_NODES)
    if glance.score < WORST_SCORE or not glance.line:
        return False
    best = chess.Move.from_uci(glance.line[0])
    return any(not plain_to_see(board, best, finding) for finding in findings)


def _decides(
    board: chess.Board, verdicts: PositionVerdicts, findings: Sequence[Finding], slack: int
) -> list[Finding]:
    """The findings every holding move takes up; none if too many moves hold or all is lost anyway."""
    holding = verdicts.holding()
    if verdicts.moves[verdicts.best].score < WORST_SCORE or len(holding) > MOST_HOLDING + slack:
        return []
    best = chess.Move.from_uci(verdicts.best)
    used = dict(zip(holding, uses_of_moves(board, verdicts, holding), strict=True))
    return [
        finding
        for finding in findings
        if not plain_to_see(board, best, finding)
        and all(taken_up(board, chess.Move.from_uci(move), uses, finding) for move, uses in used.items())
    ]


def _line(
    board: chess.Board, verdicts: PositionVerdicts, judge: BuildJudge, wide: int | None, deep: int | None
) -> tuple[tuple[str, ...], list[PositionVerdicts]]:
    """The main line, ending with a move of the student's, and the verdicts where the student moves."""
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
        following = judge.judge(board, wide, deep)
        if len(following.holding()) > MOST_HOLDING or board.legal_moves.count() <= MOST_HOLDING:
            break
        line += [replies[0], following.best]
        judged.append(following)
    return tuple(line), judged


def _is_forcing(board: chess.Board, move: chess.Move) -> bool:
    return board.is_capture(move) or board.gives_check(move)


def suggested_asks(board: chess.Board, whole: Verdict) -> tuple[str, ...]:
    """The asks that suit a position, by the program's own view of it and the engine's verdict."""
    view = explain(board)
    return in_order(ask.id for ask in ASKS.values() if ask.suggested(view, whole))


def _evidence(findings: Sequence[Finding]) -> tuple[str, ...]:
    """The squares of actors and targets, a1 first."""
    names = {name for finding in findings for name in (*finding.actors, *finding.targets)}
    return tuple(sorted(names, key=chess.parse_square))


def _tries(board: chess.Board, verdicts: PositionVerdicts, line: Sequence[str]) -> tuple[Try, ...]:
    """Tempting moves that fail, captures and checks first, each with its refutation."""
    failing = [
        move for move in verdicts.moves if verdicts.quality(move) == "fails" and verdicts.moves[move].line
    ]

    def temptation(uci: str) -> tuple[bool, float]:
        move = chess.Move.from_uci(uci)
        return board.is_capture(move) or board.gives_check(move), verdicts.moves[uci].score

    chosen = sorted(failing, key=temptation, reverse=True)[:MOST_TRIES]
    return tuple(Try(0, (move, *verdicts.moves[move].line[:3]), (POOR_MOVE,)) for move in chosen)
