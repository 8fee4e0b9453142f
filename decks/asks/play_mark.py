"""The mark of a `play` answer: each move judged, and what is told of them and of the defences."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from decks.asks.ask import Mark, RefusedMove
from decks.tasks.card import Card, KeyMove
from decks.tasks.defences import defence_played, what_it_fails_to
from decks.tasks.lines import ShownLine, legal_part, numbered
from decks.tasks.reasons import why
from decks.tasks.task import Ruling, Task
from patterns.engines.scores import PositionVerdicts, Quality
from patterns.words.outcome import outcome
from patterns.words.wording import listed

SCORES: Mapping[Quality, float] = {"holds": 1.0, "slips": 0.65, "fails": 0.0}
"""The worst move decides the score; a slip is in the middle of the grade `partly`."""


@dataclass(frozen=True)
class StudentMove:
    """One move of the answer: the move (UCI), its quality, its loss, and whether the card goes on after it.

    `in_line`: it is in the card's line, or it answers a defence, where any move that holds is as good.
    `by_coach`: the coach's mark in the deck decided its quality. `by_ruling`: it was contested before.
    """

    move: str
    quality: Quality
    loss: float
    in_line: bool
    by_coach: bool = False
    by_ruling: bool = False


def judge_move(
    verdicts: PositionVerdicts,
    move: str,
    line_move: str | None,
    marks: Mapping[str, bool] = MappingProxyType({}),
    rulings: Mapping[str, Ruling] = MappingProxyType({}),
) -> StudentMove:
    """Judge one move (UCI); `line_move`: with which the card goes on here, if it does.

    `marks`: moves that the coach accepts or refuses here. The coach's word stands before the engine's.
    `rulings`: moves that were contested here before. What was decided then stands before both.
    """
    loss, in_line = verdicts.loss(move), move == line_move
    if move in rulings:
        return StudentMove(move, rulings[move].quality, loss, in_line, by_ruling=True)
    if move in marks:
        return StudentMove(move, "holds" if marks[move] else "fails", loss, in_line, by_coach=True)
    return StudentMove(move, verdicts.quality(move), loss, in_line)


def judged(task: Task, key: KeyMove, move: str) -> StudentMove:
    """Judge the move (UCI) that was played where the card has a key move."""
    goes_on_with = move if key.defence else key.move
    rulings = task.rulings.get(key.place, {})
    return judge_move(task.verdicts[key.board.epd()], move, goes_on_with, key.marks, rulings)


def ends_play(move: StudentMove, student_moves_left: int) -> bool:
    """Whether the answer ends with this move, because it slipped, failed, left the line or was the last."""
    return move.quality != "holds" or not move.in_line or student_moves_left == 0


@dataclass(frozen=True)
class PlayMark(Mark):
    """The result of the moves. `decided`: the worst of them (the last, if several), which is explained."""

    decided: StudentMove | None
    left_line: bool
    moves: tuple[StudentMove, ...] = ()

    def reason(self, task: Task) -> str:
        decided, keys = self.decided, task.card.moves_to_find()
        if decided is None:
            return "No move was played."
        place = len(self.moves) - 1 if decided is self.moves[-1] else self.moves.index(decided)
        ends_well = decided.quality == "holds" and not self.left_line
        count = min(len(keys), len(self.moves) if ends_well else place)
        found = listed(numbered(task.card.board, task.card.line[: 2 * count])[: 2 * count : 2])
        if ends_well:
            told = f"{found}: that is the line."
        else:
            told = f"{f'You found {found}. ' if found else ''}{_told(task, place, decided)}"
        return " ".join([told, *self._defences_told(task)])

    def _defences_told(self, task: Task) -> Iterator[str]:
        """What each defence fails to, if the line was found; except for one that was not met."""
        to_find = len(task.card.moves_to_find())
        line = self.moves[:to_find]
        if len(line) < to_find or not all(move.in_line and move.quality == "holds" for move in line):
            return
        for key in task.card.moves_asked()[to_find:]:
            answer = next(iter(self.moves[key.place : key.place + 1]), None)
            if answer is None or answer.quality == "holds":
                move = answer.move if answer else key.move
                yield what_it_fails_to(task.card, key, move, task.verdicts[key.board.epd()])

    def refused(self, task: Task) -> RefusedMove | None:
        """The last move, since a move that doesn't hold ends the answer; but only if an engine refuses it."""
        decided = self.decided
        if decided is None or decided.quality == "holds" or decided.by_coach or decided.by_ruling:
            return None
        return RefusedMove(self._last_key(task.card).board, decided.move)

    def judged_anew(self, verdicts: PositionVerdicts) -> PlayMark:
        *others, last = self.moves
        return grade_play([*others, judge_move(verdicts, last.move, last.move if last.in_line else None)])

    def lines(self, task: Task) -> tuple[ShownLine, ...]:
        last = self.moves[-1] if self.moves else None
        if last is None or (last.quality == "holds" and not self.left_line):
            return ()
        title = {"holds": "Your move", "slips": "Why it slips", "fails": "Why it fails"}
        key = self._last_key(task.card)
        line = legal_part(key.board, (last.move, *task.verdicts[key.board.epd()].moves[last.move].line))
        winner = key.board.turn if last.quality == "holds" else not key.board.turn
        shown = line[: max(2, outcome(key.board, line, winner).plies)]
        return (ShownLine(title[last.quality], (*key.before, *shown), own=key.ply + 1),)

    def _last_key(self, card: Card) -> KeyMove:
        return card.moves_asked()[len(self.moves) - 1]


def _told(task: Task, place: int, decided: StudentMove) -> str:
    """What is said of a move that does not hold, or that holds and leaves the line."""
    key = task.card.moves_asked()[place]
    verdicts = task.verdicts[key.board.epd()]
    move = numbered(key.board, (decided.move,))[0]
    if key.defence:
        move = f"Against {defence_played(task.card, key)}, {move}"
    if decided.by_ruling and decided.quality != verdicts.quality(decided.move):
        return _by_ruling(move, decided)
    if decided.by_coach:
        return _by_coach(move, decided)
    if decided.quality == "holds" and verdicts.best == decided.move:
        return f"{move} is best, though the card's line goes another way; it ends here."
    if decided.quality == "holds":
        return f"{move} isn't in the card's line, but it holds as well; the card ends here."
    told = f"{move} {decided.quality}: {why(key.board, decided.move, verdicts, key.line)}"
    return f"{told} It was contested before, and the coach agrees." if decided.by_ruling else told


def _by_coach(move: str, decided: StudentMove) -> str:
    """The coach's word on a move that is not in the line, or that is refused."""
    if decided.quality == "holds":
        return f"{move} isn't in the card's line, but the coach accepts it; the card ends here."
    return f"{move} {decided.quality}: the coach marks it as a mistake."


def _by_ruling(move: str, decided: StudentMove) -> str:
    """What was decided when a move that is not in the line, or that is refused, was contested before."""
    if decided.quality == "holds":
        return (
            f"{move} isn't in the card's line, but it was contested before and accepted; the card ends here."
        )
    return f"{move} {decided.quality}: so it was decided when it was contested before."


def grade_play(moves: Sequence[StudentMove]) -> PlayMark:
    """Mark an answer: every move must hold. Without a move, nothing was found."""
    if not moves:
        return PlayMark(0.0, None, False)
    decided = min(reversed(moves), key=lambda move: SCORES[move.quality])
    left_line = not all(move.in_line for move in moves)
    return PlayMark(SCORES[decided.quality], decided, left_line, tuple(moves))
