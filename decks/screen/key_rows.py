"""The last rows of the screen: what can be done at this moment, each key with its words."""

from __future__ import annotations

from collections.abc import Iterable

from prompt_toolkit.formatted_text import StyleAndTextTuples
from prompt_toolkit.formatted_text.utils import fragment_list_width

KEY_GAP = "  "


def key_rows(named_keys: Iterable[StyleAndTextTuples], columns: int) -> StyleAndTextTuples:
    """Named keys side by side, in rows of `columns` at most. A key and its words are never divided."""
    fragments: StyleAndTextTuples = []
    column = 0
    for words in named_keys:
        width = fragment_list_width(words)
        if column and column + len(KEY_GAP) + width > columns:
            fragments.append(("", "\n"))
            column = 0
        elif column:
            fragments.append(("", KEY_GAP))
            column += len(KEY_GAP)
        fragments += words
        column += width
    return fragments
