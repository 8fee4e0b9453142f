"""Why a position becomes a card: the motif that decides its move, and the words that say so."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import chess

from decks.build.candidates import Candidate
from decks.build.choice import Fell
from decks.build.inquiries import Inquiry, uses_in
from decks.build.new_card import most_holding, motif_tag
from decks.build.relevance import causes, explained_by, is_paid, lines_of
from decks.build.slips import WORST_SCORE
from decks.tasks.card import MotifTag
from decks.tasks.lines import move_at, numbered
from decks.tasks.tried import tried
from patterns.detect import find_in
from patterns.engines.scores import HOLDS_WITHIN, PositionVerdicts, given_up
from patterns.lines import Use
from patterns.proof.played_line import own_moves_of, takes_in_the_end
from patterns.words.outcome import WINS


@dataclass(frozen=True)
class Cause:
    """The motif that decides the move, and how the moves use it.

    `refuted_by`: the square of the man that refutes a motif which only seems to be there; else empty.
    """

    tag: MotifTag
    uses: tuple[Use, ...] = ()
    refuted_by: str = ""

    def squares(self, board: chess.Board) -> tuple[str, ...]:
        """The squares that show the motif on the board, in the order a1, b1, ... h8."""
        return (self.refuted_by,) if self.refuted_by else _evidence(board, self.uses)


def cause_of(candidate: Candidate, verdicts: PositionVerdicts, order: Sequence[str]) -> Inquiry[Cause | Fell]:
    """The motif that explains the best move best. Of a lookalike, the one that only seems to be there.

    `order`: the wanted motifs, those to prefer first.
    """
    if verdicts.moves[verdicts.best].score < WORST_SCORE:
        return Fell.LOST
    board, played, holding = candidate.board, candidate.played, verdicts.holding()
    if len(holding) > most_holding(board, verdicts):
        return Fell.MANY_HOLD
    if candidate.is_slip and played is not None and verdicts.quality(played) == "holds":
        return Fell.NO_SLIP
    if tried(board, verdicts.best, verdicts).is_perpetual(board.turn):
        return Fell.NO_MOTIF  # the perpetual check decides, whatever else the moves take up
    if candidate.stroke is not None:
        return (yield from _seeming(candidate, verdicts, order))
    lines = lines_of(board, verdicts, holding)
    by_move = yield from uses_in(lines)
    deciding = causes(board, verdicts, by_move, order)
    motif = next(iter(deciding), "")
    if motif not in order:
        return Fell.NO_MOTIF
    return Cause(motif_tag(motif, board.turn), tuple(deciding[motif]))


def _seeming(candidate: Candidate, verdicts: PositionVerdicts, order: Sequence[str]) -> Inquiry[Cause | Fell]:
    """The motif that only seems to be there, and the man that refutes its stroke.

    The best move must not take up the same motif: then it would be there after all. Nor may the man that
    refutes the stroke fall in its line: then what seemed to be there is only played in another order. Where
    it mates, nobody is tempted by less. It has a motif of its own, and more than a level game: otherwise the
    student learns what fails, and nothing else.
    """
    board, stroke = candidate.board, candidate.stroke
    assert stroke is not None
    key = tried(board, verdicts.best, verdicts)
    if key.wins.mates:
        return Fell.NOTHING_TEMPTS
    if not key.is_better:
        return Fell.NO_MOTIF
    line = verdicts.moves[stroke].line
    if verdicts.quality(stroke) == "holds" or not line or tried(board, stroke, verdicts).is_better:
        return Fell.WORKS  # after which the mover still stands better has hardly failed
    (best,) = lines_of(board, verdicts, [verdicts.best])
    (uses,) = yield from uses_in([best])
    explained = explained_by(best, uses, order)
    own_moves = own_moves_of(board, [chess.Move.from_uci(move) for move in key.line])
    if candidate.motif in explained or takes_in_the_end(own_moves, chess.parse_square(line[0][:2])):
        return Fell.WORKS
    if not any(is_paid(use, key.wins) for own in explained.values() for use in own):
        return Fell.NO_MOTIF
    return Cause(motif_tag(candidate.motif, board.turn), refuted_by=line[0][:2])


def why_chosen(candidate: Candidate, verdicts: PositionVerdicts, tempts: Sequence[str]) -> str:
    """Why the position was taken, in words: the move played if it was a mistake, else what tempts.

    Of a lookalike it is always the stroke, whether or not it was played.
    """
    board, played = candidate.board, candidate.played
    if played is None or verdicts.quality(played) == "holds" or candidate.stroke not in (None, played):
        return f"{move_at(board, (tempts[0],), 1)} tempts and {what_it_costs(board, tempts[0], verdicts)}"
    return f"{numbered(board, (played,))[0]} was played and {what_it_costs(board, played, verdicts)}"


def what_it_costs(board: chess.Board, move: str, verdicts: PositionVerdicts) -> str:
    """What a move (UCI) that does not hold loses, or gives up where that costs no expected score, as a verb.

    `loses 0.34`, `only wins a knight`, `gives up the mate`, `does not win a rook`, `gives up 1.2 pawns`.
    """
    loss, measured = (
        round(verdicts.loss(move), 6),
        given_up(verdicts.moves[verdicts.best], verdicts.moves[move]),
    )
    if loss > HOLDS_WITHIN or measured is None:
        return f"loses {loss:.2f}"
    best, own = tried(board, verdicts.best, verdicts).wins, tried(board, move, verdicts).wins
    if own.words and own.words != best.words:
        return f"only {own.words}"
    if best.mates:
        return "gives up the mate"
    if best.words.startswith(WINS) and not own.words:
        return f"does not win {best.words.removeprefix(WINS)}"
    return f"gives up {measured / 100:.1f} pawns"


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
