"""Causes of a root: overlooked or let in, by the lines that were found, and the factor that was hurt."""

from __future__ import annotations

import math
from collections.abc import Sequence

import chess
import pytest

from patterns.causes import LEAST_CHANGE, Cause, before_material, causes_of, changed_most
from patterns.engines.episodes import ScoredMove
from patterns.engines.scores import Compared, Evaluation
from patterns.factors.assessment import Assessment, FactorBalance
from patterns.lines import uses
from patterns.lines.recaptures import without_recaptures
from patterns.proof.played_line import Use
from patterns.words.verdicts import FACTORS, LEVEL

BOTH_HANG = "r3k3/5p1p/8/7n/N7/8/8/4K2R w - - 0 30"
"""White's rook attacks a knight that nobody guards, and so does Black's."""

WINS_LATE, LOSES_LATE = "e1f2 e8e7 f2e1 e7e8 e1f2 e8e7 h1h5", "e1d1 e8e7 d1e1 e7e8 e1d1 e8e7 d1e1 a8a4"
"""Lines in which the knight falls with the fourth move, too late for a motif."""

KNIGHT_HANGS = "r3k3/5p1p/8/8/N7/8/8/4K2R w - - 0 30"

BEST, PLAYED = "h1h5 e8e7", "e1d1 a8a4"


def moves_of(line: str) -> list[chess.Move]:
    return [chess.Move.from_uci(uci) for uci in line.split()]


def cause(
    fen: str,
    best: tuple[float, str],
    played: tuple[float, str],
    taken: chess.Square | None = None,
    game: str = "",
) -> Cause:
    """`game`: the moves that followed in the game."""
    lines = [Evaluation(score, None, tuple(line.split())) for score, line in (best, played)]
    move = chess.Move.from_uci(lines[1].line[0])
    compared = Compared(lines[0], lines[1])
    (found,) = causes_of([ScoredMove(0, chess.Board(fen), move, compared, taken=taken)], [moves_of(game)])
    return found


def told(found: Cause) -> tuple[str | None, str | None, bool, str]:
    motif = found.use.motif if found.use else None
    return found.kind, motif, found.missed, " ".join(map(str, found.line))


@pytest.mark.parametrize(
    ("best", "played", "expected"),
    [
        ((0.9, BEST), (0.4, PLAYED), ("overlooked", "loose-piece", True, BEST)),
        ((0.6, BEST), (0.1, PLAYED), ("let in", "loose-piece", False, "a8a4")),
        # As far above one half as below it now: let in.
        ((0.8, BEST), (0.2, PLAYED), ("let in", "loose-piece", False, "a8a4")),
        # If only the answer wins something, it decides; where the answer wins nothing, the best line is told.
        ((0.9, "e1f2 e8e7"), (0.4, PLAYED), ("let in", "loose-piece", False, "a8a4")),
        ((0.6, BEST), (0.1, "e1d1 e8e7"), ("overlooked", "loose-piece", True, BEST)),
        ((0.6, WINS_LATE), (0.1, "e1d1 e8e7"), (None, None, True, WINS_LATE)),
        ((0.9, "e1f2 e8e7"), (0.4, LOSES_LATE), (None, None, False, LOSES_LATE[5:])),
        # Where the line that decides uses nothing, the other one is told.
        ((0.9, WINS_LATE), (0.4, PLAYED), ("let in", "loose-piece", False, "a8a4")),
        ((0.6, BEST), (0.1, LOSES_LATE), ("overlooked", "loose-piece", True, BEST)),
        ((0.9, "e1f2 e8e7"), (0.4, "e1d1 e8e7"), (None, None, True, "e1f2 e8e7")),
        ((0.6, "e1f2 e8e7"), (0.1, "e1d1 e8e7"), (None, None, False, "e8e7")),
        # The knight falls after the best move, too: then the move played did not let it in.
        ((0.6, "e1f2 a8a4"), (0.1, PLAYED), (None, None, False, "a8a4")),
        # The same motif, but about another man.
        ((0.6, "e1f2 a8a4"), (0.1, "h1h4 a8a4 h4h5"), (None, None, False, "a8a4 h4h5")),
        ((0.6, "a4b6 a8b8"), (0.1, "a4c5 h5g3 h1h7 g3e4"), (None, None, False, "h5g3 h1h7 g3e4")),
    ],
)
def test_whether_it_was_overlooked_or_let_in(
    best: tuple[float, str], played: tuple[float, str], expected: tuple[str | None, str | None, bool, str]
) -> None:
    assert told(cause(BOTH_HANG, best, played)) == expected


PAWNS = "4k3/5p1p/8/8/P7/8/5P1P/4K3 w - - 0 30"

BESIEGED = "3rk3/8/8/3p4/3P4/2N2B2/8/4K3 w - - 0 30"
"""White has two pieces against the pawn on d5, Black one rook."""


def test_a_feature_explains_a_line_only_if_it_wins_nothing_and_decides() -> None:
    advance = "a4a5 e8d7 a5a6 d7c7"
    assert told(cause(PAWNS, (0.9, advance), (0.4, "e1e2 e8d7")))[:2] == ("overlooked", "passed-pawn")
    assert told(cause(PAWNS, (0.6, advance), (0.1, "e1e2 e8d7")))[1] is None
    wins = cause(BESIEGED, (0.9, "c3d5 d8d5 f3d5 e8e7"), (0.4, "e1e2 e8e7"))
    assert (told(wins)[:2], wins.is_plain, wins.wins) == (("overlooked", "loose-piece"), True, 3)


def test_what_is_only_taken_back_is_not_won_and_what_is_not_taken_back_is_lost() -> None:
    scores = (0.9, BEST), (0.4, PLAYED)
    free, taken_back = (cause(BOTH_HANG, *scores, taken) for taken in (None, chess.H5))
    assert (free.missed, free.wins) == (True, 3)
    assert (taken_back.missed, taken_back.wins) == (False, 6)
    elsewhere = cause(BOTH_HANG, *scores, chess.A5)
    assert (elsewhere.missed, elsewhere.wins) == (True, 3)


def test_a_mate_is_more_than_any_man() -> None:
    mates = cause("6k1/5ppp/8/8/8/8/5PPP/4R1K1 w - - 0 30", (1.0, "e1e8"), (0.5, "e1d1 h7h6"))
    assert (mates.missed, mates.wins) == (True, math.inf)


@pytest.mark.parametrize(("waits", "motif"), [("h7h6 d1e1", "loose-piece"), ("h7h6 d1e1 f7f6 e1d1", None)])
def test_a_motif_counts_up_to_the_second_move_of_its_line(waits: str, motif: str | None) -> None:
    """Black takes the knight with the second move, or with the third."""
    found = cause(KNIGHT_HANGS, (0.6, "e1f2 e8e7"), (0.1, f"e1d1 {waits} a8a4"))
    assert told(found)[1] == motif


TAKEN_BACK = "4k3/3p4/2p5/3n4/8/5B2/2PPP3/4K3 w - - 0 30"


def test_a_move_that_only_takes_back_is_no_motif() -> None:
    """The bishop takes a guarded knight: that a pawn takes it back needs no name."""
    found = cause(TAKEN_BACK, (0.6, "e1f2 e8e7"), (0.1, "f3d5 c6d5 e1f2 e8e7"))
    assert told(found)[:2] == (None, None)
    moved_there = cause(TAKEN_BACK.replace("3n4/8/5B2", "8/8/5B2"), (0.6, "e1f2 e8e7"), (0.1, "f3d5 c6d5"))
    assert told(moved_there)[:2] == ("let in", "loose-piece")


def test_a_man_that_was_given_for_less_is_a_plain_reason() -> None:
    """The bishop takes a guarded pawn."""
    found = cause(TAKEN_BACK.replace("3n4", "3p4"), (0.6, "e1f2 e8e7"), (0.1, "f3d5 c6d5 e1f2 e8e7"))
    assert (*told(found)[:2], found.is_plain) == ("let in", "loose-piece", True)


QUIET_BEST, QUIET_PLAYED = (0.6, "e1f2 e8e7"), (0.1, "e1d1 e8e7")
QUIETLY = (0.1, "e1d1 e8e7 d1e1 e7e8")


def use(ply: int, motif: str, wins: int = 0, shown: bool = True, target: str = "a4") -> Use:
    return Use(ply, motif, ("h5",), (target,), (), "Told.", wins, shown)


@pytest.mark.parametrize(
    ("played", "found", "motif", "is_plain"),
    [
        # The answer wins a knight, with its fourth move.
        ((0.1, LOSES_LATE), use(1, "fork"), "fork", False),
        ((0.1, LOSES_LATE), use(1, "fork", shown=False), None, False),
        ((0.1, LOSES_LATE), use(2, "fork", wins=3), "fork", False),
        ((0.1, LOSES_LATE), use(2, "fork"), None, False),
        ((0.1, LOSES_LATE), use(2, "removed-defender"), "removed-defender", False),
        ((0.1, LOSES_LATE), use(1, "outpost"), "outpost", True),
        ((0.1, LOSES_LATE), use(2, "outpost", target="h1"), None, False),
        # The third move counts if it explains what is won, a feature up to the second.
        ((0.1, LOSES_LATE), use(3, "fork", wins=3), "fork", False),
        ((0.1, LOSES_LATE), use(3, "removed-defender"), "removed-defender", False),
        ((0.1, LOSES_LATE), use(3, "removed-defender", target="h1"), None, False),
        ((0.1, LOSES_LATE), use(2, "outpost"), "outpost", True),
        ((0.1, LOSES_LATE), use(3, "outpost"), None, False),
        # The answer wins nothing.
        (QUIET_PLAYED, use(1, "outpost"), "outpost", False),
        (QUIETLY, use(2, "outpost"), None, False),
        (QUIETLY, use(2, "fork", wins=3), None, False),
    ],
)
def test_what_explains_a_line(
    monkeypatch: pytest.MonkeyPatch, played: tuple[float, str], found: Use, motif: str | None, is_plain: bool
) -> None:
    monkeypatch.setattr("patterns.causes.uses_of_many", lambda lines: [[], [], [found], []])
    told_of = cause(BOTH_HANG, QUIET_BEST, played)
    assert (told(told_of)[1], told_of.is_plain) == (motif, is_plain)


def told_of(
    monkeypatch: pytest.MonkeyPatch,
    played: tuple[float, str],
    uses: Sequence[Use] = (),
    plain: Sequence[Use] = (),
    best_plain: Sequence[Use] = (),
    best: tuple[float, str] = QUIET_BEST,
) -> tuple[str | None, int | None, bool]:
    """The motif told, its move, and whether it is plain. `uses`, `plain`: of the answer."""
    each = iter([best_plain, (), plain, ()])
    monkeypatch.setattr("patterns.causes.uses_of_many", lambda lines: [[], [], [*uses], []])
    monkeypatch.setattr("patterns.root_lines.plain_reasons", lambda line, taken: [*next(each)])
    found = cause(BOTH_HANG, best, played)
    return (found.use.motif, found.use.ply, found.is_plain) if found.use else (None, None, False)


TAKES_LATE = (0.1, "e1d1 e8e7 d1e1 a8a4 e1f2 e7e8")
"""The answer takes a knight with its second move."""


@pytest.mark.parametrize(
    ("uses", "plain", "expected"),
    [
        # Where both explain what falls, the earlier move; but that a man is simply taken comes last.
        ([use(1, "fork", 3), use(2, "skewer", 3)], [], ("fork", 1, False)),
        ([use(1, "loose-piece", 3), use(2, "fork", 3)], [], ("fork", 2, False)),
        ([], [use(1, "loose-piece"), use(2, "fork")], ("fork", 2, True)),
        ([use(1, "loose-piece", 3)], [use(2, "fork")], ("fork", 2, True)),
        # What explains more, even if it comes later.
        ([use(1, "fork", 2, target="h1"), use(2, "skewer", 3)], [], ("skewer", 2, False)),
        # What explains less than half comes after all that explains more.
        ([use(1, "fork", 1, target="h1"), use(2, "loose-piece", 3)], [], ("loose-piece", 2, False)),
        ([use(1, "fork", 1, target="h1")], [], ("fork", 1, False)),
        # A feature that is taken up says more than that a man is taken; one with a factor of its own first.
        ([use(2, "besieged-pawn")], [use(2, "loose-piece")], ("besieged-pawn", 2, True)),
        ([use(2, "battery"), use(2, "besieged-pawn")], [], ("besieged-pawn", 2, True)),
        ([use(2, "besieged-pawn"), use(2, "fork", 3)], [], ("fork", 2, False)),
    ],
)
def test_what_explains_most_of_what_falls(
    monkeypatch: pytest.MonkeyPatch,
    uses: list[Use],
    plain: list[Use],
    expected: tuple[str, int, bool],
) -> None:
    assert told_of(monkeypatch, TAKES_LATE, uses, plain) == expected


@pytest.mark.parametrize(("ply", "motif"), [(2, "loose-piece"), (3, None)])
def test_a_man_that_is_simply_taken_with_the_third_move_explains_nothing(
    monkeypatch: pytest.MonkeyPatch, ply: int, motif: str | None
) -> None:
    assert told_of(monkeypatch, (0.1, LOSES_LATE), [use(ply, "loose-piece", 3)])[0] == motif


@pytest.mark.parametrize(("motif", "expected"), [("fork", "fork"), ("loose-piece", None)])
def test_what_the_other_line_plainly_does_comes_late(
    monkeypatch: pytest.MonkeyPatch, motif: str, expected: str | None
) -> None:
    """The score says let in; the best line plainly does something that wins nothing."""
    other = [use(1, motif, target="h5")]
    assert told_of(monkeypatch, QUIET_PLAYED, best_plain=other)[0] == expected
    assert told_of(monkeypatch, TAKES_LATE, [use(2, "skewer", 3)], best_plain=other)[0] == "skewer"


def test_if_only_one_of_the_lines_wins_something_it_decides() -> None:
    """The score says let in, but the best line takes a pawn, and the answer takes nothing."""
    found = cause(PAWN_HANGS, (0.5, "h1h7 e8f8"), (0.3, "e1f2 h7h6"))
    assert (*told(found)[:3], found.wins) == ("overlooked", "loose-piece", True, 1)


@pytest.mark.parametrize(("man", "motif"), [("P", "open-king"), ("N", "loose-piece")])
def test_an_attack_on_an_open_king_says_more_than_a_pawn_that_falls(
    monkeypatch: pytest.MonkeyPatch, man: str, motif: str
) -> None:
    """Black's queen checks twice, and takes a man."""
    falls = use(2, "loose-piece", 3, target="d4")
    monkeypatch.setattr("patterns.causes.uses_of_many", lambda lines: [[], [], [falls], []])
    monkeypatch.setattr("patterns.root_lines.plain_reasons", lambda line, taken: [])
    fen = f"6k1/5ppp/8/8/3{man}4/4q3/P7/R5K1 w - - 0 30"
    found = cause(fen, (0.5, "g1g2 g8f8"), (0.2, "g1h1 e3e4 h1g1 e4d4"))
    assert told(found)[1] == motif


def test_a_pawn_that_queens_explains_a_line_though_it_stood_on_the_board() -> None:
    found = cause("8/8/P6k/8/8/8/8/6K1 w - - 0 30", (0.9, "a6a7 h6g5 a7a8q"), (0.4, "g1f1 h6g5"))
    assert found.use is not None
    assert (told(found)[:2], found.use.ply, found.is_plain) == (("overlooked", "passed-pawn"), 1, False)


@pytest.mark.parametrize(
    ("found", "motif"),
    [(use(1, "fork"), "fork"), (use(1, "removed-defender"), None), (use(2, "fork", 3), "fork")],
)
def test_what_the_game_showed(monkeypatch: pytest.MonkeyPatch, found: Use, motif: str | None) -> None:
    """A motif that lives in forced lines is not read into the moves of a game."""
    monkeypatch.setattr("patterns.causes.uses_of_many", lambda lines: [[], [], [], [found]])
    game = LOSES_LATE[5:]
    told_of = cause(BOTH_HANG, QUIET_BEST, QUIET_PLAYED, game=game)
    expected = ("let in", motif, False, game, 3) if motif else (None, None, False, "e8e7", 0)
    assert (*told(told_of), told_of.wins) == expected


def test_the_first_move_of_the_answer_counts_more_than_the_game() -> None:
    """In the answer the knight is taken at once, in the game a pawn."""
    fen = KNIGHT_HANGS.replace("8/4K2R", "P7/4K2R")
    found = cause(fen, QUIET_BEST, (0.1, "e1d1 a8a4"), game="a8b8 d1d2 b8b2 d2d3 b2a2")
    assert (*told(found)[:2], " ".join(map(str, found.line))) == ("let in", "loose-piece", "a8a4")


@pytest.mark.parametrize(("man", "motif"), [("p", None), ("q", "loose-piece")])
def test_what_the_other_line_plainly_wins_must_be_more_than_a_pawn(man: str, motif: str | None) -> None:
    """A pawn takes a pawn or a queen. After the move played a pawn falls too late for a motif."""
    fen = f"r5k1/8/3p4/4{man}3/5P2/8/P7/4R1K1 w - - 0 30"
    loses = "e1d1 g8f7 d1e1 f7g8 e1d1 g8f7 d1e1 a8a2"
    found = cause(fen, (0.6, "f4e5 d6e5 e1e5 g8f7"), (0.1, loses))
    assert told(found)[1] == motif


PAWN_HANGS = "r3k3/5p1p/8/8/P7/8/8/4K2R w - - 0 30"


@pytest.mark.parametrize(
    ("played", "game"),
    [
        (QUIET_PLAYED, "a8a4 d1d2"),
        (QUIET_PLAYED, "e8e7 d1d2 a8a4"),
        ((0.1, "e1d1 e8e7 d1d2 a8a4"), ""),
    ],
)
def test_what_falls_plainly_in_the_game_or_with_the_second_move(played: tuple[float, str], game: str) -> None:
    found = cause(PAWN_HANGS, (0.6, "h1h4 e8e7"), played, game=game)
    assert (*told(found)[:2], found.is_plain, found.wins) == ("let in", "loose-piece", True, 1)


def test_what_the_best_move_only_takes_back_has_not_fallen() -> None:
    """The bishop takes the knight, and then a rook."""
    fen = "r3k3/5p2/8/3n4/8/8/6B1/4K3 w - - 0 30"
    found = cause(fen, (0.9, "g2d5 e8e7 d5a8"), (0.4, "e1d1 e8e7"), chess.D5)
    assert found.use is not None
    assert (found.use.motif, found.use.ply) == ("loose-piece", 2)


def test_what_the_move_gives_away_besides_men() -> None:
    fen = "r3k3/p6p/1p6/P7/8/8/5PPP/5RK1 w - - 0 30"
    found = cause(fen, (0.5, "f1d1 b6b5"), (0.3, "a5b6 a7b6 f1d1 a8a2"))
    assert (*told(found)[:2], found.is_plain, found.factor) == ("let in", "open-file", True, "open-lines")


def test_what_plainly_falls_anyway_was_not_let_in() -> None:
    """The pawn on a4 falls after the best move, too."""
    assert told(cause(PAWN_HANGS, (0.6, "e1f2 a8a4"), (0.1, "e1d1 a8a4")))[1] is None
    assert told(cause(PAWN_HANGS, (0.6, "h1h4 e8e7"), (0.1, "e1d1 a8a4")))[1] == "loose-piece"


@pytest.mark.parametrize(
    ("fen", "line", "motifs"),
    [
        # The recapture forks the king and a rook.
        ("8/2k1r3/3n4/4P3/8/8/8/6K1 w - - 0 30", "e5d6 c7d7 d6e7", ["fork"]),
        # It forks, too, but the second use is about the man taken alone; the next move takes the rook.
        ("r3k3/2n5/8/3N4/8/8/8/4K3 w - - 0 30", "d5c7 e8d7 c7a8", ["fork", "loose-piece"]),
        # Besides the man taken one more is named: taking it back is reason enough.
        ("2r2q2/4n1k1/8/3N4/8/8/5PP1/6K1 w - - 0 30", "d5e7 g7f7 e7c8", []),
    ],
)
def test_a_recapture_that_hits_the_king_or_two_men_has_a_name(fen: str, line: str, motifs: list[str]) -> None:
    board, moves = chess.Board(fen), [chess.Move.from_uci(uci) for uci in line.split()]
    used = uses(board, moves)
    assert [use.motif for use in without_recaptures(used, board, moves, moves[0].to_square)] == motifs
    assert without_recaptures(used, board, moves, chess.H8) == used


def test_the_factor_is_the_motifs_own_or_what_changed_most() -> None:
    own = cause(BOTH_HANG, (0.9, BEST), (0.4, PLAYED))
    assert (own.factor, own.own_factor) == ("piece-play", True)
    assert not cause(BOTH_HANG, (0.9, "e1f2 e8e7"), (0.4, "e1d1 e8e7")).own_factor


def assessment(**shares: float) -> Assessment:
    named = {name.replace("_", "-"): share for name, share in shares.items()}
    return Assessment(
        tuple(FactorBalance(factor, named.get(factor, 0.0), LEVEL, ()) for factor in FACTORS), LEVEL, 0.5
    )


@pytest.mark.parametrize(
    ("now", "white", "black"),
    [
        ({"centre": -0.3, "space": -0.2}, "centre", None),
        ({"centre": 0.3, "space": -0.2}, "space", "centre"),
        ({"centre": -LEAST_CHANGE}, "centre", None),
        ({"centre": -LEAST_CHANGE + 0.01}, None, None),
        ({"material": -2.0, "initiative": -1.0, "centre": -0.3}, "centre", None),
        ({"material": -2.0, "initiative": -1.0}, None, None),
    ],
)
def test_what_changed_most(now: dict[str, float], white: str | None, black: str | None) -> None:
    assert changed_most(assessment(), assessment(**now), chess.WHITE) == white
    assert changed_most(assessment(), assessment(**now), chess.BLACK) == black


@pytest.mark.parametrize(
    ("line", "plies"),
    [
        ("e1f2 e8e7", 2),  # nothing falls: the end
        ("h1h5 e8e7", 0),  # falls at once
        ("e1f2 a8a4 f2g2", 1),
        ("h1h5 a8a4 e1f2", 3),  # a knight for a knight: nothing falls for good
        ("e1f2 a8a4 h1h5 e8e7 h5h7 e7e6", 4),  # a pawn in the end, after a knight for a knight
    ],
)
def test_just_before_material_falls_for_good(line: str, plies: int) -> None:
    board = chess.Board(BOTH_HANG)
    moves = [chess.Move.from_uci(uci) for uci in line.split()]
    expected = board.copy(stack=False)
    for move in moves[:plies]:
        expected.push(move)
    assert before_material(board, moves).fen() == expected.fen()
