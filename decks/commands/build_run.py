"""A build under way: reads games, adds the cards that are made of them to a deck, and says how it went."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from itertools import chain, islice
from pathlib import Path

import click

from decks.build.choice import Fell
from decks.build.detector import Detector, NotKept, rules
from decks.build.new_card import BuiltCard
from decks.build.variety import Known
from decks.cards.built_file import read_built
from decks.cards.deck import check_free, is_deck
from decks.cards.folder import reserved
from decks.commands.engines import CommandEngines
from decks.commands.new_cards import NewCards
from decks.commands.terminal import MESSAGE_LIMIT, warn
from decks.commands.work_bar import WorkReport, work_bar
from decks.scorebook.book import Scorebook, ScorebookError
from patterns.engines.judging import EngineError
from patterns.reading.pgn import Game, read_games
from patterns.reading.text import counted, safe


@dataclass
class BuildRun:
    """A build. `sources`: PGN files of games. `wanted`: how many cards to make.

    `player`: whose positions; None: everybody's. `fallen`: counts why candidates became no card.
    `unreadable`: how many games could not be read.
    """

    deck: NewCards
    sources: Sequence[Path]
    player: str | None
    wanted: int
    scorebook: Path
    fallen: Counter[Fell] = field(default_factory=Counter)
    unreadable: int = 0

    def games(self) -> Iterator[Game]:
        """The games that can be read. The others are named and counted."""
        for source in self.sources:
            for game in read_games(source):
                if isinstance(game, Game):
                    yield game
                else:
                    self.unreadable += 1
                    warn(f"{safe(source)}: {safe(game, MESSAGE_LIMIT)}")

    def known(self) -> Known:
        """The positions that must not be asked about again, in this deck or another one."""
        cards = chain(self.deck.cards(), self.deck.cards_elsewhere(self.scorebook))
        return Known(read_built(self.deck.folder), cards)

    def without_engine(self, cards: Callable[[BuildRun], Iterator[BuiltCard]]) -> None:
        """Add cards whose key is computed from the position."""
        self._check_free()
        with reserved(self.deck.folder):
            self._add(cards(self))
        click.echo(self._added())
        if not self.deck.made:
            warn("on no square of these games is a naive count wrong: try other games")
        self._tell_unreadable()

    def with_engines(self, engines: CommandEngines, cards: Callable[[Work], Iterator[BuiltCard]]) -> None:
        """Add cards that are tested with engines. What was added before an interruption is kept."""
        self._check_free()
        stopped: EngineError | KeyboardInterrupt | None = None
        with (
            reserved(self.deck.folder),
            engines,
            work_bar("Building cards") as report,
            kept_detector(self.scorebook) as detector,
        ):
            try:
                self._add(cards(Work(self, engines, detector, report)))
            except (EngineError, KeyboardInterrupt) as error:
                if not self.deck.made:
                    raise
                stopped = error
            name = engines.name
        self.deck.register(self.scorebook)
        candidates = counted(self.deck.made + self.fallen.total(), "candidate")
        click.echo(f"{self._added()}, of {candidates}, judged by {name or 'nobody'}")
        if stopped is not None:
            raise stopped
        if self.deck.made < self.wanted and self.fallen:
            warn(table(self.fallen))
        if not self.deck.made:
            why = "no candidate held up" if self.fallen else "no position of these games is a candidate"
            warn(f"{why}: try other games, more motifs, or another player")
        self._tell_unreadable()

    def _check_free(self) -> None:
        if not is_deck(self.deck.folder):
            check_free(self.deck.folder)

    def _add(self, cards: Iterator[BuiltCard]) -> None:
        for built in islice(cards, self.wanted):
            self.deck.add(built.entry, built.verdicts)

    def _added(self) -> str:
        return f"{counted(self.deck.made, 'card')} added to {safe(self.deck.folder)}"

    def _tell_unreadable(self) -> None:
        """Say how many games could not be read, if any, and exit with status 1."""
        if self.unreadable:
            warn(f"{counted(self.unreadable, 'unreadable game')} left out")
            raise click.exceptions.Exit(1)


@dataclass(frozen=True)
class Work:
    """What makes the cards of a build: the engines, the detector, and the bar that shows the work."""

    run: BuildRun
    engines: CommandEngines
    detector: Detector
    report: WorkReport

    def shown(self, *_: int) -> None:
        """Show the work: the rest is as much for each card as so far."""
        made, wanted, answered = self.run.deck.made, self.run.wanted, self.engines.answered
        left = answered / made * (wanted - made) if made else None
        note = counted(answered, "position")
        self.report(made, wanted, searched=self.engines.searched, left=left, note=note)


@contextmanager
def kept_detector(scorebook: Path) -> Iterator[Detector]:
    """A detector whose findings are kept in the scorebook. Without one, it finds them anew each time."""
    with ExitStack() as open_things:
        try:
            detector = Detector(open_things.enter_context(Scorebook.open(scorebook)).detections(rules()))
        except ScorebookError:  # the engines say so
            detector = Detector(NotKept())
        yield detector


def table(fallen: Mapping[Fell, int]) -> str:
    """How many candidates became no card, by reason, the commonest first."""
    rows = sorted(fallen.items(), key=lambda row: (-row[1], row[0].value))
    width = len(str(rows[0][1]))
    return "\n".join(
        ["candidates that became no card:", *(f"  {count:{width}}  {why.value}" for why, count in rows)]
    )
