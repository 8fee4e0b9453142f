"""Pins on a file, a rank or a diagonal that have a consequence.

The rule. A slider of ours looks through one man of theirs at their king (absolute pin), or at a man worth
more that may fall if the line opens (relative pin). The pin counts if it costs them something that the man is
not free. A move of ours shows this:

- it takes the man, a piece, or attacks it once more, and the man cannot leave (a pawn would stay anyway);
- it goes where the man could take it: it takes what the man guards, or it is a pawn that hits one of their
  men (a lever), or a piece that wins something there or threatens mate;
- it checks on a line on which the man could step between;
- it makes an absolute pin that the king cannot leave: the slider attacks this piece with profit, or only the
  king guards it, and a second man can come.

The move must win. A pawn's move, a second attack on a man that is pinned absolutely (not by the queen), and
the making of a pin need only threaten it and lose nothing by captures and checks; but where a pawn can step
between slider and man without falling, the making of a pin must win. And the man, if the line
stayed shut behind it, must have an answer that it does not have now (`patterns.proof.claims`). The pin also
counts if it alone keeps the man from taking something with profit: no such capture is worth what falls behind
it. It does not count where it is soon over: it is their move, or nothing but such a capture is at stake, and
the man can take the slider and lose nothing; or it is their move, and their king can step off the line so
that the man is guarded well enough.

A hit: the rook pins the knight, and the pawn's advance attacks it.

>>> from patterns.detect import find_in
>>> board = chess.Board("4k3/8/8/4n3/8/3P4/5P2/4R1K1 w - - 0 1")
>>> [(f.motif, f.actors, f.targets) for f in find_in([board], MOTIFS)[0]]
[('pin-on-file', ('e1',), ('e5', 'e8'))]

A near miss: a pawn guards the same knight, and no second attacker can come. The pin changes nothing.

>>> find_in([chess.Board("4k3/8/5p2/4n3/8/8/8/4R1K1 w - - 0 1")], MOTIFS)[0]
[]

Roles. Actors: the pinning slider. Targets: the pinned man and the man behind it. Squares: all between them,
and where the slider goes to make the pin.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import chess
import numpy as np

from patterns.boards.attacks import Men, attack_from, attackers, between, reach
from patterns.boards.bitboards import (
    ALL,
    BETWEEN,
    BEYOND,
    BIT,
    EMPTY,
    KING_STEPS,
    LINE,
    PAWN_UP,
    RANKS,
    SOUTH,
    Bitboards,
    Flags,
    Rows,
    Squares,
    bishop_reach,
    exploded,
    paired,
    pawn_attacks_down,
    pawn_steps_up,
    rook_reach,
    shifted,
    square_of,
)
from patterns.boards.exchange import VALUES, Binding, can_win, capture_gain, exchange, loses_nothing
from patterns.boards.grouping import any_of, marked, united
from patterns.boards.moves import Moves, is_slider, stands_firm
from patterns.boards.positions import Boards
from patterns.boards.pressure import joiners, men_of_rows
from patterns.boards.tables import Table
from patterns.boards.view import View
from patterns.motifs.findings import Instance, Motif
from patterns.proof.aims import MATE
from patterns.proof.claims import EXCHANGE, Claims, claims
from patterns.proof.strokes import hits, profits, restores, strokes
from patterns.words import wording

FILE, RANK, DIAGONAL = range(3)
_SHAPES = ("file", "rank", "diagonal")
STANDING, LEAVE, TAKE, BLOCK, PIN = range(5)
"""What the pinned man cannot do: take what stands there, leave, take the man that comes, step between. Or our
move only makes the pin."""


@dataclass(frozen=True)
class _Lines(Table):
    """Lines of ours through a man of theirs, `front`, at one worth more, `rear`; one entry each.

    `slider`: where our slider stands. `square`: where it pins from, after its move if this is another.
    `blocker`: a man of ours before the front man, or empty: it is a pin once that man has left the line.
    """

    row: Rows
    slider: Squares
    square: Squares
    front: Bitboards
    rear: Bitboards
    blocker: Bitboards

    @property
    def shape(self) -> Squares:
        """0, 1 or 2 for file, rank or diagonal."""
        apart = self.square ^ square_of(self.front)
        return np.where(apart & 7 == 0, FILE, np.where(apart >> 3 == 0, RANK, DIAGONAL))

    @property
    def binding(self) -> Binding:
        """The front man pinned to the line, absolutely or not."""
        return Binding.of(len(self), pinned=self.front, pinner=BIT[self.square])


def _lines(view: View) -> _Lines:
    """The lines on the board, those behind one man of ours, and those that a slider can make now."""
    seen, coming = view.our_sight_lines, view.once(strokes)
    hit = view.once(hits) | coming.seen & _kept_by_the_king(view)[coming.row]
    some = np.flatnonzero(hit)
    some = some[is_slider(view.kind_at(coming.row[some], coming.origin[some]))]
    move, hit = exploded(hit[some] & ~view.boards.kings[coming.row[some]])
    coming = coming.take(some[move])
    new = (paired(LINE, coming.square, hit) & BIT[coming.origin]) == EMPTY
    coming, hit = coming.only(new), BIT[hit[new]]
    shut = (seen.front & view.us[seen.row]) != EMPTY
    front = np.concatenate([np.where(shut, seen.rear, seen.front), hit])
    row = np.concatenate([seen.row, coming.row])
    square = np.concatenate([seen.square, coming.square])
    blocker = np.concatenate([np.where(shut, seen.front, EMPTY), np.zeros_like(hit)])
    through = np.flatnonzero(front & view.them[row])
    beyond = paired(BEYOND, square[through], square_of(front[through]))
    # What stands behind is worth more than the front man, so it is no pawn.
    hopeful = np.flatnonzero(beyond & (view.them & ~view.boards.pawns)[row[through]])
    through, beyond = through[hopeful], beyond[hopeful]
    row, square, front = row[through], square[through], front[through]
    man, occupied = square_of(front), view.occupied[row]
    behind = beyond & (bishop_reach(man, occupied) | rook_reach(man, occupied)) & view.them[row]
    slider = np.concatenate([seen.square, coming.origin])[through]
    lines = _Lines(row, slider, square, front, behind, blocker[through])
    return lines.only(_may_fall(view, lines))


def _kept_by_the_king(view: View) -> Bitboards:
    """Their pieces that only their king guards."""
    guarded = KING_STEPS[view.their_king] & ~view.their_double_attacks
    return guarded & view.them & ~view.boards.pawns & ~view.boards.kings


def _may_fall(view: View, lines: _Lines) -> Flags:
    """Whether there is a man behind, worth more than the front one, that may fall once the line is open."""
    result = lines.rear != EMPTY
    some = np.flatnonzero(result)
    lines, boards = lines.take(some), view.boards.take(lines.row[some])
    rear = square_of(lines.rear)
    worth = VALUES[boards.kind_at(rear)]
    by = attackers(boards.without(lines.front | lines.blocker), rear)
    ours = by & boards.us
    falls = VALUES[boards.kind_at(lines.slider)] <= worth
    falls |= ((by & boards.them) == EMPTY) | ((ours & (ours - np.uint64(1))) != EMPTY)
    falls &= worth > VALUES[boards.kind_at(square_of(lines.front))]
    # A man that is pinned to its king on one line is not held by another line.
    held = view.their_pinned[lines.row] & lines.front
    result[some] = falls & ((held == EMPTY) | ((lines.rear & boards.kings) != EMPTY))
    return result


@dataclass(frozen=True)
class _Tries(Table):
    """Moves of ours that may show what a pin costs: index of the line, the move, what the man cannot do.

    `least`: what the move must win; 0 where it is enough that it loses nothing, since it would lose something
    if the man were free. `threat`: whether it need only threaten this.
    """

    line: Rows
    origin: Squares
    square: Squares
    cannot: Squares
    least: Squares
    threat: Flags


def _reached(view: View, lines: _Lines) -> Bitboards:
    """What the front man attacks off the line."""
    front = square_of(lines.front)
    boards = view.boards.take(lines.row)
    return reach(boards.kind_at(front), front, boards.occupied, "them") & ~paired(LINE, lines.square, front)


def _movers(view: View, lines: _Lines) -> tuple[Rows, Men]:
    """Our men that may use each line: the blocker alone, or all but the king. The index of the line first."""
    there = lines.slider == lines.square
    shut = np.flatnonzero(there & (lines.blocker != EMPTY))
    row, square = lines.row[shut], square_of(lines.blocker[shut])
    kind = view.kind_at(row, square)
    blockers = Men(row, square, kind, reach(kind, square, view.occupied[row], "us"))
    free = np.flatnonzero(there & (lines.blocker == EMPTY))
    entry, men = men_of_rows(view.our_men, lines.row[free])
    entry, men = np.concatenate([shut, free[entry]]), Men.joined(blockers, men)
    others = men.kind != chess.KING
    return entry[others], men.only(others)


def _tries(view: View, lines: _Lines) -> _Tries:
    """The moves by geometry: captures, then moves off the line that no other pawn of theirs could take."""
    entry, men = _movers(view, lines)
    of, reached = lines.take(entry), _reached(view, lines)[entry]
    front, here = square_of(of.front), BIT[men.square]
    them = view.them[men.row]
    free, pawn, others = ~view.occupied[men.row], men.kind == chess.PAWN, men.square != of.slider
    one, two = pawn_steps_up(np.where(pawn, here, EMPTY), free)
    goes = np.where(pawn, men.attacks & them | one | two, men.attacks & ~view.us[men.row])
    goes &= np.where(of.blocker == EMPTY, ALL, ~paired(LINE, of.square, front))
    unsafe = pawn_attacks_down(view.their_pawns[men.row] & ~of.front) | between(of.square, front)
    quiet = goes & free & ~unsafe & np.where(others, ALL, EMPTY)
    opened = view.occupied[men.row] & ~here
    attacking = attack_from(men.kind, front, opened, "us") & (quiet | goes & them)
    king = view.their_king[men.row]
    checking = attack_from(men.kind, king, opened, "us") & quiet
    again = others & (((men.attacks | view.their_pawns[men.row]) & of.front) == EMPTY)
    parts = []
    boards = view.boards
    # A pawn would not leave in any case.
    alone = (of.front & boards.pawns[of.row]) != EMPTY
    piece: Bitboards = np.where(alone, EMPTY, of.front)
    for cannot, goals in (
        (LEAVE, goes & piece),
        (TAKE, reached & (quiet | np.where(others, goes & them & ~of.rear, EMPTY))),
        (LEAVE, np.where(again & ~alone, attacking & ~of.front, EMPTY)),
        (BLOCK, checking),
    ):
        man, to = exploded(goals)
        parts.append(
            _Tries(entry[man], men.square[man], to, np.full(len(man), cannot), np.ones_like(man), pawn[man])
        )
    tries = _Tries.joined(*parts)
    at = lines.take(tries.line)
    absolute = (at.rear & view.boards.kings[at.row]) != EMPTY
    queen = view.kind_at(at.row, tries.origin) == chess.QUEEN
    tries = replace(tries, threat=tries.threat | absolute & (tries.cannot == LEAVE) & ~queen)
    blocked = paired(BETWEEN, tries.square, view.their_king[at.row]) & _reached(view, lines)[tries.line]
    return tries.only((tries.cannot != BLOCK) | (blocked != EMPTY))


def _hopeful(view: View, lines: _Lines, tries: _Tries) -> _Tries:
    """The moves that work by exchange if no pinned man of theirs takes part in it."""
    of = lines.take(tries.line)
    boards, origin, square = view.boards.take(of.row), tries.origin, tries.square
    pinned = united(lines.row, np.where(lines.blocker == EMPTY, lines.front, EMPTY), len(view))[of.row]
    binding = Binding.of(len(of), pinned=of.front, pinner=BIT[of.square], idle=pinned & ~of.front)
    gain = exchange(boards, origin, square, binding)
    takes = (BIT[square] & boards.them) != EMPTY
    some = np.flatnonzero(gain >= np.where(takes, 1, 0))
    some = some[(gain[some] < EXCHANGE) | ~restores(view, of.row[some], gain[some])]
    hangs = ~boards.our_move[some] & ((view.their_attacks[of.row[some]] & BIT[origin[some]]) != EMPTY)
    hangs[hangs] = can_win(boards.take(some[hangs]), origin[some[hangs]], "them")
    some = some[~hangs]
    tries, of, boards, takes = tries.take(some), of.take(some), boards.take(some), takes[some]
    origin, square, gain, binding = tries.origin, tries.square, gain[some], binding.take(some)
    free = exchange(boards, origin, square, Binding.of(len(of), freed=of.front))
    pawn = boards.kind_at(origin) == chess.PAWN
    comes = (tries.cannot == TAKE) & ~takes
    bold = (free < 0) & (tries.cannot == TAKE) & (takes | pawn)
    tries = replace(tries, least=np.where(bold, 0, 1))
    fits = ~comes | np.where(pawn, (PAWN_UP[square] & boards.them) != EMPTY, free < gain)
    comes = np.flatnonzero(fits & comes & ~pawn)
    kind, row = boards.kind_at(origin[comes], comes), of.row[comes]
    hit = reach(kind, square[comes], boards.occupied[comes] & ~BIT[origin[comes]], "us")
    fits[comes] = (hit & profits(view, kind, row)) != EMPTY
    seen = reach(kind, origin[comes], boards.occupied[comes], "us") | BIT[origin[comes]]
    new = hit & ~seen & view.our_attacks[row]
    mating = tries.take(comes[(new & KING_STEPS[view.their_king[row]]) != EMPTY])
    mating = replace(mating, least=np.full(len(mating), MATE), threat=np.ones(len(mating), dtype=np.bool_))
    attacks = np.flatnonzero((tries.cannot == LEAVE) & (square != square_of(of.front)))
    after = boards.take(attacks).moved(origin[attacks], square[attacks])
    fits[attacks] = can_win(after, square_of(of.front[attacks]), "us", binding.take(attacks))
    fits[attacks] &= pawn[attacks] | stands_firm(after, square[attacks])
    fits[attacks] &= ~_undone(after, of.take(attacks))
    return _Tries.joined(tries.only(fits), mating)


def _undone(after: Boards, lines: _Lines) -> Flags:
    """Whether their king can step off the line so that it guards the man, and we don't win it then."""
    # A king that is in check already could be taken, and then there is none.
    king, front = square_of(after.kings & after.them) & 63, square_of(lines.front)
    steps = KING_STEPS[king] & KING_STEPS[front] & ~after.them & ~paired(LINE, lines.square, front)
    entry, step = exploded(np.where(BIT[king] == lines.rear, steps, EMPTY))
    stepped = after.take(entry).moved(king[entry], step)
    safe = (attackers(stepped, step) & stepped.us) == EMPTY
    entry, stepped = entry[safe], stepped.only(safe)
    return any_of(entry, ~can_win(stepped, front[entry], "us"), len(lines))


def _closed_by_a_pawn(view: View, lines: _Lines) -> Flags:
    """Whether a pawn of theirs can step onto the line before the front man and stay there."""
    gap = between(lines.square, square_of(lines.front))
    free, pawns = ~view.occupied[lines.row], view.their_pawns[lines.row] & ~lines.front
    one = shifted(pawns, SOUTH) & free
    steps = one | shifted(one & RANKS[5], SOUTH) & free
    safe = view.their_attacks | ~view.our_attacks
    closed: Flags = (gap & steps & safe[lines.row]) != EMPTY
    return closed


def _made(view: View, lines: _Lines) -> _Tries:
    """Safe moves of sliders that pin a piece absolutely, and in a thorough view also to another man."""
    line = np.flatnonzero(lines.slider != lines.square)
    of = lines.take(line)
    boards = view.boards.take(of.row)
    absolute = (of.rear & boards.kings) != EMPTY
    fits = (absolute | view.thorough) & ((of.front & boards.pawns) == EMPTY)
    fits &= exchange(boards, of.slider, of.square, of.binding, floor=-1) >= 0
    threat = (profits(view, boards.kind_at(of.slider), of.row) & of.front) != EMPTY
    fits &= absolute | threat
    lone = np.flatnonzero(fits & ~threat)
    second = joiners(view, of.row[lone], square_of(of.front[lone]), BIT[of.slider[lone]])
    takes = attackers(boards.take(lone), of.square[lone]) & of.front[lone]
    fits[lone] = (second != EMPTY) & (takes == EMPTY)
    some = np.flatnonzero(fits & absolute)
    fits[some] = ~_undone(boards.take(some).moved(of.slider[some], of.square[some]), of.take(some))
    # A threat is not enough where a pawn can step in between: then the pin must win something for good.
    closed = _closed_by_a_pawn(view, of)
    least = np.where(threat | closed, 1, 0)
    tries = _Tries(line, of.slider, of.square, np.full_like(line, PIN), least, ~closed)
    return tries.only(fits)


def _standing(view: View, lines: _Lines) -> _Tries:
    """No move: the pin alone keeps the front man from taking something with profit."""
    there = np.flatnonzero((lines.slider == lines.square) & (lines.blocker == EMPTY))
    reached = _reached(view, lines.take(there))
    ours = view.us & ~view.boards.kings
    entry, square = exploded(reached & ours[lines.row[there]])
    line = there[entry]
    of = lines.take(line)
    boards = view.boards.take(of.row)
    free = capture_gain(boards, square, "them", Binding.of(len(of), freed=of.front))
    some = np.flatnonzero(free)
    held = capture_gain(boards.take(some), square[some], "them", of.take(some).binding) < free[some]
    line = np.flatnonzero(marked(line[some[held]], len(lines)))
    front = square_of(lines.front[line])
    nothing = np.zeros_like(line)
    return _Tries(line, front, front, np.full_like(line, STANDING), nothing + 1, nothing != 0)


def _soon_over(view: View, lines: _Lines, tries: _Tries) -> Flags:
    """Whether the front man can take the slider and lose nothing, or their king can step away and guard it.

    Both are asked where it is their move, and the first also of a pin that only keeps the man from a capture.
    """
    of = lines.take(tries.line)
    waits = ~view.boards.our_move[of.row]
    front = square_of(of.front)
    over = waits & (tries.cannot == LEAVE) & (tries.square == front)
    over[over] = _undone(view.boards.take(of.row[over]), of.only(over))
    some = np.flatnonzero((waits | (tries.cannot == STANDING)) & ~over)
    boards = view.boards.take(of.row[some])
    some = some[(attackers(boards, of.slider[some]) & of.front[some]) != EMPTY]
    theirs = view.boards.take(view.other(of.row[some]))
    over[some] = loses_nothing(theirs, front[some] ^ 56, of.slider[some] ^ 56)
    return over


def _all_pins(view: View) -> tuple[Claims, Squares]:
    """What pins are claimed to do, and the shape of each."""
    lines = _lines(view)
    tries = _Tries.joined(
        _hopeful(view, lines, _tries(view, lines)), _made(view, lines), _standing(view, lines)
    )
    tries = tries.only(~_soon_over(view, lines, tries))
    of = lines.take(tries.line)
    made = tries.cannot == PIN
    between_them = between(of.square, square_of(of.rear)) & ~of.front
    asked = claims(
        Moves(of.row, tries.origin, tries.square),
        BIT[of.slider],
        of.front | of.rear,
        between_them | np.where(made, BIT[of.square], EMPTY),
        wanted=np.where(np.isin(tries.cannot, (TAKE, BLOCK)), ALL, of.front | of.rear),
        least=tries.least,
        checks=np.where(tries.least == MATE, 1, 0),
        detail=tries.cannot,
        threat=tries.threat,
        bound=np.where(made & (tries.least == 0), EMPTY, of.front),
    )
    return asked, of.shape


def _pins(view: View, shape: int) -> Claims:
    found, shapes = view.once(_all_pins)
    return found.only(shapes == shape)


def pin_on_file(view: View) -> Claims:
    """Pins along a file."""
    return _pins(view, FILE)


def pin_on_rank(view: View) -> Claims:
    """Pins along a rank."""
    return _pins(view, RANK)


def pin_on_diagonal(view: View) -> Claims:
    """Pins along a diagonal."""
    return _pins(view, DIAGONAL)


def _tell(line: str, instance: Instance) -> str:
    board, move, (slider,) = instance.board, instance.move, instance.actors
    pinner = move.to_square if move is not None and instance.detail == PIN else slider
    front, rear = sorted(instance.targets, key=lambda square: chess.square_distance(square, pinner))
    man, king, by = (wording.named(board, square) for square in (front, rear, slider))
    won = wording.so_wins(instance.wins)
    if move is None:
        reached = board.attacks(front) & board.occupied_co[instance.side] & ~chess.ray(slider, front)
        kept = f"it cannot take {wording.men(board, reached)}"
        return wording.sentence(f"{man} is pinned on the {line} to {king} by {by}: {kept}")
    to = chess.SQUARE_NAMES[move.to_square]
    if instance.detail == PIN:
        return wording.sentence(f"{by} {instance.does('pin')} {man} on the {line} to {king} from {to}{won}")
    take = "take back" if board.piece_at(move.to_square) else "take"
    cannot = {LEAVE: "leave", TAKE: f"{take} on {to}", BLOCK: "step between"}
    side, plays = wording.side_name(instance.side), instance.does("play")
    then = f", so {side} {plays}" if won else f" when {side} plays"
    return wording.sentence(
        f"{man} is pinned on the {line} to {king} by {by}: it cannot {cannot[instance.detail]}{then}"
        f" {wording.move(board, move)}{won}"
    )


def _declare(shape: int) -> Motif:
    line = _SHAPES[shape]
    return Motif(
        id=f"pin-on-{line}",
        title=f"Pin on the {line}",
        definition=(
            f"A rook, bishop or queen looks along the {line} through one enemy man at the king (absolute"
            " pin), or at a man worth more that would fall if the line opened (relative pin). It counts when"
            " it costs something that the man is not free: it cannot leave when it is attacked, or take, or"
            " guard what it seems to guard, or step between; or it can be pinned with such a threat."
        ),
        source="Nimzowitsch, My System (the pin); named from memory",
        find=(pin_on_file, pin_on_rank, pin_on_diagonal)[shape],
        tell=lambda instance: _tell(line, instance),
    )


MOTIFS = tuple(_declare(shape) for shape in (FILE, RANK, DIAGONAL))
