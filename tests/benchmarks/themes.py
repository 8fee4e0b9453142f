"""How well motifs agree with published themes: `python tests/benchmarks/themes.py FILE.epd`.

The file holds positions in EPD. Each has its best move (`bm`) and an `id` with the name of a theme and a
number, as in the Strategic Test Suite of D. Corbit and S. Natarajan ("STS(v9.0) Advancement of a/b/c
pawns.001"). A position counts for a theme if the side to move has one of the theme's motifs before or after
its best move. The share of the theme's positions that count is compared with the share in all other
positions of the file. The motifs of a theme are those that a book would name under its heading.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import chess

from patterns.catalogue import MOTIFS
from patterns.detect import find_in

THEMES = {
    "Undermine": ("pawn-lever", "base-of-the-chain", "removed-defender"),
    "Open Files and Diagonals": (
        "open-file", "heavy-pieces-at-the-king", "battery", "pin-on-file", "pin-on-diagonal",
    ),
    "Knight Outposts": ("outpost", "weak-square", "blockade"),
    "Bishop vs Knight": ("bad-bishop", "bishop-pair", "knight-against-bad-bishop"),
    "AKPC": ("pawn-storm", "minority-attack", "wing-majority", "pawn-lever"),
    "Advancement of a/b/c pawns": (
        "pawn-storm", "minority-attack", "wing-majority", "pawn-lever",
    ),
    "Center Control": ("isolani-play", "outpost", "weak-square", "blockade", "hanging-pawns"),
    "Pawn Play in the Center": ("pawn-lever", "isolani-play", "passed-pawn", "hanging-pawns"),
    "7th Rank": ("seventh-rank", "back-rank"),
}  # fmt: skip
"""By words of the theme's name, the motifs that belong to it."""


def positions_of(path: Path) -> list[tuple[str, chess.Board, chess.Board]]:
    """Each position's `id`, its board, and the board after its (first) best move."""
    found = []
    for line in path.read_text(encoding="utf-8").splitlines():
        board, operations = chess.Board.from_epd(line)
        name, best = operations["id"], operations["bm"]
        assert isinstance(name, str) and isinstance(best, list), line
        after = board.copy(stack=False)
        after.push(best[0])
        found.append((name, board, after))
    return found


def shown(positions: list[tuple[str, chess.Board, chess.Board]]) -> list[set[str]]:
    """For each position the motifs that the side to move has before or after the best move."""
    boards = [board for _, before, after in positions for board in (before, after)]
    found = find_in(boards)
    return [
        {
            one.motif
            for one in [*found[2 * number], *found[2 * number + 1]]
            if one.side == chess.COLOR_NAMES[before.turn]
        }
        for number, (_, before, _) in enumerate(positions)
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("file", type=Path)
    positions = positions_of(parser.parse_args().file)
    motifs = shown(positions)
    print(f"{len(positions)} positions\n{'theme':28} {'theirs':>6} {'others':>6} {'more':>6}")
    differences = []
    for theme, ids in THEMES.items():
        counts = [bool(found & set(ids)) for found in motifs]
        inside = [count for count, (name, *_) in zip(counts, positions, strict=True) if theme in name]
        outside = (sum(counts) - sum(inside)) / (len(counts) - len(inside))
        share = sum(inside) / len(inside)
        differences.append(share - outside)
        missing = [id for id in ids if id not in MOTIFS]
        remark = f"   without {', '.join(missing)}" if missing else ""
        print(f"{theme:28} {share:6.2f} {outside:6.2f} {share - outside:+6.2f}{remark}")
    print(f"{'mean':28} {'':13} {sum(differences) / len(differences):+6.2f}")


if __name__ == "__main__":
    main()
