"""The defence that the main line shows: not a check that only delays, if there is another one to meet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import chess

from decks.build.inquiries import Inquiry, uses_in
from decks.cards.defences import defences_in
from decks.cards.movetext import Variation
from decks.tasks.card import Card
from decks.tasks.lines import board_after
from decks.tasks.tried import tried
from patterns.boards.worth import ahead
from patterns.engines.scores import PositionVerdicts
from patterns.proof.captures import exchange
from patterns.words.outcome import NEAR

ANSWERED = 3
"""Plies up to the answer to a defence: the key, the defence, the answer."""

Parts = tuple[Card, tuple[Variation, ...]]


def with_main_defence(
    card: Card, variations: Sequence[Variation], verdicts: Mapping[str, PositionVerdicts]
) -> Inquiry[Parts]:
    """The card and its variations, with another defence in the main line if the reply there only delays.

    `variations`: the defences. `verdicts`: by EPD, for every position in which the card asks for a move. The
    other defence leaves the mover as well off and no better, and its line uses the card's motif. Where the
    answer to the check has to be found too, it stays.
    """
    asked, reply = len(card.moves_to_find()), next(iter(card.line[1:2]), "")
    if asked > 1 or not reply or not only_delays(board_after(card.board, card.line[:1]), reply):
        return card, tuple(variations)
    tags = {tag.motif for tag in card.motifs}
    for other in variations:
        line = (card.line[0], *other.line)
        if other.ply != 1 or not _is_as_good(card, line, verdicts):
            continue
        (uses,) = yield from uses_in([(card.board, line)])
        if tags <= {use.motif for use in uses if use.ply == 1}:
            rest = tuple(one for one in variations if one is not other)
            to_find = 2 if len(line) > ANSWERED else None
            return replace(card, line=line, to_find=to_find, defences=defences_in(line, rest)), rest
    return card, tuple(variations)


def only_delays(board: chess.Board, reply: str) -> bool:
    """Whether a reply (UCI) gives check with a man that simply falls.

    >>> board = chess.Board("4k3/4q3/8/8/8/8/8/3RK3 b - - 0 1")
    >>> only_delays(board, "e7e2"), only_delays(board, "e7b4")
    (True, False)
    """
    move = chess.Move.from_uci(reply)
    return board.gives_check(move) and exchange(board, move) < 0


def _is_as_good(card: Card, line: tuple[str, ...], verdicts: Mapping[str, PositionVerdicts]) -> bool:
    """Whether another defence is as good as the one in the card's line.

    The mover mates, and no sooner; or stands as well, and wins no more.
    """
    there, mover = board_after(card.board, line[:2]), card.board.turn
    key = tried(card.board, line[0], verdicts[card.board.epd()])
    answer = tried(there, line[2], verdicts[there.epd()])
    if (key.wins.mates, key.standing) != (answer.wins.mates, answer.standing):
        return False
    if key.wins.mates:
        return (answer.verdict.mate or 0) + 1 >= (key.verdict.mate or 0)
    given = ahead(there, mover) - ahead(card.board, mover)
    return given + answer.counted <= key.counted + NEAR
