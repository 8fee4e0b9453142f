"""The goal of a card: what its best moves achieve. It is told with the question, as chess books do. Pure."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

import chess

from decks.tasks.card import Card, Goal
from decks.tasks.lines import is_calm
from decks.tasks.tried import tried
from patterns.engines.scores import SURE_MATE, MoveVerdict, PositionVerdicts, verdict_from_expected
from patterns.words.outcome import Outcome
from patterns.words.wording import side_name

DECISIVE, CLEAR = 3, 2
"""Strengths of a verdict."""

WINS_FROM = 200
"""Centipawns from which a position is called won: readers of cards did not believe it of less."""

MOST_SHOWN = 10
"""Plies that are shown after the last move asked. A gain that comes later is too far off to be seen."""

FULL_BOARD = 6
"""Pieces without kings and pawns. With so many nobody speaks of holding a draw, except by perpetual check."""

FEW = 2
"""If the key is one of so few moves that look like the goal, the goal gives it away."""

_TOLD: Mapping[Goal, str] = MappingProxyType(
    {
        "mate": "{} to move: find the mate.",
        "win-material": "{} to move and win material.",
        "win": "{} to move and win.",
        "draw": "{} to move: hold the draw.",
        "improve": "{} to move: improve the position.",
    }
)

_LOOKS_LIKE: Mapping[Goal, Callable[[chess.Board, chess.Move], bool]] = MappingProxyType(
    {"mate": chess.Board.gives_check, "win-material": chess.Board.is_capture}
)
"""The moves that a student who knows the goal tries first."""


def goal_of_card(card: Card, verdicts: PositionVerdicts, gain: Outcome | None = None) -> Goal | None:
    """The goal that a card tells with its question, by the verdicts on its position.

    `gain`: as for `goal_of`. There is none where its first motif is the other side's: the task is to prevent
    it, and what the best move achieves besides would mislead. Nor is it to win material where a move that
    does not hold wins some too and stays better: the student who wins it so would not see what is asked.
    """
    if card.motifs and card.motifs[0].side != chess.COLOR_NAMES[card.board.turn]:
        return None
    goal = goal_of(card.board, card.line, verdicts, gain)
    return None if goal == "win-material" and _others_win_too(card.board, verdicts) else goal


def goal_of(
    board: chess.Board, line: tuple[str, ...], verdicts: PositionVerdicts, gain: Outcome | None = None
) -> Goal | None:
    """The goal of a position whose line (UCI) begins with the key; None if the mover stands worse in the end.

    `gain`: what the mover wins in the line that will be shown, if that is another than the engine's first.
    Material is won only where the gain comes in sight: no more than MOST_SHOWN plies after the line.
    It is a draw only where every move that does not hold leaves the mover clearly worse; on a full board only
    if it is a perpetual check, otherwise None. A position is improved only by a quiet move with nothing but
    quiet moves to follow: of a blow nobody says so. A mate that is too long to be sure that other moves don't
    mate is a win.
    """
    key = tried(board, line[0], verdicts, line)
    if key.wins.mates:
        return "mate" if (key.verdict.mate or 1) <= SURE_MATE else "win"
    is_winning = key.is_better and key.standing.strength == DECISIVE and _wins_enough(key.verdict)
    # A pawn alone is not why a position is won, and without an advantage it is only won back.
    wins = key.wins_within(len(line) + MOST_SHOWN) if gain is None else gain
    counts = wins.pawns > 1 or (key.standing.strength >= CLEAR and not is_winning)
    if key.is_better and wins.words and counts:
        return "win-material"
    if is_winning:
        return "win"
    improves: Goal | None = "improve" if is_calm(board, key.line) else None
    if key.is_better:
        return improves
    if not key.is_level:
        return None
    others = [verdicts.moves[move].score for move in verdicts.moves if verdicts.quality(move) != "holds"]
    second = verdict_from_expected(max(others, default=0.5))
    if second.side != "black" or second.strength < CLEAR:
        return improves
    few = chess.popcount(board.occupied & ~board.pawns & ~board.kings) < FULL_BOARD
    return "draw" if few or key.is_perpetual(board.turn) else None


def _others_win_too(board: chess.Board, verdicts: PositionVerdicts) -> bool:
    others = (move for move in verdicts.moves if verdicts.quality(move) != "holds")
    return any(one.is_better and one.wins.words for one in (tried(board, move, verdicts) for move in others))


def _wins_enough(verdict: MoveVerdict) -> bool:
    return verdict.centipawns is None or verdict.centipawns >= WINS_FROM


def goal_told(board: chess.Board, goal: Goal | None, key: str) -> str:
    """The goal and who is to move, as a sentence; empty if there is no goal or it would give the key away.

    >>> board = chess.Board("6k1/5ppp/8/8/8/8/8/K2R4 w - - 0 1")
    >>> goal_told(board, "mate", "d1d8"), goal_told(board, "win", "d1d8")
    ('', 'White to move and win.')
    """
    if goal is None or _gives_away(board, goal, chess.Move.from_uci(key)):
        return ""
    return _TOLD[goal].format(side_name(board.turn))


def _gives_away(board: chess.Board, goal: Goal, key: chess.Move) -> bool:
    fits = _LOOKS_LIKE.get(goal)
    if fits is None or not fits(board, key):
        return False
    return sum(fits(board, move) for move in board.legal_moves) <= FEW
