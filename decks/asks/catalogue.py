"""Every ask, found in the modules of `decks.asks`. A new ask is a new file there."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from importlib import import_module
from pkgutil import iter_modules
from types import MappingProxyType

from decks import asks
from decks.asks.ask import Ask, Secret
from decks.tasks.card import Card, KeyMove


def _declared() -> dict[str, Ask]:
    found: dict[str, Ask] = {}
    for module in iter_modules(asks.__path__):
        ask = getattr(import_module(f"decks.asks.{module.name}"), "ASK", None)
        if ask is None:
            continue
        if ask.id in found:
            raise ValueError(f"two asks are called {ask.id}")
        found[ask.id] = ask
    return dict(sorted(found.items(), key=lambda pair: pair[1].place))


_BY_ID = _declared()

ASKS: Mapping[str, Ask] = MappingProxyType(_BY_ID)
"""Every ask by its id."""

DEFAULT_ASKS = tuple(ask.id for ask in ASKS.values() if ask.is_default)
"""The asks of a deck that names none."""


def in_order(ids: Iterable[str]) -> tuple[str, ...]:
    """These asks, each once, in the order of a sitting.

    >>> in_order(["root", "play", "assess"])
    ('assess', 'play', 'root')
    """
    return tuple(sorted(set(ids), key=lambda ask: ASKS[ask].place))


def secrets_of(card: Card, answered: Collection[str]) -> frozenset[Secret]:
    """What must stay hidden of a card while only these of its asks have been answered."""
    return frozenset(secret for ask in card.asks if ask not in answered for secret in ASKS[ask].secrets)


def moves_judged(card: Card) -> tuple[KeyMove, ...]:
    """The key moves of the positions for which the card's asks need verdicts, each once, in order."""
    by_place = {move.place: move for ask in card.asks for move in ASKS[ask].moves_judged(card)}
    return tuple(by_place[place] for place in sorted(by_place))
