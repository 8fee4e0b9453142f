"""Why a move slips or fails: what it comes to, and what the right move comes to. Pure.

Everything said follows from the stored verdicts. Men are counted on the board, and only if the other side
cannot take them back at the end of the line. A mate is one that the engine has seen. Where there is neither,
the sentence says how the mover stands, and gives no other reason.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import chess

from decks.tasks.lines import board_after, legal_part, numbered
from patterns.boards.worth import ahead
from patterns.engines.scores import STRENGTH_THRESHOLDS, MoveVerdict, PositionVerdicts, verdict_from_expected
from patterns.proof.captures import exchange
from patterns.words.outcome import NEAR, WINS, Outcome, mates_in, outcome
from patterns.words.verdicts import LEVEL, standing
from patterns.words.wording import side_name

NOT_LOSING = 0.45
"""Expected score from which the other side is not said to win anything: the mover has enough for it."""

BETTER = 0.5 + STRENGTH_THRESHOLDS[0]
"""Expected score from which the mover stands better than level."""

PAWN_EXPLAINS = 0.4
"""The largest loss of expected score that a pawn can explain; with a larger one the standing is told too."""

CERTAIN = 0.995
"""Expected score from which a line that ends in mate counts as forced, if no number of moves is stored."""

LEVEL_WORD = standing(LEVEL, "white")

NOTHING = Outcome(0, "")


@dataclass(frozen=True)
class Tried:
    """A move and what follows it. `line`: UCI, the move first, legal from `board`."""

    board: chess.Board
    line: tuple[str, ...]
    verdict: MoveVerdict

    @property
    def move(self) -> str:
        """The move with its number."""
        return numbered(self.board, self.line[:1])[0]

    @property
    def reply(self) -> str:
        """The reply with its number; empty if the game ends with the move."""
        return "".join(numbered(board_after(self.board, self.line[:1]), self.line[1:2]))

    @property
    def standing(self) -> str:
        """How the mover stands, in words."""
        return standing(verdict_from_expected(self.verdict.score), "white")

    @property
    def end(self) -> chess.Board:
        """The position at the end of the line."""
        return board_after(self.board, self.line)

    @cached_property
    def counted(self) -> int:
        """Pawns that the mover has won (lost, below 0) by count at the end of the line."""
        return ahead(self.end, self.board.turn) - ahead(self.board, self.board.turn)

    @cached_property
    def next_capture(self) -> int:
        """Pawns that the side to move at the end of the line wins there by a capture or a promotion."""
        end = self.end
        changes = (move for move in end.legal_moves if end.is_capture(move) or move.promotion)
        return max([0, *(exchange(end, move) for move in changes)])

    @cached_property
    def wins(self) -> Outcome:
        """What the mover wins; without words if nothing is certain."""
        return self._certain(self.board.turn, self.verdict.score, self.verdict.mate or 0)

    @cached_property
    def loses(self) -> Outcome:
        """What the other side wins; without words if nothing is certain."""
        return self._certain(not self.board.turn, 1.0 - self.verdict.score, -(self.verdict.mate or 0))

    def _certain(self, side: chess.Color, score: float, mate: int) -> Outcome:
        if mate > 0:
            return Outcome(len(self.line), mates_in(mate), mates=True)
        found = outcome(self.board, self.line, side)
        if found.mates:
            return found if score >= CERTAIN else NOTHING
        return found if found.words and self._stands_up(side, found.pawns) else NOTHING

    def _stands_up(self, side: chess.Color, pawns: int) -> bool:
        """Whether the gain is there at the end of the line, also if the other side can capture there."""
        left = self.counted if side == self.board.turn else -self.counted
        if self.end.turn != side:
            left -= self.next_capture
        return left >= max(1, pawns - NEAR)

    def is_perpetual(self, side: chess.Color) -> bool:
        """Whether the line is a draw: this side gives check with every move until the position repeats."""
        if self.standing != LEVEL_WORD:
            return False
        board, seen = self.board.copy(stack=False), set[str]()
        for move in self.line:
            board.push_uci(move)
            if board.turn != side and not board.is_check():
                seen.clear()
            elif board.epd() in seen:
                return True
            seen.add(board.epd())
        return False


def why(board: chess.Board, move: str, verdicts: PositionVerdicts, line: tuple[str, ...]) -> str:
    """What the move (UCI) comes to and what the right move comes to, with a full stop but no capital letter.

    `line`: the card's line from here. Its move is the right one if it holds, else the engine's best.
    """
    right = line[0] if verdicts.quality(line[0]) == "holds" or verdicts.best == move else verdicts.best
    own, best = _tried(board, move, verdicts), _tried(board, right, verdicts, line)
    return f"{_comes_to(own, best)}; {_would_have(best, own)}."


def _tried(board: chess.Board, move: str, verdicts: PositionVerdicts, line: tuple[str, ...] = ()) -> Tried:
    """The move with the engine's line, or with `line` if that begins with the move and is longer."""
    verdict = verdicts.moves[move]
    engine = legal_part(board, (move, *verdict.line))
    return Tried(board, line if line[:1] == (move,) and len(line) > len(engine) else engine, verdict)


def _comes_to(own: Tried, best: Tried) -> str:
    """What the wrong move comes to: mate, men lost, a draw, less than it could; else how the mover stands."""
    us, score = own.board.turn, own.verdict.score
    if not own.reply:
        return "it is stalemate" if not any(own.end.legal_moves) else "it is a draw"
    stands = f"{side_name(us)} is {'still ' if score > BETTER else ''}{own.standing}"
    stands = "the game is level" if own.standing == LEVEL_WORD else stands
    if own.is_perpetual(not us):
        return f"after {own.reply} {side_name(not us)} draws by perpetual check"
    if own.loses.words and (own.loses.mates or own.loses.pawns > best.loses.pawns):
        lost = _gained(own.reply, own.loses, 2, side_name(not us))
        if score >= NOT_LOSING and own.loses.words.startswith(WINS):
            return f"it costs {own.loses.words.removeprefix(WINS)} after {own.reply}, and {stands}"
        is_small = own.loses.pawns == 1 and best.verdict.score - score > PAWN_EXPLAINS
        return f"{lost}, and {stands}" if is_small or score >= NOT_LOSING else lost
    if own.wins.words and score > BETTER and _wins_more(best, own):
        return f"it only {own.wins.words}"
    return f"after {own.reply} {stands}"


def _would_have(best: Tried, own: Tried) -> str:
    """What the right move comes to; where the wrong one comes to that too, only that it keeps more."""
    us = best.board.turn
    if best.is_perpetual(us):
        return f"{best.move} draws by perpetual check"
    if _wins_more(best, own):
        return _gained(best.move, best.wins, 1, side_name(us))
    if own.standing == best.standing:
        return f"{best.move} {'avoids that' if own.loses.words else 'keeps more'}"
    if best.standing == LEVEL_WORD:
        return f"{best.move} keeps the balance"
    return f"after {best.move} {side_name(us)} is {best.standing}"


def _wins_more(best: Tried, own: Tried) -> bool:
    return best.wins.mates or (bool(best.wins.words) and best.wins.pawns > own.wins.pawns)


def _gained(move: str, gain: Outcome, own: int, side: str) -> str:
    """What the move gains: the move alone if the first `own` plies show it, else the moves after it."""
    return f"{move} {gain.words}" if gain.mates or gain.plies <= own else f"after {move} {side} {gain.words}"
