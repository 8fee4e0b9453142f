"""A contested move is looked at again: what is asked, what comes of it, that nothing is lost meanwhile."""

from __future__ import annotations

import asyncio
import io
import sys
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import replace
from pathlib import Path

import chess
import fake_engine
import pytest
from click.testing import CliRunner
from made_tasks import MEMORY, black_to_move, doubled_rooks, root_card
from terminal import ENTER, Terminal, on_screen

from decks.cards.cards_file import CardEntry
from decks.cards.deck import add_cards, new_deck
from decks.cards.settings import DeckSettings, new_deck_id
from decks.cli import cli
from decks.engine_at_hand import EngineAtHand
from decks.memory.model import Memory, review
from decks.plain import run_plain
from decks.review import messages as m
from decks.review.dispatch import Looker
from decks.review.session import State, start, update
from decks.scorebook.book import Scorebook
from decks.tasks.task import Task
from decks.telling.result import closing, result
from patterns.engines.scores import MoveVerdict, PositionVerdicts

AGAIN = Memory(stability=9.0, difficulty=4.0, last=MEMORY.last, due=MEMORY.due.replace(day=28))
"""What is remembered after a decision."""


def verdicts(board: chess.Board, best: str, move: str, loss: float) -> PositionVerdicts:
    scores = {
        best: MoveVerdict(0.9, 18, a_reply(board, best)),
        move: MoveVerdict(0.9 - loss, 17, a_reply(board, move)),
    }
    return PositionVerdicts(board.epd(), "Stockfish 99", "wdl", scores)


def a_reply(board: chess.Board, move: str) -> tuple[str, ...]:
    after = board.copy(stack=False)
    after.push_uci(move)
    return tuple(reply.uci() for reply in list(after.legal_moves)[:1])


def contested(task: Task, *answers: str) -> tuple[State, m.LookAgain | None]:
    """An answered card whose grade is contested, and what an engine is asked."""
    state = start([task, doubled_rooks("play")])
    effects: tuple[m.Effect, ...] = ()
    for message in [*(m.Enter(1, text) for text in answers), m.Contest(2), m.Confirm(3)]:
        state, effects = update(state, message)
        while effects and isinstance(effects[0], m.SaveAnswer | m.SaveContest):
            state, effects = update(state, m.Saved(3, MEMORY))
    look = next((effect for effect in effects if isinstance(effect, m.LookAgain)), None)
    return state, look


def looked(state: State, look: m.LookAgain, loss: float) -> tuple[State, list[m.SaveDecision]]:
    """The state after a second look that finds this loss, with its decision saved."""
    found = verdicts(look.board, *look.moves, loss)
    state, effects = update(state, m.LookedAgain(9, look.task, look.ask, found))
    decisions = [effect for effect in effects if isinstance(effect, m.SaveDecision)]
    for decision in decisions:
        state, _ = update(state, m.Decided(9, decision, AGAIN))
    return state, decisions


def texts(state: State) -> list[str]:
    return [paragraph.text for paragraph in result(state)]


# What is asked


def test_the_refused_move_and_the_best_are_searched_to_the_depth_of_the_key_but_never_less_than_16() -> None:
    state, look = contested(black_to_move("play"), "Rd3")
    assert look is not None
    assert (look.board.epd(), look.moves, look.depth) == (
        black_to_move("play").card.board.epd(),
        ("d8d1", "d8d3"),
        16,
    )
    assert state.notice == "Contested. An engine looks at 30... Rd3 again, for some seconds."
    assert texts(state)[0] == "Move: missed (contested; an engine looks again, go on meanwhile)"
    deep = black_to_move("play")
    moves = {move: replace(one, depth=23) for move, one in deep.verdicts[look.board.epd()].moves.items()}
    judged = replace(deep.verdicts[look.board.epd()], moves=moves)
    _, look = contested(replace(deep, verdicts={judged.epd: judged}), "Rd3")
    assert look is not None
    assert look.depth == 23


def test_of_several_moves_the_last_is_asked_about_in_its_own_position() -> None:
    _, look = contested(doubled_rooks("play"), "Rxd8", "Kf1")
    assert look is not None
    assert look.moves == ("d1d8", "g1f1")
    assert look.board.epd() == "3r2k1/5ppp/8/8/8/8/5PPP/3R2K1 w - -"


def test_an_answer_that_is_no_move_is_left_to_the_coach() -> None:
    state, look = contested(root_card("root"), "2. Nf3")
    assert (look, state.notice) == (None, "Contested. Your coach decides; until then the grade stays.")
    assert texts(state)[0] == "Root: missed (contested, waits for your coach)"


def test_a_move_that_the_coach_refuses_is_left_to_the_coach() -> None:
    task = black_to_move("play")
    card = replace(task.card, marks={0: {"d8d3": False}})
    state, look = contested(replace(task, card=card), "Rd3")
    assert (look, state.notice) == (None, "Contested. Your coach decides; until then the grade stays.")


# What comes of it


@pytest.mark.parametrize(
    ("loss", "grade", "score", "why"),
    [
        (0.04, "found", 1.0, "30... Rd3 isn't in the card's line, but it holds as well"),
        (-0.1, "found", 1.0, "30... Rd3 is best"),
        (0.1, "partly", 0.65, "30... Rd3 slips: "),
    ],
)
def test_a_grade_is_mended_by_what_the_new_verdict_gives(
    loss: float, grade: str, score: float, why: str
) -> None:
    state, look = contested(black_to_move("play"), "Rd3")
    assert look is not None
    state, (decision,) = looked(state, look, loss)
    assert (decision.given.grade, decision.given.score, decision.given.ask) == (grade, score, "play")
    assert decision.reason.startswith("looked at again by Stockfish 99, 17 plies: 30... Rd3 ")
    assert state.notice == f"Looked at again: the grade is now '{grade}'."
    assert state.attempt is not None
    assert state.done == (state.attempt,)
    assert (state.attempt.contested, state.attempt.looking) == ((), frozenset())
    assert state.attempt.given[0].memory == AGAIN
    said = texts(state)
    assert said[1].endswith("Looked at again by Stockfish 99, 17 plies deep: the grade is mended.")
    assert why in said[1]
    assert "(2031-05-28)" in said[-1]


@pytest.mark.parametrize(("is_settled", "grade"), [(True, "missed"), (False, "partly")])
def test_what_a_move_may_lose_stays_as_the_position_was_judged(is_settled: bool, grade: str) -> None:
    task = black_to_move("play")
    verdicts = {epd: replace(found, settled=is_settled) for epd, found in task.verdicts.items()}
    task = replace(task, verdicts=verdicts)
    state, look = contested(task, "Rd3")
    assert look is not None
    _, (decision,) = looked(state, look, 0.2)
    assert decision.given.grade == grade


def test_a_hint_caps_the_mended_grade() -> None:
    state = start([black_to_move("play")])
    for message in (m.TakeHint(1), m.TakeHint(1), m.Enter(1, "Rd3")):
        state, _ = update(state, message)
    state, _ = update(state, m.Saved(2, MEMORY))
    state, _ = update(state, m.Contest(3))
    state, _ = update(state, m.Confirm(3))
    state, (look,) = update(state, m.Saved(3, None))
    assert isinstance(look, m.LookAgain)
    assert looked(state, look, 0.0)[0].notice == "Looked at again: the grade is now 'helped'."


def test_a_grade_is_confirmed_with_the_line_that_shows_why() -> None:
    state, look = contested(black_to_move("play"), "Rd3")
    assert look is not None
    before = texts(state)
    moves = verdicts(look.board, *look.moves, 0.6).moves
    shows_why = replace(moves["d8d3"], line=("b1b8", "d3d8", "b8d8"))
    found = PositionVerdicts(look.board.epd(), "Stockfish 99", "wdl", {**moves, "d8d3": shows_why})
    state, (decision,) = update(state, m.LookedAgain(9, look.task, look.ask, found))
    assert isinstance(decision, m.SaveDecision)
    state, _ = update(state, m.Decided(9, decision, MEMORY))
    assert (decision.given.grade, state.notice) == ("missed", "Looked at again: the grade 'missed' stays.")
    headline, reason = texts(state)[:2]
    assert headline == "Move: missed"
    assert "31. Rb8+" in reason
    assert reason.endswith("17 plies deep: the grade stays, unless your coach changes it.")
    assert reason != before[1]
    assert state.lines[0].moves == ("d8d3", "b1b8", "d3d8", "b8d8")


def test_a_second_look_never_lowers_a_grade() -> None:
    state, look = contested(doubled_rooks("play"), "g3")
    assert look is not None
    state, (decision,) = looked(state, look, 0.9)
    assert (decision.given.grade, decision.given.score) == ("partly", 0.65)
    assert texts(state)[1].startswith("24. g3 slips: after 24... Kh8 White is lost")


def test_what_was_looked_at_can_be_contested_once_more_and_then_the_coach_decides() -> None:
    state, look = contested(black_to_move("play"), "Rd3")
    assert look is not None
    state, _ = looked(state, look, 0.6)
    state, _ = update(state, m.Contest(10))
    assert state.notice == "Contest the grade 'missed' once more, before your coach?"
    state, effects = update(state, m.Confirm(10))
    assert [type(effect) for effect in effects] == [m.SaveContest]
    state, effects = update(state, m.Saved(10, None))
    assert (effects, state.notice) == ((), "Contested. Your coach decides; until then the grade stays.")


def test_where_the_best_move_is_no_longer_good_the_coach_decides_unless_the_students_is() -> None:
    state, look = contested(black_to_move("play"), "Rd3")
    assert look is not None
    found = verdicts(look.board, *look.moves, 0.0)
    lost = {move: replace(one, score=0.84) for move, one in found.moves.items()}
    after, effects = update(state, m.LookedAgain(9, look.task, look.ask, replace(found, moves=lost)))
    assert effects == ()
    assert after.notice.startswith("The engine doubts the card's own move. Your coach decides;")
    assert texts(after)[0] == "Move: missed (contested, waits for your coach)"
    better = {**lost, "d8d3": replace(lost["d8d3"], score=0.86)}
    _, (decision,) = update(state, m.LookedAgain(9, look.task, look.ask, replace(found, moves=better)))
    assert isinstance(decision, m.SaveDecision)
    assert decision.given.grade == "found"


def test_without_an_engine_that_can_decide_the_coach_does() -> None:
    state, look = contested(black_to_move("play"), "Rd3")
    assert look is not None
    state, effects = update(state, m.LookedAgain(9, look.task, look.ask, None))
    assert (effects, state.notice) == ((), "Contested. Your coach decides; until then the grade stays.")
    assert texts(state)[0] == "Move: missed (contested, waits for your coach)"
    assert state.can_withdraw


# Meanwhile


def test_the_student_goes_on_and_the_result_reaches_the_card_that_was_left() -> None:
    state, look = contested(black_to_move("play"), "Rd3")
    assert look is not None
    state, _ = update(state, m.Next(4))
    state, _ = update(state, m.Enter(5, "Rxd8"))
    at_work = state
    state, decisions = looked(state, look, 0.0)
    assert len(decisions) == 1
    assert (state.phase, state.attempt, state.board) == ("answering", at_work.attempt, at_work.board)
    assert state.notice == "Card rook-check: Looked at again: the grade is now 'found'."
    assert [given.grade for given in state.done[0].given] == ["found"]
    state, _ = update(state, m.Stop(6))
    assert "1 answer: 1 found." in [paragraph.text for paragraph in closing(state)]
    assert looked(state, look, 0.0)[1] == []


def test_the_question_whether_to_contest_is_not_hidden_by_a_result() -> None:
    state, look = contested(black_to_move("play"), "Rd3")
    assert look is not None
    for message in (m.Next(4), m.Enter(5, "Kf1"), m.Saved(5, MEMORY), m.Contest(6)):
        state, _ = update(state, message)
    state, decisions = looked(state, look, 0.0)
    assert (len(decisions), state.notice, state.asks_to_confirm) == (1, "Contest the grade 'missed'?", True)
    assert state.done[0].given[0].grade == "found"


def test_a_contest_taken_back_meanwhile_is_not_decided() -> None:
    state, look = contested(black_to_move("play"), "Rd3")
    assert look is not None
    state, _ = update(state, m.Withdraw(4))
    state, _ = update(state, m.Saved(4, None))
    after, decisions = looked(state, look, 0.0)
    assert decisions == []
    assert after == replace(state, now=9)


def test_a_session_that_has_ended_decides_nothing() -> None:
    state, look = contested(black_to_move("play"), "Rd3")
    assert look is not None
    for message in (m.Stop(4), m.Stop(4)):
        state, _ = update(state, message)
    assert state.phase == "ended"
    assert looked(state, look, 0.0) == (replace(state, now=9), [])


def test_a_decision_that_cannot_be_saved_ends_the_session_with_the_reason() -> None:
    state, look = contested(black_to_move("play"), "Rd3")
    assert look is not None
    state, _ = update(state, m.Next(4))
    state, effects = update(state, m.SaveFailed(5, "disk full"))
    assert (state.phase, state.failure, effects) == ("ended", "disk full", (m.Quit("disk full"),))
    assert [given.grade for given in state.done[0].given] == ["missed"]


# On the screen and in plain mode


class Engine:
    """A looker whose searches end when the test says so."""

    def __init__(self) -> None:
        self.asked: list[tuple[m.LookAgain, Future[PositionVerdicts | None]]] = []

    def look(self, question: m.LookAgain) -> Future[PositionVerdicts | None]:
        self.asked.append((question, Future()))
        return self.asked[-1][1]

    def answers(self, loss: float | None) -> None:
        question, found = self.asked[-1]
        said = None if loss is None else verdicts(question.board, *question.moves, loss)
        threading.Thread(target=found.set_result, args=(said,)).start()


def keep(effect: m.Kept) -> Memory:
    return AGAIN if isinstance(effect, m.SaveDecision) else MEMORY


def session(tasks: list[Task], script: Callable[[Terminal], object], looker: Looker) -> Terminal:
    async def run() -> Terminal:
        async with on_screen(tasks, keep, looker=looker) as terminal:
            await script(terminal)  # type: ignore[misc]
            await terminal.end()
        return terminal

    return asyncio.run(run())


def test_the_screen_stays_alive_while_an_engine_looks_and_then_shows_what_came_of_it() -> None:
    engine = Engine()

    async def script(terminal: Terminal) -> None:
        await terminal.enter("Rd3")
        await terminal.press("c", "y")
        assert "An engine looks at 30... Rd3 again, for some seconds." in terminal.text
        await terminal.press("\x1b[C")
        assert terminal.state.ply == 1
        engine.answers(0.02)
        await terminal.until(lambda: "the grade is now 'found'" in terminal.text)
        assert "Move: found" in terminal.text
        await terminal.press(ENTER, ENTER)

    terminal = session([black_to_move("play")], script, engine.look)
    assert [type(effect) for effect in terminal.saved] == [m.SaveAnswer, m.SaveContest, m.SaveDecision]


def test_a_result_does_not_disturb_what_is_being_typed_at_the_next_card() -> None:
    engine = Engine()

    async def script(terminal: Terminal) -> None:
        await terminal.enter("Rd3")
        await terminal.press("c", "y", ENTER, *"Rx")
        engine.answers(0.9)
        await terminal.until(lambda: bool(terminal.state.done[0].given[0].second_look))
        await terminal.press(*"d8", ENTER)
        assert "Move: " not in terminal.text
        await terminal.enter("Rxd8")
        assert "Move: found" in terminal.text
        await terminal.press(ENTER, ENTER)

    session([black_to_move("play"), doubled_rooks("play")], script, engine.look)


def test_leaving_the_screen_during_a_search_leaves_the_contest_open() -> None:
    engine = Engine()

    async def script(terminal: Terminal) -> None:
        await terminal.enter("Rd3")
        await terminal.press("c", "y", ENTER, ENTER)

    terminal = session([black_to_move("play")], script, engine.look)
    assert [type(effect) for effect in terminal.saved] == [m.SaveAnswer, m.SaveContest]
    assert engine.asked[0][1].cancelled()


def test_a_fault_in_the_search_is_not_hidden() -> None:
    async def script(terminal: Terminal) -> None:
        await terminal.enter("Rd3")
        await terminal.press("c", "y")

    def broken(question: m.LookAgain) -> Future[PositionVerdicts | None]:
        found: Future[PositionVerdicts | None] = Future()
        found.set_exception(RuntimeError("the search broke"))
        return found

    with pytest.raises(RuntimeError, match="the search broke"):
        session([black_to_move("play")], script, broken)


def spoken(typed: str, looker: Looker) -> tuple[str, list[m.Kept]]:
    """What plain mode says, and what it keeps."""
    kept: list[m.Kept] = []

    def save(effect: m.Kept) -> Memory:
        kept.append(effect)
        return keep(effect)

    write = io.StringIO()
    run_plain(start([black_to_move("play")]), save, lambda: 1.0, io.StringIO(typed), write, looker)
    return write.getvalue(), kept


def test_plain_mode_waits_and_then_tells_the_new_grade() -> None:
    def looker(question: m.LookAgain) -> Future[PositionVerdicts | None]:
        found: Future[PositionVerdicts | None] = Future()
        found.set_result(verdicts(question.board, *question.moves, 0.02))
        return found

    said, kept = spoken("Rd3\ncontest\nyes\n\n", looker)
    assert [type(effect) for effect in kept[1:]] == [m.SaveAnswer, m.SaveContest, m.SaveDecision]
    _, after = said.split("Ctrl-C leaves it to your coach.\n")
    notice, headline, reason, *_ = after.splitlines()
    assert (notice, headline) == ("Looked at again: the grade is now 'found'.", "Move: found")
    assert reason.endswith("the grade is mended.")


def test_control_c_in_plain_mode_ends_the_wait_and_not_the_session() -> None:
    class Interrupted(Future[PositionVerdicts | None]):
        def result(self, timeout: float | None = None) -> PositionVerdicts | None:
            raise KeyboardInterrupt

    said, kept = spoken("Rd3\ncontest\nyes\nundo\n\n", lambda question: Interrupted())
    assert "Contested. Your coach decides; until then the grade stays." in said
    claims = [effect.grade for effect in kept if isinstance(effect, m.SaveContest)]
    assert claims == ["found", None]


# With an engine


LONG = 60.0
"""Seconds for what takes a moment, unless the machine does much else."""


@pytest.fixture
def engine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Path]:
    """Makes a scripted engine the one that is found. Gives the file that exists once it searches."""

    def use(mode: str, name: str = "Stockfish 99") -> Path:
        program, searches = tmp_path / f"engine-{mode}", tmp_path / f"{mode}-searches"
        told = f"FAKE_ENGINE_NAME='{name}' FAKE_ENGINE_SEARCHES='{searches}'"
        program.write_text(f"#!/bin/sh\n{told} exec {sys.executable} {fake_engine.__file__} {mode}\n")
        program.chmod(0o755)
        monkeypatch.setenv("RONDEAU_ENGINE", str(program))
        monkeypatch.setattr("decks.engine_at_hand.START_SECONDS", 0.5 if mode == "not-uci" else LONG)
        return searches

    return use


def a_question(depth: int = 16) -> m.LookAgain:
    task = black_to_move("play")
    return m.LookAgain(task, "play", task.card.board, ("d8d1", "d8d3"), depth)


def test_both_moves_are_scored_by_one_search(engine: Callable[..., Path]) -> None:
    engine("steady")
    with EngineAtHand() as at_hand:
        found = at_hand.look(a_question())
        assert found is not None
        said = found.result(LONG)
    assert said is not None
    assert {move: one.depth for move, one in said.moves.items()} == {"d8d1": 16, "d8d3": 16}
    assert said.engine.startswith("Stockfish 99 steady ")
    points = [fake_engine.centipawns(chess.Move.from_uci(move)) for move in ("d8d3", "d8d1")]
    assert said.best == "d8d3"
    assert points[0] > points[1]


@pytest.mark.parametrize("mode", ["crash", "silent", "illegal", "not-uci", "leaves"])
def test_an_engine_that_fails_decides_nothing(mode: str, engine: Callable[..., Path]) -> None:
    engine(mode)
    with EngineAtHand() as at_hand:
        found = at_hand.look(a_question())
        assert found is not None
        assert found.result(LONG) is None


def test_a_weak_engine_decides_nothing(engine: Callable[..., Path]) -> None:
    engine("steady", "Saltmarsh Engine")
    with EngineAtHand() as at_hand:
        found = at_hand.look(a_question())
        assert found is not None
        assert found.result(LONG) is None


def test_where_no_engine_is_found_nothing_is_begun(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RONDEAU_ENGINE", "/no/such/engine")
    with EngineAtHand() as at_hand:
        assert at_hand.look(a_question()) is None


def test_leaving_ends_a_search_at_once_and_its_engine(engine: Callable[..., Path]) -> None:
    searches = engine("hang")
    with EngineAtHand() as at_hand:
        found = at_hand.look(a_question())
        assert found is not None
        wait_until(searches.exists)
        assert not found.done()
        began = time.monotonic()
    assert found.result(LONG) is None
    assert time.monotonic() - began < 10  # the search would have gone on for a minute
    wait_until(lambda: not any("look" in thread.name for thread in threading.enumerate()))


def wait_until(holds: Callable[[], bool]) -> None:
    patience = time.monotonic() + LONG
    while not holds():
        assert time.monotonic() < patience
        time.sleep(0.01)


# With the real command


@pytest.fixture
def deck(tmp_path: Path) -> Path:
    """Its key is as good as the scripted engine finds it."""
    task = black_to_move("play")
    ((epd, found),) = task.verdicts.items()
    moves = {**found.moves, "d8d1": replace(found.moves["d8d1"], score=0.85)}
    return a_deck(tmp_path / "rooks", replace(task, verdicts={epd: replace(found, moves=moves)}))


def a_deck(folder: Path, task: Task) -> Path:
    new_deck(folder, DeckSettings(new_deck_id(), "Saltmarsh rooks", by_heart=True))
    add_cards(folder, [CardEntry(replace(task.card, asks=("play",)))], task.verdicts.values())
    return folder


def today(deck: Path, typed: str, *options: str) -> str:
    result = CliRunner().invoke(cli, ["today", "--plain", "--deck", str(deck), *options], input=typed)
    assert (result.exit_code, result.stderr) == (0, "")
    return result.stdout


@pytest.mark.parametrize(
    ("mode", "move", "grade", "corrected", "is_open"),
    [
        ("steady", "Rd3", "found", ["found"], False),  # the scripted engine likes it better than the key
        ("steady", "Rd7", "missed", ["missed"], False),
        ("crash", "Rd3", "missed", [], True),
    ],
    ids=["mended", "confirmed", "the engine dies"],
)
def test_a_contest_is_decided_at_once_and_memory_follows(
    mode: str,
    move: str,
    grade: str,
    corrected: list[str],
    is_open: bool,
    engine: Callable[..., Path],
    deck: Path,
    own_scorebook: Path,
) -> None:
    engine(mode)
    said = today(deck, f"{move}\ncontest\nyes\n\n")
    assert f"An engine looks at 30... {move} again" in said
    with Scorebook.open(own_scorebook) as book:
        student = book.student()
        (answer,) = book.answers(student)
        assert answer.grade == grade
        assert [correction.grade for correction in book.corrections(student)] == corrected
        assert [bool(book.open_contests(student)), book.replay()] == [is_open, []]
        assert book.memory_of(student)[answer.item] == review(None, answer.grade, answer.study_day)
        assert [each.grade for each in book.answers(student, as_corrected=False)] == ["missed"]
        for correction in book.corrections(student):
            assert correction.reason.startswith("looked at again by Stockfish 99 steady ")
            assert f", 16 plies: 30... {move} " in correction.reason


def test_a_move_that_was_mended_is_right_for_the_next_student(
    engine: Callable[..., Path], deck: Path
) -> None:
    engine("steady")
    today(deck, "Rd3\ncontest\nyes\n\n")
    CliRunner().invoke(cli, ["students", "--add", "Tom Reed"])
    said = today(deck, "Rd3\n\n", "--student", "Tom Reed")
    assert "Move: found" in said
    assert "30... Rd3 isn't in the card's line, but it was contested before and accepted" in said


def test_without_an_engine_the_contest_waits_for_the_coach(
    monkeypatch: pytest.MonkeyPatch, deck: Path, own_scorebook: Path
) -> None:
    monkeypatch.setenv("RONDEAU_ENGINE", "/no/such/engine")
    said = today(deck, "Rd3\ncontest\nyes\n\n")
    assert "Contested. Your coach decides; until then the grade stays." in said
    with Scorebook.open(own_scorebook) as book:
        assert len(book.open_contests(book.student())) == 1
        assert book.corrections(book.student()) == []


def test_a_strong_engine_of_this_system_confirms_that_a_missed_mate_is_missed(
    stockfish: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, own_scorebook: Path
) -> None:
    monkeypatch.setenv("RONDEAU_ENGINE", stockfish)
    said = today(a_deck(tmp_path / "mate", doubled_rooks("play")), "Kf1\ncontest\nyes\n\n")
    assert "Looked at again: the grade 'missed' stays." in said
    with Scorebook.open(own_scorebook) as book:
        (correction,) = book.corrections(book.student())
    assert correction.reason.startswith("looked at again by Stockfish")
    assert "24. Rxd8+ mates in two" in correction.reason
