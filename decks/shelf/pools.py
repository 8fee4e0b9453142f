"""The cards of several decks by what they are to a student: the pools of strands, and the fixed cards.

Nothing is made of a card before it is looked at, because most are not, on a day.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping, Sequence, Set
from itertools import chain

from decks.memory.answers import CardItem, Strand, card_item, parse_item
from decks.memory.askable import Askable
from decks.memory.pool import Position
from decks.shelf.index import DeckIndex


class Pools(Mapping[Strand, Sequence[Position]]):
    """The pool of every strand, in the order of the decks."""

    def __init__(self, indexes: Sequence[DeckIndex]) -> None:
        self._rows: dict[Strand, list[tuple[DeckIndex, list[int]]]] = {}
        self._index_of: dict[str, DeckIndex] = {}
        self._pools: dict[Strand, tuple[Position, ...]] = {}
        self._place_of: dict[Position, tuple[DeckIndex, int]] = {}
        for index in indexes:
            by_strand: dict[Strand, list[Sequence[int]]] = {}
            for kind, rows in index.rows.items():
                for strand in kind.strands:
                    by_strand.setdefault(strand, []).append(rows)
                if kind.strands:
                    self._index_of |= dict.fromkeys(map(index.keys.__getitem__, rows), index)
            for strand, of_kinds in by_strand.items():
                self._rows.setdefault(strand, []).append((index, sorted(chain.from_iterable(of_kinds))))

    def __getitem__(self, strand: Strand) -> Sequence[Position]:
        if strand not in self._pools:
            made = {index.position(row): (index, row) for index, rows in self._rows[strand] for row in rows}
            self._pools[strand] = tuple(made)
            self._place_of |= made
        return self._pools[strand]

    def __iter__(self) -> Iterator[Strand]:
        return iter(self._rows)

    def __len__(self) -> int:
        return len(self._rows)

    @property
    def keys_held(self) -> Set[str]:
        """The keys of all positions that are in any pool."""
        return self._index_of.keys()

    def keys_of(self, strand: Strand) -> set[str]:
        """The keys of the positions in the pool of a strand; empty if it has none."""
        return {index.keys[row] for index, rows in self._rows.get(strand, ()) for row in rows}

    def has_new(self, strand: Strand, shown: Container[str]) -> bool:
        """Whether the pool of a strand has a position that isn't among those `shown`."""
        return any(index.keys[row] not in shown for index, rows in self._rows[strand] for row in rows)

    def sizes(self, strand: Strand) -> dict[str, int]:
        """How many cards each deck has in the pool of a strand."""
        return {index.settings.deck: len(rows) for index, rows in self._rows[strand]}

    def card_of(self, position: Position) -> Askable:
        """The card of a position that came from one of the pools."""
        index, row = self._place_of[position]
        return index.askable(row)

    def at(self, key: str) -> Position | None:
        """The position with this key; None if it is in no pool."""
        index = self._index_of.get(key)
        if index is None:
            return None
        found = (index.position(row) for row, each in enumerate(index.keys) if each == key)
        return [position for position in found if position.strands][-1]


class FixedCards:
    """The cards that are remembered as facts, in the order of the decks."""

    def __init__(self, indexes: Sequence[DeckIndex]) -> None:
        self._rows = {
            index.settings.deck: (index, [row for row, kind in enumerate(index.kind_of) if kind in fixed])
            for index in indexes
            if (fixed := {place for place, kind in enumerate(index.kinds) if not kind.strands})
        }

    def __iter__(self) -> Iterator[Askable]:
        return (index.askable(row) for index, rows in self._rows.values() for row in rows)

    def named(self, deck: str, card_id: str) -> Askable | None:
        """A fixed card; None if there is no such one."""
        index, _ = self._rows.get(deck, (None, None))
        row = index.row_of.get(card_id) if index else None
        card = None if index is None or row is None else index.askable(row)
        return None if card is None or card.kind.strands else card

    def of_items(self, items: Iterable[str]) -> list[Askable]:
        """The fixed cards that have any of these items, each once, in this order."""
        found: dict[str, Askable | None] = {}
        for item in map(parse_item, items):
            if isinstance(item, CardItem):
                name = f"{item.deck}/{item.card_id}"
                if name not in found:
                    found[name] = self.named(item.deck, item.card_id)
        return [card for card in found.values() if card is not None]

    def at(self, keys: Container[str]) -> Iterator[Askable]:
        """Those in positions with these keys."""
        for index, rows in self._rows.values():
            yield from (index.askable(row) for row in rows if index.keys[row] in keys)

    def unmet(self, met: Container[str]) -> Iterator[Askable]:
        """Those that are unmet. `met`: the items that aren't."""
        for index, rows in self._rows.values():
            deck, asks_of = index.settings.deck, [kind.asks for kind in index.kinds]
            for row in rows:
                card_id = index.card_ids[row]
                for ask in asks_of[index.kind_of[row]]:
                    if card_item(deck, card_id, ask) in met:
                        break
                else:
                    yield index.askable(row)
