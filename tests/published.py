"""Positions whose best moves or mates others have published, as keys that a judging must find."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import chess
from gold_lines import judged_lines

from patterns.engines.scores import PositionVerdicts

MATES_UP_TO = 8
"""Moves: longer mates lie beyond the last round of a judging."""


@dataclass(frozen=True)
class Published:
    """A position with what is known of it.

    `best`: moves (UCI) of which one should hold; empty: any may. `mate`: moves to mate; None: no mate is
    known. `shortest`: the mate is known to be the shortest one.
    """

    name: str
    board: chess.Board
    best: frozenset[str] = frozenset()
    mate: int | None = None
    shortest: bool = False

    def faults(self, verdicts: PositionVerdicts) -> list[str]:
        """What these verdicts say against it. Empty: they agree."""
        best = verdicts.moves[verdicts.best]
        holding = verdicts.holding()
        found = []
        if self.best and not self.best & set(holding):
            found.append(f"{' '.join(sorted(self.best))} does not hold, but {' '.join(holding[:4])}")
        if self.mate is None:
            return found
        if best.mate is None or best.mate <= 0:
            found.append(f"no mate found, but one in {self.mate} is known")
        elif best.mate > self.mate or (self.shortest and best.mate < self.mate):
            found.append(f"a mate in {best.mate}, not in {self.mate}")
        refused = [
            move
            for move, verdict in verdicts.moves.items()
            if verdict.mate is not None and verdict.mate > 0 and move not in holding
        ]
        if refused:
            found.append(f"slower mates refused: {' '.join(refused)}")
        return found


def bratko_kopec(archive: Path) -> list[Published]:
    """The 24 positions of the test of Bratko and Kopec with the best moves that the archive gives.

    `archive`: the unpacked source archive of python-chess.
    """
    found = []
    for board, opcodes in _epd(archive / "examples" / "bratko_kopec" / "bratko-kopec.epd"):
        moves = opcodes["bm"]
        assert isinstance(moves, list)
        found.append(Published(str(opcodes["id"]), board, frozenset(move.uci() for move in moves)))
    return found


def short_endgame_mates(archive: Path) -> list[Published]:
    """Endgames of four and five men whose distance to mate is known from tablebases, up to MATES_UP_TO."""
    found = []
    for men in (4, 5):
        for board, opcodes in _epd(archive / "data" / f"endgame-dm-{men}.epd"):
            mate = opcodes["dm"]
            assert isinstance(mate, int)
            if 1 <= mate <= MATES_UP_TO:
                found.append(Published(f"{men} men: {board.epd()}", board, mate=mate, shortest=True))
    return found


def textbook_mates() -> list[Published]:
    """The lines from literature among the gold lines that end in mate by checks alone.

    Their first move should hold. Where a quiet move stands in a line, the other side could often have avoided
    the mate.
    """
    found: dict[str, Published] = {}
    for judged in judged_lines():
        start, line = chess.Board(judged.fen), judged.line.split()
        end, checks = start.copy(stack=False), True
        for move in line:
            checks &= end.turn != start.turn or end.gives_check(chess.Move.from_uci(move))
            end.push_uci(move)
        mates = checks and end.is_checkmate() and end.turn != start.turn
        if mates and judged.source != "composed" and judged.depth is not None:
            mate = (len(line) + 1) // 2
            found[start.epd()] = Published(judged.source, start, frozenset({line[0]}), mate)
    return list(found.values())


def _epd(path: Path) -> Iterator[tuple[chess.Board, dict[str, object]]]:
    for line in path.read_text(encoding="utf-8").splitlines():
        if line.strip() and not line.startswith("#"):
            board, opcodes = chess.Board.from_epd(line)
            yield board, dict(opcodes)
