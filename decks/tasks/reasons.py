"""Why a move slips or fails: what it comes to, and what the right move comes to. Pure.

Mate, men and standing follow from the stored verdicts. Men are told only if they fall soon, and if the score
at the end of the line agrees with the one before it. Where no mate and no men can be told, the sentence says
how the mover stands, the men that speak for it, and what the move is about.
"""

from __future__ import annotations

import chess

from decks.tasks.tried import Tried, tried
from patterns.engines.scores import PositionVerdicts
from patterns.words.outcome import WINS, Outcome
from patterns.words.wording import side_name

PAWN_EXPLAINS = 0.4
"""The largest loss of expected score that a pawn can explain; with a larger one the standing is told too."""


def why(board: chess.Board, move: str, verdicts: PositionVerdicts, line: tuple[str, ...]) -> str:
    """What the move (UCI) comes to and what the right move comes to, with a full stop but no capital letter.

    `line`: the card's line from here. Its move is the right one if it holds, else the engine's best.
    """
    right = line[0] if verdicts.quality(line[0]) == "holds" or verdicts.best == move else verdicts.best
    own = tried(board, move, verdicts)
    best = tried(board, right, verdicts, () if verdicts.moves[right].end is not None else line)
    if (
        move == verdicts.best or own.verdict.score > best.verdict.score
    ):  # the coach refuses what the engine likes
        return f"{_stands_after(own)}; the card's move is {best.move}."
    return f"{_comes_to(own, best)}; {_would_have(best, own)}."


def _comes_to(own: Tried, best: Tried) -> str:
    """What the wrong move comes to: mate, men lost, a draw, less than it could; else how the mover stands."""
    other = side_name(not own.board.turn)
    if own.end.is_stalemate() and not own.reply:
        return "it is stalemate"
    if own.is_perpetual(not own.board.turn):
        return f"after {own.reply} {other} draws by perpetual check"
    if _loses_more(own, best):
        return _lost(own, best, other)
    if own.is_told_better and _comes(own, own.wins_soon) and _wins_more(best, own):
        return f"it only {own.wins_soon.words}"
    return _stands_after(own)


def _lost(own: Tried, best: Tried, other: str) -> str:
    """What the other side gains. Nobody is said to win anything from a mover who is not worse after it."""
    lost = _gained(own.reply, own.loses_soon, 2, other)
    if not own.is_told_worse and own.loses_soon.words.startswith(WINS):
        lost = f"it costs {own.loses_soon.words.removeprefix(WINS)} after {own.reply}"
    is_small = own.loses_soon.pawns == 1 and best.verdict.score - own.verdict.score > PAWN_EXPLAINS
    return lost if own.is_told_worse and not is_small else f"{lost}, and {_stands(own)}"


def _stands_after(own: Tried) -> str:
    if not own.reply:
        return _stands(own)
    material = f" and comes out {own.material}" if own.material else ""
    return f"after {own.reply}{_in_brackets(own.point_of_reply)} {_stands(own)}{material}"


def _stands(own: Tried) -> str:
    if own.is_told_better:
        return f"{side_name(own.board.turn)} is still {own.stands}"
    return own.game


def _in_brackets(words: str) -> str:
    return f" ({words})" if words else ""


def _would_have(best: Tried, own: Tried) -> str:
    """What the right move comes to; where the wrong one comes to that too, only that it keeps more."""
    if best.is_perpetual(best.board.turn):
        return f"{best.move} draws by perpetual check"
    if _wins_more(best, own):
        return _gained(best.move, best.wins_soon, 1, side_name(best.board.turn))
    if own.stands == best.stands:
        return f"{best.move} {'avoids that' if _loses_more(own, best) else 'keeps more'}"
    move = f"{best.move}{_in_brackets(best.point)}"
    return f"{move} keeps the balance" if best.is_level else f"after {move} {best.game}"


def _comes(tried: Tried, gain: Outcome) -> bool:
    return gain.mates or (bool(gain.words) and tried.comes(gain.plies))


def _wins_more(best: Tried, own: Tried) -> bool:
    """Whether the right move wins men, or more men. Who is not better after it has only won them back."""
    if best.wins_soon.mates:
        return True
    return best.is_told_better and _comes(best, best.wins_soon) and best.wins_soon.pawns > own.wins_soon.pawns


def _loses_more(own: Tried, best: Tried) -> bool:
    lost = own.loses_soon
    return lost.mates or (_comes(own, lost) and lost.pawns > best.loses_soon.pawns)


def _gained(move: str, gain: Outcome, own: int, side: str) -> str:
    """What the move gains: the move alone if the first `own` plies show it, else the moves after it."""
    return f"{move} {gain.words}" if gain.mates or gain.plies <= own else f"after {move} {side} {gain.words}"
