"""What the decks can ask a student, what the log says, and the study day that follows from both."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby, islice
from operator import itemgetter
from typing import NamedTuple, TypeVar

from decks.memory.answers import Strand
from decks.memory.askable import Askable, Fixed, fixed, returns_on
from decks.memory.day import DayAhead
from decks.memory.minutes import (
    FixedCard,
    Today,
    clear_again,
    due_cards,
    most_forgotten,
)
from decks.memory.model import Memory
from decks.memory.pool import Position, fresh_allowance, is_dry, needed_for_sure, position_key, shows_on
from decks.memory.strands import StrandState
from decks.scorebook.book import DamagedMemoryError, Scorebook
from decks.shelf.pools import FixedCards, Pools
from decks.shelf.shelved import ShelvedDeck
from patterns.reading.text import safe

T = TypeVar("T")

CARDS_LOOKED_AT = 100
"""So many fixed cards, due or unmet, are looked at for a day; more would not fit in it."""


@dataclass(frozen=True)
class Material:
    """What the decks can ask. `decks`: by uuid."""

    decks: Mapping[str, ShelvedDeck]
    pools: Pools
    fixed: FixedCards

    @classmethod
    def of(cls, decks: Iterable[ShelvedDeck], warn: Callable[[str], None]) -> Material:
        """The cards of these decks. Asks that lack verdicts are left out, with a call of `warn`."""
        by_id = {deck.settings.deck: deck for deck in decks}
        for deck in by_id.values():
            _warn_of_unjudged(deck, warn)
        indexes = [deck.index for deck in by_id.values()]
        return cls(by_id, Pools(indexes), FixedCards(indexes))


def _warn_of_unjudged(deck: ShelvedDeck, warn: Callable[[str], None]) -> None:
    lacking = deck.index.unjudged
    if lacking:
        others = f" and {len(lacking) - 1} more" if len(lacking) > 1 else ""
        warn(
            f"{safe(deck.folder)}: no verdicts yet on the moves of card {safe(lacking[0])}{others}, so "
            f"these moves are not asked; `rondeau check` adds the verdicts"
        )


@dataclass(frozen=True)
class Log:
    """What the log of a student says on a study day, as far as a day needs it.

    `shown`: the last study day on which each position was displayed. `new_today`: those first displayed on
    this day.
    """

    scorebook: Scorebook
    student: int
    day: date
    memories: Mapping[str, Memory]
    states: Mapping[Strand, StrandState]
    shown: Mapping[str, date]
    new_today: frozenset[str]

    @classmethod
    def read(cls, scorebook: Scorebook, student: int, day: date, warn: Callable[[str], None]) -> Log:
        """Read it. What is stored and damaged is worked out again, with a call of `warn`."""
        memories, states = mended(
            scorebook, lambda: (scorebook.memory_of(student), scorebook.strand_states(student)), warn
        )
        seen = scorebook.last_seen(student)
        shown = last_shown(seen, day)
        today = {position_key(fen) for fen, last in seen.items() if last >= day}
        new = frozenset(today - scorebook.seen_before(student, day, today))
        return cls(scorebook, student, day, memories, states, shown, new)


def mended(scorebook: Scorebook, read: Callable[[], T], warn: Callable[[str], None]) -> T:
    """What is read of all that is derived; if that is damaged, it is worked out again first."""
    try:
        return read()
    except DamagedMemoryError as error:
        warn(f"{error}; they are computed again from the log")
        scorebook.replay(mend=True)
        return read()


def last_shown(seen: Mapping[str, date], day: date) -> dict[str, date]:
    """The last study day on which each position was displayed. `seen`: the same by FEN. `day`: today."""
    shown: dict[str, date] = {}
    for fen, last in seen.items():
        key = position_key(fen)
        if last > day:  # a wrong clock: it was seen, but nobody knows when
            last = date.min
        before = shown.get(key)
        shown[key] = last if before is None or last > before else before
    return shown


def todays(
    material: Material,
    log: Log,
    ahead: DayAhead,
    seconds_of: Mapping[str, float],
    event_day: date | None = None,
) -> Today:
    """The study day as it stands before the next step. `event_day`: that of an event to come, if any."""
    pools = material.pools
    held = pools.keys_held
    states = {strand: log.states.get(strand, StrandState()) for strand in pools}
    used = 0 if ahead.on_top else len(log.new_today & held)
    unseen = len(held - log.shown.keys()) + used
    allowed = fresh_allowance(unseen, (event_day - ahead.day).days) if event_day else fresh_allowance(unseen)
    last = {strand: position_key(fen) for strand, fen in log.scorebook.last_displayed(log.student).items()}
    unmet = islice(material.fixed.unmet(log.memories), CARDS_LOOKED_AT)
    left = _left_unanswered(material, log)
    return Today(
        ahead,
        states,
        pools,
        {key: last for key, last in log.shown.items() if key not in left} if left else log.shown,
        fresh_left=max(
            allowed - used, needed_for_sure(ahead, states, lambda strand: pools.has_new(strand, log.shown))
        ),
        seconds_of=seconds_of,
        due_cards=_due(material, log, seconds_of),
        unmet_cards=tuple(Fixed(card, card.kind.asks, None).as_card(seconds_of) for card in unmet),
        may_meet=clear_again(ahead, {each: _due_at_end(material, log, each) for each in ahead.clear_one_of}),
        last_shown={strand: found for strand, key in last.items() if (found := pools.at(key))},
        seed=log.student,
        meeting=next((strand for strand, state in states.items() if state.in_first_meeting), None),
    )


def _left_unanswered(material: Material, log: Log) -> set[str]:
    """The positions of fixed cards that were displayed today and left, so that they may come again today."""
    today = {key for key, last in log.shown.items() if last == log.day} - material.pools.keys_held
    left = today - set(map(position_key, log.scorebook.answered_since(log.student, log.day)))
    cards = material.fixed.at(left) if left else ()
    return {card.key for card in cards if fixed(card, log.memories, log.day)}


def _due(material: Material, log: Log, seconds_of: Mapping[str, float]) -> tuple[FixedCard, ...]:
    """The fixed cards that are due."""
    cards = {card.name: card for card in _most_forgotten(material, log)}
    found = (fixed(card, log.memories, log.day) for card in cards.values())
    return due_cards((each.as_card(seconds_of) for each in found if each), log.day)[:CARDS_LOOKED_AT]


def _most_forgotten(material: Material, log: Log) -> list[Askable]:
    """Those fixed cards among the due ones that come first: CARDS_LOOKED_AT or a few more."""
    cards: list[Askable] = []
    for _, alike in groupby(most_forgotten(log.memories, log.day), key=itemgetter(0)):
        if len(cards) >= CARDS_LOOKED_AT:
            break
        cards += material.fixed.of_items(item for _, item in alike)
    return cards


def _due_at_end(material: Material, log: Log, day: date) -> bool:
    """Whether anything that can still be asked was due when a study day ended."""
    learnt = log.scorebook.learnt_until(log.student, day)
    strands = (
        strand
        for strand in material.pools
        if isinstance(state := learnt.get(str(strand)), StrandState) and state.is_due(day)
    )
    if any(not is_dry(material.pools[strand], log.shown, log.day) for strand in strands):
        return True
    due = (item for item, each in learnt.items() if isinstance(each, Memory) and each.returns <= day)
    return any(item in card.items.values() for item in due for card in material.fixed.of_items([item]))


class Returning(NamedTuple):
    """What returns, and the study day on which it does, at the earliest today."""

    day: date
    what: Askable | Strand

    @property
    def is_card(self) -> bool:
        """Whether it is a fixed card and not a strand."""
        return isinstance(self.what, Askable)


def returning(material: Material, log: Log) -> list[Returning]:
    """What returns when, the soonest first, of all that has been met."""
    found = []
    for card in material.fixed.of_items(log.memories):
        met = [log.memories[item] for item in card.items.values() if item in log.memories]
        if met:
            found.append(Returning(max(log.day, returns_on(met)), card))
    for strand, pool in material.pools.items():
        day = return_of(log.states.get(strand, StrandState()), pool, log.shown, log.day)
        if day is not None:
            found.append(Returning(day, strand))
    return sorted(found, key=lambda each: (each.day, each.is_card))


def return_of(
    state: StrandState, pool: Sequence[Position], shown: Mapping[str, date], day: date
) -> date | None:
    """The study day, at the earliest today, on which a strand returns and has a position to show."""
    return None if state.returns is None else shows_on(pool, shown, max(day, state.returns))
