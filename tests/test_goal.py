"""The goal of a card: derived from verdicts, told with the question, kept back where it tells the key."""

from __future__ import annotations

from dataclasses import replace

import chess
import pytest
from made_tasks import DOUBLED_ROOKS, task
from made_verdicts import GUARDED, KNIGHT, QUIET, TWO_TO_TAKE, verdicts

from decks.cards.cards_file import CardEntry, read_cards, write_card
from decks.review.session import start
from decks.tasks.card import GOALS, Card, Goal, MotifTag
from decks.tasks.goal import goal_of, goal_of_card, goal_told


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


def test_material_is_no_goal_where_a_move_that_fails_wins_some_too() -> None:
    card = Card("goals", TWO_TO_TAKE, ("play",), line=("e3d5",))
    rook, pawn, level = (0.84, "Kf8 h3"), (0.6, "Rd7 h3"), (0.5, "Rd7 h3")
    assert goal_of_card(card, verdicts(card.board, {"Nxd5": rook, "Nxf5": pawn}, 0.4)) is None
    for others in ({}, {"Nxf5": level}, {"Kf1": (0.6, "")}, {"Nxf5": (0.84, "Rd7 h3")}):
        found = verdicts(card.board, {"Nxd5": rook, **others}, 0.4)
        assert goal_of_card(card, found) == "win-material", others


def test_a_card_that_asks_to_prevent_something_has_no_goal() -> None:
    found = verdicts(chess.Board(KNIGHT), {"Nxd5": (1.0, "Kf8 h3")}, 0.5)
    card = Card("goals", KNIGHT, ("play",), line=("e3d5",), motifs=(MotifTag("fork", "white"),))
    assert goal_of_card(card, found) == goal_of_card(replace(card, motifs=()), found) == "win-material"
    assert goal_of_card(replace(card, motifs=(MotifTag("fork", "black"),)), found) is None


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
