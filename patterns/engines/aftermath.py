"""What comes after a move: searches that show what can be told of it for certain.

The rounds of a judging compare moves. Of a move that is far from the best they only show that it is, so its
score and its line are those of a shallow search. Here such moves are searched each alone, and so is the end
of every line that something is told of: what was won on the way counts only if it is still worth it there.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial

import chess

from patterns.engines.effort import Aftermath
from patterns.engines.quiet_lines import LONGEST, quiet_line
from patterns.engines.rounds import as_verdict
from patterns.engines.rule_ends import before_reply, reading_by_rule
from patterns.engines.scores import MoveVerdict, PositionVerdicts
from patterns.engines.uci import Reading

Read = Callable[[chess.Board, int], Reading]
"""Searches a position that is not over so many plies deep, for the side to move."""

ON_PLIES = 8
"""Plies of the short searches that lead a line to its quiet end: enough to see the captures to come."""


DECIDED, EVEN = 0.05, 0.01
"""Expected score: so near to won or lost, or to one half, a deeper search hardly changes it. Of 14 scores
between, 6 belonged to other words at 16 plies than at 400,000 nodes, at 20 plies one."""


def with_aftermath(
    verdicts: PositionVerdicts, board: chess.Board, effort: Aftermath, read: Read
) -> PositionVerdicts:
    """The verdicts with what was found of each move by itself. Which moves hold does not change.

    A move that fails and turns out to lose too little for that is unclear: it slips.
    """
    ranked = verdicts.ranked()
    moves = dict(verdicts.moves)
    for quality in ("holds", "slips", "fails"):
        for uci in [move for move in ranked if verdicts.quality(move) == quality][: effort.moves]:
            if quality == "fails":
                alone = _alone(board, uci, effort, read) or moves[uci]
                moves[uci] = _as_compared(verdicts, moves[uci], alone)
            moves[uci] = replace(moves[uci], end=_end(board, uci, moves[uci], effort.end_plies, read))
    found = replace(verdicts, moves=moves)
    return replace(found, moves={uci: moves[uci] for uci in found.ranked()})


def _as_compared(verdicts: PositionVerdicts, compared: MoveVerdict, alone: MoveVerdict) -> MoveVerdict:
    """The verdict of a search of one move alone, as far as the rounds, where moves were compared, allow it.

    The move gives up no fewer centipawns than there, and no less expected score than lies between slipping
    and failing.
    """
    if alone.mate is None and compared.centipawns is not None and alone.centipawns is not None:
        alone = replace(alone, centipawns=min(compared.centipawns, alone.centipawns))
    most = round(verdicts.moves[verdicts.best].score - verdicts.borders.slips, 6)
    if alone.score < most:
        return alone
    if alone.mate is not None:
        alone = replace(alone, mate=None, centipawns=compared.centipawns)
    return replace(alone, score=most, unclear=True)


def _alone(board: chess.Board, uci: str, effort: Aftermath, read: Read) -> MoveVerdict | None:
    """The verdict on a move by a search of the position after it; None if the rules end the game there."""
    move = chess.Move.from_uci(uci)
    child = _after(board, [uci])
    if reading_by_rule(child) is not None:
        return None
    reply, plies = read(child, effort.plies), effort.plies
    if effort.open_plies > plies and _is_open(reply.score):
        reply, plies = read(child, effort.open_plies), effort.open_plies
    found = before_reply(move, reply, plies + 1)
    go_on = partial(_expected, read)
    line = quiet_line(board, found.line, LONGEST + 1, go_on)
    return as_verdict(found, tuple(one.uci() for one in line[1:]))


def _is_open(score: float) -> bool:
    return DECIDED < score < 1 - DECIDED and round(abs(score - 0.5), 6) > EVEN


def _expected(read: Read, board: chess.Board) -> Sequence[chess.Move]:
    return read(board, ON_PLIES).line


def _end(board: chess.Board, uci: str, verdict: MoveVerdict, plies: int, read: Read) -> float:
    """The mover's expected score at the end of the line."""
    end = _after(board, [uci, *verdict.line])
    found = reading_by_rule(end) or read(end, plies)
    return found.score if end.turn == board.turn else 1.0 - found.score


def _after(board: chess.Board, line: Sequence[str]) -> chess.Board:
    end = board.copy(stack=False)
    for uci in line:
        end.push_uci(uci)
    end.clear_stack()
    return end
