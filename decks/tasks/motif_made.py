"""What a card's moves do with its motif: the move that makes or uses it, what it does, what is won. Pure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING

import chess

from decks.tasks.card import MotifTag
from decks.tasks.lines import board_after, legal_part, move_at, numbered
from decks.tasks.task import Task
from decks.tasks.tried import EXPLAINED_BY, Tried, examined, tried
from patterns.engines.scores import PositionVerdicts
from patterns.words.outcome import won_in_all
from patterns.words.wording import side_name

if TYPE_CHECKING:
    from patterns.lines import Use

LINES_KEPT = 64
"""Lines whose uses are kept, because the screen asks for them again each time that it is drawn."""

Moves = tuple[str, ...]


def motif_made(task: Task, tag: MotifTag) -> str:
    """What follows the motif's title: `, with 20. Rab1: The rook on a1 skewers the queen on b3 and ...`.

    Then what the line wins, counted on the board. Empty if no line that the deck knows uses the motif.
    """
    found = _best_use(task, tag)
    if found is None:
        return ""
    before, moves, use = found
    board, ply, line = task.card.board, len(before) + 2 * use.ply - 1, (*before, *moves)
    own = tag.side == _mover(task)
    lets_in = "" if own else f" after {move_at(board, line, ply - 1)}"
    won = _won(task, before) if own else _let_in(task, before, moves)
    return f", with {move_at(board, line, ply)}{lets_in}: {use.note}{won}"


def _best_use(task: Task, tag: MotifTag) -> tuple[Moves, Moves, Use] | None:
    """The use to tell, and its line as in `_lines`: with men of the evidence, then by the first move."""
    evidence = {*task.card.evidence.get(tag.motif, ())}

    def rank(use: Use) -> tuple[bool, bool, bool]:
        aside = bool(evidence) and evidence.isdisjoint((*use.actors, *use.targets))
        return aside, use.ply > 1, not use.shown

    best: tuple[Moves, Moves, Use] | None = None
    for before, moves in _lines(task, tag):
        for use in _uses_of(task.card.fen, before, moves):
            if use.motif == tag.motif and (best is None or rank(use) < rank(best[2])):
                best = before, moves, use
        if best is not None and not any(rank(best[2])):
            break
    return best


def own_motif(task: Task) -> tuple[str, str]:
    """The motif that the key of a lookalike uses, and what follows its title; both empty if there is none."""
    card = task.card
    seeming = card.lookalike.motif if card.lookalike else ""
    for before, moves in _own_lines(task):
        for use in _uses_of(card.fen, before, moves):
            if use.ply == 1 and use.motif != seeming and use.shown:
                return use.motif, f", with {move_at(card.board, moves, 1)}: {use.note}{_won(task, before)}"
    return "", ""


def refutation(task: Task) -> str:
    """Which move with a lookalike's motif fails to which reply, and how it goes on; empty if not known."""
    card, seeming = task.card, task.card.lookalike
    men = card.evidence.get(seeming.motif, ()) if seeming else ()
    for move, *replies in card.tried:
        if replies and replies[0][:2] in men:
            stroke = move_at(card.board, (move,), 1)
            answer = " ".join(numbered(board_after(card.board, [move]), tuple(replies)))
            verdicts = task.verdicts.get(card.board.epd())
            return f"{stroke} fails to {answer}{_comes_to(verdicts, card.board, move)}"
    return ""


def _mover(task: Task) -> str:
    """The side that has to find the move, or that made the mistake."""
    white = task.card.board.turn ^ ((task.card.root or 1) % 2 == 0)
    return chess.COLOR_NAMES[white]


def line_wins(task: Task) -> str:
    """What the card's line wins, as a sentence; empty if nothing that its moves show.

    Who is not better after it has only won something back: then the standing is told too.
    """
    card = task.card
    verdicts = task.verdicts.get(card.board.epd())
    if verdicts is None or not card.line:
        return ""
    # A mate that an engine has seen and the line does not show is not told.
    line = Tried(card.board, card.line, replace(verdicts.moves[card.line[0]], mate=None))
    won = line.wins.words
    if won and not line.end.is_checkmate():
        settled = card.line if line.end.turn == card.board.turn else line.settled
        if not Tried(card.board, settled, line.verdict).next_capture or settled == card.line:
            won = won_in_all(card.board, settled, card.board.turn).words or won
    if won and not line.is_told_better:
        return f"The line {won}, and {line.game}."
    return won and f"The line {won}."


def _won(task: Task, before: Moves) -> str:
    """What the mover wins, as a sentence after another one. `before`: the moves before a mistake, if any."""
    if not task.card.root:
        won = line_wins(task)
        return won and f" {won}"
    board = board_after(task.card.board, before)
    verdicts = task.verdicts.get(board.epd())
    return _this(tried(board, verdicts.best, verdicts).wins.words) if verdicts else ""


def _let_in(task: Task, before: Moves, moves: Moves) -> str:
    """What the other side wins after a mistake, the last of `before`, as a sentence after another one."""
    board = board_after(task.card.board, before[:-1])
    verdicts = task.verdicts.get(board.epd())
    return _this(tried(board, before[-1], verdicts, (before[-1], *moves)).loses.words) if verdicts else ""


def _this(won: str) -> str:
    return won and f" This {won}."


def _comes_to(verdicts: PositionVerdicts | None, board: chess.Board, move: str) -> str:
    """What a refuted move comes to, as the end of a sentence."""
    if verdicts is None:
        return ""
    failed = tried(board, move, verdicts)
    if failed.loses.words:
        return f", which {failed.loses.words}"
    stands = "the game" if failed.is_level else side_name(board.turn)
    return f", after which {stands} is {failed.stands}"


def _lines(task: Task, tag: MotifTag) -> Iterator[tuple[Moves, Moves]]:
    """The lines that can show the motif: the moves (UCI) before it, and those of the side that profits.

    The mover's motif is in the card's line, or in what the engine plays. The other side's is let in by a
    wrong move: the root of the line, or a move that the deck has as a variation.
    """
    if tag.side == _mover(task):
        yield from _own_lines(task)
        return
    card = task.card
    before = card.line[: card.root - 1] if card.root else ()
    verdicts = task.verdicts.get(board_after(card.board, before).epd())
    for move, *replies in [card.line[len(before) :]] if card.root else card.tried:
        if verdicts is not None:
            line = verdicts.moves[move].line
            after = board_after(card.board, (*before, move))
            yield from (((*before, move), line), ((*before, move), examined(after, line)))
        yield (*before, move), tuple(replies)


def _own_lines(task: Task) -> Iterator[tuple[Moves, Moves]]:
    """The mover's lines as in `_lines`: the card's own, then what the choice of the card's motif rests on."""
    card = task.card
    before = card.line[: card.root - 1] if card.root else ()
    if not card.root:
        yield from ((before, card.line), (before, card.line[:1]))
    board = board_after(card.board, before)
    verdicts = task.verdicts.get(board.epd())
    if verdicts is not None:
        line = (verdicts.best, *verdicts.moves[verdicts.best].line)
        yield from ((before, examined(board, line)), (before, line))


@lru_cache(LINES_KEPT)
def _uses_of(fen: str, before: Moves, moves: Moves) -> tuple[Use, ...]:
    """What the side to move after `before` uses in the moves, as far as they are legal."""
    from patterns.lines import uses  # array code, imported only when a motif is told

    board = board_after(chess.Board(fen), before)
    return tuple(uses(board, [chess.Move.from_uci(move) for move in legal_part(board, moves)[:EXPLAINED_BY]]))
