"""Making cards: candidates are tested with engines, one after the other, until there are enough cards."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import chain

from decks.build.candidates import Candidate
from decks.build.choice import Choice, Fell
from decks.build.inquiries import Engines, Inquiries, Inquiry
from decks.build.new_card import BuiltCard
from decks.build.relevance import UsesOf
from decks.build.variety import Known
from patterns.engines.judging import EngineError
from patterns.lines import uses_of_many

CARDS_PER_DRAW = 10
"""At most one card in so many has a draw as the best that can be had."""

MOST_FAILURES = 3
"""Candidates on which an engine may fail before the build stops: it probably fails on all of them."""

BuildProgress = Callable[[int, int], None]
"""Called after each answer with the number of cards made and of candidates tested."""


def make_cards(
    stages: Iterable[Mapping[str, Sequence[Candidate]]],
    order: Sequence[str],
    engines: Engines,
    wanted: int,
    make: Callable[[Candidate], Inquiry[BuiltCard | Fell]],
    *,
    most: int | None = None,
    known: Known | None = None,
    fallen: Counter[Fell] | None = None,
    suits: Callable[[BuiltCard], bool] = lambda built: True,
    progress: BuildProgress | None = None,
    uses_of: UsesOf = uses_of_many,
) -> Iterator[BuiltCard]:
    """Make cards until there are `wanted` of them or no candidates are left.

    `stages`: candidates by motif; all of one stage come before those of the next, which is not asked for
    earlier. `order`: the wanted motifs in the order in which a deck takes them up. Within a stage the next
    candidate is of the side to move with the fewer cards so far, as long as it has one, and there of the
    motif with the fewest cards (the first of them). `make`: the card of a candidate, or why there is none.
    A game gives a second card, about another motif, only when no other game has candidates left, and at most
    one card in `CARDS_PER_DRAW` is about a draw.
    `most`: how many cards may be about one motif. `known`: positions that must not be asked about again; the
    new cards are added. `fallen`: counts why candidates became no card. `suits`: whether a card suits those
    made before it; one that does not has its turn only when no others are left. `uses_of`: says what lines
    use.

    The engines work on several candidates at a time, but the cards are the same as if they came one by one.
    If an engine fails on a candidate, the others are still tested, and the first EngineError is raised at the
    end, or at once after MOST_FAILURES.
    """
    known = Known() if known is None else known
    fallen = Counter() if fallen is None else fallen
    draws = wanted // CARDS_PER_DRAW
    most = wanted if most is None else most
    choice = Choice({}, {}, Counter(), Counter(), set(), known, draws, fallen, most, suits=suits)
    inquiries = Inquiries[Candidate, BuiltCard | Fell](engines, make, uses_of=uses_of)
    tested = 0
    failures: list[EngineError] = []

    def told() -> None:
        if progress is not None:
            progress(choice.cards.total(), tested)

    for stage in chain(stages, choice.second_turns()):
        choice.begin(stage, order)
        while choice.cards.total() < wanted and (candidate := choice.next()) is not None:
            built = inquiries.result(candidate, choice.following(), told)
            tested += 1
            if isinstance(built, EngineError):
                failures.append(built)
                if len(failures) >= MOST_FAILURES:
                    raise failures[0]
                continue
            if isinstance(built, BuiltCard):
                built = choice.accepted(candidate, built)
            told()
            if isinstance(built, BuiltCard):
                yield built
            elif built in (Fell.NO_SLIP, Fell.ALIKE):
                choice.test_again(candidate)
            else:
                fallen[built] += 1
        if choice.cards.total() >= wanted:
            break
    if failures:
        raise failures[0]
