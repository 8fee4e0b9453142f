"""Games for the demo deck: an engine plays itself under the names of the invented Saltmarsh chess club.

Run by hand. The program never needs it. From the top of the repository:

    python demo_deck/self_play.py --engine /usr/games/stockfish --games 500 --out games.pgn

The deck is made of `--games 728`, `--games 400 --seed 2029` and `--games 160 --nodes 20000 --seed 2031`, and
its cards that ask for the root of a mistake of `--games 168 --nodes 40000 --seed 2027`: what stronger players
do wrong shows later.

Nobody played these games. Each game says so in its Event, WhiteType, BlackType and Annotator tags.
The players differ in how many nodes they search and how freely they choose among the engine's lines. So
real mistakes happen, and some are punished. The same engine, seed and limits always give the same file:
searches are limited by nodes, never by time; each search starts from empty tables; the engine's own options
for weaker play stay off, since they may use the clock.

A game ends by mate, stalemate, bare kings, the third repetition or the fifty-move rule (FIDE Laws of
Chess, articles 5 and 9). At the ply limit it stops unfinished, with result `*` and Termination
`unterminated`. Tags and layout follow the PGN standard of 1994 (sections 8.1, 9 and 8.2, export format).
"""

from __future__ import annotations

import argparse
import itertools
import math
import random
import re
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import chess
import chess.engine
import chess.pgn

EVENT = "Saltmarsh club evening (engine self-play)"
FIRST_EVENING = date(2026, 1, 8)
ROUNDS_AN_EVENING = 2
EVENINGS = 52
LINES = 4
"""The number of engine lines that a player chooses from, if the engine can report several."""

MATE = 10_000
"""Centipawns that stand for a mate, far above any other score."""


@dataclass(frozen=True)
class Player:
    """One invented player.

    `share`: the part of the node limit that this player searches. `looseness`: centipawns; a line that is
    worse than the best by this much is chosen 1/e times as often. `coached`: whether in the coach's group
    (the coach is).
    """

    name: str
    share: float
    looseness: float
    coached: bool = False


PLAYERS = (
    Player("Brackwater, Imogen", 1.00, 6, coached=True),
    Player("Samphire, Tomasz", 0.35, 25, coached=True),
    Player("Glasswort, Priya", 0.25, 30, coached=True),
    Player("Plover, Kofi", 0.15, 35, coached=True),
    Player("Cordgrass, Mei", 0.12, 30, coached=True),
    Player("Mudlark, Ines", 0.08, 45, coached=True),
    Player("Sandhopper, Ravi", 0.05, 50, coached=True),
    Player("Tidewell, Oskar", 0.80, 12),
    Player("Marram, Leila", 0.65, 15),
    Player("Curlew, Anneke", 0.50, 20),
    Player("Fennimore-Reed, Adaeze", 0.40, 15),
    Player("Lapwing, Yusuf", 0.30, 22),
    Player("Oysterbank, Bram", 0.20, 28),
    Player("Eelgrass, Noa", 0.10, 35),
)

OPENINGS_TEXT = """
Sicilian, dragon, f3 | e4 c5 Nf3 d6 d4 cxd4 Nxd4 Nf6 Nc3 g6 Be3 Bg7 f3 O-O Qd2 Nc6
Sicilian, dragon, Be2 | e4 c5 Nf3 d6 d4 cxd4 Nxd4 Nf6 Nc3 g6 Be2 Bg7 O-O O-O
Sicilian, accelerated dragon | e4 c5 Nf3 Nc6 d4 cxd4 Nxd4 g6 Nc3 Bg7 Be3 Nf6 Bc4 O-O Bb3 d6
Sicilian, Maroczy bind | e4 c5 Nf3 Nc6 d4 cxd4 Nxd4 g6 c4 Bg7 Be3 Nf6 Nc3 O-O
Sicilian, Najdorf, Be3 e6 | e4 c5 Nf3 d6 d4 cxd4 Nxd4 Nf6 Nc3 a6 Be3 e6 f3 Be7 Qd2 O-O
Sicilian, Najdorf, Be3 e5 | e4 c5 Nf3 d6 d4 cxd4 Nxd4 Nf6 Nc3 a6 Be3 e5 Nb3 Be6 f3 Be7
Sicilian, Najdorf, Bg5 | e4 c5 Nf3 d6 d4 cxd4 Nxd4 Nf6 Nc3 a6 Bg5 e6 f4 Be7 Qf3 Qc7
Sicilian, Scheveningen, g4 | e4 c5 Nf3 d6 d4 cxd4 Nxd4 Nf6 Nc3 e6 g4 h6
Sicilian, Rauzer | e4 c5 Nf3 Nc6 d4 cxd4 Nxd4 Nf6 Nc3 d6 Bg5 e6 Qd2 Be7 O-O-O O-O
Sicilian, Velimirovic attack | e4 c5 Nf3 Nc6 d4 cxd4 Nxd4 Nf6 Nc3 d6 Bc4 e6 Be3 Be7 Qe2 O-O
Sicilian, Taimanov | e4 c5 Nf3 e6 d4 cxd4 Nxd4 Nc6 Nc3 Qc7 Be3 a6 Qd2 Nf6 O-O-O
Sicilian, Kan | e4 c5 Nf3 e6 d4 cxd4 Nxd4 a6 Bd3 Nf6 O-O Qc7
Sicilian, Sveshnikov | e4 c5 Nf3 Nc6 d4 cxd4 Nxd4 Nf6 Nc3 e5 Ndb5 d6 Bg5 a6 Na3 b5
Sicilian, closed | e4 c5 Nc3 Nc6 g3 g6 Bg2 Bg7 d3 d6 Be3
Sicilian, f4 | e4 c5 Nc3 Nc6 f4 g6 Nf3 Bg7 Bb5 Nd4
Sicilian, c3 | e4 c5 c3 Nf6 e5 Nd5 d4 cxd4 Nf3 Nc6
Sicilian, Morra gambit | e4 c5 d4 cxd4 c3 dxc3 Nxc3 Nc6 Nf3 d6 Bc4
Sicilian, Bb5 | e4 c5 Nf3 Nc6 Bb5 g6 Bxc6 dxc6 d3 Bg7
Pirc, Be3 and O-O-O | e4 d6 d4 Nf6 Nc3 g6 Be3 Bg7 Qd2 O-O O-O-O
Pirc, Bg5 and Bh6 | e4 d6 d4 Nf6 Nc3 g6 Bg5 Bg7 Qd2 O-O Bh6
Pirc, f4 | e4 d6 d4 Nf6 Nc3 g6 f4 Bg7 Nf3 O-O Bd3
Pirc, Be2 | e4 d6 d4 Nf6 Nc3 g6 Nf3 Bg7 Be2 O-O O-O
Modern, Be3 | e4 g6 d4 Bg7 Nc3 d6 Be3 a6 Qd2 b5
Philidor, exchange, Bf4 | e4 e5 Nf3 d6 d4 exd4 Nxd4 Nf6 Nc3 Be7 Bf4 O-O Qd2
Philidor, exchange, g6 | e4 e5 Nf3 d6 d4 exd4 Nxd4 g6 Nc3 Bg7 Be3 Nf6 Qd2 O-O O-O-O
Philidor, Hanham | e4 e5 Nf3 d6 d4 Nf6 Nc3 Nbd7 Bc4 Be7 O-O O-O
French, exchange | e4 e6 d4 d5 exd5 exd5 Nc3 Nf6 Bg5 Be7 Bd3 O-O
French, Winawer | e4 e6 d4 d5 Nc3 Bb4 e5 c5 a3 Bxc3+ bxc3 Ne7
French, classical | e4 e6 d4 d5 Nc3 Nf6 Bg5 Be7 e5 Nfd7 Bxe7 Qxe7 f4 O-O
French, Steinitz | e4 e6 d4 d5 Nc3 Nf6 e5 Nfd7 f4 c5 Nf3 Nc6 Be3
French, Tarrasch | e4 e6 d4 d5 Nd2 c5 exd5 exd5 Ngf3 Nc6 Bb5 Bd6
French, advance | e4 e6 d4 d5 e5 c5 c3 Nc6 Nf3 Qb6
French, Rubinstein | e4 e6 d4 d5 Nc3 dxe4 Nxe4 Nd7 Nf3 Ngf6 Nxf6+ Nxf6 Bg5
Caro-Kann, classical | e4 c6 d4 d5 Nc3 dxe4 Nxe4 Bf5 Ng3 Bg6 h4 h6 Nf3 Nd7 h5 Bh7
Caro-Kann, exf6 | e4 c6 d4 d5 Nc3 dxe4 Nxe4 Nf6 Nxf6+ exf6 Bc4 Bd6 Qe2+
Caro-Kann, Panov | e4 c6 d4 d5 exd5 cxd5 c4 Nf6 Nc3 e6 Nf3 Be7 cxd5 Nxd5
Caro-Kann, exchange | e4 c6 d4 d5 exd5 cxd5 Bd3 Nc6 c3 Nf6 Bf4 Bg4
Caro-Kann, advance | e4 c6 d4 d5 e5 Bf5 Nf3 e6 Be2 c5
Caro-Kann, two knights | e4 c6 Nc3 d5 Nf3 Bg4 h3 Bxf3 Qxf3 e6
Scandinavian, Bf5 | e4 d5 exd5 Qxd5 Nc3 Qa5 d4 Nf6 Nf3 c6 Bc4 Bf5 Bd2 e6
Scandinavian, O-O-O | e4 d5 exd5 Qxd5 Nc3 Qa5 d4 Nf6 Nf3 Bg4 Be2 Nc6 O-O O-O-O
Alekhine | e4 Nf6 e5 Nd5 d4 d6 Nf3 Bg4 Be2 e6
Petroff, Nc3 | e4 e5 Nf3 Nf6 Nxe5 d6 Nf3 Nxe4 Nc3 Nxc3 dxc3 Be7 Be3 O-O Qd2
Italian, c3 and d3 | e4 e5 Nf3 Nc6 Bc4 Bc5 c3 Nf6 d3 d6 O-O O-O
Italian, Nc3 and Bg5 | e4 e5 Nf3 Nc6 Bc4 Bc5 d3 Nf6 Nc3 d6 Bg5 h6
Italian, Evans gambit | e4 e5 Nf3 Nc6 Bc4 Bc5 b4 Bxb4 c3 Ba5 d4 exd4 O-O
Two knights, Ng5 | e4 e5 Nf3 Nc6 Bc4 Nf6 Ng5 d5 exd5 Na5 Bb5+ c6 dxc6 bxc6
Scotch, Bc5 | e4 e5 Nf3 Nc6 d4 exd4 Nxd4 Bc5 Be3 Qf6 c3 Nge7
Scotch, Mieses | e4 e5 Nf3 Nc6 d4 exd4 Nxd4 Nf6 Nxc6 bxc6 e5 Qe7 Qe2 Nd5 c4
Scotch, four knights | e4 e5 Nf3 Nc6 Nc3 Nf6 d4 exd4 Nxd4 Bb4 Nxc6 bxc6 Bd3 d5
Scotch, gambit | e4 e5 Nf3 Nc6 d4 exd4 Bc4 Nf6 e5 d5 Bb5 Ne4
Vienna, f4 | e4 e5 Nc3 Nf6 f4 d5 fxe5 Nxe4 Nf3 Be7
Vienna, Bc4 | e4 e5 Nc3 Nf6 Bc4 Nc6 d3 Bc5 f4 d6
King's gambit accepted | e4 e5 f4 exf4 Nf3 g5 h4 g4 Ne5 Nf6
King's gambit declined | e4 e5 f4 Bc5 Nf3 d6 Nc3 Nf6 Bc4 Nc6
Spanish, closed | e4 e5 Nf3 Nc6 Bb5 a6 Ba4 Nf6 O-O Be7 Re1 b5 Bb3 d6 c3 O-O
Spanish, Marshall attack | e4 e5 Nf3 Nc6 Bb5 a6 Ba4 Nf6 O-O Be7 Re1 b5 Bb3 O-O c3 d5
Spanish, exchange | e4 e5 Nf3 Nc6 Bb5 a6 Bxc6 dxc6 d4 exd4 Qxd4 Qxd4 Nxd4 Bd7 Be3 O-O-O
Spanish, Berlin, d3 | e4 e5 Nf3 Nc6 Bb5 Nf6 d3 Bc5 c3 O-O O-O d6
Queen's gambit, exchange | d4 d5 c4 e6 Nc3 Nf6 cxd5 exd5 Bg5 Be7 e3 O-O Bd3 Nbd7 Qc2 Re8
Queen's gambit, exchange, c6 | d4 d5 c4 e6 Nc3 Nf6 cxd5 exd5 Bg5 c6 Qc2 Be7 e3 Nbd7 Bd3 O-O
Queen's gambit, orthodox | d4 d5 c4 e6 Nc3 Nf6 Bg5 Be7 e3 O-O Nf3 Nbd7 Rc1 c6 Bd3
Queen's gambit, Tarrasch | d4 d5 c4 e6 Nc3 c5 cxd5 exd5 Nf3 Nc6 g3 Nf6 Bg2 Be7 O-O O-O
Queen's gambit accepted | d4 d5 c4 dxc4 Nf3 Nf6 e3 e6 Bxc4 c5 O-O cxd4 exd4 Be7
Semi-Slav, Meran | d4 d5 c4 c6 Nf3 Nf6 Nc3 e6 e3 Nbd7 Bd3 dxc4 Bxc4 b5
Semi-Slav, g4 | d4 d5 c4 c6 Nf3 Nf6 Nc3 e6 e3 Nbd7 Qc2 Bd6 g4
Slav | d4 d5 c4 c6 Nf3 Nf6 Nc3 dxc4 a4 Bf5 e3 e6 Bxc4 Bb4
Nimzo-Indian, e3 | d4 Nf6 c4 e6 Nc3 Bb4 e3 O-O Bd3 d5 Nf3 c5 O-O
Nimzo-Indian, a3 | d4 Nf6 c4 e6 Nc3 Bb4 a3 Bxc3+ bxc3 c5 f3 d5
Queen's Indian | d4 Nf6 c4 e6 Nf3 b6 g3 Bb7 Bg2 Be7 O-O O-O Nc3 Ne4
Catalan | d4 Nf6 c4 e6 g3 d5 Bg2 Be7 Nf3 O-O O-O dxc4
King's Indian, f3 and d5 | d4 Nf6 c4 g6 Nc3 Bg7 e4 d6 f3 O-O Be3 e5 d5 Nh5 Qd2
King's Indian, f3, Nc6 | d4 Nf6 c4 g6 Nc3 Bg7 e4 d6 f3 O-O Be3 Nc6 Nge2 a6 Qd2 Rb8
King's Indian, classical | d4 Nf6 c4 g6 Nc3 Bg7 e4 d6 Nf3 O-O Be2 e5 O-O Nc6 d5 Ne7
King's Indian, fianchetto | d4 Nf6 c4 g6 Nf3 Bg7 g3 O-O Bg2 d6 O-O Nbd7
King's Indian, four pawns | d4 Nf6 c4 g6 Nc3 Bg7 e4 d6 f4 O-O Nf3 c5 d5
Gruenfeld, exchange | d4 Nf6 c4 g6 Nc3 d5 cxd5 Nxd5 e4 Nxc3 bxc3 Bg7 Nf3 c5
Benoni | d4 Nf6 c4 c5 d5 e6 Nc3 exd5 cxd5 d6 e4 g6 Nf3 Bg7
Benko gambit | d4 Nf6 c4 c5 d5 b5 cxb5 a6 bxa6 g6 Nc3 Bxa6
Budapest | d4 Nf6 c4 e5 dxe5 Ng4 Bf4 Nc6 Nf3 Bb4+
Dutch, Leningrad | d4 f5 g3 Nf6 Bg2 g6 Nf3 Bg7 O-O O-O c4 d6
Dutch, stonewall | d4 f5 g3 Nf6 Bg2 e6 Nf3 d5 O-O Bd6 c4 c6
Dutch, Nc3 and Bg5 | d4 f5 Nc3 Nf6 Bg5 d5 e3 e6
Queen's pawn, Bf4 and c3 | d4 d5 Bf4 Nf6 e3 c5 c3 Nc6 Nd2 e6 Ngf3 Bd6
Queen's pawn, Bf4 and O-O-O | d4 Nf6 Nc3 d5 Bf4 g6 e3 Bg7 Qd2 O-O O-O-O
Queen's pawn, Nc3 and Bg5 | d4 d5 Nc3 Nf6 Bg5 Nbd7 Qd3 c6 O-O-O
Queen's pawn, b3 | d4 d5 Nf3 Nf6 e3 e6 Bd3 c5 b3 Nc6 O-O Bd6
English, symmetrical | c4 c5 Nc3 Nc6 g3 g6 Bg2 Bg7 Nf3 Nf6 O-O O-O
English, e5 and d5 | c4 e5 Nc3 Nf6 g3 d5 cxd5 Nxd5 Bg2 Nb6 Nf3 Nc6 O-O Be7
English, e4 | c4 e5 Nc3 Nc6 g3 g6 Bg2 Bg7 e4 d6 Nge2
Reti | Nf3 d5 c4 e6 g3 Nf6 Bg2 Be7 O-O O-O b3 c5
King's Indian attack | Nf3 d5 g3 Nf6 Bg2 e6 O-O Be7 d3 O-O Nbd2 c5 e4 Nc6
Bird | f4 d5 Nf3 g6 e3 Bg7 Be2 Nf6 O-O O-O
"""
"""The openings of the games, one per line: name, then SAN moves. General opening theory, from memory."""

OPENINGS = tuple(
    (name.strip(), tuple(moves.split()))
    for name, moves in (line.split("|") for line in OPENINGS_TEXT.strip().splitlines())
)

Choice = Callable[[chess.Board, Player], chess.Move]


@dataclass(frozen=True)
class Pairing:
    """Game `number` (from 1) of the year: who plays whom, in which round and on which board."""

    number: int
    round_number: int
    board_number: int
    white: Player
    black: Player

    @property
    def evening(self) -> date:
        """The date of the club evening."""
        return FIRST_EVENING + timedelta(weeks=(self.round_number - 1) // ROUNDS_AN_EVENING)


def pairings(players: Sequence[Player] = PLAYERS) -> Iterator[Pairing]:
    """Every game of the year: each player meets each other player, repeatedly, by the circle method."""
    numbers, turns = itertools.count(1), len(players) - 1
    for round_number in range(1, EVENINGS * ROUNDS_AN_EVENING + 1):
        cycle, turn = divmod(round_number - 1, turns)
        circle = (players[0], *players[1 + turn :], *players[1 : 1 + turn])
        for index in range(len(players) // 2):
            pair = circle[index], circle[-1 - index]
            # The first player keeps its place and alternates by round. The others move past alternating
            # boards.
            white, black = pair if (cycle + (turn if index == 0 else index)) % 2 == 0 else pair[::-1]
            yield Pairing(next(numbers), round_number, index + 1, white, black)


def opening_of(number: int, seed: int) -> tuple[str, tuple[str, ...]]:
    """The opening of game `number`: in shuffled order, each opening once before any is repeated."""
    cycle, place = divmod(number - 1, len(OPENINGS))
    order = random.Random(f"{seed} openings {cycle}").sample(range(len(OPENINGS)), len(OPENINGS))
    return OPENINGS[order[place]]


def choose(lines: Sequence[tuple[chess.Move, int]], looseness: float, rng: random.Random) -> chess.Move:
    """One of `lines` (first move, centipawns for its player). The nearer to the best score, the likelier."""
    best = max(score for _, score in lines)
    weights = [math.exp((score - best) / looseness) for _, score in lines]
    return rng.choices([move for move, _ in lines], weights)[0]


def ending(board: chess.Board, max_plies: int) -> tuple[str, str] | None:
    """Result and Termination, as the PGN standard writes them, if the game ends here; None if it goes on."""
    outcome = board.outcome()
    if outcome is not None:
        return outcome.result(), "normal"
    if board.is_repetition(3) or board.is_fifty_moves():
        return "1/2-1/2", "normal"
    if board.ply() >= max_plies:
        return "*", "unterminated"
    return None


def play_game(
    pairing: Pairing, opening: tuple[str, Sequence[str]], choice: Choice, max_plies: int
) -> chess.pgn.Game:
    """Play one game from the end of `opening` to its ending, with all tags except the Annotator."""
    name, moves = opening
    board = chess.Board()
    for move in moves:
        board.push_san(move)
    while (end := ending(board, max_plies)) is None:
        board.push(choice(board, pairing.white if board.turn == chess.WHITE else pairing.black))
    game = chess.pgn.Game.from_board(board)
    result, termination = end
    tags = {
        "Event": EVENT,
        "Site": "Saltmarsh",
        "Date": pairing.evening.strftime("%Y.%m.%d"),
        "Round": f"{pairing.round_number}.{pairing.board_number}",
        "White": pairing.white.name,
        "Black": pairing.black.name,
        "Result": result,
        "WhiteType": "program",
        "BlackType": "program",
        "Section": "Coach's group" if pairing.white.coached and pairing.black.coached else "Open",
        "Opening": name,
        "PlyCount": str(board.ply()),
        "Termination": termination,
    }
    game.headers.update(tags)
    return game


def in_export_order(game: chess.pgn.Game) -> chess.pgn.Game:
    """The game with its tags after the roster sorted by name (PGN standard, 8.1.1).

    python-chess 1.9.4 sorts them on its own, 1.11 keeps the order in which they came.
    """
    tags = dict(sorted(game.headers.items()))
    game.headers.clear()
    game.headers.update(tags)
    return game


class EnginePlayers:
    """The moves of all club players, from one UCI engine."""

    def __init__(self, engine: chess.engine.SimpleEngine, nodes: int, seed: int) -> None:
        self.engine, self.nodes, self.seed = engine, nodes, seed
        self.lines = LINES if "MultiPV" in engine.options else 1
        if "Threads" in engine.options:
            engine.configure({"Threads": 1})

    def nodes_of(self, player: Player) -> int:
        """How many nodes `player` searches per move."""
        return max(1, round(self.nodes * player.share))

    def choice(self, number: int) -> Choice:
        """How moves are chosen in game `number`."""
        rng = random.Random(f"{self.seed} game {number}")

        def choose_move(board: chess.Board, player: Player) -> chess.Move:
            limit = chess.engine.Limit(nodes=self.nodes_of(player))
            # A new game for every move: one side's search must not fill the tables that the other side uses.
            search = (number, board.ply())
            if self.lines > 1:
                infos = self.engine.analyse(board, limit, multipv=self.lines, game=search)
                lines = [
                    (info["pv"][0], info["score"].relative.score(mate_score=MATE))
                    for info in infos
                    if info.get("pv") and "score" in info
                ]
                if lines:
                    return choose(lines, player.looseness, rng)
            move = self.engine.play(board, limit, game=search).move
            if move is None:
                raise chess.engine.EngineError(f"no move in {board.fen()}")
            return move

        return choose_move

    def annotator(self, pairing: Pairing) -> str:
        """The Annotator tag: which engine played, and under which limits."""
        engine = re.sub(r"[^ -~]|[\"\\]", "?", self.engine.id.get("name", "an unnamed engine"))[:60]
        sides = "; ".join(
            f"{colour} {self.nodes_of(player)} nodes a move, {player.looseness:g} centipawns loose"
            for colour, player in (("White", pairing.white), ("Black", pairing.black))
        )
        lines = f"{self.lines} lines" if self.lines > 1 else "the best line only"
        return f"{engine} playing itself: {sides}; {lines}; seed {self.seed}"


def play_games(players: EnginePlayers, count: int, max_plies: int) -> Iterator[chess.pgn.Game]:
    """The first `count` games of the year, one by one. A larger `count` begins with the same games."""
    for pairing in itertools.islice(pairings(), count):
        opening = opening_of(pairing.number, players.seed)
        game = play_game(pairing, opening, players.choice(pairing.number), max_plies)
        game.headers["Annotator"] = players.annotator(pairing)
        yield in_export_order(game)


def positive(text: str) -> int:
    """A whole number from 1 up, for argparse."""
    number = int(text)
    if number < 1:
        raise ValueError
    return number


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the games. Returns the exit status: 0 done, 1 a problem of the file, 3 one of the engine."""
    most = EVENINGS * ROUNDS_AN_EVENING * (len(PLAYERS) // 2)
    parser = argparse.ArgumentParser(description="Games of engine self-play for the demo deck.")
    parser.add_argument("--engine", required=True, help="path of a UCI engine")
    parser.add_argument("--out", required=True, type=Path, help="PGN file to write")
    parser.add_argument("--games", type=positive, default=500, help=f"how many, at most {most} (500)")
    parser.add_argument("--nodes", type=positive, default=3000, help="the strongest player's limit (3000)")
    parser.add_argument("--max-plies", type=positive, default=160, help="stop a game here (160)")
    parser.add_argument("--seed", type=int, default=2026, help="another seed, other games (2026)")
    options = parser.parse_args(arguments)
    if options.games > most:
        parser.error(f"--games {options.games}: the club has boards for {most} games in 2026")
    try:
        engine = chess.engine.SimpleEngine.popen_uci(options.engine)
    except (OSError, chess.engine.EngineError, TimeoutError):
        print(f"{options.engine}: no UCI engine could be started there", file=sys.stderr)
        return 3
    try:
        with engine, options.out.open("w", encoding="ascii", newline="\n") as out:
            players = EnginePlayers(engine, options.nodes, options.seed)
            for game in play_games(players, options.games, options.max_plies):
                exporter = chess.pgn.StringExporter(columns=80)
                print(game.accept(exporter), end="\n\n", file=out, flush=True)
    except chess.engine.EngineError as error:
        print(f"{options.engine}: the engine failed: {str(error)!a}", file=sys.stderr)
        return 3
    except OSError as error:
        print(f"{options.out}: {error.strerror}", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        return 130
    return 0


if __name__ == "__main__":
    sys.exit(main())
