"""`rondeau progress`: how far a student has come, motif by motif."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from decks.commands import SUMMARIES, options
from decks.commands.terminal import print_json, warn

if TYPE_CHECKING:
    from datetime import date

    from decks.memory.answers import Strand
    from decks.memory.progress import OfTier
    from decks.memory.strands import StrandState
    from decks.scorebook.ledger import Counted


@click.command("progress", help=SUMMARIES["progress"])
@options.deck
@options.student
@options.scorebook
@options.as_json
def command(deck: Path | None, student: str | None, scorebook: Path, as_json: bool) -> None:
    from decks.material import Material, last_shown, mended, return_of
    from decks.memory.answers import CardItem, parse_item
    from decks.telling.progress_told import nothing_met, progress_lines, unmet_lines
    from decks.today import open_decks, refuse_decks_of_others, study_day_now

    name = options.named_or_yourself(student, scorebook)
    with open_decks(deck, scorebook, name, to_ask=False) as (book, decks):
        refuse_decks_of_others(decks, book, name)
        number = book.student(name)
        day = study_day_now(book, number, datetime.now())
        pools = Material.of(decks, warn).pools
        shown = last_shown(book.last_seen(number), day)
        found = dict(sorted(mended(book, lambda: book.strand_states(number), warn).items()))
        left = {strand: len(pools.keys_of(strand) - shown.keys()) if decks else None for strand in found}
        returns = {
            strand: return_of(state, pools.get(strand, ()), shown, day) if decks else state.returns
            for strand, state in found.items()
        }
        games = book.count_cases(book.names_of(name))
        cards = {
            (item.deck, item.card_id)
            for item in map(parse_item, mended(book, lambda: book.memory_of(number), warn))
            if isinstance(item, CardItem)
        }
    if as_json:
        print_json(
            {
                "strands": [
                    as_dictionary(each, found[each], left[each], returns[each], games) for each in found
                ]
            }
        )
        return
    for strand, state in found.items():
        click.echo("\n".join(progress_lines(strand, state, left[strand], returns[strand], day, games)))
    if not found:
        click.echo(nothing_met(len(cards)))
    unmet = {motif for _, motif in games.tallies if motif} - {strand.motif for strand in found}
    for line in unmet_lines(unmet, games):
        click.echo(line)


def as_dictionary(
    strand: Strand, state: StrandState, unseen: int | None, returns: date | None, games: Counted
) -> dict[str, object]:
    """The progress of a strand for JSON. `unseen`: None if there is no deck. `returns`: when it can."""
    from decks.memory.progress import progress_of
    from decks.telling.ledger_told import cost_of_a_hundred

    progress, tally = progress_of(state), games.of(strand.motif)
    return {
        "motif": strand.motif,
        "ask": strand.ask,
        "tier": state.tier,
        "tiers": [{"from": str(since), "tier": tier} for since, tier in state.tiers],
        "first_sight": [_of_tier(each) for each in progress.real],
        "lookalikes": [_of_tier(each) for each in progress.lookalikes],
        "unseen": unseen,
        "own_games": {
            "games": games.games,
            "cases": tally.episodes,
            "cost_per_hundred": cost_of_a_hundred(tally, games.games),
        },
        "returns": returns and str(returns),
        "stuck_since": state.stuck_since and str(state.stuck_since),
    }


def _of_tier(each: OfTier) -> dict[str, object]:
    rate = each.rate
    return {
        "tier": each.tier,
        "right": rate.right,
        "asked": rate.asked,
        "interval": rate.interval and list(rate.interval),
    }
