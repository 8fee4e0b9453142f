"""The pattern detector: tags chess positions with motifs and takes stock of them factor by factor.

    import patterns

    patterns.tag(source, motifs=None)   every position of games, or every board, with its motifs
    patterns.explain(board_or_fen)      the motifs of one position, the stock-taking and the verdict
    patterns.read_games(source)         the games of a PGN file or stream, readable or not
    patterns.MOTIFS                     the catalogue: every motif by its id

`patterns` knows nothing of students, storage or screens; `decks` builds on it, never the reverse. The import
of `patterns` itself is light: numpy and the detectors are imported when a name that needs them is first used.
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from patterns.catalogue import MOTIFS
    from patterns.explanation import Explanation, explain
    from patterns.motifs.findings import Finding, Motif
    from patterns.reading.pgn import Game, GamesError, Unreadable, read_games
    from patterns.tagging import LeftOutWarning, TaggedBoard, TaggedGame, TaggedPosition, tag

__all__ = [
    "MOTIFS",
    "Explanation",
    "Finding",
    "Game",
    "GamesError",
    "LeftOutWarning",
    "Motif",
    "TaggedBoard",
    "TaggedGame",
    "TaggedPosition",
    "Unreadable",
    "explain",
    "read_games",
    "tag",
]

_HOME_OF = {
    "MOTIFS": "patterns.catalogue",
    "Explanation": "patterns.explanation",
    "Finding": "patterns.motifs.findings",
    "Game": "patterns.reading.pgn",
    "GamesError": "patterns.reading.pgn",
    "LeftOutWarning": "patterns.tagging",
    "Motif": "patterns.motifs.findings",
    "TaggedBoard": "patterns.tagging",
    "TaggedGame": "patterns.tagging",
    "TaggedPosition": "patterns.tagging",
    "Unreadable": "patterns.reading.pgn",
    "explain": "patterns.explanation",
    "read_games": "patterns.reading.pgn",
    "tag": "patterns.tagging",
}
"""The module of each public name. It is imported when the name is first used."""


if not TYPE_CHECKING:  # otherwise a type checker would accept every misspelt name

    def __getattr__(name: str) -> object:
        if name not in _HOME_OF:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        value = globals()[name] = getattr(import_module(_HOME_OF[name]), name)
        return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
