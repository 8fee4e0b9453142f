"""The full-screen application: shows board, pane, entry and keys, and sends messages to the session."""

from __future__ import annotations

import asyncio
import os
import signal
from collections.abc import Iterator
from contextlib import suppress
from functools import cache

from prompt_toolkit import Application
from prompt_toolkit.buffer import Buffer
from prompt_toolkit.filters import Condition
from prompt_toolkit.formatted_text import StyleAndTextTuples
from prompt_toolkit.input import Input
from prompt_toolkit.layout import (
    BufferControl,
    ConditionalContainer,
    FormattedTextControl,
    HSplit,
    Layout,
    VSplit,
    Window,
)
from prompt_toolkit.layout.processors import BeforeInput
from prompt_toolkit.mouse_events import MouseEvent, MouseEventType
from prompt_toolkit.output import ColorDepth, Output
from prompt_toolkit.styles import Style

from decks.review import messages as m
from decks.review.dispatch import (
    Clock,
    Looker,
    Planner,
    Save,
    SecondLook,
    as_planned,
    begun,
    dispatch,
    no_engine,
)
from decks.review.session import State
from decks.screen.bindings import Actions, bound
from decks.screen.board import Handler, board_fragments
from decks.screen.completion import completed, completions
from decks.screen.key_rows import key_rows
from decks.screen.keys import keys, moment_of, takes_text
from decks.screen.look import STYLE_RULES, Look, look_for
from decks.screen.pane import help_rows, pane_rows
from decks.screen.room import GAP, KEY_ROWS, Room
from decks.screen.scrolling import WHEEL_ROWS, Scroll
from decks.tasks.layout import MessageAt, Piece
from decks.tasks.task import Task
from decks.telling.shown import board_view
from patterns.engines.scores import PositionVerdicts

CLOCK_SECONDS = 15.0
OFFERED = 12
"""How many completions are shown; more would not fit on the row."""


class Screen:
    """One session on one terminal: the current state, and the application that shows it."""

    def __init__(
        self,
        state: State,
        save: Save,
        clock: Clock,
        look: Look,
        terminal: tuple[Input, Output] | None = None,
        colours: ColorDepth | None = None,
        looker: Looker = no_engine,
        plan: Planner = as_planned,
    ) -> None:
        self.state = begun(state, save, clock, plan)
        self._looker, self._plan = looker, plan
        self._looking: list[asyncio.Future[PositionVerdicts | None]] = []
        self._save, self._clock, self._look = save, clock, look
        self.cut_short: BaseException | None = None
        self._explained: Task | None = None
        self._scroll = Scroll()
        self._mouse = True
        self._helping = False
        self._answer = Buffer(multiline=False)
        self._click_on = cache(self._square_handler)
        self.app: Application[None] = Application(
            layout=self._layout(),
            key_bindings=bound(self._actions()),
            style=Style.from_dict(dict(STYLE_RULES)),
            full_screen=True,
            mouse_support=Condition(lambda: self._mouse),
            color_depth=colours,
            input=terminal[0] if terminal else None,
            output=terminal[1] if terminal else None,
            before_render=lambda _: self._tick(),
            after_render=lambda _: self._think_ahead(),
            refresh_interval=CLOCK_SECONDS,
        )
        self.app.ttimeoutlen = 0.05

    def run(self) -> State:
        """Show the session until it ends, then put the terminal back.

        KeyboardInterrupt on Ctrl-C, SystemExit on SIGTERM.
        """
        asyncio.run(self.run_async())
        if self.cut_short is not None:
            raise self.cut_short
        return self.state

    async def run_async(self) -> None:
        """The same inside a running event loop. What cut the session short is only noted."""
        loop = asyncio.get_running_loop()
        with suppress(NotImplementedError, RuntimeError, ValueError):  # Windows, or not in the main thread
            loop.add_signal_handler(signal.SIGTERM, self._cut_short, SystemExit(128 + signal.SIGTERM))
        try:
            await self.app.run_async()
        finally:
            for shown in self._looking:
                shown.cancel()
            with suppress(NotImplementedError, RuntimeError, ValueError):
                loop.remove_signal_handler(signal.SIGTERM)

    def _cut_short(self, cause: BaseException) -> None:
        self.cut_short = cause
        self.app.exit()

    # Messages

    def send(self, message_at: MessageAt) -> None:
        """Send a message to the session. An error ends the application, so that no broken screen is left."""
        before = self.state
        try:
            message = message_at(self._clock())
            self._helping = self._helping and isinstance(message, m.Tick | m.LookedAgain)
            self.state = dispatch(self.state, message, self._save, self._clock, self._look_again, self._plan)
        except Exception as error:
            self.app.exit(exception=error)
            return
        if moment_of(before) != moment_of(self.state) or before.place != self.state.place:
            self._scroll.above = 0
            self._answer.reset()
            self.app.layout.focus(self._window_in_focus())
        if self.state.phase == "ended":
            self.app.exit()

    def _tick(self) -> None:
        self.state = dispatch(self.state, m.Tick(self._clock()), self._save, self._clock)

    def _look_again(self, question: m.LookAgain) -> SecondLook | None:
        """Begin a second look at a contested move. What comes of it is shown when it is there."""
        found = self._looker(question)
        if found is not None:
            shown = asyncio.wrap_future(found)
            self._looking.append(shown)
            shown.add_done_callback(lambda done: self._looked_again(question, done))
        return found

    def _looked_again(self, question: m.LookAgain, done: asyncio.Future[PositionVerdicts | None]) -> None:
        if done.cancelled() or not self.app.is_running:
            return
        if error := done.exception():
            self.app.exit(exception=error)
            return
        verdicts = done.result()
        self.send(lambda at: m.LookedAgain(at, question.task, question.ask, verdicts))
        self.app.invalidate()

    def _think_ahead(self) -> None:
        """Compute the explanation after a card is drawn, so that hints and results are there at once."""
        if self.state.attempt is not None and self.state.attempt.task is not self._explained:
            self._explained = self.state.attempt.task
            thinking = asyncio.get_running_loop().run_in_executor(None, _explain, self._explained)
            thinking.add_done_callback(lambda _: self.app.invalidate())

    # Layout

    def _layout(self) -> Layout:
        fits = Condition(lambda: self._room.fits)
        is_text = Condition(lambda: takes_text(self.state))
        # Every size is given, because finding the sizes takes longer than drawing.
        self._pane_window = Window(
            FormattedTextControl(self._pane, focusable=True, show_cursor=False),
            width=lambda: self._room.beside_board,
        )
        self._answer_window = Window(
            BufferControl(self._answer, input_processors=[BeforeInput(self._answer_prompt, "class:key")]),
            height=1,
        )
        body = VSplit(
            [
                Window(
                    FormattedTextControl(self._board, show_cursor=False),
                    width=lambda: self._room.square.board_columns,
                ),
                Window(width=GAP),
                self._pane_window,
            ],
            height=lambda: self._room.pane_rows,
        )
        foot = [
            Window(FormattedTextControl(self._notice), height=1),
            ConditionalContainer(self._answer_window, is_text),
            ConditionalContainer(Window(height=1), ~is_text),
            Window(FormattedTextControl(self._key_rows), height=KEY_ROWS),
        ]
        too_small = Window(FormattedTextControl(lambda: self._room.too_small))
        whole = HSplit([Window(height=lambda: self._room.margin), body, *foot])
        root = HSplit([ConditionalContainer(whole, fits), ConditionalContainer(too_small, ~fits)])
        return Layout(root, focused_element=self._window_in_focus())

    def _window_in_focus(self) -> Window:
        return self._answer_window if takes_text(self.state) else self._pane_window

    @property
    def _room(self) -> Room:
        return Room(*reversed(self.app.output.get_size()))

    # What is shown

    def _board(self) -> StyleAndTextTuples:
        view = board_view(self.state)
        return [] if view is None else board_fragments(view, self._look, self._room.square, self._click_on)

    def _pane(self) -> StyleAndTextTuples:
        """The part of the pane that fits. A space ends each row, so that no click reaches past its text."""
        columns = self._room.pane_columns
        rows = (
            help_rows(self.state, columns, keys(self.state))
            if self._helping
            else pane_rows(self.state, columns)
        )
        fragments: StyleAndTextTuples = []
        for row in self._scroll.visible(rows, self._room.pane_rows):
            fragments += [self._fragment(piece) for piece in row]
            fragments.append(("", " \n", self._wheel))
        return fragments

    def _notice(self) -> StyleAndTextTuples:
        """Completions of what is being typed; if nothing is, the notice."""
        if self._answer.text:
            fragments: StyleAndTextTuples = []
            for offered in completions(self.state.attempt, self._answer.text)[:OFFERED]:
                click = self._on_click(self._enterer(offered.entry))
                fragments += [("class:key", offered.word, click), ("", "  ")]
            return fragments
        return [("class:notice", self.state.notice)]

    def _key_rows(self) -> StyleAndTextTuples:
        return key_rows(self._keys_in_words(), self._room.columns)

    def _keys_in_words(self) -> Iterator[StyleAndTextTuples]:
        yield self._named_key("F1", "close help" if self._helping else "help", self._helper())
        if self._helping:
            return
        for key in keys(self.state):
            if key.label:
                yield self._named_key(key.label, key.words, key.message)
        if moment_of(self.state)[0] == "answering" and self.state.attempt is not None:
            others = self.state.attempt.answer.keys_in_words()
            if others:
                yield [(piece.style, piece.text) for piece in others]
        yield [("class:key", "Ctrl-O"), ("", f" mouse {'off' if self._mouse else 'on'}")]

    def _named_key(self, label: str, words: str, message_at: MessageAt) -> StyleAndTextTuples:
        click = self._on_click(message_at)
        return [("class:key", label, click), ("", f" {words}", click)]

    def _answer_prompt(self) -> str:
        return self.state.attempt.answer.prompt if self.state.attempt else ""

    # Clicks

    def _fragment(self, piece: Piece) -> tuple[str, str, Handler]:
        return piece.style, piece.text, self._on_click(piece.click) if piece.click else self._wheel

    def _on_click(self, message_at: MessageAt) -> Handler:
        def handler(event: MouseEvent) -> object:
            if event.event_type == MouseEventType.MOUSE_UP:
                self.send(message_at)
                return None
            return self._wheel(event)

        return handler

    def _square_handler(self, square: str) -> Handler:
        return self._on_click(lambda at: m.Click(at, square))

    def _wheel(self, event: MouseEvent) -> object:
        if event.event_type == MouseEventType.SCROLL_DOWN:
            self._scroll.above += WHEEL_ROWS
        elif event.event_type == MouseEventType.SCROLL_UP:
            self._scroll.above -= WHEEL_ROWS
        else:
            return NotImplemented
        return None

    def _enterer(self, text: str) -> MessageAt:
        def enter(at: float) -> m.Message:
            self._answer.reset()
            return m.TakeHint(at) if text.strip().lower() == "hint" else m.Enter(at, text)

        return enter

    def _helper(self) -> MessageAt:
        """Opens or closes the help. The session only gets a message that time passed."""
        opens = not self._helping

        def turn(at: float) -> m.Message:
            self._helping, self._scroll.above = opens, 0
            return m.Tick(at)

        return turn

    # Keys

    def _actions(self) -> Actions:
        return Actions(
            takes_text=lambda: takes_text(self.state),
            has_entry=lambda: bool(self._answer.text),
            is_helping=lambda: self._helping,
            has_meaning=lambda name: any(key.key == name for key in keys(self.state)),
            act=self._act,
            enter=lambda: self.send(self._enterer(self._answer.text)),
            complete=self._complete,
            turn_page=lambda pages: self.send(self._scroll.page_turner(pages, self._room.pane_rows)),
            switch_help=lambda: self.send(self._helper()),
            switch_mouse=self._switch_mouse,
            interrupt=lambda: self._cut_short(KeyboardInterrupt()),
        )

    def _act(self, name: str) -> None:
        for key in keys(self.state):
            if key.key == name:
                self.send(key.message)
                return

    def _complete(self) -> None:
        self._answer.text = completed(self.state.attempt, self._answer.text)
        self._answer.cursor_position = len(self._answer.text)

    def _switch_mouse(self) -> None:
        self._mouse = not self._mouse


def _explain(task: Task) -> None:
    """Compute the explanation; the task keeps it. An error will show when it is needed."""
    with suppress(Exception):
        _ = task.explanation


def run_screen(
    state: State,
    save: Save,
    clock: Clock,
    letters: bool = False,
    looker: Looker = no_engine,
    plan: Planner = as_planned,
) -> State:
    """Run a session on this terminal and give its last state.

    `save`: saves an answer. `clock`: counts seconds. `letters`: men as letters. `looker`: looks again at
    contested moves. `plan`: plans what follows a card. KeyboardInterrupt on Ctrl-C, SystemExit on SIGTERM;
    the terminal is then as before, and all answers stay saved.
    """
    from prompt_toolkit.output import create_output

    output = create_output()
    look = look_for(output.encoding(), os.environ, letters)
    return Screen(state, save, clock, look, colours=_colours(look), looker=looker, plan=plan).run()


def _colours(look: Look) -> ColorDepth | None:
    """24-bit colours if the terminal says that it has them; prompt_toolkit does not check this."""
    if look.monochrome:
        return ColorDepth.DEPTH_1_BIT
    return ColorDepth.DEPTH_24_BIT if os.environ.get("COLORTERM") in ("truecolor", "24bit") else None
