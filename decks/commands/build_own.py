"""`rondeau build --own`: traces a player's games and makes cards of the episodes."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

import click

from decks.build.own_cards import costliest_motifs, own_cards, own_episodes
from decks.build.variety import Known
from decks.cards.built_file import read_built
from decks.cards.deck import check_free, is_deck
from decks.cards.folder import reserved
from decks.commands.sources import aliases_of, each_once, readable, seats_told, tell_left_out
from decks.commands.trace import keep, seats_of, trace_all
from decks.telling.episodes_told import sentences
from decks.telling.outlook import build_command
from patterns.reading.text import counted, safe

if TYPE_CHECKING:
    from decks.commands.engines import CommandEngines
    from decks.commands.new_cards import NewCards

MOTIFS_NAMED = 3
"""Motifs for which more positions are offered: what one can study beside one's own slips."""


def build_own(
    deck: NewCards,
    sources: Sequence[Path],
    player: str,
    cards: int,
    engines: CommandEngines,
    scorebook: Path,
) -> None:
    """Add so many cards to the deck, the costliest episodes first, and say whose games they are of."""
    folder = deck.folder
    if not is_deck(folder):
        check_free(folder)
    left_out: list[dict[str, object]] = []
    games = each_once(game for source in sources for game in readable(source, left_out))
    who, seats = seats_of(games, player, None, aliases_of(player, scorebook))
    click.echo(seats_told(player, who, [seat.side for seat in seats], len(games)))
    with reserved(folder), engines:
        traced, failures = trace_all(seats, engines)
        known = Known(read_built(folder), deck.cards())
        episodes = own_episodes(traced, sentences)
        built = own_cards(episodes, engines, date.today(), known, engines.effort)
        for one in islice(built, cards):
            deck.add(one.entry, one.verdicts)
        keep(sources[0], traced, engines.name, scorebook)
        judged = f"from {counted(len(episodes), 'episode')}, judged by {safe(engines.name) or 'nobody'}"
    click.echo(f"{counted(deck.made, 'card')} added to {safe(folder)}, {judged}")
    if motifs := costliest_motifs(episodes)[:MOTIFS_NAMED]:
        more = build_command(f"{folder}-motifs", motifs, str(sources[0]))
        click.echo(f"The same motifs in other positions: `{more}`")
    if failures:
        raise failures[0]
    tell_left_out(left_out)
