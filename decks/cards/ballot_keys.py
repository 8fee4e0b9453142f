"""Keys of ballots that ask for no move: compared with another search, and set anew where `build` set them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date

import chess

from decks.asks.assess import ASK
from decks.asks.catalogue import moves_judged
from decks.cards.added_tags import NewTag
from decks.cards.cards_file import CardGame
from decks.cards.tags import card_tags
from decks.tasks.ballot import cell_words
from decks.tasks.card import Card
from patterns.words.verdicts import Verdict


@dataclass(frozen=True)
class SearchedKey:
    """What searches say of a position. `verdict`: None if they leave it open. `by`: as `Checked` names it."""

    verdict: Verdict | None
    by: str


KeySearch = Callable[[Sequence[chess.Board]], Iterable[SearchedKey]]
"""Searches positions by the rule by which `build` sets the keys of ballots, and answers in order."""

SearchedBallot = tuple[CardGame, SearchedKey]


def ballots(cards: Iterable[CardGame]) -> list[CardGame]:
    """The cards with a ballot and a key for its verdict, on whose moves nobody gives verdicts."""
    return [one for one in cards if _is_ballot(one.entry.card)]


def _is_ballot(card: Card) -> bool:
    return ASK.id in card.asks and "verdict" in card.factors and not moves_judged(card)


def new_keys(searched: Iterable[SearchedBallot], today: date) -> Iterator[NewTag]:
    """`Factors` and `Chosen` where a key that `build` set is another now, and `Checked` for each ballot."""
    for one, found in searched:
        card = one.entry.card
        key = card.factors["verdict"]
        yield NewTag(one, "Checked", f"{found.by}, {today.isoformat()}", "")
        if found.verdict not in (None, key) and _is_set_by_build(card):
            assert found.verdict is not None
            chosen = cell_words(found.verdict.signed) + card.chosen.removeprefix(cell_words(key.signed))
            factors = {**card.factors, "verdict": found.verdict}
            tags = dict(card_tags(replace(card, factors=factors, chosen=chosen)))
            says = f"its verdict is {found.verdict} instead of {key}, by the search"
            yield NewTag(one, "Factors", tags["Factors"], says)
            yield NewTag(one, "Chosen", tags["Chosen"], "")


def _is_set_by_build(card: Card) -> bool:
    """`Chosen` begins with the verdict that `build` found. A coach sets another key only in `Factors`."""
    return card.chosen.startswith(f"{cell_words(card.factors['verdict'].signed)}: ")


def key_notes(searched: Iterable[SearchedBallot]) -> Iterator[tuple[CardGame, str]]:
    """Ballots whose verdict the searches leave open, and coaches' keys that they contradict."""
    for one, found in searched:
        card = one.entry.card
        key = card.factors["verdict"]
        if found.verdict is None:
            yield one, f"the key for verdict is {key}, but the searches leave it open"
        elif found.verdict != key and not _is_set_by_build(card):
            search = f"by the search it is {found.verdict}"
            yield one, f"the coach's key for verdict is {key}, {search}; the coach's key counts"
