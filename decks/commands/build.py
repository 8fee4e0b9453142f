"""`rondeau build`: makes cards from games, checks them with an engine, and adds them to a deck folder."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from decks.asks.catalogue import ASKS, in_order
from decks.commands import SUMMARIES, options
from decks.commands.terminal import MESSAGE_LIMIT, warn
from decks.commands.work_bar import work_bar
from patterns.reading.text import counted, safe
from patterns.words.wording import listed

if TYPE_CHECKING:
    from decks.build.choice import Fell
    from decks.build.new_card import BuiltCard
    from decks.cards.cards_file import CardEntry
    from decks.tasks.card import Card
    from patterns.engines.scores import PositionVerdicts
    from patterns.reading.pgn import Game

ASKS_OF_A_SQUARE = {ask.id for ask in ASKS.values() if ask.asks_of_a_square}
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
    from datetime import date
    from itertools import chain, islice

    from decks.build.candidates import candidates
    from decks.build.cards_from_games import build_cards
    from decks.build.handouts import handout_cards
    from decks.build.slips import by_motif, slips
    from decks.build.variety import Known
    from decks.cards.built_file import read_built
    from decks.cards.deck import check_free, is_deck
    from decks.cards.folder import reserved
    from decks.commands.engines import CommandEngines
    from patterns.catalogue import MOTIFS
    from patterns.engines.judging import EngineError
    from patterns.scan import scan

    if ASKS_OF_A_SQUARE.intersection(asks):
        if len(set(asks)) > 1 or motifs:
            alone = listed(f"--ask {ask}" for ask in sorted(ASKS_OF_A_SQUARE))
            raise click.UsageError(f"{alone} goes with no other --ask and with no --motif")
        _build_about_squares(folder, sources, player, cards, title)
        return
    if own:
        if not player or motifs or asks:
            raise click.UsageError("--own needs --player, and goes with no --motif and no --ask")
        from decks.commands.build_own import build_own

        engines = CommandEngines(engine, depth, workers, scorebook)
        build_own(NewCards(folder, title), sources, player, cards, engines, scorebook)
        return
    labels, motifs = _labels_apart(motifs)
    _check_motifs(motifs)
    if not is_deck(folder):
        check_free(folder)
    faults: list[str] = []
    fallen: Counter[Fell] = Counter()
    stopped: EngineError | KeyboardInterrupt | None = None
    with (
        reserved(folder),
        CommandEngines(engine, depth, workers, scorebook) as engines,
        work_bar("Building cards") as report,
    ):
        deck = NewCards(folder, title)
        games = chain.from_iterable(_readable(source, faults) for source in sources)
        handouts: list[Game] = []
        wanted = motifs or (() if labels else tuple(MOTIFS))
        found = candidates(scan(_handouts_apart(games, handouts)), wanted, player)
        if player:
            handouts.clear()  # in a hand-out no player is to move
        for fault in faults:
            warn(fault)
        known = Known(read_built(folder), chain(deck.cards(), _cards_elsewhere(scorebook, folder)))

        def shown(*_: int) -> None:
            """Show the work: the rest is as much for each card as so far."""
            left = engines.answered / deck.made * (cards - deck.made) if deck.made else None
            note = counted(engines.answered, "position")
            report(deck.made, cards, searched=engines.searched, left=left, note=note)

        def built_cards() -> Iterator[BuiltCard]:
            """The hand-outs' cards first: a coach chose them."""
            yield from handout_cards(
                handouts,
                engines,
                date.today(),
                motifs=motifs,
                labels=labels,
                asks=in_order(asks),
                known=known,
                effort=engines.effort,
                fallen=fallen,
                progress=shown,
            )
            missed = slips(found.shown, engines, found.order, shown)
            yield from build_cards(
                chain(map(by_motif, missed), [found.queues]),
                found.order,
                engines,
                cards - deck.made,
                date.today(),
                asks=in_order(asks),
                known=known,
                effort=engines.effort,
                fallen=fallen,
                progress=shown,
            )

        try:
            for built in islice(built_cards(), cards):
                deck.add(built.entry, built.verdicts)
        except (EngineError, KeyboardInterrupt) as error:
            stopped = error
        name = engines.name
    if stopped is not None and not deck.made:
        raise stopped
    _register(folder, scorebook)
    candidate_count = deck.made + fallen.total()
    judged = f"of {counted(candidate_count, 'candidate')}, judged by {name or 'nobody'}"
    click.echo(f"{counted(deck.made, 'card')} added to {safe(folder)}, {judged}")
    if stopped is not None:
        raise stopped
    if deck.made < cards and fallen:
        warn(_table(fallen))
    if not deck.made:
        why = "no candidate held up" if candidate_count else "no position of these games is a candidate"
        warn(f"{why}: try other games, more motifs, or another player")
    _tell_unreadable(faults)


def _build_about_squares(
    folder: Path, sources: tuple[Path, ...], player: str | None, cards: int, title: str | None
) -> None:
    """Cards about squares, which need no engine: the key is computed from the position."""
    from itertools import chain, islice

    from decks.build.count_squares import count_cards
    from decks.cards.deck import check_free, is_deck
    from decks.cards.folder import reserved

    if not is_deck(folder):
        check_free(folder)
    faults: list[str] = []
    with reserved(folder):
        deck = NewCards(folder, title)
        taken = {card.board.epd() for card in deck.cards()}
        games = chain.from_iterable(_readable(source, faults) for source in sources)
        for entry in islice(count_cards(games, player, taken), cards):
            deck.add(entry)
    for fault in faults:
        warn(fault)
    click.echo(f"{counted(deck.made, 'card')} added to {safe(folder)}")
    if not deck.made:
        warn("on no square of these games is a naive count wrong: try other games")
    _tell_unreadable(faults)


@dataclass
class NewCards:
    """A deck that gets new cards. It is started with the first one. `made`: how many it has got."""

    folder: Path
    title: str | None
    made: int = 0

    def cards(self) -> Sequence[Card]:
        """The cards that are there already. DeckError if the deck has faults."""
        from decks.cards.deck import Deck, is_deck
        from patterns.catalogue import MOTIFS

        return Deck.open(self.folder, set(MOTIFS)).cards if is_deck(self.folder) else ()

    def add(self, entry: CardEntry, verdicts: Sequence[PositionVerdicts] = ()) -> None:
        """Add a card and note its position."""
        from decks.cards.built_file import note_built
        from decks.cards.deck import add_cards, is_deck, new_deck
        from decks.cards.settings import DeckSettings, new_deck_id
        from patterns.catalogue import MOTIFS

        if not is_deck(self.folder):
            new_deck(self.folder, DeckSettings(new_deck_id(), self.title or self.folder.resolve().name))
        add_cards(self.folder, [entry], verdicts, set(MOTIFS))
        note_built(self.folder, [entry.card.board.epd()])
        self.made += 1


def _check_motifs(motifs: Sequence[str]) -> None:
    """A usage error that names those that are no motifs."""
    from patterns.arguments import near_motifs
    from patterns.catalogue import MOTIFS

    unknown = [motif for motif in motifs if motif not in MOTIFS]
    if unknown:
        told = "\n".join(f"no such motif: {safe(motif)}{near_motifs(motif)}" for motif in unknown)
        raise click.UsageError(f"{told} (`rondeau motifs` lists them)")


def _tell_unreadable(faults: Sequence[str]) -> None:
    """Say how many games could not be read, if any, and exit with status 1."""
    if faults:
        warn(f"{counted(len(faults), 'unreadable game')} left out")
        raise click.exceptions.Exit(1)


def _register(folder: Path, scorebook: Path) -> None:
    """Note the deck, if there is one, in the scorebook: the cards of other decks will not repeat its own."""
    from contextlib import suppress

    from decks.cards.deck import is_deck, read_deck
    from decks.scorebook.book import Scorebook, ScorebookError

    settings = read_deck(folder).settings if is_deck(folder) else None
    if settings is not None:
        with suppress(ScorebookError), Scorebook.open(scorebook) as book:
            book.register_deck(settings.deck, settings.title, str(folder.resolve()))


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


def _handouts_apart(games: Iterable[Game], handouts: list[Game]) -> Iterator[Game]:
    """The games that are not hand-outs. The hand-outs are added to `handouts`."""
    from decks.build.handouts import is_handout

    for game in games:
        if is_handout(game):
            handouts.append(game)
        else:
            yield game


def _readable(source: Path, faults: list[str]) -> Iterator[Game]:
    """The games that can be read. The others are added to `faults`."""
    from patterns.reading.pgn import Game, read_games

    for game in read_games(source):
        if isinstance(game, Game):
            yield game
        else:
            faults.append(f"{safe(source)}: {safe(game, MESSAGE_LIMIT)}")
