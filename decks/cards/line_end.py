"""Where a card stops asking: with the last move that has to be found. The rest of its line is shown."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

import chess

from decks.tasks.card import Card, KeyMove
from decks.tasks.goal import MOST_SHOWN, goal_of_card
from decks.tasks.lines import CALM_PLIES, board_after, is_calm, legal_part, without_loops
from decks.tasks.tried import Tried, tried
from patterns.engines.scores import PositionVerdicts, clearly_fails_to_hold
from patterns.proof.captures import captured_worth, exchange

MOST_HOLDING = 2
"""Moves that may hold where one has to be found."""

MOST_IN_A_PLAN = 4
"""The same where the card begins with a quiet plan: several moves can serve it, and to see it is the task."""

HANGS = 2
"""Pawns: a man hangs if taking it wins so much, or if nothing guards it."""

FOLLOWS = 4
"""Plies that are shown after the last move asked where no gain comes in sight."""


def ended(card: Card, verdicts: Mapping[str, PositionVerdicts]) -> Card:
    """A new card with its goal; it asks for moves worth finding and shows the line until the gain is there.

    `verdicts`: by EPD, for every position in which the card asks for a move.
    """
    moves = card.moves_to_find()
    count = moves_worth_finding(card, verdicts) or len(moves)
    first, last = (verdicts[key.board.epd()] for key in (moves[0], moves[-1]))
    line = legal_part(card.board, (*card.line, *last.moves[moves[-1].move].line))
    asked = 2 * count - 1
    line = without_loops(card.board, line, asked)
    gain = Tried(card.board, line, first.moves[moves[0].move]).wins_within(asked + MOST_SHOWN)
    line = line[: max(asked, gain.plies)]
    goal = goal_of_card(replace(card, line=card.line[:asked]), first, gain)
    return replace(card, line=line, to_find=count if len(line) > asked else None, goal=goal)


def with_what_follows(card: Card, verdicts: Mapping[str, PositionVerdicts]) -> Card:
    """The card with a few more moves shown, if its line ends with the last move asked and no mate.

    A key proves nothing to the student who does not see how it goes on.
    """
    *_, last = card.moves_to_find()
    if len(card.line) > last.ply + 1:
        return card
    line = (*card.line, *verdicts[last.board.epd()].moves[last.move].line[:FOLLOWS])
    line = legal_part(card.board, line)
    return replace(card, line=line, to_find=len(card.moves_to_find())) if len(line) > len(card.line) else card


def moves_worth_finding(card: Card, verdicts: Mapping[str, PositionVerdicts]) -> int | None:
    """How many of the moves that the card asks have to be found, at least 1; None if verdicts are missing.

    `verdicts`: by EPD. A move that the coach calls good counts as one to find.
    """
    moves = card.moves_to_find()
    if not moves or any(key.board.epd() not in verdicts for key in moves):
        return None
    return max(_places_to_find(card, verdicts), default=1)


def is_worth_asking(card: Card, verdicts: Mapping[str, PositionVerdicts]) -> bool:
    """Whether the first move that the card asks has to be found. `verdicts`: by EPD, for all moves asked."""
    return next(_places_to_find(card, verdicts), None) == 1


def _places_to_find(card: Card, verdicts: Mapping[str, PositionVerdicts]) -> Iterator[int]:
    """Which of the student's moves, counted from 1, have to be found."""
    for place, key in enumerate(card.moves_to_find(), 1):
        if _has_to_be_found(card, key, verdicts[key.board.epd()]):
            yield place


def is_plan(board: chess.Board, verdicts: PositionVerdicts) -> bool:
    """Whether the best move is part of a quiet plan: nobody takes or checks in the moves that follow it."""
    line = (verdicts.best, *verdicts.moves[verdicts.best].line)
    return len(line) >= CALM_PLIES and is_calm(board, line)


def _has_to_be_found(card: Card, key: KeyMove, verdicts: PositionVerdicts) -> bool:
    if card.marks.get(key.ply, {}).get(key.move):
        return True
    return _few_hold(key, verdicts) and not _plays_itself(card, key, verdicts)


def _few_hold(key: KeyMove, verdicts: PositionVerdicts) -> bool:
    """Whether few moves hold and the others fall behind. A mate has to be found also where others win."""
    holding = verdicts.holding()
    most = MOST_IN_A_PLAN if key.ply == 0 and is_plan(key.board, verdicts) else MOST_HOLDING
    if len(holding) > most or len(verdicts.moves) == len(holding):
        return False
    mates = tried(key.board, key.move, verdicts).wins.mates
    best = verdicts.moves[verdicts.best]
    others = [verdicts.moves[move] for move in verdicts.moves if move not in holding]
    return mates or all(clearly_fails_to_hold(best, other, verdicts.borders) for other in others)


def _plays_itself(card: Card, key: KeyMove, verdicts: PositionVerdicts) -> bool:
    """Whether the move takes back, or it or another that holds takes a man that hangs.

    A capture that mates does neither. Where another man hangs too, and to take it is a mistake, a choice is
    left.
    """
    taken = {move[2:4] for move in verdicts.holding() if takes_what_hangs(key.board, move)}
    if taken:
        others = (move for move in verdicts.moves if move[2:4] not in taken)
        return not any(
            verdicts.quality(move) != "holds" and takes_what_hangs(key.board, move) for move in others
        )
    is_capture = key.board.is_capture(chess.Move.from_uci(key.move))
    return is_capture and _takes_back(card, key) and not board_after(key.board, [key.move]).is_checkmate()


def takes_what_hangs(board: chess.Board, uci: str) -> bool:
    """Whether a move (UCI) takes a man that hangs, and does not mate by it."""
    move = chess.Move.from_uci(uci)
    if not board.is_capture(move) or board_after(board, [uci]).is_checkmate():
        return False
    return exchange(board, move) >= min(captured_worth(board, move), HANGS)


def _takes_back(card: Card, key: KeyMove) -> bool:
    if key.ply == 0:
        return False
    before = board_after(card.board, card.line[: key.ply - 1])
    reply = chess.Move.from_uci(card.line[key.ply - 1])
    return before.is_capture(reply) and key.move[2:4] == chess.square_name(reply.to_square)
