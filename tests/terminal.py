"""A terminal for tests: the full screen over a pipe, and what it draws, read from a terminal emulator."""

from __future__ import annotations

import asyncio
import re
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

import pyte
from prompt_toolkit.data_structures import Size
from prompt_toolkit.input import PipeInput, create_pipe_input
from prompt_toolkit.output import ColorDepth
from prompt_toolkit.output.vt100 import Vt100_Output

from decks.memory.model import Memory
from decks.review.dispatch import Looker, no_engine
from decks.review.messages import Kept, SaveShown
from decks.review.session import State, start
from decks.screen.app import Screen
from decks.screen.look import Look
from decks.tasks.task import Task

PATIENCE = 10.0
"""Seconds after which something counts as not happening."""

FILES = re.compile(r" +a +b +c +d +e +f +g +h| +h +g +f +e +d +c +b +a")
"""The files on the edge of the board."""

ENTER, UP, DOWN, RIGHT, LEFT = "\r", "\x1b[A", "\x1b[B", "\x1b[C", "\x1b[D"
F1, F2 = "\x1bOP", "\x1bOQ"
PAGE_UP, PAGE_DOWN, TAB = "\x1b[5~", "\x1b[6~", "\t"
CTRL_C, CTRL_O, CTRL_Q, CTRL_T = "\x03", "\x0f", "\x11", "\x14"


class Drawn:
    """Where the application draws: a stream that an emulator reads."""

    encoding = "utf-8"

    def __init__(self, columns: int, rows: int) -> None:
        self.screen = pyte.Screen(columns, rows)
        self.raw = ""
        self._stream = pyte.Stream(self.screen)

    def write(self, text: str) -> None:
        self.raw += text
        self._stream.feed(text.replace("\ufe0e", ""))  # the emulator stops at a variation selector

    def flush(self) -> None:
        pass

    def isatty(self) -> bool:
        return True

    def fileno(self) -> int:
        raise OSError("no file behind this")


class Terminal:
    """A running screen: press keys, click, read what is drawn."""

    def __init__(self, screen: Screen, pipe: PipeInput, drawn: Drawn, saved: list[Kept]) -> None:
        self.screen, self.saved = screen, saved
        self._pipe, self._drawn = pipe, drawn
        self.running: asyncio.Task[None] | None = None
        self._draws_before_last_key = -1
        screen.app.key_processor.after_key_press += self._note_key

    @property
    def state(self) -> State:
        return self.screen.state

    @property
    def lines(self) -> list[str]:
        """What is drawn, row by row."""
        return list(self._drawn.screen.display)

    @property
    def text(self) -> str:
        return "\n".join(self.lines)

    @property
    def raw(self) -> str:
        """Everything written so far, control sequences included."""
        return self._drawn.raw

    def background(self, column: int, row: int) -> str:
        return str(self._drawn.screen.buffer[row][column].bg)

    async def press(self, *keys: str) -> None:
        """Press keys one by one. Wait until each is handled and drawn.

        Other things may be drawn in between: an explanation that is ready, the clock.
        """
        for key in keys:
            self._draws_before_last_key = -1
            self._pipe.send_text(key)
            await self.until(lambda: self._drew_the_key() or self.ended)

    def _note_key(self, _: object) -> None:
        self._draws_before_last_key = self.screen.app.render_counter

    def _drew_the_key(self) -> bool:
        return -1 < self._draws_before_last_key < self.screen.app.render_counter

    async def enter(self, text: str) -> None:
        """Type a line and finish it."""
        await self.press(*text, ENTER)

    async def click(self, column: int, row: int, reacts: bool = True) -> None:
        """A click of the left button, 0-based, as a terminal reports it (xterm's SGR mode counts from 1).

        A click that does nothing draws nothing. Then a key that always draws shows that the click was read.
        """
        press, release = (f"\x1b[<0;{column + 1};{row + 1}{end}" for end in "Mm")
        if reacts:
            await self.press(press + release)
        else:
            self._pipe.send_text(press + release)
            await self.press(PAGE_UP)

    async def click_square(self, square: str) -> None:
        """Click where the labels on the edge place the square."""
        await self.click(*self.place_of(square))

    async def click_text(self, text: str) -> None:
        """Click on the lowest place where this text is."""
        row = max(row for row, line in enumerate(self.lines) if text in line)
        await self.click(self.lines[row].index(text) + len(text) // 2, row)

    def place_of(self, square: str) -> tuple[int, int]:
        """Column and row of a square, according to the labels on the edge."""
        row = next(row for row, line in enumerate(self.lines) if line.startswith(f"{square[1]} "))
        files = next(found[0] for line in self.lines if (found := FILES.match(line)))
        return files.index(square[0]), row

    @property
    def ended(self) -> bool:
        return self.running is not None and self.running.done()

    async def until(self, condition: Callable[[], bool]) -> None:
        """Wait until the condition holds. TimeoutError if it does not in time."""

        async def watch() -> None:
            while not condition():
                await asyncio.sleep(0.001)

        await asyncio.wait_for(watch(), PATIENCE)

    async def end(self) -> None:
        """Wait for the application to end on its own. Raises what the application raised."""
        assert self.running is not None
        await asyncio.wait_for(self.running, PATIENCE)


@asynccontextmanager
async def on_screen(
    tasks: list[Task],
    save: Callable[[Kept], Memory],
    columns: int = 80,
    rows: int = 24,
    look: Look | None = None,
    minutes: float | None = None,
    looker: Looker = no_engine,
) -> AsyncIterator[Terminal]:
    """A session on a screen of this size. At the end of the block the application must have ended."""
    drawn, seconds = Drawn(columns, rows), 0.0
    saved: list[Kept] = []

    def clock() -> float:
        nonlocal seconds
        seconds += 0.5
        return seconds

    def keep(effect: Kept) -> Memory:
        memory = save(effect)
        if not isinstance(effect, SaveShown):
            saved.append(effect)
        return memory

    with create_pipe_input() as pipe:
        size = Size(rows=rows, columns=columns)
        output = Vt100_Output(drawn, lambda: size, term="xterm-256color", enable_cpr=False)  # type: ignore[arg-type]
        colours = ColorDepth.DEPTH_1_BIT if look and look.monochrome else ColorDepth.DEPTH_24_BIT
        screen = Screen(start(tasks, minutes), keep, clock, look or Look(), (pipe, output), colours, looker)
        terminal = Terminal(screen, pipe, drawn, saved)
        terminal.running = asyncio.create_task(screen.run_async())
        try:
            await terminal.until(lambda: screen.app.render_counter > 0 or terminal.ended)
            yield terminal
            assert terminal.ended, "the application still waits for input"
        finally:
            if not terminal.ended:
                terminal.running.cancel()
                await asyncio.wait([terminal.running])
