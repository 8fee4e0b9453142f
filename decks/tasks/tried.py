"""A move with the line that the engine gives for it: how the mover stands, and what each side gets. Pure.

Men are counted on the board, and only if the other side cannot take them back at the end of the line. Whether
they are told is another question: `comes`. A mate is one that the engine has seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import chess

from decks.tasks.evidence import motif_title
from decks.tasks.lines import board_after, legal_part, numbered
from decks.tasks.standing import LEVEL, UNSURE, UNSURE_IF_SHALLOW, stands
from decks.tasks.threats import threat
from patterns.boards.worth import ahead
from patterns.engines.scores import (
    STRENGTH_THRESHOLDS,
    SURE_MATE,
    MoveVerdict,
    PositionVerdicts,
    verdict_from_expected,
)
from patterns.proof.captures import exchange
from patterns.proof.mates import name_of
from patterns.words.outcome import NEAR, Outcome, mates_in, outcome, surplus
from patterns.words.verdicts import Verdict
from patterns.words.wording import side_name

CERTAIN = 0.995
"""Expected score from which a line that ends in mate counts as forced, if no number of moves is stored."""

EXPLAINED_BY = 9
"""Plies that are asked for the motif of their first move: enough for what it wins to be taken."""

AGREES = 0.15
"""Expected score: those before and after a line agree if they differ by no more, or if both are clear."""

CLEARLY_BETTER = round(0.5 + STRENGTH_THRESHOLDS[1], 6)
"""Expected score from which a side is clearly better, so that men who are won count, however much they do."""

AT_ONCE = 2
"""Plies, the move and the reply: what these win is seen on the board, even by a shallow search."""

SOON = 8
"""Plies in which men must fall to be told of a wrong move. Later ones fall because the game is lost anyway,
and not by force: of 13 such gains a reader found 12 false, of 15 sooner ones none."""

SURE_FOR_THEM = 3
"""Moves of a mate that are counted if a wrong move lets it in: a longer one may be shorter than was seen."""

EXAMINED = 7
"""Plies of a line that are examined for the motif that a new card is about: four moves of the side to move,
and the replies between them. With fewer, what a double attack wins often falls too late."""

EXAMINED_BEFORE_MATE = 5
"""The same if the last of them mates: on the way to mate nothing else than the mate would be seen. A mate
with a name is what its line is about."""

NOTHING = Outcome(0, "")


@dataclass(frozen=True)
class Tried:
    """A move and what follows it. `line`: UCI, the move first, legal from `board`.

    `is_shallow`: the score and the line are only those of a search that ruled the move out.
    """

    board: chess.Board
    line: tuple[str, ...]
    verdict: MoveVerdict
    is_shallow: bool = False

    @property
    def move(self) -> str:
        """The move with its number."""
        return numbered(self.board, self.line[:1])[0]

    @property
    def reply(self) -> str:
        """The reply with its number; empty if the game ends with the move."""
        return "".join(numbered(board_after(self.board, self.line[:1]), self.line[1:2]))

    @property
    def standing(self) -> Verdict:
        """How the mover stands, as if the mover were White."""
        return verdict_from_expected(self.verdict.score)

    @property
    def stands(self) -> str:
        """How the mover stands, in words."""
        return stands(self.verdict.score, UNSURE_IF_SHALLOW if self.is_shallow else UNSURE)

    @property
    def is_told_level(self) -> bool:
        """Whether the words are that the game is level, or about level."""
        return self.stands.endswith(LEVEL)

    @property
    def is_told_better(self) -> bool:
        """Whether the words are that the mover is better."""
        return self.verdict.score > 0.5 and not self.is_told_level

    @property
    def is_told_worse(self) -> bool:
        """Whether the words are that the mover is worse."""
        return self.verdict.score < 0.5 and not self.is_told_level

    @property
    def game(self) -> str:
        """How the mover stands, as a clause: `White is worse`, `the game is level`."""
        return f"{'the game' if self.is_told_level else side_name(self.board.turn)} is {self.stands}"

    @property
    def is_level(self) -> bool:
        return self.standing.side == "level"

    @property
    def is_better(self) -> bool:
        return self.standing.side == "white"

    @cached_property
    def end(self) -> chess.Board:
        """The position at the end of the line (do not push moves on it)."""
        return board_after(self.board, self.line)

    @cached_property
    def counted(self) -> int:
        """Pawns that the mover has won (lost, below 0) by count at the end of the line."""
        return ahead(self.end, self.board.turn) - ahead(self.board, self.board.turn)

    @cached_property
    def next_capture(self) -> int:
        """Pawns that the side to move at the end of the line wins there by a capture or a promotion."""
        return max([0, *(gain for gain, _ in self._captures)])

    @cached_property
    def _captures(self) -> list[tuple[int, str]]:
        """Captures and promotions at the end of the line, each with the pawns that it wins by exchange."""
        end = self.end
        changes = (move for move in end.legal_moves if end.is_capture(move) or move.promotion)
        return [(exchange(end, move), move.uci()) for move in changes]

    @cached_property
    def settled(self) -> tuple[str, ...]:
        """The line, and the capture or promotion after it that wins most, if one wins something."""
        gain, best = max(self._captures, default=(0, ""))
        return (*self.line, best) if gain > 0 else self.line

    @cached_property
    def material(self) -> str:
        """How the mover comes out of the line in men, if that speaks for the better side: `a knight down`.

        Empty if it stands otherwise after `SOON` plies: the rest is how the lost side loses on.
        """
        if self.is_told_level or not self.comes(len(self.line)):
            return ""
        mover = self.board.turn
        if surplus(board_after(self.board, self.line[:SOON]), mover) != surplus(self.end, mover):
            return ""
        side = mover if self.is_better else not mover
        if ahead(self.end, side) - (self.next_capture if self.end.turn != side else 0) < 1:
            return ""
        more, fewer = surplus(self.end, mover)
        if more and fewer:
            return f"with {more} for {fewer}"
        return f"{more} up" if more else f"{fewer} down"

    @cached_property
    def idea(self) -> str:
        """The motif that explains the move best, in small letters; empty if there is none."""
        return first_motif(self.board, self.line)

    @cached_property
    def idea_of_reply(self) -> str:
        """The motif that explains the reply, in small letters; empty if none does or it takes back."""
        if self.line[1:] and self.line[1][2:4] == self.line[0][2:4]:
            return ""
        return first_motif(board_after(self.board, self.line[:1]), self.line[1:])

    @cached_property
    def point(self) -> str:
        """What the move is about, in words: its motif, else what it threatens, else that queens come off."""
        threat = _threat(self.board, self.line)
        return self.idea or threat or _queens_come_off(self.board, self.line[:3])

    @cached_property
    def point_of_reply(self) -> str:
        """What the reply is about, as for `point`."""
        threat = _threat(board_after(self.board, self.line[:1]), self.line[1:])
        return self.idea_of_reply or threat or _queens_come_off(self.board, self.line[:4])

    @cached_property
    def wins(self) -> Outcome:
        """What the mover wins; without words if nothing is certain."""
        return self._certain(self.board.turn, self.verdict.score, self.verdict.mate or 0)

    def wins_within(self, plies: int) -> Outcome:
        """What the mover wins in so many plies of the line, if it is clear only later what it wins in all."""
        if self.wins.plies <= plies:
            return self.wins
        return Tried(self.board, self.line[:plies], replace(self.verdict, mate=None)).wins

    @cached_property
    def loses(self) -> Outcome:
        """What the other side wins; without words if nothing is certain."""
        return self._certain(not self.board.turn, 1.0 - self.verdict.score, -(self.verdict.mate or 0))

    @property
    def wins_soon(self) -> Outcome:
        """What the mover wins within `SOON` plies and keeps, or a mate."""
        return self._soon(self.board.turn, self.wins, self._begun.wins)

    @property
    def loses_soon(self) -> Outcome:
        """What the other side wins within `SOON` plies and keeps, or a mate."""
        return self._soon(not self.board.turn, self.loses, self._begun.loses)

    @cached_property
    def _begun(self) -> Tried:
        """The same with the first `SOON` plies of the line."""
        return Tried(self.board, self.line[:SOON], replace(self.verdict, mate=None), self.is_shallow)

    def _certain(self, side: chess.Color, score: float, mate: int) -> Outcome:
        if mate > 0:
            sure = SURE_MATE if side == self.board.turn else SURE_FOR_THEM
            words = mates_in(mate) if mate <= sure else "forces mate"
            return Outcome(len(self.line), words, mates=True)
        found = outcome(self.board, self.line, side)
        if found.mates:
            return found if score >= CERTAIN and self.verdict.centipawns is None else NOTHING
        return found if found.words and self._stands_up(side, found.pawns) else NOTHING

    def _soon(self, side: chess.Color, in_all: Outcome, begun: Outcome) -> Outcome:
        """What a side wins within `SOON` plies, if it is still there at the end of the line."""
        if in_all.mates or in_all.plies <= SOON:
            return in_all
        return begun if begun.words and self._stands_up(side, begun.pawns) else NOTHING

    def _stands_up(self, side: chess.Color, pawns: int) -> bool:
        """Whether the gain is there at the end of the line, also if the other side can capture there."""
        left = self.counted if side == self.board.turn else -self.counted
        if self.end.turn != side:
            left -= self.next_capture
        return left >= max(1, pawns - NEAR)

    def comes(self, plies: int) -> bool:
        """Whether what so many plies of the line win really comes: the score at its end agrees.

        Where nobody has looked, it comes in the line of a good move, and if the reply wins it at once.
        """
        score, end = self.verdict.score, self.verdict.end
        if end is None:
            return not self.is_shallow or plies <= AT_ONCE
        least = round(max(min(score, end), 1 - max(score, end)), 6)
        return round(abs(end - score), 6) <= AGREES or least >= CLEARLY_BETTER

    def is_perpetual(self, side: chess.Color) -> bool:
        """Whether the line is a draw: this side gives check with every move, and the position repeats."""
        if not self.is_level:
            return False
        board, seen = self.board.copy(stack=False), {self.board.epd()}
        for move in self.line:
            board.push_uci(move)
            if board.turn != side and not board.is_check():
                return False
            if board.epd() in seen:
                return True
            seen.add(board.epd())
        return False


def _threat(board: chess.Board, line: tuple[str, ...]) -> str:
    """What the first move threatens; empty if nothing, or if the man that moves is taken at once."""
    if not line or (line[1:] and line[1][2:4] == line[0][2:4]):
        return ""
    threatened = threat(board, line[0])
    return threatened and f"threatens {threatened}"


def _queens_come_off(board: chess.Board, line: tuple[str, ...]) -> str:
    end = board_after(board, line)
    fewer = [
        len(end.pieces(chess.QUEEN, side)) < len(board.pieces(chess.QUEEN, side)) for side in chess.COLORS
    ]
    return "queens come off" if all(fewer) else ""


def first_motif(board: chess.Board, line: tuple[str, ...]) -> str:
    """The motif that explains the first move (UCI) of a line best, in small letters, or nothing."""
    from patterns.lines import uses  # array code, imported only when a reason is needed

    moves = [chess.Move.from_uci(move) for move in line[:EXPLAINED_BY]]
    first = [use.motif for use in uses(board, moves) if use.ply == 1]
    return motif_title(first[0]) if first else ""


def examined(board: chess.Board, line: Sequence[str]) -> tuple[str, ...]:
    """The part of a line (UCI) that is examined for the motif of a new card, up to the first illegal move."""
    part = legal_part(board, line[:EXAMINED])
    end = board_after(board, part)
    return part[:EXAMINED_BEFORE_MATE] if end.is_checkmate() and not name_of(end) else part


def leads_to_named_mate(board: chess.Board, line: Sequence[str]) -> bool:
    """Whether the examined part of a line (UCI) ends in a mate that has a name."""
    end = board_after(board, examined(board, line))
    return end.is_checkmate() and bool(name_of(end))


def tried(board: chess.Board, move: str, verdicts: PositionVerdicts, line: tuple[str, ...] = ()) -> Tried:
    """The move (UCI) with the engine's line, or with `line` if that begins with the move and is longer."""
    verdict = verdicts.moves[move]
    engine = legal_part(board, (move, *verdict.line))
    is_shallow = verdict.end is None and verdicts.quality(move) == "fails"
    follows = line if line[:1] == (move,) and len(line) > len(engine) else engine
    return Tried(board, follows, verdict, is_shallow)
