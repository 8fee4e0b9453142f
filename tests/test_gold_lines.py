"""What lines use, against the lines on which others' labels and the rules once disagreed."""

from __future__ import annotations

import chess
from gold_lines import MOTIFS, judged_lines

from patterns.lines import parse_line, uses_of_many


def test_the_rules_say_of_each_line_what_was_judged() -> None:
    judged = judged_lines()
    boards = [chess.Board(each.fen) for each in judged]
    found = uses_of_many(
        [(board, parse_line(board, each.line)) for board, each in zip(boards, judged, strict=True)]
    )
    faults = [
        f"{each.label} should{'' if each.holds else ' not'} be used: {each.fen} {each.line} ({each.reason})"
        for each, uses in zip(judged, found, strict=True)
        if any(use.motif in MOTIFS[each.label] for use in uses) != each.holds
    ]
    assert len(judged) >= 60 and {each.holds for each in judged} == {True, False}
    assert not faults, "\n".join(faults)
