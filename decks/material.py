"""What the decks can ask a student, what the log says, and the study day that follows from both."""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import NamedTuple

from decks.asks.catalogue import ASKS
from decks.cards.deck import Deck
from decks.memory.answers import CardItem, Strand
from decks.memory.askable import Askable, Fixed, Pools, fixed, position_of
from decks.memory.day import DayAhead
from decks.memory.minutes import FixedCard, Today, clear_again, due_cards, rest_of, returns
from decks.memory.model import Memory
from decks.memory.pool import fresh_allowance, is_dry, position_key
from decks.memory.strands import StrandState
from decks.scorebook.book import DamagedMemoryError, Scorebook
from decks.tasks.card import Card
from patterns.reading.text import safe

CARDS_LOOKED_AT = 100
"""So many fixed cards, due or unmet, are looked at for a day; more would not fit in it."""


class Seen(NamedTuple):
    """The first and the last study day on which a student saw a position."""

    first: date
    last: date


@dataclass(frozen=True)
class Material:
    """What the decks can ask. `fixed`: the fixed cards, in the order of the decks."""

    decks: Mapping[str, Deck]
    pools: Pools
    fixed: tuple[Askable, ...]

    @classmethod
    def of(cls, decks: Iterable[Deck], warn: Callable[[str], None]) -> Material:
        """The cards of these decks. Asks that lack verdicts are left out, with a call of `warn`."""
        by_id = {deck.settings.deck: deck for deck in decks}
        cards = [card for deck in by_id.values() for card in askable_cards(deck, warn)]
        in_pools = [card for card in cards if card.strands]
        return cls(by_id, Pools(in_pools), tuple(card for card in cards if not card.strands))

    def card_named(self, name: str) -> Askable:
        """The fixed card with this name."""
        return next(card for card in self.fixed if card.name == name)


def askable_cards(deck: Deck, warn: Callable[[str], None]) -> list[Askable]:
    """The cards of a deck with those of their asks that have verdicts."""
    cards, lacking = [], []
    for card in deck.cards:
        asks = tuple(ask for ask in card.asks if _is_judged(card, ask, deck.verdicts))
        if asks:
            cards.append(Askable(deck.settings.deck, card, asks, deck.settings.by_heart))
        if len(asks) < len(card.asks):
            lacking.append(card.card_id)
    if lacking:
        others = f" and {len(lacking) - 1} more" if len(lacking) > 1 else ""
        warn(
            f"{safe(deck.folder)}: no verdicts yet on the moves of card {safe(lacking[0])}{others}, so "
            f"these moves are not asked; `rondeau check` adds the verdicts"
        )
    return cards


def _is_judged(card: Card, ask: str, verdicts: Container[str]) -> bool:
    """Whether there are verdicts for all positions in which an ask of a card has the student move.

    A line of one move needs only the first position. Whether that is there shows without setting it up, which
    takes most of the time of reading a day's cards.
    """
    if len(card.asked_line) <= 2 and position_key(card.fen) in verdicts:
        return True
    return all(move.board.epd() in verdicts for move in ASKS[ask].moves_judged(card))


@dataclass(frozen=True)
class Log:
    """What the log of a student says on a study day, as far as a day needs it."""

    scorebook: Scorebook
    student: int
    day: date
    memories: Mapping[str, Memory]
    states: Mapping[Strand, StrandState]
    seen: Mapping[str, Seen]

    @classmethod
    def read(cls, scorebook: Scorebook, student: int, day: date, warn: Callable[[str], None]) -> Log:
        """Read it. What is stored and damaged is worked out again, with a call of `warn`."""
        try:
            memories, states = scorebook.memory_of(student), scorebook.strand_states(student)
        except DamagedMemoryError as error:
            warn(f"{error}; they are computed again from the log")
            scorebook.replay(mend=True)
            memories, states = scorebook.memory_of(student), scorebook.strand_states(student)
        seen: dict[str, Seen] = {}
        for fen, first, last in scorebook.displayed(student):
            key = position_key(fen)
            before = seen.get(key, Seen(date.max, date.min))
            if last > day:  # a wrong clock: it was seen, but nobody knows when
                last = date.min
            seen[key] = Seen(min(before.first, first), max(before.last, last))
        return cls(scorebook, student, day, memories, states, seen)


def todays(material: Material, log: Log, ahead: DayAhead, seconds_of: Mapping[str, float]) -> Today:
    """The study day as it stands before the next step."""
    pools, day = material.pools, ahead.day
    cards = pools.by_key
    states = {strand: log.states.get(strand, StrandState()) for strand in pools}
    used = sum(key in log.seen and log.seen[key].first == day for key in cards)
    unseen = sum(key not in log.seen for key in cards) + used
    last = {strand: position_key(fen) for strand, fen in log.scorebook.last_displayed(log.student).items()}
    ready = [found for card in material.fixed if (found := fixed(card, log.memories, day))]
    unmet = [found.as_card(seconds_of) for found in ready if found.memory is None][:CARDS_LOOKED_AT]
    shown = {key: seen.last for key, seen in log.seen.items()}
    waiting = {position_key(found.card.card.fen) for found in ready} - cards.keys()
    for key in waiting - set(map(position_key, log.scorebook.answered_since(log.student, day))):
        shown.pop(key, None)  # a fixed card that was left unanswered may come again today
    return Today(
        ahead,
        states,
        pools,
        shown,
        fresh_left=max(0, fresh_allowance(unseen) - used),
        seconds_of=seconds_of,
        due_cards=_due(log, [found for found in ready if found.memory], seconds_of),
        unmet_cards=tuple(unmet),
        may_meet=clear_again(ahead, {each: _due_at_end(material, log, each) for each in ahead.clear_one_of}),
        last_shown={strand: position_of(cards[key]) for strand, key in last.items() if key in cards},
        seed=log.student,
        meeting=next((strand for strand, state in states.items() if state.in_first_meeting), None),
    )


def _due(log: Log, found: Sequence[Fixed], seconds_of: Mapping[str, float]) -> tuple[FixedCard, ...]:
    """The fixed cards that are due, without those that rest because the student is stuck on them."""
    by_name = {each.card.name: each for each in found}
    first = due_cards((each.as_card(seconds_of) for each in found), log.day)[:CARDS_LOOKED_AT]
    items = {
        card.card: [str(CardItem(each.deck, each.card.card_id, ask)) for ask in each.asks]
        for card in first
        for each in (by_name[card.card].card,)
    }
    grades = log.scorebook.grades(log.student, [item for each in items.values() for item in each])
    rested = []
    for card in first:
        rests = filter(None, (rest_of(grades.get(item, ())) for item in items[card.card]))
        rested.append(replace(card, rests_until=max(rests, default=None)))
    return due_cards(rested, log.day)


def _due_at_end(material: Material, log: Log, day: date) -> bool:
    """Whether anything that can still be asked was due when a study day ended."""
    learnt = log.scorebook.learnt_until(log.student, day)
    shown = {key: seen.last for key, seen in log.seen.items()}
    strands = (
        strand
        for strand in material.pools
        if isinstance(state := learnt.get(str(strand)), StrandState) and state.is_due(day)
    )
    if any(not is_dry(material.pools[strand], shown, log.day) for strand in strands):
        return True
    items = (str(CardItem(card.deck, card.card.card_id, ask)) for card in material.fixed for ask in card.asks)
    return any(isinstance(memory := learnt.get(item), Memory) and returns(memory) <= day for item in items)


class Returning(NamedTuple):
    """What returns, and the study day on which it does, at the earliest today."""

    day: date
    what: Askable | Strand

    @property
    def is_card(self) -> bool:
        """Whether it is a fixed card and not a strand."""
        return isinstance(self.what, Askable)


def returning(material: Material, log: Log) -> list[Returning]:
    """What returns when, the soonest first, of all that has been met. A strand needs a position to show."""
    found = []
    for card in material.fixed:
        items = (str(CardItem(card.deck, card.card.card_id, ask)) for ask in card.asks)
        days = [returns(log.memories[item]) for item in items if item in log.memories]
        if days:
            found.append(Returning(max(log.day, min(days)), card))
    shown = {key: seen.last for key, seen in log.seen.items()}
    for strand, pool in material.pools.items():
        state = log.states.get(strand, StrandState())
        if state.returns is not None:
            day = max(log.day, state.returns)
            if not is_dry(pool, shown, day):
                found.append(Returning(day, strand))
    return sorted(found, key=lambda each: (each.day, each.is_card))
