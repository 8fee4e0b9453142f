"""How fast positions are tagged, relative to python-chess reading and replaying the same PGN on one core.

Run by hand: `python tests/benchmarks/scan.py GAMES.pgn`. Detection is timed from boards in memory to
complete findings and balances, including the conversion. The times of the whole scan and of the writes to a
scorebook are printed too.
"""

from __future__ import annotations

import resource
import sys
import tempfile
from pathlib import Path
from time import process_time

import chess
import chess.pgn

from decks.commands.scan import rows_of
from decks.scorebook.book import Scorebook
from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.catalogue import MOTIFS
from patterns.detect import batches, detect
from patterns.factors.assessment import assess
from patterns.reading.pgn import Game, read_games
from patterns.scan import scan


def baseline(path: Path) -> tuple[float, list[chess.Board]]:
    """The seconds that python-chess takes to read the file and replay every main line; and the boards."""
    start = process_time()
    games = []
    with path.open(encoding="utf-8-sig", errors="replace") as lines:
        while (game := chess.pgn.read_game(lines)) is not None:
            board = game.board()
            for move in game.mainline_moves():
                board.push(move)
            games.append(game)
    seconds = process_time() - start
    boards = []
    for game in games:
        board = game.board()
        for move in game.mainline_moves():
            board.push(move)
            boards.append(board.copy(stack=False))
    return seconds, boards


def detection(boards: list[chess.Board]) -> tuple[float, float]:
    """The seconds for all motifs, and for motifs and factors together, from boards to results."""
    motifs = both = 0.0
    for batch in batches(boards):
        start = process_time()
        view = View(Positions.from_boards(batch))
        detect(view)
        motifs += process_time() - start
        assess(view)
        both += process_time() - start
    return motifs, both


def whole_scan(path: Path, scorebook: Path) -> tuple[float, float]:
    """The seconds to read and tag every game, and to store games and findings."""
    start = process_time()
    scanned = list(scan(game for game in read_games(path) if isinstance(game, Game)))
    tagged = process_time()
    with Scorebook.open(scorebook) as book:
        records, rows = rows_of(scanned, str(path))
        numbers = book.store_games(records)
        book.store_findings(numbers, rows(numbers))
    return tagged - start, process_time() - tagged


def main(path: Path) -> None:
    seconds, boards = baseline(path)
    positions = len(boards)
    print(f"{positions} positions, {len(MOTIFS)} motifs, 8 factors; python-chess reads and replays them in")
    print(f"{seconds:.2f} s ({positions / seconds:,.0f} positions/s), the baseline; higher ratios are faster")
    motifs, both = detection(boards)
    print(f"motifs               {positions / motifs:9,.0f} positions/s  ratio {seconds / motifs:.2f}")
    print(f"motifs and factors   {positions / both:9,.0f} positions/s  ratio {seconds / both:.2f}")
    with tempfile.TemporaryDirectory() as folder:
        tagged, stored = whole_scan(path, Path(folder) / "scorebook.sqlite")
    print(f"whole scan           {positions / tagged:9,.0f} positions/s  ratio {seconds / tagged:.2f}")
    print(f"database writes      {positions / stored:9,.0f} positions/s  ratio {seconds / stored:.2f}")
    print(f"peak memory          {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:9,.0f} MB")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
