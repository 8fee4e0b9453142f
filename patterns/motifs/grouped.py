"""Findings put together: of several searches, and of several ways to do the same."""

from __future__ import annotations

import numpy as np

from patterns.boards.bitboards import BIT, Bitboards, Rows, Squares
from patterns.motifs.findings import Findings, findings


def joined(*parts: Findings) -> Findings:
    """All the findings, in the order given."""
    columns = zip(*(vars(part).values() for part in parts), strict=True)
    return Findings(*(np.concatenate(column) for column in columns))


def one_a_deed(rows: Rows, origins: Squares, targets: Bitboards, squares: Bitboards) -> Findings:
    """One finding for each man and what it does to which targets, with all the squares from which it can."""
    order = np.lexsort((targets, origins, rows))
    rows, origins, targets, squares = rows[order], origins[order], targets[order], squares[order]
    changes = (np.diff(rows) != 0) | (np.diff(origins) != 0) | (np.diff(targets) != 0)
    first = np.flatnonzero(np.concatenate([np.ones(min(1, len(rows)), dtype=np.bool_), changes]))
    united = np.bitwise_or.reduceat(squares, first) if len(first) else squares
    return findings(rows[first], BIT[origins[first]], targets[first], united)
