"""What grades rest on in every position that a card asks about: which moves hold, slip and fail. Pure."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from decks.asks.catalogue import moves_judged
from decks.asks.play_mark import StudentMove, judged
from decks.tasks.card import KeyMove
from decks.tasks.defences import defence_played
from decks.tasks.lines import board_after, numbered
from decks.tasks.task import Task
from decks.tasks.tried import Tried, tried
from patterns.engines.scores import PositionVerdicts, Quality, shown_score
from patterns.reading.text import counted, safe
from patterns.words.verdicts import standing

NO_VERDICTS = "no verdicts yet: `rondeau check` adds them"

FAILING_SHOWN = 4
"""Failing moves that are told one by one: those that come nearest to holding. A longer list is not read."""

LINE_PLIES = 6
"""Plies of a continuation that are shown: enough to see what wins or loses, short enough for a row."""

REASON_LIMIT = 400
"""Characters of a decision that are shown."""

_QUALITIES: tuple[Quality, ...] = ("holds", "slips", "fails")


def verdict_lines(task: Task, played: Collection[str] = ()) -> list[str]:
    """For each position asked: its effort, then its moves, best first.

    `played`: moves (UCI) that are told one by one even if they are hopeless.
    """
    lines = []
    for key in moves_judged(task.card):
        verdicts = task.verdicts.get(key.board.epd())
        move = numbered(key.board, (key.move,))[0]
        if verdicts is None:
            lines += ["", f"Instead of {move}: {NO_VERDICTS}"]
            continue
        after = f"After {defence_played(task.card, key)}, before" if key.defence else "Before"
        lines += ["", f"{after} {move} ({effort(verdicts)})", *_moves(task, key, verdicts, played)]
    return lines[1:]


def ruling_lines(task: Task) -> list[str]:
    """What was decided on moves that students contested: it counts, whatever the engine says."""
    return [
        safe(
            f"Contested, and decided on {ruling.day}: {numbered(key.board, (move,))[0]} {ruling.quality}"
            f" ({ruling.reason})",
            REASON_LIMIT,
        )
        for key in moves_judged(task.card)
        for move, ruling in task.rulings.get(key.place, {}).items()
    ]


def effort(verdicts: PositionVerdicts) -> str:
    """Who judged a position, and how well: `Stockfish 15.1, 21 plies, settled`."""
    settled = "settled" if verdicts.settled else "not settled"
    return safe(f"{verdicts.engine}, {counted(verdicts.least_depth, 'ply', 'plies')} at least, {settled}")


def _moves(task: Task, key: KeyMove, verdicts: PositionVerdicts, played: Collection[str]) -> Iterator[str]:
    by_quality: dict[Quality, list[StudentMove]] = {quality: [] for quality in _QUALITIES}
    for move in sorted(verdicts.moves, key=lambda move: -verdicts.moves[move].score):
        graded = judged(task, key, move)
        by_quality[graded.quality].append(graded)
    told = {*played, *key.marks, *task.rulings.get(key.place, {})}
    hopeless = [one.move for one in by_quality["fails"][FAILING_SHOWN:] if one.move not in told]
    for moves in by_quality.values():
        for graded in moves:
            if graded.move not in hopeless:
                yield f"  {_grade(graded, verdicts)}: {_move(key, graded.move, verdicts)}"
    if hopeless:
        best = tried(key.board, hopeless[0], verdicts)
        yield f"  fails: {counted(len(hopeless), 'other move')}, {_standing(best)} at best"


def _grade(graded: StudentMove, verdicts: PositionVerdicts) -> str:
    """The quality that counts, and whose word it is where the engine says otherwise."""
    by_engine = verdicts.quality(graded.move)
    if graded.quality == by_engine:
        return graded.quality
    whose = "by the coach" if graded.by_coach else "as it was decided"
    return f"{graded.quality}, {whose} (the engine: {by_engine})"


def _move(key: KeyMove, move: str, verdicts: PositionVerdicts) -> str:
    """The move, how the mover then stands (expected score 0..1), and the line that proves or punishes it."""
    own = tried(key.board, move, verdicts, key.line)
    words = own.wins.words if own.wins.mates else _standing(own)
    follows = own.line[1 : LINE_PLIES + 1]
    shown = " ".join(numbered(board_after(key.board, (move,)), follows))
    more = " ..." if len(own.line) > len(follows) + 1 else ""
    return f"{own.move}, {words} ({shown_score(own.verdict.score):.2f}){f': {shown}{more}' if shown else ''}"


def _standing(own: Tried) -> str:
    """The verdict on the mover's position in words, by the score that stands beside it."""
    return standing(own.standing, "white")
