"""What a session shows, as words and marks: the same for the screen and for plain lines. Pure."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import chess

from decks.cards.card import Ask
from decks.memory.queue import USUAL_SECONDS, WHOLE_BALLOT_SECONDS
from decks.review.attempt import Attempt
from decks.review.evidence import NO_MARKS, Marks, evidence_marks, motif_title, row_marks
from decks.review.playback import move_at
from decks.review.session import State
from decks.review.task import Task
from patterns.words.verdicts import STRENGTHS
from patterns.words.wording import side_name

PACE_TRUST = 120.0
"""Seconds of expected time for which the usual pace is believed before the session's own outweighs it."""

CELLS: Mapping[int, str] = MappingProxyType({3: "WW", 2: "W", 1: "w", 0: "=", -1: "b", -2: "B", -3: "BB"})
"""How a cell of the ballot is written, by signed strength."""

CELLS_IN_WORDS = "W White clear, w White slight, = level, b Black slight, B Black clear"
VERDICT_IN_WORDS = "and on the verdict WW White decisive, BB Black decisive"

ASK_TITLES: Mapping[Ask, str] = MappingProxyType(
    {"assess": "stock-taking", "spot": "motif", "play": "move", "root": "root"}
)

Kind = Literal["text", "title", "grade", "faint", "notice"]


@dataclass(frozen=True)
class Paragraph:
    """A piece of text on one logical line, and what kind it is."""

    text: str
    kind: Kind = "text"


@dataclass(frozen=True)
class BoardView:
    """A board to draw: who sits below, the marks, and a man in hand (square name)."""

    board: chess.Board
    white_below: bool
    marks: Marks = NO_MARKS
    picked: str | None = None


def board_view(state: State) -> BoardView | None:
    """The board to draw; None at the end. Evidence is marked in the position it belongs to."""
    board, attempt = state.board, state.attempt
    if board is None or attempt is None:
        return None
    white_below = attempt.task.card.board.turn ^ state.flipped
    marks = NO_MARKS
    at_start = not board.move_stack
    if state.phase == "shown" and state.row:
        marks = row_marks(attempt.task, state.row, attempt.keeps_secret)
    elif state.phase == "shown" and at_start and not attempt.keeps_secret:
        marks = evidence_marks(attempt.task)
    elif attempt.ask == "spot":
        marks = Marks(squares=attempt.pointed)
    if state.phase == "answering" and at_start:
        for hint in attempt.hints:
            marks |= hint.marks
    return BoardView(board, white_below, marks, attempt.picked)


def progress(state: State) -> str:
    """`4 of 17, about 9 min left`."""
    left = minutes_left(state)
    time = "less than a minute left" if left < 1 else f"about {left:.0f} min left"
    return f"{state.place + 1} of {len(state.tasks)}, {time}"


def minutes_left(state: State) -> float:
    """Minutes to the end of the session: the usual times, more and more at the session's own pace."""
    done = sum(_expected_seconds(attempt.task) for attempt in state.done)
    until_this_card = state.now if state.phase == "shown" else state.sat
    pace = (until_this_card - state.started + PACE_TRUST) / (done + PACE_TRUST)
    seconds = pace * sum(map(_expected_seconds, state.tasks[state.place + 1 :]))
    if state.phase != "shown":
        this_card = pace * _expected_seconds(state.tasks[state.place])
        seconds += max(0.0, this_card - (state.now - state.sat))
    if state.minutes is not None:
        seconds = min(seconds, 60 * state.minutes - (state.now - state.started))
    return max(0.0, seconds / 60)


def _expected_seconds(task: Task) -> float:
    usual = {**USUAL_SECONDS, **task.usual_seconds}
    if task.whole_ballot and "assess" not in task.usual_seconds:
        usual["assess"] = WHOLE_BALLOT_SECONDS
    return sum(usual[ask] for ask in task.asks)


def question(state: State) -> str:
    """What is asked now, in one or two short sentences."""
    attempt = state.attempt
    assert attempt is not None
    to_move = f"{side_name(attempt.board.turn)} to move."
    following = attempt.task.asks[len(attempt.given) + 1 :]
    match attempt.ask:
        case "assess":
            return f"{to_move} Take stock, then decide." if "play" in following else f"{to_move} Take stock."
        case "play" if attempt.promotions:
            return "What does the pawn become?"
        case "play" if attempt.moves:
            return f"{to_move} And now?"
        case "play":
            return f"{to_move} Now decide." if attempt.given else f"{to_move} Find the move."
        case "spot":
            several = len({tag.motif for tag in attempt.task.card.motifs}) > 1
            which = "Which motifs are there? Name them" if several else "Which motif is there? Name it"
            return f"{to_move} {which} and point to the men."
        case "root":
            return "Something went wrong on this sheet. Which move let it in?"
    return ""


def spot_so_far(attempt: Attempt) -> tuple[str, str]:
    """What a `spot` answer names and points to until now."""
    named = ", ".join(motif_title(motif) for motif in sorted(attempt.named)) or "nothing yet"
    pointed = " ".join(sorted(attempt.pointed)) or "nothing yet"
    return f"Named: {named}", f"Pointed to: {pointed}"


def sheet_rows(state: State) -> list[tuple[str, str, str]]:
    """The moves as on a scoresheet: number, White's move, Black's move; what is yet to come is empty.

    While answering, the moves on the board; afterwards the whole line shown.
    """
    attempt = state.attempt
    assert attempt is not None
    moves = attempt.played
    if attempt.ask == "root":
        moves = attempt.task.card.line
    elif state.phase == "shown":
        moves = state.lines[state.line].moves if state.lines else ()
    board = attempt.task.card.board.copy(stack=False)
    rows: list[tuple[str, str, str]] = []
    for uci in moves:
        move = chess.Move.from_uci(uci)
        san = board.san(move)
        if board.turn:
            rows.append((f"{board.fullmove_number}.", san, ""))
        elif rows:
            rows[-1] = (rows[-1][0], rows[-1][1], san)
        else:
            rows.append((f"{board.fullmove_number}.", "...", san))
        board.push(move)
    if state.phase == "answering" and attempt.ask in ("assess", "play"):
        if board.turn:
            rows.append((f"{board.fullmove_number}.", "____", ""))
        elif rows:
            rows[-1] = (rows[-1][0], rows[-1][1], "____")
        else:
            rows.append((f"{board.fullmove_number}.", "...", "____"))
    return rows


def shown_ply(state: State) -> int | None:
    """How many plies of `sheet_rows` are on the board, where a line can be stepped through; else None."""
    if state.phase == "shown" and state.lines:
        return state.ply
    if state.attempt is not None and state.attempt.ask == "root":
        return state.attempt.ply
    return None


def where_in_line(state: State) -> str:
    """The move just made in the line shown, or that the position of the card is on the board."""
    attempt, ply = state.attempt, shown_ply(state)
    if attempt is None or ply is None:
        return ""
    moves = attempt.task.card.line if state.phase == "answering" else state.lines[state.line].moves
    if ply == 0:
        return "The position asked about."
    return f"After {move_at(attempt.task.card.board, moves, ply)}."


def cell_words(signed: int) -> str:
    """A signed strength in words: `White clear`, `level`."""
    if signed == 0:
        return STRENGTHS[0]
    return f"{side_name(signed > 0)} {STRENGTHS[abs(signed)]}"


def rounded_minutes(seconds: float) -> str:
    """`under a minute`, `1 minute`, `7 minutes`."""
    minutes = math.floor(seconds / 60 + 0.5)
    return "under a minute" if minutes < 1 else "1 minute" if minutes == 1 else f"{minutes} minutes"
