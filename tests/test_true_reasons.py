"""Every sentence of the stock-taking is true: a slow checker for each kind, written from the sentence.

The checkers look at the sentence and at a python-chess board, and share no code with the terms.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from functools import cache
from pathlib import Path
from random import Random

import chess
import slow
from real_positions import positions_in

from patterns.factors.assessment import Assessment, assess_boards
from patterns.words.verdicts import FACTORS
from patterns.words.wording import NUMBERS

POSITIONS = 400
SIDES = {"White": chess.WHITE, "Black": chess.BLACK}
KINDS = {chess.piece_name(kind): kind for kind in chess.PIECE_TYPES}
Check = Callable[[chess.Board, chess.Color, re.Match[str]], bool]
CHECKS: list[tuple[re.Pattern[str], Check]] = []
WINGS = {"queenside": (0, 1, 2), "centre": (3, 4), "kingside": (5, 6, 7)}


def says(pattern: str) -> Callable[[Check], Check]:
    """Registers a checker for the sentences that match. The first group is the side they are about."""

    def keep(check: Check) -> Check:
        CHECKS.append((re.compile(pattern), check))
        return check

    return keep


def squares(text: str) -> list[int]:
    return [chess.parse_square(name) for name in re.findall(r"\b[a-h][1-8]\b", text)]


def all_men(board: chess.Board, side: chess.Color, text: str) -> bool:
    """Whether each man named in the text (`knight on e5 and pawns on a2 and c3`) is there, of that side."""
    kind = None
    for word, square in re.findall(r"(king|queen|rook|bishop|knight|pawn)s? on|\b([a-h][1-8])\b", text):
        kind = KINDS[word] if word else kind
        if square and board.piece_at(chess.parse_square(square)) != chess.Piece(kind or 0, side):
            return False
    return True


def files_of(board: chess.Board, side: chess.Color) -> Counter[int]:
    return Counter(chess.square_file(square) for square in board.pieces(chess.PAWN, side))


def rank(square: int, side: chess.Color) -> int:
    """The rank as the side counts, from 0."""
    return chess.square_rank(square) if side else 7 - chess.square_rank(square)


def king(board: chess.Board, side: chess.Color) -> int:
    square = board.king(side)
    assert square is not None
    return square


def pieces(board: chess.Board, side: chess.Color) -> list[int]:
    return list(chess.scan_forward(board.occupied_co[side] & ~board.pawns & ~board.kings))


def falls(board: chess.Board, square: int) -> bool:
    """Whether the other side wins something by capturing the man on the square first."""
    side = board.color_at(square)
    assert side is not None
    return slow.settle(board, square, slow.WORTH[board.piece_type_at(square) or 0], not side) > 0


def useful(board: chess.Board, origin: int) -> set[int]:
    """Where the man can go, pinned or not by whose move it is, and lose nothing by exchange."""
    side = board.color_at(origin)
    seen = slow.seen_by_us(board, bool(side))
    turned = seen.copy(stack=False)
    turned.turn = chess.WHITE
    flip = 0 if side else 56
    pin = turned.pin(chess.WHITE, origin ^ flip)
    goes = turned.attacks(origin ^ flip) & pin & ~turned.occupied_co[chess.WHITE] & ~turned.kings
    return {square ^ flip for square in goes if slow.exchange(turned, origin ^ flip, square) >= 0}


def to_move(board: chess.Board, side: chess.Color) -> chess.Board:
    turned = board.copy(stack=False)
    if turned.turn != side:
        turned.turn = side
        turned.ep_square = None
    return turned


@says(r"(White|Black) is ahead by (.*)")
@says(r"(White|Black) has (.*) for (.*)")
def material(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    gap = Counter[str]()
    for part in told[0].split(", with "):
        gained, _, given = part.partition(" for ")
        for sign, words in ((1, gained), (-1, given)):
            for number, name in re.findall(rf"\b(a|{'|'.join(NUMBERS)}) ({'|'.join(KINDS)})s?", words):
                gap[name] += sign * (1 if number == "a" else NUMBERS.index(number))
    return all(
        len(board.pieces(kind, side)) - len(board.pieces(kind, not side)) == gap[name]
        for name, kind in KINDS.items()
        if name != "king"
    )


@says(r"(White|Black) has the bishop pair \((.*)\), (White|Black) has not")
def bishop_pair(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    def has(colour: chess.Color) -> bool:
        bishops = board.pieces(chess.BISHOP, colour)
        return bool(bishops & chess.BB_LIGHT_SQUARES) and bool(bishops & chess.BB_DARK_SQUARES)

    return has(side) and not has(not side)


@says(r"The pawns left \((White|Black) (\d+), (White|Black) (\d+)\) suit (White|Black)'s pieces better: .*")
def pawns_behind(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    counts = (len(board.pieces(chess.PAWN, side)), len(board.pieces(chess.PAWN, not side)))
    return counts == (int(told[2]), int(told[4])) and told[5] == told[1]


@says(r"(White|Black)'s (.*) outnumber (White|Black)'s pieces: a queen alone cannot guard everything")
def outnumber(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    more = len(pieces(board, side)) > len(pieces(board, not side))
    return all_men(board, side, told[2]) and more and len(board.pieces(chess.QUEEN, not side)) > 0


@says(r"(White|Black) is ahead but has no pawn left to win with")
def no_pawn_left(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    return not board.pieces(chess.PAWN, side)


@says(r"Bishops of opposite colours \((.*)\) help (White|Black), who is behind, to hold")
@says(r"With so few pawns left \(\d+\) (White|Black), who is behind, has good chances to hold")
def hard_to_win(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    worth = Counter(
        {
            colour: sum(
                slow.WORTH[board.piece_type_at(s) or 0]
                for s in chess.scan_forward(board.occupied_co[colour] & ~board.kings)
            )
            for colour in chess.COLORS
        }
    )
    behind = SIDES[re.findall("(White|Black), who is behind", told[0])[0]]
    return worth[behind] <= worth[not behind]


@says(r"(White|Black)'s king on (\w\d) has no pawn in front of it on the (.*)files?")
def no_cover(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    files = [chess.FILE_NAMES.index(letter) for letter in re.findall(r"\b([a-h])-", told[3])]
    ahead = [s for s in board.pieces(chess.PAWN, side) if rank(s, side) >= rank(king(board, side), side)]
    at = chess.square_file(king(board, side))
    near = all(abs(file - at) <= 1 for file in files)
    return bool(files) and near and not {chess.square_file(square) for square in ahead} & set(files)


@says(
    r"(White|Black)'s (.*) (?:has moved and leaves|have moved and leave) the king on (\w\d) with less cover"
)
def moved(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    at = king(board, side)
    wing = range(3) if chess.square_file(at) < 3 else range(5, 8) if chess.square_file(at) > 4 else range(0)
    return all_men(board, side, told[2]) and all(
        rank(square, side) > 1 and chess.square_file(square) in wing and rank(square, side) >= rank(at, side)
        for square in squares(told[2])
    )


@says(r"(White|Black)'s (pawns? on .*) storms? the position of (?:White|Black)'s king on (\w\d)")
def storm(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    at = chess.square_file(king(board, not side))
    wing = range(3) if at < 3 else range(5, 8) if at > 4 else range(0)
    return all_men(board, side, told[2]) and all(
        chess.square_file(square) in wing
        and rank(square, side) >= 3
        and board.piece_at(square + (8 if side else -8)) != chess.Piece(chess.PAWN, not side)
        for square in squares(told[2])
    )


@says(r"(White|Black)'s (.*) looks? down the (.*)files? at .* or a square beside it, with no pawn between")
def looks_down(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    at = king(board, not side)

    def free(square: int) -> bool:
        near = abs(chess.square_file(square) - chess.square_file(at)) <= 1
        goal = chess.square(chess.square_file(square), chess.square_rank(at))
        return near and goal != square and not chess.between(square, goal) & board.pawns

    return all_men(board, side, told[2]) and all(map(free, squares(told[2])))


@says(r"(White|Black)'s king on (\w\d) is still in the centre( and can no longer castle)?")
def in_the_centre(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    castles = board.has_castling_rights(side)
    return chess.square_file(king(board, side)) in (3, 4) and bool(told[3]) != castles


@says(
    r"Neither a pawn nor a bishop of (White|Black)'s holds the (light |dark )?squares (.*) near .*, "
    r"and .* has a bishop of that colour"
)
def weak_colour(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    for square in squares(told[3]):
        colour = (
            chess.BB_LIGHT_SQUARES
            if chess.BB_SQUARES[square] & chess.BB_LIGHT_SQUARES
            else chess.BB_DARK_SQUARES
        )
        guards = [
            pawn
            for pawn in board.pieces(chess.PAWN, side)
            if abs(chess.square_file(pawn) - chess.square_file(square)) == 1
            and rank(pawn, side) < rank(square, side)
        ]
        if (
            guards
            or board.pieces(chess.BISHOP, side) & colour
            or not board.pieces(chess.BISHOP, not side) & colour
        ):
            return False
    return True


@says(
    r"The cover of (White|Black)'s king on (\w\d) has not moved, but is thin on the (light |dark )?squares: "
    r"only the king guards (.*), and only (White|Black) has a bishop of that colour"
)
def thin_cover(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    at = king(board, side)
    wing = (0, 1, 2) if chess.square_file(at) < 3 else (5, 6, 7)
    cover = {chess.square(file, 1 if side else 6) for file in wing}
    for square in squares(told[4]):
        of_colour = [
            {board.color_at(bishop) for bishop in chess.scan_forward(board.bishops & colour)}
            for colour in (chess.BB_LIGHT_SQUARES, chess.BB_DARK_SQUARES)
            if chess.BB_SQUARES[square] & colour
        ]
        if of_colour != [{not side}] or list(board.attackers(side, square)) != [at]:
            return False
    return {*squares(told[4])} <= cover <= {*board.pieces(chess.PAWN, side)}


@says(r"(White|Black)'s bishop on (\w\d) guards the squares of its colour around the king")
def guardian(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    return (
        all_men(board, side, f"bishop on {told[2]}")
        and chess.square_distance(squares(told[2])[0], king(board, side)) <= 2
    )


def bearing(board: chess.Board, square: int) -> set[int]:
    """The men that attack the square, and those behind them on the same line, kings left out."""
    bare, found = board.copy(stack=False), set[int]()
    while seen := {man for side in chess.COLORS for man in bare.attackers(side, square)} - found:
        found |= seen
        for man in seen:
            if bare.piece_type_at(man) not in (chess.KNIGHT, chess.KING):
                bare.remove_piece_at(man)
    return {man for man in found if board.piece_type_at(man) != chess.KING}


def held_off(board: chess.Board, man: int, square: int) -> bool:
    """Whether a pin to its king keeps the man from capturing on the square."""
    return square not in board.pin(bool(board.color_at(man)), man)


@says(r"(White|Black)'s (.*) are aimed at (?:White|Black)'s king on (\w\d) and can come in on (.*)")
def attack(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    at = king(board, not side)
    near = {square for square in chess.SQUARES if chess.square_distance(square, at) <= 2}
    aimed = {square for square in pieces(board, side) if near & set(board.attacks(square))}
    told_of = re.findall(r"((?:[a-h]\d(?:, | or )?)+) \(([^)]*)\)", told[4])

    def men_on(square: int, colour: chess.Color) -> set[int]:
        return {man for man in bearing(board, square) if board.color_at(man) == colour}

    def ours_on(square: int) -> set[int]:
        return {man for man in men_on(square, side) if not held_off(board, man, square)}

    def as_told(square: int, words: str) -> bool:
        guarding, _, pinned = words.partition(", as ")
        theirs = men_on(square, not side)
        guards = {man for man in theirs if not held_off(board, man, square)}
        king_too = square in board.attacks(at)
        return (
            abs(chess.square_file(square) - chess.square_file(at)) <= 1
            and square in near
            and board.piece_at(square) in (None, chess.Piece(chess.PAWN, not side))
            and any(square in useful(board, piece) for piece in pieces(board, side))
            and len(ours_on(square)) > len(guards)
            and set(squares(guarding)) == guards
            and all_men(board, not side, guarding.replace("the king", ""))
            and set(squares(pinned)) == theirs - guards
            and all_men(board, not side, pinned)
            and guarding.endswith("the king") == king_too
            and (guarding == "unguarded") == (not guards and not king_too)
        )

    for square in squares(" ".join(names for names, _ in told_of)):
        aimed |= ours_on(square) & set(pieces(board, side))
    return (
        all_men(board, side, told[2])
        and set(squares(told[2])) == aimed
        and len(aimed) > 1
        and bool(told_of)
        and all(as_told(square, words) for names, words in told_of for square in squares(names))
    )


@says(r"(White|Black)'s king on (\w\d) has no flight square off its back rank")
def back_rank(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    at = king(board, side)
    return rank(at, side) == 0 and not [
        square
        for square in board.attacks(at)
        if rank(square, side) == 1
        and board.color_at(square) != side
        and not board.is_attacked_by(not side, square)
    ]


def pinned_to_the_queen(board: chess.Board, side: chess.Color) -> dict[int, int]:
    """The men that open a line to their queen if they leave, and what that costs."""
    costs = dict[int, int]()
    for man in chess.scan_forward(board.occupied_co[side] & ~board.kings & ~board.queens):
        left = board.copy(stack=False)
        left.remove_piece_at(man)
        for queen in board.pieces(chess.QUEEN, side):
            if left.attackers(not side, queen) - board.attackers(not side, queen):
                costs[man] = max(
                    costs.get(man, 0), slow.settle(left, queen, slow.WORTH[chess.QUEEN], not side)
                )
    return costs


def centre_pawn_falls(board: chess.Board, square: int) -> bool:
    """The same as `falls`, but men pinned to their queen capture only what is worth more than that costs."""
    side = bool(board.color_at(square))
    theirs, ours = pinned_to_the_queen(board, not side), pinned_to_the_queen(board, side)
    idle = {man for man, cost in theirs.items() if cost > 1}
    first = min(
        (slow.WORTH[board.piece_type_at(s) or 0] for s in board.attackers(not side, square) - idle), default=0
    )
    idle |= {man for man, cost in ours.items() if cost > min(first, slow.WORTH[chess.QUEEN])}
    return slow.settle(board, square, 1, not side, idle=frozenset(idle)) > 0


def levers_that_win(board: chess.Board, square: int) -> set[int]:
    """Where an enemy pawn can step to hit the pawn, so that then something is won there."""
    turned, found = to_move(board, not board.color_at(square)), set[int]()
    for move in turned.generate_pseudo_legal_moves(turned.pawns, ~turned.occupied):
        if move.promotion:
            continue
        turned.push(move)
        if square in turned.attacks(move.to_square) and falls(turned, square):
            found.add(move.to_square)
        turned.pop()
    return found


@says(r"(White|Black)'s (pawns? on .*) stands? firm in the centre")
def firm(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    pinned = pinned_to_the_queen(board, side)

    def helped(square: int) -> bool:
        helpers = [
            pawn
            for pawn in board.pieces(chess.PAWN, side)
            if abs(chess.square_file(pawn) - chess.square_file(square)) == 1
            and rank(pawn, side) < rank(square, side)
        ]
        guards = board.attackers(side, square) & board.pawns
        guarded = any(pinned.get(guard, 0) <= 1 for guard in guards)
        return guarded or (bool(helpers) and not board.is_attacked_by(not side, square))

    def cornered(square: int) -> bool:
        stopped = board.piece_at(square + (8 if side else -8)) is not None
        return stopped and bool(levers_that_win(board, square))

    return all_men(board, side, told[2]) and all(
        helped(square)
        and not board.is_pinned(side, square)
        and pinned.get(square, 0) <= 1
        and not centre_pawn_falls(board, square)
        and not cornered(square)
        for square in squares(told[2])
    )


TARGETS = r"(White|Black)'s (pawns? on [^:]*) stands? in the centre but (?:is a target|are targets)"


@says(rf"{TARGETS}: pinned to the king")
def pinned_target(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    return all_men(board, side, told[2]) and all(board.is_pinned(side, square) for square in squares(told[2]))


@says(rf"{TARGETS}: (.* is under fire from .*)")
def outnumbered_target(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    named = squares(told[2])
    said = re.split(r"(?:, | and )?\b(it|[a-h]\d) is under fire from ", f" {told[3]}")[1:]
    kings = {king(board, colour) for colour in chess.COLORS}

    def as_told(square: int, words: str) -> bool:
        by, _, guards = words.partition(" and guarded by ")
        bear = bearing(board, square) | {one for one in kings if square in board.attacks(one)}
        return (
            set(squares(by)) == {man for man in bear if board.color_at(man) != side}
            and set(squares(guards)) == {man for man in bear if board.color_at(man) == side}
            and all_men(board, not side, by)
            and all_men(board, side, guards)
            and (guards == "nobody") == (not squares(guards))
            and centre_pawn_falls(board, square)
        )

    return (
        all_men(board, side, told[2])
        and said[::2] == (["it"] if len(named) == 1 else [chess.square_name(square) for square in named])
        and all(map(as_told, named, said[1::2]))
    )


@says(rf"{TARGETS}: a pawn can come to (.*) and hit (?:it, and it is|them, and they are) pinned to the queen")
def target_of_a_lever(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    levers = {square: levers_that_win(board, square) for square in squares(told[2])}
    pinned = pinned_to_the_queen(board, side)
    return (
        all_men(board, side, told[2])
        and all(levers.values())
        and all(pinned.get(square, 0) > 1 for square in levers)
        and set(squares(told[3])) == set().union(*levers.values())
    )


@says(r"(White|Black)'s ((?:knight|bishop|pawn)s? on [^;]*) stands? in the centre")
def in_centre(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    central = {chess.D4, chess.E4, chess.D5, chess.E5}
    return (
        all_men(board, side, told[2])
        and set(squares(told[2])) <= central
        and not any(
            (centre_pawn_falls if board.pawns & chess.BB_SQUARES[square] else falls)(board, square)
            for square in squares(told[2])
        )
    )


@says(r"(White|Black)'s (pawns? on .*) (?:is|are) isolated")
def isolated(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    files = files_of(board, side)
    return all_men(board, side, told[2]) and not any(
        files[chess.square_file(square) + step] for square in squares(told[2]) for step in (-1, 1)
    )


@says(
    r"(White|Black)'s (pawns? on .*) (?:is|are) backward: no pawn can guard .*, and the way ahead is stopped"
)
def backward(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    def is_backward(square: int) -> bool:
        helpers = [
            pawn
            for pawn in board.pieces(chess.PAWN, side)
            if abs(chess.square_file(pawn) - chess.square_file(square)) == 1
            and rank(pawn, side) <= rank(square, side)
        ]
        stop = square + (8 if side else -8)
        held = board.attackers(not side, stop) & board.pawns
        seen, flip = slow.seen_by_us(board, side), 0 if side else 56
        free = board.piece_at(stop) is None and stop in board.pin(side, square)
        if free and slow.exchange(seen, square ^ flip, stop ^ flip) >= 0:
            return False
        return not helpers and (bool(held) or board.piece_at(stop) == chess.Piece(chess.PAWN, not side))

    return all_men(board, side, told[2]) and all(map(is_backward, squares(told[2])))


@says(r"(White|Black)'s (pawns on .*) are doubled")
def doubled(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    files = files_of(board, side)
    return all_men(board, side, told[2]) and all(files[chess.square_file(s)] > 1 for s in squares(told[2]))


@says(r"(White|Black)'s (pawns on .*) are hanging pawns: they hold space, but only pieces can guard them")
def hanging(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    pair, ours, theirs = squares(told[2]), files_of(board, side), files_of(board, not side)
    left, right = sorted(map(chess.square_file, pair))
    return (
        all_men(board, side, told[2])
        and right - left == 1
        and (ours[left - 1], ours[left], ours[right], ours[right + 1]) == (0, 1, 1, 0)
        and not theirs[left] + theirs[right]
        and not any(board.attackers(side, square) & board.pawns for square in pair)
    )


CHAINED = r"ha(?:s another|ve other) pawns? beside or behind (?:it|them): .* pawns work together better"


@says(rf"(White|Black)'s (pawns? on .*?)(?: and (\w+) others?)? {CHAINED}")
def chains(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    def helped(colour: chess.Color) -> set[int]:
        pawns = board.pieces(chess.PAWN, colour)
        return {
            square
            for square in pawns
            if any(
                abs(chess.square_file(pawn) - chess.square_file(square)) == 1
                and rank(square, colour) - rank(pawn, colour) in (0, 1)
                for pawn in pawns
            )
        }

    def ahead(colour: chess.Color) -> int:
        return len(helped(colour)) + sum(rank(square, colour) >= 4 for square in helped(colour))

    named, others = set(squares(told[2])), NUMBERS.index(told[3] or "no")
    return (
        all_men(board, side, told[2])
        and named <= helped(side)
        and len(helped(side)) == len(named) + others
        and ahead(side) > ahead(not side)
    )


@says(
    r"(White|Black)'s (pawns? on .*?) (?:is|are) passed(?:, (?:(?:that|those) on (.*) )?held up by the (.*))?"
)
def passed(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    def free(square: int) -> bool:
        return not any(
            abs(chess.square_file(pawn) - chess.square_file(square)) <= 1
            and rank(pawn, side) > rank(square, side)
            for pawn in board.pieces(chess.PAWN, not side)
        )

    def stoppers(pawns: list[int]) -> set[int]:
        ahead = {square + (8 if side else -8) for square in pawns}
        return {square for square in ahead if board.color_at(square) == (not side)}

    named, held = squares(told[2]), squares(told[3] or told[2]) if told[4] else []
    return (
        all_men(board, side, told[2])
        and all(map(free, named))
        and all_men(board, not side, told[4] or "")
        and set(squares(told[4] or "")) == stoppers(named) == stoppers(held)
        and len(held) == len(stoppers(named))
    )


@says(r"(White|Black)'s pawns are split into (\d) islands, (White|Black)'s into fewer")
def islands(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    def number(colour: chess.Color) -> int:
        files = files_of(board, colour)
        return sum(1 for file in files if not files[file - 1])

    return number(side) == int(told[2]) > number(not side)


@says(
    r"(White|Black)'s (pawns? on .*) forms? a majority on the wing away from (?:White|Black)'s king on (\w\d)"
)
def majority(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    at = chess.square_file(king(board, not side)) > 3
    for wing in {chess.square_file(square) > 3 for square in squares(told[2])}:
        ours, theirs = (
            sum(number for file, number in files_of(board, colour).items() if (file > 3) == wing)
            for colour in (side, not side)
        )
        if wing == at or ours <= theirs:
            return False
    return all_men(board, side, told[2])


@says(r"(White|Black) has more room behind the pawns (?:in the|on the) (\w+) \((\d+) squares?\)")
def room(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    def held(colour: chess.Color) -> int:
        return sum(
            chess.square_file(square) in WINGS[told[2]]
            and 1 <= rank(square, colour) <= 4
            and board.piece_at(square) != chess.Piece(chess.PAWN, colour)
            and not board.attackers(not colour, square) & board.pawns
            and any(
                chess.square_file(pawn) == chess.square_file(square)
                and rank(pawn, colour) > rank(square, colour)
                for pawn in board.pieces(chess.PAWN, colour)
            )
            for square in chess.SQUARES
        )

    return held(side) == int(told[3]) > held(not side)


@says(r"(White|Black) reaches further past the middle (?:in the|on the) (\w+) \((.*)\)")
def reach(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    def held(colour: chess.Color) -> set[int]:
        return {
            square
            for square in chess.SQUARES
            if chess.square_file(square) in WINGS[told[2]]
            and rank(square, colour) >= 4
            and not board.attackers(not colour, square) & board.pawns
            and board.attackers(colour, square) & ~board.queens & ~board.kings
        }

    return set(squares(told[3])) == held(side) and len(held(side)) > len(held(not side))


@says(r"(White|Black)'s (pawns? on .*) (?:has|have) crossed the middle")
def crossed(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    return all_men(board, side, told[2]) and all(rank(square, side) >= 4 for square in squares(told[2]))


@says(r"(White|Black) is to move")
def the_move(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    return board.turn == side


@says(r"(White|Black) (can|threatens to) mate (?:White|Black)'s king on \w\d at once")
def mate(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    turned = to_move(board, side)
    for move in turned.legal_moves:
        turned.push(move)
        if turned.is_checkmate():
            return (told[2] == "can") == (board.turn == side)
        turned.pop()
    return False


def best_exchange(board: chess.Board, side: chess.Color, square: int | None = None) -> int:
    """The most that `side`, to move, wins by a capture (on the square) or a promotion, by exchange."""
    seen, flip = slow.seen_by_us(board, side), 0 if side else 56
    gains = [
        slow.exchange(seen, move.from_square ^ flip, move.to_square ^ flip)
        for move in board.legal_moves
        if square in (None, move.to_square)
        and (board.is_capture(move) or move.promotion)
        and move.promotion in (None, chess.QUEEN)
    ]
    return max([0, *gains])


def stands_up(board: chess.Board, square: int) -> bool:
    """Whether a capture or promotion there wins a pawn whatever the answer, if need be by a second one."""

    def keeps(move: chess.Move) -> bool:
        after = board.copy(stack=False)
        after.push(move)
        if after.is_stalemate():
            return False
        for answer in slow.moves(after):
            later = after.copy(stack=False)
            later.push(answer)
            kept = slow.gain(board, move) - slow.gain(after, answer)
            if later.is_checkmate() or (kept < 1 and kept + best_exchange(later, board.turn) < 1):
                return False
        return True

    takes = (move for move in slow.moves(board) if move.to_square == square and slow.gain(board, move) > 0)
    return any(map(keeps, takes))


@says(r"(White|Black) (can|threatens to) win material on (.*)")
def wins(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    turned = to_move(board, side)
    return all(
        best_exchange(turned, side, square) > 0 and stands_up(turned, square) for square in squares(told[3])
    ) and (told[2] == "can") == (board.turn == side)


@says(r"(White|Black) has a safe check on (.*)")
def safe_check(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    def after(piece: int, square: int) -> chess.Board:
        moved = board.copy(stack=False)
        moved.set_piece_at(square, moved.remove_piece_at(piece))
        moved.turn, moved.ep_square = not side, None
        return moved

    def stands(moved: chess.Board, square: int) -> bool:
        """Whether no answer takes the man for nothing or for as much, or comes between and attacks it."""
        for answer in moved.legal_moves:
            there = moved.copy(stack=False)
            there.set_piece_at(answer.to_square, there.remove_piece_at(answer.from_square))
            taken = answer.to_square == square
            between = answer.to_square in chess.SquareSet(chess.between(square, king(moved, not side)))
            if taken or (between and square in there.attacks(answer.to_square)):
                flip = 0 if not side else 56
                seen = slow.seen_by_us(moved, not side)
                if slow.exchange(seen, answer.from_square ^ flip, answer.to_square ^ flip) >= 0:
                    return False
        return True

    def is_safe_check(piece: int, square: int) -> bool:
        moved = after(piece, square)
        return king(board, not side) in moved.attacks(square) and stands(moved, square)

    return all(
        any(square in useful(board, piece) and is_safe_check(piece, square) for piece in pieces(board, side))
        for square in squares(told[2])
    )


AHEAD = r"(White|Black) is ahead in development: "
UNCASTLED = r"(White|Black)'s king on \w\d has not castled yet"


@says(
    rf"{AHEAD}(?:White|Black)'s (\D[^()]*?) (?:is|are) still at home"
    rf"(?: \(of (\w+'s only the .*)\))?( and {UNCASTLED})?"
)
@says(rf"{AHEAD}()()({UNCASTLED})")
def development(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    def at_home(colour: chess.Color) -> set[int]:
        homes = {chess.KNIGHT: "bg", chess.BISHOP: "cf"}
        return {
            square
            for kind, files in homes.items()
            for square in board.pieces(kind, colour)
            if rank(square, colour) == 0 and chess.FILE_NAMES[chess.square_file(square)] in files
        }

    def uncastled(colour: chess.Color) -> bool:
        return board.has_castling_rights(colour) and chess.square_file(king(board, colour)) == 4

    named, ours = set(squares(told[2])), at_home(side)
    more = len(at_home(not side)) > len(ours)
    return (
        (more or len(at_home(not side)) == len(ours))
        and all_men(board, not side, told[2])
        and named == (at_home(not side) if more else set())
        and set(squares(told[3] or "")) == (ours if more else set())
        and all_men(board, side, told[3] or "")
        and bool(told[4]) == (uncastled(not side) and not uncastled(side))
        and (more or bool(told[4]))
    )


@says(r"(White|Black)'s (.*) stands? on the (open|half-open) (.*)files?")
def on_file(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    ours, theirs = files_of(board, side), files_of(board, not side)
    return all_men(board, side, told[2]) and all(
        not ours[file] and bool(theirs[file]) == (told[3] == "half-open")
        for file in map(chess.square_file, squares(told[2]))
    )


@says(r"(White|Black)'s (.*) are doubled on the (.*)files?")
def doubled_pieces(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    def with_another(square: int) -> bool:
        return any(
            chess.square_file(other) == chess.square_file(square)
            and other != square
            and not chess.between(square, other) & board.pawns & board.occupied_co[side]
            for other in squares(told[2])
        )

    return all_men(board, side, told[2]) and all(map(with_another, squares(told[2])))


@says(r"(White|Black)'s (.*) stands? on the seventh rank")
def seventh(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    return all_men(board, side, told[2]) and all(rank(square, side) == 6 for square in squares(told[2]))


@says(r"(White|Black)'s (bishops? on .*) (?:has|have) a diagonal clear of pawns into (?:White|Black)'s half")
def diagonal(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    def long(square: int) -> bool:
        bare = board.copy(stack=False)
        for other in chess.scan_forward(board.occupied & ~board.pawns & ~chess.BB_SQUARES[square]):
            bare.remove_piece_at(other)
        return any(rank(goal, side) >= 4 for goal in bare.attacks(square))

    return all_men(board, side, told[2]) and all(map(long, squares(told[2])))


@says(r"(White|Black)'s pieces have (more|fewer) useful squares to go to(?:, .*above all the (.*))?")
def mobility(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    def number(colour: chess.Color) -> int:
        return sum(len(useful(board, piece)) for piece in pieces(board, colour))

    more, fewer = number(side) > number(not side), number(side) < number(not side)
    return all_men(board, side, told[3] or "") and (more if told[2] == "more" else fewer)


@says(r"(White|Black)'s (.*) (?:is|are) attacked and (?:has|have) no safe square to go to")
def trapped(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    return all_men(board, side, told[2]) and all(
        falls(board, square) and not useful(board, square) for square in squares(told[2])
    )


@says(r"(White|Black)'s (.*) (?:cannot be driven off by a pawn and stands on an outpost|stand on outposts)")
def outpost(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    def stays(square: int) -> bool:
        return not any(
            abs(chess.square_file(pawn) - chess.square_file(square)) == 1
            and rank(pawn, side) > rank(square, side)
            for pawn in board.pieces(chess.PAWN, not side)
        ) and bool(board.attackers(side, square) & board.pawns)

    return all_men(board, side, told[2]) and all(map(stays, squares(told[2])))


@says(r"(White|Black)'s (bishops? on .*) (?:is|are) bad: fixed pawns of .* own colour shut .* in")
def bad_bishop(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    return all_men(board, side, told[2]) and all(
        len(useful(board, square)) <= 5
        and sum(
            (
                chess.square_rank(p)
                + chess.square_file(p)
                - chess.square_rank(square)
                - chess.square_file(square)
            )
            % 2
            == 0
            for p in board.pieces(chess.PAWN, side)
        )
        >= 3
        for square in squares(told[2])
    )


@says(r"(White|Black)'s (.*) (?:is|are) unguarded")
def loose(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    return all_men(board, side, told[2]) and not any(board.attackers(side, s) for s in squares(told[2]))


@says(r"(White|Black)'s (.*) (?:is|are) pinned to the king")
def pinned(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    return all_men(board, side, told[2]) and all(board.is_pinned(side, square) for square in squares(told[2]))


@says(r"(White|Black)'s (.*) (?:is|are) overloaded: the only guard of more than one attacked man")
def overloaded(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    def alone(square: int) -> list[int]:
        return [
            man
            for man in chess.scan_forward(board.occupied_co[side] & ~board.kings)
            if board.is_attacked_by(not side, man) and list(board.attackers(side, man)) == [square]
        ]

    return all_men(board, side, told[2]) and all(len(alone(square)) > 1 for square in squares(told[2]))


@says(r"(White|Black)'s (.*) looks? tied to guarding (.*), but also attacks? (.*)")
def active_guard(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    guards, held, hit = (set(squares(part)) for part in told.group(2, 3, 4))
    return (
        all_men(board, side, told[2])
        and all(
            board.color_at(man) == side
            and board.is_attacked_by(not side, man)
            and len(board.attackers(side, man)) == 1
            and set(board.attackers(side, man)) <= guards
            for man in held
        )
        and all(board.color_at(man) == (not side) for man in hit)
        and all(held & set(board.attacks(one)) and hit & set(board.attacks(one)) for one in guards)
    )


@says(
    r"(White|Black)'s (knights? on .*) looks? no worse than the (bishops? on .*), but takes? part nowhere: "
    r"only the bishops? works? from afar"
)
def bystander(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    def idle(knight: int) -> bool:
        of_note = [
            man
            for man in board.attacks(knight)
            if board.color_at(man) == (not side)
            or (board.color_at(man) == side and board.is_attacked_by(not side, man))
        ]
        ahead = [square for square in useful(board, knight) if rank(square, side) >= 4]
        return not [man for man in of_note if man != king(board, side)] and not ahead

    def works(bishop: int) -> bool:
        return sum(rank(square, side) >= 4 for square in board.attacks(bishop)) >= 2

    return (
        all_men(board, side, told[2])
        and all_men(board, side, told[3])
        and all(rank(square, side) < 4 for square in squares(told[2] + told[3]))
        and all(map(idle, squares(told[2])))
        and all(map(works, squares(told[3])))
    )


@says(r"(White|Black)'s (knights? on .*) stands? aside, with few squares to go to")
def sidelined(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    return all_men(board, side, told[2]) and all(
        len(useful(board, square)) <= 3 and (rank(square, side) == 0 or chess.square_file(square) in (0, 7))
        for square in squares(told[2])
    )


@says(r"(White|Black)'s men work together on (.*)")
def together(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    return all(len(board.attackers(side, square)) > 1 for square in squares(told[2]))


@says(r"(White|Black)'s king on (\w\d) is nearer to the centre than (?:White|Black)'s king on (\w\d)")
def active_king(board: chess.Board, side: chess.Color, told: re.Match[str]) -> bool:
    def steps(square: int) -> float:
        return abs(chess.square_file(square) - 3.5) + abs(chess.square_rank(square) - 3.5)

    return steps(king(board, side)) < steps(king(board, not side))


@cache
def sampled(archive: Path) -> tuple[list[chess.Board], list[Assessment]]:
    boards = Random(12).sample(positions_in(archive / "data" / "pgn"), POSITIONS)
    return boards, assess_boards(boards)


def clauses(text: str) -> list[str]:
    """A reason that speaks of both sides is two sentences."""
    return re.split(r"; (?=(?:White|Black|The |With |Neither |Bishops ))", text)


def test_every_sentence_is_true(chess_archive: Path) -> None:
    seen = Counter[str]()
    for board, assessment in zip(*sampled(chess_archive), strict=True):
        for factor in assessment.factors:
            for reason in factor.stated:
                if reason.text.endswith("small things together"):
                    continue
                for clause in clauses(reason.text):
                    fit = [(check, told) for pattern, check in CHECKS if (told := pattern.fullmatch(clause))]
                    assert fit, (board.fen(), clause)
                    check, told = fit[0]
                    side = SIDES[re.findall("White|Black", clause)[0]]
                    assert check(board, side, told), (board.fen(), clause)
                    seen[check.__name__] += 1
    assert seen.total() > 10 * POSITIONS
    unseen = {check.__name__ for _, check in CHECKS} - set(seen)
    assert len(unseen) <= 8, unseen


def test_captures_that_win_more_than_a_pawn_are_told(chess_archive: Path) -> None:
    """Those that win by exchange, and keep it whatever the answer."""
    told = counted = 0
    boards = positions_in(chess_archive / "data" / "pgn")
    for board, assessment in zip(boards, assess_boards(boards), strict=True):
        side = "White" if board.turn else "Black"
        text = "; ".join(reason.text for reason in assessment.factors[FACTORS.index("initiative")].stated)
        found = re.search(rf"{side} can win material on ([^;]*)", text)
        for square in {move.to_square for move in board.legal_moves if board.is_capture(move)}:
            if best_exchange(board, board.turn, square) > 1 and stands_up(board, square):
                counted += 1
                told += f"{side} can mate" in text or square in squares(found[1] if found else "")
    assert counted > 20
    assert told >= 0.9 * counted
