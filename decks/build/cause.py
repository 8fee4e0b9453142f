"""Why a position becomes a card: the motif that decides its move, and the words that say so."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import chess

from decks.build.candidates import Candidate
from decks.build.choice import Fell
from decks.build.new_card import most_holding, motif_tag
from decks.build.relevance import UsesOf, causes, explained_by
from decks.build.slips import WORST_SCORE, tried_by_player
from decks.tasks.card import MotifTag
from decks.tasks.lines import board_after, move_at, numbered
from decks.tasks.tried import tried
from patterns.catalogue import MOTIFS
from patterns.detect import find_in
from patterns.engines.scores import PositionVerdicts
from patterns.lines import Use, uses_of_many
from patterns.lines.recaptures import taken_by


@dataclass(frozen=True)
class Cause:
    """The motif that decides the move, and the squares of its men.

    `is_lookalike`: it only seems to be there, and the move played takes it up in vain.
    """

    tag: MotifTag
    squares: tuple[str, ...]
    is_lookalike: bool = False


def cause_of(
    candidate: Candidate, verdicts: PositionVerdicts, order: Sequence[str], uses_of: UsesOf = uses_of_many
) -> Cause | Fell:
    """The motif that explains the best move best; without one, what a slip lets in, or takes up in vain.

    `order`: the wanted motifs, those to prefer first.
    """
    if verdicts.moves[verdicts.best].score < WORST_SCORE:
        return Fell.LOST
    board, played = candidate.board, candidate.played
    if len(verdicts.holding()) > most_holding(board, verdicts):
        return Fell.MANY_HOLD
    if candidate.is_slip and played is not None and verdicts.quality(played) == "holds":
        return Fell.NO_SLIP
    if tried(board, verdicts.best, verdicts).is_perpetual(board.turn):
        return Fell.NO_MOTIF  # the perpetual check decides, whatever else the moves take up
    deciding = causes(board, verdicts, order, uses_of)
    motif = next(iter(deciding), "")
    if motif in order:
        return Cause(motif_tag(motif, board.turn), _evidence(board, deciding[motif]))
    if not candidate.is_slip or played is None:
        return Fell.NO_MOTIF
    line = (verdicts.best, *verdicts.moves[verdicts.best].line)
    if explained_by(board, line, order, uses_of=uses_of):
        return Fell.NO_MOTIF
    let_in, anyway = (_answered_by(board, move, verdicts, order, uses_of) for move in (played, verdicts.best))
    motif = next(iter(let_in), "")
    if motif in order and motif not in anyway:
        return Cause(motif_tag(motif, not board.turn), _targets(board, let_in[motif]))
    if candidate.motif in order and _only_seems(candidate, verdicts, uses_of):
        return Cause(motif_tag(candidate.motif, board.turn), (), is_lookalike=True)
    return Fell.NO_MOTIF


def _answered_by(
    board: chess.Board, move: str, verdicts: PositionVerdicts, order: Sequence[str], uses_of: UsesOf
) -> dict[str, list[Use]]:
    """The motifs that explain the best reply to a move, with its uses."""
    taken = taken_by(board, chess.Move.from_uci(move))
    return explained_by(board_after(board, [move]), verdicts.moves[move].line, order, taken, uses_of)


def _only_seems(candidate: Candidate, verdicts: PositionVerdicts, uses_of: UsesOf) -> bool:
    """Whether the move played takes up the candidate's motif and loses material by it.

    A feature that stood on the board is there all the same, even if a move with it fails.
    """
    assert candidate.played is not None
    if MOTIFS[candidate.motif].taken_up or candidate.motif not in tried_by_player(candidate, uses_of):
        return False
    return tried(candidate.board, candidate.played, verdicts).loses.pawns > 0


def why_chosen(candidate: Candidate, cause: Cause, verdicts: PositionVerdicts, tempts: Sequence[str]) -> str:
    """Why the position was taken, in words: the move played if it was a mistake, else what tempts."""
    board, played = candidate.board, candidate.played
    if played is None or verdicts.quality(played) == "holds":
        return f"{move_at(board, (tempts[0],), 1)} tempts and loses {verdicts.loss(tempts[0]):.2f}"
    move, *replies = numbered(board, (played, *verdicts.moves[played].line[:1]))
    let_in = f"lets in {replies[0]}" if cause.tag.side != chess.COLOR_NAMES[board.turn] else "was played"
    return f"{move} {let_in} and loses {verdicts.loss(played):.2f}"


def _evidence(board: chess.Board, uses: Sequence[Use]) -> tuple[str, ...]:
    """The squares of actors and targets, in the order a1, b1, ... h8.

    If the position shows the motif already, they are those of what it shows of these men; otherwise those
    that the move uses.
    """
    side = chess.COLOR_NAMES[board.turn]
    men = {name for use in uses for name in (*use.actors, *use.targets)}
    shown = [
        {*finding.actors, *finding.targets}
        for finding in find_in([board], uses[0].motif)[0]
        if finding.side == side
    ]
    names = set().union(*(squares for squares in shown if squares & men)) or men
    return tuple(sorted(names, key=chess.parse_square))


def _targets(board: chess.Board, uses: Sequence[Use]) -> tuple[str, ...]:
    """The squares of the own men that a motif of the other side is aimed at, in the order a1, b1, ... h8."""
    names = {name for use in uses for name in use.targets}
    return tuple(
        name
        for name in sorted(names, key=chess.parse_square)
        if board.color_at(chess.parse_square(name)) == board.turn
    )
