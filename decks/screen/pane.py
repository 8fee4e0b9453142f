"""The pane beside the board as rows of styled text: question, answer, hints, result."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from textwrap import wrap

from decks.asks.ask import Mark
from decks.review import messages as m
from decks.review.attempt import Attempt
from decks.review.session import State
from decks.tasks.layout import BLANK, Block, Key, MessageAt, Paragraph, Piece, Row
from decks.tasks.scoresheet import STEPPER, drawn, entries
from decks.telling.result import closing, result
from decks.telling.shown import progress

MIN_COLUMNS = 36
MAX_COLUMNS = 64

SIGNED = "Sheet signed"
ABOUT_HINTS = (
    "For a hint, press F2. You are told what it costs; press F2 again to take it.",
    "With a hint, the grade of this card is 'with help' at best.",
)
ABOUT_CONTESTS = (
    "If you think that a grade is wrong, you can contest it.",
    "An engine searches your move again, or else your coach decides; until then the grade stays.",
)
OTHER_KEYS = (
    "PgUp and PgDn show more of this page",
    "Ctrl-O turns the mouse off, so that you can select text, and on again",
    "You can also click: on squares, cells, moves, and the words on the last lines",
)
LOOK_INTO_ROWS = "Up and down keys: why, row by row"


def pane_rows(state: State, columns: int) -> list[Row]:
    """Everything in the pane, wrapped to `columns`; the caller shows the part that fits."""
    attempt = state.attempt
    if state.phase in ("closing", "ended") or attempt is None:
        title = Paragraph(SIGNED, "title")
        return [*_set([title], columns), BLANK, *_set(closing(state), columns)]
    head: list[Row] = [(Piece(progress(state), "class:title"),), BLANK]
    if state.phase == "shown":
        return head + _shown(state, attempt, columns)
    question = Paragraph(attempt.answer.question)
    layout = attempt.answer.layout()
    return [
        *head,
        *_set([question], columns),
        *_set(layout.above_hints, columns),
        *_hints(attempt, columns),
        *_set(layout.below_hints, columns),
    ]


def help_rows(state: State, columns: int, keys: Iterable[Key]) -> list[Row]:
    """Help for this step, wrapped to `columns`: what can be answered, what a hint costs, every key."""
    answer = state.attempt.answer if state.phase == "answering" and state.attempt else None
    about = (*answer.help, *ABOUT_HINTS) if answer else ABOUT_CONTESTS if state.phase == "shown" else ()
    named = [Paragraph(f"{key.label} {key.words}") for key in keys if key.label]
    if answer and answer.takes_text:
        named.append(Paragraph("Tab completes what you are writing; you can also write hint"))
    blocks = [Paragraph("Help for this step (it costs nothing)", "title"), *map(Paragraph, about)]
    blocks += [Paragraph("Keys", "title"), *named, *map(Paragraph, OTHER_KEYS)]
    return _set([*blocks, *([answer.keys_in_words()] if answer and answer.keys_in_words() else [])], columns)


def _hints(attempt: Attempt, columns: int) -> list[Row]:
    hints = [Paragraph(f"{number}. {hint.text}") for number, hint in enumerate(attempt.hints, start=1)]
    return [BLANK, *_set([Paragraph("Hints", "title"), *hints], columns)] if hints else []


def _shown(state: State, attempt: Attempt, columns: int) -> list[Row]:
    if state.row:
        return _row_looked_into(state, attempt, columns)
    paragraphs = result(state)
    heads = [at for at, paragraph in enumerate(paragraphs) if paragraph.kind == "grade"]
    body = heads[-1] + 2 if heads else 0
    above = _set(paragraphs[:body], columns)
    rest = [BLANK, *_set(paragraphs[body:], columns)]
    marked = [row for mark in attempt.marks for row in _marked_answer(attempt, mark, "", columns)]
    if not state.lines:
        return [*above, *marked, *rest]
    more = f"  ({state.line + 1} of {len(state.lines)})" if len(state.lines) > 1 else ""
    line = state.lines[state.line]
    title = Piece(line.title + more, "class:title", m.OtherLine)
    scoresheet = drawn(entries(attempt.task.card.board, line.moves), state.ply)
    return [*above, BLANK, (title, *STEPPER), *scoresheet, *rest, *marked]


def _marked_answer(attempt: Attempt, mark: Mark, chosen: str, columns: int) -> list[Row]:
    """The marked rows of an answer, if it has rows. `chosen`: the name of the row whose reasons are shown."""
    rows = mark.rows_to_look_into()
    if not rows:
        return []
    note = "" if chosen else mark.rows_note(attempt.task)
    under = (
        Paragraph(mark.rows_legend(), "faint"),
        Paragraph(LOOK_INTO_ROWS, "faint"),
        Paragraph(note),
    )
    looked_into = (_clickable(row.drawn(row.name == chosen), _look_into(row.name)) for row in rows)
    return [BLANK, *looked_into, *_set(under, columns)]


def _row_looked_into(state: State, attempt: Attempt, columns: int) -> list[Row]:
    """The marked answer and the reasons of the chosen row; the board shows their squares."""
    marked: list[Row] = []
    for mark in attempt.marks:
        for row in mark.rows_to_look_into():
            if row.name == state.row:
                reasons = row.reasons(attempt.task, attempt.keeps_secret)
                why = [Paragraph(row.in_words(), "grade"), *map(Paragraph, reasons)]
                answer = _marked_answer(attempt, mark, state.row, columns)
                marked = [*answer[1:], BLANK, *_set(why, columns)]
    return [*marked, BLANK, (Piece("[back to the result]", "class:key", _look_into("")),)]


def _clickable(row: Row, message_at: MessageAt) -> Row:
    return tuple(piece if piece.click else replace(piece, click=message_at) for piece in row)


def _look_into(row: str) -> MessageAt:
    return lambda at: m.ChooseRow(at, row)


def _set(blocks: Iterable[Block], columns: int) -> list[Row]:
    """Paragraphs are wrapped, rows stay as they are. A title has a blank row before it."""
    rows: list[Row] = []
    for block in blocks:
        if not isinstance(block, Paragraph):
            rows.append(block)
            continue
        if rows and block.kind in ("title", "grade"):
            rows.append(BLANK)
        style = f"class:{block.kind}" if block.kind != "text" else ""
        rows += [(Piece(text, style),) for text in wrap(block.text, columns) or ()]
    return rows
