"""Where the demo deck is."""

from __future__ import annotations

from pathlib import Path

PACKAGE = Path(__file__).resolve().parent.parent


def demo_deck_folder() -> Path:
    """The demo deck's folder: bundled in an installed package, else the checkout's own."""
    bundled = PACKAGE / "demo_deck"
    return bundled if bundled.is_dir() else PACKAGE.parent / "demo_deck"
