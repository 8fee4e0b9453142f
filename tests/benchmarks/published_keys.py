"""Do judgings find the best moves and mates that others have published?

Run by hand: `PYTHONPATH=.:tests python tests/benchmarks/published_keys.py [--workers N] [SET...]`.

The sets: `best`, the 24 positions of Bratko and Kopec: a published best move has to hold. `endgames`:
endgames with a known distance to mate, and `textbook`: mates from literature. There the best move has to mate
in as many moves, and a slower forced mate has to hold too. Every position gets the whole judging (SETTLED). A
line is printed for each as soon as it is judged, and a table at the end.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor

from conftest import CACHE, CHESS_ARCHIVE
from published import Published, bratko_kopec, short_endgame_mates, textbook_mates

from patterns.engines.effort import SETTLED
from patterns.engines.engine_pass import cores, engine_pass
from patterns.engines.judging import find_engine
from patterns.engines.questions import Question

ARCHIVE = CACHE / CHESS_ARCHIVE

SETS: Mapping[str, Callable[[], list[Published]]] = {
    "best": lambda: bratko_kopec(ARCHIVE),
    "endgames": lambda: short_endgame_mates(ARCHIVE),
    "textbook": textbook_mates,
}


def main() -> None:
    """Judge the positions, and print what agrees."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("sets", nargs="*", metavar="SET", help=f"some of {', '.join(SETS)}; all if none")
    parser.add_argument("--workers", type=int, default=cores())
    args = parser.parse_args()
    if unknown := set(args.sets) - SETS.keys():
        parser.error(f"no such set: {', '.join(sorted(unknown))}")
    rows = []
    for name in args.sets or SETS:
        published = {one.board.epd(): one for one in SETS[name]()}
        seen: Counter[str] = Counter()
        with ThreadPoolExecutor(args.workers) as executor:
            questions = [Question(one.board, SETTLED) for one in published.values()]
            for question, verdicts in engine_pass(questions, find_engine(), executor):
                one = published[question.board.epd()]
                faults = one.faults(verdicts)
                seen.update(judged=1, settled=verdicts.settled, agreed=not faults)
                says = "; ".join(faults) or "agrees"
                print(f"{name}: {one.name}: {says}{'' if verdicts.settled else ' (not settled)'}", flush=True)
        rows.append((name, seen))
    print(f"\n{'set':10} {'judged':>7} {'agreed':>7} {'settled':>8}")
    for name, seen in rows:
        print(f"{name:10} {seen['judged']:7} {seen['agreed']:7} {seen['settled']:8}")


if __name__ == "__main__":
    main()
