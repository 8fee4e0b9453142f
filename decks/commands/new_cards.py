"""A deck that a command adds cards to, and the other decks that the scorebook knows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from decks.cards.cards_file import CardEntry
    from decks.tasks.card import Card
    from patterns.engines.scores import PositionVerdicts


@dataclass
class NewCards:
    """A deck that gets new cards. It is started with the first one. `made`: how many it has got.

    `by_heart`: a new deck is learned as it stands, because a player's own slips are facts to remember.
    """

    folder: Path
    title: str | None
    by_heart: bool = False
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
            title = self.title or self.folder.resolve().name
            new_deck(self.folder, DeckSettings(new_deck_id(), title, by_heart=self.by_heart))
        add_cards(self.folder, [entry], verdicts, set(MOTIFS))
        note_built(self.folder, [entry.card.board.epd()])
        self.made += 1

    def register(self, scorebook: Path) -> None:
        """Note the deck in the scorebook, if there is one: other decks will not repeat its cards."""
        from contextlib import suppress

        from decks.cards.deck import is_deck, read_deck
        from decks.scorebook.book import Scorebook, ScorebookError

        settings = read_deck(self.folder).settings if is_deck(self.folder) else None
        if settings is not None:
            with suppress(ScorebookError), Scorebook.open(scorebook) as book:
                book.register_deck(settings.deck, settings.title, str(self.folder.resolve()))

    def cards_elsewhere(self, scorebook: Path) -> Iterator[Card]:
        """The cards of the other decks that the scorebook knows. A deck that can't be read is passed over."""
        from decks.cards.deck import read_deck
        from decks.scorebook.book import Scorebook, ScorebookError

        try:
            with Scorebook.open(scorebook) as book:
                folders = [Path(other) for _, _, other in book.decks()]
        except ScorebookError:
            return  # the engines have said so already, or will
        for other in folders:
            if other != self.folder.resolve():
                yield from (game.entry.card for game in read_deck(other).cards)
