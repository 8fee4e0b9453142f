"""Whether a motif decides the move, or is only on the board."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

import chess
import numpy as np

from decks.build.ranking import ranked
from decks.tasks.lines import is_calm
from decks.tasks.tried import examined, leads_to_named_mate, tried
from patterns.boards.exchange import capture_gain, exchange
from patterns.boards.positions import Positions
from patterns.catalogue import MOTIFS
from patterns.engines.scores import PositionVerdicts, given_up
from patterns.lines import Line, Use, uses_of_many
from patterns.lines.recaptures import without_recaptures
from patterns.motifs.findings import Finding
from patterns.proof.captures import worth_at
from patterns.proof.claims import EXCHANGE
from patterns.words.outcome import Outcome

UciLine = tuple[chess.Board, Sequence[str]]
"""A position and moves (UCI) from it on."""

UsesOf = Callable[[Sequence[Line]], list[list[Use]]]
"""A function like `patterns.lines.uses_of_many`."""

ATTACKS = ("fork", "skewer")
"""Motifs that are over when the man who attacks is taken."""

FAR_BEHIND = 150
"""Centipawns. Of 8 cards whose key won nothing and was less than this ahead, or only kept the game level, two
coaches would keep none as it stood, and of 30 others 20."""

MAY_MATE = 500
"""Centipawns. In three positions of 83 where such a move stood beside a mate, a deeper search found that it
mates too, only more slowly."""

NET = "mating-net"
"""The motif of mates that have a name."""

MAJORITY = "wing-majority"
"""Two coaches found a majority beside the point of every move that was filed under it."""


def lines_of(board: chess.Board, verdicts: PositionVerdicts, moves: Sequence[str]) -> list[UciLine]:
    """Each of these moves (UCI) with what the engine expects after it."""
    return [(board, (move, *verdicts.moves[move].line)) for move in moves]


def uses_of_lines(lines: Iterable[UciLine], uses_of: UsesOf = uses_of_many) -> list[list[Use]]:
    """What each line uses. Of a long line only the first plies are examined.

    Most of the time goes into the call, not into the lines.
    """
    return uses_of([(board, _moves(board, line)) for board, line in lines])


def causes(
    board: chess.Board, verdicts: PositionVerdicts, by_move: Sequence[list[Use]], order: Sequence[str]
) -> dict[str, list[Use]]:
    """The motifs that decide the move, the one that explains the best move best first; each with its uses.

    A motif decides if every move that holds takes it up, so that a move which doesn't take it up does not
    hold, and if it explains the best move, whose line keeps what it promises. `by_move`: what the line of
    each move that holds uses. `order`: motifs, those to prefer first.
    """
    common = set.intersection(*({use.motif for use in uses if use.ply == 1} for uses in by_move))
    ((_, line),) = lines_of(board, verdicts, [verdicts.best])
    uses = explaining(board, line, by_move[verdicts.holding().index(verdicts.best)])
    gain = tried(board, verdicts.best, verdicts).wins
    return _by_motif([use for use in uses if use.motif in common and is_paid(use, gain)], order)


def explained_by(line: UciLine, uses: Sequence[Use], order: Sequence[str]) -> dict[str, list[Use]]:
    """The motifs that explain the first move of a line, best first, with its uses; none if it is empty.

    `uses`: what the line uses. `order`: motifs, those to prefer first.
    """
    board, moves = line
    if not moves:
        return {}
    uses = without_recaptures(uses, board, _moves(board, moves), None)
    return _by_motif(explaining(board, moves, uses), order)


def explaining(board: chess.Board, line: Sequence[str], uses: Iterable[Use]) -> list[Use]:
    """Those of the uses of a line (UCI) that explain its first move.

    They are uses by the first move, and it is not obvious without them. A feature that stood on the board
    before (`Motif.taken_up`) explains a move only if the line takes it up again with its next move, or stays
    quiet. In a line of blows, something else is the point. A majority explains no single move. Where the
    reply takes the man who forks or skewers, that explains the move only if nothing else does. A mate that
    has a name is the explanation of the moves that lead to it.
    """
    uses = list(uses)
    first = chess.Move.from_uci(line[0])
    again = {use.motif for use in uses if use.ply == 2}
    calm = is_calm(board, line)

    def explains(use: Use) -> bool:
        stood = use.motif in MOTIFS and bool(MOTIFS[use.motif].taken_up)
        return use.motif != MAJORITY and (not stood or calm or use.motif in again)

    found = [use for use in uses if use.ply == 1 and explains(use) and not needs_no_motif(board, first, use)]
    found = [use for use in found if not _is_taken(use, line)] or found
    nets = [use for use in found if use.motif == NET]
    return nets if nets and leads_to_named_mate(board, line) else found


def _is_taken(use: Use, line: Sequence[str]) -> bool:
    """Whether the reply takes the one man who attacks by the first move of the line."""
    alone = use.actors == (line[0][:2],)
    return use.motif in ATTACKS and alone and len(line) > 1 and line[1][2:4] == line[0][2:4]


def pays(board: chess.Board, verdicts: PositionVerdicts) -> bool:
    """Whether the best move achieves enough for a card.

    It mates alone, it wins the exchange or more, or it leaves the mover better and every move that does not
    hold `FAR_BEHIND`.
    """
    key = tried(board, verdicts.best, verdicts)
    if key.wins.mates:
        return mates_alone(verdicts)
    if key.wins.pawns >= EXCHANGE:
        return True
    best = verdicts.moves[verdicts.best]
    others = [verdicts.moves[move] for move in verdicts.moves if verdicts.quality(move) != "holds"]
    behind = [given_up(best, other) for other in others]
    return key.is_told_better and all(many is None or many >= FAR_BEHIND for many in behind)


def mates_alone(verdicts: PositionVerdicts) -> bool:
    """Whether beside the moves that mate no other is winning so clearly that it may mate too."""
    others = (one for move, one in verdicts.moves.items() if verdicts.quality(move) != "holds")
    return all(one.mate is not None or (one.centipawns or 0) < MAY_MATE for one in others)


def is_paid(use: Use, gain: Outcome) -> bool:
    """Whether the line keeps what a use promises. `gain`: what its side gets from the line.

    The line plays it out, and wins the exchange or more if so much is promised: what they take for it in
    between is counted too. To a promise of a pawn, a pawn is enough.
    """
    return use.shown and (not use.wins or gain.mates or gain.pawns >= min(use.wins, EXCHANGE))


def _by_motif(uses: Sequence[Use], order: Sequence[str]) -> dict[str, list[Use]]:
    return {motif: [use for use in uses if use.motif == motif] for motif in ranked(uses, order)}


def _moves(board: chess.Board, line: Sequence[str]) -> list[chess.Move]:
    """The moves of a line (UCI) that are examined."""
    return [chess.Move.from_uci(uci) for uci in examined(board, line)]


def needs_no_motif(board: chess.Board, move: chess.Move, seen: Finding | Use) -> bool:
    """Whether a move is obvious without the motif: it captures a hanging man, or saves one of its own.

    `seen`: the motif as it is seen or used. A capture needs the motif if it takes one of its targets, or if
    one of them is worth more than what it wins; a checkmate always needs it. A quiet move that saves a man
    needs it if it gives check, or if a target, the king aside, is worth more than this man.
    """
    after = board.copy(stack=False)
    after.push(move)
    if after.is_checkmate():
        return False
    turn = 0 if board.turn == chess.WHITE else 56
    boards = Positions.from_boards([board]).side_view(board.turn)
    origin, destination = np.array([move.from_square ^ turn]), np.array([move.to_square ^ turn])
    if board.is_capture(move):
        target = chess.SQUARE_NAMES[move.to_square] in seen.targets
        won = int(exchange(boards, origin, destination)[0])
        return not target and won > 0 and won >= _at_stake(board, seen)
    hangs = bool(capture_gain(boards, origin, "them")[0] > 0)
    wins_more = worth_at(board, move.from_square) < _at_stake(board, seen) < math.inf
    return hangs and not wins_more and not after.is_check()


def _at_stake(board: chess.Board, seen: Finding | Use) -> float:
    """The worth in pawns of the best man, other than the king, that a motif is aimed at.

    If it is aimed at the king alone, no capture is worth as much.
    """
    targets = [chess.parse_square(name) for name in seen.targets]
    men = [square for square in targets if board.piece_type_at(square) != chess.KING]
    if targets and not men:
        return math.inf
    return max((worth_at(board, square) for square in men), default=0)
