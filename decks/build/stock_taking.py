"""Positions for taking stock, chosen for the balance of their factors.

They are quiet and settled. A third of them is level, in a third the side to move stands better, in a third
worse. Of the factors that a short ballot asks for, some speak for White and some for Black. So a ballot with
the same cell in every row does not pass, not even if it is the right verdict. Nor does a ballot with the same
cells on every card of a deck (`guessing.py`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import date
from functools import partial
from itertools import islice
from operator import itemgetter

import chess
import numpy as np

from decks.asks.assess import ASK
from decks.asks.assess_mark import score_assess
from decks.build.ballot_key import PLIES, deep_search, is_confirmed, quick_key
from decks.build.candidates import Candidate, is_middlegame_decision, is_past_opening
from decks.build.choice import Fell
from decks.build.guessing import Ballot, Guesses, ballot_of
from decks.build.inquiries import Inquiry, NamedEngines
from decks.build.making import BuildProgress, make_cards
from decks.build.new_card import BuiltCard
from decks.build.origins import headers_of
from decks.build.variety import Known
from decks.cards.cards_file import CardEntry
from decks.cards.deck_check import searched_by
from decks.tasks.ballot import VERDICT_CELLS, cell_words, fold, short_rows
from decks.tasks.card import Card
from decks.tasks.lines import is_forcing
from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.engines.quiet_lines import quiet_line
from patterns.factors.assessment import (
    Assessment,
    accepted,
    assess,
    assess_boards,
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

ALIKE_EARNS = 0.4
"""A ballot with the same cell in every row must score less. It is far from `found` then."""

MOST_APART = 1
"""Strengths between the search's verdict and the count's. With more, the reasons would contradict the key."""

LINE_PLIES = 6
"""Plies of its line that the card shows: three moves of each side, and on until the position is quiet."""


def stock_takings(games: Iterable[Game], player: str | None = None) -> dict[str, list[Candidate]]:
    """Candidates by standing, as the program's own count has it; the hardest to guess first.

    A game gives at most one for each standing and side to move. `player`: only positions where this player is
    to move.
    """
    games, chosen = iter(games), list[tuple[float, Candidate]]()
    while batch := list(islice(games, GAMES_AT_ONCE)):
        best: dict[tuple[int, str, chess.Color], tuple[float, Candidate]] = {}
        for alike, one in _counted([position for game in batch for position in _decisions(game, player)]):
            place = id(one.game), one.motif, one.board.turn
            if place not in best or alike < best[place][0]:
                best[place] = alike, one
        chosen += best.values()
    chosen.sort(key=itemgetter(0))
    return {how: [one for _, one in chosen if one.motif == how] for how in STANDINGS}


def stock_cards(
    candidates: Mapping[str, list[Candidate]],
    engines: NamedEngines,
    wanted: int,
    today: date,
    *,
    known: Known | None = None,
    fallen: Counter[Fell] | None = None,
    progress: BuildProgress | None = None,
) -> Iterator[BuiltCard]:
    """Cards from what `stock_takings` finds, a third of them for each standing. The rest as `make_cards`.

    As far as there are candidates, no ballot marked without a look at the positions does well on them.
    """
    make = partial(card_of, engines=engines, today=today)
    third = -(-wanted // len(STANDINGS))
    guesses = Guesses()
    cards = make_cards(
        [candidates],
        STANDINGS,
        engines,
        wanted,
        make,
        most=third,
        known=known,
        fallen=fallen,
        suits=lambda built: guesses.suits(_ballot(built)),
        progress=progress,
    )
    for built in cards:
        guesses.ballots.append(_ballot(built))
        yield built


def _ballot(built: BuiltCard) -> Ballot:
    card = built.entry.card
    (assessment,) = assess_boards([card.board])
    return ballot_of(assessment, card.factors["verdict"], card.board.turn)


def _decisions(game: Game, player: str | None) -> Iterator[Candidate]:
    sides = {"white", "black"} if player is None else set(sides_of(game, player))
    for ply, board in enumerate(boards_of(game) if sides else ()):
        asked = chess.COLOR_NAMES[board.turn] in sides and is_past_opening(game, ply)
        if asked and is_middlegame_decision(board):
            yield Candidate(game, ply, board, "")


def _counted(positions: list[Candidate]) -> Iterator[tuple[float, Candidate]]:
    """Those of the positions that suit a ballot by the program's own count, with their standings by it.

    Before each, the most that a ballot scores which has the same cell in every row, or one side on material
    and the other side in all other rows.
    """
    if not positions:
        return
    view, rows = View(Positions.from_boards([one.board for one in positions])), np.arange(len(positions))
    assessments = assess(view)
    for row in np.flatnonzero(is_settled(view, rows) & is_quiet(view, rows, beyond=0)).tolist():
        one, counted = positions[row], without_reasons(assessments, row)
        if {"white", "black"} <= {verdict.side for verdict in _asked(counted).values()}:
            alike = most_by_one_cell(counted, counted.verdict)
            if alike < ALIKE_EARNS:
                alike = max(alike, most_against_material(counted, counted.verdict))
                yield alike, replace(one, motif=standing(one.board.turn, counted.verdict))


def standing(side: chess.Color, verdict: Verdict) -> str:
    """How a side stands: one of STANDINGS."""
    if verdict.side == "level":
        return "level"
    return "better" if verdict.side == chess.COLOR_NAMES[side] else "worse"


def _asked(assessment: Assessment) -> dict[str, Verdict]:
    """The factors that a short ballot asks for."""
    rows = short_rows(assessment.deciding)
    return {one.factor: one.verdict for one in assessment.factors if one.factor in rows}


def most_by_one_cell(assessment: Assessment, key: Verdict) -> float:
    """The score of the best short ballot with the same cell in every row. `key`: that of the verdict."""
    rows = (*_asked(assessment), "verdict")
    return _most(assessment, key, [{row: fold(row, cell) for row in rows} for cell in VERDICT_CELLS])


def most_against_material(assessment: Assessment, key: Verdict) -> float:
    """The same for ballots with the side that is ahead on material, and the other side on all else.

    Such ballots do well where one side has something for its material, as many positions that suit have it.
    """
    ahead = next(one.balance for one in assessment.factors if one.factor == "material") >= 0
    side = 1 if ahead else -1
    others = {**dict.fromkeys(_asked(assessment), -side), "material": side}
    return _most(assessment, key, [{**others, "verdict": cell} for cell in VERDICT_CELLS])


def _most(assessment: Assessment, key: Verdict, ballots: Iterable[Mapping[str, int]]) -> float:
    asked, near = _asked(assessment), accepted(assessment)
    rows = (*asked, "verdict")
    return max(score_assess(asked, one, {"verdict": key}, near, rows).score for one in ballots)


def card_of(candidate: Candidate, engines: NamedEngines, today: date) -> Inquiry[BuiltCard | Fell]:
    """The card made from one position, or why there is none. Two searches must agree on the verdict."""
    board = candidate.board
    key = yield from quick_key(board)
    (assessment,) = assess_boards([board])
    if abs(key.signed - assessment.verdict.signed) > MOST_APART:
        return Fell.COUNTED_OTHERWISE
    deep = yield from deep_search(board)
    if not is_confirmed(key, board, deep):
        return Fell.NOT_SETTLED
    searched = [chess.Move.from_uci(move) for move in deep.line]
    if not searched or is_forcing(board, searched[0]):
        return Fell.NOT_QUIET
    if most_by_one_cell(assessment, key) >= ALIKE_EARNS:
        return Fell.GUESSABLE
    card = Card(
        card_id="",
        fen=board.fen(en_passant="legal"),
        asks=(ASK.id,),
        factors={"verdict": key},
        line=tuple(move.uci() for move in quiet_line(board, searched, LINE_PLIES)),
        origin=candidate.origin,
        chosen=_why(assessment, key),
        checked=f"{searched_by(engines.name, PLIES)}, {today.isoformat()}",
    )
    return BuiltCard(CardEntry(card, headers_of(candidate.game)), (), standing(board.turn, key))


def _why(assessment: Assessment, key: Verdict) -> str:
    """The verdict, and what speaks for whom, in words."""
    speaks = []
    for side in ("white", "black"):
        factors = [row_title(one) for one, verdict in _asked(assessment).items() if verdict.side == side]
        speaks.append(f"{listed(factors)} for {side.capitalize()}")
    return f"{cell_words(key.signed)}: {', '.join(speaks)}"
