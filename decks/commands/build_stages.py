"""Which cards a build makes: about motifs, for taking stock, or about squares."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from functools import partial
from itertools import chain

from decks.asks import play
from decks.build.candidates import Candidate, Found, candidates
from decks.build.cards_from_games import build_cards
from decks.build.count_squares import count_cards
from decks.build.handouts import handout_cards, is_handout
from decks.build.lookalikes import lookalikes, mixed
from decks.build.new_card import BuiltCard
from decks.build.slips import by_motif, slips
from decks.build.stock_taking import stock_cards, stock_takings
from decks.build.variety import Known
from decks.commands.build_run import BuildRun, Work
from patterns.catalogue import MOTIFS
from patterns.reading.pgn import Game


def about_motifs(
    work: Work, motifs: tuple[str, ...], labels: tuple[str, ...], asks: tuple[str, ...]
) -> Iterator[BuiltCard]:
    """Cards about motifs or with a coach's labels; the hand-outs' first, because a coach chose them.

    `motifs`, `asks`: empty: chosen for each card.
    """
    run, engines = work.run, work.engines
    handouts: list[Game] = []
    order = motifs or (() if labels else tuple(MOTIFS))
    found = candidates(work.detector.scanned(_handouts_apart(run.games(), handouts)), order, run.player)
    known = run.known()
    if not run.player:  # in a hand-out no player is to move
        yield from _from_handouts(work, handouts, motifs, labels, asks, known)
    wanted = run.wanted - run.deck.made
    made = partial(
        build_cards,
        order=found.order,
        engines=engines,
        wanted=wanted,
        today=date.today(),
        asks=asks,
        known=known,
        effort=engines.effort,
        fallen=run.fallen,
        progress=work.shown,
        uses_of=work.detector.uses_of_many,
    )

    def seeming() -> Iterator[BuiltCard]:
        """None for asks that go without a move: whether the stroke works is the question."""
        if asks and play.ASK.id not in asks:
            return iter(())
        met = {tag.motif for card in run.deck.cards() for tag in card.motifs}
        motifs = [motif for motif in found.order if motif in met]
        stages = lookalikes(found.shown, engines, motifs, work.shown, work.detector.refuted_in)
        return made(map(by_motif, stages))

    missed = slips(found.shown, engines, found.order, work.shown, work.detector.uses_of_many)
    yield from mixed(made(chain(map(by_motif, missed), _later(found))), seeming, wanted)


def _from_handouts(
    work: Work,
    handouts: Sequence[Game],
    motifs: tuple[str, ...],
    labels: tuple[str, ...],
    asks: tuple[str, ...],
    known: Known,
) -> Iterator[BuiltCard]:
    return handout_cards(
        handouts,
        work.engines,
        date.today(),
        motifs=motifs,
        labels=labels,
        asks=asks,
        known=known,
        effort=work.engines.effort,
        fallen=work.run.fallen,
        progress=work.shown,
    )


def for_stock_taking(work: Work) -> Iterator[BuiltCard]:
    """Cards on which the student takes stock of a quiet position."""
    run = work.run
    return stock_cards(
        stock_takings(run.games(), run.player),
        work.engines,
        run.wanted,
        date.today(),
        known=run.known(),
        fallen=run.fallen,
        progress=work.shown,
    )


def about_squares(run: BuildRun) -> Iterator[BuiltCard]:
    """Cards about squares where a naive count is wrong."""
    taken = {card.board.epd() for card in run.deck.cards()}
    return (BuiltCard(entry, ()) for entry in count_cards(run.games(), run.player, taken))


def _later(found: Found) -> Iterator[Mapping[str, Sequence[Candidate]]]:
    """The candidates that are no slips. There are many, so they are made only if the slips are not enough."""
    yield found.queues


def _handouts_apart(games: Iterable[Game], handouts: list[Game]) -> Iterator[Game]:
    """The games that are not hand-outs. The hand-outs are added to `handouts`."""
    for game in games:
        if is_handout(game):
            handouts.append(game)
        else:
            yield game
