"""The ledger as a table and as a JSON object: what motifs brought a player and cost. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from operator import add

from decks.scorebook.ledger import Counted, Cut, Tally
from patterns.catalogue import MOTIFS
from patterns.reading.text import counted

LEAST_CASES = 5
"""Cases that a rate rests on at least: of fewer it says nothing. Common practice, no source."""

HEADS = ("motif", "had", "took", "rate", "others", "let slip", "let in", "cost", "a hundred", "others")

EXPLAINED = (
    "had: chances, took: those used, rate: their share; let slip, let in: episodes; cost: points they lost",
    "a hundred: points lost in a hundred games; others: the same for everybody else who was traced",
    "took and let slip are about the player's own motifs, let in about the opponents'",
)


@dataclass(frozen=True)
class Row:
    """A line of the ledger: a motif (None: episodes without one), or `all`; the player's tally and games,
    and those of the others."""

    name: str | None
    own: Tally
    games: int
    others: Tally
    other_games: int


@dataclass(frozen=True)
class Part:
    """The rows of one value of the cut, the worst first, and their sum. Without a cut, `value` is empty."""

    value: str
    games: int
    rows: Sequence[Row]
    whole: Row


def parts(own: Counted, others: Counted, cut: Cut | None) -> list[Part]:
    """The ledger, divided as both were counted."""
    values = sorted({value for value, _ in own.tallies})
    return [_part(value, own, others, cut) for value in values]


def take_rate(tally: Tally) -> float | None:
    """The share of chances that were taken. None if there were too few."""
    return tally.took / tally.had if tally.had >= LEAST_CASES else None


def cost_of_a_hundred(tally: Tally, games: int) -> float | None:
    """Points lost in a hundred games. None if they rest on too few episodes."""
    return 100 * tally.cost / games if tally.episodes >= LEAST_CASES else None


def part_lines(part: Part) -> list[tuple[str, ...]]:
    """The rows of a table with `HEADS`."""
    return [_columns(row) for row in (*part.rows, part.whole)]


def part_title(part: Part, cut: Cut | None) -> str:
    """What the rows rest on: games, cases, episodes."""
    whole = part.whole.own
    cases = counted(whole.took + whole.episodes, "case")
    of = f"{cut} {part.value}: " if cut else ""
    lost = f"{counted(whole.episodes, 'episode')} of them lost points"
    return f"{of}{cases} in {counted(part.games, 'game')}, {lost}"


def part_object(part: Part, cut: Cut | None) -> dict[str, object]:
    """The part for JSON."""
    return {
        **({cut: part.value} if cut else {}),
        "games": part.games,
        "motifs": [_object(row) for row in part.rows],
        "all": _object(part.whole),
    }


def _part(value: str, own: Counted, others: Counted, cut: Cut | None) -> Part:
    games, other_games = (_games(counts, value, cut) for counts in (own, others))
    tallies = {motif: tally for (at, motif), tally in own.tallies.items() if at == value}
    theirs = {motif: tally for (at, motif), tally in others.tallies.items() if at == value}
    rows = [
        Row(motif, tally, games, theirs.get(motif, Tally()), other_games) for motif, tally in tallies.items()
    ]
    rows.sort(key=lambda row: (-row.own.cost, -row.own.had, row.name or ""))
    whole = Row(
        "all", reduce(add, tallies.values()), games, reduce(add, theirs.values(), Tally()), other_games
    )
    return Part(value, games, rows, whole)


def _games(counts: Counted, value: str, cut: Cut | None) -> int:
    if cut == "colour":
        return counts.white if value == "white" else counts.black
    return counts.games


def _columns(row: Row) -> tuple[str, ...]:
    own = row.own
    return (
        row.name or "(no motif)",
        str(own.had),
        str(own.took),
        _percent(take_rate(own)),
        _percent(take_rate(row.others)),
        str(own.let_slip),
        str(own.let_in),
        f"{own.cost:.1f}",
        _points(cost_of_a_hundred(own, row.games)),
        _points(cost_of_a_hundred(row.others, row.other_games)),
    )


def _object(row: Row) -> dict[str, object]:
    own, others = row.own, row.others
    return {
        "motif": row.name,
        "title": MOTIFS[row.name].title if row.name and row.name in MOTIFS else None,
        "had": own.had,
        "took": own.took,
        "take_rate": take_rate(own),
        "let_slip": own.let_slip,
        "let_in": own.let_in,
        "episodes": own.episodes,
        "cost": round(own.cost, 4),
        "cost_per_hundred": cost_of_a_hundred(own, row.games),
        "others": {
            "take_rate": take_rate(others),
            "cost_per_hundred": cost_of_a_hundred(others, row.other_games),
        },
    }


def _percent(rate: float | None) -> str:
    return "-" if rate is None else f"{rate:.0%}"


def _points(cost: float | None) -> str:
    return "-" if cost is None else f"{cost:.1f}"
