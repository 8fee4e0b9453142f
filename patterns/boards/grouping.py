"""Combining entries by row or by key.

`rows` gives for each entry which of `size` rows it belongs to, in any order unless stated otherwise. The
result for a row without entries is empty, 0 or not set.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

from patterns.boards.bitboards import Bitboards, Flags, Rows

Number = TypeVar("Number", bound=np.number[Any])


def united(rows: Rows, boards: Bitboards, size: int) -> Bitboards:
    """For each row, the squares on any of its boards."""
    result = np.zeros(size, dtype=np.uint64)
    if (rows[1:] < rows[:-1]).any():
        np.bitwise_or.at(result, rows, boards)
    elif len(rows):
        # Twice as fast where rows ascend.
        starts = np.flatnonzero(np.concatenate([[True], rows[1:] != rows[:-1]]))
        result[rows[starts]] = np.bitwise_or.reduceat(boards, starts)
    return result


def greatest(rows: Rows, values: npt.NDArray[Number], size: int, least: int = 0) -> npt.NDArray[Number]:
    """For each row, the greatest of its values, but at least `least`."""
    result = np.full(size, least, dtype=values.dtype)
    np.maximum.at(result, rows, values)
    return result


def summed(rows: Rows, values: npt.NDArray[Any], size: int) -> npt.NDArray[np.float64]:
    """For each row, the sum of its values."""
    # For an empty array numpy returns integers, whatever the weights are.
    return np.bincount(rows, weights=values, minlength=size).astype(np.float64)


def any_of(rows: Rows, flags: Flags, size: int) -> Flags:
    """For each row, whether any of its flags is set."""
    return marked(rows[flags], size)


def all_of(rows: Rows, flags: Flags, size: int) -> Flags:
    """For each row, whether all of its flags are set. This is true for a row without flags."""
    return ~marked(rows[~flags], size)


def marked(rows: Rows, size: int) -> Flags:
    """Flags that are set for these rows."""
    result = np.zeros(size, dtype=np.bool_)
    result[rows] = True
    return result


def nth_of_row(rows: Rows) -> npt.NDArray[np.int64]:
    """The place of each entry within its row, from 0. Rows must ascend."""
    place = np.arange(len(rows))
    starts = np.where(np.concatenate([[True], rows[1:] != rows[:-1]])[: len(rows)], place, 0)
    return place - np.maximum.accumulate(starts)


def best_of_row(rows: Rows, values: npt.NDArray[np.int64]) -> Rows:
    """The first of the entries of each row with the greatest value. Values: 0 to 1023."""
    order = (rows * 1024 - values).argsort(kind="stable")
    return order[nth_of_row(rows[order]) == 0]


def once_and_twice(rows: Rows, boards: Bitboards, size: int) -> tuple[Bitboards, Bitboards]:
    """For each row, the squares on any of its boards, and those on two or more. Rows must ascend."""
    once, twice = np.zeros(size, dtype=np.uint64), np.zeros(size, dtype=np.uint64)
    place = nth_of_row(rows)
    for nth in range(int(place.max(initial=-1)) + 1):
        these = (place == nth).nonzero()[0]
        row, board = rows[these], boards[these]
        twice[row] |= once[row] & board
        once[row] |= board
    return once, twice


@dataclass(frozen=True)
class Groups:
    """Entries grouped by key, with the groups in ascending order of their keys.

    `order`: the entries group by group. Within a group they keep their original order.
    `starts`: where each group begins in `order`.
    """

    order: Rows
    starts: Rows

    def __len__(self) -> int:
        return len(self.starts)

    @property
    def first(self) -> Rows:
        """The first entry of each group."""
        return self.order[self.starts]

    @property
    def group(self) -> Rows:
        """Which group each entry belongs to."""
        result = np.zeros(len(self.order), dtype=np.int64)
        result[self.order[self.starts[1:]]] = 1
        result[self.order] = np.cumsum(result[self.order])
        return result

    def united(self, boards: Bitboards) -> Bitboards:
        """For each group, the squares on any of its boards."""
        return np.bitwise_or.reduceat(boards[self.order], self.starts)


def grouped(*keys: npt.NDArray[Any]) -> Groups:
    """Groups of entries that agree in all keys (one or more). They are ordered by the first key first."""
    order = np.lexsort(keys[::-1])
    changes = np.zeros(max(len(order) - 1, 0), dtype=np.bool_)
    for key in keys:
        ordered = key[order]
        changes |= ordered[1:] != ordered[:-1]
    begins = np.concatenate([np.ones(min(len(order), 1), dtype=np.bool_), changes])
    return Groups(order, begins.nonzero()[0])


def pairs_of_equal(first: Rows, second: Rows) -> tuple[Rows, Rows]:
    """All pairs of entries with equal keys: the index of each in `first` and in `second`, which ascends."""
    begin, end = np.searchsorted(second, first), np.searchsorted(second, first, side="right")
    counts = end - begin
    left = np.repeat(np.arange(len(first)), counts)
    return left, np.arange(len(left)) - np.repeat(np.cumsum(counts) - counts, counts) + begin[left]
