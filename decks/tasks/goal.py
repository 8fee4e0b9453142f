"""The goal of a card: what its best moves achieve. It is told with the question, as chess books do. Pure."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

import chess

from decks.tasks.card import Card, Goal
from decks.tasks.lines import is_calm, numbered
from decks.tasks.tried import Tried, tried
from patterns.engines.scores import SURE_MATE, PositionVerdicts, verdict_from_expected
from patterns.words.outcome import Outcome
from patterns.words.wording import number, side_name

DECISIVE, CLEAR = 3, 2
"""Strengths of a verdict."""

WINS_FROM = 200
"""Centipawns from which a position is called won: readers of cards did not believe it of less."""

MOST_SHOWN = 10
"""Plies that are shown after the last move asked. A gain that comes later is too far off to be seen."""

FULL_BOARD = 6
"""Pieces without kings and pawns. With so many nobody speaks of holding a draw, except by perpetual check."""

NEARLY_AS_MUCH = 0.5
"""A move that wins this share of what the key wins is taken for it; a pawn isn't where a queen can be won."""

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

_LOOKS_LIKE: Mapping[Goal, tuple[str, Callable[[chess.Board, chess.Move], bool]]] = MappingProxyType(
    {"mate": ("check", chess.Board.gives_check), "win-material": ("capture", chess.Board.is_capture)}
)
"""The moves that a student who knows the goal tries first: what they are called, and which they are."""


def goal_of_card(card: Card, verdicts: PositionVerdicts, gain: Outcome | None = None) -> Goal | None:
    """The goal that a card tells with its question, by the verdicts on its position.

    `gain`: as for `goal_of`. Where its first motif is the other side's, the task is to prevent it: a win or a
    better position that the mover has already is no goal then. Nor is it to win material where a move that
    does not hold wins half as much or more and stays better: the student who wins it so would not see what is
    asked. There it is to win, if no such move does.
    """
    goal = goal_of(card.board, card.line, verdicts, gain)
    if goal == "win-material" and (rivals := _that_win_too(card, verdicts, gain)):
        best = tried(card.board, card.line[0], verdicts, card.line)
        goal = (
            "win" if _is_won(best) and not any(one.standing.strength == DECISIVE for one in rivals) else None
        )
    return None if goal in ("win", "improve") and _prevents(card) else goal


def why_no_goal(card: Card, verdicts: PositionVerdicts) -> str:
    """Why a card without a goal gets none, as a clause; empty if it would get one."""
    if goal_of_card(card, verdicts) is not None:
        return ""
    best = tried(card.board, card.line[0], verdicts, card.line)
    goal = goal_of(card.board, card.line, verdicts)
    if goal == "win-material":
        other = _that_win_too(card, verdicts)[0]
        quality = verdicts.quality(other.line[0])
        return f"'win material' would mislead: {other.move} {other.wins.words} too, and {quality}"
    if goal is not None:
        theirs = card.motifs[0].side.capitalize()
        return f"the motif is {theirs}'s, so the task is to prevent it, and '{goal}' would mislead"
    side = side_name(card.board.turn)
    if best.is_better:
        return (
            f"{side} is only better after {best.move}: nothing is won for sure, and captures or checks follow"
        )
    if best.is_level:
        return f"the game is only level after {best.move}, and captures or checks follow"
    return f"{side} stands worse after {best.move} too"


def _prevents(card: Card) -> bool:
    return bool(card.motifs) and card.motifs[0].side != chess.COLOR_NAMES[card.board.turn]


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
    is_winning = _is_won(key)
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


def _that_win_too(card: Card, verdicts: PositionVerdicts, gain: Outcome | None = None) -> list[Tried]:
    """The moves that do not hold, but win enough to be taken for the move asked, best first."""
    key = tried(card.board, card.line[0], verdicts, card.line)
    least = NEARLY_AS_MUCH * (gain or key.wins_within(len(card.line) + MOST_SHOWN)).pawns
    others = (
        tried(card.board, move, verdicts) for move in verdicts.ranked() if verdicts.quality(move) != "holds"
    )
    return [one for one in others if one.is_better and one.wins.words and one.wins.pawns >= least]


def _is_won(key: Tried) -> bool:
    """Whether the position is won after the move, by expected score and by the engine's own measure."""
    measured = key.verdict.centipawns
    return key.is_better and key.standing.strength == DECISIVE and (measured is None or measured >= WINS_FROM)


def goal_told(board: chess.Board, goal: Goal | None, key: str) -> str:
    """The goal and who is to move, as a sentence; empty if there is no goal or it would give the key away.

    >>> board = chess.Board("6k1/5ppp/8/8/8/8/8/K2R4 w - - 0 1")
    >>> goal_told(board, "mate", "d1d8"), goal_told(board, "win", "d1d8")
    ('', 'White to move and win.')
    """
    if goal is None or why_kept_back(board, goal, key):
        return ""
    return _TOLD[goal].format(side_name(board.turn))


def why_kept_back(board: chess.Board, goal: Goal, key: str) -> str:
    """Why a goal is not told, as a clause; empty if it gives nothing away. `key`: the first move (UCI).

    >>> why_kept_back(chess.Board("6k1/5ppp/8/8/8/8/8/K2R4 w - - 0 1"), "mate", "d1d8")
    'the goal would give the move away: 1. Rd8# is the only check'
    """
    move = chess.Move.from_uci(key)
    kind, fits = _LOOKS_LIKE.get(goal, ("", None))
    if fits is None or not fits(board, move):
        return ""
    count = sum(fits(board, other) for other in board.legal_moves)
    if count > FEW:
        return ""
    few = f"the only {kind}" if count == 1 else f"one of {number(count)} {kind}s"
    return f"the goal would give the move away: {numbered(board, (key,))[0]} is {few}"
