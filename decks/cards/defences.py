"""Which variations of a card are defences: replies that the student has to meet besides the main line's."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from decks.cards.coach_marks import accepts
from decks.cards.movetext import Variation
from decks.tasks.card import Defence


def defences_in(line: Sequence[str], variations: Iterable[Variation]) -> tuple[Defence, ...]:
    """The variations that begin with another reply and go on with the student's answer, in their order.

    A variation whose answer the coach refuses shows a mistake, so it is none. If two begin with the same
    reply, the first counts.
    """
    found: dict[tuple[int, str], Defence] = {}
    for one in variations:
        if one.ply % 2 == 0 or len(one.line) < 2 or one.line[0] == line[one.ply]:
            continue
        accepted = accepts(one.answer_nags)
        if accepted is not False:
            marks = {one.line[1]: True} if accepted else {}
            found.setdefault((one.ply, one.line[0]), Defence(one.ply, one.line, marks))
    return tuple(found.values())
