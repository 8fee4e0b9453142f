"""Every ask there is, found in the modules of `decks.asks`: adding one adds one file there."""

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
"""What is asked where a deck says nothing of asks."""


def in_order(ids: Iterable[str]) -> tuple[str, ...]:
    """These asks, each once, as one sitting goes through them.

    >>> in_order(["root", "play", "assess"])
    ('assess', 'play', 'root')
    """
    return tuple(sorted(set(ids), key=lambda ask: ASKS[ask].place))


def secrets_of(card: Card, answered: Collection[str]) -> frozenset[Secret]:
    """What of a card may not be told while only these of its asks have been answered."""
    return frozenset(secret for ask in card.asks if ask not in answered for secret in ASKS[ask].secrets)


def moves_judged(card: Card) -> tuple[KeyMove, ...]:
    """The key moves in the positions that any ask of the card needs verdicts for, each once, in order."""
    by_ply = {move.ply: move for ask in card.asks for move in ASKS[ask].moves_judged(card)}
    return tuple(by_ply[ply] for ply in sorted(by_ply))
