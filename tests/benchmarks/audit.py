"""An audit of keys: would a longer search grade a deck's moves as the deck does?

    python tests/benchmarks/audit.py DECK [--positions N] [--seed N] [--depth 22] [--workers 2]

`build` and `check` never run it. It shares no search with them: another hash size, one search a move, and
python-chess's own conversation with the engine. For every position where the student moves, all legal moves
are searched to 16 plies, then each move within .3 of the best to `--depth` plies or `--nodes`, so that other
work on the machine changes nothing. Its scores are graded by the same rule as the deck's. Printed are the
positions where

    a good move is refused    the deck says that it slips or fails, the audit that it holds
    a bad one is accepted     the deck says that it holds, the audit that it fails or slips by a clear margin
    a key fails               the move of the card's line does not hold

each without and with what lies within the noise of two searches (`--margin`: a share of what a move that
holds may give up, in expected score, centipawns or mates).
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import chess
import chess.engine

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from decks.asks.catalogue import moves_judged
from decks.cards.deck import Deck
from patterns.engines.scores import MoveVerdict, PositionVerdicts, overdraft

FIRST_DEPTH, NEAR = 16, 0.3
HASH_MB = 192
CAP = 10_000
"""Centipawns; mates are beyond it."""


@dataclass(frozen=True)
class Difference:
    """A move that deck and audit grade differently. `kind`: refused, accepted or key."""

    kind: str
    card: str
    epd: str
    move: str
    deck: str
    audit: str
    clear: bool


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("deck", type=Path)
    parser.add_argument("--positions", type=int, help="only so many positions, chosen at random")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--engine", default="/usr/games/stockfish")
    parser.add_argument("--depth", type=int, default=22)
    parser.add_argument("--nodes", type=int, default=20_000_000, help="of each search of one move")
    parser.add_argument("--margin", type=float, default=0.4)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--findings", type=Path, help="write the differences there, as JSON Lines")
    options = parser.parse_args()

    deck = Deck.open(options.deck)
    asked = {move.board.epd(): (card.card_id, move) for card in deck.cards for move in moves_judged(card)}
    chosen = list(asked)
    if options.positions and options.positions < len(chosen):
        chosen = random.Random(options.seed).sample(chosen, options.positions)
    found: list[Difference] = []
    limit = chess.engine.Limit(depth=options.depth, nodes=options.nodes)
    own = threading.local()

    def differing(epd: str) -> tuple[str, float, list[Difference]]:
        if not hasattr(own, "engine"):
            own.engine = engines.enter_context(chess.engine.SimpleEngine.popen_uci(options.engine))
            own.engine.configure({"Threads": 1, "Hash": HASH_MB, "UCI_ShowWDL": True})
        began = time.monotonic()
        card, key = asked[epd]
        audited = audit(own.engine, key.board, limit)
        new = list(differences(card, key.move, deck.verdicts[epd], audited, options.margin))
        return card, time.monotonic() - began, new

    with ExitStack() as engines, ThreadPoolExecutor(options.workers) as pool:
        for number, (card, seconds, new) in enumerate(pool.map(differing, chosen), 1):
            found += new
            print(f"{number}/{len(chosen)} {card} {seconds:.0f} s", *map(_text, new), flush=True)
            if options.findings and new:
                with options.findings.open("a") as file:
                    file.writelines(json.dumps(one.__dict__) + "\n" for one in new)
    unsettled = sum(not deck.verdicts[epd].settled for epd in chosen)
    print(f"\n{len(chosen)} of {len(asked)} positions asked, {unsettled} not settled")
    titles = {"refused": "a good move is refused", "accepted": "a bad one is accepted", "key": "a key fails"}
    for kind, title in titles.items():
        _print_count(title, [one for one in found if one.kind == kind], len(chosen))
    _print_count("wrong in all", found, len(chosen))


def audit(
    engine: chess.engine.SimpleEngine, board: chess.Board, limit: chess.engine.Limit
) -> PositionVerdicts:
    """A verdict for every legal move, those near the best from a search of their own."""
    moves = list(board.legal_moves)
    first = engine.analyse(board, chess.engine.Limit(depth=FIRST_DEPTH), multipv=len(moves), game=object())
    verdicts = {info["pv"][0]: _verdict(info, board) for info in first if info.get("pv")}
    best = max(one.score for one in verdicts.values())
    for move, one in list(verdicts.items()):
        if one.score >= best - NEAR:
            info = engine.analyse(board, limit, root_moves=[move], game=object())
            verdicts[move] = _verdict(info, board)
    # Graded with the narrow borders of a settled position: an audit must not be lenient.
    by_move = {move.uci(): one for move, one in verdicts.items()}
    return PositionVerdicts(board.epd(), engine.id["name"], "wdl", by_move, settled=True)


def differences(
    card: str, key: str, deck: PositionVerdicts, audited: PositionVerdicts, margin: float
) -> Iterator[Difference]:
    """The moves that deck and audit grade differently."""
    for move, one in audited.moves.items():
        says, truth, loss = deck.quality(move), audited.quality(move), audited.loss(move)
        given_up = overdraft(audited.moves[audited.best], one)
        ours = (
            f"{says} {deck.moves[move].score:.2f} depth {deck.moves[move].depth}, loses {deck.loss(move):.2f}"
        )
        theirs = f"{truth} {one.score:.2f} depth {one.depth}, loses {loss:.2f}"
        kinds = {
            "refused": (says != "holds" and truth == "holds", given_up <= 1 - margin),
            "accepted": (says == "holds" and truth != "holds", given_up > 1 + margin),
            "key": (move == key and truth != "holds", given_up > 1 + margin),
        }
        for kind, (is_so, clear) in kinds.items():
            if is_so:
                yield Difference(kind, card, deck.epd, move, ours, theirs, clear)


def _print_count(title: str, found: list[Difference], asked: int) -> None:
    every, clear = {one.epd for one in found}, {one.epd for one in found if one.clear}
    share = f"{len(clear) / max(1, asked):.1%}"
    print(f"{title:24} {len(every):4} positions, {len(clear)} ({share}) beyond the margin")


def _verdict(info: chess.engine.InfoDict, board: chess.Board) -> MoveVerdict:
    score = info["score"].pov(board.turn)
    expected = info["wdl"].pov(board.turn).expectation()
    if score.is_mate():
        expected = 1.0 if score > chess.engine.Cp(0) else 0.0
    centipawns = None if score.is_mate() else max(-CAP, min(CAP, score.score() or 0))
    line = tuple(move.uci() for move in info["pv"][1:])
    return MoveVerdict(expected, info["depth"], line, centipawns, score.mate())


def _text(one: Difference) -> str:
    kind = one.kind if one.clear else f"{one.kind} (within the margin)"
    return f"\n    {kind} {one.move} in {one.epd}: deck {one.deck}; audit {one.audit}"


if __name__ == "__main__":
    main()
