"""`rondeau build`: makes cards from games, checks them with an engine, and adds them to a deck folder."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from decks.asks.catalogue import ASKS
from decks.commands import SUMMARIES, options
from decks.commands.terminal import MESSAGE_LIMIT, warn
from decks.commands.work_bar import work_bar
from patterns.reading.text import counted, safe

if TYPE_CHECKING:
    from patterns.reading.pgn import Game

BUILT_ASKS = tuple(ask.id for ask in ASKS.values() if ask.asks_of_a_position)
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
    "--motif", "motifs", metavar="ID", multiple=True, help="Only cards about this motif (may be repeated)."
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
    cards: int,
    title: str | None,
    engine: str | None,
    depth: int | None,
    workers: int | None,
    scorebook: Path,
) -> None:
    from datetime import date
    from itertools import chain

    from decks.build.candidates import candidates
    from decks.build.cards_from_games import build_cards
    from decks.cards.deck import Deck, add_cards, check_free, is_deck, new_deck
    from decks.cards.folder import reserved
    from decks.cards.settings import DeckSettings, new_deck_id
    from decks.cards.tags import read_asks
    from decks.commands.engines import CommandEngines
    from patterns.arguments import near_motifs
    from patterns.catalogue import MOTIFS
    from patterns.engines.judging import EngineError
    from patterns.scan import scan

    unknown = [motif for motif in motifs if motif not in MOTIFS]
    if unknown:
        told = "\n".join(f"no such motif: {safe(motif)}{near_motifs(motif)}" for motif in unknown)
        raise click.UsageError(f"{told} (`rondeau motifs` lists them)")
    if not is_deck(folder):
        check_free(folder)
    faults: list[str] = []
    with (
        reserved(folder),
        CommandEngines(engine, depth, workers, scorebook) as engines,
        work_bar("Building cards") as report,
    ):
        old = Deck.open(folder, set(MOTIFS)) if is_deck(folder) else None
        games = chain.from_iterable(_readable(source, faults) for source in sources)
        found = candidates(scan(games), motifs or list(MOTIFS), player)
        for fault in faults:
            warn(fault)
        taken = frozenset(card.board.epd() for card in old.cards) if old else frozenset()
        made = 0
        failure = None

        def shown(made: int, tested: int) -> None:
            """Show the work: the rest is as much for each card as so far."""
            left = engines.answered / made * (cards - made) if made else None
            note = counted(engines.answered, "position")
            report(made, cards, searched=engines.searched, left=left, note=note)

        try:
            for built in build_cards(
                found,
                engines,
                cards,
                date.today(),
                asks=read_asks(dict.fromkeys(asks)) if asks else (),
                taken=taken,
                effort=engines.effort,
                progress=shown,
            ):
                if old is None and not made:
                    new_deck(folder, DeckSettings(new_deck_id(), title or folder.resolve().name))
                add_cards(folder, [built.entry], built.verdicts, set(MOTIFS))
                made += 1
        except EngineError as error:
            failure = error
        name = engines.name
    if failure is not None and not made:
        raise failure
    candidate_count = sum(map(len, found.values()))
    judged = f"of {counted(candidate_count, 'candidate')}, judged by {name or 'nobody'}"
    click.echo(f"{counted(made, 'card')} added to {safe(folder)}, {judged}")
    if failure is not None:
        raise failure
    if not made:
        why = "no candidate held up" if candidate_count else "no position of these games is a candidate"
        warn(f"{why}: try other games, more motifs, or another player")
    if faults:
        warn(f"{counted(len(faults), 'unreadable game')} left out")
        raise click.exceptions.Exit(1)


def _readable(source: Path, faults: list[str]) -> Iterator[Game]:
    """The games that can be read. The others are added to `faults`."""
    from patterns.reading.pgn import Game, read_games

    for game in read_games(source):
        if isinstance(game, Game):
            yield game
        else:
            faults.append(f"{safe(source)}: {safe(game, MESSAGE_LIMIT)}")
