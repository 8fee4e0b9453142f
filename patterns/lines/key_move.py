"""What the key move of a line does, in one sentence: what it takes or gives, its point, and what it wins."""

from __future__ import annotations

from collections.abc import Sequence

import chess

from patterns.catalogue import MOTIFS
from patterns.lines.taken_up import taken_up
from patterns.proof.captures import falls, worth_at
from patterns.proof.played_line import OwnMove, Use, own_moves_of
from patterns.words.outcome import outcome
from patterns.words.wording import listed, named, sentence

FEW_REPLIES = 2
"""A move that leaves no more legal replies than this forces them, and they are named."""


def key_move(board: chess.Board, line: Sequence[chess.Move], uses: Sequence[Use] | None = None) -> str:
    """What the first move of the line does, as a sentence; empty for an empty line.

    `uses`: those of the line, if they are known already. LineError if a move is not legal in its position.

    >>> board = chess.Board("r4k2/1p3pp1/2p3bp/1n1p4/1PP1pRP1/4P3/BKP5/3R4 b - - 0 30")
    >>> key_move(board, [chess.Move.from_uci(uci) for uci in "a8a2 b2a2 b5c3 a2b3 c3d1".split()])
    'The rook on a8 takes the bishop on a2 with check and gives itself up for it: the point is a decoy, and \
it wins a bishop.'
    """
    own_moves = own_moves_of(board, line)
    if not own_moves:
        return ""
    first = own_moves[0]
    told = taken_up([own_moves])[0] if uses is None else uses
    point = next((_named_point(use.motif) for use in told if use.ply == 1), "")
    result = outcome(board, [move.uci() for move in line], board.turn)
    then = listed(filter(None, [_leaves(first), result.words if len(line) > 1 else ""]))
    parts = [listed(_deeds(first)), f": the point is {point}" if point else ""]
    return sentence("".join(parts) + (f", {'and it' if point else 'which'} {then}" if then else ""))


def _named_point(motif: str) -> str:
    """A motif that explains a move, named: `a fork`. Empty for one that only stands on the board."""
    if MOTIFS[motif].taken_up:
        return ""
    title = MOTIFS[motif].title
    return f"{'an' if title[0] in 'AEIO' else 'a'} {title[0].lower()}{title[1:]}"


def _deeds(first: OwnMove) -> list[str]:
    """What the move itself does: it takes, checks, promotes, or gives a man."""
    man, goal = named(first.before, first.move.from_square), chess.SQUARE_NAMES[first.move.to_square]
    if first.before.is_castling(first.move):
        deed = "the king castles"
    elif first.before.is_en_passant(first.move):
        deed = f"{man} takes en passant on {goal}"
    elif first.captures:
        deed = f"{man} takes {named(first.before, first.move.to_square)}"
    else:
        deed = f"{man} goes to {goal}"
    if first.move.promotion:
        deed += f" and becomes a {chess.piece_name(first.move.promotion)}"
    if first.after.is_checkmate():
        return [f"{deed} and mates"]
    if first.after.is_check():
        deed += " with check"
    lost = falls(first.after, first.move.to_square)
    taken = worth_at(first.before, first.move.to_square)
    if lost <= taken:
        return [deed]
    return [deed, "gives itself up for it" if taken else "offers itself"]


def _leaves(first: OwnMove) -> str:
    """The replies, where they are few."""
    replies = list(first.after.legal_moves)
    if not 0 < len(replies) <= FEW_REPLIES or first.after.is_game_over():
        return ""
    return f"leaves only {' or '.join(first.after.san(reply) for reply in replies)}"
