"""From an answer to a score, from a score to a grade. Pure: no clock, no chance, no storage.

Every score runs from 0 to 1 with the chance level taken out: guessing earns about nothing.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from decks.cards.card import GRADES, Grade
from patterns.engines.scores import PositionVerdicts, Quality
from patterns.words.verdicts import FACTORS, LEVEL, Verdict

MISSED_UNDER = 0.5
PARTLY_UNDER = 0.8

PLAY_SCORES: Mapping[Quality, float] = {"holds": 1.0, "slips": 0.65, "fails": 0.0}
"""The worst move makes the score; a slip lies in the middle of `partly`."""

FACTOR_CELLS = (2, 1, 0, -1, -2)
"""The cells of a factor's row, White clear to Black clear, as signed strengths."""

VERDICT_CELLS = (3, 2, 1, 0, -1, -2, -3)
"""The overall verdict also has decisive."""

BALLOT_ROWS = (*FACTORS, "verdict")
"""The rows of a ballot, in the order a sheet lists them."""

SHORT_BALLOT_FACTORS = 3
"""Factors on a short ballot: as many as a player names when asked in a hurry what matters. Our choice."""

VERDICT_WEIGHT = 2
"""The overall verdict counts as much as two factors: it is what the factors are taken stock for."""

STRENGTH_WEIGHT = 3
"""What each strength of the key adds to the weight 1 of a row. Of quiet positions half the rows are level:
weighed alike, a ballot marked level throughout would beat one that is a single cell off everywhere."""


@dataclass(frozen=True)
class StudentMove:
    """One move of a `play` answer: what it was (UCI), what it is worth, whether the card's line has it."""

    move: str
    quality: Quality
    loss: float
    in_line: bool


@dataclass(frozen=True)
class PlayMark:
    """What a `play` answer earned: `decided` is the first of its worst moves, the one to explain."""

    score: float
    decided: StudentMove | None
    left_line: bool


@dataclass(frozen=True)
class RowMark:
    """One row of a ballot, marked: signed strengths (None: left blank), credit 0 to 1, whose key decided.

    `computed`: what the program makes of the row, which is the key unless the coach set one.
    """

    row: str
    key: int
    answer: int | None
    credit: float
    key_by: Literal["coach", "computed"]
    computed: int


@dataclass(frozen=True)
class AssessMark:
    """What a ballot earned. `raw`: weighted mean credit; `chance`: what a random ballot averages."""

    score: float
    raw: float
    chance: float
    rows: tuple[RowMark, ...]


@dataclass(frozen=True)
class SpotMark:
    """What a `spot` answer earned: names right, wrong, left out, and true but not asked for; then squares."""

    score: float
    right: frozenset[str]
    wrong: frozenset[str]
    left_out: frozenset[str]
    also: frozenset[str]
    squares_hit: frozenset[str]
    squares_wrong: frozenset[str]
    squares_left_out: frozenset[str]


def grade_of(score: float, hints: int, seconds: float, usual_seconds: float | None) -> Grade:
    """The grade of a score.

    `seconds`: time taken; `usual_seconds`: the student's own median for this ask, None while too few
    right answers are known. A hint caps the grade at `helped`: where the score alone says `partly`, the
    lower of the two stands, which is `helped` again, and `missed` stays `missed`.
    """
    if score < MISSED_UNDER:
        grade: Grade = "missed"
    elif score < PARTLY_UNDER:
        grade = "partly"
    else:
        grade = "fluent" if usual_seconds is not None and seconds <= usual_seconds else "found"
    return min(grade, "helped", key=GRADES.index) if hints else grade


def judge_move(verdicts: PositionVerdicts, move: str, line_move: str | None) -> StudentMove:
    """Judge one move (UCI) of a `play` answer; `line_move` is the card's own move here, if it has one."""
    return StudentMove(move, verdicts.quality(move), verdicts.loss(move), move == line_move)


def ends_play(move: StudentMove, student_moves_left: int) -> bool:
    """Whether a `play` answer is over after this move: it slipped, failed, left the line or was the last."""
    return move.quality != "holds" or not move.in_line or student_moves_left == 0


def grade_play(moves: Sequence[StudentMove]) -> PlayMark:
    """Mark a `play` answer: every move must hold. No moves at all is nothing found."""
    if not moves:
        return PlayMark(0.0, None, False)
    decided = min(moves, key=lambda move: PLAY_SCORES[move.quality])
    return PlayMark(PLAY_SCORES[decided.quality], decided, not all(move.in_line for move in moves))


def short_rows(deciding: Sequence[str], coach: Collection[str] = ()) -> tuple[str, ...]:
    """The rows of a short ballot, as a sheet lists them: the factors that decide, and the verdict.

    `deciding`: every factor, the largest share of the verdict first. `coach`: those the coach set a key for,
    which come before any other.

    >>> short_rows(("space", "material", "centre", "initiative"), coach=["initiative"])
    ('material', 'space', 'initiative', 'verdict')
    """
    chosen = sorted(deciding, key=lambda factor: factor not in coach)[:SHORT_BALLOT_FACTORS]
    return tuple(row for row in BALLOT_ROWS if row in chosen or row == "verdict")


def cells_of(row: str) -> tuple[int, ...]:
    """The cells a ballot offers for a row."""
    return VERDICT_CELLS if row == "verdict" else FACTOR_CELLS


def fold(row: str, signed: int) -> int:
    """A signed strength as the row's cells can say it: a decisive factor is clear on a five-cell row."""
    widest = max(cells_of(row))
    return max(-widest, min(widest, signed))


def cell_credit(key: int, answer: int, accepted: Iterable[int] = ()) -> float:
    """Credit of one cell: 1 for the key and whatever else is accepted, half for a neighbour, else 0.

    A neighbour is never on the wrong side: level lies between the sides.
    """
    if answer == key or answer in accepted:
        return 1.0
    return 0.5 if abs(answer - key) == 1 else 0.0


def score_assess(
    computed: Mapping[str, Verdict],
    answer: Mapping[str, int],
    coach: Mapping[str, Verdict] | None = None,
    accepted: Mapping[str, frozenset[int]] | None = None,
    asked: Sequence[str] = BALLOT_ROWS,
) -> AssessMark:
    """Mark a ballot.

    `computed` and `coach`: keys by factor id or `verdict`; the coach's decides where there is one, a row
    in neither counts as level. `answer`: signed strengths by row; an unmarked row earns nothing.
    `accepted`: both neighbours of a computed value near a border; ignored where the coach set the key.
    `asked`: the rows of this ballot; what stands in others counts for nothing. Rows weigh by their keys.
    """
    coach, accepted = coach or {}, accepted or {}
    rows, raw, chance, weights = [], 0.0, 0.0, 0
    for row in asked:
        by_coach = row in coach
        own = fold(row, computed.get(row, LEVEL).signed)
        key = fold(row, coach[row].signed) if by_coach else own
        also = frozenset() if by_coach else frozenset(fold(row, cell) for cell in accepted.get(row, ()))
        weight = _weight(row, key)
        cells = cells_of(row)
        chance += weight * sum(cell_credit(key, cell, also) for cell in cells) / len(cells)
        weights += weight
        marked = answer.get(row)
        credit = 0.0 if marked is None else cell_credit(key, marked, also)
        raw += weight * credit
        rows.append(RowMark(row, key, marked, credit, "coach" if by_coach else "computed", own))
    raw, chance = raw / weights, chance / weights
    return AssessMark(above_chance(raw, chance), raw, chance, tuple(rows))


def _weight(row: str, key: int) -> int:
    return (1 + STRENGTH_WEIGHT * abs(key)) * (VERDICT_WEIGHT if row == "verdict" else 1)


def score_spot(
    key: Mapping[str, frozenset[str]],
    named: frozenset[str],
    squares: frozenset[str],
    also_true: Mapping[str, frozenset[str]],
    motif_count: int,
) -> SpotMark:
    """Mark a `spot` answer.

    `key`: the squares to point to (actors and targets), by motif asked for. `named`, `squares`: the answer.
    `also_true`: other motifs that are there, with their squares: naming or pointing to them neither earns nor
    costs. `motif_count`: how many motifs there are to choose from; naming one blindly is the chance level.
    Half the score is for the names, the other half for pointing, and pointing counts only as far as the names
    are right.
    """
    right = named & key.keys()
    wrong = named - key.keys() - also_true.keys()
    naming = _agreement(len(right), len(wrong), len(key) - len(right))
    wanted = frozenset().union(*key.values())
    excused = frozenset().union(*(also_true[motif] for motif in named & also_true.keys()))
    hit, beside, unseen = squares & wanted, squares - wanted - excused, wanted - squares
    pointing = _agreement(len(hit), len(beside), len(unseen)) if wanted else 1.0
    raw = naming * (0.5 + 0.5 * pointing)
    chance = 0.5 * len(key) / motif_count * _agreement(1, 0, len(key) - 1) if key and motif_count else 0.0
    left_out, also = frozenset(key) - named, named & also_true.keys()
    return SpotMark(above_chance(raw, chance), right, wrong, left_out, also, hit, beside, unseen)


def score_root(root: int, answer: int, plies: int) -> float:
    """Mark a `root` answer: the ply named against the ply that let it in, of `plies` to choose from.

    Half for the same side's move just before or after it (two plies away), nothing further off or for the
    other side's move.
    """
    credits = [1.0 if ply == root else 0.5 if abs(ply - root) == 2 else 0.0 for ply in range(plies)]
    return above_chance(credits[answer], sum(credits) / plies)


def above_chance(raw: float, chance: float) -> float:
    """A raw score with the chance level taken out, never below 0."""
    return max(0.0, (raw - chance) / (1.0 - chance)) if chance < 1.0 else 0.0


def _agreement(hits: int, false: int, left_out: int) -> float:
    """Hits against false alarms and omissions, 0 to 1 (the balanced F measure of information retrieval)."""
    return 2 * hits / (2 * hits + false + left_out) if hits else 0.0
