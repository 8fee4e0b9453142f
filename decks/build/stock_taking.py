"""Positions for taking stock, chosen for the balance of their factors.

They are quiet and settled. A third of them is level, in a third the side to move stands better, in a third
worse. Of the factors that a short ballot asks for, at least one speaks against the verdict; where it is
level, there is one for each side. So nobody gets through by marking every row alike.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import date
from functools import partial
from itertools import islice
from typing import NamedTuple

import chess
import numpy as np

from decks.asks.assess import ASK, score_assess
from decks.build.candidates import Candidate, is_middlegame_decision, is_past_opening
from decks.build.choice import Fell
from decks.build.inquiries import Engines, Inquiry, glance_at
from decks.build.making import BuildProgress, make_cards
from decks.build.new_card import BuiltCard, is_forcing
from decks.build.origins import headers_of
from decks.build.slips import GLANCE_NODES
from decks.build.variety import Known
from decks.cards.cards_file import CardEntry
from decks.cards.deck_check import searched_by
from decks.tasks.ballot import VERDICT_CELLS, cell_words, fold, short_rows
from decks.tasks.card import Card
from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.engines.scores import Evaluation, verdict_from_expected
from patterns.factors.assessment import (
    Assessment,
    accepted,
    assess,
    assess_boards,
    right_strengths,
    without_reasons,
)
from patterns.proof.quiet import is_quiet, is_settled
from patterns.reading.pgn import Game, boards_of, sides_of
from patterns.words.verdicts import Verdict, row_title
from patterns.words.wording import listed

STANDINGS = ("level", "better", "worse")
"""How the side to move stands. Each has a third of the cards, so that the turn tells nothing."""

GAMES_AT_ONCE = 50
"""Games whose positions are counted together: some thousand positions."""

ALIKE_EARNS = 0.5
"""A ballot with the same cell in every row must score less: from here on it would not be `missed`."""

PLIES = 18
"""Plies of the search that sets the key."""


def stock_takings(games: Iterable[Game], player: str | None = None) -> dict[str, list[Candidate]]:
    """Candidates by standing, those with the clearest verdict first. The program's own count chooses them.

    A game gives at most one for each standing and side to move. `player`: only positions where this player is
    to move.
    """
    games, chosen = iter(games), list[_Counted]()
    while batch := list(islice(games, GAMES_AT_ONCE)):
        best: dict[tuple[int, str, chess.Color], _Counted] = {}
        for one in _counted([position for game in batch for position in _decisions(game, player)]):
            place = id(one.position.game), one.position.motif, one.position.board.turn
            best[place] = min(best.get(place, one), one, key=_Counted.rank)
        chosen += best.values()
    chosen.sort(key=_Counted.rank)
    found: dict[str, list[Candidate]] = {standing: [] for standing in STANDINGS}
    for one in chosen:
        found[one.position.motif].append(one.position)
    return found


def stock_cards(
    candidates: Mapping[str, list[Candidate]],
    engines: Engines,
    wanted: int,
    today: date,
    *,
    known: Known | None = None,
    fallen: Counter[Fell] | None = None,
    progress: BuildProgress | None = None,
) -> Iterator[BuiltCard]:
    """Cards from what `stock_takings` finds, a third of them for each standing. The rest as `make_cards`."""
    make = partial(card_of, engines=engines, today=today)
    third = -(-wanted // len(STANDINGS))
    return make_cards(
        [candidates],
        STANDINGS,
        engines,
        wanted,
        make,
        most=third,
        known=known,
        fallen=fallen,
        progress=progress,
    )


class _Counted(NamedTuple):
    """A position, how clear its verdict is, and the most that a ballot with one cell everywhere scores."""

    position: Candidate
    strength: int
    alike: float

    def rank(self) -> tuple[int, float]:
        return -self.strength, self.alike


def _decisions(game: Game, player: str | None) -> Iterator[Candidate]:
    sides = {"white", "black"} if player is None else set(sides_of(game, player))
    for ply, board in enumerate(boards_of(game) if sides else ()):
        asked = chess.COLOR_NAMES[board.turn] in sides and is_past_opening(game, ply)
        if asked and is_middlegame_decision(board):
            yield Candidate(game, ply, board, "")


def _counted(positions: list[Candidate]) -> Iterator[_Counted]:
    """Those of the positions that suit a ballot by the program's own count, with their standings by it."""
    if not positions:
        return
    view, rows = View(Positions.from_boards([one.board for one in positions])), np.arange(len(positions))
    assessments = assess(view)
    for row in np.flatnonzero(is_settled(view, rows) & is_quiet(view, rows, beyond=0)).tolist():
        one, counted = positions[row], without_reasons(assessments, row)
        if not against(counted, counted.verdict):
            continue
        alike = most_by_one_cell(counted, counted.verdict)
        if alike < ALIKE_EARNS:
            ahead = counted.verdict.signed * (1 if one.board.turn == chess.WHITE else -1)
            standing = "level" if ahead == 0 else "better" if ahead > 0 else "worse"
            yield _Counted(replace(one, motif=standing), counted.verdict.strength, alike)


def against(assessment: Assessment, verdict: Verdict) -> list[str]:
    """The factors on the short ballot that speak against a verdict, in the order of their weight.

    Against a level one speak those of either side, if there are some of both.
    """
    asked = {factor.factor: factor.verdict.signed for factor in assessment.factors}
    signed = {
        factor: asked[factor] for factor in assessment.deciding if factor in short_rows(assessment.deciding)
    }
    if verdict.signed:
        return [factor for factor, ahead in signed.items() if ahead * verdict.signed < 0]
    speak = [factor for factor, ahead in signed.items() if ahead]
    return speak if len({signed[factor] > 0 for factor in speak}) == 2 else []


def most_by_one_cell(assessment: Assessment, key: Verdict) -> float:
    """The score of the best short ballot with the same cell in every row. `key`: that of the verdict."""
    rows = short_rows(assessment.deciding)
    computed = {factor.factor: factor.verdict for factor in assessment.factors}
    near = accepted(assessment)
    ballots = ({row: fold(row, cell) for row in rows} for cell in VERDICT_CELLS)
    return max(score_assess(computed, one, {"verdict": key}, near, rows).score for one in ballots)


def card_of(candidate: Candidate, engines: Engines, today: date) -> Inquiry[BuiltCard | Fell]:
    """The card made from one position, or why there is none. Two searches must agree on the verdict."""
    board = candidate.board
    quick = yield from glance_at(board, GLANCE_NODES)
    key = verdict_from_expected(_for_white(board, quick))
    (assessment,) = assess_boards([board])
    counted = assessment.verdict
    if key.side != counted.side or abs(key.signed - counted.signed) > 1:
        return Fell.COUNTED_OTHERWISE
    deep = yield from glance_at(board, plies=PLIES)
    if right_strengths(_for_white(board, deep)) != {key.signed}:
        return Fell.NOT_SETTLED
    if not deep.line or is_forcing(board, chess.Move.from_uci(deep.line[0])):
        return Fell.NOT_QUIET
    if most_by_one_cell(assessment, key) >= ALIKE_EARNS:
        return Fell.GUESSABLE
    card = Card(
        card_id="",
        fen=board.fen(en_passant="legal"),
        asks=(ASK.id,),
        factors={"verdict": key},
        origin=candidate.origin,
        chosen=f"{cell_words(key.signed)}; against it: {listed(map(row_title, against(assessment, key)))}",
        checked=f"{searched_by(engines.name, PLIES)}, {today.isoformat()}",
    )
    return BuiltCard(CardEntry(card, headers_of(candidate.game)), ())


def _for_white(board: chess.Board, found: Evaluation) -> float:
    return found.score if board.turn == chess.WHITE else 1.0 - found.score
