"""What the keys of the keyboard do, in each state of the screen."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from prompt_toolkit.filters import Condition
from prompt_toolkit.key_binding import KeyBindings
from prompt_toolkit.key_binding.key_processor import KeyPressEvent
from prompt_toolkit.keys import Keys

ALWAYS = ("c-t", "c-q", "f2")
"""Keys that act even while something is being typed."""

NAMED_KEYS = ("enter", "left", "right", "up", "down", "tab")
"""Keys that act while nothing is being typed, if they have a meaning at that moment."""


@dataclass(frozen=True)
class Actions:
    """What the screen can do, and what has to be known of it to choose."""

    takes_text: Callable[[], bool]
    has_entry: Callable[[], bool]
    is_helping: Callable[[], bool]
    has_meaning: Callable[[str], bool]
    act: Callable[[str], None]
    """Does what the key of this name means at this moment, if anything."""
    enter: Callable[[], None]
    complete: Callable[[], None]
    turn_page: Callable[[int], None]
    switch_help: Callable[[], None]
    switch_mouse: Callable[[], None]
    interrupt: Callable[[], None]


def bound(actions: Actions) -> KeyBindings:
    """The keys, bound to these actions."""
    bindings = KeyBindings()
    takes_text = Condition(actions.takes_text)
    has_entry = Condition(actions.has_entry)
    is_helping = Condition(actions.is_helping)

    def acting(name: str) -> Callable[[KeyPressEvent], None]:
        return lambda event: actions.act(name)

    for name in ALWAYS:
        bindings.add(name)(acting(name))

    @bindings.add("f1")
    @bindings.add("?", filter=~has_entry)
    @bindings.add("enter", filter=is_helping & ~has_entry)
    @bindings.add("escape", filter=is_helping)
    def _(event: KeyPressEvent) -> None:
        actions.switch_help()

    for name in NAMED_KEYS:
        has_meaning = Condition(lambda name=name: actions.has_meaning(name))  # type: ignore[misc]
        bindings.add(name, filter=has_meaning & ~has_entry & ~is_helping)(acting(name))

    @bindings.add(Keys.Any, filter=~takes_text & ~is_helping)
    def _(event: KeyPressEvent) -> None:
        actions.act(event.key_sequence[0].key)

    @bindings.add("enter", filter=takes_text & has_entry)
    def _(event: KeyPressEvent) -> None:
        actions.enter()

    @bindings.add("tab", filter=takes_text & has_entry)
    def _(event: KeyPressEvent) -> None:
        actions.complete()

    @bindings.add("pagedown")
    def _(event: KeyPressEvent) -> None:
        actions.turn_page(1)

    @bindings.add("pageup")
    def _(event: KeyPressEvent) -> None:
        actions.turn_page(-1)

    @bindings.add("c-o")
    def _(event: KeyPressEvent) -> None:
        actions.switch_mouse()

    @bindings.add("c-c")
    @bindings.add("<sigint>")
    def _(event: KeyPressEvent) -> None:
        actions.interrupt()

    return bindings
