"""The key of a ballot: the verdict on which a quick and a deep search agree, off the border to the next."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import chess

from decks.build.inquiries import Inquiries, Inquiry, NamedEngines, glance_at
from decks.build.slips import GLANCE_NODES
from decks.cards.ballot_keys import SearchedKey
from decks.cards.deck_check import searched_by
from patterns.engines.judging import EngineError
from patterns.engines.scores import Evaluation, verdict_from_expected
from patterns.factors.assessment import right_strengths
from patterns.words.verdicts import Verdict

PLIES = 18
"""Plies of the search that sets the key."""


def quick_key(board: chess.Board) -> Inquiry[Verdict]:
    """The verdict of a quick search. It becomes the key if `deep_search` confirms it."""
    return verdict_from_expected(_for_white(board, (yield from glance_at(board, GLANCE_NODES))))


def deep_search(board: chess.Board) -> Inquiry[Evaluation]:
    """What the search finds that has to confirm a key."""
    return (yield from glance_at(board, plies=PLIES))


def is_confirmed(key: Verdict, board: chess.Board, deep: Evaluation) -> bool:
    """Whether the deep search comes to the same verdict, and not near the border to the next."""
    return right_strengths(_for_white(board, deep)) == {key.signed}


def keys_anew(boards: Sequence[chess.Board], engines: NamedEngines) -> Iterator[SearchedKey]:
    """What the two searches say of each position, in order. EngineError if an engine fails."""
    inquiries = Inquiries[chess.Board, SearchedKey](engines, lambda board: _key_anew(board, engines))
    for at, board in enumerate(boards):
        found = inquiries.result(board, boards[at + 1 :])
        if isinstance(found, EngineError):
            raise found
        yield found


def _key_anew(board: chess.Board, engines: NamedEngines) -> Inquiry[SearchedKey]:
    key = yield from quick_key(board)
    deep = yield from deep_search(board)
    agreed = key if is_confirmed(key, board, deep) else None
    return SearchedKey(agreed, searched_by(engines.name, PLIES))


def _for_white(board: chess.Board, found: Evaluation) -> float:
    return found.score if board.turn == chess.WHITE else 1.0 - found.score
