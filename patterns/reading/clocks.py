"""How much time a player had, by the tags and the clock comments of a game.

The TimeControl tag is the PGN standard's (section 9.6.1). The comment `[%clk 0:04:59]`, with the time that
the mover has left after the move, is common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

_PART = re.compile(r"[0-9]+(\.[0-9]+)?")
_PERIOD = re.compile(r"(?:[0-9]+/|\*)?([0-9]+)(?:\+[0-9]+)?")
"""The first field of a TimeControl tag: seconds, after a number of moves or a star, before an increment."""


def clock_seconds(text: str) -> float | None:
    """The seconds that a clock shows; None if the text is not a clock.

    >>> clock_seconds("0:04:59"), clock_seconds("1:30:00.5"), clock_seconds("5:1:2:3")
    (299.0, 5400.5, None)
    """
    parts = text.split(":")
    if len(parts) > 3 or not all(map(_PART.fullmatch, parts)):
        return None
    seconds = 0.0
    for part in parts:
        seconds = 60 * seconds + float(part)
    return seconds


def starting_seconds(headers: Mapping[str, str], clocks: Mapping[int, float], first_ply: int) -> float | None:
    """The time that a side had at the start, in seconds; None if nothing says so.

    It is the first period of the TimeControl tag. Without one, it is what the side's clock showed after its
    first move, which is the move with `first_ply`.

    >>> starting_seconds({"TimeControl": "300+3"}, {}, 0)
    300.0
    >>> starting_seconds({"TimeControl": "40/7200:3600"}, {}, 0), starting_seconds({}, {1: 599.0}, 1)
    (7200.0, 599.0)
    """
    first, _, _ = headers.get("TimeControl", "").strip().partition(":")
    period = _PERIOD.fullmatch(first)
    if period and int(period[1]) > 0:
        return float(period[1])
    return clocks.get(first_ply)


def seconds_before(clocks: Mapping[int, float], ply: int) -> float | None:
    """The time that the mover had left when the move with this ply (from 0) was to be found; None if unknown.

    An increment is in it, because the clock after the move before shows it already.
    """
    return clocks.get(ply - 2)
