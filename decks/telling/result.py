"""What is said once a card is answered, and when the session closes. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING

import chess

from decks.cards.card import GRADES, Grade, MotifTag
from decks.cards.verdicts_file import legal_part
from decks.memory.answers import RIGHT_GRADES
from decks.review.attempt import Attempt, Given, RootMark, board_after
from decks.review.evidence import key_findings, motif_title
from decks.review.grading import AssessMark, PlayMark, SpotMark
from decks.review.playback import lines_to_show, move_at, numbered
from decks.review.session import State
from decks.telling.marked_ballot import assess_reason
from decks.telling.shown import ASK_TITLES, Paragraph, rounded_minutes
from patterns.reading.text import counted, safe
from patterns.words.outcome import Outcome, outcome
from patterns.words.wording import listed, sentence, side_name

if TYPE_CHECKING:
    from patterns.engines.scores import PositionVerdicts
    from patterns.motifs.findings import Finding

COMMENT_LIMIT = 2000
"""Characters of a coach's comment that are shown."""

PAWN_EXPLAINS = 0.4
"""Loss of expected score that a single pawn can account for; where more is lost it is not what matters."""

GRADE_WORDS: Mapping[Grade, str] = MappingProxyType(
    {
        "missed": "missed",
        "helped": "with help",
        "partly": "partly right",
        "found": "found",
        "fluent": "found, and inside your usual time",
    }
)


def result(state: State) -> list[Paragraph]:
    """Everything about the card just answered: grades with reasons, evidence, the coach, when it returns."""
    attempt = state.attempt
    assert attempt is not None
    paragraphs = []
    for given in attempt.given:
        paragraphs += [Paragraph(_headline(given), "grade"), Paragraph(reason(attempt, given))]
    paragraphs += [Paragraph(text) for text in _evidence(attempt)]
    paragraphs += [Paragraph(text) for text in _comments(attempt)]
    paragraphs.append(Paragraph(returns(attempt), "faint"))
    return paragraphs


def _headline(given: Given) -> str:
    contested = " (contested)" if given.contested else ""
    return f"{ASK_TITLES[given.ask].capitalize()}: {GRADE_WORDS[given.grade]}{contested}"


def reason(attempt: Attempt, given: Given) -> str:
    """One sentence that says why the answer got its grade."""
    match given.mark:
        case PlayMark():
            return _play_reason(attempt, given.mark)
        case AssessMark():
            return assess_reason(given.mark)
        case SpotMark():
            return _spot_reason(given.mark)
        case RootMark():
            return _root_reason(attempt, given.mark)


def _play_reason(attempt: Attempt, mark: PlayMark) -> str:
    card, decided = attempt.task.card, mark.decided
    if decided is None:
        return "No move was played."
    if not mark.left_line and decided.quality == "holds":
        own = numbered(card.board, attempt.played)[::2]
        return f"{listed(own)}: that is the line."
    place = len(attempt.moves) - 1 if decided is attempt.moves[-1] else attempt.moves.index(decided)
    before = board_after(card.board, attempt.played[: 2 * place])
    verdicts = attempt.task.verdicts[before.epd()]
    move = numbered(before, (decided.move,))[0]
    best = before.san(chess.Move.from_uci(verdicts.best))
    own_score, best_score = verdicts.moves[decided.move].score, verdicts.moves[verdicts.best].score
    if decided.quality == "holds":
        if verdicts.best == decided.move:
            return f"{move} is best, though the card's line goes another way; it ends here."
        other = f"expected score {own_score:.2f}, against {best_score:.2f} for {best}"
        return f"{move} isn't in the card's line, but it holds as well ({other}); the card ends here."
    lead = f"{move} {decided.quality} (expected score {own_score:.2f}, against {best_score:.2f} for {best})"
    return lead + _why(before, decided.move, verdicts, card.line[2 * place :])


def _why(before: chess.Board, move: str, verdicts: PositionVerdicts, key: tuple[str, ...]) -> str:
    """What the move costs: what they win by it, else what the best move would have won; then a full stop.

    `key`: the card's line from here, which may tell more of the best move than the engine's.
    """
    us = before.turn
    played, best = (
        legal_part(before, (first, *verdicts.moves[first].line)) for first in (move, verdicts.best)
    )
    best = key if key[0] == verdicts.best and len(key) > len(best) else best
    theirs, missed = outcome(before, played, not us), outcome(before, best, us)
    reply = numbered(board_after(before, (move,)), played[1:2])
    small = verdicts.loss(move) <= PAWN_EXPLAINS
    if reply and theirs.words and (theirs.mates or not missed.mates) and (small or theirs.pawns != 1):
        return f": {_gained(reply[0], theirs, 2, side_name(not us))}."
    more = missed.pawns > outcome(before, played, us).pawns and (small or missed.pawns != 1)
    if missed.words and (missed.mates or more):
        return f": {_gained(numbered(before, best[:1])[0], missed, 1, side_name(us))}."
    taken_back = before.is_capture(chess.Move.from_uci(move)) and played[1:2] and played[1][2:4] == move[2:4]
    return (
        f": {reply[0]} punishes it."
        if reply and verdicts.quality(move) == "fails" and not taken_back
        else "."
    )


def _gained(move: str, gain: Outcome, own: int, side: str) -> str:
    """What the move gains: it alone, where the first `own` plies of the line show it, or what follows it."""
    return f"{move} {gain.words}" if gain.mates or gain.plies <= own else f"after {move} {side} {gain.words}"


def _spot_reason(mark: SpotMark) -> str:
    names = (
        ("right", mark.right),
        ("not there", mark.wrong),
        ("left out", mark.left_out),
        ("there too, but not what matters most", mark.also),
    )
    squares = (
        ("pointed to", mark.squares_hit),
        ("beside the point", mark.squares_wrong),
        ("not pointed to", mark.squares_left_out),
    )
    parts = [
        f"{told}: {listed(motif_title(motif) for motif in sorted(these))}" for told, these in names if these
    ]
    parts += [f"{told}: {listed(sorted(these))}" for told, these in squares if these]
    return sentence("; ".join(parts))


def _root_reason(attempt: Attempt, mark: RootMark) -> str:
    board, line = attempt.task.card.board, attempt.task.card.line
    root, named = move_at(board, line, mark.root), move_at(board, line, mark.answer)
    return f"{root} let it in." if mark.root == mark.answer else f"Not {named}: {root} let it in."


def _evidence(attempt: Attempt) -> list[str]:
    """The card's motifs with their evidence in words; a motif nothing was detected for by its name."""
    if attempt.keeps_secret:
        return ["Which motif it is stays open until it has been asked."] if attempt.task.card.motifs else []
    found = key_findings(attempt.task)
    texts = list(dict.fromkeys(f"{_for_side(finding)}: {safe(finding.note)}" for finding in found))
    detected = {finding.motif for finding in found}
    for tag in attempt.task.card.motifs:
        if tag.motif not in detected:
            squares = attempt.task.card.evidence.get(tag.motif, ())
            texts.append(f"{_for_side(tag)}{': ' + listed(squares) if squares else ''}.")
    return texts


def _for_side(shown: Finding | MotifTag) -> str:
    return f"{motif_title(shown.motif).capitalize()}, for {shown.side.capitalize()}"


def _comments(attempt: Attempt) -> list[str]:
    """The coach's words in the order of the moves, without what the evidence says already.

    None while they could give away what is not asked yet: a line, or with a ballot alone the motif.
    """
    card = attempt.task.card
    if card.line and not lines_to_show(attempt):
        return []
    if attempt.keeps_secret and all(given.ask == "assess" for given in attempt.given):
        return []
    notes = {_bare(finding.note) for finding in key_findings(attempt.task)}
    moves = ["", *numbered(card.board, card.line)]
    return [
        safe(
            f"Coach, on {moves[ply]}: {comment}" if 0 < ply < len(moves) else f"Coach: {comment}",
            COMMENT_LIMIT,
        )
        for ply, comment in sorted(card.comments.items())
        if attempt.keeps_secret or _bare(comment) not in notes
    ]


def _bare(text: str) -> str:
    """The text by its letters and digits alone: line breaks and punctuation make no other sentence."""
    return "".join(filter(str.isalnum, text.casefold()))


def returns(attempt: Attempt) -> str:
    """When each ask of the card comes back."""
    parts = []
    for given in attempt.given:
        if given.memory is not None:
            days = (given.memory.due - given.memory.last).days
            when = "tomorrow" if days == 1 else f"in {days} days"
            parts.append(f"{ASK_TITLES[given.ask]} {when} ({given.memory.due.isoformat()})")
    return sentence(f"returns: {', '.join(parts)}") if parts else ""


def closing(state: State) -> list[Paragraph]:
    """The end of a session: what was asked, how it went by motif, what to look at."""
    answers = [(attempt, given) for attempt in state.done for given in attempt.given]
    if not answers:
        return [Paragraph("Nothing is due now." if not state.tasks else "Nothing was answered.", "title")]
    cards = len(state.done)
    lead = f"{counted(cards, 'card')} in {rounded_minutes(state.now - state.started)}."
    paragraphs = [Paragraph(lead, "title")]
    counts = {grade: sum(given.grade == grade for _, given in answers) for grade in GRADES}
    tally = ", ".join(f"{count} {grade}" for grade, count in reversed(counts.items()) if count)
    paragraphs.append(Paragraph(f"{counted(len(answers), 'answer')}: {tally}."))
    paragraphs.append(Paragraph("By motif", "title"))
    by_title: dict[str, list[Given]] = {}
    for attempt, given in answers:
        for title in _titles(attempt):
            by_title.setdefault(title, []).append(given)
    for title, givens in sorted(by_title.items(), key=lambda pair: (_right(pair[1]) / len(pair[1]), pair[0])):
        paragraphs.append(Paragraph(f"{title}: {_right(givens)} of {len(givens)} right"))
    look_at = _to_look_at(state)
    if look_at:
        paragraphs.append(Paragraph("To look at", "title"))
        paragraphs += [Paragraph(text) for text in look_at]
    left = len(state.tasks) - cards
    if left > 0:
        paragraphs.append(Paragraph(f"Left for another time: {counted(left, 'card')}.", "faint"))
    return paragraphs


def _titles(attempt: Attempt) -> list[str]:
    """The titles of the card's motifs; in their place why there is none to tell."""
    if attempt.keeps_secret:
        return ["motif still to be asked"]
    motifs = dict.fromkeys(tag.motif for tag in attempt.task.card.motifs)
    return [motif_title(motif) for motif in motifs] or ["no motif named"]


def _right(givens: list[Given]) -> int:
    return sum(given.grade in RIGHT_GRADES for given in givens)


def _to_look_at(state: State) -> list[str]:
    """The cards that went worst, with where they come from and what was missed."""
    worst = [
        (min(given.score for given in attempt.given), attempt)
        for attempt in state.done
        if any(given.grade in ("missed", "helped") for given in attempt.given)
    ]
    texts = []
    for _, attempt in sorted(worst, key=lambda pair: pair[0]):
        card = attempt.task.card
        what = listed(_titles(attempt))
        texts.append(safe(f"{card.card_id}: {what}" + (f" ({card.origin})" if card.origin else "")))
    return texts
