"""The commands, one module each; a module is imported when its command runs, not before."""

from __future__ import annotations

SUMMARIES = {
    "today": "Today's cards; on an empty scorebook, those of the demo deck.",
    "show": "One card again: board, question, line, comments, and your last answers.",
    "explain": "Motifs, factors and verdict of a position, with the evidence.",
    "motifs": "The catalogue of motifs: id, title, definition, source.",
    "scan": "Tag every position of games, fill the scorebook, tell what arose and how it scored.",
    "build": "Make engine-checked cards of games, into a deck folder.",
    "check": "Is a deck well-formed and legal, and do its keys hold up?",
    "students": "Add and list the students of a scorebook.",
    "backup": "Write a whole copy of the scorebook to a file.",
    "restore": "Put such a copy in the scorebook's place; what stood there is kept.",
    "replay": "Prove that every stored memory follows from the log of answers.",
}
"""Every command and the line that `rondeau --help` shows for it; its module here has the same name."""
