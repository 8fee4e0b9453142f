"""The trapped piece: attacked now or after one move, and losing material wherever it goes.

The rule. A piece of theirs (no pawn, no king, not pinned) is lost wherever it goes, or sold too cheaply. We
attack it, and do not only bring the material back level by taking it, or one move of ours attacks it and
nothing else (that would be a fork), and no plain capture wins as much. The move is no check and no capture
that wins the exchange by itself. The look ahead (`patterns.proof.lookahead`) decides whether we come out
ahead, whatever they answer: moving it, guarding it, blocking the attack, taking or threatening something
else. A piece that we attack already is tested as if it were their move.

A hit: the bishop has taken on a2, the pawn has shut it in, and the king comes to b2.

>>> from patterns.detect import find_in
>>> shut_in = "6k1/5ppp/8/8/8/1P6/b1P2PPP/2K4R w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(shut_in)], MOTIFS)[0]]
[('trapped-piece', ('c1',), ('a2',), ('b1', 'b2'))]
>>> find_in([chess.Board(shut_in).mirror()], MOTIFS)[0][0].note
'The king on c8 can attack the bishop on a7 from b7, and it has no safe square: Black covers b8.'

A near miss: the pawn has not gone to b3, and the bishop can escape by c4 or d5.

>>> find_in([chess.Board(shut_in.replace("1P6/b1P", "8/bPP"))], MOTIFS)[0]
[]

A pawn that shuts its piece in leaves it no other square to name.

>>> from patterns.lines import parse_line, uses
>>> board = chess.Board("rn2k3/p7/1p2p3/b2p4/3P4/P4N2/1P3PPP/R1B2RK1 w - - 0 1")
>>> uses(board, parse_line(board, "b4 Kd7 bxa5"))[0].note
'The pawn on b2 attacks the bishop on a5 from b4, and it has no safe square.'

Roles. Actors: the attackers, or the men that can attack it. Target: the piece. Squares: its flight squares,
which are the empty squares where it could go, and the square from which it will be attacked.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.attacks import Men, attackers, in_check, reach
from patterns.boards.bitboards import BIT, EMPTY, Bitboards, Flags, count, exploded, mirror
from patterns.boards.exchange import VALUES, capture_gain, exchange
from patterns.boards.grouping import any_of, pairs_of_equal, united
from patterns.boards.moves import Moves
from patterns.boards.view import View
from patterns.motifs.findings import Instance, Motif
from patterns.proof.claims import EXCHANGE, Claims, claims
from patterns.proof.strokes import Strokes, at_hand, profits, restores, strokes, worth_claiming
from patterns.words import wording

LEAST = 1
"""What must be won besides what the attacking move takes, in pawns: two pawns for a piece still win it."""
FEW = 3
"""A piece with more squares that are not attacked is not trapped by one move."""
LOSSES = (0, 0, 2, 2, 3, 4, 0)
"""What a piece of each kind loses at least when it is lost: a rook is not lost for a smaller piece."""


def _escapes(view: View, ours: Men, goes: Bitboards) -> Flags:
    """Which of our men have a square among these where, by exchange, they are not lost."""
    entry, square = exploded(goes)
    kept = exchange(view.boards.take(ours.row[entry]), ours.square[entry], square, floor=-max(LOSSES))
    return any_of(entry, kept > -np.array(LOSSES)[ours.kind[entry]], len(ours))


def _short_of_squares(view: View) -> tuple[Men, Bitboards]:
    """Our unpinned pieces that can go to few squares that they do not attack, and where all can go."""
    ours = view.our_pieces
    goes = ours.attacks & ~view.us[ours.row]
    few = count(goes & ~view.their_attacks[ours.row]) <= FEW
    some = np.flatnonzero(few & ((view.our_pinned[ours.row] & BIT[ours.square]) == EMPTY))
    return ours.take(some), goes[some]


def _attacked(view: View) -> Claims:
    """Pieces without a good move that we attack."""
    ours, goes = view.once(_short_of_squares)
    some = np.flatnonzero((goes & ~view.their_attacks[ours.row]) == EMPTY)
    some = some[(view.their_attacks[ours.row[some]] & BIT[ours.square[some]]) != EMPTY]
    ours, goes = ours.take(some), goes[some]
    men = view.as_theirs(ours.only(~_escapes(view, ours, goes)))
    won = capture_gain(view.boards.take(men.row), men.square, "us")
    men = men.only(~restores(view, men.row, won))
    by = attackers(view.boards.take(men.row), men.square) & view.us[men.row]
    stands = Moves(men.row, men.square, men.square)
    return claims(stands, by, BIT[men.square], _flights(view, men), least=LEAST, about=men.square)


def _coming(view: View) -> Claims:
    """Moves that attack a piece which then has no good move."""
    short, every = view.as_theirs(view.once(_short_of_squares)[0]), view.once(strokes)
    new = united(short.row, BIT[short.square], len(view)) & ~view.our_attacks
    every = every.only((every.seen & new[every.row]) != EMPTY)
    man, stroke = pairs_of_equal(short.row, every.row)
    hit = (every.seen[stroke] & ~view.our_attacks[every.row[stroke]] & BIT[short.square[man]]) != EMPTY
    men, every = short.take(man[hit]), every.take(stroke[hit])
    # The man that attacks it also covers what lies behind it. Whether it can be taken is asked by exchange.
    row, piece = men.row, BIT[men.square]
    seen = reach(every.kind, every.square, view.occupied[row] & ~(BIT[every.origin] | piece), "us")
    goes = men.attacks & ~view.them[row] & ~(seen | BIT[every.square])
    shut = np.flatnonzero((goes & ~view.our_attacks[row]) == EMPTY)
    shut = shut[worth_claiming(view, every.take(shut))]
    after = view.boards.take(row[shut]).moved(every.origin[shut], every.square[shut])
    shut = shut[~in_check(after, "them")]
    theirs = Men(view.other(row), men.square ^ 56, men.kind, men.attacks)
    shut = shut[~_escapes(view, theirs.take(shut), mirror(goes[shut]))]
    men, every = men.take(shut), every.take(shut)
    others = every.seen & profits(view, every.kind, every.row) & ~BIT[men.square]
    guarded = (view.their_attacks[men.row] & BIT[men.square]) != EMPTY
    won = VALUES[men.kind] - np.where(guarded, VALUES[every.kind], 0)
    alone = (others == EMPTY) & ~_wins_already(view, every)
    best = view.thorough | alone & (at_hand(view, every.moves) < won)
    men, every = men.only(best), every.only(best)
    squares, least = _flights(view, men) | BIT[every.square], every.gain + LEAST
    move = every.origin + 64 * every.square + 4096 * men.square
    return claims(every.moves, BIT[every.origin], BIT[men.square], squares, least=least, about=move)


def trapped_piece(view: View) -> Claims:
    """Pieces without a good move that we attack, or can attack by one move."""
    return Claims.joined(_attacked(view), _coming(view))


def _wins_already(view: View, every: Strokes) -> Flags:
    """Whether each of these moves is a capture that wins the exchange at least, whatever it attacks then."""
    wins: Flags = every.gain >= EXCHANGE
    some = every.only(wins)
    wins[wins] = exchange(view.boards.take(some.row), some.origin, some.square) >= EXCHANGE
    return wins


def _flights(view: View, men: Men) -> Bitboards:
    """The empty squares where these pieces could go."""
    return men.attacks & ~view.occupied[men.row]


def _still_in_reach(instance: Instance) -> list[chess.Square]:
    """The flight squares that the piece still attacks when the move that traps it has been made."""
    if instance.move is None:
        return list(instance.squares)
    after = instance.board.copy(stack=False)
    after.push(instance.move)
    goes = chess.SquareSet().union(*(after.attacks(square) for square in instance.targets))
    return [square for square in instance.squares if square != instance.move.to_square and square in goes]


def _tell(instance: Instance) -> str:
    board, move = instance.board, instance.move
    piece, men = wording.men(board, instance.targets), wording.men(board, instance.actors)
    if move is None:
        text = f"{piece} is attacked by {men} and has no safe square"
    else:
        does = instance.does("attack")
        text = f"{men} {does} {piece} from {chess.SQUARE_NAMES[move.to_square]}, and it has no safe square"
    flights = _still_in_reach(instance)
    if flights:
        text += f": {wording.side_name(instance.side)} covers {wording.squares(flights)}"
    return wording.sentence(text)


MOTIFS = (
    Motif(
        id="trapped-piece",
        title="Trapped piece",
        definition=(
            "An unpinned piece has no square to go to without loss. It is attacked, or can be attacked by"
            " one move that hits nothing else, and falls: we come out ahead, whether they move it, guard it,"
            " block the attack, or take or threaten something else."
        ),
        source="Kasparyan, Domination in 2,545 Endgame Studies; named from memory",
        find=trapped_piece,
        tell=_tell,
    ),
)
