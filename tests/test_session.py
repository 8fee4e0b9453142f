"""The session: what may happen in which order, and that nothing shows before it is kept."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import chess
import pytest
from made_tasks import (
    MEMORY,
    black_to_move,
    doubled_rooks,
    in_hand,
    promotion,
    root_card,
    short_ballot,
    spot_card,
    task,
)

from decks.asks.assess import AssessAnswer, SetCell
from decks.asks.assess_mark import AssessMark
from decks.asks.play import PlayAnswer, Promote
from decks.asks.spot import Name, SpotAnswer
from decks.memory.strands import StrandState
from decks.review import messages as m
from decks.review.session import State, start, update
from decks.tasks.ballot import BALLOT_ROWS
from decks.tasks.card import MotifTag
from decks.tasks.entry import read_move
from decks.tasks.evidence import NO_MARKS
from decks.tasks.hints import Hint, about_the_motif
from decks.tasks.task import Task
from decks.telling.about_card import MOTIF_KEPT_BACK, evidence_in_words
from decks.telling.explanation_text import verdict_line
from decks.telling.result import closing, result
from decks.telling.shown import board_view, minutes_left
from patterns.reading.text import safe
from patterns.words.verdicts import STRENGTHS, Verdict

KEY = {"open-lines": 2, "king-safety": 1, "verdict": 3}


def send(state: State, *messages: m.Message, save: bool = True) -> tuple[State, list[m.Effect]]:
    """Send messages, carrying out saves as if they succeeded; every effect asked for comes back.

    There is no engine for a second look.
    """
    effects: list[m.Effect] = []
    for message in messages:
        state, wanted = update(state, message)
        effects += wanted
        while save and wanted and not isinstance(wanted[0], m.Quit | m.SaveShown | m.Plan):
            state, wanted = update(state, carried_out(message.at, wanted[0]))
            effects += wanted
    return state, effects


def carried_out(at: float, effect: m.Effect) -> m.Message:
    if isinstance(effect, m.LookAgain):
        return m.LookedAgain(at, effect.task, effect.ask, None)
    return m.Saved(at, MEMORY)


def type_in(state: State, *texts: str, at: float = 1.0) -> tuple[State, list[m.Effect]]:
    return send(state, *(m.Enter(at, text) for text in texts))


def ballot(at: float = 1.0, **changes: int) -> list[m.Message]:
    marks = (
        dict.fromkeys(BALLOT_ROWS, 0) | KEY | {row.replace("_", "-"): cell for row, cell in changes.items()}
    )
    return [*(SetCell(at, row, cell) for row, cell in marks.items()), m.Submit(at)]


def grades(state: State) -> list[str]:
    assert state.attempt is not None
    return [given.grade for given in state.attempt.given]


def test_a_card_played_through_is_found_and_each_answer_is_saved_once() -> None:
    state, effects = type_in(start([doubled_rooks("play")]), "Rxd8+", "d1d8")
    assert (state.phase, grades(state)) == ("shown", ["found"])
    saved, _ = effects
    assert isinstance(saved, m.SaveAnswer)
    assert json.loads(saved.given.raw) == ["d2d8", "d1d8"]


def test_the_stored_reply_is_on_the_board_after_a_holding_move() -> None:
    state, effects = type_in(start([doubled_rooks("play")]), "Rxd8+")
    assert effects == []
    assert state.board is not None
    assert [move.uci() for move in state.board.move_stack] == ["d2d8", "c8d8"]


@pytest.mark.parametrize(
    ("move", "grade", "line"),
    [("h3", "found", "Your move"), ("g3", "partly", "Why it slips"), ("Kf1", "missed", "Why it fails")],
)
def test_a_move_off_the_line_ends_the_card_by_its_own_worth(move: str, grade: str, line: str) -> None:
    state, _ = type_in(start([doubled_rooks("play")]), move)
    assert (state.phase, grades(state)) == ("shown", [grade])
    assert [shown.title for shown in state.lines] == [line, "The line"]
    assert len(state.lines[0].moves) == 2  # the move and what follows it


def test_nothing_is_shown_until_the_answer_is_kept() -> None:
    state, effects = update(start([doubled_rooks("play")]), m.Enter(1, "Kf1"))
    assert state.phase == "saving"
    assert [type(effect) for effect in effects] == [m.SaveAnswer]
    for message in (
        m.Next(2),
        m.Enter(2, ""),
        m.Stop(2),
        m.Click(2, "d1"),
        m.StepInLine(2, 1),
        m.Turn(2),
        m.Tick(2),
    ):
        waiting, effects = update(state, message)
        assert (waiting.phase, waiting.lines, waiting.done, effects) == ("saving", (), (), ())
    kept, _ = update(state, m.Saved(3, MEMORY))
    assert kept.phase == "shown"
    assert kept.attempt is not None
    assert kept.attempt.given[0].memory == MEMORY


def test_a_failed_save_ends_the_session_and_says_why() -> None:
    state, _ = update(start([doubled_rooks("play"), spot_card("spot")]), m.Enter(1, "Kf1"))
    state, effects = update(state, m.SaveFailed(2, "disk full"))
    assert (state.phase, state.failure, effects) == ("ended", "disk full", (m.Quit("disk full"),))


def test_with_a_ballot_and_moves_due_the_ballots_result_waits_for_the_moves() -> None:
    state, effects = send(start([doubled_rooks("assess", "play")]), *ballot(at=30))
    assert [type(effect) for effect in effects] == [m.SaveAnswer]
    assert (state.phase, state.lines, state.done) == ("answering", (), ())
    assert state.attempt is not None
    assert state.attempt.ask == "play"
    state, effects = send(state, m.Enter(40, "Kf1"))
    assert (state.phase, grades(state)) == ("shown", ["found", "missed"])
    assert [given.seconds for given in state.done[0].given] == [30, 10]


def test_a_ballot_with_blank_rows_is_not_handed_in() -> None:
    state, effects = send(start([doubled_rooks("assess")]), SetCell(1, "space", 1), m.Submit(1))
    assert (state.phase, effects) == ("answering", [])
    assert "material" in state.notice
    assert "space" not in state.notice


def test_marking_a_row_goes_on_to_the_next_blank_one() -> None:
    state, _ = send(start([doubled_rooks("assess")]), SetCell(1, "material", 1), m.MoveRow(1, 1))
    state, _ = send(state, SetCell(1, "centre", 0))
    assert BALLOT_ROWS[in_hand(state, AssessAnswer).row] == "pawn-structure"
    state, _ = send(state, SetCell(1, "verdict", 0))
    assert BALLOT_ROWS[in_hand(state, AssessAnswer).row] == "king-safety"


def test_cells_that_a_row_lacks_are_ignored() -> None:
    state, _ = send(start([doubled_rooks("assess")]), SetCell(1, "material", 3), SetCell(1, "verdict", 3))
    assert dict(in_hand(state, AssessAnswer).ballot) == {"verdict": 3}


def test_the_coachs_key_decides_over_the_computed_one() -> None:
    assert grades(send(start([doubled_rooks("assess")]), *ballot(material=0))[0]) == ["found"]
    state, _ = send(start([doubled_rooks("assess")]), *ballot(material=2))
    assert state.attempt is not None
    assert state.attempt.given[0].score < 1


def test_near_a_border_both_neighbours_are_right_where_the_key_is_computed() -> None:
    task = doubled_rooks("assess")
    verdict = replace(task.explanation.assessment, expected_score=0.5 + 0.16 - 0.01)  # slight, nearly clear
    card = replace(task.card, factors={"material": Verdict("level", 0)})
    explanation = replace(task.explanation, assessment=replace(verdict, verdict=Verdict("white", 1)))
    near = replace(task, card=card, explainer=lambda board: explanation)
    rows = [send(start([near]), *ballot(verdict=cell))[0].done[0].given[0].mark for cell in (0, 1, 2, 3)]
    assert [mark.rows[-1].credit for mark in rows if isinstance(mark, AssessMark)] == [0.4, 1, 1, 0.4]


@pytest.mark.parametrize(("expected", "told", "verdict"), [(0.6597, 0.65, 1), (0.66, 0.66, 2)])
def test_a_verdict_and_its_number_agree_wherever_they_are_told(
    expected: float, told: float, verdict: int
) -> None:
    task = doubled_rooks("assess")
    counted = replace(task.explanation.assessment, expected_score=expected, verdict=Verdict("white", verdict))
    explanation = replace(task.explanation, assessment=counted)
    assert explanation.as_dict()["verdict"]["expected_score"] == told
    assert f"{STRENGTHS[verdict]} for White (White's expected score {told};" in verdict_line(explanation)
    near = replace(task, card=replace(task.card, factors={}), explainer=lambda board: explanation)
    mark = send(start([near]), *ballot(verdict=verdict))[0].done[0].given[0].mark
    assert isinstance(mark, AssessMark)
    assert mark.rows[-1].key == verdict
    assert f"an expected score of {told}." in mark.rows[-1].reasons(near, keeping_secret=False)[-1]


SHORT = {"material": 0, "king-safety": 1, "open-lines": 2, "verdict": 3}


def short(at: float = 1.0, **changes: int) -> list[m.Message]:
    marks = SHORT | {row.replace("_", "-"): cell for row, cell in changes.items()}
    return [*(SetCell(at, row, cell) for row, cell in marks.items()), m.Submit(at)]


def test_a_short_ballot_asks_the_coachs_factors_and_those_that_decide_and_the_verdict() -> None:
    state = start([short_ballot("assess")])
    assert in_hand(state, AssessAnswer).rows == tuple(SHORT)
    state, _ = send(state, SetCell(1, "space", 1))
    assert dict(in_hand(state, AssessAnswer).ballot) == {}
    state, effects = send(state, *short())
    assert grades(state) == ["found"]
    saved, _ = effects
    assert isinstance(saved, m.SaveAnswer)
    assert list(json.loads(saved.given.raw)) == list(SHORT)


def test_after_the_answer_each_row_is_looked_into_with_its_evidence_on_the_board() -> None:
    state, _ = send(start([short_ballot("assess", "play")]), *short(open_lines=0), m.Enter(2, "Kf1"))
    seen = []
    for by in (1, 1, 1, 1, 1, -1, -1, -1, -1, -1):
        state, _ = send(state, m.MoveRow(3, by))
        view = board_view(state)
        assert view is not None
        seen.append((state.row, tuple(sorted(view.marks.actors)), tuple(sorted(view.marks.targets))))
    rows = [row for row, _, _ in seen]
    assert rows == [*SHORT, "verdict", "open-lines", "king-safety", "material", "", ""]
    assert seen[1] == ("king-safety", ("d1",), ("g8",))
    assert seen[3] == ("verdict", ("d1", "d2"), ("g8",))
    state, _ = send(state, m.ChooseRow(4, "king-safety"), m.StepInLine(4, 1))
    assert (state.row, state.ply) == ("", 1)
    state, _ = send(state, m.ChooseRow(4, "king-safety"))
    assert (state.row, state.ply) == ("king-safety", 0)
    state, _ = send(state, m.ChooseRow(4, "space"))
    assert state.row == "king-safety"


def test_there_are_no_rows_to_look_into_where_no_ballot_was_handed_in() -> None:
    state, _ = send(type_in(start([doubled_rooks("play")]), "Kf1")[0], m.MoveRow(2, 1))
    assert (state.phase, state.row) == ("shown", "")


def spot_to_come(*asks: str) -> State:
    """The rooks' card, which also asks for its motif, but not today unless named."""
    task = short_ballot(*asks)
    card = replace(task.card, asks=("assess", "spot", "play"))
    return start([replace(task, card=card)])


def all_text(state: State) -> str:
    """Everything said about the card: the result, every row, the closing summary."""
    assert state.attempt is not None
    task, secret = state.attempt.task, state.attempt.keeps_secret
    rows = [reason for row in state.attempt.marked_rows for reason in row.reasons(task, secret)]
    after, _ = send(state, m.Stop(9))
    return "\n".join([*(part.text for part in result(state) + closing(after)), *rows]).lower()


def test_a_ballots_result_keeps_the_motif_back_while_it_is_still_to_be_asked() -> None:
    state, _ = send(spot_to_come("assess"), *[m.TakeHint(1)] * 5, *short(king_safety=-2, verdict=-3))
    assert grades(state) == ["missed"]
    assert state.attempt is not None
    assert [hint.text for hint in state.attempt.hints] == [
        "The factor that weighs most is open lines.",
        "On open lines White is better.",
    ]
    for secret in ("back rank", "flight", "count who", "d1", "g8", "why king-safety"):
        assert secret not in all_text(state)
    assert "the motif is not shown before" in all_text(state)
    assert "not shown before you have been asked for the motif" in all_text(state)
    for row in ("", *SHORT):
        view = board_view(replace(state, row=row))
        assert view is not None
        assert view.marks == NO_MARKS


def test_once_the_motif_was_asked_everything_is_shown() -> None:
    state, _ = send(spot_to_come("assess", "spot"), *short(), *[m.TakeHint(2)] * 5)
    assert state.attempt is not None
    assert len(state.attempt.hints) == 3
    state, _ = type_in(state, "weak back rank, d1 d2 g8", "")
    assert grades(state) == ["found", "helped"]
    for word in ("weak back rank, for white", "flight", "why king-safety"):
        assert word in all_text(state)


def test_no_hint_before_a_motif_is_named_tells_its_name_alone() -> None:
    state, _ = send(start([spot_card("spot")]), *[m.TakeHint(1)] * 5)
    assert state.attempt is not None
    *first, last = [hint.text.lower() for hint in state.attempt.hints]
    assert not any("back rank" in text for text in first)
    assert last.count(",") == 2
    assert "weak back rank" in last


def test_the_coachs_comment_is_not_said_again_where_it_is_the_evidences_own_sentence() -> None:
    task = doubled_rooks("play")
    wrapped = "The king on g8 has no\nflight square"
    card = replace(task.card, comments={0: wrapped, 3: "Mate on the last rank."})
    state, _ = type_in(start([replace(task, card=card)]), "Kf1")
    texts = [part.text for part in result(state)]
    assert sum("flight square" in text for text in texts) == 1
    assert "Coach, on 25. Rxd8#: Mate on the last rank." in texts


def test_the_coachs_key_is_told_with_the_computed_one_beside_it() -> None:
    state, _ = send(start([with_coach("king-safety", "black 2")]), *short(material=1, king_safety=-1))
    assert state.attempt is not None
    words = {row.name: row.in_words() for row in state.attempt.marked_rows}
    assert words["king-safety"] == (
        "king safety: Black slight, near (the card says Black clear; the program makes it White slight)"
    )
    assert words["material"] == "material: White slight, near (the key says level)"
    assert words["open-lines"] == "open lines: White clear, right"


def with_coach(row: str, verdict: str) -> Task:
    task = short_ballot("assess")
    return replace(task, card=replace(task.card, factors={row: Verdict.parse(verdict)}))


def test_an_assess_answer_alone_does_not_show_the_line_that_play_asks_for() -> None:
    state, _ = send(start([doubled_rooks("assess")]), *ballot())
    assert (state.phase, state.lines) == ("shown", ())


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("xyzzy", "'xyzzy' is not a move: write it like"),
        ("Qd4", "Qd4 is not legal here: no queen of yours can move"),
        ("Rh8", "Rh8 is not legal here: a rook can go R"),
        ("e4e5", "e4e5 is not legal here: e4 is empty"),
        ("g8h8", "g8h8 is not legal here: the man on g8 is not yours"),
        ("g1g3", "g1g3 is not legal here: the king on g1 can go Kf1, Kh1"),
        ("g1g1", "g1g1 is not legal here: the king on g1 can go Kf1, Kh1"),
        ("Rd\x1b[2Jx", "is not a move"),
    ],
)
def test_a_move_that_cannot_be_played_says_why_and_costs_nothing(text: str, says: str) -> None:
    state, effects = type_in(start([doubled_rooks("play")]), text)
    assert says in state.notice
    assert "\x1b" not in state.notice
    assert (state.phase, effects) == ("answering", [])
    assert type_in(state, "Rxd8", "Rxd8")[0].phase == "shown"


def test_castling_written_as_king_to_rook_is_castling() -> None:
    board = chess.Board("4k3/8/8/8/8/8/8/R3K2R w KQ - 0 1")
    assert [read_move(board, text).uci() for text in ("e1h1", "e1-a1", "e1g1")] == ["e1g1", "e1c1", "e1g1"]


def test_an_ambiguous_move_names_the_choices() -> None:
    state, _ = type_in(start([promotion("play")]), "a7a8")
    assert state.notice == "a7a8 could be a8=Q, a8=R, a8=B or a8=N: say what the pawn becomes"
    state, _ = type_in(state, "a8")
    assert state.notice == "a8 could be a8=Q, a8=R, a8=B or a8=N: say what the pawn becomes"
    assert state.phase == "answering"


@pytest.mark.parametrize("text", ["nonsense", "14", ".", "²...", "-1.", "9" * 5000 + "."])
def test_a_root_answer_must_be_a_move_number(text: str) -> None:
    state, effects = type_in(start([root_card("root")]), text)
    assert f"'{safe(text, 20)}' is not a move number" in state.notice
    assert not effects


CHECKS_MATES_CAPTURES = (
    "3r2k1/5ppp/8/8/8/8/3R1PPP/3R2K1 w - - 0 24",
    "r1bqkb1r/pppp1ppp/2n2n2/4p2Q/2B1P3/8/PPPP1PPP/RNB1K1NR w KQkq - 0 4",
    "rnbqkbnr/ppp2ppp/8/3pp3/4P3/2p5/PP1P1PPP/RNBQKBNR w KQkq - 0 1",
    "1n2k3/P4p2/8/3pP3/8/8/1B3n2/R3K2R w KQ d6 0 1",
)


@pytest.mark.parametrize("fen", CHECKS_MATES_CAPTURES)
def test_completion_offers_moves_without_signs_and_both_spellings_are_read(fen: str) -> None:
    board = chess.Board(fen)
    task = doubled_rooks("play")
    answer = PlayAnswer(replace(task, card=replace(task.card, fen=fen, line=())))
    offered = {read_move(board, one.entry): one for one in answer.completions("")}
    assert set(offered) == set(board.legal_moves)
    for move, completion in offered.items():
        assert completion.word == completion.entry
        assert not set("+#x") & set(completion.word)
        assert read_move(board, board.san(move)) == move
    with_sign = {one.entry for letter in "NBRQKabcdefgh" for one in answer.completions(f"{letter}x")}
    assert {read_move(board, text) for text in with_sign} == {
        move for move in board.legal_moves if board.san(move)[1:2] == "x"
    }
    assert not any(set("+#") & set(text) for text in with_sign)


def test_clicks_pick_up_and_set_down_a_man() -> None:
    state = start([doubled_rooks("play")])
    state, _ = send(state, m.Click(1, "d1"))
    assert in_hand(state, PlayAnswer).picked == "d1"
    state, _ = send(state, m.Click(1, "d2"))
    assert in_hand(state, PlayAnswer).picked == "d2"
    state, effects = send(state, m.Click(1, "d8"), m.Click(1, "d1"), m.Click(1, "d8"))
    assert (state.phase, grades(state), len(effects)) == ("shown", ["found"], 2)


def test_clicking_where_the_man_cannot_go_sets_it_back_and_says_why() -> None:
    state, _ = send(start([doubled_rooks("play")]), m.Click(1, "d1"), m.Click(1, "h8"))
    assert (in_hand(state, PlayAnswer).picked, state.phase) == (None, "answering")
    assert "d1h8 is not legal here" in state.notice


def test_a_promotion_by_clicks_asks_which_man() -> None:
    state, _ = send(start([promotion("play")]), m.Click(1, "a7"), m.Click(1, "a8"))
    assert len(in_hand(state, PlayAnswer).promotions) == 4
    state, _ = send(state, Promote(2, "q"))
    assert (state.phase, grades(state)) == ("shown", ["found"])


def test_the_first_hint_says_the_same_whether_a_motif_is_there_or_only_seems_to_be() -> None:
    real = doubled_rooks().card
    seems = replace(real, motifs=(), lookalike=real.motifs[0], evidence={})
    (which, _), (which_seems, _) = (about_the_motif(task(card, "play"), False) for card in (real, seems))
    assert which == which_seems == Hint("It is about this: weak back rank.")


def test_hints_tell_which_then_where_then_what_and_cap_the_grade() -> None:
    state, _ = send(start([doubled_rooks("play")]), *[m.TakeHint(1)] * 5)
    assert state.attempt is not None
    which, where, what = state.attempt.hints
    assert which.text.startswith("It is about this: ")
    assert which.marks.targets == frozenset()
    assert "the king on g8" in where.text
    assert where.marks.targets == {"g8"}
    assert what.text == "Your move must give check, and the reply is forced."
    assert state.notice == "There is no further hint."
    state, _ = type_in(state, "Rxd8", "Rxd8")
    assert grades(state) == ["helped"]


def hints_taken(state: State) -> int:
    assert state.attempt is not None
    return len(state.attempt.hints)


def test_a_hint_says_what_it_costs_before_it_is_taken_and_only_the_first_time() -> None:
    told, _ = send(start([doubled_rooks("play")]), m.TakeHint(1))
    assert hints_taken(told) == 0
    assert told.notice == "A hint makes the grade 'with help' at best. Ask again to take it."
    for between in (m.Tick(2), m.TakeHint(2)):
        assert hints_taken(send(told, between, m.TakeHint(3))[0]) == 1 + isinstance(between, m.TakeHint)
    unsure, _ = send(told, m.Click(2, "d1"), m.TakeHint(3))
    assert (hints_taken(unsure), unsure.notice) == (0, told.notice)
    state, _ = type_in(told, "h3")
    assert grades(state) == ["found"]
    assert hints_taken(send(told, m.TakeHint(2), m.Click(2, "d1"), m.TakeHint(3))[0]) == 2


def test_no_hint_names_the_move() -> None:
    state, _ = send(start([doubled_rooks("play")]), *[m.TakeHint(1)] * 4)
    assert state.attempt is not None
    assert len(state.attempt.hints) == 3
    assert not any("Rxd8" in hint.text or "d2d8" in hint.text for hint in state.attempt.hints)


def test_a_hint_on_the_ballot_counts_for_the_moves_of_the_same_card() -> None:
    state, _ = send(
        start([doubled_rooks("assess", "play")]), *[m.TakeHint(1)] * 2, *ballot(), m.Enter(2, "h3")
    )
    assert grades(state) == ["helped", "helped"]


def test_spotting_by_text_and_by_clicks_comes_to_the_same() -> None:
    typed, _ = type_in(start([spot_card("spot")]), "back-rank d1, d2 g8", "")
    clicks = [Name(1, "back-rank"), *(m.Click(1, square) for square in ("d1", "d2", "h1", "g8", "h1"))]
    clicked, _ = send(start([spot_card("spot")]), *clicks, m.Submit(1))
    assert typed.attempt is not None
    assert clicked.attempt is not None
    assert typed.attempt.given[0].raw == clicked.attempt.given[0].raw
    assert grades(typed) == grades(clicked) == ["found"]


def test_motifs_are_written_by_title_or_id_and_taken_back_by_writing_them_again() -> None:
    state, _ = type_in(
        start([spot_card("spot")]), "Weak back rank, d1; FORK", "fork d2 pin on the file", "g8"
    )
    assert in_hand(state, SpotAnswer).named == {"back-rank", "pin-on-file"}
    assert in_hand(state, SpotAnswer).pointed == {"d1", "d2", "g8"}


def test_a_spot_result_tells_names_and_squares_right_wrong_and_left_out() -> None:
    state, _ = type_in(start([spot_card("spot")]), "back-rank fork d1 a1", "")
    assert [part.text for part in result(state)][1] == (
        "Right: weak back rank; not there: fork; right squares: d1; wrong squares: a1; "
        "squares left out: d2 and g8."
    )


def test_a_coachs_label_is_shown_in_words_and_need_not_be_named() -> None:
    task = spot_card("spot")
    card = replace(
        task.card,
        motifs=(*task.card.motifs, MotifTag("coach:rook-endings", "black")),
        evidence={"coach:rook-endings": ("a1",)},
    )
    begun = start([replace(task, card=card)])
    assert in_hand(begun, SpotAnswer).question.endswith("Which motif is there? Name it and point to the men.")
    assert "It is good for White." in [hint.text for hint in in_hand(begun, SpotAnswer).hints(False)]
    assert not any("rook endings" in hint.text for hint in in_hand(begun, SpotAnswer).hints(False))
    state, _ = type_in(begun, "back-rank d1 d2 g8", "")
    assert grades(state) == ["found"]
    told = [part.text for part in result(state)]
    assert told[1] == "Right: weak back rank; right squares: d1, d2 and g8."
    assert "Rook endings, for Black: a1." in told


def test_a_spot_answer_needs_a_motif_that_exists() -> None:
    state, _ = type_in(start([spot_card("spot")]), "")
    assert state.notice == "Name a motif first."
    state, _ = type_in(state, "back-rnk")
    assert "'back-rnk' is neither a motif nor a square" in state.notice


@pytest.mark.parametrize(("text", "grade"), [("2...", "found"), ("2.", "missed"), ("3. Nxe5", "missed")])
def test_the_root_is_named_as_the_sheet_numbers_it(text: str, grade: str) -> None:
    assert grades(type_in(start([root_card("root")]), text)[0]) == [grade]


def test_the_root_is_named_by_stepping_back_to_it() -> None:
    state, _ = send(start([root_card("root")]), m.StepInLine(1, -1), m.StepInLine(1, -1), m.Submit(1))
    assert grades(state) == ["found"]


def test_a_line_is_stepped_within_its_ends_and_the_other_line_starts_anew() -> None:
    state, _ = type_in(start([doubled_rooks("play")]), "Kf1")
    seen = []
    for by in (-1, 1, 1, 1, -1):
        state, _ = send(state, m.StepInLine(2, by))
        seen.append(state.ply)
    assert seen == [0, 1, 2, 2, 1]
    state, _ = send(state, m.OtherLine(2))
    assert (state.line, state.ply) == (1, 0)


def answered_wrong() -> State:
    return type_in(start([doubled_rooks("play"), black_to_move("play")]), "Kf1")[0]


def test_a_grade_is_contested_only_once_the_student_has_confirmed_it() -> None:
    state, effects = send(answered_wrong(), m.Contest(2))
    assert (effects, state.notice) == ([], "Contest the grade 'missed'?")
    assert state.asks_to_confirm
    assert not state.done[-1].contested
    state, effects = send(state, m.Confirm(3))
    effect, _ = effects
    assert isinstance(effect, m.SaveContest)
    assert (effect.given.ask, effect.grade) == ("play", "found")
    assert (state.phase, state.asks_to_confirm) == ("shown", False)
    assert state.notice == "Contested. Your coach decides; until then the grade stays."
    assert state.done[-1].contested == ("play",)
    state, effects = send(state, m.Contest(4))
    assert (effects, state.notice) == ([], "There is no grade to contest.")


def test_a_contest_changes_neither_grade_nor_memory() -> None:
    before = answered_wrong()
    state, _ = send(before, m.Contest(2), m.Confirm(2))
    assert before.attempt is not None
    assert state.attempt is not None
    assert state.attempt.given == before.attempt.given
    headline, *others = [part.text for part in result(state)]
    assert headline == "Move: missed (contested, waits for your coach)"
    assert others == [part.text for part in result(before)][1:]


@pytest.mark.parametrize(
    "message", [m.Contest(3), m.Next(3), m.Enter(3, ""), m.Submit(3), m.StepInLine(3, 1)]
)
def test_anything_but_a_yes_contests_nothing_and_does_nothing_else(message: m.Message) -> None:
    before = answered_wrong()
    state, effects = send(before, m.Contest(2), message)
    assert effects == []
    assert state == replace(before, now=3, notice="Not contested.")
    assert send(state, m.Confirm(4))[1] == []


def test_turning_the_board_leaves_the_question_open_and_stopping_ends_it() -> None:
    asked, _ = send(answered_wrong(), m.Contest(2))
    turned, _ = send(asked, m.Turn(3))
    assert (turned.asks_to_confirm, turned.notice, turned.turned) == (True, asked.notice, True)
    stopped, effects = send(asked, m.Stop(3))
    assert (stopped.phase, stopped.contesting, effects) == ("closing", None, [])


def test_a_contest_is_taken_back_while_the_card_is_shown() -> None:
    state, effects = send(answered_wrong(), m.Withdraw(2))
    assert (effects, state.notice) == ([], "No grade of this card is contested.")
    state, _ = send(state, m.Contest(2), m.Confirm(2))
    assert (state.can_contest, state.can_withdraw) == (False, True)
    state, effects = send(state, m.Withdraw(3))
    (effect,) = effects
    assert isinstance(effect, m.SaveContest)
    assert (effect.given.ask, effect.grade) == ("play", None)
    assert state.notice == "Taken back: the grade is no longer contested."
    assert not state.done[-1].contested
    assert (state.can_contest, state.can_withdraw) == (True, False)


def test_of_two_grades_the_lower_is_contested_first_and_the_later_contest_taken_back_first() -> None:
    state, _ = send(start([doubled_rooks("assess", "play")]), *ballot(verdict=1), m.Enter(2, "Kf1"))
    contested = []
    for message in (m.Contest(3), m.Confirm(3), m.Contest(3), m.Confirm(3), m.Withdraw(3), m.Withdraw(3)):
        state, effects = send(state, message)
        contested += [
            (effect.given.ask, effect.grade) for effect in effects if isinstance(effect, m.SaveContest)
        ]
    assert contested == [("play", "found"), ("assess", "found"), ("assess", None), ("play", None)]


def test_a_right_answer_leaves_nothing_to_contest() -> None:
    state, _ = type_in(start([doubled_rooks("play")]), "h3")
    state, effects = send(state, m.Contest(2))
    assert (effects, state.notice) == ([], "There is no grade to contest.")


def test_the_session_ends_when_the_minutes_are_over_but_never_within_a_card() -> None:
    tasks = [doubled_rooks("play", card_id=str(number)) for number in range(3)]
    state, _ = send(start(tasks, minutes=1), m.Enter(10, "h3"), m.Next(20))
    assert (state.phase, state.place) == ("answering", 1)
    state, _ = send(state, m.Tick(70))
    assert state.phase == "answering"
    state, _ = send(state, m.Enter(80, "h3"), m.Next(81))
    assert (state.phase, len(state.done)) == ("closing", 2)
    state, effects = send(state, m.Next(82))
    assert (state.phase, effects) == ("ended", [m.Quit()])


def test_the_closing_page_takes_no_time_however_long_it_stays_open() -> None:
    state, _ = send(start([doubled_rooks("play")]), m.Enter(80, "h3"), m.Next(120))
    state, _ = send(state, m.Tick(4000), m.Next(5000))
    assert (state.phase, state.now) == ("ended", 120)


def test_stopping_within_a_card_keeps_what_was_saved_of_it() -> None:
    state, _ = send(start([doubled_rooks("assess", "play")]), *ballot(), m.Stop(2))
    assert state.phase == "closing"
    assert [[given.ask for given in attempt.given] for attempt in state.done] == [["assess"]]


def test_the_closing_page_tells_what_returns_when_and_counts_nothing_that_waits() -> None:
    tasks = [doubled_rooks("play", card_id=str(number)) for number in range(3)]
    tasks += [doubled_rooks("assess", "play", card_id="both"), doubled_rooks("play", card_id="waits")]
    day, state = date(2031, 5, 2), start(tasks)
    for after in (3, 1, 1):
        state, _ = update(state, m.Enter(1, "h3"))
        memory = replace(MEMORY, last=day, due=day + timedelta(days=after))
        state, _ = send(state, m.Saved(2, memory), m.Next(3))
    for message in ballot():
        state, _ = update(state, message)
    state, _ = update(state, m.Saved(4, replace(MEMORY, due=day + timedelta(days=9))))
    state, _ = send(state, m.Enter(5, "h3"), m.Next(6), m.Stop(7))
    texts = [part.text for part in closing(state)]
    assert texts[texts.index("What returns") + 1 :] == [
        "2 cards tomorrow (2031-05-03)",
        "2 cards in 3 days (2031-05-05)",
    ]
    assert not any("Left" in text or "wait" in text for text in texts)


def test_a_card_returns_after_ninety_days_at_the_latest() -> None:
    day = date(2031, 5, 2)
    state, _ = update(start([doubled_rooks("play")]), m.Enter(1, "h3"))
    state, _ = update(state, m.Saved(2, replace(MEMORY, last=day, due=day + timedelta(days=1614))))
    assert result(state)[-1].text == "Returns: move in 90 days (2031-07-31)."
    state, _ = update(state, m.Next(3))
    assert closing(state)[-1].text == "1 card in 90 days (2031-07-31)"


def test_motifs_without_a_new_position_are_promised_none() -> None:
    day, strand = date(2031, 5, 2), StrandState(returns=date(2031, 5, 9), last=date(2031, 5, 2), asked=1)
    items = [{"play": "motif:back-rank/play"}, {"play": "motif:fork/play"}, {"play": "motif:pin/play"}]
    tasks = [
        replace(doubled_rooks("play", card_id=str(number)), items=each) for number, each in enumerate(items)
    ]
    used_up = {"motif:fork/play": day + timedelta(days=30), "motif:pin/play": None}
    state, said = start(tasks), []
    for _ in tasks:
        state, _ = update(state, m.Enter(1, "h3"))
        state, _ = update(state, m.Saved(2, strand))
        state, _ = update(state, m.Planned(2, m.Rest(state.tasks[state.place + 1 :], used_up)))
        said.append(result(state)[-1].text)
        state, _ = update(state, m.Next(3))
    assert said == [
        "Returns: move in another position, in 7 days (2031-05-09).",
        "Returns: move in 30 days (2031-06-01), in a position that you have seen.",
        "Returns: move once there are new positions.",
    ]
    state, _ = update(state, m.Stop(4))
    texts = [part.text for part in closing(state)]
    assert texts[texts.index("What returns") + 1 :] == [
        "1 motif in 7 days (2031-05-09)",
        "weak back rank in 30 days (2031-06-01), in a position that you have seen",
        "weak back rank once there are new positions",
    ]


def test_the_closing_page_pools_no_tiers_and_no_lookalikes() -> None:
    easy, hard, seems = (doubled_rooks("play", card_id=name) for name in ("easy", "hard", "seems"))
    tasks = [
        replace(easy, card=replace(easy.card, tier=1)),
        replace(hard, card=replace(hard.card, tier=3)),
        replace(seems, card=replace(seems.card, motifs=(), lookalike=hard.card.motifs[0]), lookalike=True),
    ]
    state = start(tasks)
    for move in ("Kf1", "h3", "h3"):
        state, _ = send(state, m.Enter(1, move), m.Next(2))
    texts = [part.text for part in closing(state)]
    first = texts.index("By motif") + 1
    assert texts[first : first + 3] == [
        "weak back rank, lookalike: 1 of 1 right",
        "weak back rank, tier 1: 0 of 1 right",
        "weak back rank, tier 3: 1 of 1 right",
    ]


@pytest.mark.parametrize(
    ("fresh", "told"),
    [
        ((True, False, True), "1 of 2 right; 1 seen before"),
        ((False, False, False), "3 seen before"),
        ((True, True, True), "1 of 3 right"),
    ],
)
def test_the_closing_page_counts_only_first_sights_as_right_or_wrong(
    fresh: Sequence[bool], told: str
) -> None:
    state = start(
        [
            replace(doubled_rooks("play", card_id=str(place)), first_sight=new)
            for place, new in enumerate(fresh)
        ]
    )
    for move in ("h3", "Kf1", "Kf1"):
        state, _ = send(state, m.Enter(1, move), m.Next(2))
    texts = [part.text for part in closing(state)]
    assert texts[texts.index("By motif") + 1] == f"weak back rank, tier 2: {told}"


def test_stopping_before_any_answer_leaves_at_once() -> None:
    state, effects = send(start([doubled_rooks("play")]), m.Stop(2))
    assert (state.phase, effects) == ("ended", [m.Quit()])


def test_a_session_without_tasks_closes_at_once() -> None:
    assert start([]).phase == "closing"


def test_fluent_needs_the_students_own_usual_time() -> None:
    def grade(usual: dict[str, float], at: float) -> list[str]:
        state = start([doubled_rooks("play", usual=usual)])
        return grades(type_in(state, "h3", at=at)[0])

    assert grade({"play": 20}, 10) == ["fluent"]
    assert grade({"play": 20}, 21) == ["found"]
    assert grade({}, 1) == ["found"]


def test_the_board_can_be_turned_in_every_phase_and_each_card_begins_with_the_own_side_below() -> None:
    state, _ = send(start([doubled_rooks("play"), black_to_move("play")]), m.Turn(1))
    assert state.turned
    state, _ = send(state, m.Enter(1, "h3"), m.Next(2))
    assert not state.turned


def test_every_kind_of_card_goes_from_start_to_close() -> None:
    tasks: list[Task] = [
        doubled_rooks("assess", "play"),
        black_to_move("play"),
        promotion("play"),
        spot_card("spot"),
        root_card("root"),
    ]
    answers: list[list[m.Message]] = [
        [*ballot(), m.Enter(3, "Rxd8"), m.Enter(3, "Rxd8")],
        [m.Enter(4, "Rd1")],
        [m.Enter(5, "a8=Q")],
        [m.Enter(6, "back-rank d1 d2 g8"), m.Submit(6)],
        [m.Enter(7, "2...")],
    ]
    state = start(tasks)
    for messages in answers:
        state, _ = send(state, *messages)
        assert state.phase == "shown"
        state, _ = send(state, m.Next(8))
    assert state.phase == "closing"
    assert [[given.grade for given in done.given] for done in state.done] == [
        ["found", "found"],
        ["found"],
        ["found"],
        ["found"],
        ["found"],
    ]


def test_the_time_left_starts_from_the_usual_times_and_turns_to_the_sessions_own_pace() -> None:
    tasks = [doubled_rooks("play", card_id=str(number)) for number in range(15)]
    state = start(tasks)
    assert minutes_left(state) == pytest.approx(15)
    for number in range(5):
        state, _ = send(state, m.Enter(20.0 * number + 15, "h3"), m.Next(20.0 * number + 20))
    assert 10 / 3 < minutes_left(state) < 5.5  # ten cards of 20 seconds, a little of the first guess left
    later, _ = send(state, m.Tick(110))
    assert minutes_left(state) - minutes_left(later) == pytest.approx(10 / 60)
    assert minutes_left(start(tasks, minutes=4)) == 4
    assert minutes_left(start([doubled_rooks("assess")])) == pytest.approx(3)
    assert minutes_left(start([short_ballot("assess")])) == pytest.approx(1.5)
    assert minutes_left(start([doubled_rooks("play", usual={"play": 30.0})])) == pytest.approx(0.5)


def test_what_only_seems_to_be_there_is_told_afterwards() -> None:
    card = replace(doubled_rooks().card, motifs=(), lookalike=MotifTag("fork", "white"))
    told = evidence_in_words(task(card, "play"), ())
    assert told[0] == "Fork, for White, only seems to be there."
    for squares, refuted in (
        (("c8",), "the rook on c8 refutes it"),
        (("c8", "h7"), "the rook on c8 and the pawn on h7 refute it"),
    ):
        told = evidence_in_words(task(replace(card, evidence={"fork": squares}), "play"), ())
        assert told[0] == f"Fork, for White, only seems to be there: {refuted}."
    assert evidence_in_words(task(card, "play"), {"motif"}) == [MOTIF_KEPT_BACK]
