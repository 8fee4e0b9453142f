"""The sheet beside the board as lines of styled text: question, ballot, scoresheet, hints, result."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from textwrap import wrap

from decks.review import messages as m
from decks.review.attempt import Attempt
from decks.review.grading import RowMark, cells_of
from decks.review.session import State
from decks.telling.marked_ballot import agreement, not_asked, row_in_words, row_reasons
from decks.telling.result import closing, result
from decks.telling.shown import (
    CELLS,
    Paragraph,
    progress,
    question,
    sheet_rows,
    shown_ply,
    spot_so_far,
    where_in_line,
)
from patterns.words.verdicts import row_title

LABEL = 15
"""Columns of a row's label and the cursor before it."""

MIN_COLUMNS = 36
MAX_COLUMNS = 64

BALLOT_LEGEND = "W clear, w slight for White; b slight, B clear for Black; = level; WW, BB decisive"
RESULT_LEGEND = "[] yours () key + right ~ near - off"
LOOK_INTO_ROWS = "Up and down: why, row by row"
SETTING_OUT = "The ballot is being set out ..."


@dataclass(frozen=True)
class Piece:
    """A piece of a line: text, style class, and the message a click on it sends (made with the time)."""

    text: str
    style: str = ""
    click: Callable[[float], m.Message] | None = None


Line = tuple[Piece, ...]
BLANK: Line = ()


def _step(by: int) -> Callable[[float], m.Message]:
    return lambda at: m.Step(at, by)


STEPPER: Line = (
    Piece("  "),
    Piece("[<]", "class:key", _step(-1)),
    Piece(" "),
    Piece("[>]", "class:key", _step(1)),
)
"""Back and forward in the line, for a mouse."""


def sheet_lines(state: State, columns: int) -> list[Line]:
    """The whole sheet, wrapped to `columns`; the caller shows the part that fits."""
    if state.phase in ("closing", "ended"):
        return [
            *_wrapped([Paragraph("That was it for now.", "title")], columns),
            BLANK,
            *_closing(state, columns),
        ]
    lines: list[Line] = [(Piece(progress(state), "class:title"),), BLANK]
    if state.phase == "shown":
        return lines + _shown(state, columns)
    lines += _wrapped([Paragraph(question(state))], columns)
    attempt = state.attempt
    assert attempt is not None
    if attempt.promotions:
        lines += [BLANK, _promotion_choice()]
    if attempt.ask == "assess":
        if not (attempt.task.whole_ballot or attempt.task.is_explained):
            return [*lines, BLANK, (Piece(SETTING_OUT),)]
        ballot = [_ballot_row(state, row) for row in attempt.task.rows]
        lines += [BLANK, *ballot, *_hints(state, columns)]
        return [*lines, BLANK, *_wrapped([Paragraph(BALLOT_LEGEND, "faint")], columns)]
    if attempt.ask != "spot":
        lines += [BLANK, *_scoresheet(state)]
    if attempt.ask == "root":
        lines += [BLANK, (Piece(where_in_line(state)), *STEPPER)]
    lines += _hints(state, columns)
    if attempt.ask == "spot":
        lines += [BLANK, *_motif_choice(state, columns)]
    return lines


def _ballot_row(state: State, row: str) -> Line:
    attempt = state.attempt
    assert attempt is not None
    in_hand = attempt.task.rows[attempt.row] == row
    marked = attempt.ballot.get(row)
    pieces = [Piece(_label(row, ">" if in_hand else " "), "class:row" if in_hand else "")]
    for cell in cells_of(row):
        letters = CELLS[cell]
        if cell == marked:
            pieces.append(Piece(f"[{letters}]", "class:chosen", _set(row, cell)))
        else:
            pieces.append(Piece(f" {letters} ", "", _set(row, cell)))
    return tuple(pieces)


def _label(row: str, cursor: str) -> str:
    """The verdict's row has two wide cells more, so its label is shorter by one of them."""
    width = LABEL - len(f" {CELLS[3]} ") if row == "verdict" else LABEL
    return f"{cursor}{row_title(row)}".ljust(width)


def _set(row: str, cell: int) -> Callable[[float], m.Message]:
    return lambda at: m.SetCell(at, row, cell)


def _promotion_choice() -> Line:
    names = {"q": "Queen", "r": "Rook", "b": "Bishop", "n": "Knight"}
    return tuple(Piece(f"[{name}] ", "class:key", _promote(letter)) for letter, name in names.items())


def _promote(letter: str) -> Callable[[float], m.Message]:
    return lambda at: m.Promote(at, letter)


def _motif_choice(state: State, columns: int) -> list[Line]:
    """What is named and pointed to so far, then every motif there is, to click on."""
    from patterns.catalogue import MOTIFS

    attempt = state.attempt
    assert attempt is not None
    choice: list[Line] = [
        (
            Piece(
                f"[{'x' if motif in attempt.named else ' '}] {motif}",
                "class:chosen" if motif in attempt.named else "",
                _name(motif),
            ),
        )
        for motif in MOTIFS
    ]
    return [*_wrapped([Paragraph(text) for text in spot_so_far(attempt)], columns), BLANK, *choice]


def _name(motif: str) -> Callable[[float], m.Message]:
    return lambda at: m.Name(at, motif)


def _hints(state: State, columns: int) -> list[Line]:
    assert state.attempt is not None
    hints = [Paragraph(f"{number}. {hint.text}") for number, hint in enumerate(state.attempt.hints, start=1)]
    return [BLANK, *_wrapped([Paragraph("Hints", "title"), *hints], columns)] if hints else []


def _scoresheet(state: State) -> list[Line]:
    """Two columns as on paper; where a line can be stepped through, the move on the board is marked."""
    ply = shown_ply(state)
    lines: list[Line] = []
    number_of_ply = 0
    for number, white, black in sheet_rows(state):
        pieces = [Piece(number.rjust(5) + " ")]
        for move in (white, black):
            if move in ("", "..."):
                pieces.append(Piece(move.ljust(10)))
                continue
            number_of_ply += 1
            here = ply == number_of_ply
            text = f"[{move}]" if here else f" {move} "
            click = None if ply is None else _step(number_of_ply - ply)
            pieces += [Piece(text, "class:chosen" if here else "", click), Piece(" " * (10 - len(text)))]
        lines.append(tuple(pieces))
    return lines


def _shown(state: State, columns: int) -> list[Line]:
    attempt = state.attempt
    assert attempt is not None
    if state.row:
        return _row_looked_into(state, attempt, columns)
    paragraphs = result(state)
    heads = [at for at, paragraph in enumerate(paragraphs) if paragraph.kind == "grade"]
    body = heads[-1] + 2 if heads else 0
    lines = _wrapped(paragraphs[:body], columns)
    if state.lines:
        more = f"  ({state.line + 1} of {len(state.lines)})" if len(state.lines) > 1 else ""
        title = Piece(state.lines[state.line].title + more, "class:title", m.OtherLine)
        lines += [BLANK, (title, *STEPPER), *_scoresheet(state)]
    rest = [BLANK, *_wrapped(paragraphs[body:], columns)]
    if not attempt.marked_rows:
        return lines + rest
    others = [Paragraph(text) for text in [not_asked(attempt)] if text]
    ballot = [BLANK, *_marked_ballot(attempt, "", columns), *_wrapped(others, columns)]
    return lines + (rest + ballot if state.lines else ballot + rest)


def _row_looked_into(state: State, attempt: Attempt, columns: int) -> list[Line]:
    """The marked ballot, and what the chosen row rests on, which the board shows."""
    mark = next(mark for mark in attempt.marked_rows if mark.row == state.row)
    why = [Paragraph(row_in_words(mark), "grade"), *map(Paragraph, row_reasons(attempt, state.row))]
    back = Piece("[back to the result]", "class:key", _look_into(""))
    return [*_marked_ballot(attempt, state.row, columns), BLANK, *_wrapped(why, columns), BLANK, (back,)]


def _marked_ballot(attempt: Attempt, chosen: str, columns: int) -> list[Line]:
    legend = [Paragraph(RESULT_LEGEND, "faint"), Paragraph(LOOK_INTO_ROWS, "faint")]
    return [*(_marked_row(mark, chosen) for mark in attempt.marked_rows), *_wrapped(legend, columns)]


def _marked_row(mark: RowMark, chosen: str) -> Line:
    look, style = _look_into(mark.row), "class:row" if mark.row == chosen else ""
    cursor = ">" if mark.row == chosen else " "
    pieces = [Piece(_label(mark.row, cursor + agreement(mark)), style, look)]
    for cell in cells_of(mark.row):
        left, right = ("[", "]") if cell == mark.answer else ("(", ")") if cell == mark.key else (" ", " ")
        pieces.append(
            Piece(f"{left}{CELLS[cell]}{right}", "class:chosen" if cell == mark.answer else "", look)
        )
    return tuple(pieces)


def _look_into(row: str) -> Callable[[float], m.Message]:
    return lambda at: m.ChooseRow(at, row)


def _closing(state: State, columns: int) -> list[Line]:
    return _wrapped(closing(state), columns)


def _wrapped(paragraphs: list[Paragraph], columns: int) -> list[Line]:
    """Paragraphs as lines; a title in the middle has a blank line before it."""
    lines: list[Line] = []
    for paragraph in paragraphs:
        if lines and paragraph.kind in ("title", "grade"):
            lines.append(BLANK)
        style = f"class:{paragraph.kind}" if paragraph.kind != "text" else ""
        lines += [(Piece(text, style),) for text in wrap(paragraph.text, columns) or ()]
    return lines
