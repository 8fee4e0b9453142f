"""Cards from a player's own games: the episodes that were traced, the costliest first.

The position at the root is asked as `play`: that cures it. If the damage showed only two own moves later or
more, the game's moves around the root are asked as `root`, too: which of them let it in, and what it hurt.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial

from decks.asks import play, root
from decks.build.candidates import Candidate
from decks.build.cause import Cause, cause_of
from decks.build.choice import Fell
from decks.build.inquiries import Engines, Inquiries, Inquiry
from decks.build.new_card import BuiltCard, motif_tag
from decks.build.origins import headers_of, origin_of
from decks.build.play_card import Reason, judged, play_card
from decks.build.tracing import TracedEpisode, TracedGame
from decks.build.variety import Known
from decks.cards.cards_file import CardEntry
from decks.tasks.card import Card, MotifTag
from decks.tasks.lines import numbered
from patterns.catalogue import MOTIFS
from patterns.engines.effort import SETTLED, Effort
from patterns.engines.episodes import LEAST, ScoredMove
from patterns.engines.judging import EngineError
from patterns.engines.scores import PositionVerdicts
from patterns.reading.pgn import boards_of

SHOWED_LATE = 2
"""Own moves after the root before the damage shows. If it shows sooner, the root is easy to name."""

MOST_PLIES = 16
"""Plies from the root until the damage shows. In more, nobody sees what belongs together."""

STANDS_OUT = 0.5
"""What another move of a `root` card may lose, as a share of the root's: else it is as good an answer."""

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
        """The motif, of the player if it was overlooked, of the opponent if it was let in; none that is only
        plain: a card asks for what is proven.
        """
        cause = self.one.cause
        if cause is None or cause.use is None or cause.is_plain:
            return ()
        side = self.root.board.turn if cause.kind == "overlooked" else not self.root.board.turn
        return (motif_tag(cause.use.motif, side),)

    @property
    def is_let_in(self) -> bool:
        """Whether the motif is one that the player let in."""
        return self.one.cause is not None and self.one.cause.kind == "let in"


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


def costliest_motifs(episodes: Iterable[OwnEpisode]) -> list[str]:
    """The motifs that the episodes overlooked or let in, the costliest together first, then by id."""
    costs: Counter[str] = Counter()
    for own in episodes:
        for tag in own.motifs:
            costs[tag.motif] += round(10_000 * own.one.episode.cost)
    return sorted(costs, key=lambda motif: (-costs[motif], motif))


def own_cards(
    episodes: Sequence[OwnEpisode], engines: Engines, today: date, known: Known, effort: Effort = SETTLED
) -> Iterator[BuiltCard]:
    """The cards of the episodes, in their order: of each its `play` card and its `root` card, if there are.

    `known`: positions that must not be asked about again; the new cards are added. The first EngineError is
    raised at the end.
    """
    inquiries = Inquiries[OwnEpisode, "BuiltCard | Fell"](
        engines, lambda own: own_card(own, today, effort=effort)
    )
    failure = None
    for place, own in enumerate(episodes):
        built: BuiltCard | Fell | EngineError = Fell.KNOWN
        if not known.has(own.root.board):
            built = inquiries.result(own, episodes[place + 1 :])
        if isinstance(built, EngineError):
            failure = failure or built
        for card in (built, root_card(own)):
            if isinstance(card, BuiltCard) and not known.has(card.entry.card.board):
                known.add(card.entry.card)
                yield card
    if failure is not None:
        raise failure


def root_card(own: OwnEpisode) -> BuiltCard | None:
    """The `root` card of an episode, with its factor if it has one.

    None if the root alone is no episode, if the damage showed too soon or too late to be gone through, or if
    another move that the card shows loses nearly as much.
    """
    ply, showed, game = own.root.ply, own.one.showed, own.traced.seat.game
    if showed is None or not 2 * SHOWED_LATE < showed - ply <= MOST_PLIES or own.root.loss < LEAST:
        return None
    begin = max(0, ply - PLIES_BEFORE)
    others = (move.loss for move in own.traced.moves if begin <= move.ply < showed and move.ply != ply)
    if max(others, default=0.0) > STANDS_OUT * own.root.loss:
        return None
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


def own_card(own: OwnEpisode, today: date, effort: Effort = SETTLED) -> Inquiry[BuiltCard | Fell]:
    """The card that asks for the move at the root, or why its key is no certain, single lesson.

    It is about the motif that explains the key; where none does, about the one that the move played let in.
    """
    found = yield from judged(own.root.board, effort)
    if isinstance(found, Fell):
        return found
    candidate = Candidate(own.traced.seat.game, own.root.ply, own.root.board, "", is_slip=True)
    return (yield from play_card(candidate, found, partial(_reason, own, candidate), (play.ASK.id,), today))


def _reason(own: OwnEpisode, candidate: Candidate, verdicts: PositionVerdicts) -> Inquiry[Reason | Fell]:
    cause = yield from cause_of(candidate, verdicts, [*(tag.motif for tag in own.motifs), *sorted(MOTIFS)])
    if isinstance(cause, Cause):
        return Reason((cause.tag,), own.chosen)
    if cause is not Fell.NO_MOTIF:
        return cause
    return Reason(own.motifs if own.is_let_in else (), own.chosen)
