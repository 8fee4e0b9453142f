"""The progress of a strand in words. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

from decks.asks.catalogue import ASKS
from decks.memory.answers import EVERY_MOTIF, CardItem, Strand
from decks.memory.progress import OfTier, Rate, progress_of
from decks.memory.strands import StrandState
from decks.scorebook.ledger import NO_GAMES, Counted
from decks.tasks.evidence import motif_title
from decks.telling.ledger_told import cost_of_a_hundred
from decks.telling.shown import when
from patterns.reading.text import counted


def strand_title(strand: Strand) -> str:
    """A strand in words: `fork: move`, or the ask alone if it doesn't depend on the motif."""
    ask = ASKS[strand.ask].title
    return ask if strand.motif == EVERY_MOTIF else f"{motif_title(strand.motif)}: {ask}"


def item_title(item: Strand | CardItem) -> str:
    """A strand in words, or an ask of a fixed card: `card heron-rook: move`."""
    if isinstance(item, Strand):
        return strand_title(item)
    return f"card {item.card_id}: {ASKS[item.ask].title}"


def progress_lines(
    strand: Strand,
    state: StrandState,
    unseen: int | None,
    returns: date | None,
    day: date,
    own_games: Counted = NO_GAMES,
) -> list[str]:
    """What is known of a strand, one line each. `unseen`: the positions left, None without decks.

    `returns`: when it can be shown again, None if never. `day`: today. `own_games`: what the student's own
    games show.
    """
    progress = progress_of(state)
    lines = [strand_title(strand).capitalize()]
    steps = [f"tier {tier} from {since}" for since, tier in state.tiers]
    lines.append(f"  {', '.join(steps)}")
    lines.append(f"  at first sight: {rates_in_words(progress.real)}")
    if progress.lookalikes:
        lines.append(f"  lookalikes: {rates_in_words(progress.lookalikes)}")
    left = [] if unseen is None else [f"{counted(unseen, 'new position')} left"]
    coming = [f"returns {when_or_today(returns, day)}"] if returns else ["waits for more"]
    if returns and unseen == 0:
        coming[0] += ", in a position that was seen"
    told = [*left, *(coming if state.returns else [])]
    lines += [f"  {'; '.join(told)}"] if told else []
    lines += [f"  {line}" for line in own_games_lines(strand.motif, own_games)]
    if state.stuck_since is not None:
        lines.append(f"  stuck since {state.stuck_since}: a coach should look at it")
    return lines


def own_games_lines(motif: str, own_games: Counted) -> list[str]:
    """What a motif cost the student in traced games: one line, or none if that rests on too few cases."""
    tally = own_games.of(motif)
    cost = cost_of_a_hundred(tally, own_games.games)
    if cost is None:
        return []
    rests_on = f"{counted(tally.episodes, 'case')} in {counted(own_games.games, 'game')}"
    return [f"in your own games: {cost:.1f} points lost in a hundred, from {rests_on}"]


def nothing_met(cards: int) -> str:
    """What is told where no motif was met. `cards`: how many fixed cards were."""
    told = "no motif has been met yet"
    return f"{told}, but {counted(cards, 'card')}: `rondeau due` tells what returns when" if cards else told


def unmet_lines(motifs: Iterable[str], own_games: Counted) -> list[str]:
    """Motifs that cost the student points in traced games, but that were never met on a card."""
    return [
        f"{motif_title(motif)}, not met yet: {line}"
        for motif in sorted(motifs)
        for line in own_games_lines(motif, own_games)
    ]


def rates_in_words(tiers: Sequence[OfTier]) -> str:
    """Each tier as of `rate_in_words`, in the order in which they came."""
    return "; ".join(rate_in_words(each.rate, each.tier) for each in reversed(tiers))


def rate_in_words(rate: Rate, tier: int) -> str:
    """`7 of the last 10 right (tier 2), so 44 to 87 %`; no rate while there are too few answers."""
    of = f"{rate.right} of the last {rate.asked} right (tier {tier})"
    if rate.interval is None:
        return f"{counted(rate.asked, 'answer')} in tier {tier}, too few for a rate"
    low, high = rate.interval
    return f"{of}, so {100 * low:.0f} to {100 * high:.0f} %"


def when_or_today(day: date, today: date) -> str:
    """`today`, or a later day as `when` tells it."""
    return "today" if day <= today else when(day, today)
