"""Checks of what callers of the library pass in: an error names what was given and what is wanted."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches
from reprlib import Repr

import chess

from patterns.catalogue import MOTIFS
from patterns.motifs.findings import Motif
from patterns.reading.fen import FenError, board_from_fen

MotifsAsked = str | Motif | Iterable[str | Motif] | None
"""Motifs by id or as objects, one or several. None asks for the whole catalogue."""

_SHORT = Repr()
_SHORT.maxstring = _SHORT.maxother = 90  # a FEN fits, a file does not


def shown(thing: object) -> str:
    """A thing as an error message shows it: its type and its value, shortened."""
    return f"{type(thing).__name__} ({_SHORT.repr(thing)})"


def quoted(text: str) -> str:
    """A text as an error message quotes it, shortened."""
    return _SHORT.repr(text)


def motifs_of(asked: MotifsAsked) -> tuple[Motif, ...]:
    """The motifs asked for, in the order asked for, each only once.

    ValueError if no motif has the id (it names similar ids) or if no motif is asked for. TypeError for
    anything that is not an id or a motif.

    >>> [motif.title for motif in motifs_of("fork")]
    ['Fork']
    >>> motifs_of("outposts")
    Traceback (most recent call last):
    ValueError: no motif is called 'outposts': perhaps 'outpost'? (patterns.MOTIFS has all by id)
    """
    if asked is None:
        return tuple(MOTIFS.values())
    if isinstance(asked, (str, Motif)):
        asked = (asked,)
    if not isinstance(asked, Iterable):
        raise TypeError(f"motifs are given as ids or patterns.Motif, not as {shown(asked)}")
    chosen = tuple(dict.fromkeys(map(_motif, asked)))
    if not chosen:
        raise ValueError("no motif is asked for: name one, or give None for all of the catalogue")
    return chosen


def _motif(asked: object) -> Motif:
    if isinstance(asked, Motif):
        return asked
    if not isinstance(asked, str):
        raise TypeError(f"a motif is given as its id or as patterns.Motif, not as {shown(asked)}")
    if asked not in MOTIFS:
        raise ValueError(
            f"no motif is called {quoted(asked)}{near_motifs(asked)} (patterns.MOTIFS has all by id)"
        )
    return MOTIFS[asked]


def near_motifs(asked: str) -> str:
    """The ids that contain `asked` or are like it, as the end of a message; empty if there are none.

    >>> near_motifs("frok")
    ": perhaps 'fork'?"
    """
    containing = [motif for motif in MOTIFS if asked and asked.lower() in motif]
    near = " or ".join(map(repr, containing[:3] or get_close_matches(asked, MOTIFS, 3)))
    return f": perhaps {near}?" if near else ""


def board_of(given: chess.Board | str) -> chess.Board:
    """The given position as a board of its own, without the moves that led to it.

    A FEN is checked in full (FenError, a ValueError). Of a board only one thing is checked, which everything
    else depends on: one king per side (ValueError). TypeError for anything else.
    """
    if isinstance(given, str):
        try:
            return board_from_fen(given)
        except FenError as error:
            raise FenError(f"{quoted(given)}: {error}") from error
    if not isinstance(given, chess.Board):
        raise TypeError(f"a position is given as a chess.Board or a FEN, not as {shown(given)}")
    for colour, side in zip(chess.COLORS, ("White", "Black"), strict=True):
        kings = len(given.pieces(chess.KING, colour))
        if kings != 1:
            raise ValueError(f"{given.fen()}: {side} has {kings or 'no'} king{'s' * (kings > 1)}, not one")
    return given.copy(stack=False)
