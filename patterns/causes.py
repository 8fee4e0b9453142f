"""Why a move was the root of an episode: the motif that it overlooked or let in, and the factor it hurt."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain

import chess

from patterns.boards.worth import ahead
from patterns.catalogue import MOTIFS
from patterns.engines.episodes import ScoredMove
from patterns.engines.rule_ends import after
from patterns.explained import FIRST, LOOSE_PIECE, NEXT, THIRD, Explained, Kind
from patterns.factors.assessment import Assessment, assess_boards
from patterns.lines import uses_of_many
from patterns.lines.quiet_reasons import at_the_king, quiet_reasons
from patterns.proof.claims import EXCHANGE
from patterns.proof.played_line import Use, own_moves_of
from patterns.root_lines import RootLines, lines_of
from patterns.words.verdicts import NEVER_A_CAUSE

LEAST_CHANGE = 0.2
"""Logits: a twentieth of expected score near level, as much as a move that holds may lose."""

MOTIF_FACTORS: Mapping[str, str] = {
    "back-rank": "king-safety",
    "cover-sacrifice": "king-safety",
    "fianchetto": "king-safety",
    "heavy-pieces-at-the-king": "king-safety",
    "king-hunt": "king-safety",
    "king-in-centre": "king-safety",
    "mating-net": "king-safety",
    "open-king": "king-safety",
    "opposite-bishops-attack": "king-safety",
    "pawn-storm": "king-safety",
    "threat-of-mate": "king-safety",
    "isolani-play": "centre",
    "backward-pawn": "pawn-structure",
    "base-of-the-chain": "pawn-structure",
    "besieged-pawn": "pawn-structure",
    "doubled-pawns": "pawn-structure",
    "hanging-pawns": "pawn-structure",
    "isolated-pawn": "pawn-structure",
    "minority-attack": "pawn-structure",
    "passed-pawn": "pawn-structure",
    "pawn-lever": "pawn-structure",
    "wing-majority": "pawn-structure",
    "more-space": "space",
    "open-file": "open-lines",
    "seventh-rank": "open-lines",
    "bad-bishop": "piece-play",
    "bishop-pair": "piece-play",
    "blockade": "piece-play",
    "knight-against-bad-bishop": "piece-play",
    "loose-piece": "piece-play",
    "outpost": "piece-play",
    "overloaded-defender": "piece-play",
    "pin-on-diagonal": "piece-play",
    "pin-on-file": "piece-play",
    "pin-on-rank": "piece-play",
    "sidelined-knight": "piece-play",
    "trapped-piece": "piece-play",
    "unopposed-bishop": "piece-play",
    "weak-square": "piece-play",
}
"""The factor that a motif belongs to: what its evidence counts for in the stock-taking. A motif that is not
here, such as a fork, can arise from anything; the change between two positions says from what."""


@dataclass(frozen=True)
class Cause:
    """Why a move was a root.

    `kind`: whether the player overlooked a motif of their own or let in one of the opponent's; None if
    neither. `use`: what the line uses, in its `FIRST` or `NEXT` move. `missed`: whether the line is the best
    one from the root, else it is the answer to the move played. `line`: up to where it ends quietly.
    `factor`: None if none. `own_factor`: whether it is the motif's own, else it is what changed most. `wins`:
    pawns that the line wins, counted from the root on; infinite if it mates. `is_plain`: whether the motif is
    true on the board but not proven (`plain_reasons`, `quiet_reasons`, or a feature beside the point). That
    is enough to tell a coach, but not for a card or a count.
    """

    kind: Kind | None
    use: Use | None
    missed: bool
    line: tuple[chess.Move, ...]
    factor: str | None
    own_factor: bool = False
    wins: float = 0.0
    is_plain: bool = False


def causes_of(roots: Sequence[ScoredMove], played_on: Sequence[Sequence[chess.Move]] = ()) -> list[Cause]:
    """The cause of each root, from the lines that its comparison found.

    `played_on`: after each root the moves of the game, as far as they show why it was a mistake.
    """
    lines = [lines_of(root, game) for root, game in zip(roots, played_on or [()] * len(roots), strict=True)]
    uses = uses_of_many([line for four in lines for line in four.every])
    boards = [
        board for four in lines for board in (before_material(*four.best), before_material(*four.punishing))
    ]
    taken = assess_boards(boards)
    return [
        _cause(
            four,
            four.explained(uses[4 * place : 4 * place + 4]),
            changed_most(taken[2 * place], taken[2 * place + 1], four.root.board.turn),
        )
        for place, four in enumerate(lines)
    ]


def _cause(lines: RootLines, uses: Sequence[Sequence[Use]], changed: str | None) -> Cause:
    """`uses`: of the four lines. `changed`: the factor that changed most."""
    plain, (wins, loses) = lines.plain(), lines.missed_and_lost()
    anyway = [*uses[1], *plain[1]]
    best = Explained("overlooked", lines.best, uses[0], plain[0], wins)
    punishing = Explained("let in", lines.punishing, _new(uses[2], anyway), _new(plain[2], anyway), loses)
    game = Explained(
        "let in",
        lines.played_on,
        _new([use for use in uses[3] if MOTIFS[use.motif].in_line is None], anyway),
        _new(plain[3], anyway),
        lines.lost_in_the_game(),
    )
    missed = loses < 1 <= wins or (was_missed(lines.root) and not wins < 1 <= loses)
    of, other = (best, punishing) if missed else (punishing, best)
    reasons = chain(
        _what_decides(of),
        _what_decides(other) if other.wins >= EXCHANGE else (),
        _what_is_done(lines, of, other, game),
    )
    for line, is_plain, use in reasons:
        factor = MOTIF_FACTORS.get(use.motif)
        return Cause(
            line.kind,
            use,
            line is best,
            line=tuple(line.line[1]),
            factor=factor or changed,
            own_factor=factor is not None,
            wins=max(line.wins, 0.0),
            is_plain=is_plain,
        )
    return Cause(None, None, of is best, tuple(of.line[1]), changed, wins=max(of.wins, 0.0))


Reason = tuple[Explained, bool, Use]
"""What may be the motif of a root, with its line, and whether it is only plain."""


def _what_decides(of: Explained) -> Iterator[Reason]:
    """What explains at least half of what a line wins, what counts most first.

    A tactical motif says more than an attack on an open king, if only a pawn falls in it; that more than a
    feature that the line takes up; and all of them more than that a man is simply taken.
    """
    tactical: list[Reason] = []
    features: list[Reason] = []
    for ply in (FIRST, NEXT, THIRD):
        tactical += ((of, False, use) for use in of.made(ply))
        tactical += ((of, True, use) for use in of.plainly(ply))
        if ply != THIRD:
            features += ((of, True, use) for use in of.stood(ply))
    decide = [(line, is_plain, use) for line, is_plain, use in tactical if line.decides(use)]
    decide.sort(key=lambda reason: -reason[0].explains(reason[2]))
    yield from (reason for reason in decide if reason[2].motif != LOOSE_PIECE)
    if 1 <= of.wins < EXCHANGE:
        yield from ((of, True, use) for use in at_the_king(own_moves_of(*of.line)))
    features.sort(key=lambda reason: reason[2].motif not in MOTIF_FACTORS)
    yield from (reason for reason in features if of.decides(reason[2]))
    yield from (reason for reason in decide if reason[2].motif == LOOSE_PIECE and reason[2].ply != THIRD)


def _what_is_done(lines: RootLines, of: Explained, other: Explained, game: Explained) -> Iterator[Reason]:
    """What the moves do, whether or not it explains what they win.

    First what the first move does: of the line that decides, and of the other one, if that wins men or mates;
    plainly only if it wins more than a pawn. Then what the game showed, what the move gives away besides men,
    and what the next move does.
    """
    deciding = [of, other] if other.wins >= 1 else [of]
    punishing = other if of.kind == "overlooked" else of
    root, answer = lines.root, own_moves_of(*lines.punishing)
    in_order: list[tuple[Explained, bool, Sequence[Use]]] = [
        *((line, False, line.made(FIRST)) for line in deciding),
        *((line, True, line.plainly(FIRST)) for line in deciding if line is of or line.wins >= EXCHANGE),
        (game, False, game.made(FIRST)),
        (game, True, game.plainly(FIRST)),
        (game, False, game.made(NEXT)),
        (game, True, game.plainly(NEXT)),
        (punishing, True, quiet_reasons(root.board, root.move, answer, punishing.wins)),
        (of, False, of.made(NEXT)),
        (of, True, of.plainly(NEXT)),
        (of, True, of.stood(FIRST)),
        (of, True, of.taken(FIRST)),
        (other, True, [use for use in other.plainly(FIRST) if use.motif != LOOSE_PIECE]),
    ]
    for line, is_plain, uses in in_order:
        yield from ((line, is_plain, use) for use in uses)


def _new(uses: Sequence[Use], anyway: Sequence[Use]) -> list[Use]:
    """The uses without those that come anyway, by the same motif with a common target."""
    return [
        use
        for use in uses
        if not any(one.motif == use.motif and {*one.targets} & {*use.targets} for one in anyway)
    ]


def was_missed(root: ScoredMove) -> bool:
    """Whether the root missed a chance rather than let something in: the player would have been further above
    one half than they are below it now.
    """
    compared = root.compared
    return round(compared.best.in_practice + compared.played.in_practice, 6) > 1.0


def changed_between(before: chess.Board, now: chess.Board) -> str | None:
    """The factor by which the side to move in `before` stands worse now, most of all; None if by none."""
    at_first, at_last = assess_boards([before, now])
    return changed_most(at_first, at_last, before.turn)


def changed_most(holding: Assessment, played: Assessment, side: chess.Color) -> str | None:
    """The factor by which `side` stands worse in `played` than in `holding`, most of all; None if by none."""
    sign = 1 if side == chess.WHITE else -1
    lost = {
        before.factor: sign * (before.balance - now.balance)
        for before, now in zip(holding.factors, played.factors, strict=True)
        if before.factor not in NEVER_A_CAUSE
    }
    most = max(lost, key=lost.__getitem__)
    return most if lost[most] >= LEAST_CHANGE else None


def before_material(board: chess.Board, line: Sequence[chess.Move]) -> chess.Board:
    """The position of a line just before the material changes for good; the last one if it does not."""
    boards = [board.copy(stack=False)]
    for move in line:
        boards.append(after(boards[-1], move))
    ahead_by = [ahead(one, chess.WHITE) for one in boards]
    last = len(boards) - 1
    while last > 0 and ahead_by[last - 1] == ahead_by[-1]:
        last -= 1
    if ahead_by[-1] != ahead_by[0] and last > 0:
        return boards[last - 1]
    return boards[-1]
