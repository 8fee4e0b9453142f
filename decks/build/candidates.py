"""Candidates for cards: positions of scanned games where the side to move profits from a motif."""

from __future__ import annotations

from collections.abc import Collection, Container, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import islice

import chess

from decks.build.origins import origin_of
from decks.build.ranking import GameRecords
from patterns.catalogue import MOTIFS
from patterns.detect import Detected
from patterns.reading.pgn import Game, positions, sides_of
from patterns.scan import ScannedGame

FIRST_PLY = 14
"""Plies before a candidate: up to the eighth move it is still the opening (common practice, no source)."""

FEWEST_MOVES = 12
"""Legal moves of a candidate. With fewer of them the move is too easy to guess."""

FEWEST_PIECES = 6
"""Pieces of a candidate, without kings and pawns. With fewer it is an endgame: common practice, no source."""


@dataclass(frozen=True)
class Candidate:
    """A position of a game where the side to move profits from a motif. `ply`: moves played before it.

    `motif`: for a ballot it is how the side to move stands (`decks.build.stock_taking`).

    `is_slip`: a quick search says that the move played lost much, and that the best move uses the motif.
    `stroke`: a move (UCI) with which the motif only seems to win something; None: it wins.
    """

    game: Game
    ply: int
    board: chess.Board
    motif: str
    is_slip: bool = False
    stroke: str | None = None

    @property
    def played(self) -> str | None:
        """The move (UCI) that was played here. None if the game ends here."""
        return self.game.moves[self.ply].uci() if self.ply < len(self.game.moves) else None

    @property
    def origin(self) -> str:
        """The game and the last move played, in words."""
        return origin_of(self.game, self.ply)


@dataclass(frozen=True)
class Shown:
    """A game, and by ply the motifs that the side to move profits from there; plies without any left out.

    `sides`: those whose moves may be asked.
    """

    game: Game
    motifs: Mapping[int, frozenset[str]]
    sides: Collection[chess.Color]

    @cached_property
    def date(self) -> str:
        """The date of the game (year, month, day), as a text that sorts; unknown parts sort as the oldest."""
        return self.game.headers.get("Date", "").replace("?", "0")

    def middlegame(self, plies: Container[int]) -> Iterator[tuple[int, chess.Board]]:
        """Those of the plies at which there is a middlegame decision to ask about; their positions."""
        for ply, board, _ in positions(self.game):
            if ply in plies and board.turn in self.sides and is_past_opening(self.game, ply):
                if ply not in self._decisions:
                    self._decisions[ply] = is_middlegame_decision(board)
                if self._decisions[ply]:
                    yield ply, board

    @cached_property
    def _decisions(self) -> dict[int, bool]:
        """By ply whether there is a decision, as far as it was asked: it is asked more than once."""
        return {}

    def ends_of_stretches(self) -> dict[int, list[str]]:
        """By ply the motifs that the side to move has there, but not at its moves before and after."""
        shown = {ply: motifs for ply, motifs in self.motifs.items() if is_past_opening(self.game, ply)}
        around = {ply: shown.get(ply - 2, frozenset()) & shown.get(ply + 2, frozenset()) for ply in shown}
        return {ply: sorted(motifs - around[ply]) for ply, motifs in shown.items()}


@dataclass(frozen=True)
class Found:
    """What scanned games have for cards. `shown`: the games with everything that they show.

    `order`: the motifs in the order in which a deck takes them up, which the games decide
    (`GameRecords.order`).
    """

    shown: tuple[Shown, ...]
    order: tuple[str, ...]

    @cached_property
    def queues(self) -> Mapping[str, list[Candidate]]:
        """By motif, candidates in the order of the games; made when first asked for.

        Where a motif stays on the board for several moves, only the first and the last position with the
        right side to move are candidates.
        """
        found: dict[str, list[Candidate]] = {motif: [] for motif in self.order}
        for one in self.shown:
            ends = one.ends_of_stretches()
            for ply, board in one.middlegame(ends):
                for motif in ends[ply]:
                    found[motif].append(Candidate(one.game, ply, board, motif))
        return found


def candidates(scanned: Iterable[ScannedGame], motifs: Collection[str], player: str | None = None) -> Found:
    """What the games have for cards about `motifs`. With `player`, only where this player is to move."""
    games: list[Shown] = []
    records = GameRecords()
    for one in scanned:
        sides = [chess.WHITE, chess.BLACK]
        if player is not None:
            sides = [side == "white" for side in sides_of(one.game, player)]
        if not sides:
            continue
        records.add(one.game.result, _shown(one.findings, motifs), sides)
        games.append(Shown(one.game, _motifs_by_ply(one, motifs), sides))
    return Found(tuple(games), tuple(records.order(motifs)))


def _motifs_by_ply(one: ScannedGame, motifs: Collection[str]) -> dict[int, frozenset[str]]:
    ids, found = list(MOTIFS), one.findings
    by_ply: dict[int, set[str]] = {}
    columns = (found.position, found.motif, found.white)
    for ply, number, white in zip(*(column.tolist() for column in columns), strict=True):
        if white == _turn(one.game, ply) and ids[number] in motifs:
            by_ply.setdefault(ply, set()).add(ids[number])
    return {ply: frozenset(by_ply[ply]) for ply in sorted(by_ply)}


def _turn(game: Game, ply: int) -> chess.Color:
    return game.start.turn if ply % 2 == 0 else not game.start.turn


def is_past_opening(game: Game, ply: int) -> bool:
    """Whether a position comes after the opening. In a game from a set-up position all positions do."""
    return ply >= FIRST_PLY or game.start.fen() != chess.STARTING_FEN


def _shown(findings: Detected, motifs: Collection[str]) -> set[tuple[str, bool]]:
    """Which of `motifs` the game shows, and for which side (True: White)."""
    ids = list(MOTIFS)
    pairs = set(zip(findings.motif.tolist(), findings.white.tolist(), strict=True))
    return {(ids[number], white) for number, white in pairs if ids[number] in motifs}


def is_middlegame_decision(board: chess.Board) -> bool:
    """Whether there is a choice of moves, no check, and not yet an endgame."""
    pieces = board.occupied & ~board.pawns & ~board.kings
    return (
        not board.is_check()
        and chess.popcount(pieces) >= FEWEST_PIECES
        and sum(1 for _ in islice(board.legal_moves, FEWEST_MOVES)) == FEWEST_MOVES
    )
