"""The full screen: by keyboard alone, by mouse alone, on terminals large, small and without colours."""

from __future__ import annotations

import asyncio
import os
import re
import signal
from collections.abc import Awaitable, Callable

import chess
import pytest
from made_tasks import (
    MEMORY,
    black_to_move,
    count_card,
    doubled_rooks,
    in_hand,
    promotion,
    root_card,
    short_ballot,
    spot_card,
)
from terminal import (
    CTRL_C,
    CTRL_O,
    CTRL_Q,
    CTRL_T,
    DOWN,
    ENTER,
    F1,
    F2,
    LEFT,
    PAGE_DOWN,
    PAGE_UP,
    RIGHT,
    TAB,
    UP,
    Terminal,
    on_screen,
)

from decks.asks.assess import AssessAnswer
from decks.asks.spot import SpotAnswer
from decks.memory.model import Memory
from decks.review.dispatch import Looker, no_engine
from decks.review.messages import Kept, SaveContest
from decks.screen.look import Look, look_for
from decks.screen.room import Room
from decks.tasks.task import Task

BALLOT = ("=", "w", "=", "=", "=", "=", "W", "=", "W", "W")
"""The tests' key, row by row; the second W makes the verdict decisive."""


def keep(effect: Kept) -> Memory:
    return MEMORY


def session(
    tasks: list[Task],
    script: Callable[[Terminal], Awaitable[None]],
    *,
    columns: int = 80,
    rows: int = 24,
    look: Look | None = None,
    save: Callable[[Kept], Memory] = keep,
    looker: Looker = no_engine,
) -> Terminal:
    """Run a script on a screen; the application must end by what the script does."""

    async def run() -> Terminal:
        async with on_screen(tasks, save, columns, rows, look, looker=looker) as terminal:
            await script(terminal)
            await terminal.end()
        return terminal

    return asyncio.run(run())


def grades(terminal: Terminal) -> list[str]:
    return [given.grade for attempt in terminal.state.done for given in attempt.given]


def key_rows(terminal: Terminal) -> str:
    """The last lines, which name the keys."""
    return "  ".join(line.rstrip() for line in terminal.lines[-2:])


def every_kind() -> list[Task]:
    return [
        doubled_rooks("assess", "play"),
        black_to_move("play"),
        promotion("play"),
        spot_card("spot"),
        root_card("root"),
    ]


def test_a_whole_session_by_keyboard_alone() -> None:
    async def script(terminal: Terminal) -> None:
        await terminal.press(*BALLOT, ENTER)
        await terminal.enter("Rxd8+")
        await terminal.enter("d1d8")
        await terminal.press(RIGHT, RIGHT, LEFT, ENTER)
        await terminal.enter("Rd1")
        await terminal.press(ENTER)
        await terminal.enter("a8=q")
        await terminal.press(ENTER)
        await terminal.enter("back-rank d1 d2 g8")
        await terminal.press(ENTER, ENTER)
        await terminal.press(LEFT, LEFT, ENTER, ENTER)
        assert "To look at" not in terminal.text
        assert "5 cards in" in terminal.text
        await terminal.press(ENTER)

    terminal = session(every_kind(), script)
    assert grades(terminal) == ["found"] * 6
    assert len(terminal.saved) == 6


def test_a_whole_session_by_mouse_alone() -> None:
    async def click_cell(terminal: Terminal, row: str, cell: str) -> None:
        at = next(at for at, line in enumerate(terminal.lines) if row in line)
        await terminal.click(terminal.lines[at].index(f" {cell} ") + 1, at)

    async def script(terminal: Terminal) -> None:
        rows = ("material", "king safety", "centre", "pawn structure", "space", "initiative", "open lines")
        for row, cell in zip((*rows, "piece play", "verdict"), (*BALLOT[:8], "WW"), strict=True):
            await click_cell(terminal, row, cell)
        await terminal.click_text("hand in")
        for square in ("d2", "d8", "d1", "d8"):
            await terminal.click_square(square)
        for text in ("[>]", "[>]", "[<]", "next"):
            await terminal.click_text(text)
        for square in ("d8", "d1"):
            await terminal.click_square(square)
        await terminal.click_text("next card")
        for square in ("a7", "a8"):
            await terminal.click_square(square)
        await terminal.click_text("[Queen]")
        await terminal.click_text("next card")
        while "[ ] back-rank" not in terminal.text:
            await terminal.click_text("more below")
        await terminal.click_text("[ ] back-rank")
        for square in ("d1", "d2", "g8"):
            await terminal.click_square(square)
        await terminal.click_text("hand in")
        await terminal.click_text("next card")
        for text in ("[<]", "[<]", "this move", "next", "leave"):
            await terminal.click_text(text)

    terminal = session(every_kind(), script)
    assert grades(terminal) == ["found"] * 6


@pytest.mark.parametrize(("columns", "rows", "turned"), [(80, 24, True), (120, 40, False)])
def test_a_click_on_every_square_reaches_that_square(turned: bool, columns: int, rows: int) -> None:
    seen: list[str] = []

    async def script(terminal: Terminal) -> None:
        if turned:
            await terminal.press(CTRL_T)
        for square in chess.SQUARE_NAMES:
            await terminal.click_square(square)
            pointed = in_hand(terminal.state, SpotAnswer).pointed
            seen.extend(pointed)
            assert pointed == {square}
            await terminal.click_square(square)
        await terminal.press(CTRL_Q)

    session([spot_card("spot")], script, columns=columns, rows=rows)
    assert len(set(seen)) == len(seen) == 64


def test_every_corner_of_a_square_belongs_to_it_and_the_rim_to_none() -> None:
    async def script(terminal: Terminal) -> None:
        column, row = terminal.place_of("e4")
        width, height = 5, 2
        for x in range(column - width // 2, column + width // 2 + 1):
            for y in (row - height // 2, row - height // 2 + 1):
                await terminal.click(x, y)
                assert in_hand(terminal.state, SpotAnswer).pointed == {"e4"}
                await terminal.click(x, y)
        right, bottom = terminal.place_of("h4")[0] + 3, terminal.place_of("e1")[1] + 1
        for x, y in ((0, row), (1, row), (right, row), (right + 1, row), (column, bottom)):
            await terminal.click(x, y, reacts=False)
            assert in_hand(terminal.state, SpotAnswer).pointed == frozenset()
        await terminal.press(CTRL_Q)

    session([spot_card("spot")], script)


def test_the_ballot_by_arrows() -> None:
    async def script(terminal: Terminal) -> None:
        await terminal.press(DOWN, RIGHT, RIGHT, UP, LEFT)
        assert dict(in_hand(terminal.state, AssessAnswer).ballot) == {"king-safety": -1, "material": 0}
        assert any(line.strip().endswith("W  w  = [b] B") for line in terminal.lines)
        await terminal.press(ENTER)
        assert "Still to mark: centre" in terminal.text
        await terminal.press(CTRL_Q)

    session([doubled_rooks("assess")], script)


def test_80_by_24_holds_the_whole_ballot_and_the_keys() -> None:
    async def script(terminal: Terminal) -> None:
        for word in ("1 of 1", "White to move.", "material", "piece play", "verdict    WW  W", "decisive"):
            assert word in terminal.text
        for words in ("F1 help", "F2 asks for a hint", "Ctrl-T turns the board", "Ctrl-Q stops", "b B mark"):
            assert words in key_rows(terminal)
        assert len({terminal.place_of(square) for square in chess.SQUARE_NAMES}) == 64
        await terminal.press(*BALLOT, ENTER)
        await terminal.enter("Kf1")
        for words in (
            "Enter next",
            "arrows show why",
            "Tab other line",
            "c contest",
            "Ctrl-Q stops",
            "Ctrl-O mouse off",
        ):
            assert words in key_rows(terminal)
        assert "24. Kf1 fails" in terminal.text
        assert "more below" in terminal.text
        await terminal.press(PAGE_DOWN, PAGE_DOWN, PAGE_DOWN)
        assert "Up and down keys: why, row by row" in terminal.text
        assert "more below" not in terminal.text
        await terminal.press(PAGE_UP, PAGE_UP, PAGE_UP)
        assert "more above" not in terminal.text
        await terminal.press(ENTER, ENTER)

    assert session([doubled_rooks("assess", "play")], script).saved


def test_a_short_ballot_is_marked_and_then_looked_into_row_by_row() -> None:
    async def script(terminal: Terminal) -> None:
        await terminal.until(lambda: "king safety" in terminal.text)
        assert "space" not in terminal.text
        await terminal.press("=", "=", "B", "W", "W", ENTER)
        for row in (
            "+material      W  w [=] b  B",
            "~king safety   W (w)[=] b  B",
            "-open lines   (W) w  =  b [B]",
        ):
            assert row in terminal.text
        assert "+ right ~ near - off" in terminal.text
        assert "Not asked: centre level" in " ".join(terminal.text.split())
        await terminal.press(DOWN, DOWN)
        assert ">~king safety" in terminal.text
        assert "king safety: level, near" in terminal.text
        assert "Why king-safety stands so" in terminal.text
        assert "[♖]" in terminal.text
        assert "‹♚›" in terminal.text
        await terminal.click_text("open lines")
        assert "Why open-lines stands so" in terminal.text
        await terminal.click_text("[back to the result]")
        assert "Stock-taking: " in terminal.text
        await terminal.press(ENTER, ENTER)

    assert session([short_ballot("assess")], script).saved


@pytest.mark.parametrize("by", ["mouse", "parts", "at once"])
def test_a_count_is_clicked_or_typed_and_looked_into_man_by_man(by: str) -> None:
    async def click_cell(terminal: Terminal, row: str, cell: str) -> None:
        at = next(at for at, line in enumerate(terminal.lines) if f"{row} " in line[44:])
        await terminal.click(terminal.lines[at].index(f" {cell} ") + 1, at)

    async def script(terminal: Terminal) -> None:
        assert "[" not in "".join(line[44:] for line in terminal.lines)
        assert "‹♟" in terminal.text, "the square that it is about is marked"
        if by == "mouse":
            for row, cell in (("attackers", "4"), ("defenders", "3"), ("winner", "white")):
                await click_cell(terminal, row, cell)
            assert "[white]" in terminal.text
            await terminal.click_text("hand in")
        elif by == "parts":
            await terminal.enter("4 3")
            await terminal.press("w", TAB)
            assert "Winner: white" in terminal.text
            await terminal.press(ENTER, ENTER)
        else:
            await terminal.enter("4 3 white")
        assert "Count: found" in terminal.text
        assert "+defenders 0  1  2 [3] 4  5  6  7" in terminal.text
        await terminal.click_text("+defenders")
        assert ">+defenders" in terminal.text
        assert "The knight on c6 does not count:" in terminal.text
        assert "(♞)" in terminal.text
        assert "[♝]" in terminal.text
        await terminal.press(ENTER, ENTER)

    assert grades(session([count_card("count")], script)) == ["found"]


def test_a_title_is_completed_after_squares_already_typed_and_offered_names_can_be_clicked() -> None:
    async def script(terminal: Terminal) -> None:
        await terminal.press(*"d1 weak b", TAB)
        assert "Motifs and squares: d1 back-rank" in terminal.text
        await terminal.press(ENTER)
        assert "Named: weak back rank" in terminal.text
        assert "Pointed to: d1" in terminal.text
        await terminal.press(*"d2 g8 pin on")
        await terminal.click_text("pin-on-rank")
        assert "Pointed to: d1 d2 g8" in terminal.text
        await terminal.press(*"pin on the rank", ENTER)
        assert "Named: weak back rank\n" in "\n".join(line.rstrip() for line in terminal.lines) + "\n"
        await terminal.press(ENTER, ENTER, ENTER)

    assert grades(session([spot_card("spot")], script)) == ["found"]


@pytest.mark.parametrize(
    ("columns", "rows", "says"),
    [
        (79, 24, "This window has 79 columns and 24 rows. The board needs 80 columns and 24 rows. Make the"),
        (80, 23, "This window has 80 columns and 23 rows. The board needs 80 columns and 24 rows. Make the"),
        (30, 8, "This window has 30 columns and 8 rows."),
        (30, 4, "Too small: the board needs 80 columns and 24 rows. Ctrl-Q stops."),
        (80, 1, "Too small: the board needs 80 columns and 24 rows. Ctrl-Q stops."),
        (40, 1, "Too small for 80 x 24. Ctrl-Q stops."),
        (30, 1, "Too small. Ctrl-Q stops."),
        (12, 1, "Too small."),
        (7, 2, "Too small."),
    ],
)
def test_a_terminal_too_small_says_what_it_needs_in_whole_words(columns: int, rows: int, says: str) -> None:
    async def script(terminal: Terminal) -> None:
        drawn = " ".join(terminal.text.split())
        assert drawn.startswith(says)
        assert drawn.endswith(("--plain.", "stops.", "small."))
        await terminal.press(CTRL_Q)

    session([doubled_rooks("assess")], script, columns=columns, rows=rows)


WORDS_OF_TOO_SMALL = """This window has columns and rows. The board needs rows columns Make the larger, or
    stop with Ctrl-Q use --plain. Too small: stops. small for x 24. small."""


def test_no_size_of_terminal_breaks_a_word() -> None:
    words = set()
    for columns in range(6, 120):
        for rows in range(1, 24):
            lines = Room(columns, rows).too_small.split("\n")
            assert len(lines) <= rows or lines == ["Too", "small."]
            assert max(map(len, lines)) <= columns
            words |= {word for line in lines for word in line.split() if not word.isdigit()}
    assert words <= set(WORDS_OF_TOO_SMALL.split())


def test_nothing_of_the_key_is_drawn_before_the_answer() -> None:
    async def script(terminal: Terminal) -> None:
        await terminal.press(*BALLOT, ENTER)
        assert "____" in terminal.text
        for secret in ("ack rank", "flight", "Count who", "right", "[♖]", "‹"):
            assert secret not in terminal.raw.replace("\ufe0e", "")
        await terminal.enter("h3")
        assert "‹♚›" in terminal.text
        assert "[♖]" in terminal.text
        await terminal.press(ENTER, ENTER)

    session([doubled_rooks("assess", "play")], script)


def test_evidence_has_a_mark_and_a_colour_and_leaves_with_the_position() -> None:
    async def script(terminal: Terminal) -> None:
        await terminal.enter("h3")
        assert terminal.background(*terminal.place_of("d1")) == "56b4e9"
        assert terminal.background(*terminal.place_of("g8")) == "e69f00"
        assert terminal.background(*terminal.place_of("e8")) == "009e73"
        assert terminal.background(*terminal.place_of("a1")) == "7a8794"
        assert terminal.background(*terminal.place_of("a2")) == "d8d2c4"
        await terminal.press(RIGHT)
        assert "[h3]" in terminal.text
        assert "‹" not in terminal.text
        await terminal.press(ENTER, ENTER)

    session([doubled_rooks("play")], script)


def test_without_colours_squares_and_marks_can_still_be_distinguished() -> None:
    async def script(terminal: Terminal) -> None:
        column, row = terminal.place_of("a1")
        assert terminal.lines[row][column] == ":"
        assert terminal.lines[terminal.place_of("b1")[1]][terminal.place_of("b1")[0]] == " "
        await terminal.enter("h3")
        assert "<k>" in terminal.text
        assert "[R]" in terminal.text
        assert all(ord(character) < 128 for character in terminal.raw)
        assert re.search(r"\x1b\[[\d;]*\b[34]\d[\d;]*m", terminal.raw) is None  # ECMA-48: select colours
        await terminal.press(ENTER, ENTER)

    session([doubled_rooks("play")], script, look=Look(letters=True, monochrome=True, ascii_only=True))


@pytest.mark.parametrize(
    ("encoding", "environment", "letters", "look"),
    [
        ("utf-8", {"TERM": "xterm-256color"}, False, Look()),
        ("UTF8", {}, True, Look(letters=True)),
        ("latin-1", {}, False, Look(letters=True, ascii_only=True)),
        ("utf-8", {"NO_COLOR": "1"}, False, Look(monochrome=True)),
        ("utf-8", {"NO_COLOR": ""}, False, Look()),
        ("utf-8", {"TERM": "dumb"}, False, Look(monochrome=True)),
    ],
)
def test_the_look_follows_the_terminal(
    encoding: str, environment: dict[str, str], letters: bool, look: Look
) -> None:
    assert look_for(encoding, environment, letters) == look


def test_the_students_side_is_below_and_the_board_turns() -> None:
    async def script(terminal: Terminal) -> None:
        assert terminal.place_of("h8")[1] > terminal.place_of("h1")[1]
        assert terminal.place_of("h8")[0] < terminal.place_of("a8")[0]
        await terminal.press(CTRL_T)
        assert terminal.place_of("h8")[1] < terminal.place_of("h1")[1]
        await terminal.press(CTRL_Q)

    session([black_to_move("play")], script)


def test_moves_that_fit_are_offered_and_completed_and_can_be_clicked() -> None:
    async def script(terminal: Terminal) -> None:
        await terminal.press("r", "d", "8")
        assert "Rd8" in terminal.text
        assert "Ra1" not in terminal.text
        await terminal.press(TAB)
        assert "Your move: Rd8" in terminal.text
        await terminal.press(ENTER)
        await terminal.press("R", "x")
        await terminal.click_text("Rxd8")
        await terminal.press(ENTER, ENTER)

    assert grades(session([doubled_rooks("play")], script)) == ["found"]


def test_a_wrong_entry_is_explained_and_the_line_is_free_again() -> None:
    async def script(terminal: Terminal) -> None:
        await terminal.enter("Qd4")
        assert "Qd4 is not legal here: no queen of yours can move" in terminal.text
        await terminal.enter("h3")
        await terminal.press(ENTER, ENTER)

    assert grades(session([doubled_rooks("play")], script)) == ["found"]


def test_hints_are_drawn_step_by_step() -> None:
    async def script(terminal: Terminal) -> None:
        await terminal.press(F2)
        assert "A hint makes the grade 'with help' at best. Ask again" in terminal.text
        assert "1. It is about this" not in terminal.text
        await terminal.press(F2)
        assert "1. It is about this: weak back rank." in terminal.text
        assert "‹" not in terminal.text
        await terminal.enter("hint")
        assert "‹♚›" in terminal.text
        await terminal.enter("h3")
        assert "Move: with help" in terminal.text
        await terminal.press(ENTER, ENTER)

    assert grades(session([doubled_rooks("play")], script)) == ["helped"]


@pytest.mark.parametrize("key", ["?", F1])
@pytest.mark.parametrize("task", every_kind(), ids=lambda task: task.asks[0])
def test_help_shows_what_can_be_answered_and_costs_nothing(task: Task, key: str) -> None:
    async def script(terminal: Terminal) -> None:
        assert terminal.state.attempt is not None
        answer, before = terminal.state.attempt.answer, terminal.state.attempt
        await terminal.press(key)
        seen = " ".join(line[43:].strip() for line in terminal.lines)
        while "more below" in terminal.text:
            await terminal.press(PAGE_DOWN)
            seen += " " + " ".join(line[43:].strip() for line in terminal.lines)
        for words in (*answer.help, "For a hint, press F2", "Ctrl-T turns the board", "You can also click"):
            assert words in seen
        assert ("Tab completes" in seen) == answer.takes_text
        await terminal.press(ENTER)
        assert "Help for this step" not in terminal.text
        assert terminal.state.attempt == before
        await terminal.press(CTRL_Q)

    assert session([task], script, rows=40, columns=100).saved == []


def test_help_closes_by_its_own_key_or_by_going_on_and_a_question_mark_within_an_entry_is_text() -> None:
    async def script(terminal: Terminal) -> None:
        await terminal.click_text("F1 help")
        assert "Help for this step" in terminal.text
        await terminal.click_text("F1 close help")
        assert "Help for this step" not in terminal.text
        await terminal.press(F1, F1)
        assert "Help for this step" not in terminal.text
        await terminal.press(F1, *"h3?")
        assert "Your move: h3?" in terminal.text
        await terminal.press(ENTER)
        assert "Move: found" in terminal.text
        await terminal.press("?")
        assert "your coach decides; until then" in " ".join(terminal.text.split())
        await terminal.press(ENTER, ENTER, ENTER)

    assert grades(session([doubled_rooks("play")], script)) == ["found"]


def test_a_stray_c_contests_nothing_and_a_contest_can_be_taken_back() -> None:
    async def script(terminal: Terminal) -> None:
        await terminal.enter("Kf1")
        await terminal.press("c")
        assert "Contest the grade 'missed'?" in terminal.text
        assert "y yes, contest it  Enter no" in terminal.text
        await terminal.press("c", ENTER)
        assert "Not contested." in terminal.text
        await terminal.press("y")
        assert len(terminal.saved) == 1
        await terminal.press("c", "y")
        assert "Contested. Your coach decides; until then the grade stays." in terminal.text
        assert "Move: missed (contested, waits for" in terminal.text
        await terminal.press("u")
        assert "(contested" not in terminal.text
        await terminal.click_text("c contest")
        await terminal.click_text("y yes, contest it")
        await terminal.click_text("u undo")
        await terminal.press(TAB, ENTER, ENTER)

    terminal = session([doubled_rooks("play")], script)
    claims = [effect.grade for effect in terminal.saved if isinstance(effect, SaveContest)]
    assert claims == ["found", None, "found", None]
    assert grades(terminal) == ["missed"]


def test_the_mouse_can_be_given_back_to_the_terminal() -> None:
    async def script(terminal: Terminal) -> None:
        await terminal.press(CTRL_O)
        assert "mouse on" in key_rows(terminal)
        assert "\x1b[?1000l" in terminal.raw
        await terminal.press(CTRL_Q)

    session([doubled_rooks("play")], script)


def test_a_failed_save_leaves_with_its_message() -> None:
    def full(effect: Kept) -> Memory:
        raise OSError("no room left on the disk")

    async def script(terminal: Terminal) -> None:
        await terminal.enter("h3")

    terminal = session([doubled_rooks("play"), black_to_move("play")], script, save=full)
    assert (terminal.state.phase, terminal.state.failure) == ("ended", "no room left on the disk")


def test_a_fault_inside_leaves_the_application_instead_of_a_broken_screen() -> None:
    def broken(board: chess.Board) -> object:
        raise RuntimeError("the detector broke")

    task = doubled_rooks("assess")
    faulty = Task(task.deck, task.card, task.asks, task.verdicts, explainer=broken)  # type: ignore[arg-type]

    async def script(terminal: Terminal) -> None:
        await terminal.press(*BALLOT, ENTER)

    with pytest.raises(RuntimeError, match="the detector broke"):
        session([faulty], script)


def test_an_interrupt_sent_from_elsewhere_is_obeyed() -> None:
    async def script(terminal: Terminal) -> None:
        os.kill(os.getpid(), signal.SIGINT)

    terminal = session([doubled_rooks("play")], script)
    assert isinstance(terminal.screen.cut_short, KeyboardInterrupt)


def test_control_c_interrupts_with_the_answers_kept() -> None:
    async def script(terminal: Terminal) -> None:
        await terminal.press(*BALLOT, ENTER, CTRL_C)

    terminal = session([doubled_rooks("assess", "play")], script)
    assert isinstance(terminal.screen.cut_short, KeyboardInterrupt)
    assert len(terminal.saved) == 1
