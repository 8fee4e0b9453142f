"""`play`: find the move and the moves after it. Each must hold; the card stores the other side's replies."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import TYPE_CHECKING

import chess

from decks.asks.ask import Answer, Ask, Mark, Reaction, RefusedMove, Size
from decks.tasks.card import Card
from decks.tasks.entry import EntryError, legal_san, read_move
from decks.tasks.goal import goal_told
from decks.tasks.hints import Hint, about_the_motif, men_named
from decks.tasks.layout import BLANK, Block, Completion, Layout, MessageAt, Piece, Row
from decks.tasks.lines import ShownLine, board_after, legal_part, numbered
from decks.tasks.messages import Click, Enter, Message
from decks.tasks.reasons import why
from decks.tasks.scoresheet import drawn, entries, spoken
from decks.tasks.task import Ruling, Task
from patterns.engines.scores import PositionVerdicts, Quality
from patterns.words.outcome import outcome
from patterns.words.wording import listed, named

if TYPE_CHECKING:
    from patterns.explanation import Explanation
    from patterns.words.verdicts import Verdict

SCORES: Mapping[Quality, float] = {"holds": 1.0, "slips": 0.65, "fails": 0.0}
"""The worst move decides the score; a slip is in the middle of the grade `partly`."""

_MEN = {"q": "Queen", "r": "Rook", "b": "Bishop", "n": "Knight"}


@dataclass(frozen=True)
class Promote(Message):
    """What a pawn becomes: one of q r b n."""

    letter: str


@dataclass(frozen=True)
class StudentMove:
    """One move of the answer: the move (UCI), its quality, its loss, and whether it is in the card's line.

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
    """Judge one move (UCI); `line_move` is the card's own move here, if it has one.

    `marks`: moves that the coach accepts or refuses here. The coach's word stands before the engine's.
    `rulings`: moves that were contested here before. What was decided then stands before both.
    """
    loss, in_line = verdicts.loss(move), move == line_move
    if move in rulings:
        return StudentMove(move, rulings[move].quality, loss, in_line, by_ruling=True)
    if move in marks:
        return StudentMove(move, "holds" if marks[move] else "fails", loss, in_line, by_coach=True)
    return StudentMove(move, verdicts.quality(move), loss, in_line)


def _judged(task: Task, ply: int, board: chess.Board, move: str) -> StudentMove:
    """Judge the move (UCI) that was played on this board, after so many plies of the card's line."""
    line = task.card.asked_line
    return judge_move(
        task.verdicts[board.epd()],
        move,
        line[ply] if ply < len(line) else None,
        task.card.marks.get(ply, {}),
        task.rulings.get(ply, {}),
    )


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
        card, decided = task.card, self.decided
        if decided is None:
            return "No move was played."
        if not self.left_line and decided.quality == "holds":
            own = numbered(card.board, self._played(card))[::2]
            return f"{listed(own)}: that is the line."
        place = len(self.moves) - 1 if decided is self.moves[-1] else self.moves.index(decided)
        before, line = board_after(card.board, card.line[: 2 * place]), card.line[2 * place :]
        verdicts = task.verdicts[before.epd()]
        move = numbered(before, (decided.move,))[0]
        if decided.by_ruling and decided.quality != verdicts.quality(decided.move):
            told = _by_ruling(move, decided)
        elif decided.by_coach:
            told = _by_coach(move, decided)
        elif decided.quality == "holds" and verdicts.best == decided.move:
            told = f"{move} is best, though the card's line goes another way; it ends here."
        elif decided.quality == "holds":
            told = f"{move} isn't in the card's line, but it holds as well; the card ends here."
        else:
            told = f"{move} {decided.quality}: {why(before, decided.move, verdicts, line)}"
            if decided.by_ruling:
                told += " It was contested before, and the coach agrees."
        found = numbered(card.board, card.line[: 2 * place])[::2]
        return f"You found {listed(found)}. {told}" if found else told

    def refused(self, task: Task) -> RefusedMove | None:
        """The last move, since a move that doesn't hold ends the answer; but only if an engine refuses it."""
        decided = self.decided
        if decided is None or decided.quality == "holds" or decided.by_coach or decided.by_ruling:
            return None
        return RefusedMove(board_after(task.card.board, self._played(task.card)[:-1]), decided.move)

    def judged_anew(self, verdicts: PositionVerdicts) -> PlayMark:
        *others, last = self.moves
        return grade_play([*others, judge_move(verdicts, last.move, last.move if last.in_line else None)])

    def lines(self, task: Task) -> tuple[ShownLine, ...]:
        if not self.left_line:
            return ()
        title = {"holds": "Your move", "slips": "Why it slips", "fails": "Why it fails"}
        card, last = task.card, self.moves[-1]
        played = self._played(card)
        before = board_after(card.board, played[:-1])
        line = legal_part(before, (last.move, *task.verdicts[before.epd()].moves[last.move].line))
        winner = before.turn if last.quality == "holds" else not before.turn
        shown = line[: max(2, outcome(before, line, winner).plies)]
        return (ShownLine(title[last.quality], (*played[:-1], *shown), own=len(played)),)

    def _played(self, card: Card) -> tuple[str, ...]:
        """Every move on the board (UCI), replies included. All but the last are moves of the line."""
        return (*card.line[: 2 * (len(self.moves) - 1)], self.moves[-1].move)


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


@dataclass(frozen=True)
class PlayAnswer(Answer):
    """The moves so far. `moves`: the student's, judged; `played`: every move on the board (UCI).

    `picked`: the square of a man in hand; `promotions`: moves (UCI) between which to choose.
    """

    moves: tuple[StudentMove, ...] = ()
    played: tuple[str, ...] = ()
    picked: str | None = None
    promotions: tuple[str, ...] = ()

    prompt = "Your move: "
    help = (
        "Write your move as Nf3 or g1f3. A pawn that reaches the last rank: a8=Q.",
        "There may be more than one move to find: the other side's reply is played for you.",
    )

    @property
    def question(self) -> str:
        if self.promotions:
            return "What does the pawn become?"
        if self.moves:
            return f"{self.to_move} And now?"
        card = self.task.card
        aim = goal_told(card.board, card.goal, card.line[0])
        asked = aim or self.to_move
        if not self.comes_first:
            return f"{asked} Now decide."
        return asked if aim else f"{asked} Find the move."

    @property
    def board(self) -> chess.Board:
        return board_after(self.task.card.board, self.played)

    @property
    def man_in_hand(self) -> str | None:
        return self.picked

    def react(self, message: Message) -> Reaction:
        match message:
            case Enter(text=text):
                return self._entered(text)
            case Click(square=square):
                return self._clicked(square)
            case Promote(letter=letter):
                return self._promoted(letter)
        return Reaction(self)

    def _entered(self, text: str) -> Reaction:
        if not text.strip():
            return Reaction(self)
        if self.promotions and text.strip().lower() in chess.PIECE_SYMBOLS[2:6]:
            return self._promoted(text.strip())
        try:
            move = read_move(self.board, text)
        except EntryError as error:
            return Reaction(self, str(error))
        return self._moved(move.uci())

    def _clicked(self, square: str) -> Reaction:
        """The first click picks up a man, the second puts it down, or picks up another own man."""
        board, clicked = self.board, chess.parse_square(square)
        if self.picked is not None and self.picked != square:
            fitting = [move.uci() for move in board.legal_moves if move.uci()[:4] == self.picked + square]
            if len(fitting) == 1:
                return self._moved(fitting[0])
            if fitting:
                return Reaction(replace(self, promotions=tuple(fitting)))
        if board.color_at(clicked) == board.turn and square != self.picked:
            return Reaction(replace(self, picked=square, promotions=()))
        notice = ""
        if self.picked is not None and square != self.picked:
            try:
                read_move(board, self.picked + square)
            except EntryError as error:
                notice = str(error)
        return Reaction(replace(self, picked=None, promotions=()), notice)

    def _promoted(self, letter: str) -> Reaction:
        move = next((move for move in self.promotions if move.endswith(letter.lower())), None)
        return self._moved(move) if move else Reaction(self)

    def _moved(self, move: str) -> Reaction:
        """Plays the student's move (UCI, legal), and the stored reply if the answer goes on."""
        line, ply = self.task.card.asked_line, len(self.played)
        judged = _judged(self.task, ply, self.board, move)
        over = ends_play(judged, len(line[ply + 2 :: 2]))
        played = (*self.played, move) if over else (*self.played, move, line[ply + 1])
        moves = (*self.moves, judged)
        return Reaction(replace(self, moves=moves, played=played, picked=None, promotions=()), handed_in=over)

    def layout(self) -> Layout:
        rows = entries(self.task.card.board, self.played, to_write=True)
        choice: tuple[Block, ...] = (BLANK, _promotion_choice()) if self.promotions else ()
        return Layout((*choice, BLANK, *drawn(rows)))

    def completions(self, typed: str) -> list[Completion]:
        """Legal moves without the signs for check, mate and capture, which would help to find the move.

        A student who writes the capture sign is offered captures, with that sign.
        """
        signs = "+#" if "x" in typed.lower() else "+#x"
        moves = (san.translate(str.maketrans("", "", signs)) for san in legal_san(self.board))
        return [Completion(move, move) for move in moves if move.lower().startswith(typed.lower())]

    def news(self, before: Answer | None) -> list[str]:
        if isinstance(before, PlayAnswer) and before.moves == self.moves:
            return []
        rows = entries(self.task.card.board, self.played, to_write=True) if self.played else []
        return [*spoken(rows), self.question]

    def hints(self, keeping_secret: bool) -> list[Hint]:
        aim = _aim(self.board, self.task.verdicts[self.board.epd()])
        return [*about_the_motif(self.task, keeping_secret), aim]

    def marked(self) -> PlayMark:
        return grade_play(self.moves)

    def raw(self) -> list[str]:
        return [move.move for move in self.moves]


def _promotion_choice() -> Row:
    return tuple(Piece(f"[{name}] ", "class:key", _promote(letter)) for letter, name in _MEN.items())


def _promote(letter: str) -> MessageAt:
    return lambda at: Promote(at, letter)


def _aim(board: chess.Board, verdicts: PositionVerdicts) -> Hint:
    """What the best move achieves, without naming it."""
    move = chess.Move.from_uci(verdicts.best)
    after = board.copy(stack=False)
    after.push(move)
    if after.is_checkmate():
        aim = "give mate"
    elif after.is_check():
        aim = "give check, and the reply is forced" if after.legal_moves.count() == 1 else "give check"
    elif board.is_capture(move):
        taken = move.to_square
        aim = "take a pawn" if board.is_en_passant(move) else f"take {named(board, taken)}"
    elif board.is_check():
        aim = "get out of check without losing anything"
    elif attacked := _newly_attacked(board, after, move):
        aim = f"attack {men_named(board, attacked)}"
    else:
        aim = "be quiet: no check and no capture"
    return Hint(f"Your move must {aim}.")


def _newly_attacked(before: chess.Board, after: chess.Board, move: chess.Move) -> list[str]:
    enemy = before.occupied_co[not before.turn]
    fresh = after.attacks(move.to_square) - before.attacks(move.from_square)
    return [chess.square_name(square) for square in fresh if enemy & chess.BB_SQUARES[square]]


def _in_words(card: Card, raw: Sequence[str]) -> str:
    """The student's moves, with the replies that the card's line gave to them."""
    moves = [move for own, reply in zip(raw, (*card.line[1::2], ""), strict=False) for move in (own, reply)]
    return " ".join(numbered(card.board, tuple(moves[: 2 * len(raw) - 1]))) or "no move"


def _mark_of_kept(task: Task, raw: Sequence[str]) -> PlayMark | None:
    moves = []
    for place, move in enumerate(raw):
        board = board_after(task.card.board, task.card.line[: 2 * place])
        verdicts = task.verdicts.get(board.epd())
        if verdicts is None or move not in verdicts.moves:
            return None
        moves.append(_judged(task, 2 * place, board, move))
    return grade_play(moves)


def _lacks(card: Card, tags: Mapping[str, str]) -> str:
    if not card.line:
        return "there is no line to find"
    ends_with_reply = len(card.asked_line) % 2 == 0
    return "its line ends with a reply, not with the student" if ends_with_reply else ""


def _suits_every_position(explanation: Explanation, whole: Verdict) -> bool:
    return True


ASK = Ask(
    id="play",
    title="move",
    place=30,
    begin=PlayAnswer,
    in_words=_in_words,
    mark_of_kept=_mark_of_kept,
    size=Size(seconds=60),  # a minute for a line; our guess
    secrets=frozenset({"line"}),
    announced="then decide",
    frees_comments=True,
    by_motif=True,
    is_default=True,
    lacks=_lacks,
    moves_judged=Card.moves_to_find,
    asks_of_a_position=True,
    suggested=_suits_every_position,
)
