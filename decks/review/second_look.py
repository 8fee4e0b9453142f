"""A second look at a contested answer: what an engine is asked, and what comes of its verdicts. Pure.

Only a refused move can be looked at again. The loss is the difference of two scores of one search, and a
second look never lowers a grade.
"""

from __future__ import annotations

from dataclasses import replace

from decks.memory.answers import LOOKED_AT_AGAIN
from decks.review.attempt import Given, SecondLook
from decks.review.grading import grade_of
from decks.review.messages import LookAgain, SaveDecision
from decks.tasks.card import GRADES
from decks.tasks.task import Task
from patterns.engines.scores import SLIPS_WITHIN, PositionVerdicts
from patterns.engines.strength import UNVERIFIED_BELOW


def second_look(task: Task, given: Given) -> LookAgain | None:
    """What to ask an engine about a contested answer; None if only the coach can decide.

    The coach also decides if an engine has been asked already. The depth is that of the key, but never less
    than what a verified verdict needs.
    """
    refused = given.mark.refused(task)
    if refused is None or given.second_look is not None:
        return None
    verdicts = task.verdicts[refused.board.epd()]
    if verdicts.best == refused.move:
        return None
    depth = max(verdicts.moves[verdicts.best].depth, UNVERIFIED_BELOW)
    return LookAgain(task, given.ask, refused.board, (verdicts.best, refused.move), depth)


def decision(task: Task, given: Given, verdicts: PositionVerdicts) -> SaveDecision | None:
    """The decision on a contested answer, from new verdicts on its refused move and the best one.

    None if the best move is not what it was when the whole position was judged: then another move may be
    better than both, and the coach has to look at the card. What a move may lose stays as it was.
    """
    before = task.verdicts[verdicts.epd]
    if verdicts.moves[verdicts.best].score < before.moves[before.best].score - SLIPS_WITHIN:
        return None
    verdicts = replace(verdicts, settled=before.settled)
    anew = task.judged_anew(verdicts)
    mark = given.mark.judged_anew(verdicts)
    grade = grade_of(mark.score, given.hints, given.seconds, task.fluent_within.get(given.ask))
    mended = GRADES.index(grade) > GRADES.index(given.grade)
    look = SecondLook(verdicts.engine, verdicts.least_depth, mended)
    looked = replace(given, second_look=look)
    if mended:
        looked = replace(looked, mark=mark, score=mark.score, grade=grade)
    reason = f"{LOOKED_AT_AGAIN}{look.engine}, {look.depth} plies: {looked.mark.reason(anew)}"
    return SaveDecision(anew, looked, reason)
