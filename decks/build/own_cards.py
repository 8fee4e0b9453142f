"""Cards from a player's own games: the episodes that were traced, the costliest first.

The position at the root is asked as `play`: that cures it. If the damage showed only two own moves later or
more, the game's moves around the root are asked as `root`, too: which of them let it in, and what it hurt.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date

import chess

from decks.asks import play, root
from decks.build.handouts import uncertain
from decks.build.inquiries import Engines, Inquiries, Inquiry, verdicts_on
from decks.build.new_card import MOST_HOLDING, BuiltCard, built_card, line_to_find, new_card
from decks.build.origins import headers_of, origin_of
from decks.build.tracing import TracedEpisode, TracedGame
from decks.build.variety import Known
from decks.cards.cards_file import CardEntry
from decks.cards.line_end import ended, is_worth_asking
from decks.tasks.card import Card, MotifTag
from decks.tasks.lines import numbered
from patterns.engines.effort import SETTLED, SURVEY, Effort
from patterns.engines.episodes import ScoredMove
from patterns.engines.judging import EngineError
from patterns.reading.pgn import boards_of

SHOWED_LATE = 2
"""Own moves after the root before the damage shows. If it shows sooner, the root is easy to name."""

PLIES_BEFORE = 6
"""Plies of a `root` card before its root: three moves in which it could have been as well."""


@dataclass(frozen=True)
class OwnEpisode:
    """An episode with a root, its game, and what is told of it: the comment of its `root` card."""

    traced: TracedGame
    one: TracedEpisode
    root: ScoredMove
    told: str

    @property
    def chosen(self) -> str:
        """Why it becomes a card, in words."""
        played = numbered(self.root.board, (self.root.move.uci(),))[0]
        return f"{played} was played and loses {self.root.loss:.2f}"

    @property
    def motifs(self) -> tuple[MotifTag, ...]:
        """The motif, of the player if it was overlooked, of the opponent if it was let in."""
        cause = self.one.cause
        if cause is None or cause.use is None:
            return ()
        ours = cause.kind == "overlooked"
        white = self.root.board.turn == (chess.WHITE if ours else chess.BLACK)
        return (MotifTag(cause.use.motif, "white" if white else "black"),)


def own_episodes(
    traced: Iterable[TracedGame], tell: Callable[[TracedGame, TracedEpisode], Sequence[str]]
) -> list[OwnEpisode]:
    """The episodes that have a root, the costliest first. `tell`: puts one in sentences."""
    found = [
        OwnEpisode(game, one, one.episode.root, " ".join(tell(game, one)))
        for game in traced
        for one in game.episodes
        if one.episode.root is not None
    ]
    return sorted(found, key=lambda own: -own.one.episode.cost)


def own_cards(
    episodes: Sequence[OwnEpisode], engines: Engines, today: date, known: Known, effort: Effort = SETTLED
) -> Iterator[BuiltCard]:
    """The cards of the episodes, in their order: of each its `play` card and its `root` card, if there are.

    `known`: positions that must not be asked about again; the new cards are added. The first EngineError is
    raised at the end.
    """
    inquiries = Inquiries[OwnEpisode, "BuiltCard | None"](
        engines, lambda own: play_card(own, today, effort=effort)
    )
    failure = None
    for place, own in enumerate(episodes):
        built = None
        if not known.has(own.root.board):
            built = inquiries.result(own, episodes[place + 1 :])
        if isinstance(built, EngineError):
            failure, built = failure or built, None
        for card in (built, root_card(own)):
            if card is not None and not known.has(card.entry.card.board):
                known.add(card.entry.card)
                yield card
    if failure is not None:
        raise failure


def root_card(own: OwnEpisode) -> BuiltCard | None:
    """The `root` card of an episode, with its factor if it has one. None if the damage showed too soon."""
    ply, showed, game = own.root.ply, own.one.showed, own.traced.seat.game
    if showed is None or showed <= ply + 2 * SHOWED_LATE:
        return None
    begin = max(0, ply - PLIES_BEFORE)
    board = [*boards_of(game)][begin]
    card = Card(
        card_id="",
        fen=board.fen(en_passant="legal"),
        asks=(root.ASK.id,),
        motifs=own.motifs,
        line=tuple(move.uci() for move in game.moves[begin:showed]),
        origin=origin_of(game, begin),
        chosen=own.chosen,
        root=ply - begin + 1,
        comments={ply - begin + 1: own.told},
        own_tags={root.FACTOR_TAG: own.one.factor} if own.one.factor in root.CHOICES else {},
    )
    return BuiltCard(CardEntry(card, headers_of(game)), ())


def play_card(own: OwnEpisode, today: date, effort: Effort = SETTLED) -> Inquiry[BuiltCard | None]:
    """The card that asks for the move at the root. None if its key is no certain, single lesson."""
    board, game = own.root.board, own.traced.seat.game
    survey = yield from verdicts_on(board, SURVEY)
    if len(survey.holding()) > MOST_HOLDING + 1:
        return None
    effort = replace(effort, most_holding=MOST_HOLDING + 1)
    verdicts = yield from verdicts_on(board, effort)
    if uncertain(verdicts) or verdicts.quality(own.root.move.uci()) == "holds":
        return None
    line, judged = yield from line_to_find(board, verdicts, effort)
    card = new_card(
        verdicts, board, line, (), (play.ASK.id,), origin=origin_of(game, own.root.ply), chosen=own.chosen
    )
    by_epd = {one.epd: one for one in judged}
    if not is_worth_asking(card, by_epd):
        return None
    return built_card(ended(replace(card, motifs=own.motifs), by_epd), by_epd, headers_of(game), today)
