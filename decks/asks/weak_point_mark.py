"""The mark of a weak point and the men that can go at it: the key, and each man judged."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import chess

from decks.asks.ask import Mark, MarkedRow
from decks.tasks.card import Card
from decks.tasks.entry import read_square
from decks.tasks.evidence import Marks, key_findings
from decks.tasks.hints import men_named
from decks.tasks.layout import Piece, Row
from decks.tasks.marked_cells import SIGNS, agreement
from decks.tasks.scoring import above_chance
from decks.tasks.task import Task
from patterns.reading.text import safe
from patterns.words.wording import either, named, number, sentence

if TYPE_CHECKING:
    from patterns.motifs.findings import Finding

TAG = "WeakPoint"

MOST_POINTS = 4
"""Squares that may count as the weakest point. Where a motif has more targets, no point is the weakest."""

MOST_WAYS = 4
"""Squares that are told one by one of those to which a man can go. A longer list is not read."""

NEAR = 0.5
"""The credit of a point or a man that is not in the key but close to it."""


@dataclass(frozen=True)
class WeakPoint:
    """The key: `points`, each of which is right, and `men`, those that can go at them; as square names."""

    points: frozenset[str]
    men: frozenset[str]

    def __str__(self) -> str:
        return f"{' '.join(in_order(self.points))}: {' '.join(in_order(self.men))}"


def read_weak_point(text: str) -> WeakPoint:
    """The key in the form of the tag. ValueError says what is wrong.

    >>> str(read_weak_point("h7 g8: d3 c2"))
    'h7 g8: c2 d3'
    """
    points, _, men = (part.split() for part in text.lower().partition(":"))
    odd = next((word for word in (*points, *men) if read_square(word) is None), None)
    if odd is not None or not points or not men:
        wrong = f"{safe(odd, 20)!r} is not a square" if odd else "points and men must both be there"
        raise ValueError(f"{wrong}: write, for example, h7: c2 d3")
    return WeakPoint(frozenset(points), frozenset(men))


def lacks(card: Card, text: str) -> str:
    """What is wrong with the tag's text; empty if nothing."""
    try:
        key = read_weak_point(text)
    except ValueError as error:
        return f"its {TAG} tag can't be read: {error}"
    owners = {card.board.color_at(chess.parse_square(square)) for square in key.men}
    alike = len(owners) == 1 and None not in owners
    return "" if alike else f"the men that its {TAG} tag names are not men of one side"


def weak_point_in(card: Card, motif: str, findings: Iterable[Finding]) -> WeakPoint | None:
    """The key for a motif of the card, if that stands on the board; None if it does not.

    `findings`: those of the motif in the card's position. Only those with men of the card's evidence count.
    """
    side = next(tag.side == "white" for tag in card.motifs if tag.motif == motif)
    evidence = {*card.evidence.get(motif, ())}
    points, men = set[str](), set[str]()
    for one in findings:
        if one.side == chess.COLOR_NAMES[side] and (not evidence or evidence & {*one.actors, *one.targets}):
            points |= {*not_of(card.board, one.targets, side)}
            men |= {*one.actors} - {*not_of(card.board, one.actors, side)}
    return WeakPoint(frozenset(points), frozenset(men)) if men and 0 < len(points) <= MOST_POINTS else None


def not_of(board: chess.Board, squares: Iterable[str], side: chess.Color) -> list[str]:
    """Those of the squares on which no man of this side stands."""
    return [square for square in squares if board.color_at(chess.parse_square(square)) != side]


@dataclass(frozen=True)
class PointRow(MarkedRow):
    """The point that was named."""

    board: chess.Board
    point: str
    points: frozenset[str]
    credit: float

    name = "weakest point"

    def in_words(self) -> str:
        return f"{self.name}: {self.point}, {agreement(self.credit)}"

    def reasons(self, task: Task, keeping_secret: bool) -> list[str]:
        notes = [] if keeping_secret else list(dict.fromkeys(one.note for one in key_findings(task)))
        return notes or [sentence(f"the men can go at {men_named(self.board, in_order(self.points))}")]

    def marks(self, task: Task, keeping_secret: bool) -> Marks:
        return Marks(targets=self.points, squares=frozenset({self.point}) - self.points)

    def drawn(self, chosen: bool) -> Row:
        return _drawn(self, chosen, SIGNS[agreement(self.credit)])


@dataclass(frozen=True)
class ManRow(MarkedRow):
    """One man of the answer or of the key. `credit`: None if it was left out."""

    board: chess.Board
    square: str
    points: frozenset[str]
    credit: float | None

    @property
    def name(self) -> str:
        return f"man on {self.square}"

    def in_words(self) -> str:
        judged = "left out" if self.credit is None else agreement(self.credit)
        return f"{named(self.board, chess.parse_square(self.square))}: {judged}"

    def reasons(self, task: Task, keeping_secret: bool) -> list[str]:
        man = named(self.board, chess.parse_square(self.square))
        entries = {square for one in key_findings(task) for square in one.squares}
        how = how_it_gets_at(self.board, self.square, self.points, entries)
        in_key = self.credit is None or self.credit == 1
        late = f"does not get at it with its next move{', but takes part' if in_key else ''}"
        return [sentence(f"{man} {how or late}")]

    def marks(self, task: Task, keeping_secret: bool) -> Marks:
        return Marks(frozenset({self.square}), self.points)

    def drawn(self, chosen: bool) -> Row:
        return _drawn(self, chosen, "-" if self.credit is None else SIGNS[agreement(self.credit)])


def _drawn(row: MarkedRow, chosen: bool, sign: str) -> Row:
    return (Piece(f"{'>' if chosen else ' '}{sign} {row.in_words()}", "class:row" if chosen else ""),)


def how_it_gets_at(
    board: chess.Board, man: str, points: Collection[str], entries: Collection[str] = ()
) -> str:
    """How a man gets at one of the points: at once, through another man, after one move; else empty.

    `entries`: squares to tell of rather than of others from which it would attack a point.
    """
    square, aims = chess.parse_square(man), [chess.parse_square(point) for point in in_order(points)]
    hit = [aim for aim in aims if square in board.attackers(bool(board.color_at(square)), aim)]
    if hit:
        return f"attacks {men_named(board, [chess.SQUARE_NAMES[aim] for aim in hit])}"
    in_front = [front for aim in aims if (front := _only_own_man_between(board, square, aim)) is not None]
    if in_front:
        return f"looks at it through {named(board, in_front[0])}"
    turned = board.copy(stack=False)
    turned.turn = bool(board.color_at(square))
    goes = {
        move.to_square
        for move in turned.generate_legal_moves(from_mask=chess.BB_SQUARES[square])
        if any(move.to_square == aim or _attacks_after(turned, move, aim) for aim in aims)
    }
    told = goes & {chess.parse_square(square) for square in entries} or goes
    if len(told) > MOST_WAYS:
        return "can get at it with its next move"
    return f"gets at it by going to {either(told)}" if told else ""


def _only_own_man_between(board: chess.Board, man: chess.Square, aim: chess.Square) -> chess.Square | None:
    """The man of the same side without which a man would attack a square; None if there is none."""
    side, between = bool(board.color_at(man)), chess.SquareSet.between(man, aim) & board.occupied
    if len(between) != 1 or board.color_at(front := between.pop()) != side:
        return None
    without = board.copy(stack=False)
    without.remove_piece_at(front)
    return front if man in without.attackers(side, aim) else None


def _attacks_after(board: chess.Board, move: chess.Move, aim: chess.Square) -> bool:
    after = board.copy(stack=False)
    after.push(move)
    return move.to_square in after.attackers(board.turn, aim)


@dataclass(frozen=True)
class WeakPointMark(Mark):
    """The result: the row of the point, then one row for each man."""

    key: WeakPoint
    rows: tuple[PointRow | ManRow, ...]

    def reason(self, task: Task) -> str:
        board, (first, *rest) = task.card.board, self.rows
        key = f"{men_named(board, in_order(self.key.men))} can go at {either_man(board, self.key.points)}"
        found = f"{number(sum(row.credit == 1 for row in rest))} of {number(len(self.key.men))}"
        return f"{sentence(key)} Your point: {agreement(first.credit or 0)}; men found: {found}."

    def marks(self, task: Task) -> Marks:
        return Marks(self.key.men, self.key.points)

    def rows_to_look_into(self) -> tuple[MarkedRow, ...]:
        return self.rows

    def rows_title(self) -> str:
        return "Your answer, man by man"

    def rows_legend(self) -> str:
        return "+ right ~ near - off or left out"


def score_weak_point(
    board: chess.Board, key: WeakPoint, point: str, men: Collection[str], near: Collection[str] = ()
) -> WeakPointMark:
    """Mark an answer: half for the point, half for the men. `near`: other points that are near the key.

    Also near are the neighbours of a point of the key, and men that attack one without being in the key.
    """
    side = bool(board.color_at(chess.parse_square(min(key.men))))
    own, theirs = (
        [chess.SQUARE_NAMES[square] for square in chess.SquareSet(board.occupied_co[colour])]
        for colour in (side, not side)
    )
    point_credit = {square: _point_credit(key, square, near) for square in (*theirs, point)}
    man_credit = {square: _man_credit(board, key, square) for square in own}
    raw = (point_credit[point] + _agreement(key, men, man_credit)) / 2
    by_chance = sum(point_credit[square] for square in theirs) / len(theirs)
    by_chance += sum(_agreement(key, [square], man_credit) for square in own) / len(own)
    rows = [
        ManRow(board, square, key.points, man_credit[square] if square in men else None)
        for square in in_order(key.men | {*men})
    ]
    first = PointRow(board, point, key.points, point_credit[point])
    return WeakPointMark(above_chance(raw, by_chance / 2), key, (first, *rows))


def _point_credit(key: WeakPoint, point: str, near: Collection[str]) -> float:
    if point in key.points:
        return 1.0
    aims = map(chess.parse_square, key.points)
    beside = any(chess.square_distance(chess.parse_square(point), aim) == 1 for aim in aims)
    return NEAR if beside or point in near else 0.0


def _man_credit(board: chess.Board, key: WeakPoint, man: str) -> float:
    if man in key.men:
        return 1.0
    attacked = board.attacks(chess.parse_square(man))
    return NEAR if any(chess.parse_square(point) in attacked for point in key.points) else 0.0


def _agreement(key: WeakPoint, men: Collection[str], credit: Mapping[str, float]) -> float:
    """How well the men agree with the key, 0 to 1: twice the credit against both numbers of men."""
    return 2 * sum(credit[man] for man in men) / (len(men) + len(key.men))


def in_order(squares: Collection[str]) -> list[str]:
    """The squares in the order a1, b1, ... h8."""
    return sorted(squares, key=chess.parse_square)


def either_man(board: chess.Board, squares: Collection[str]) -> str:
    """The men on these squares as alternatives: `the rook on d1 or the king on g1`."""
    every = [named(board, chess.parse_square(square)) for square in in_order(squares)]
    return " or ".join([", ".join(every[:-1]), every[-1]] if len(every) > 2 else every)
