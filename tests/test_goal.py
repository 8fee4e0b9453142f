"""The goal of a card: derived from verdicts, told with the question, kept back where it tells the key."""

from __future__ import annotations

from dataclasses import replace

import chess
import pytest
from made_tasks import DOUBLED_ROOKS, task
from made_verdicts import GUARDED, KNIGHT, QUIET, TWO_TO_TAKE, Told, verdicts

from decks.cards.cards_file import CardEntry, read_cards, write_card
from decks.review.session import start
from decks.tasks.card import GOALS, Card, Goal, MotifTag
from decks.tasks.goal import goal_of, goal_of_card, goal_told, why_kept_back, why_no_goal
from patterns.words.outcome import Outcome


@pytest.mark.parametrize(
    ("fen", "key", "line", "score", "mate", "second", "goal"),
    [
        (DOUBLED_ROOKS, "Rxd8+", "Rxd8 Rxd8#", 1.0, None, 0.5, "mate"),
        (DOUBLED_ROOKS, "Rxd8+", "Rxd8", 1.0, 2, 0.5, "mate"),
        (DOUBLED_ROOKS, "Rxd8+", "Rxd8", 1.0, 6, 0.5, "win"),
        (DOUBLED_ROOKS, "Rxd8+", "Rxd8 Rxd8#", 0.9, None, 0.5, "win"),
        (KNIGHT, "Nxd5", "Kf8 h3", 1.0, None, 0.5, "win-material"),
        (TWO_TO_TAKE, "Nxf5", "Rd7 h3", 0.84, None, 0.5, "win-material"),
        (TWO_TO_TAKE, "Nxf5", "Rd7 h3", 0.85, None, 0.5, "win"),
        (KNIGHT, "Nxd5", "Kf8 h3", 0.5, None, 0.2, "draw"),
        (KNIGHT, "Kh1", "Kf8 Kg1 Kg8 Kh1 Kf8 Nxd5", 0.84, None, 0.5, "win-material"),
        (KNIGHT, "Kh1", f"{'Kf8 Kg1 Kg8 Kh1 ' * 3}Kf8 Nxd5", 0.84, None, 0.5, "improve"),
        (TWO_TO_TAKE, "Nxf5", f"{'Kf8 Kh1 Kg8 Kg1 ' * 2}Kf8 Ne3 Kg8 Nxd5", 0.84, None, 0.5, "win-material"),
        (GUARDED, "Nxd5", "", 0.85, None, 0.5, "win"),
        (GUARDED, "Nxd5", "", 0.84, None, 0.5, None),
        (TWO_TO_TAKE, "Nxf5", "Rd7 h3", 0.6, None, 0.5, None),
        (QUIET, "Rd7", "h6 Rxf7", 0.56, None, 0.5, None),
        (QUIET, "Rd7", "h6 Rxf7", 0.5, None, 0.35, None),
        (QUIET, "Rd7", "h6", 0.56, None, 0.5, "improve"),
        (QUIET, "Rd7", "h6", 0.5, None, 0.34, "draw"),
        (QUIET, "Rd7", "h6", 0.5, None, 0.35, "improve"),
        (QUIET, "Rd7", "h6", 0.44, None, 0.2, None),
    ],
)
def test_the_goal_follows_from_the_verdicts(
    fen: str, key: str, line: str, score: float, mate: int | None, second: float, goal: Goal | None
) -> None:
    board = chess.Board(fen)
    told = (score, line) if mate is None else (score, line, mate)
    found = verdicts(board, {key: told, "Kf1": (second, "")}, 0.0)
    assert goal_of(board, (board.parse_san(key).uci(),), found) == goal


def test_a_move_that_holds_beside_the_key_does_not_make_it_a_draw_or_none() -> None:
    board = chess.Board(QUIET)
    found = verdicts(board, {"Rd7": (0.5, "h6"), "Rd6": (0.48, "h6"), "Kf1": (0.2, "")}, 0.0)
    assert goal_of(board, (board.parse_san("Rd7").uci(),), found) == "draw"


@pytest.mark.parametrize(("centipawns", "goal"), [(None, "win"), (200, "win"), (199, "improve")])
def test_a_win_is_two_pawns_ahead_by_the_engines_measure(centipawns: int | None, goal: Goal) -> None:
    board = chess.Board(QUIET)
    found = verdicts(board, {"Rd7": (0.9, "h6")}, 0.5)
    key = replace(found.moves["d1d7"], centipawns=centipawns)
    assert goal_of(board, ("d1d7",), replace(found, moves={**found.moves, "d1d7": key})) == goal


TWO_MEN_TO_TAKE = TWO_TO_TAKE.replace("3r1p2", "3r1b2")
"""White can take a rook or a bishop, each for nothing."""


@pytest.mark.parametrize(
    ("fen", "key", "others", "goal"),
    [
        # A pawn is not what a student takes for the point where a rook can be won.
        (TWO_TO_TAKE, 0.84, {"Nxf5": (0.6, "Rd7 h3")}, "win-material"),
        # A bishop is, unless it holds, or nothing is left of it, or another move does not win it.
        (TWO_MEN_TO_TAKE, 0.84, {"Nxf5": (0.6, "Rd7 h3")}, None),
        (TWO_MEN_TO_TAKE, 0.84, {"Nxf5": (0.84, "Rd7 h3")}, "win-material"),
        (TWO_MEN_TO_TAKE, 0.84, {"Nxf5": (0.5, "Rd7 h3")}, "win-material"),
        (TWO_MEN_TO_TAKE, 0.84, {"Kf1": (0.6, "")}, "win-material"),
        (TWO_MEN_TO_TAKE, 0.84, {}, "win-material"),
        # Where only the key wins the game, it is to win.
        (TWO_MEN_TO_TAKE, 0.85, {"Nxf5": (0.6, "Rd7 h3")}, "win"),
        (TWO_MEN_TO_TAKE, 0.95, {"Nxf5": (0.84, "Rd7 h3")}, "win"),
        (TWO_MEN_TO_TAKE, 0.95, {"Nxf5": (0.85, "Rd7 h3")}, None),
    ],
)
def test_material_is_no_goal_where_a_move_that_does_not_hold_wins_half_as_much(
    fen: str, key: float, others: dict[str, Told], goal: Goal | None
) -> None:
    card = Card("goals", fen, ("play",), line=("e3d5",))
    assert goal_of_card(card, verdicts(card.board, {"Nxd5": (key, "Kf8 h3"), **others}, 0.4)) == goal


@pytest.mark.parametrize(("pawns", "goal"), [(6, None), (7, "win-material")])
def test_what_the_shown_line_wins_is_what_another_move_is_compared_with(
    pawns: int, goal: Goal | None
) -> None:
    card = Card("goals", TWO_MEN_TO_TAKE, ("play",), line=("e3d5",))
    found = verdicts(card.board, {"Nxd5": (0.84, "Kf8 h3"), "Nxf5": (0.6, "Rd7 h3")}, 0.4)
    assert goal_of_card(card, found, Outcome(1, "wins a rook", pawns)) == goal


@pytest.mark.parametrize(
    ("fen", "key", "told", "second", "goal", "theirs"),
    [
        (KNIGHT, "Nxd5", (1.0, "Kf8 h3"), 0.5, "win-material", "win-material"),
        (DOUBLED_ROOKS, "Rxd8+", (1.0, "Rxd8 Rxd8#"), 0.5, "mate", "mate"),
        (QUIET, "Rd7", (0.5, "h6"), 0.34, "draw", "draw"),
        (QUIET, "Rd7", (0.9, "h6"), 0.5, "win", None),
        (QUIET, "Rd7", (0.56, "h6"), 0.5, "improve", None),
    ],
)
def test_a_card_that_asks_to_prevent_something_tells_no_advantage_that_was_there_before(
    fen: str, key: str, told: Told, second: float, goal: Goal, theirs: Goal | None
) -> None:
    board = chess.Board(fen)
    found = verdicts(board, {key: told, "Kf1": (second, "")}, 0.0)
    card = Card("goals", fen, ("play",), line=(board.parse_san(key).uci(),))
    for motif, tells in (
        (None, goal),
        (MotifTag("fork", "white"), goal),
        (MotifTag("fork", "black"), theirs),
    ):
        assert goal_of_card(replace(card, motifs=(motif,) if motif else ()), found) == tells
        says = why_no_goal(replace(card, motifs=(motif,) if motif else ()), found)
        prevents = f"the motif is Black's, so the task is to prevent it, and '{goal}' would mislead"
        assert says == ("" if tells else prevents)


@pytest.mark.parametrize(
    ("fen", "key", "told", "other", "why"),
    [
        (
            TWO_MEN_TO_TAKE,
            "Nxd5",
            (0.84, "Kf8 h3"),
            {"Nxf5": (0.6, "Rd7 h3")},
            "'win material' would mislead: 24. Nxf5 wins a bishop too, and fails",
        ),
        (
            GUARDED,
            "Nxd5",
            (0.84, ""),
            {},
            "White is only better after 24. Nxd5: nothing is won for sure, and captures or checks follow",
        ),
        (
            QUIET,
            "Rd7",
            (0.5, "h6 Rxf7"),
            {"Kf1": (0.4, "")},
            "the game is only level after 24. Rd7, and captures or checks follow",
        ),
        (QUIET, "Rd7", (0.44, "h6"), {}, "White stands worse after 24. Rd7 too"),
    ],
)
def test_why_there_is_no_goal(fen: str, key: str, told: Told, other: dict[str, Told], why: str) -> None:
    board = chess.Board(fen)
    card = Card("goals", fen, ("play",), line=(board.parse_san(key).uci(),))
    found = verdicts(board, {key: told, **other}, 0.3)
    assert (goal_of_card(card, found), why_no_goal(card, found)) == (None, why)


FULL = "r1b2rk1/5ppp/8/8/8/8/5PPP/R1B2RK1 w - - 0 24"
CHECKS = "q2r1r2/5p1k/8/8/6Q1/8/5PPP/R3R1K1 w - - 0 24"


def test_on_a_full_board_only_a_perpetual_check_is_a_draw_to_hold() -> None:
    full = chess.Board(FULL)
    assert goal_of(full, ("c1e3",), verdicts(full, {"Be3": (0.5, "h6")}, 0.1)) is None
    fewer = chess.Board(FULL.replace("r1b2rk1", "2b2rk1"))
    assert goal_of(fewer, ("c1e3",), verdicts(fewer, {"Be3": (0.5, "h6")}, 0.1)) == "draw"
    checks = chess.Board(CHECKS)
    assert goal_of(checks, ("g4h5",), verdicts(checks, {"Qh5+": (0.5, "Kg7 Qg5+ Kh7 Qh5+")}, 0.1)) == "draw"


ONE_CHECK = "6k1/5ppp/8/8/8/8/8/K2R4 w - - 0 1"
TWO_CHECKS = "6k1/5ppp/8/8/8/8/8/K2RR3 w - - 0 1"
THREE_CHECKS = "6k1/5ppp/8/8/8/6Q1/8/K2RR3 w - - 0 1"
QUIET_MATE = "7k/5K2/8/6R1/8/8/8/8 b - - 0 1"
ONE_CAPTURE = KNIGHT
THREE_CAPTURES = "6k1/5ppp/8/1p1r1p2/8/2N1N3/5PPP/6K1 w - - 0 24"


@pytest.mark.parametrize(
    ("fen", "goal", "key", "told"),
    [
        (ONE_CHECK, "mate", "Rd8", ""),
        (TWO_CHECKS, "mate", "Rd8", ""),
        (THREE_CHECKS, "mate", "Rd8", "White to move: find the mate."),
        (TWO_CHECKS, "mate", "Kb1", "White to move: find the mate."),
        (TWO_CHECKS, "win", "Rd8", "White to move and win."),
        (ONE_CAPTURE, "win-material", "Nxd5", ""),
        (ONE_CAPTURE, "win-material", "Nc4", "White to move and win material."),
        (THREE_CAPTURES, "win-material", "Ncxd5", "White to move and win material."),
        (ONE_CAPTURE, "draw", "Nxd5", "White to move: hold the draw."),
        ("4k3/8/8/8/8/8/4p3/4K3 b - - 0 1", "improve", "Kd7", "Black to move: improve the position."),
        (ONE_CHECK, None, "Rd8", ""),
    ],
)
def test_it_is_told_unless_it_gives_the_key_away(fen: str, goal: Goal | None, key: str, told: str) -> None:
    board = chess.Board(fen)
    assert goal_told(board, goal, board.parse_san(key).uci()) == told


@pytest.mark.parametrize(
    ("fen", "goal", "key", "is_one"),
    [
        (ONE_CHECK, "mate", "Rd8", "1. Rd8# is the only check"),
        (TWO_CHECKS, "mate", "Rd8", "1. Rd8# is one of two checks"),
        (ONE_CAPTURE, "win-material", "Nxd5", "24. Nxd5 is the only capture"),
    ],
)
def test_why_a_goal_is_kept_back(fen: str, goal: Goal, key: str, is_one: str) -> None:
    board = chess.Board(fen)
    why = why_kept_back(board, goal, board.parse_san(key).uci())
    assert why == f"the goal would give the move away: {is_one}"


def asked(goal: Goal | None, *asks: str) -> str:
    """The first question of a card with this goal, once it asks for the move."""
    card = Card("rooks", DOUBLED_ROOKS, ("play",), line=("d2d8", "c8d8", "d1d8"), goal=goal)
    state = start([task(card, "play")])
    assert state.attempt is not None
    answer = replace(state.attempt.answer, comes_first=not asks)
    return answer.question


def test_the_question_tells_the_goal() -> None:
    assert asked("win") == "White to move and win."
    assert asked("win", "assess") == "White to move and win. Now decide."
    assert asked(None) == "White to move. Find the move."
    assert asked("mate") == "White to move. Find the move."
    assert asked("mate", "assess") == "White to move. Now decide."


def test_a_coach_writes_it_and_an_unknown_one_is_a_fault_that_lists_the_others() -> None:
    card = Card("rooks", DOUBLED_ROOKS, ("play",), line=("d2d8", "c8d8", "d1d8"), goal="win-material")
    text = write_card(CardEntry(card))
    (read,), faults = read_cards(text, ("play",), None)
    assert (read.entry.card, faults) == (card, ())
    _, (fault,) = read_cards(text.replace("win-material", "victory"), ("play",), None)
    assert fault.message == f"unknown goal 'victory': the goals are {', '.join(GOALS)}"


def test_it_does_not_make_another_version_of_the_card() -> None:
    card = Card("rooks", DOUBLED_ROOKS, ("play",), line=("d2d8", "c8d8", "d1d8"))
    assert replace(card, goal="mate").key_version == card.key_version
