"""How often each motif fires in quiet positions of real games: a tag that is everywhere teaches nothing.

Run by hand: `python tests/benchmarks/firing.py GAMES.pgn...`. Odd and even plies are drawn equally. With
`--look ID` it prints twenty hits of one motif instead, board and note, for a coach to look at.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from random import Random

import chess
from judged import samples

from patterns.catalogue import MOTIFS
from patterns.detect import find_in

MOST = 0.40
"""A motif that fires in a larger share of quiet positions needs a condition about its consequence."""

LOOKED_AT = 20


def rates(boards: list[chess.Board]) -> None:
    """Print the share of positions, and of odd and even plies, with at least one instance of each motif."""
    found = find_in(boards)
    parities = [board.ply() % 2 for board in boards]
    print(f"{len(boards)} quiet positions, {sum(parities)} of them at odd plies")
    for motif in MOTIFS:
        shown = [any(one.motif == motif for one in findings) for findings in found]
        share = sum(shown) / len(shown)
        odd = sum(flag for flag, parity in zip(shown, parities, strict=True) if parity) / sum(parities)
        even = (sum(shown) - odd * sum(parities)) / (len(boards) - sum(parities))
        remark = "  never" if not share else "  too often" if share > MOST else ""
        print(f"{motif:26}{sum(shown):6}{share:8.2%}   odd {odd:6.1%}   even {even:6.1%}{remark}")


def look(boards: list[chess.Board], motif: str, seed: int) -> None:
    """Print hits of one motif, chosen at random."""
    pairs = zip(boards, find_in(boards, [MOTIFS[motif]]), strict=True)
    hits = [(board, one) for board, findings in pairs for one in findings]
    for board, one in Random(seed).sample(hits, min(LOOKED_AT, len(hits))):
        print(f"{board.fen()}\n{board}\n{one.side}: {one.note}\n{one.actors} {one.targets} {one.squares}\n")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("games", nargs="+", type=Path)
    parser.add_argument("--per-game", type=int, default=80, help="quiet positions of a game, at most")
    parser.add_argument("--look", metavar="ID", choices=list(MOTIFS))
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    boards = [chess.Board(one.fen) for one in samples(asked.games, asked.per_game, asked.seed)]
    if asked.look:
        look(boards, asked.look, asked.seed)
    else:
        rates(boards)


if __name__ == "__main__":
    main()
