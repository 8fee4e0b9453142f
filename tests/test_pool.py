"""Which position of a strand is shown, and how slowly new ones are spent."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from decks.memory.answers import Strand
from decks.memory.askable import Askable
from decks.memory.pool import (
    Choice,
    Position,
    asks_lookalike,
    choose,
    fresh_allowance,
    has_only_lookalikes,
    is_dry,
    likeness,
    shows_on,
    unseen,
)
from decks.tasks.card import Card, MotifTag

DAY = date(2031, 5, 5)
FORK = Strand("fork", "play")


def a_position(
    key: str,
    tier: int = 1,
    *,
    lookalike: bool = False,
    side: str = "white",
    squares: str = "",
) -> Position:
    return Position(key, (FORK,), tier, lookalike, side, frozenset(squares.split()))


def days_ago(**shown: int) -> dict[str, date]:
    """When positions were last displayed, by key."""
    return {key: DAY - timedelta(days=days) for key, days in shown.items()}


@pytest.mark.parametrize(
    ("keys_and_tiers", "shown", "tier", "fresh_left", "key", "fresh"),
    [
        ("a1 b2 c3", {}, 1, 3, "a", True),
        ("a1 b2 c3", {}, 2, 3, "b", True),
        ("a1 b2 c3", {"b": 0}, 2, 3, "c", True),  # a harder one before an easier one
        ("a1 b2 c3", {"b": 0, "c": 0}, 2, 3, "a", True),
        ("a1 b2 c3", {"c": 0}, 3, 3, "b", True),  # the nearest
        ("a1 b1", {"a": 99}, 1, 3, "b", True),  # an unseen one before a seen one
        ("a1 b1", {"a": 99}, 1, 0, "a", False),  # unless none may be spent
        ("a1 b1", {"a": 13}, 1, 0, None, None),
        ("a1 b1", {"a": 14}, 1, 0, "a", False),
        ("a1 b1", {"a": 40, "b": 41}, 1, 3, "b", False),  # the one not seen for longest
        ("a1 b1", {"a": 3, "b": 4}, 1, 3, None, None),
        ("", {}, 1, 3, None, None),
    ],
)
def test_an_unseen_position_of_the_nearest_tier_is_shown_or_else_one_not_seen_for_long(
    keys_and_tiers: str,
    shown: Mapping[str, int],
    tier: int,
    fresh_left: int,
    key: str | None,
    fresh: bool | None,
) -> None:
    pool = [a_position(text[0], int(text[1])) for text in keys_and_tiers.split()]
    choice = choose(pool, tier, None, days_ago(**shown), DAY, fresh_left)
    assert choice == (None if key is None else Choice(next(p for p in pool if p.key == key), bool(fresh)))


PAWNS_ON_E4_AND_E5 = "k7/8/8/4p3/4P3/8/8/K7 w - -"
BEFORE = a_position("K7/8/8/4p3/4P3/8/8/k7 b - -", side="white", squares="d5 e8")


@pytest.mark.parametrize(
    ("like", "unlike"),
    [
        (a_position("x", side="white"), a_position("y", side="black")),
        (a_position("x", squares="d5 g6"), a_position("y", squares="c7 g6")),
        (a_position(PAWNS_ON_E4_AND_E5), a_position("k7/8/8/3p4/3P4/8/8/K7 w - -")),
        (a_position(PAWNS_ON_E4_AND_E5), a_position("k7/8/8/3p4/4P3/8/8/K7 w - -")),
        (a_position(PAWNS_ON_E4_AND_E5), a_position("k7/8/8/4P3/4p3/8/8/K7 w - -")),
        (a_position(PAWNS_ON_E4_AND_E5), a_position("k7/8/8/p7/4P3/8/8/K7 w - -")),
    ],
)
def test_the_position_is_least_like_the_last_in_side_squares_and_pawns(
    like: Position, unlike: Position
) -> None:
    assert likeness(like, BEFORE) > likeness(unlike, BEFORE)
    for seed in range(4):
        choice = choose([like, unlike], 1, BEFORE, {}, DAY, 3, seed=seed)
        assert choice is not None and choice.position == unlike


def test_a_position_is_most_like_itself_and_the_tier_matters_more_than_likeness() -> None:
    assert likeness(BEFORE, BEFORE) == 3
    other = a_position("y", 2, side="black")
    same = BEFORE._replace(key=PAWNS_ON_E4_AND_E5)
    choice = choose([same, other], 1, BEFORE, {}, DAY, 3)
    assert choice is not None and choice.position == same


@pytest.mark.parametrize(("pool", "only"), [("", False), ("like", True), ("like one", False), ("one", False)])
def test_a_pool_can_have_lookalikes_only(pool: str, only: bool) -> None:
    assert has_only_lookalikes([a_position(name, lookalike=name == "like") for name in pool.split()]) is only


@pytest.mark.parametrize(
    ("pool", "shown", "lookalike", "key"),
    [
        ("real like", {}, False, "real"),
        ("real like", {}, True, "like"),
        ("real", {}, True, "real"),
        ("like", {}, False, None),  # never a lookalike in place of a real one
        ("like real", {"real": 40}, False, "real"),
        ("like real", {"like": 40}, True, "real"),  # an unseen one of the other kind
        ("like real", {"like": 40, "real": 50}, True, "like"),
    ],
)
def test_a_lookalike_is_shown_only_when_one_is_wanted(
    pool: str, shown: Mapping[str, int], lookalike: bool, key: str | None
) -> None:
    positions = [a_position(name, lookalike=name == "like") for name in pool.split()]
    choice = choose(positions, 1, None, days_ago(**shown), DAY, 3, lookalike)
    assert (choice.position.key if choice else None) == key


@given(st.integers(0, 10**6), st.sampled_from([FORK, Strand("skewer", "spot")]))
def test_none_of_the_first_three_and_then_one_in_four_is_a_lookalike(seed: int, strand: Strand) -> None:
    asked = [asks_lookalike(strand, number, seed) for number in range(43)]
    assert not any(asked[:3])
    assert [sum(asked[start : start + 4]) for start in range(3, 43, 4)] == [1] * 10


def test_the_place_of_the_lookalike_cannot_be_guessed() -> None:
    places = Counter(
        number for seed in range(400) for number in range(3, 7) if asks_lookalike(FORK, number, seed)
    )
    assert sum(places.values()) == 400
    assert min(places[number] for number in range(3, 7)) > 60
    blocks = {
        tuple(number % 4 for number in range(3, 43) if asks_lookalike(FORK, number, seed))
        for seed in range(50)
    }
    assert len(blocks) > 40


@pytest.mark.parametrize(("count", "allowed"), [(0, 3), (89, 3), (90, 3), (120, 4), (149, 4), (780, 26)])
def test_a_day_uses_a_thirtieth_of_the_unseen_positions_but_at_least_three(count: int, allowed: int) -> None:
    assert fresh_allowance(count) == allowed


def test_a_position_in_two_pools_is_one_unseen_position() -> None:
    shared, other = a_position("a"), a_position("b")
    assert unseen([[shared, other], [shared]], {}) == 2
    assert unseen([[shared, other], [shared]], {"a"}) == 1


@pytest.mark.parametrize(
    ("shown", "dry"), [({}, False), ({"a": 3}, False), ({"a": 3, "b": 13}, True), ({"a": 3, "b": 14}, False)]
)
def test_a_pool_is_dry_if_it_has_neither_unseen_nor_rested_positions(
    shown: Mapping[str, int], dry: bool
) -> None:
    assert is_dry([a_position("a"), a_position("b")], days_ago(**shown), DAY) == dry


@pytest.mark.parametrize(
    ("shown", "lookalikes", "after"),
    [
        ({"a": 3}, "", 0),  # one is unseen
        ({"a": 3, "b": 8}, "", 6),
        ({"a": 3, "b": 45}, "", 0),
        ({"a": 3, "b": 8}, "b", 11),  # a lookalike never comes in the place of a real one
        ({"a": 3}, "b", 11),
        ({}, "a b", None),
    ],
)
def test_a_pool_shows_something_again_once_its_first_position_has_rested(
    shown: Mapping[str, int], lookalikes: str, after: int | None
) -> None:
    pool = [a_position(name, lookalike=name in lookalikes.split()) for name in "ab"]
    day = None if after is None else DAY + timedelta(days=after)
    assert shows_on(pool, days_ago(**shown), DAY) == day


def test_ties_are_broken_by_the_seed_and_not_by_the_order_of_the_deck() -> None:
    pool = [a_position(str(number)) for number in range(20)]
    chosen = [choose(pool, 1, None, {}, DAY, 3, seed=seed) for seed in range(20)]
    assert len({choice.position.key for choice in chosen if choice}) > 5
    assert chosen == [choose(pool[::-1], 1, None, {}, DAY, 3, seed=seed) for seed in range(20)]


def test_a_lookalike_is_in_the_pool_of_the_motif_that_it_seems_to_show() -> None:
    seems = MotifTag("fork", "black")
    card = Card("a", "4k3/8/8/8/8/8/8/4K3 b - - 0 1", ("play",), lookalike=seems)
    real = replace(card, motifs=(seems,), lookalike=None)
    found = [Askable.of("deck", each, ("play",)).kind for each in (card, real)]
    assert [kind.strands for kind in found] == [(FORK,), (FORK,)]
    assert [(kind.lookalike, kind.side) for kind in found] == [(True, "black"), (False, "black")]
