"""What the coach's NAGs say about moves: accepted or refused, whatever an engine finds.

NAGs: PGN standard, section 10.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from decks.cards.movetext import Variation
from decks.cards.pgn_spans import GLYPHS

ONLY_MOVE = 7
"""The NAG for a forced move: all others lose quickly."""

ACCEPTING, REFUSING = (1, 3, ONLY_MOVE), (2, 4)
"""NAGs for good, very good and forced moves, and for poor and very poor moves. Others do not decide."""

WRITTEN = {**{nag: glyph for glyph, nag in GLYPHS.items()}, ONLY_MOVE: f"${ONLY_MOVE}"}
"""How these NAGs are written in a message."""


def accepts(nags: Iterable[int]) -> bool | None:
    """Whether a move with these NAGs is accepted, or refused; None if they do not decide.

    >>> accepts([5, 3]), accepts([2]), accepts([6]), accepts([])
    (True, False, None, None)
    """
    return next((nag in ACCEPTING for nag in nags if nag in (*ACCEPTING, *REFUSING)), None)


def coach_marks(
    line: Sequence[str], nags: Mapping[int, Sequence[int]], variations: Iterable[Variation]
) -> dict[int, dict[str, bool]]:
    """By ply of `line`, the student's moves (UCI) that the coach accepts (True) or refuses (False).

    `nags`: by the ply that they follow. If a move is marked twice, the main line counts, then the first
    variation.
    """
    marks: dict[int, dict[str, bool]] = {}
    for ply, move, said in _marked(line, nags, variations):
        if said is not None and ply % 2 == 0:
            marks.setdefault(ply, {}).setdefault(move, said)
    return marks


def _marked(
    line: Sequence[str], nags: Mapping[int, Sequence[int]], variations: Iterable[Variation]
) -> Iterator[tuple[int, str, bool | None]]:
    for ply, move in enumerate(line):
        yield ply, move, accepts(nags.get(ply + 1, ()))
    for variation in variations:
        yield variation.ply, variation.line[0], accepts(variation.nags)
