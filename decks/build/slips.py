"""Slips: moves of games that let a motif slip, or let one in, found by quick searches, newest games first.

A quick search finds the best move. Then the best move and the move played are compared by two more, each
from the position after the move and each of as many nodes, so that the two scores are alike. Whether it was a
slip indeed is decided later, when every move is judged.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice

import chess

from decks.build.candidates import Candidate, Shown
from decks.build.inquiries import Engines, Inquiries, Inquiry, glance_at
from decks.build.ranking import ranked
from decks.build.relevance import UsesOf, explaining, uses_of_lines
from patterns.engines.judging import EngineError
from patterns.engines.scores import GIVES_UP, SLIPS_WITHIN, Evaluation
from patterns.lines import Use, uses_of_many

GLANCE_NODES = 20_000
"""Nodes of a quick search: about 20 milliseconds for a fast engine."""

BATCH = 128
"""Positions looked at together. Small, because the newest games may already have enough slips."""

TOGETHER = 16
"""Slips that become candidates together. With fewer, engines would wait for each other's candidates."""

WORST_SCORE = 0.45
"""Expected score that the best move must keep. Below it a card would only teach how to lose more slowly."""


@dataclass(frozen=True)
class _Place:
    """A position, the motifs that it shows, and those that the move played lets in."""

    position: Candidate
    motifs: frozenset[str]
    let_in: frozenset[str]


@dataclass(frozen=True)
class _Loss:
    """A place where the move played lost much. `best`: the best line. `reply`: the line `after` the move."""

    place: _Place
    best: tuple[str, ...]
    after: chess.Board
    reply: tuple[str, ...]

    @property
    def lines(self) -> list[tuple[chess.Board, Sequence[str]]]:
        """The game from here on, the best line, and the reply."""
        position = self.place.position
        return [
            (position.board, _game_line(position)),
            (position.board, self.best),
            (self.after, self.reply),
        ]


def slips(
    games: Iterable[Shown],
    engines: Engines,
    order: Sequence[str],
    told: Callable[[], None] = lambda: None,
    uses_of: UsesOf = uses_of_many,
) -> Iterator[list[Candidate]]:
    """The slips of the games, newest games first, in lists of at least `TOGETHER`; the last may have fewer.

    The move played lost more than `SLIPS_WITHIN`, and `GIVES_UP` centipawns or more. The position shows a
    motif which the move played does not use and the best move does; or after the move played there is a new
    motif, which the reply uses; or the move played uses a motif that only seemed to be there. `order`:
    motifs, those to prefer first. `told`: called whenever answers have come. EngineError if the engine fails
    on a position.
    """
    losses = _quick_pass(_places(_newest_first(games)), engines, told)
    found: list[Candidate] = []
    for batch in losses:
        found += _named(batch, order, uses_of)
        if len(found) >= TOGETHER:
            yield found
            found = []
    if found:
        yield found


def _quick_pass(
    places: Iterator[_Place], engines: Engines, told: Callable[[], None]
) -> Iterator[list[_Loss]]:
    """Where the moves played lost much, batch by batch."""
    while batch := list(islice(places, BATCH)):
        inquiries = Inquiries[_Place, _Loss | None](engines, _loss)
        losses: list[_Loss] = []
        for number, place in enumerate(batch, 1):
            loss = inquiries.result(place, iter(batch[number:]), told)
            if isinstance(loss, EngineError):
                raise loss
            if loss is not None:
                losses.append(loss)
        yield losses


def tried_by_player(position: Candidate, uses_of: UsesOf = uses_of_many) -> set[str]:
    """The motifs that the move played uses."""
    (uses,) = uses_of_lines([(position.board, _game_line(position))], uses_of)
    return _of_first_move(uses)


def by_motif(candidates: Iterable[Candidate]) -> dict[str, list[Candidate]]:
    """The candidates in the same order, by motif."""
    queues: dict[str, list[Candidate]] = {}
    for one in candidates:
        queues.setdefault(one.motif, []).append(one)
    return queues


def _newest_first(games: Iterable[Shown]) -> list[Shown]:
    """The games by date. Of one day, those later in the file are the newer."""
    return sorted(games, key=lambda one: one.date)[::-1]


def _places(games: Iterable[Shown]) -> Iterator[_Place]:
    """Positions with motifs that the move played might use, or that it lets in."""
    for one in games:
        for ply, board in one.decisions():
            motifs, let_in = one.motifs.get(ply, frozenset()), one.let_in(ply)
            yield _Place(Candidate(one.game, ply, board, min(motifs | let_in)), motifs, let_in)


def _loss(place: _Place) -> Inquiry[_Loss | None]:
    """The lines of the best move and after the move played, if that one lost much."""
    board, played = place.position.board, place.position.played
    here = yield from glance_at(board, GLANCE_NODES)
    if here.score < WORST_SCORE or not here.line or here.line[0] == played:
        return None
    assert played is not None
    after = _after(board, played)
    by_played = yield from glance_at(after, GLANCE_NODES)
    by_best = yield from glance_at(_after(board, here.line[0]), GLANCE_NODES)
    if not _is_slip(by_best, by_played):
        return None
    return _Loss(place, here.line, after, by_played.line)


def _named(losses: Sequence[_Loss], order: Sequence[str], uses_of: UsesOf) -> list[Candidate]:
    """Those of the losses that have to do with a motif, as candidates.

    All lines are examined together: for a few of them the calls cost ten times as much as the lines.
    """
    lines = [line for one in losses for line in one.lines]
    uses = iter(uses_of_lines(lines, uses_of))
    motifs = [_motif(one, next(uses), next(uses), next(uses), order) for one in losses]
    return [
        replace(one.place.position, motif=motif, is_slip=True)
        for one, motif in zip(losses, motifs, strict=True)
        if motif
    ]


def _motif(
    loss: _Loss, by_game: list[Use], of_best: list[Use], of_reply: list[Use], order: Sequence[str]
) -> str:
    """The motif that a slip is about; empty if it is about none."""
    place, tried = loss.place, _of_first_move(by_game)
    return (
        _explained(place.position.board, loss.best, of_best, order, place.motifs - tried)
        or _explained(loss.after, loss.reply, of_reply, order, place.let_in)
        or next((motif for motif in order if motif in place.motifs & tried), "")
    )


def _is_slip(by_best: Evaluation, by_played: Evaluation) -> bool:
    """Whether the move played lost much, by the scores of the other side after the best move and after it."""
    if by_played.score - by_best.score <= SLIPS_WITHIN:
        return False
    if by_played.centipawns is None or by_best.centipawns is None:
        return True
    return by_played.centipawns - by_best.centipawns >= GIVES_UP


def _explained(
    board: chess.Board,
    line: Sequence[str],
    uses: Sequence[Use],
    order: Sequence[str],
    motifs: Collection[str],
) -> str:
    """The one of `motifs` that explains the first move of a line best; empty if none does."""
    found = [use for use in explaining(board, line, uses) if use.motif in motifs] if line else []
    return next(iter(ranked(found, order)), "")


def _of_first_move(uses: Iterable[Use]) -> set[str]:
    return {use.motif for use in uses if use.ply == 1}


def _game_line(position: Candidate) -> list[str]:
    return [move.uci() for move in position.game.moves[position.ply :]]


def _after(board: chess.Board, move: str) -> chess.Board:
    after = board.copy(stack=False)
    after.push_uci(move)
    return after
