"""Where the demo deck is."""

from __future__ import annotations

from pathlib import Path

PACKAGE = Path(__file__).resolve().parent.parent


def demo_deck_folder() -> Path:
    """The folder of the demo deck, in the installed package or else in the checkout."""
    bundled = PACKAGE / "demo_deck"
    return bundled if bundled.is_dir() else PACKAGE.parent / "demo_deck"
