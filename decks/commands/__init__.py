"""The commands, one module each. A module is imported only when its command runs."""

from __future__ import annotations

SUMMARIES = {
    "today": "Ask today's cards: from the decks used before, or else from the demo deck.",
    "due": "Tell what returns when.",
    "prepare": "Plan the days up to a tournament; `today` then follows the plan.",
    "progress": "Show how far you have come, motif by motif.",
    "show": "Show a card again: board, question, line, comments, verdicts on moves, and your last answers.",
    "explain": "Show the motifs, the factors and the verdict of a position, with the evidence.",
    "motifs": "List the motifs: id, title, definition, source.",
    "scan": "Tag every position of games, store them in the scorebook, count the motifs and their scores.",
    "trace": "Trace where a player's games went wrong: each episode with its root, its motif and its cost.",
    "ledger": "Count by motif which chances a player took and let slip, what was let in, and what it cost.",
    "build": "Make engine-checked cards from games and add them to a deck folder.",
    "check": "Check that a deck is well formed and that its keys hold; add what is missing.",
    "disputes": "List the grades that students contest; accept or refuse their claims.",
    "students": "Add students to a scorebook, and list them.",
    "hand-in": "Write a student's log to a file, for the coach or for another computer.",
    "collect": "Take logs that students have handed in; one that is there already changes nothing.",
    "backup": "Copy the whole scorebook to a file.",
    "restore": "Put a copy back in place of the scorebook; the old file is kept.",
    "replay": "Check that every stored memory follows from the log of answers.",
}
"""Every command with its line in `rondeau --help`."""


def module_of(name: str) -> str:
    """The module of a command, whose name it has."""
    return f"decks.commands.{name.replace('-', '_')}"
