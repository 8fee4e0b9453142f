"""Tables, and values combined by row, compared with plain loops."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from functools import reduce
from operator import or_
from typing import TypeVar

import numpy as np
import pytest

from patterns.boards.bitboards import Bitboards, Flags, Rows
from patterns.boards.grouping import (
    all_of,
    any_of,
    best_of_row,
    greatest,
    grouped,
    marked,
    nth_of_row,
    once_and_twice,
    summed,
    united,
)
from patterns.boards.tables import Table
from patterns.motifs.findings import Findings

T = TypeVar("T")

SIZE = 12
RUNS = 60
"""The number of random cases per test. The first ones are the smallest, starting with no entries."""


@dataclass(frozen=True)
class Inner(Table):
    pair: Bitboards
    flag: Flags


@dataclass(frozen=True)
class Outer(Table):
    row: Rows
    inner: Inner


def made(row: list[int]) -> Outer:
    """A table with a column of two dimensions and a table as a column. `row` determines every value."""
    rows = np.array(row, dtype=np.int64)
    pair = np.array([rows * 2, rows * 3], dtype=np.uint64)
    return Outer(rows, Inner(pair, rows % 2 == 0))


def same(table: Outer, row: list[int]) -> bool:
    """Whether the table equals what `made` makes of these rows, in every column."""
    expected = made(row)
    return (
        len(table) == len(row)
        and table.row.tolist() == expected.row.tolist()
        and table.inner.pair.tolist() == expected.inner.pair.tolist()
        and table.inner.flag.tolist() == expected.inner.flag.tolist()
    )


def cases() -> list[tuple[np.random.Generator, int]]:
    """Cases of a random number generator and a number of entries."""
    return [(np.random.default_rng(number), number) for number in range(RUNS)]


def by_row(rows: Rows, values: list[T]) -> dict[int, list[T]]:
    found: defaultdict[int, list[T]] = defaultdict(list)
    for row, value in zip(rows.tolist(), values, strict=True):
        found[row].append(value)
    return found


def test_a_table_takes_entries_in_any_order_and_more_than_once() -> None:
    assert same(made([5, 6, 7]).take(np.array([2, 0, 2])), [7, 5, 7])
    assert same(made([5]).take(np.zeros(0, dtype=np.int64)), [])


def test_a_table_keeps_the_flagged_entries() -> None:
    assert same(made([5, 6, 7]).only(np.array([True, False, True])), [5, 7])
    assert same(made([]).only(np.zeros(0, dtype=np.bool_)), [])


def test_flags_must_be_as_many_as_the_entries() -> None:
    with pytest.raises(ValueError, match="Outer has 3 entries, but there are 2 flags"):
        made([5, 6, 7]).only(np.array([True, False]))


def test_tables_are_joined_in_order_columns_that_are_tables_too() -> None:
    assert same(Outer.joined(made([5, 6]), made([]), made([7])), [5, 6, 7])
    assert same(Outer.joined(made([5])), [5])


@pytest.mark.parametrize("flags", [1, 3])
def test_columns_of_different_lengths_are_named_with_both_sizes(flags: int) -> None:
    pair = np.zeros((2, 2), dtype=np.uint64)
    with pytest.raises(ValueError, match=rf"Inner\.flag has {flags} entries, but Inner\.pair has 2"):
        Inner(pair, np.zeros(flags, dtype=np.bool_))
    with pytest.raises(ValueError, match=rf"Outer\.inner has {flags} entries, but Outer\.row has 2"):
        replace(made([5, 6]), inner=made([1] * flags).inner)


def test_results_by_row_equal_those_of_a_loop() -> None:
    seen = 0
    for random, entries in cases():
        rows = random.integers(0, SIZE, entries)
        boards = random.integers(0, 2**63, entries, dtype=np.uint64) & random.integers(
            0, 2**63, entries, dtype=np.uint64
        )
        values, flags = random.integers(-5, 6, entries), random.integers(0, 2, entries) == 1
        of_boards, of_values = by_row(rows, boards.tolist()), by_row(rows, values.tolist())
        of_flags = by_row(rows, flags.tolist())
        every = range(SIZE)
        assert united(rows, boards, SIZE).tolist() == [
            reduce(or_, of_boards.get(row, []), 0) for row in every
        ]
        assert greatest(rows, values, SIZE).tolist() == [max(0, *of_values.get(row, [0])) for row in every]
        assert greatest(rows, values, SIZE, -2).tolist() == [
            max(-2, *of_values.get(row, [-9])) for row in every
        ]
        assert summed(rows, values, SIZE).tolist() == [sum(of_values.get(row, [])) for row in every]
        assert any_of(rows, flags, SIZE).tolist() == [any(of_flags.get(row, [])) for row in every]
        assert all_of(rows, flags, SIZE).tolist() == [all(of_flags.get(row, [])) for row in every]
        assert marked(rows, SIZE).tolist() == [row in of_flags for row in every]
        seen += entries
    assert seen == sum(range(RUNS))


def test_sums_and_greatest_values_keep_their_kind_of_number_where_there_is_nothing() -> None:
    nothing = np.zeros(0, dtype=np.int64)
    assert summed(nothing, nothing, 2).dtype == np.float64
    assert greatest(nothing, nothing, 2).dtype == np.int64
    assert greatest(nothing, np.zeros(0), 2).dtype == np.float64


def test_entries_of_ascending_rows_are_numbered_and_their_squares_counted() -> None:
    for random, entries in cases():
        rows = np.sort(random.integers(0, SIZE, entries))
        boards = random.integers(0, 2**63, entries, dtype=np.uint64)
        assert nth_of_row(rows).tolist() == [
            rows[:place].tolist().count(row) for place, row in enumerate(rows)
        ]
        once, twice = once_and_twice(rows, boards, SIZE)
        of_boards = by_row(rows, boards.tolist())
        for row in range(SIZE):
            counts = [sum(board >> square & 1 for board in of_boards.get(row, [])) for square in range(64)]
            assert int(once[row]) == sum(1 << square for square in range(64) if counts[square] >= 1)
            assert int(twice[row]) == sum(1 << square for square in range(64) if counts[square] >= 2)


def test_the_best_entry_of_each_row_is_its_first_with_the_greatest_value() -> None:
    for random, entries in cases():
        rows, values = random.integers(0, SIZE, entries), random.integers(0, 4, entries)
        of_values = by_row(rows, values.tolist())
        found = best_of_row(rows, values)
        assert rows[found].tolist() == sorted(of_values)
        for entry, (row, among) in zip(found.tolist(), sorted(of_values.items()), strict=True):
            first = among.index(max(among))
            assert entry == np.flatnonzero(rows == row)[first]


def test_squares_of_ascending_rows_are_united_as_of_any_rows() -> None:
    for random, entries in cases():
        rows = np.sort(random.integers(0, SIZE, entries))
        boards = random.integers(0, 2**63, entries, dtype=np.uint64)
        mixed = random.permutation(entries)
        expected = united(rows[mixed], boards[mixed], SIZE).tolist()
        assert united(rows, boards, SIZE).tolist() == expected


def test_groups_are_the_entries_that_agree_in_all_keys_in_the_order_of_the_keys() -> None:
    for random, entries in cases():
        first_key, second_key = random.integers(0, 4, entries), random.integers(0, 3, entries)
        boards = random.integers(0, 2**63, entries, dtype=np.uint64)
        keys = list(zip(first_key.tolist(), second_key.tolist(), strict=True))
        expected = sorted(set(keys))
        groups = grouped(first_key, second_key)
        assert len(groups) == len(expected)
        assert groups.first.tolist() == [keys.index(key) for key in expected]
        assert groups.group.tolist() == [expected.index(key) for key in keys]
        assert groups.united(boards).tolist() == [
            reduce(or_, (board for board, other in zip(boards.tolist(), keys, strict=True) if other == key))
            for key in expected
        ]


def test_findings_of_a_row_that_agree_are_merged_and_those_of_other_rows_are_not() -> None:
    actors, targets, squares = np.array([[1, 1, 1, 2], [4, 4, 8, 4], [16, 32, 64, 128]], dtype=np.uint64)
    found = Findings(np.array([3, 1, 3, 3]), actors, targets, squares, np.array([7, 6, 5, 4]), np.arange(4))
    by_actor, by_row_alone = found.merged(found.actors), found.merged()
    assert [column.tolist() for column in vars(by_actor).values()] == [
        [1, 3, 3],
        [1, 1, 2],
        [4, 12, 4],
        [32, 80, 128],
        [6, 7, 4],
        [1, 0, 3],
    ]
    assert [column.tolist() for column in vars(by_row_alone).values()] == [
        [1, 3],
        [1, 3],
        [4, 12],
        [32, 208],
        [6, 7],
        [1, 0],
    ]
    nothing = found.take(np.zeros(0, dtype=np.int64))
    assert len(nothing.merged(nothing.actors)) == 0
