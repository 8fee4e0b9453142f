"""Double attacks: one man that attacks two others, and unguarded men that fall.

The rule. Fork: a man of ours (not the king) attacks two or more men of theirs, now or after one move. Each is
the king, worth more than the attacker, or unguarded; at least one is no pawn. For our queen a square next to
their king where she could mate counts as an attack on the king. A move that mates at once is no fork. Loose
piece: no man of theirs guards it, and we can take it, or one move of ours hits it together with something
else (a fork). On the board it does not count if a cheaper man of ours attacks it, since it would then fall
even if it were guarded, or if it is their move and they can take or trade off the attacker, or this is our
king, or if taking it at best leaves us a pawn ahead or less (it then ends an exchange) or answers its
check, or if it is their move and a capture wins them the exchange.

The look ahead (`patterns.proof.lookahead`) decides whether this wins: a pawn at least besides what the move
takes, and the exchange for a fork by the queen, who rarely wins both men, and for a loose piece.

A hit: the knight comes to c7.

>>> from patterns.detect import find_in
>>> board = chess.Board("r3k3/8/8/3N4/8/8/8/4K3 w q - 0 1")
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([board], MOTIFS)[0]]
[('fork', ('d5',), ('a8', 'e8'), ('c7',)), ('loose-piece', ('d5',), ('a8',), ('c7',))]

A near miss: a bishop on d8 guards c7, so the knight would not be safe there. And nothing is loose.

>>> find_in([chess.Board("r2bk3/8/8/3N4/8/8/8/4K3 w q - 0 1")], MOTIFS)[0]
[]

Roles. Actors: the man that forks, or attacks the loose piece. Targets: the forked men, or the loose piece.
Squares: where the actor goes to attack; empty if it attacks already.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.attacks import attackers, reach
from patterns.boards.bitboards import ALL, BIT, EMPTY, KING_STEPS, Bitboards, Flags, Rows, Squares, exploded
from patterns.boards.exchange import VALUES, can_win
from patterns.boards.legal import has_move, made
from patterns.boards.moves import Moves, stands_firm
from patterns.boards.view import View
from patterns.motifs.findings import Instance, Motif
from patterns.proof.claims import EXCHANGE, Claims, claims
from patterns.proof.quiet import PAWN
from patterns.proof.strokes import Strokes, hitting, pending, profits, restores, worth_claiming
from patterns.words import wording


def _several(boards: Bitboards) -> Flags:
    """Which of the boards hold at least two squares."""
    flags: Flags = (boards & (boards - np.uint64(1))) != EMPTY
    return flags


def _pairs(view: View, rows: Rows, kinds: Squares, hit: Bitboards) -> Bitboards:
    """The men that are attacked with profit, where they are two or more and not only pawns; else empty.

    For a queen or a pawn two must be no pawns: a pawn beside the first piece hardly ever falls.
    """
    others = hit & ~view.boards.pawns[rows]
    choosy = ((kinds == chess.QUEEN) | (kinds == chess.PAWN)) & (not view.thorough)
    fits = (others != EMPTY) & _several(np.where(choosy, others, hit))
    return np.where(fits, hit, EMPTY)


def _king_beside(view: View, every: Strokes) -> Bitboards:
    """Their king, if the man that moved hits a square beside it that we guard and only the king guards."""
    row, king = every.row, view.their_king[every.row]
    beside = KING_STEPS[king] & view.our_attacks[row] & ~view.their_double_attacks[row] & ~view.us[row]
    return np.where((every.seen & beside & ~BIT[every.square]) != EMPTY, BIT[king], EMPTY)


def _coming(view: View) -> Claims:
    """Moves after which the man that moved attacks two men, or a man and a mating square."""
    every, hit = view.once(hitting)
    some = np.flatnonzero(every.kind != chess.KING)
    every, hit = every.take(some), hit[some]
    targets = _pairs(view, every.row, every.kind, hit)
    mates = np.zeros(len(every), dtype=np.bool_)
    piece = hit & ~view.boards.pawns[every.row]
    queens = np.flatnonzero((targets == EMPTY) & (piece != EMPTY) & (every.kind == chess.QUEEN))
    king = _king_beside(view, every.take(queens))
    both = piece[queens] | king
    mates[queens] = (king != EMPTY) & _several(both)
    targets[queens] = np.where(mates[queens], both, EMPTY)
    some = np.flatnonzero(targets)
    some = some[worth_claiming(view, every.take(some))]
    some = some[~_mates_at_once(view, every.take(some))]
    every, targets = every.take(some), targets[some]
    least = every.gain + np.where(every.kind == chess.QUEEN, EXCHANGE, 1)
    return claims(every.moves, BIT[every.origin], targets, BIT[every.square], least=least, checks=mates[some])


def _mates_at_once(view: View, every: Strokes) -> Flags:
    """Which strokes check and mate: whatever else they attack does not matter then."""
    result: Flags = (every.seen & BIT[view.their_king[every.row]]) != EMPTY
    result[result] = ~has_move(made(view.boards, every.only(result).moves).after)
    return result


def _standing(view: View) -> Claims:
    """Men that already attack two men."""
    men = view.our_men
    men = men.only(men.kind != chess.KING)
    targets = _pairs(view, men.row, men.kind, men.attacks & profits(view, men.kind, men.row))
    some = np.flatnonzero(targets)
    some = some[~can_win(view.boards.take(men.row[some]), men.square[some], "them")]
    men = men.take(some)
    least = np.where(men.kind == chess.QUEEN, EXCHANGE, 1)
    return claims(Moves(men.row, men.square, men.square), BIT[men.square], targets[some], least=least)


def fork(view: View) -> Claims:
    """Men that fork, now or after one move."""
    return Claims.joined(view.once(_coming), _standing(view))


def loose_piece(view: View) -> Claims:
    """Unguarded pieces that we can take, or hit together with something else."""
    loose = view.them & ~view.boards.pawns & ~view.boards.kings & ~view.their_attacks
    cheaply = view.our_pawn_attacks & np.uint64(0 if view.thorough else ALL)
    row, target = exploded(loose & view.our_attacks & ~cheaply)
    boards = view.boards.take(row)
    by = attackers(boards, target) & boards.us
    entry, origin = exploded(by)
    kind, worth = boards.kind_at(origin, entry), VALUES[boards.kind_at(target)][entry]
    cheaper = np.bincount(entry, VALUES[kind] < worth, len(row)) > 0
    # They, to move, could take the attacker first, or trade it off. From a king a piece simply goes away.
    back = reach(boards.kind_at(target), target, boards.occupied, "them")[entry] & BIT[origin]
    # A piece that gives check is taken because it must be.
    lasting = boards.our_move[entry] & (view.thorough | ~view.in_check[row[entry]])
    waits = ~boards.our_move[entry] & (view.thorough | (kind != chess.KING) & ~pending(view, row[entry]))
    lasting |= waits & (back == EMPTY) & stands_firm(boards.take(entry), origin)
    fits = (view.thorough | ~cheaper[entry]) & lasting & ~restores(view, row[entry], worth, PAWN)
    kept = np.flatnonzero(fits)
    entry, origin = entry[kept], origin[kept]
    takes = Moves(row[entry], origin, target[entry])
    taking = claims(takes, BIT[origin], BIT[takes.square])
    forks = view.once(_coming)
    way, hit = exploded(forks.targets & loose[forks.row])
    forks = forks.take(way)
    moves = Moves(forks.row, forks.origin, forks.square)
    # As the fork that it belongs to, so that both are tested as one.
    hitting = claims(
        moves,
        forks.actors,
        BIT[hit],
        forks.squares,
        wanted=forks.wanted,
        least=forks.least,
        checks=forks.checks,
    )
    return Claims.joined(taking, hitting)


def _tell_fork(instance: Instance) -> str:
    board, forker = instance.board, next(iter(instance.actors))
    pieces = instance.targets - chess.SquareSet(board.pawns)
    forked = wording.men(board, pieces if len(pieces) > 1 else instance.targets)
    if instance.move is None:
        return wording.sentence(f"{wording.named(board, forker)} forks {forked}")
    does = f"{wording.named(board, forker)} {instance.does('fork')} {forked}"
    where = chess.SQUARE_NAMES[instance.move.to_square]
    return wording.sentence(f"{does} from {where}{wording.so_wins(instance.wins)}")


def _tell_loose(instance: Instance) -> str:
    board, loose = instance.board, wording.men(instance.board, instance.targets)
    men = wording.men(board, instance.actors)
    if instance.squares:
        where = wording.squares(instance.squares)
        return wording.sentence(f"{loose} is unguarded: {men} hits it from {where} with a second threat")
    if instance.played:
        return wording.sentence(f"{loose} is unguarded, and {men} takes it")
    if board.turn != instance.side:
        return wording.sentence(f"{loose} is unguarded, and {men} attacks it")
    can = "can take it" if len(instance.actors) == 1 else "can each take it"
    return wording.sentence(f"{loose} is unguarded, and {men} {can}")


MOTIFS = (
    Motif(
        id="fork",
        title="Fork",
        definition=(
            "One man attacks two or more enemy men at once, as it stands or after one move: the king, men"
            " worth more than itself, unguarded men, or a square where it would mate. An attack on pawns"
            " alone is not a fork. It counts if it wins material whatever they answer."
        ),
        source="Averbakh, on the double attack; named from memory",
        find=fork,
        tell=_tell_fork,
    ),
    Motif(
        id="loose-piece",
        title="Loose piece",
        definition=(
            "An enemy piece is not guarded, and it can be taken with a gain that survives their best answer,"
            " or one move hits it and also attacks the king or another man."
        ),
        source="Nunn, Secrets of Practical Chess (loose pieces drop off); named from memory",
        find=loose_piece,
        tell=_tell_loose,
    ),
)
