"""What is said when a study day has come to its end: why, what returns when, and how to go on. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from shlex import quote

from decks.memory.day import MINUTES_A_FIRST_MEETING
from decks.telling.shown import when
from patterns.reading.text import counted, safe
from patterns.words.wording import listed

GAMES = "GAMES.pgn"
"""Stands for a file of games, where none is known."""


@dataclass(frozen=True)
class Outlook:
    """How things stand after the last step of a study day.

    `minutes`: those of the day, if they are used, else None. `returns`: the next day on which something
    returns; `cards`, `motifs`: how much. `unmet`: whether first meetings wait for another day, `catching_up`:
    because of a long absence. `lacks_positions`: whether the day ends because there is nothing to show;
    `unseen`: how many new positions are left for other days. `feeds`: the command that makes more. `used_up`:
    how many of the motifs that came today have no new position left. `only_lookalikes`: of how many motifs
    the decks have only positions in which they seem to be; these never come without others.
    """

    day: date
    minutes: float | None
    returns: date | None
    cards: int
    motifs: int
    unmet: bool
    catching_up: bool
    lacks_positions: bool
    unseen: int
    feeds: str
    used_up: int = 0
    only_lookalikes: int = 0


def outlook_lines(outlook: Outlook) -> list[str]:
    """The same in words."""
    lines = []
    if outlook.minutes is not None:
        lines.append(f"Today's {counted(round(outlook.minutes), 'minute')} are done.")
    elif outlook.lacks_positions:
        lines.append(_lacking(outlook))
    if outlook.returns is not None:
        both = [(outlook.cards, "card"), (outlook.motifs, "motif")]
        what = listed([counted(number, name) for number, name in both if number])
        verb = "returns" if outlook.cards + outlook.motifs == 1 else "return"
        lines.append(f"{what} {verb} {when(outlook.returns, outlook.day)}.")
    if outlook.minutes is not None:
        lines.append("To go on today: `--minutes M` adds M minutes.")
    elif outlook.catching_up:
        lines.append("Because you were away, new cards and motifs follow from tomorrow on.")
    elif outlook.unmet:
        each = MINUTES_A_FIRST_MEETING
        lines.append(
            f"A few first meetings come on a day: `--minutes M` adds M minutes, with one for each {each}."
        )
    if outlook.minutes is None and not outlook.lacks_positions and outlook.only_lookalikes:
        lines.append(_without_real(outlook))
    return (
        lines
        if outlook.lacks_positions and outlook.minutes is None
        else lines + used_up_lines(outlook.used_up, outlook.feeds)
    )


def used_up_lines(used_up: int, feeds: str) -> list[str]:
    """That motifs of today wait for new positions, and the command that makes them; empty if none does."""
    if not used_up:
        return []
    have = "has" if used_up == 1 else "have"
    return [f"{counted(used_up, 'motif')} of today {have} no new position left. `{feeds}` makes more."]


def _without_real(outlook: Outlook) -> str:
    number, them = outlook.only_lookalikes, "it" if outlook.only_lookalikes == 1 else "them"
    lookalikes = f"Of {counted(number, 'motif')} your decks have only lookalikes"
    return f"{lookalikes}, which come among positions that show {them}. `{outlook.feeds}` makes some."


def _lacking(outlook: Outlook) -> str:
    more = f"`{outlook.feeds}` makes more."
    if not outlook.unseen:
        return f"You have seen every position of your decks. {more}"
    left = "1 is left" if outlook.unseen == 1 else f"{outlook.unseen} are left"
    return f"New positions are spent slowly: {left} for other days; `--minutes M` takes a few today. {more}"


def build_command(folder: str, motifs: Sequence[str], games: str | None) -> str:
    """The command that adds cards of these motifs to a deck. `games`: a file in which they arose."""
    named = "".join(f" --motif {motif}" for motif in motifs)
    return safe(f"rondeau build {quote(folder)} --from {quote(games) if games else GAMES}{named}", 500)
