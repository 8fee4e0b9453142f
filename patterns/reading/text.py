"""Text that comes from files, made fit to show: PGN headers, comments, engine names.

A terminal obeys control characters wherever they come from, and bidirectional marks reorder what stands
round them. Every such text passes through `safe` before it is printed, error messages included.
"""

from __future__ import annotations

import unicodedata

LIMIT = 200
"""Characters kept of one text: more than a header of the PGN standard (255 with its tag) needs to say."""

REPLACEMENT = "\N{REPLACEMENT CHARACTER}"
CUT = "..."

_REPLACED = {"Cc", "Cs", "Co", "Cn"}  # control, surrogate, private use, unassigned
_DROPPED = {"Cf"}  # invisible format characters, among them the bidirectional ones
_FLATTENED = {"Zl", "Zp"}  # line and paragraph separators


def safe(text: object, limit: int = LIMIT) -> str:
    """`text` on one line, without anything a terminal would obey, at most `limit` characters long.

    Categories are those of the Unicode Character Database. White space becomes a space.

    >>> safe("Anna\\x1b[2J\\nBirch")
    'Anna\ufffd[2J Birch'
    >>> safe("x" * 20, limit=8)
    'xxxxx...'
    """
    raw = str(text)
    # Nothing beyond this point could survive the cap; invisible characters may cost a few shown ones.
    kept = "".join(_shown(character) for character in raw[: 4 * limit])
    if len(kept) <= limit and len(raw) <= 4 * limit:
        return kept
    return kept[: max(0, limit - len(CUT))] + CUT[:limit]


def counted(number: int, thing: str, things: str = "") -> str:
    """`1 fault`, `2 faults`; `things`: the plural, where it is not the usual one."""
    return f"{number} {thing if number == 1 else things or thing + 's'}"


def _shown(character: str) -> str:
    if character in "\t\n\r":
        return " "
    category = unicodedata.category(character)
    if category in _REPLACED:
        return REPLACEMENT
    if category in _DROPPED:
        return ""
    return " " if category in _FLATTENED else character
