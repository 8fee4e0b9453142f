"""What lines use, compared with lines judged by hand."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import chain

import chess
from gold_lines import MOTIFS, Judged, judged_lines, open_lines

from patterns.catalogue import MOTIFS as CATALOGUE
from patterns.lines import Use, parse_line, uses_of_many

FEWEST = 3
"""The fewest lines per label that do not use it, and the fewest that do."""
FEWEST_OF_ITS_OWN = 5
"""The same for a motif that lives only in lines, and so has no judged positions."""


def found_in(judged: Sequence[Judged]) -> list[list[Use]]:
    """What the rules find in each line for the motifs of its label."""
    boards = [chess.Board(each.fen) for each in judged]
    assert all(board.is_valid() for board in boards)
    lines = [(board, parse_line(board, each.line)) for board, each in zip(boards, judged, strict=True)]
    return [
        [use for use in uses if use.motif in MOTIFS[each.label]]
        for each, uses in zip(judged, uses_of_many(lines), strict=True)
    ]


def described(each: Judged) -> str:
    return f"{each.label} {'' if each.holds else 'not '}used: {each.fen} {each.line} ({each.reason})"


def test_the_rules_agree_with_each_judged_line() -> None:
    judged = judged_lines()
    found = found_in(judged)
    faults = [described(each) for each, uses in zip(judged, found, strict=True) if bool(uses) != each.holds]
    assert not faults, "should be: " + "\n".join(faults)


def test_the_rules_still_disagree_with_each_open_line() -> None:
    """A line on which the rules agree now belongs in the other file."""
    judged = open_lines()
    found = found_in(judged)
    learned = [described(each) for each, uses in zip(judged, found, strict=True) if bool(uses) == each.holds]
    assert not learned, "move to gold_lines.csv: " + "\n".join(learned)


def test_every_label_has_lines_that_use_it_and_near_misses() -> None:
    judged = judged_lines()
    count = Counter((each.label, each.holds) for each in judged)
    few = {
        (label, holds)
        for label, motifs in MOTIFS.items()
        for holds in (True, False)
        if count[label, holds]
        < (FEWEST if any(CATALOGUE[id].on_the_board for id in motifs) else FEWEST_OF_ITS_OWN)
    }
    assert not few and len(judged) >= 80
    assert {id for id, motif in CATALOGUE.items() if not motif.on_the_board} <= set().union(*MOTIFS.values())
    pins = {use.motif for use in chain.from_iterable(found_in(judged))} & MOTIFS["pin"]
    assert pins == MOTIFS["pin"], "a pin on file, rank and diagonal each"


def test_no_line_is_judged_twice() -> None:
    count = Counter((each.label, each.fen, each.line) for each in [*judged_lines(), *open_lines()])
    assert max(count.values()) == 1
