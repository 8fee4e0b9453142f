"""How much an engine searches to judge one position: rounds of search, each deeper and with fewer moves.

Every depth and every cut of a judging stands here, with its reason. Measured with Stockfish 15.1 on one core.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from patterns.engines.strength import UNVERIFIED_BELOW

VERSION = 3
"""Part of the name of every effort. It goes up when `judging` changes what it does with the same numbers."""

HASH_MB = 64
"""Fixed, and so is the single thread, so that the same question gets the same answer."""

QUICK_HASH_MB = 4
"""Hash of a search of so many nodes that it fills no more. To clear 64 MB takes a seventh of its time."""

OTHER_HASH_MB = 16
"""Hash of the second search. With another size the engine forgets other positions and so cuts elsewhere."""


@dataclass(frozen=True)
class Round:
    """One round: `plies` deep. It takes the moves that lost at most `within` in the round before.

    `tried_within`: the same for moves that a person would try. `keeps_sound`: it also takes every move that
    does not lose material outright. `exact_within`: of a move that loses more than this, the round only shows
    that it does; by how much more would not matter. Losses are expected scores, 0..1.
    """

    plies: int
    within: float = 1.0
    tried_within: float = 1.0
    keeps_sound: bool = False
    exact_within: float = 1.0


@dataclass(frozen=True)
class Search:
    """The rounds of one search, first to last, and the engine's hash memory in megabytes.

    `second_look`: plies to which moves that a round with fewer plies left out are searched again, together.
    0: not at all.
    """

    rounds: tuple[Round, ...]
    hash_mb: int = HASH_MB
    second_look: int = 0


@dataclass(frozen=True)
class Aftermath:
    """What is searched after the judging, so that what is told of a move stands.

    The rounds show that a move fails, but not what comes of it. So the best `moves` of those that fail are
    searched each alone: `plies` deep, and `open_plies` where that decides nothing. The end of their lines,
    and of lines of moves that do not fail, is searched `end_plies` deep.
    """

    moves: int
    plies: int
    open_plies: int
    end_plies: int


@dataclass(frozen=True)
class Effort:
    """The searches of one judging; a search after the first only looks whether the first can be trusted.

    `by_child`: what is done instead if the engine cannot search several moves at once, and has to be asked
    move by move. None: the same. `ends_quiet`: whether lines are searched on until nothing hangs.
    `most_holding`: if after the second round more moves hold, the judging ends there, unsettled; and where a
    later round shows that the position cannot settle, nothing more is looked at than that, and there is no
    aftermath. `aftermath`: None: nothing is searched after the rounds.
    """

    searches: tuple[Search, ...]
    by_child: Effort | None = None
    ends_quiet: bool = True
    most_holding: int | None = None
    aftermath: Aftermath | None = None

    @property
    def name(self) -> str:
        """A short text that says everything that decides the result. Kept searches are stored by it.

        >>> Effort((Search((Round(8),)),)).name
        'v3 8 hash64 quiet'
        >>> Effort((Search((Round(3), Round(4, 0.1, 0.3, keeps_sound=True)), 16, second_look=5),)).name
        'v3 3 4:.1/.3+sound again5 hash16 quiet'
        >>> Effort((Search((Round(3), Round(4, 0.3, 0.3, exact_within=0.2))),), most_holding=4).name
        'v3 3 4:.3/.3 exact.2 hash64 quiet most4'
        >>> Effort((Search((Round(8),)),), aftermath=Aftermath(8, 16, 20, 12)).name
        'v3 8 hash64 quiet after8:16-20/12'
        """
        own = "; ".join(_search_name(search) for search in self.searches)
        own += " quiet" if self.ends_quiet else ""
        own += "" if self.most_holding is None else f" most{self.most_holding}"
        if self.aftermath is not None:
            after = self.aftermath
            own += f" after{after.moves}:{after.plies}-{after.open_plies}/{after.end_plies}"
        return f"v{VERSION} {own}" + (f" | {self.by_child.name}" if self.by_child else "")

    @property
    def without_aftermath(self) -> Effort:
        """The rounds alone: all that is needed to know which moves hold."""
        return replace(self, aftermath=None)

    @property
    def least_depth(self) -> int:
        """Plies to which every move is searched."""
        return self.searches[0].rounds[0].plies

    @property
    def depth(self) -> int:
        """Plies of the last round."""
        return self.searches[0].rounds[-1].plies

    def suited(self, several_lines: bool) -> Effort:
        """The effort for an engine that can search several moves at once, or cannot."""
        return self if several_lines or self.by_child is None else self.by_child

    def to_depth(self, plies: int) -> Effort:
        """The same, but with the last round at `plies`. Rounds that would be as deep are left out.

        The first round stays as it is, because less than it is not enough to rule out any move.

        >>> Effort((Search((Round(11), Round(15, 0.5), Round(21, 0.2))),)).to_depth(15).name
        'v3 11 15:.2/1 hash64 quiet'
        >>> Effort((Search((Round(11),)),), aftermath=Aftermath(8, 16, 20, 12)).to_depth(15).name
        'v3 11 hash64 quiet after8:14-14/12'
        """
        searches = tuple(
            replace(one, rounds=_to_depth(one.rounds, plies), second_look=min(one.second_look, plies))
            for one in self.searches
        )
        return replace(
            self,
            searches=searches,
            by_child=self.by_child and self.by_child.to_depth(plies),
            aftermath=self.aftermath and _no_deeper(self.aftermath, plies - 1),
        )


def _no_deeper(after: Aftermath, plies: int) -> Aftermath:
    return replace(
        after,
        plies=min(after.plies, plies),
        open_plies=min(after.open_plies, plies),
        end_plies=min(after.end_plies, plies),
    )


def _to_depth(rounds: tuple[Round, ...], plies: int) -> tuple[Round, ...]:
    first, *later = rounds
    if not later or plies <= first.plies:
        return (first,)
    return (first, *(one for one in later[:-1] if one.plies < plies), replace(later[-1], plies=plies))


def _search_name(search: Search) -> str:
    again = [f"again{search.second_look}"] if search.second_look else []
    return " ".join([*map(_round_name, search.rounds), *again, f"hash{search.hash_mb}"])


def _round_name(one: Round) -> str:
    exact = f" exact{_short(one.exact_within)}" if one.exact_within < 1 else ""
    if one.within >= 1 and one.tried_within >= 1:
        return f"{one.plies}{exact}"
    sound = "+sound" if one.keeps_sound else ""
    return f"{one.plies}:{_short(one.within)}/{_short(one.tried_within)}{sound}{exact}"


def _short(number: float) -> str:
    return f"{number:g}".removeprefix("0")


BY_CHILD = Effort((Search((Round(3), Round(4, 0.1, 0.1))),))
"""For an engine that must be asked move by move: some seconds per position with `sunfish-uci`."""

BY_CHILD_NODES, BY_CHILD_PLIES = 2_000, 5
"""The most nodes and plies of a quick search by such an engine: .2 and about 1.5 seconds."""

SECOND_LOOK = UNVERIFIED_BELOW + 1
"""Plies: what no verdict of a full judging rests on less than. Deep enough to count as verified."""

LATE = (Round(19, exact_within=0.15), Round(21, exact_within=0.15))
"""They take every move of the round before, because it costs little to show that most of them are far off."""

SETTLED = Effort(
    (
        Search((Round(11), Round(15, 0.5, 0.8, exact_within=0.2), *LATE), HASH_MB, SECOND_LOOK),
        Search((Round(11), Round(15, 0.5, 0.8, keeps_sound=True, exact_within=0.2), *LATE), OTHER_HASH_MB),
    ),
    by_child=BY_CHILD,
    aftermath=Aftermath(moves=8, plies=SECOND_LOOK - 1, open_plies=20, end_plies=12),
)
"""The whole protocol, after which a position may be settled.

Every move gets 11 plies: half a second. Only half the scale is left out after that, and less of captures and
checks, because many sacrifices look bad that early. From then on no move is left out near level, but a round
only shows that a move loses more than a slip, without its exact score: the exact scores of all moves took
four fifths of the time. After 15 plies there is a margin, since scores still move. The second search goes on
with every move that does not simply lose material, because agreement means little if both searches overlook
the same move.
"""

SURVEY = Effort((Search((Round(8),)),), Effort((Search((Round(3),)),), ends_quiet=False), ends_quiet=False)
"""A light first look at every move: a fifth of a second per position."""
