"""Which of an engine's reports count: parsing them all would cost a quarter of the time of a search.

Reports are the `info` lines of the UCI protocol (S. Meyer-Kahlen, R. Huber, 2006).
"""

from __future__ import annotations

import re

DEPTH = re.compile(r"\bdepth (-?[0-9]+)")
LINE_NUMBER = re.compile(r"\bmultipv (-?[0-9]+)")
SCORE = re.compile(r" score (?:cp|mate) -?[0-9]+")
FIRST_MOVE = re.compile(r" pv ([a-h1-8]{4}[nbrq]?)\b")
BOUND = re.compile(r" (?:lower|upper)bound\b")


class LastReports:
    """The reports of one search that no later report replaces, as they were sent.

    `several`: the search is for several lines at once; then these are the last exact reports of each first
    move. Otherwise all reports of the greatest depth come after these, because bounds count there, though a
    bound shows only the beginning of a line. `count`: how many reports there were.

    >>> reports = LastReports(several=True)
    >>> reports.take("info depth 1 multipv 1 score cp 30 pv e2e4")
    >>> reports.take("info depth 2 multipv 1 score cp 40 pv e2e4 e7e5")
    >>> reports.take("info depth 3 multipv 1 score cp 90 lowerbound pv e2e4")
    >>> reports.lines()
    ['info depth 2 multipv 1 score cp 40 pv e2e4 e7e5']
    """

    def __init__(self, several: bool) -> None:
        self._several = several
        self._by_move: dict[str, str] = {}
        self._deepest: list[str] = []
        self._depth = 0
        self.count = 0

    def take(self, line: str) -> None:
        """Keep a report if it counts. Reports without a score never do."""
        self.count += 1
        said = line.partition(" string ")[0]
        if not SCORE.search(said):
            return
        move = None if BOUND.search(said) else FIRST_MOVE.search(said)
        if move:
            self._by_move[move[1]] = line
        if self._several:
            return
        depth = DEPTH.search(said)
        plies = int(depth[1]) if depth else 0
        if plies > self._depth:
            self._depth = plies
            self._deepest.clear()
        if plies == self._depth:
            self._deepest.append(line)

    def lines(self) -> list[str]:
        """The reports that count, in the order in which their moves, or they themselves, came first."""
        exact = [line for line in self._by_move.values() if line not in self._deepest]
        return exact if self._several else [*exact, *self._deepest]
