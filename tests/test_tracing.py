"""Tracing games: on games whose losing move is known, by recorded answers, and step by step."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import chess
import pytest
from traced_games import CONSTRUCTED, EVERY, PUBLISHED, Known, Recorded, traced

from decks.build.tracing import (
    CHEAP_NODES,
    CONFIRMED_PLIES,
    DEEPER_PLIES,
    NEAR_FALL,
    NEAR_SLIP,
    SIDES,
    OwnMove,
    Seat,
    TracedEpisode,
    compared,
    trace,
)
from decks.tasks.lines import numbered
from decks.telling.episodes_told import game_lines, sentences
from patterns.catalogue import MOTIFS
from patterns.causes import MOTIF_FACTORS, Cause, causes_of
from patterns.engines.engine_pass import Awaited
from patterns.engines.episodes import ScoredMove
from patterns.engines.judging import EngineError
from patterns.engines.questions import Answer, Asked, Comparison, Glance
from patterns.engines.scores import Compared, Evaluation
from patterns.words.verdicts import FACTORS


def played(one: TracedEpisode) -> str:
    told = one.episode.told
    return numbered(told.board, (told.move.uci(),))[0]


def episode_of(known: Known) -> TracedEpisode:
    """The episode whose root is the move that is known to have lost."""
    found = [one for one in traced(known).episodes if one.episode.root and played(one) == known.root]
    assert found, [played(one) for one in traced(known).episodes]
    return found[0]


@pytest.mark.parametrize("known", EVERY, ids=lambda known: known.name)
def test_the_losing_move_is_a_root(known: Known) -> None:
    one = episode_of(known)
    assert one.cause is not None
    assert one.episode.cost >= 0.25
    if known.holds:
        best = one.episode.told.compared.best.line[0]
        assert numbered(one.episode.told.board, (best,)) == [known.holds]
    if known.motif:
        assert one.cause.use is not None
        assert (one.cause.kind, one.cause.use.motif) == (known.kind, known.motif)


@pytest.mark.parametrize("known", PUBLISHED, ids=lambda known: known.name)
def test_it_is_the_last_episode_of_the_game(known: Known) -> None:
    assert played(traced(known).episodes[-1]) == known.root


@pytest.mark.parametrize(
    ("name", "showed"),
    [
        ("Bernstein-Capablanca, Moscow 1914", "29. Rxc3"),
        ("Chigorin-Steinitz, 23rd game of the match, Havana 1892", "32. Bb4"),
        ("the rook leaves the first rank", "2. Rc7"),
    ],
)
def test_where_it_showed(name: str, showed: str) -> None:
    (known,) = (one for one in EVERY if one.name == name)
    ply = episode_of(known).showed
    assert ply is not None
    board = known.game.start.copy(stack=False)
    for move in known.game.moves[: ply - 1]:
        board.push(move)
    assert numbered(board, (known.game.moves[ply - 1].uci(),)) == [showed]


def test_what_is_told_names_the_moves() -> None:
    known = CONSTRUCTED[1]
    one = episode_of(known)
    first, *others = sentences(traced(known), one)
    assert first == (
        "1... a6 overlooks 1... Rd1# (weak back rank): "
        "The rook on d8 mates on d1: the king on g1 cannot leave its back rank."
    )
    assert others == [
        "With 1... Rd1#, Black would be winning; after 1... a6, Black is level. It shows at once.",
        "It is a matter of king safety.",
    ]
    lines = game_lines(traced(known))
    assert "   8  . k . . r . . ." in lines  # the board is seen from Black's side
    assert "Episode 1: 1... a6, 53 points in 100, endgame" in lines


def test_what_the_line_wins_is_told_and_what_is_only_taken_back_is_not() -> None:
    forked = next(known for known in CONSTRUCTED if known.motif == "fork")
    first, *_ = sentences(traced(forked), episode_of(forked))
    assert first.endswith("The line wins a rook.")


def test_every_motif_has_a_known_factor_or_none() -> None:
    assert {*MOTIF_FACTORS} < {*MOTIFS}
    assert {*MOTIF_FACTORS.values()} <= {*FACTORS} - {"material", "initiative"}


def test_each_move_knows_what_has_just_been_taken() -> None:
    known = Known("", "", "white", "", "", "", "", "1. e4 d5 2. exd5 Qxd5 3. Nc3 Qe6+ 4. Be2 *")
    by_side = [[move.taken for move in Seat(known.game, side).moves()] for side in SIDES]
    assert by_side == [[None, None, chess.D5, None], [None, chess.D5, None]]


# --- Step by step ----------------------------------------------------------------------------------------

MOVE = OwnMove(0, chess.Board(), chess.Move.from_uci("e2e4"), None)


def losing(loss: float, best: float = 0.5) -> Compared:
    top = Evaluation(best, None, ("d2d4",))
    return Compared(top, top if loss == 0 else Evaluation(round(best - loss, 6), None, ("e2e4",)))


@pytest.mark.parametrize(
    ("loss", "again"), [(0.0, False), (round(NEAR_SLIP - 0.001, 6), False), (NEAR_SLIP, True), (0.3, True)]
)
def test_only_what_is_near_a_slip_is_compared_again(loss: float, again: bool) -> None:
    inquiry = compared(MOVE)
    assert next(inquiry) == Comparison(MOVE.board, "e2e4", nodes=CHEAP_NODES)
    if again:
        assert inquiry.send(losing(loss)) == Comparison(MOVE.board, "e2e4", plies=CONFIRMED_PLIES)
    last = losing(0.2 if again else loss)
    with pytest.raises(StopIteration) as ended:
        inquiry.send(last)
    assert ended.value.value == last


class Said(Recorded):
    """Engines that say of every move and position the same, except what `answers` has by place and effort."""

    def __init__(self, answers: dict[str, Answer], dies_in: str = "") -> None:
        super().__init__(answers)
        self.asked: list[Asked] = []
        self._dies_in = dies_in

    def ask(self, question: Asked) -> Awaited:
        self.asked.append(question)
        if question.board.epd() == self._dies_in:
            return Awaited(question, error=EngineError("died"))
        name = f"{question.board.fullmove_number}{'wb'[not question.board.turn]}"
        if isinstance(question, Glance):
            default: Answer = Evaluation(0.5, None, ())
        else:
            assert isinstance(question, Comparison)
            same = Evaluation(0.5, None, (question.move,))
            default = Compared(same, same)
            name += " cheap" if question.nodes else " sure" if question.plies == CONFIRMED_PLIES else " deep"
        return Awaited(question, self.answers.get(name, default))


KNOWN = Known("a quiet game", "", "white", "", "", "", "", "1. e4 e5 2. Nf3 Nc6 3. Bb5 a6 4. Ba4 Nf6 0-1")


def worth(best: float, played: float, best_line: str, played_line: str) -> Compared:
    return Compared(
        Evaluation(best, None, tuple(best_line.split())), Evaluation(played, None, tuple(played_line.split()))
    )


def slips(answers: dict[str, Answer]) -> tuple[list[int], list[str]]:
    """The plies of the moves that slip, and which comparisons were made at full depth."""
    engines = Said(answers)
    (found,) = trace([Seat(KNOWN.game, "white")], engines)
    assert not isinstance(found, EngineError)
    sure = [one for one in engines.asked if isinstance(one, Comparison) and one.plies == CONFIRMED_PLIES]
    return [move.ply for move in found.moves if move.is_slip], [one.move for one in sure]


FELL = 0.5 - NEAR_FALL


@pytest.mark.parametrize(
    ("answers", "expected", "again"),
    [
        ({}, [], []),
        # After 2. Nf3 the score has fallen, so that move is compared again, and what it lost is found.
        (
            {"3w cheap": worth(FELL, FELL, "f1b5", "f1b5"), "4w cheap": worth(FELL, FELL, "b5a4", "b5a4"),
             "5w": Evaluation(FELL, None, ()), "2w sure": worth(0.5, 0.3, "d2d4", "g1f3")},
            [2],
            ["g1f3"],
        ),
        # It fell less.
        (
            {"3w cheap": worth(FELL + 0.001, FELL + 0.001, "f1b5", "f1b5"),
             "4w cheap": worth(FELL + 0.001, FELL + 0.001, "b5a4", "b5a4"),
             "5w": Evaluation(FELL + 0.001, None, ()), "2w sure": worth(0.5, 0.3, "d2d4", "g1f3")},
            [],
            [],
        ),
        # It fell only after the last move of the game.
        ({"5w": Evaluation(0.1, None, ()), "4w sure": worth(0.5, 0.1, "b5c6", "b5a4")}, [6], ["b5a4"]),
        # The last move was lost already, so the one before it is doubted as well, and it was the one.
        (
            {"5w": Evaluation(0.1, None, ()), "4w sure": worth(0.1, 0.1, "b5a4", "b5a4"),
             "3w sure": worth(0.5, 0.1, "d2d4", "f1b5")},
            [4],
            ["b5a4", "f1b5"],
        ),
    ],
)  # fmt: skip
def test_a_move_after_which_the_score_fell_is_compared_again(
    answers: dict[str, Answer], expected: Sequence[int], again: Sequence[str]
) -> None:
    assert slips(answers) == (expected, again)


def test_the_position_at_the_end_counts_for_the_side_that_moved_last() -> None:
    answers: dict[str, Answer] = {
        "5w": Evaluation(0.9, None, ()),
        "4b sure": worth(0.5, 0.1, "b7b5", "g8f6"),
    }
    (found,) = trace([Seat(KNOWN.game, "black")], Said(answers))
    assert not isinstance(found, EngineError)
    assert [move.ply for move in found.moves if move.is_slip] == [7]
    (level,) = trace([Seat(KNOWN.game, "black")], Said(answers | {"5w": Evaluation(0.1, None, ())}))
    assert not isinstance(level, EngineError)
    assert not level.episodes


FALLEN: dict[str, Answer] = {
    "2w sure": worth(0.5, 0.5, "g1f3", "g1f3"),
    "3w cheap": worth(FELL, FELL, "f1b5", "f1b5"),
    "4w cheap": worth(FELL, FELL, "b5a4", "b5a4"),
    "5w": Evaluation(FELL, None, ()),
}
"""After 2. Nf3 the score falls, and the comparison that counts does not say why."""


@pytest.mark.parametrize(
    ("answers", "deep", "expected"),
    [
        ({}, ["g1f3", "f1b5"], []),
        ({"2w deep": worth(0.5, 0.3, "d2d4", "g1f3")}, ["g1f3", "f1b5"], [2]),
        ({"3w deep": worth(0.5, 0.3, "d2d4", "f1b5")}, ["g1f3", "f1b5"], [4]),
        # The comparison that counts says why.
        ({"2w sure": worth(0.5, FELL, "d2d4", "g1f3")}, [], [2]),
        # It fell after the last move: there is no next one.
        ({**dict.fromkeys(("3w cheap", "4w cheap"), worth(0.5, 0.5, "f1b5", "f1b5"))}, [], []),
    ],
)
def test_where_the_score_still_falls_both_moves_are_compared_deeper(
    answers: dict[str, Answer], deep: Sequence[str], expected: Sequence[int]
) -> None:
    engines = Said(FALLEN | answers)
    (found,) = trace([Seat(KNOWN.game, "white")], engines)
    assert not isinstance(found, EngineError)
    asked = [one for one in engines.asked if isinstance(one, Comparison) and one.plies == DEEPER_PLIES]
    assert [one.move for one in asked] == deep
    assert [move.ply for move in found.moves if move.is_slip] == expected


@pytest.mark.parametrize(
    ("later", "line"),
    [
        ({}, "g8f6 b1c3 b8c6 f1c4 f8c5"),
        # White slips again with 4. Bc4, or Black gives something back with 3... Nc6.
        ({"4w": (0.2, 0.1)}, "g8f6 b1c3 b8c6"),
        ({"4w": (0.25, 0.25)}, "g8f6 b1c3"),
        ({"4w": (0.249, 0.249)}, "g8f6 b1c3 b8c6 f1c4 f8c5"),
    ],
)
def test_the_game_shows_a_cause_until_something_else_happens(
    monkeypatch: pytest.MonkeyPatch, later: dict[str, tuple[float, float]], line: str
) -> None:
    shown: list[str] = []

    def kept(roots: Sequence[ScoredMove], played_on: Sequence[Sequence[chess.Move]]) -> list[Cause]:
        shown.append(" ".join(map(str, played_on[0])))
        return causes_of(roots, played_on)

    monkeypatch.setattr("decks.build.tracing.causes_of", kept)
    scores = {"1w": (0.5, 0.5), "2w": (0.5, 0.2), "3w": (0.2, 0.2), "4w": (0.2, 0.2)} | later
    played = {"1w": "e2e4", "2w": "g1f3", "3w": "b1c3", "4w": "f1c4"}
    answers: dict[str, Answer] = {
        f"{name} {effort}": worth(*scores[name], "a2a3" if len({*scores[name]}) > 1 else move, move)
        for name, move in played.items()
        for effort in ("cheap", "sure", "deep")
    }
    game = replace(KNOWN, pgn="1. e4 e5 2. Nf3 Nf6 3. Nc3 Nc6 4. Bc4 Bc5 0-1").game
    (found,) = trace([Seat(game, "white")], Said(answers | {"5w": Evaluation(scores["4w"][1], None, ())}))
    assert not isinstance(found, EngineError)
    assert shown == [line]


COLLAPSE: dict[str, Answer] = {
    "2w cheap": worth(0.5, 0.2, "d2d4", "g1f3 b8c6"),
    "2w sure": worth(0.5, 0.2, "d2d4", "g1f3 b8c6"),
    **{
        f"{number}w {effort}": worth(0.2, 0.2, "a2a3", "a2a3")
        for number in (3, 4)
        for effort in ("cheap", "sure")
    },
    "5w": Evaluation(0.2, None, ()),
}


@pytest.mark.parametrize(
    ("glances", "showed"),
    [
        ({}, 8),  # only the search after the last move sees it
        ({"2b": Evaluation(0.6, None, ())}, 3),
        ({"2b": Evaluation(0.59, None, ()), "3w": Evaluation(0.4, None, ())}, 4),
        ({"2w": Evaluation(0.7, None, ()), "2b": Evaluation(0.4, None, ())}, 3),
        ({"5w": Evaluation(0.41, None, ())}, None),
    ],
)
def test_an_episode_shows_in_the_first_position_that_a_short_search_sees_through(
    glances: dict[str, Answer], showed: int | None
) -> None:
    (found,) = trace([Seat(KNOWN.game, "white")], Said(COLLAPSE | glances))
    assert not isinstance(found, EngineError)
    (one,) = found.episodes
    assert (one.episode.told.ply, one.showed) == (2, showed)


def test_a_seat_in_which_the_engine_fails_is_an_error_and_the_next_is_traced() -> None:
    board = chess.Board()
    board.push_san("e4")
    told: list[tuple[int, int]] = []
    seats = [Seat(KNOWN.game, "black"), Seat(KNOWN.game, "white")]
    found = list(trace(seats, Said({}, dies_in=board.epd()), lambda done, total: told.append((done, total))))
    assert isinstance(found[0], EngineError)
    assert not isinstance(found[1], EngineError)
    assert told == [(done, 8) for done in range(1, 9)]
