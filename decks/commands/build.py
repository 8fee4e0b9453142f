"""`rondeau build`: makes cards from games, checks them with an engine, and adds them to a deck folder."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

from decks.asks.catalogue import ASKS
from decks.commands import SUMMARIES, options
from decks.commands.terminal import MESSAGE_LIMIT, warn
from decks.commands.work_bar import work_bar
from patterns.reading.text import counted, safe

if TYPE_CHECKING:
    from decks.build.cards_from_games import Fell
    from decks.tasks.card import Card
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
    from collections import Counter
    from datetime import date
    from itertools import chain

    from decks.build.candidates import candidates
    from decks.build.cards_from_games import build_cards
    from decks.build.slips import by_motif, slips
    from decks.build.variety import Known
    from decks.cards.built_file import note_built, read_built
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
        cards_here = old.cards if old else ()
        known = Known(read_built(folder), chain(cards_here, _cards_elsewhere(scorebook, folder)))
        made = 0
        fallen: Counter[Fell] = Counter()
        failure = None

        def shown(made: int, tested: int) -> None:
            """Show the work: the rest is as much for each card as so far."""
            left = engines.answered / made * (cards - made) if made else None
            note = counted(engines.answered, "position")
            report(made, cards, searched=engines.searched, left=left, note=note)

        try:
            missed = slips(found.shown, engines, found.order, lambda: shown(made, 0))
            for built in build_cards(
                chain(map(by_motif, missed), [found.queues]),
                found.order,
                engines,
                cards,
                date.today(),
                asks=read_asks(dict.fromkeys(asks)) if asks else (),
                known=known,
                effort=engines.effort,
                fallen=fallen,
                progress=shown,
            ):
                if old is None and not made:
                    new_deck(folder, DeckSettings(new_deck_id(), title or folder.resolve().name))
                add_cards(folder, [built.entry], built.verdicts, set(MOTIFS))
                note_built(folder, [built.entry.card.board.epd()])
                made += 1
        except EngineError as error:
            failure = error
        name = engines.name
    if failure is not None and not made:
        raise failure
    candidate_count = made + fallen.total()
    judged = f"of {counted(candidate_count, 'candidate')}, judged by {name or 'nobody'}"
    click.echo(f"{counted(made, 'card')} added to {safe(folder)}, {judged}")
    if failure is not None:
        raise failure
    if made < cards and fallen:
        warn(_table(fallen))
    if not made:
        why = "no candidate held up" if candidate_count else "no position of these games is a candidate"
        warn(f"{why}: try other games, more motifs, or another player")
    if faults:
        warn(f"{counted(len(faults), 'unreadable game')} left out")
        raise click.exceptions.Exit(1)


def _cards_elsewhere(scorebook: Path, folder: Path) -> Iterator[Card]:
    """The cards of the other decks that the scorebook knows. A deck that can't be read is passed over."""
    from decks.cards.deck import read_deck
    from decks.scorebook.book import Scorebook, ScorebookError

    try:
        with Scorebook.open(scorebook) as book:
            folders = [Path(other) for _, _, other in book.decks()]
    except ScorebookError:
        return  # the engines have said so already, or will
    for other in folders:
        if other != folder.resolve():
            yield from (game.entry.card for game in read_deck(other).cards)


def _table(fallen: Mapping[Fell, int]) -> str:
    """How many candidates became no card, by reason, the commonest first."""
    rows = sorted(fallen.items(), key=lambda row: (-row[1], row[0].value))
    width = len(str(rows[0][1]))
    return "\n".join(
        ["candidates that became no card:", *(f"  {count:{width}}  {why.value}" for why, count in rows)]
    )


def _readable(source: Path, faults: list[str]) -> Iterator[Game]:
    """The games that can be read. The others are added to `faults`."""
    from patterns.reading.pgn import Game, read_games

    for game in read_games(source):
        if isinstance(game, Game):
            yield game
        else:
            faults.append(f"{safe(source)}: {safe(game, MESSAGE_LIMIT)}")
