"""What tempts, how hard a card is, and what counts as a position seen before."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import chess
import pytest

from decks.build.candidates import Candidate
from decks.build.difficulty import quiet_replies, tier_of
from decks.build.relevance import causes, explaining, is_paid, uses_of_lines
from decks.build.temptation import only_takes_back, tempting
from decks.build.variety import Known
from decks.cards.built_file import BUILT_FILE, note_built, read_built
from decks.tasks.card import Card, MotifTag
from decks.tasks.tried import examined
from patterns.engines.scores import MoveVerdict, PositionVerdicts
from patterns.lines import Use
from patterns.reading.pgn import Game
from patterns.words.outcome import Outcome


def verdicts(board: chess.Board, scores: dict[str, float], others: float) -> PositionVerdicts:
    moves = {move.uci(): MoveVerdict(scores.get(move.uci(), others), 16, ()) for move in board.legal_moves}
    return PositionVerdicts(board.epd(), "Stockfish 15.1", "wdl", moves, True)


# --- What tempts ---------------------------------------------------------------------------------------

BEFORE = chess.Board("4k3/2p5/1p3r2/3p3p/4P3/3B2P1/1P3P1P/2R3K1 b - - 0 1")
"""Composed. Black takes on e4; White can take back, check on c7 or by Bb5+, or play on."""


def after_the_capture(played: str) -> Candidate:
    board = BEFORE.copy()
    board.push_uci("d5e4")
    moves = (chess.Move.from_uci("d5e4"), chess.Move.from_uci(played))
    return Candidate(Game(1, 1, {}, BEFORE.copy(), moves, "*"), 1, board, "fork")


def test_the_move_played_a_recapture_a_check_and_a_capture_tempt_in_this_order() -> None:
    one = after_the_capture("h2h4")
    failing = verdicts(one.board, {"g1g2": 0.9}, 0.4)
    assert tempting(one, failing) == ("h2h4", "d3e4", "d3b5", "c1c7")


def test_what_does_not_tempt() -> None:
    one = after_the_capture("g1g2")
    assert tempting(one, verdicts(one.board, {"g1g2": 0.9, "d3e4": 0.8, "d3b5": 0.88}, 0.4)) == ("c1c7",), (
        "moves that hold or only slip"
    )
    lost = after_the_capture("g1g2")
    lost.board.set_piece_at(chess.A6, chess.Piece(chess.PAWN, chess.BLACK))
    assert "d3b5" not in tempting(lost, verdicts(lost.board, {"g1g2": 0.9}, 0.4)), "the bishop would be lost"


def test_to_take_back_is_no_question_unless_another_way_to_take_fails() -> None:
    one = after_the_capture("h2h4")
    assert only_takes_back(one, verdicts(one.board, {"d3e4": 0.9}, 0.4))
    assert not only_takes_back(one, verdicts(one.board, {"g1g2": 0.9}, 0.4)), "something else is best"
    assert not only_takes_back(replace(one, ply=0), verdicts(one.board, {"d3e4": 0.9}, 0.4))
    one.board.set_piece_at(chess.C3, chess.Piece(chess.KNIGHT, chess.WHITE))
    assert not only_takes_back(one, verdicts(one.board, {"d3e4": 0.9}, 0.4)), "the knight must not take"
    both = verdicts(one.board, {"d3e4": 0.9, "c3e4": 0.9}, 0.4)
    assert only_takes_back(one, both)


# --- How hard ------------------------------------------------------------------------------------------


def card(fen: str, line: str, motif: str = "fork") -> Card:
    return Card("", fen, ("play",), (MotifTag(motif, "white"),), line=tuple(line.split()))


QUIET = "6k1/5ppp/8/8/8/8/5PPP/R5K1 w - - 0 1"


@pytest.mark.parametrize(
    ("line", "count", "why"),
    [
        ("h2h3", 0, "there is no reply"),
        ("h2h3 h7h6", 0, "nothing of ours comes after it"),
        ("h2h3 h7h6 g2g3", 1, "it has to be foreseen"),
        ("h2h3 h7h6 g2g3 g7g6 f2f3", 2, "so have both"),
        ("a1a8", 0, "mate"),
    ],
)
def test_quiet_replies_are_those_before_an_own_move(line: str, count: int, why: str) -> None:
    assert quiet_replies(card(QUIET, line)) == count, why


def test_a_capture_a_check_and_a_forced_reply_are_not_quiet() -> None:
    taken = card("6k1/5ppp/8/8/8/7p/5PPP/R5K1 w - - 0 1", "g2g4 h7h5 g4h5")
    assert quiet_replies(taken) == 1
    assert quiet_replies(card("6k1/5ppp/8/8/8/8/r4PPP/R5K1 w - - 0 1", "h2h3 a2a1 g1h2")) == 0
    assert quiet_replies(card("3r2k1/5p1p/6p1/8/8/8/5PPP/R5K1 w - - 0 1", "h2h3 d8d1 a1d1")) == 0, "a check"
    assert quiet_replies(card("6k1/5pp1/7p/8/8/8/5PPP/R5K1 w - - 0 1", "a1a8 g8h7 h2h3")) == 0, "forced"


def test_a_tier_goes_up_with_what_lighter_searches_overlook_and_with_quiet_replies() -> None:
    board = chess.Board(QUIET)
    key = verdicts(board, {"a1a8": 1.0, "a1a7": 0.98}, 0.5)
    sees, also, blind = (verdicts(board, {move: 1.0}, 0.5) for move in ("a1a8", "a1a7", "h2h3"))
    for looks, tier in (((sees, sees), 1), ((also, sees), 1), ((blind, sees), 2), ((sees, blind), 3)):
        assert tier_of(card(QUIET, "a1a8"), key, looks) == tier
    quiet_key = verdicts(board, {"h2h3": 1.0}, 0.5)
    assert tier_of(card(QUIET, "h2h3"), quiet_key, (quiet_key, quiet_key)) == 2, "one tries captures first"
    assert tier_of(card(QUIET, "h2h3 h7h6 g2g3"), key, (sees, sees)) == 2
    assert tier_of(card(QUIET, "h2h3 h7h6 g2g3 g7g6 f2f3"), key, (blind, sees)) == 3
    assert tier_of(card(QUIET, "h2h3 h7h6 g2g3 g7g6 f2f3 f7f6 g3g4"), key, (sees, sees)) is None


# --- Which motif explains a move -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fen", "line", "motif", "expected", "why"),
    [
        (
            "r3k2r/1p3ppp/p2p4/4p3/4P1b1/2N2P2/PPP3PP/R3K2R w KQkq - 0 1",
            "c3d5 a8c8 c2c3 c8c6",
            "weak-square",
            True,
            "a plan",
        ),
        (
            "r3k2r/1p3ppp/p2p4/4p3/4P1b1/2N2P2/PPP3PP/R3K2R w KQkq - 0 1",
            "c3d5 g4f3 g2f3",
            "weak-square",
            False,
            "the line is one of blows",
        ),
        (
            "6k1/r4ppp/8/3P4/8/8/P4PPP/3R2K1 w - - 0 1",
            "d5d6 a7a2 d6d7 a2a8",
            "passed-pawn",
            True,
            "it goes on with the next move",
        ),
        (
            "4k3/pp3ppp/8/8/8/8/PPP2PPP/4K3 w - - 0 30",
            "c2c4 e8e7 b2b4 e7d6",
            "wing-majority",
            False,
            "a quiet line, but no single move is about a majority",
        ),
        (
            "5rk1/5Npp/8/8/8/1Q6/5PPP/6K1 w - - 0 1",
            "f7h6 g8h8 b3g8 f8g8 h6f7",
            "discovered-attack",
            False,
            "the mate has a name, smothered",
        ),
        (
            "5rk1/5Npp/8/8/8/1Q6/5PPP/6K1 w - - 0 1",
            "f7h6 g8h8 b3g8 f8g8 h6f7",
            "mating-net",
            True,
            "by which it is told",
        ),
        (
            "5R2/6k1/4p3/2P3pK/p2N4/8/1B6/8 w - - 0 1",
            "d4e6 g7h7 f8h8",
            "discovered-attack",
            True,
            "the mate has none",
        ),
    ],
)
def test_which_motifs_of_a_line_explain_its_first_move(
    fen: str, line: str, motif: str, expected: bool, why: str
) -> None:
    board, moves = chess.Board(fen), line.split()
    (uses,) = uses_of_lines([(board, moves)])
    assert motif in {use.motif for use in uses if use.ply == 1}, "the detector sees it in either line"
    assert (motif in {use.motif for use in explaining(board, moves, uses)}) is expected, why


ROOK = Use(1, "fork", (), (), (), "", wins=5)


@pytest.mark.parametrize(
    ("use", "gain", "paid", "why"),
    [
        (ROOK, Outcome(3, "wins the exchange", 2), True, "they take a knight for the rook"),
        (ROOK, Outcome(3, "wins a pawn", 1), False, "nearly all of it is given back"),
        (ROOK, Outcome(5, "mates", mates=True), True, "mate is more"),
        (ROOK, Outcome(0, ""), False, "nothing is won"),
        (replace(ROOK, wins=1), Outcome(3, "wins a pawn", 1), True, "no more was promised"),
        (replace(ROOK, wins=0), Outcome(0, ""), True, "nothing was promised"),
        (replace(ROOK, shown=False), Outcome(3, "wins a queen", 9), False, "something else is won"),
    ],
)
def test_a_use_is_paid_if_the_line_plays_it_out_and_keeps_the_exchange_or_more(
    use: Use, gain: Outcome, paid: bool, why: str
) -> None:
    assert is_paid(use, gain) is paid, why


def test_a_motif_that_does_not_pay_is_no_cause() -> None:
    board = chess.Board("5r1k/5p2/8/b7/6Q1/8/5PPP/6K1 w - - 0 24")
    for line, deciding in (("h8g7 h5a5", ["fork"]), ("h8g7 h5a5 f8a8 h2h3 a8a5", [])):
        moves = {move.uci(): MoveVerdict(0.1, 16, ()) for move in board.legal_moves}
        moves["g4h5"] = MoveVerdict(0.9, 16, tuple(line.split()))
        found = PositionVerdicts(board.epd(), "Stockfish 15.1", "wdl", moves, True)
        uses = uses_of_lines([(board, ("g4h5", *line.split()))])
        assert [motif for motif in causes(board, found, uses, ["fork"]) if motif == "fork"] == deciding


def test_a_line_is_examined_for_four_moves_but_not_to_its_mate() -> None:
    board = chess.Board(QUIET)
    quiet = ["a1b1", "g8f8", "b1a1", "f8g8", "g1f1", "g8f8", "f1g1", "f8g8"]
    assert examined(board, quiet) == tuple(quiet[:7])
    assert examined(board, [*quiet[:2], "a1a8"]) == tuple(quiet[:2]), "up to an illegal move"
    mates = "a1b1 h7h6 b1a1 h6h5 a1a2 h5h4 a2a8"
    assert examined(board, mates.split()) == tuple(mates.split()), "the king goes to h7"
    mates = "a1b1 g8f8 b1a1 f8g8 a1a2 g8h8 a2a8"
    assert examined(board, mates.split()) == tuple(mates.split()[:5])


def test_a_line_is_examined_to_a_mate_that_has_a_name_and_told_by_it() -> None:
    board = chess.Board("5r1k/5ppp/8/6N1/8/1Q6/5PPP/6K1 w - - 0 1")
    line = ["g5f7", "h8g8", "f7h6", "g8h8", "b3g8", "f8g8", "h6f7"]
    assert examined(board, line) == tuple(line)
    (uses,) = uses_of_lines([(board, line)])
    (first,) = (use for use in uses if use.ply == 1 and use.motif == "mating-net")
    assert first.note.endswith("three moves later the knight on h6 mates on f7: it is a smothered mate.")


# --- What is known -------------------------------------------------------------------------------------

MIDDLE = chess.Board("r1bq1rk1/pp2bppp/2n1pn2/3p4/3P4/2NBPN2/PP3PPP/R1BQ1RK1 w - - 0 10")


def test_a_position_is_known_again_a_move_and_a_reply_later_and_not_after_more() -> None:
    later = MIDDLE.copy()
    known = Known([MIDDLE.epd()])
    for move, like in (("a2a3", True), ("a7a6", True), ("b2b4", False)):
        later.push_uci(move)
        assert known.has_like(later) is like, move
    assert not Known().has_like(MIDDLE)


def test_the_same_idea_in_the_same_structure_is_known() -> None:
    one = card(MIDDLE.fen(), "f3e5")
    known = Known(cards=[one])
    assert known.has_like(MIDDLE)
    far = MIDDLE.copy()
    for square, piece in (("d1", None), ("d2", "Q"), ("f1", None), ("e1", "R"), ("a8", None), ("c8", "r")):
        far.set_piece_at(chess.parse_square(square), chess.Piece.from_symbol(piece) if piece else None)
    assert not known.has_like(far)
    assert known.has_idea(card(far.fen(), "f3e5"))
    assert not known.has_idea(card(far.fen(), "f3g5")), "another square"
    assert not known.has_idea(card(far.fen(), "f3e5", "pin-on-file")), "another motif"
    far.remove_piece_at(chess.A7)
    assert not known.has_idea(card(far.fen(), "f3e5")), "other pawns"


def test_built_positions_are_noted_once_and_read_again_whatever_else_the_file_holds(tmp_path: Path) -> None:
    assert read_built(tmp_path) == ()
    note_built(tmp_path, [MIDDLE.epd(), MIDDLE.epd()])
    (tmp_path / BUILT_FILE).write_text(f"a coach's remark\n\n{MIDDLE.epd()}")
    note_built(tmp_path, [MIDDLE.epd(), BEFORE.epd()])
    assert read_built(tmp_path) == (MIDDLE.epd(), BEFORE.epd())
    assert (tmp_path / BUILT_FILE).read_text().startswith("a coach's remark\n\n")
