"""`rondeau build`: makes cards from games, checks them with an engine, and adds them to a deck folder."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from decks.asks.catalogue import ASKS, in_order
from decks.commands import SUMMARIES, options
from decks.commands.new_cards import NewCards
from patterns.reading.text import safe

BUILT_ASKS = tuple(ask.id for ask in ASKS.values() if ask.asks_of_a_position or ask.asks_of_a_square)
"""The asks of cards made from a single position. The other asks need the moves before it."""
NAMED_ASKS = f"{', '.join(BUILT_ASKS[:-1])} or {BUILT_ASKS[-1]}"


@click.command("build", help=SUMMARIES["build"])
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option(
    "--from",
    "sources",
    metavar="PGN",
    required=True,
    multiple=True,
    type=click.Path(path_type=Path),
    help="A PGN file of games (may be repeated).",
)
@click.option(
    "--motif",
    "motifs",
    metavar="ID",
    multiple=True,
    help="Only cards about this motif, or with coach:WORD, hand-outs marked with it (may be repeated).",
)
@click.option(
    "--ask",
    "asks",
    metavar="ASK",
    multiple=True,
    type=click.Choice(BUILT_ASKS),
    help=f"What the cards ask: {NAMED_ASKS} (may be repeated). Default: chosen for each card.",
)
@click.option(
    "--player", metavar="NAME", help="Only positions where this player (any part of the name) was to move."
)
@click.option(
    "--own", is_flag=True, help="Instead cards from the episodes in which --player lost the thread (`trace`)."
)
@click.option(
    "--cards", metavar="N", type=click.IntRange(1, 1000), default=12, help="Number of cards to make (12)."
)
@click.option("--title", metavar="TEXT", help="Title of a new deck. Default: the folder's name.")
@options.engine
@options.depth
@options.workers
@options.scorebook
def command(
    folder: Path,
    sources: tuple[Path, ...],
    motifs: tuple[str, ...],
    asks: tuple[str, ...],
    player: str | None,
    own: bool,
    cards: int,
    title: str | None,
    engine: str | None,
    depth: int | None,
    workers: int | None,
    scorebook: Path,
) -> None:
    from functools import partial

    from decks.commands.build_run import BuildRun
    from decks.commands.build_stages import about_motifs, about_squares, for_stock_taking
    from decks.commands.engines import CommandEngines

    alone = next((ask for ask in dict.fromkeys(asks) if ASKS[ask].asks_of_a_square), None)
    if alone is None and len(set(asks)) == 1 and ASKS[asks[0]].has_own_positions:
        alone = asks[0]
    if alone and (len(set(asks)) > 1 or motifs):
        raise click.UsageError(f"--ask {alone} goes with no other --ask and with no --motif")
    if own and (not player or motifs or asks):
        raise click.UsageError("--own needs --player, and goes with no --motif and no --ask")
    labels, motifs = _labels_apart(motifs)
    _check_motifs(motifs)
    run = BuildRun(NewCards(folder, title, by_heart=own), sources, player, cards, scorebook)
    if alone and ASKS[alone].asks_of_a_square:
        run.without_engine(about_squares)
        return
    engines = CommandEngines(engine, depth, workers, scorebook)
    if own:
        from decks.commands.build_own import build_own

        assert player is not None
        build_own(run.deck, sources, player, cards, engines, scorebook)
    elif alone:
        run.with_engines(engines, for_stock_taking)
    else:
        run.with_engines(engines, partial(about_motifs, motifs=motifs, labels=labels, asks=in_order(asks)))


def _check_motifs(motifs: Sequence[str]) -> None:
    """A usage error that names those that are no motifs."""
    from patterns.arguments import near_motifs
    from patterns.catalogue import MOTIFS

    unknown = [motif for motif in motifs if motif not in MOTIFS]
    if unknown:
        told = "\n".join(f"no such motif: {safe(motif)}{near_motifs(motif)}" for motif in unknown)
        raise click.UsageError(f"{told} (`rondeau motifs` lists them)")


def _labels_apart(motifs: tuple[str, ...]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The coach's labels, and the motifs. A usage error if a label is not well formed."""
    from decks.cards.tags import check_label
    from decks.tasks.card import LABEL

    labels = tuple(motif for motif in dict.fromkeys(motifs) if motif.startswith(LABEL))
    try:
        for label in labels:
            check_label(label)
    except ValueError as error:
        raise click.UsageError(safe(error)) from error
    return labels, tuple(motif for motif in motifs if not motif.startswith(LABEL))
