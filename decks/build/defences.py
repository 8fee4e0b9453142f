"""Other defences for a card: replies that a strong player would look at, and that have to be met precisely.

These are the natural replies, and any other that gives up hardly more than the best. Quick searches choose
among them, and the most stubborn are judged as fully as the card's own positions, one for each answer that
the quick searches find. A defence is kept if its answer has to be found: one or two moves hold, and the best
of them is neither obvious nor the move that meets another reply too.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import chess

from decks.asks.catalogue import moves_judged
from decks.build.inquiries import Inquiry, followed, glance_at, verdicts_on
from decks.build.new_card import can_be_trusted
from decks.build.slips import GLANCE_NODES
from decks.cards.defences import defences_in
from decks.cards.line_end import MOST_HOLDING, moves_worth_finding
from decks.cards.movetext import Variation
from decks.tasks.card import Card, KeyMove
from decks.tasks.lines import board_after
from decks.tasks.tried import tried
from patterns.engines.effort import SURVEY, Effort
from patterns.engines.scores import GIVES_UP, Evaluation, MoveVerdict, PositionVerdicts
from patterns.proof.captures import exchange

MOST_BUILT = 2
"""Defences beside the main line, and so the most judgings that they cost."""

MOST_GIVEN_UP = 0.3
"""Expected score that a defence may give up against the best reply. One that gives up more is a blunder."""

HARDLY_GIVEN_UP = 0.1
"""The same for a reply that nobody would try at first sight."""

LEVEL = 0.5

Verdicts = Mapping[str, PositionVerdicts]
"""By EPD."""


@dataclass(frozen=True)
class _Tried:
    """A reply (UCI) to a key move, the position after it, and how a quick search goes on there.

    `score`: the student's. `answer`: his best move (UCI), or empty.
    """

    key: KeyMove
    reply: str
    board: chess.Board
    score: float
    answer: str


def with_defences(
    card: Card, verdicts: Verdicts, effort: Effort
) -> Inquiry[tuple[Card, tuple[Variation, ...], Verdicts]]:
    """The card with its defences, their variations, and all verdicts. `verdicts`: on the line, by EPD."""
    found: list[Variation] = []
    known = dict(verdicts)
    judgings = MOST_BUILT if moves_judged(card) else 0
    for key in card.moves_to_find():
        stubborn = (yield from _stubborn(card, key, verdicts[key.board.epd()])) if judgings else []
        for one in stubborn:
            survey = yield from verdicts_on(one.board, SURVEY)
            if not judgings or not _has_to_be_met(one, known, survey, found):
                continue
            judgings -= 1
            judged = yield from verdicts_on(one.board, effort.without_aftermath)
            if can_be_trusted(judged) and _has_to_be_met(one, known, judged, found):
                judged = yield from followed(judged, effort)
                known[judged.epd] = judged
                found.append(_variation(one, judged))
                card = _with_reply(card, one.key, known)
    return replace(card, defences=defences_in(card.line, found)), tuple(found), known


def natural_replies(board: chess.Board, key: str) -> Iterator[chess.Move]:
    """The replies to a key move (UCI) that a person would try.

    Natural are: a way out of check; taking the man that moved; another capture or a check, unless the man
    that moves is simply lost; and moving or guarding a man that the key move attacks.
    """
    after = board_after(board, [key])
    moved = chess.Move.from_uci(key).to_square
    attacked = after.attacks(moved) & after.occupied_co[after.turn] & ~after.kings
    for reply in after.legal_moves:
        takes_it = reply.to_square == moved
        blow = after.is_capture(reply) or after.gives_check(reply)
        helps = reply.from_square in attacked or _guards_more(after, reply, attacked)
        if after.is_check() or takes_it or ((blow or helps) and exchange(after, reply) >= 0):
            yield reply


def _guards_more(board: chess.Board, reply: chess.Move, attacked: chess.SquareSet) -> bool:
    after = board_after(board, [reply.uci()])
    side = board.turn
    return any(len(after.attackers(side, square)) > len(board.attackers(side, square)) for square in attacked)


def _stubborn(card: Card, key: KeyMove, verdicts: PositionVerdicts) -> Inquiry[list[_Tried]]:
    """The replies but the card's own that give up little, each with another answer, the most stubborn first.

    Of replies that are about as stubborn the natural ones come first.
    """
    verdict, tries = verdicts.moves[key.move], []
    own = next(iter((*key.line[1:2], *verdict.line[:1])), "")
    natural = {move.uci() for move in natural_replies(key.board, key.move)}
    for reply in _replies(key) if own else ():
        board = board_after(key.board, [key.move, reply])
        if reply == own or board.is_game_over():
            continue
        quick = yield from glance_at(board, GLANCE_NODES)
        takes_it = reply[2:4] == key.move[2:4]
        if _resists(quick, verdict, reply in natural) and (takes_it or not _is_mated(quick, verdict)):
            tries.append(_Tried(key, reply, board, quick.score, next(iter(quick.line), "")))
    known = {*key.line[2:3], *verdict.line[1:2]}
    different: list[_Tried] = []
    for one in sorted(tries, key=lambda one: (round(one.score, 1), one.reply not in natural, one.score)):
        if one.answer not in known:
            different.append(one)
            known |= {one.answer} - {""}
    return different[: MOST_BUILT + 1]


def _resists(quick: Evaluation, best: MoveVerdict, is_natural: bool) -> bool:
    """Whether a reply gives up little against the best one, and if it is not natural, hardly anything.

    `quick`: after the reply. `best`: of the key, and so after the best reply. Expected scores hardly differ
    where the game is decided, so centipawns count, too.
    """
    if is_natural:
        return quick.score - best.score <= MOST_GIVEN_UP
    if best.mate is not None or quick.score - best.score > HARDLY_GIVEN_UP:
        return False
    measured = quick.centipawns is not None and best.centipawns is not None
    return not measured or (quick.centipawns or 0) - (best.centipawns or 0) < GIVES_UP


def _is_mated(quick: Evaluation, best: MoveVerdict) -> bool:
    """Whether a reply is answered by mate, and the best one is not."""
    return best.mate is None and quick.centipawns is None and quick.score > LEVEL


def _replies(key: KeyMove) -> list[str]:
    return [move.uci() for move in board_after(key.board, [key.move]).legal_moves]


def _has_to_be_met(
    one: _Tried, known: Verdicts, verdicts: PositionVerdicts, found: Sequence[Variation]
) -> bool:
    """Whether the student has to find the answer to a reply, and it is another one than to other replies."""
    follows = [variation.line[1] for variation in found if variation.ply == one.key.ply + 1]
    if len(verdicts.holding()) > MOST_HOLDING or verdicts.best in (*follows, *one.key.line[2:3]):
        return False
    line = (one.key.move, one.reply, verdicts.best)
    there = Card("", one.key.board.fen(), (), line=line)
    return moves_worth_finding(there, {**known, verdicts.epd: verdicts}) == 2


def _variation(one: _Tried, verdicts: PositionVerdicts) -> Variation:
    """The reply, its answer, and what follows until the gain is on the board."""
    answer = tried(one.board, verdicts.best, verdicts)
    return Variation(one.key.ply + 1, (one.reply, *answer.line[: max(1, answer.wins.plies)]))


def _with_reply(card: Card, key: KeyMove, verdicts: Verdicts) -> Card:
    """The card with the main line's own reply to a key move, which a variation has to stand beside."""
    if len(card.line) > key.ply + 1:
        return card
    line = (*card.line, *verdicts[key.board.epd()].moves[key.move].line[:1])
    return replace(card, line=line, to_find=len(card.moves_to_find()))
