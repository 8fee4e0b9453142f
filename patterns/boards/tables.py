"""Tables: dataclasses whose fields are columns of one length, an entry being one place in all of them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Self, cast

import numpy as np
import numpy.typing as npt

from patterns.boards.bitboards import Flags, Rows

Column = npt.NDArray[Any]


@dataclass(frozen=True)
class Table:
    """Base of the frozen dataclasses whose fields are columns: arrays, or tables in their turn.

    An array of more than one dimension has its entries along the last one: shape (..., M) for M entries.
    Columns of different lengths are a ValueError that names the column and both sizes.
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
        """The entries of these rows, in this order, repeats allowed."""
        return self._made(
            column.take(rows) if isinstance(column, Table) else column.take(rows, axis=-1)
            for column in self._columns()
        )

    def only(self, flags: Flags) -> Self:
        """The entries whose flag is set; ValueError if there is not a flag for each entry."""
        if len(flags) != len(self):
            raise ValueError(f"{len(flags)} flags for a {type(self).__name__} of {len(self)} entries")
        return self.take(flags.nonzero()[0])

    @classmethod
    def joined(cls, *parts: Self) -> Self:
        """The entries of all the parts, one part at least, in the order given."""
        return cls._made(
            type(columns[0]).joined(*columns)
            if isinstance(columns[0], Table)
            else np.concatenate(cast("tuple[Column, ...]", columns), axis=-1)
            for columns in zip(*(part._columns() for part in parts), strict=True)
        )

    def _columns(self) -> Iterable[Column | Table]:
        columns: Iterable[Column | Table] = vars(self).values()
        return columns

    @classmethod
    def _made(cls, columns: Iterable[Column | Table]) -> Self:
        return cls(*columns)


def _length(column: Column | Table) -> int:
    return len(column) if isinstance(column, Table) else column.shape[-1]
