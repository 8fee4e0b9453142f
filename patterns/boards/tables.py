"""Tables: dataclasses whose fields are columns of equal length. An entry is one place in all columns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Self, Union

import numpy as np
import numpy.typing as npt

from patterns.boards.bitboards import Flags, Rows

Column = Union[npt.NDArray[Any], "Table"]


@dataclass(frozen=True)
class Table:
    """Base of the frozen dataclasses whose fields are columns. A column is an array or another table.

    An array of several dimensions has its entries along the last one: shape (..., M) for M entries.
    Columns of different lengths raise a ValueError that names the column and both sizes.
    """

    def __post_init__(self) -> None:
        size = None
        for name, column in vars(self).items():
            length = _length(column)
            if size is None:
                size = length
            elif length != size:
                table, first = type(self).__name__, next(iter(vars(self)))
                raise ValueError(f"{table}.{name} has {length} entries, but {table}.{first} has {size}")

    def __len__(self) -> int:
        return _length(next(iter(vars(self).values())))

    def take(self, rows: Rows) -> Self:
        """The entries of these rows, in this order. A row may be repeated."""
        # The columns agreed before, so the result needs no check. This halves the time.
        taken = object.__new__(type(self))
        vars(taken).update({name: _taken(column, rows) for name, column in vars(self).items()})
        return taken

    def only(self, flags: Flags) -> Self:
        """The entries whose flag is set. ValueError if there are more or fewer flags than entries."""
        if len(flags) != len(self):
            raise ValueError(
                f"{type(self).__name__} has {len(self)} entries, but there are {len(flags)} flags"
            )
        return self.take(flags.nonzero()[0])

    @classmethod
    def joined(cls, *parts: Self) -> Self:
        """The entries of all parts in the given order. There must be at least one part."""
        columns = zip(*(vars(part).values() for part in parts), strict=True)
        return cls(*(_joined(of_parts) for of_parts in columns))


def _length(column: Column) -> int:
    return len(column) if isinstance(column, Table) else column.shape[-1]


def _taken(column: Column, rows: Rows) -> Column:
    return column.take(rows) if isinstance(column, Table) else column.take(rows, axis=-1)


def _joined(parts: Sequence[Any]) -> Column:
    first = parts[0]
    return type(first).joined(*parts) if isinstance(first, Table) else np.concatenate(parts, axis=-1)
