"""Which candidate is tested next, which of the cards made are kept, and why the other candidates fell."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import Enum

import chess

from decks.build.candidates import Candidate
from decks.build.new_card import BuiltCard
from decks.build.variety import Known


class Fell(Enum):
    """Why a candidate became no card."""

    LOST = "the position is lost anyway"
    NO_MOTIF = "no wanted motif explains the best move"
    MANY_HOLD = "too many moves hold"
    NOT_SETTLED = "the searches do not agree for certain"
    PAYS_LITTLE = "the best move achieves too little"
    NO_SLIP = "the move played was no mistake after all"
    WORKS = "what seems to fail is good after all"
    OBVIOUS = "a capture or check and nothing after it"
    NOTHING_TEMPTS = "no natural move fails"
    TOO_HARD = "too many quiet replies to foresee"
    KNOWN = "the position, or one like it, is known"
    SAME_GAME = "the game has a card about this motif"
    UNSUITED = "it cannot be asked about as wanted"
    DRAW = "enough cards with a draw as the best"
    ENOUGH = "enough cards where the side to move stands like that"
    COUNTED_OTHERWISE = "search and stock-taking are far apart"
    NOT_QUIET = "the best move captures or checks"
    GUESSABLE = "the verdict gives the other rows away"
    ALIKE = "with it the ballots of the deck could be guessed"


def _game(candidate: Candidate) -> object:
    return candidate.game.line, candidate.game.moves  # several files have a game on one line


@dataclass
class Choice:
    """Which candidate comes next. `queues`: by side to move and motif. `at`: how far each queue is used.

    `cards`: how many were made about each motif. `sides`: how many with each side to move. `used`: motifs of
    games. `draws`: how many more may be about a draw. `most`: how many may be about one motif. `tested`: the
    places in games that have been tested: what they become does not depend on the motif they were found by.
    `put_off`: candidates of games that have a card already, and those whose card did not suit the others, by
    motif; None: these have their turn. `suits`: whether a card suits those made before it.
    """

    queues: Mapping[tuple[chess.Color, str], Sequence[Candidate]]
    at: dict[tuple[chess.Color, str], int]
    cards: Counter[str]
    sides: Counter[chess.Color]
    used: set[tuple[str, object]]
    known: Known
    draws: int
    fallen: Counter[Fell]
    most: int
    tested: set[object] = field(default_factory=set)
    put_off: dict[str, list[Candidate]] | None = field(default_factory=dict)
    suits: Callable[[BuiltCard], bool] = lambda built: True

    def begin(self, stage: Mapping[str, Sequence[Candidate]], order: Sequence[str]) -> None:
        """Go on with another stage."""
        self.queues = {
            (side, motif): [one for one in stage[motif] if one.board.turn == side]
            for motif in order
            if motif in stage
            for side in chess.COLORS
        }
        self.at = dict.fromkeys(self.queues, 0)

    def second_turns(self) -> Iterator[Mapping[str, Sequence[Candidate]]]:
        """A last stage, for games that have a card already, and for cards that did not suit the others."""
        candidates, self.put_off = self.put_off or {}, None
        yield candidates

    def _place(self, queue: tuple[chess.Color, str]) -> tuple[int, int]:
        """Queues with a lower place come first."""
        side, motif = queue
        return self.sides[side], self.cards[motif]

    def next(self) -> Candidate | None:
        """The next candidate. None if there is none left."""
        while self.at:
            turn = min(self.at, key=self._place)
            place = self.at[turn]
            if place == len(self.queues[turn]) or self.cards[turn[1]] >= self.most:
                del self.at[turn]
                continue
            self.at[turn] += 1
            candidate = self.queues[turn][place]
            where = (_game(candidate), candidate.ply)
            if where in self.tested:
                continue
            if self.put_off is not None and _game(candidate) in self.known.games:
                self.put_off.setdefault(turn[1], []).append(candidate)
                continue
            self.tested.add(where)
            if (candidate.motif, _game(candidate)) in self.used:
                self.fallen[Fell.SAME_GAME] += 1
            elif self.known.has_like(candidate.board):
                self.fallen[Fell.KNOWN] += 1
            else:
                return candidate
        return None

    def following(self) -> Iterator[Candidate]:
        """The candidates that come next if none of them becomes a card, which is likely for each of them."""
        put_off = None if self.put_off is None else dict[str, list[Candidate]]()
        later = replace(self, at=dict(self.at), fallen=Counter(), tested=set(self.tested), put_off=put_off)
        while (candidate := later.next()) is not None:
            yield candidate

    def test_again(self, candidate: Candidate) -> None:
        """Test a place once more if a later stage has it."""
        self.tested.discard((_game(candidate), candidate.ply))

    def accepted(self, candidate: Candidate, built: BuiltCard) -> BuiltCard | Fell:
        """The card, which then counts as made, or why it is one too many."""
        card = built.entry.card
        motif, place = built.about, (built.about, _game(candidate))
        if place in self.used:
            return Fell.SAME_GAME
        if self.known.has_idea(card):
            return Fell.KNOWN
        if self.cards[motif] >= self.most:
            return Fell.ENOUGH
        if self.put_off is not None and not self.suits(built):
            self.put_off.setdefault(candidate.motif, []).append(candidate)
            return Fell.ALIKE
        if card.goal == "draw":
            if not self.draws:
                return Fell.DRAW
            self.draws -= 1
        self.cards[motif] += 1
        self.sides[candidate.board.turn] += 1
        self.used.add(place)
        self.known.games.add(_game(candidate))
        self.known.add(card)
        return built
