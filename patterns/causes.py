"""Why a move was the root of an episode: the motif that it overlooked or let in, and the factor it hurt."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import chess

from patterns.boards.worth import WORTH, ahead
from patterns.catalogue import MOTIFS
from patterns.engines.episodes import ScoredMove
from patterns.engines.quiet_lines import quiet_line
from patterns.engines.rule_ends import after
from patterns.factors.assessment import Assessment, assess_boards
from patterns.lines import Line, uses_of_many
from patterns.lines.recaptures import taken_by, without_recaptures
from patterns.proof.played_line import Use
from patterns.words.outcome import outcome
from patterns.words.verdicts import NEVER_A_CAUSE

Kind = Literal["overlooked", "let in"]

LINE_PLIES = 8
"""Plies of a line before it ends as soon as it is quiet: what comes later is the engine's guess."""

MOVES_LOOKED_AT = 3
"""Moves of a side of a line whose motifs can be the cause: the first, and what it leads to at once."""

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
    neither. `use`: what the line uses, at most in its `MOVES_LOOKED_AT`th move. `missed`: whether the line is
    the best one from the root, else it is the answer to the move played. `line`: up to where it ends quietly.
    `factor`: None if none. `own_factor`: whether it is the motif's own, else it is what changed most.
    `wins`: pawns that the line wins, counted from the root on; infinite if it mates.
    """

    kind: Kind | None
    use: Use | None
    missed: bool
    line: tuple[chess.Move, ...]
    factor: str | None
    own_factor: bool = False
    wins: float = 0.0


@dataclass(frozen=True)
class _Lines:
    """Three lines about a root: the best one, the answer to it, and the answer to the move played.

    `taken`: where the move before each of them took a man.
    """

    best: Line
    answer: Line
    punishing: Line
    taken: tuple[chess.Square | None, ...]

    def explained(self, uses: Sequence[Sequence[Use]]) -> list[list[Use]]:
        """The uses of the three lines without those of moves that only take back."""
        lines = (self.best, self.answer, self.punishing)
        return [
            without_recaptures(found, *line, taken)
            for found, line, taken in zip(uses, lines, self.taken, strict=True)
        ]

    def missed_and_lost(self, played: chess.Move) -> tuple[float, float]:
        """Pawns that the best line wins for the player, and that the line played loses; infinite for a mate.

        A man of the player that has just been taken, and that the best move takes back, is neither.
        """
        board, best = self.best
        to_take_back = 0
        if best[0].to_square == self.taken[0]:
            to_take_back = WORTH[board.piece_type_at(best[0].to_square) or chess.PAWN]
        missed = _won(board, best, board.turn) - to_take_back
        return missed, _won(board, (played, *self.punishing[1]), not board.turn) + to_take_back


def causes_of(roots: Sequence[ScoredMove]) -> list[Cause]:
    """The cause of each root, from the lines that its comparison found."""
    lines = [_lines(root) for root in roots]
    uses = uses_of_many([line for three in lines for line in (three.best, three.answer, three.punishing)])
    boards = [
        board
        for three in lines
        for board in (before_material(*three.best), before_material(*three.punishing))
    ]
    taken = assess_boards(boards)
    return [
        _cause(
            root,
            three,
            three.explained(uses[3 * place : 3 * place + 3]),
            changed_most(taken[2 * place], taken[2 * place + 1], root.board.turn),
        )
        for place, (root, three) in enumerate(zip(roots, lines, strict=True))
    ]


def _cause(root: ScoredMove, lines: _Lines, uses: Sequence[Sequence[Use]], changed: str | None) -> Cause:
    """`uses`: of the three lines. `changed`: the factor that changed most."""
    own, theirs, punishing = uses
    wins, loses = lines.missed_and_lost(root.move)
    missed = was_missed(root) if (wins >= 1) == (loses >= 1) else wins >= 1
    let_in = [use for use in punishing if not _is_among(use, theirs)]
    kind, use = _kind(missed, (own, wins), (let_in, loses))
    if kind is not None:
        missed = kind == "overlooked"
    factor = MOTIF_FACTORS.get(use.motif) if use else None
    return Cause(
        kind,
        use,
        missed,
        line=tuple(lines.best[1] if missed else lines.punishing[1]),
        factor=factor or changed,
        own_factor=factor is not None,
        wins=max(wins if missed else loses, 0.0),
    )


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


def _lines(root: ScoredMove) -> _Lines:
    best = [chess.Move.from_uci(uci) for uci in root.compared.best.line]
    played = [chess.Move.from_uci(uci) for uci in root.compared.played.line[1:]]
    holds = root.board.copy(stack=False)
    holds.push(best[0])
    holds.clear_stack()
    falls = after(root.board, root.move)
    return _Lines(
        (root.board, quiet_line(root.board, best, LINE_PLIES)),
        (holds, quiet_line(holds, best[1:], LINE_PLIES)),
        (falls, quiet_line(falls, played, LINE_PLIES)),
        (root.taken, taken_by(root.board, best[0]), taken_by(root.board, root.move)),
    )


def _won(board: chess.Board, line: Sequence[chess.Move], side: chess.Color) -> float:
    """Pawns that a side has more after the line than before it; infinite if it mates."""
    found = outcome(board, [move.uci() for move in line], side)
    return math.inf if found.mates else found.pawns


def _kind(
    missed: bool, own: tuple[Sequence[Use], float], theirs: tuple[Sequence[Use], float]
) -> tuple[Kind | None, Use | None]:
    """Whether a motif of the best line or of the punishment is the cause: of the line that `missed` says.

    If that line uses none, it is one of the other line, if that one wins men by it or mates.

    `own`, `theirs`: the uses of the best line and of the punishment, and the pawns that they win.
    """
    order: list[tuple[Kind, tuple[Sequence[Use], float]]] = [("overlooked", own), ("let in", theirs)]
    (kind, (uses, wins)), (other, (others, other_wins)) = order if missed else reversed(order)
    if (use := _deciding(uses, wins)) is not None:
        return kind, use
    if other_wins >= 1 and (use := _deciding(others, other_wins)) is not None:
        return other, use
    return None, None


def _deciding(uses: Sequence[Use], wins: float) -> Use | None:
    """The use that explains the earliest move of a line best.

    A line that wins men or mates is explained only by what its moves make true, not by a feature that stood
    on the board (`Motif.taken_up`).
    """
    return next(
        (
            use
            for use in uses
            if use.ply <= MOVES_LOOKED_AT and not (wins >= 1 and MOTIFS[use.motif].taken_up)
        ),
        None,
    )


def _is_among(use: Use, others: Sequence[Use]) -> bool:
    """Whether one of the others is the same motif with a common target: then the move did not let it in."""
    return any(one.motif == use.motif and {*one.targets} & {*use.targets} for one in others)


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
