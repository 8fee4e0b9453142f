"""The coach's wording of `spot`: the weakest point, then the men that can go at it. The motif comes last."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import chess

from decks.asks.ask import Answer, Reaction
from decks.asks.weak_point_mark import (
    TAG,
    WeakPoint,
    WeakPointMark,
    either_man,
    in_order,
    not_of,
    read_weak_point,
    score_weak_point,
)
from decks.tasks.entry import read_square
from decks.tasks.evidence import Marks, key_findings
from decks.tasks.hints import Hint, where
from decks.tasks.layout import BLANK, Key, Layout, Paragraph
from decks.tasks.messages import Click, Enter, Message, Submit
from patterns.reading.text import safe
from patterns.words.wording import number, sentence, side_name


@dataclass(frozen=True)
class WeakPointAnswer(Answer):
    """The point, whether it is named (then the men are asked), and the men named so far."""

    point: str | None = None
    is_named: bool = False
    men: frozenset[str] = frozenset()

    help = (
        "First write one square: the man or the square where the other side can be hurt most.",
        "You are told whether it is right. Then write the squares of the men that can go at it: c2 d3.",
        "Writing a man's square again takes it back; an empty line hands the answer in.",
    )

    @property
    def question(self) -> str:
        board, side = self.task.card.board, side_name(self._attacker)
        if self.is_named:
            return f"Which {side} men can go at {either_man(board, self._key.points)}?"
        return f"{self.to_move} Where can {side} hurt {side_name(not self._attacker)} most? Name one square."

    @property
    def prompt(self) -> str:
        return "Men: " if self.is_named else "Weakest point: "

    @property
    def marks(self) -> Marks:
        points = self._key.points if self.is_named else {self.point} - {None}
        return Marks(self.men, frozenset(filter(None, points)))

    @property
    def _key(self) -> WeakPoint:
        return read_weak_point(self.task.card.own_tags[TAG])

    @property
    def _attacker(self) -> chess.Color:
        return bool(self.task.card.board.color_at(chess.parse_square(min(self._key.men))))

    def react(self, message: Message) -> Reaction:
        match message:
            case Click(square=square) if self.is_named:
                return self._toggled([square])
            case Click(square=square):
                return Reaction(replace(self, point=square))
            case Submit() | Enter(text="") if self.is_named:
                return Reaction(self, handed_in=True) if self.men else Reaction(self, "Name a man first.")
            case Submit() | Enter(text=""):
                return self._named(self.point) if self.point else Reaction(self, "Name a square first.")
            case Enter(text=text):
                return self._entered(text)
        return Reaction(self)

    def _entered(self, text: str) -> Reaction:
        words = text.replace(",", " ").split()
        squares = [square for word in words if (square := read_square(word))]
        if len(squares) < len(words):
            odd = next(word for word in words if read_square(word) is None)
            return Reaction(self, f"'{safe(odd, 40)}' is not a square like e4.")
        if self.is_named:
            return self._toggled(squares)
        return self._named(squares[0]) if len(squares) == 1 else Reaction(self, "Name one square only.")

    def _named(self, point: str) -> Reaction:
        """The point counts as named. So that the men can be asked, the student learns which it is."""
        board, key = self.task.card.board, self._key
        right = point in key.points
        told = f"{'Right' if right else 'Not ' + point}: it is {either_man(board, key.points)}."
        return Reaction(replace(self, point=point, is_named=True), told)

    def _toggled(self, squares: Sequence[str]) -> Reaction:
        foreign = not_of(self.task.card.board, squares, self._attacker)
        if foreign:
            return Reaction(self, f"No man of {side_name(self._attacker)}'s stands on {foreign[0]}.")
        return Reaction(replace(self, men=self.men ^ frozenset(squares)))

    def layout(self) -> Layout:
        return Layout(below_hints=(BLANK, *map(Paragraph, self._so_far())))

    def _so_far(self) -> list[str]:
        men = ", ".join(in_order(self.men)) or "nothing yet"
        return [f"Weakest point: {self.point or 'nothing yet'}", *([f"Men: {men}"] if self.is_named else [])]

    def keys(self) -> tuple[Key, ...]:
        return (Key("enter", "Enter", "hand in" if self.is_named else "this point", Submit),)

    def news(self, before: Answer | None) -> list[str]:
        if isinstance(before, WeakPointAnswer) and before.is_named == self.is_named:
            return [] if before == self else self._so_far()
        return [self.question]

    def hints(self, keeping_secret: bool) -> list[Hint]:
        board, key = self.task.card.board, self._key
        kinds = {board.piece_type_at(chess.parse_square(point)) for point in key.points}
        kind = next(iter(kinds)) if len(kinds) == 1 else None
        what = f"a {chess.piece_name(kind)}" if kind else "a man" if None not in kinds else "a square"
        several = f"{number(len(key.men))} men" if len(key.men) > 1 else "one man"
        return [Hint(f"Look for {what}."), Hint(sentence(f"{several} can go at it")), where(self.task)]

    def marked(self) -> WeakPointMark:
        key, side = self._key, chess.COLOR_NAMES[self._attacker]
        others = [one for one in self.task.explanation.findings if one.side == side]
        near = {target for one in others for target in one.targets}
        near |= {square for one in key_findings(self.task) for square in one.squares}
        return score_weak_point(self.task.card.board, key, self.point or "", self.men, near)

    def raw(self) -> dict[str, str | list[str]]:
        return {"point": self.point or "", "men": in_order(self.men)}


def in_words(raw: Mapping[str, str | Sequence[str]]) -> str:
    """An answer from the log in words."""
    return f"{raw['point']}; {', '.join(raw['men'])}"
