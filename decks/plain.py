"""A session as question and answer lines, over any text streams: for a pipe, a screen reader, a test."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TextIO

from decks.review import messages as m
from decks.review.dispatch import Clock, Save, dispatch
from decks.review.entry import complete_spot
from decks.review.grading import cells_of
from decks.review.playback import numbered
from decks.review.session import State
from decks.telling.board_text import ascii_board, men_in_words
from decks.telling.marked_ballot import not_asked, row_in_words, row_reasons
from decks.telling.result import closing, result
from decks.telling.shown import (
    CELLS,
    CELLS_IN_WORDS,
    VERDICT_IN_WORDS,
    board_view,
    progress,
    question,
    sheet_rows,
    spot_so_far,
    where_in_line,
)
from patterns.reading.text import counted, safe
from patterns.words.verdicts import row_title

LINE_LIMIT = 4000
"""Characters of one line that are written; a coach's longest comment fits."""

COMMANDS = "Commands: ? (help), hint, board, men (every man by name), turn (the board), quit."

HELP = {
    "assess": (
        "Mark each row with one cell:",
        f"{CELLS_IN_WORDS};",
        f"{VERDICT_IN_WORDS}.",
        "Write the cell alone for the row asked for, or name the row: space = w",
    ),
    "play": ("Write your move as Nf3 or g1f3. There may be more than one move to find.",),
    "spot": (
        "Write motifs, by title or id, and squares, for example: weak back rank, d1 g8.",
        "Writing one again takes it back; an empty line hands the answer in.",
        "Commands: motifs (all there are), or motifs and the beginning of a name.",
    ),
    "root": (
        "Write the move's number: 14. for White's move, 14... for Black's. Or step with back and forward.",
    ),
    "shown": (
        "Empty line: next card. forward, back: play the line through. line: another line.",
        "contest: dispute the lowest grade; your coach will see it.",
    ),
}


@dataclass(frozen=True)
class _Talk:
    """The two streams."""

    read: TextIO
    write: TextIO

    def say(self, *lines: str) -> None:
        for line in lines:
            self.write.write(safe(line, LINE_LIMIT).rstrip() + "\n")

    def ask(self, prompt: str) -> str | None:
        """The line typed, without surrounding space; None at the end of the input."""
        self.write.write(prompt)
        self.write.flush()
        line = self.read.readline()
        if not line:
            self.write.write("\n")
            return None
        return line.strip()


def run_plain(state: State, save: Save, clock: Clock, read: TextIO, write: TextIO) -> State:
    """Run the session to its end and give its last state; the end of the input stops it, everything kept."""
    talk = _Talk(read, write)
    before: State | None = None
    if state.tasks:
        talk.say(f"{counted(len(state.tasks), 'card')} today. {COMMANDS}")
    while state.phase not in ("closing", "ended"):
        _tell(talk, before, state)
        before = state
        typed = talk.ask(_prompt(state))
        for message in _messages(talk, state, typed, clock()):
            state = dispatch(state, message, save, clock)
        if state.notice:
            talk.say(state.notice)
    if state.phase == "closing":
        talk.say("", *(paragraph.text for paragraph in closing(state)))
        state = dispatch(state, m.Stop(clock()), save, clock)
    return state


def _tell(talk: _Talk, before: State | None, state: State) -> None:
    """Say what is new: a card, a step of it, a hint, a move on the board, a result."""
    attempt = state.attempt
    assert attempt is not None
    known = before.attempt if before is not None and before.place == state.place else None
    talk.say(*(f"Hint: {hint.text}" for hint in attempt.hints[len(known.hints) if known else 0 :]))
    if state.phase == "shown" and (known is None or before is None or before.phase != "shown"):
        _tell_result(talk, state)
        return
    if known is None:
        talk.say("", progress(state))
    new_step = known is None or len(known.given) != len(attempt.given)
    turned = before is not None and before.flipped != state.flipped
    view, last = board_view(state), known and before and board_view(before)
    if view and (new_step or turned or not last or view.board.move_stack != last.board.move_stack):
        talk.say("", *ascii_board(view), "", *filter(None, [where_in_line(state)]))
        talk.write.flush()  # the board comes first: a short ballot's rows take a moment to choose
    if known and (known.named, known.pointed) != (attempt.named, attempt.pointed) and attempt.ask == "spot":
        talk.say(*spot_so_far(attempt))
    if state.phase == "answering" and (new_step or (known and known.moves != attempt.moves)):
        if attempt.played or attempt.ask == "root":
            talk.say(*(" ".join(row) for row in sheet_rows(state)))
        talk.say(question(state))
        if attempt.ask == "assess":
            talk.say(*HELP["assess"][1:3])


def _tell_result(talk: _Talk, state: State) -> None:
    assert state.attempt is not None
    talk.say("", *(paragraph.text for paragraph in result(state)))
    if state.attempt.marked_rows:
        talk.say("Your stock-taking, row by row")
        for mark in state.attempt.marked_rows:
            talk.say(
                f"  {row_in_words(mark)}.", *(f"    {why}" for why in row_reasons(state.attempt, mark.row))
            )
        if others := not_asked(state.attempt):
            talk.say(f"  {others}")
    for line in state.lines:
        talk.say(f"{line.title}: {' '.join(numbered(state.attempt.task.card.board, line.moves))}")


def _prompt(state: State) -> str:
    attempt = state.attempt
    if state.phase == "shown" or attempt is None:
        return "Enter for the next card: "
    if attempt.ask == "assess":
        if not attempt.blank_rows:
            return "Enter to hand in, or a row to change: "
        row = attempt.blank_rows[0]
        cells = " ".join(CELLS[cell] for cell in cells_of(row))
        return f"{row_title(row)} ({cells}): "
    return {"play": "Your move: ", "spot": "Motifs and squares: ", "root": "Move number: "}[
        attempt.ask or "play"
    ]


def _messages(talk: _Talk, state: State, typed: str | None, at: float) -> Iterable[m.Message]:
    """What a typed line means here."""
    if typed is None:
        return [m.Stop(at)]
    step = "shown" if state.phase == "shown" else (state.attempt and state.attempt.ask) or "shown"
    match typed.lower():
        case "?" | "help":
            talk.say(*HELP[step], COMMANDS)
        case "hint":
            return [m.TakeHint(at)]
        case "quit" | "stop":
            return [m.Stop(at)]
        case "turn":
            return [m.Flip(at)]
        case "board" | "men":
            if view := board_view(state):
                talk.say(*(ascii_board(view) if typed.lower() == "board" else men_in_words(view.board)))
        case "forward" | "back" if step in ("root", "shown"):
            return [m.Step(at, 1 if typed.lower() == "forward" else -1)]
        case "line" if step == "shown":
            return [m.OtherLine(at)]
        case "contest" | "c" if step == "shown":
            return [m.Contest(at)]
        case words if step == "spot" and words.split()[:1] == ["motifs"]:
            _tell_motifs(talk, words.removeprefix("motifs").strip())
        case _ if step == "assess" and typed:
            return _marked_row(talk, state, typed, at)
        case _ if step == "shown" and typed:
            talk.say(f"'{typed[:40]}' is not a command here.", *HELP["shown"], COMMANDS)
        case _:
            return [m.Enter(at, typed)]
    return []


def _tell_motifs(talk: _Talk, beginning: str) -> None:
    from patterns.catalogue import MOTIFS

    titles = {motif.id: motif.title for motif in MOTIFS.values()}
    fitting = complete_spot(titles, beginning)[1] if beginning else list(titles)
    talk.say(*[f"{motif}: {titles[motif]}" for motif in fitting] or ["No motif begins like this."])


def _marked_row(talk: _Talk, state: State, typed: str, at: float) -> Iterable[m.Message]:
    """A cell for the row asked for (`w`), or for a row by name (`space = w`)."""
    assert state.attempt is not None
    row, cell = (*state.attempt.blank_rows, state.attempt.task.rows[-1])[0], typed
    for name in state.attempt.task.rows:
        for spelling in (name, row_title(name)):
            if typed.lower().startswith(spelling):
                row, cell = name, typed[len(spelling) :].strip()
    if len(cell) > 1 and cell[0] in "=:":
        cell = cell[1:].strip()
    signed = next((signed for signed in cells_of(row) if CELLS[signed] == cell), None)
    if signed is None:
        choices = " ".join(CELLS[signed] for signed in cells_of(row))
        talk.say(f"'{cell[:40]}' is not a cell of {row_title(row)}: write one of {choices}")
        return []
    return [m.SetCell(at, row, signed)]
