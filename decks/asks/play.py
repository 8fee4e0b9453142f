"""`play`: find the move and the moves after it, then meet other defences, one after the other.

Each move must hold. The card stores the other side's replies and defences.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import chess

from decks.asks.ask import Answer, Ask, Reaction, Size
from decks.asks.play_mark import PlayMark, StudentMove, ends_play, grade_play, judged
from decks.tasks.card import Card, KeyMove
from decks.tasks.defences import defence_played, what_it_fails_to
from decks.tasks.entry import EntryError, legal_san, read_move
from decks.tasks.goal import goal_told
from decks.tasks.hints import Hint, about_the_motif, men_named
from decks.tasks.layout import BLANK, Block, Completion, Layout, MessageAt, Piece, Row
from decks.tasks.lines import board_after, numbered
from decks.tasks.messages import Click, Enter, Message
from decks.tasks.scoresheet import drawn, entries, spoken
from decks.tasks.task import Task
from patterns.engines.scores import PositionVerdicts
from patterns.words.wording import named, side_name

if TYPE_CHECKING:
    from patterns.explanation import Explanation
    from patterns.words.verdicts import Verdict

_MEN = {"q": "Queen", "r": "Rook", "b": "Bishop", "n": "Knight"}


@dataclass(frozen=True)
class Promote(Message):
    """What a pawn becomes: one of q r b n."""

    letter: str


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
        "After the line, other replies may be played: each is met by any move that holds.",
    )

    @property
    def question(self) -> str:
        if self.promotions:
            return "What does the pawn become?"
        key = self._key
        if key and key.defence:
            return self._asks_about(key)
        if self.moves:
            return f"{self.to_move} And now?"
        card = self.task.card
        aim = goal_told(card.board, card.goal, card.line[0])
        asked = aim or self.to_move
        if not self.comes_first:
            return f"{asked} Now decide."
        return asked if aim else f"{asked} Find the move."

    @property
    def _key(self) -> KeyMove | None:
        """The key move that is asked now; None when all are answered."""
        return next(iter(self.task.card.moves_asked()[len(self.moves) :]), None)

    def _asks_about(self, key: KeyMove) -> str:
        is_first = key.place == len(self.task.card.moves_to_find())
        defence = defence_played(self.task.card, key)
        what_if = f"And if {side_name(not key.board.turn)} plays {defence}?"
        return f"{'That is the line. ' if is_first else ''}{what_if} {self.to_move}"

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
        """Plays the student's move (UCI, legal), and the stored reply or a defence if the answer goes on."""
        key, *following = self.task.card.moves_asked()[len(self.moves) :]
        answer = judged(self.task, key, move)
        over = ends_play(answer, len(following))
        played = (*self.played, move) if over else following[0].before
        moves = (*self.moves, answer)
        anew = replace(self, moves=moves, played=played, picked=None, promotions=())
        if over or not key.defence:
            return Reaction(anew, handed_in=over)
        verdicts = self.task.verdicts[key.board.epd()]
        return Reaction(anew, what_it_fails_to(self.task.card, key, move, verdicts))

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
    """The student's moves, with the replies that the card's line gave to them, and the defences met."""
    pairs = list(zip(card.moves_asked(), raw, strict=False))
    if not pairs:
        return "no move"
    key, move = [(key, move) for key, move in pairs if not key.defence][-1]
    line = numbered(card.board, (*key.before, move))
    met = ((defence_played(card, key), numbered(key.board, (move,))[0]) for key, move in pairs if key.defence)
    against = (f"({defence} {answer})" for defence, answer in met)
    return " ".join([*line, *against])


def _mark_of_kept(task: Task, raw: Sequence[str]) -> PlayMark | None:
    moves = []
    for key, move in zip(task.card.moves_asked(), raw, strict=False):
        verdicts = task.verdicts.get(key.board.epd())
        if verdicts is None or move not in verdicts.moves:
            return None
        moves.append(judged(task, key, move))
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
    moves_judged=Card.moves_asked,
    asks_of_a_position=True,
    suggested=_suits_every_position,
)
