"""Which steps a scorebook has had, from an empty file to this version. They are made in `schema`."""

from __future__ import annotations

from decks.scorebook.database import ScorebookDatabase

STEPS = (
    "0001-first-tables",
    "0002-any-ask",
    "0003-order-of-arrival",
    "0004-contests",
    "0005-unvoiding",
    "0006-searches",
    "0007-ledger",
    "0008-aliases",
    "0009-shown-positions",
    "0010-students",
    "0011-worked-displays",
    "0012-states-of-strands",
    "0013-detections",
    "0014-reading",
    "0015-stuck-cards",
    "0016-first-sights",
)
"""All of this version, in order."""

_NOTED_IN = "_sqlite_migrations"
"""The table in which the library notes the steps of a file."""


def steps_taken(db: ScorebookDatabase) -> set[str]:
    """The steps that a database has had; none if it is no scorebook."""
    if _NOTED_IN not in db.table_names():
        return set()
    return {
        row["name"] for row in db.query(f"SELECT name FROM {_NOTED_IN} WHERE migration_set = 'scorebook'")
    }
