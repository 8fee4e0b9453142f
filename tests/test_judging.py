"""Judging with engines: scripted ones for what can go wrong, real ones for what is true about positions.

Protocol: UCI (S. Meyer-Kahlen, R. Huber, 2006).
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import chess
import fake_engine
import pytest
from chess.engine import Limit
from conftest import missing
from scripted_engine import write_engine

from patterns.engines import uci
from patterns.engines.effort import HASH_MB, QUICK_HASH_MB, SETTLED, SURVEY, Aftermath, Effort, Round, Search
from patterns.engines.judging import EngineCommand, EngineError, Judge
from patterns.engines.quiet_lines import is_quiet
from patterns.engines.scores import CLEARLY, WON_FROM, expected_from_centipawns, on_second_scale
from patterns.engines.uci import Reading

FAKE = str(Path(fake_engine.__file__))
START = chess.Board()
NEAR_BEST = 0.15


def two_rounds(wide: int, deep: int) -> Effort:
    """Every move to `wide` plies, those within NEAR_BEST of the best to `deep`."""
    return Effort((Search((Round(wide), Round(deep, NEAR_BEST, NEAR_BEST))),))


def fake(mode: str) -> EngineCommand:
    return EngineCommand((sys.executable, FAKE, mode), "a test")


def open_fake(
    mode: str,
    *,
    start_seconds: float = 10.0,
    silence_seconds: float = 10.0,
    search_seconds: float = 60.0,
) -> Judge:
    return Judge.open(
        fake(mode),
        start_seconds=start_seconds,
        silence_seconds=silence_seconds,
        search_seconds=search_seconds,
    )


def is_running(pid: int) -> bool:
    """Whether the process exists, even as a zombie."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


def process_of(judge: Judge) -> int:
    return int(judge.name.split()[-1])


def sunfish() -> EngineCommand:
    beside_python = os.pathsep.join([str(Path(sys.executable).parent), os.environ["PATH"]])
    program = shutil.which("sunfish-uci", path=beside_python) or missing(
        "no sunfish-uci (pip install sunfish)"
    )
    return EngineCommand((program,), "a test")


# --- A few moves ---------------------------------------------------------------------------------------


def test_a_few_moves_are_compared_in_one_search_to_the_same_depth() -> None:
    with open_fake("steady") as judge:
        verdicts = judge.compare(START, ["e2e4", "d2d4", "g1f3"], 17)
    assert set(verdicts.moves) == {"e2e4", "d2d4", "g1f3"}
    for text, verdict in verdicts.moves.items():
        assert verdict.score == pytest.approx(canned_score("steady", START, chess.Move.from_uci(text)))
        assert (verdict.depth, len(verdict.line)) == (17, 1)
    assert (verdicts.epd, verdicts.settled) == (START.epd(), False)


def test_a_move_that_ends_the_game_is_compared_by_the_rules() -> None:
    board = chess.Board("6k1/5ppp/8/8/8/8/5PPP/3R2K1 w - - 0 1")
    with open_fake("steady") as judge:
        verdicts = judge.compare(board, ["d1d8", "g2g3"], 16)
    assert (verdicts.moves["d1d8"].mate, verdicts.moves["d1d8"].line) == (1, ())
    assert verdicts.quality("g2g3") == "fails"


MATE_IN_TWO = chess.Board("1R2Q3/p5pk/3P3p/7n/2p3q1/N1P1nr2/P6P/6RK b - - 2 31")
"""Black mates with 31... Qxg1+, and is mated after 31... Qf4."""


def test_a_line_that_ends_in_mate_is_scored_by_the_rules_whatever_the_engine_says(tmp_path: Path) -> None:
    lines = {"g4g1": ["h1g1", "f3f1"], "g4f4": ["e8g8"], "f3f8": ["e8f8"]}
    scores = {"g4g1": -500, "g4f4": -520, "f3f8": -510}
    said = {"scores": {MATE_IN_TWO.epd(): scores}, "lines": {MATE_IN_TWO.epd(): lines}}
    program = write_engine(tmp_path, **said)
    with Judge.open(EngineCommand((str(program),), "a test")) as judge:
        judged = judge.judge(MATE_IN_TWO, two_rounds(2, 3))
        compared = judge.compare(MATE_IN_TWO, list(lines), 3)
    for found in (judged, compared):
        assert {move: (found.moves[move].score, found.moves[move].mate) for move in ("g4g1", "g4f4")} == {
            "g4g1": (1.0, 2),
            "g4f4": (0.0, -1),
        }
        assert (found.best, found.quality("g4f4"), found.quality("f3f8")) == ("g4g1", "fails", "fails")
    assert next(iter(judged.moves)) == "g4g1", "the best comes first"


def test_what_the_rules_prove_is_not_unclear(tmp_path: Path) -> None:
    """All moves seem equal to the engine, so it has never thought less of one than of the best."""
    lines = {"g4g1": ["h1g1", "f3f1"], "g4f4": ["e8g8"]}
    program = write_engine(tmp_path, lines={MATE_IN_TWO.epd(): lines})
    with Judge.open(EngineCommand((str(program),), "a test")) as judge:
        found = judge.judge(MATE_IN_TWO, two_rounds(2, 3))
    assert not any(verdict.unclear for verdict in found.moves.values())
    program = write_engine(tmp_path, lines={MATE_IN_TWO.epd(): {"g4f4": ["e8g8"]}})
    with Judge.open(EngineCommand((str(program),), "a test")) as judge:
        found = judge.judge(MATE_IN_TWO, two_rounds(2, 3))
    assert (found.quality("g4f4"), found.moves["g4f4"].unclear) == ("fails", False)


@pytest.mark.parametrize("mode", ["hang", "drip"])
def test_a_search_is_broken_off_from_another_thread_and_its_engine_ends(mode: str) -> None:
    with open_fake(mode) as judge:
        process = process_of(judge)
        threading.Timer(0.5, judge.break_off).start()
        began = time.monotonic()
        with pytest.raises(EngineError, match="broken off"):
            judge.compare(START, ["e2e4", "d2d4"], 16)
        assert time.monotonic() - began < 5
    assert not is_running(process)
    judge.break_off()  # once more does nothing


@pytest.mark.parametrize(
    ("centipawns", "most_holding", "looks"), [(40, None, True), (40, 4, False), (300, 4, True)]
)
def test_what_comes_after_is_not_searched_where_the_judging_may_end_unsettled(
    tmp_path: Path, centipawns: int, most_holding: int | None, looks: bool
) -> None:
    scores = {START.epd(): {"e2e4": centipawns}}
    program = write_engine(tmp_path, name="Stockfish 15.1", scores=scores)
    searches = (Search((Round(2), Round(3))),) * 2
    effort = Effort(searches, most_holding=most_holding, aftermath=Aftermath(3, 5, 7, 4))
    with Judge.open(EngineCommand((str(program),), "a test")) as judge:
        verdicts = judge.judge(START, effort)
    assert verdicts.settled is (centipawns == 300)
    ends = [move for move, verdict in verdicts.moves.items() if verdict.end is not None]
    fails = [move for move in verdicts.moves if verdicts.quality(move) == "fails"]
    assert bool(ends) is looks
    assert len(set(ends) & set(fails)) == (3 if verdicts.settled else 0)
    assert all(verdicts.moves[move].depth == 6 for move in set(ends) & set(fails))


# --- Verdicts ------------------------------------------------------------------------------------------


def canned_score(mode: str, board: chess.Board, move: chess.Move) -> float:
    """The expected score that a well-behaved mode means for a move, computed here independently."""
    child = board.copy()
    child.push(move)
    if child.is_checkmate():
        return 1.0
    if child.is_stalemate() or child.is_insufficient_material():
        return 0.5
    if mode in ("plain", "bounds"):
        best = max(fake_engine.centipawns(reply) for reply in child.legal_moves)
        return 1.0 - expected_from_centipawns(best + (10 if mode == "bounds" else 0))
    points = fake_engine.centipawns(move)
    if mode == "wdl":
        win, draw, _ = fake_engine.win_draw_loss(points)
        return (win + draw / 2) / 1000
    return expected_from_centipawns(points)


@pytest.mark.parametrize("mode", ["steady", "narrow", "wdl", "short", "plain", "bounds"])
def test_every_legal_move_has_its_verdict(mode: str) -> None:
    chooser = random.Random(11)
    seen = 0
    with open_fake(mode) as judge:
        assert judge.conversion == ("wdl" if mode == "wdl" else "logistic")
        for _ in range(6):
            board = chess.Board()
            for _ in range(chooser.randrange(2, 40)):
                board.push(chooser.choice(list(board.legal_moves)))
            verdicts = judge.judge(board, two_rounds(3, 5))
            assert set(verdicts.moves) == {move.uci() for move in board.legal_moves}
            assert (verdicts.epd, verdicts.engine) == (board.epd(), judge.name)
            best = verdicts.moves[verdicts.best]
            top = best.score
            for text, verdict in verdicts.moves.items():
                assert verdict.score == pytest.approx(canned_score(mode, board, chess.Move.from_uci(text)))
                child = board.copy()
                child.push_uci(text)
                over = not any(child.legal_moves) or child.is_insufficient_material()
                near = top - verdict.score <= NEAR_BEST
                near = near and (top < WON_FROM or on_second_scale(best, verdict) <= CLEARLY)
                assert verdict.depth == (5 if over or near else 3)
                assert (verdict.line == ()) == over
                for reply in verdict.line:
                    child.push_uci(reply)
                seen += 1
            scores = [verdict.score for verdict in verdicts.moves.values()]
            assert scores == sorted(scores, reverse=True)
            assert verdicts.best == next(iter(verdicts.moves))
    assert seen > 100


def test_moves_that_only_look_best_do_not_stay_on_top() -> None:
    """Searched deep, two moves fall by more than the margin. The rest, now near the best, is searched."""
    with open_fake("mirage") as judge:
        verdicts = judge.judge(START, two_rounds(4, 8))
    scores = {move: verdict.score for move, verdict in verdicts.moves.items()}
    assert verdicts.best not in fake_engine.MIRAGE
    assert scores["e2e4"] == expected_from_centipawns(-200)
    assert scores["d2d4"] == expected_from_centipawns(20)
    assert {verdict.depth for verdict in verdicts.moves.values()} == {8}
    assert verdicts.loss("e2e4") > 0.3 and verdicts.quality("d2d4") == "holds"


@pytest.mark.parametrize(("mode", "settled"), [("clear", True), ("fickle", False)])
def test_a_position_is_settled_if_a_second_search_with_another_hash_agrees(mode: str, settled: bool) -> None:
    with open_fake(mode) as judge:
        verdicts = judge.judge(START)
        assert verdicts.settled is settled
        assert verdicts.holding()[0] == "e2e4" and verdicts.least_depth == 17
        assert not judge.judge(START, SURVEY).settled
        assert judge.judge(START).settled is settled, "each judging begins with the first hash size"


def test_no_refusal_from_a_glance() -> None:
    """Every move is searched to the depth that is stated, though most of them in one search together."""
    with open_fake("clear") as judge:
        verdicts = judge.judge(START)
        depths = {move: verdict.depth for move, verdict in verdicts.moves.items()}
    assert depths.pop("e2e4") == 21 and set(depths.values()) == {17}
    assert (verdicts.moves["e2e4"].centipawns, verdicts.moves["e2e4"].mate) == (300, None)


def test_an_engine_that_is_asked_move_by_move_has_its_own_effort() -> None:
    with open_fake("plain") as judge:
        verdicts = judge.judge(START)
        assert max(verdict.depth for verdict in verdicts.moves.values()) == 4
        assert not verdicts.settled
        assert {verdict.depth for verdict in judge.judge(START, SURVEY).moves.values()} == {3}


MATES = chess.Board("7k/8/5K2/8/8/8/6Q1/8 w - - 0 1")


@pytest.mark.parametrize("mode", ["mates", "mates-plain"])
def test_mates_count_the_moves_of_the_side_that_mates(mode: str) -> None:
    """The engine says of every move that it mates in three; where it is asked after the move, in two."""
    with open_fake(mode) as judge:
        verdicts = judge.judge(MATES, two_rounds(3, 4))
    assert verdicts.moves["g2g7"].mate == 1 and verdicts.moves["g2g7"].line == ()
    assert {verdict.mate for move, verdict in verdicts.moves.items() if verdict.line} == {3}


def test_history_and_clocks_do_not_change_a_verdict() -> None:
    board = chess.Board()
    for text in ("g1f3", "g8f6", "f3g1", "f6g8"):
        board.push_uci(text)
    with open_fake("steady") as judge:
        assert judge.judge(board, two_rounds(2, 2)) == judge.judge(START, two_rounds(2, 2))
    assert len(board.move_stack) == 4


def test_evaluation() -> None:
    best = max(START.legal_moves, key=fake_engine.centipawns)
    points = fake_engine.centipawns(best)
    with open_fake("steady") as judge:
        score, centipawns, line = judge.evaluate(START, depth=4)
        assert (score, centipawns, line[0]) == (expected_from_centipawns(points), points, best.uci())
        assert judge.evaluate(START, nodes=100).line == line
        mated = chess.Board("rnb1kbnr/pppp1ppp/8/4p3/6Pq/5P2/PPPPP2P/RNBQKBNR w KQkq - 1 3")
        assert judge.evaluate(mated, depth=4) == (0.0, None, ())
        assert judge.evaluate(chess.Board("7k/5Q2/8/6K1/8/8/8/8 b - - 0 1"), depth=4) == (0.5, None, ())
        with pytest.raises(ValueError, match="no legal move"):
            judge.judge(mated)
        with pytest.raises(ValueError, match="not a possible position"):
            judge.evaluate(chess.Board("8/8/8/8/8/8/8/K7 w - - 0 1"), depth=4)
        with pytest.raises(ValueError, match="depth or nodes"):
            judge.evaluate(START)
    after = START.copy()
    after.push(best)
    with open_fake("bounds") as judge:
        reply = next(iter(after.legal_moves))
        assert judge.evaluate(START, depth=4) == (
            expected_from_centipawns(points + 10),
            points + 10,
            (best.uci(), reply.uci()),
        ), "the line is from the last report that is exact"


@pytest.mark.parametrize(("mode", "expected"), [("steady", (9, 20_000)), ("plain", (5, 2_000))])
def test_an_engine_that_is_asked_move_by_move_is_slow_and_its_quick_searches_are_shorter(
    mode: str, expected: tuple[int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[Limit] = []
    with open_fake(mode) as judge:
        search = judge._engine.search

        def noted(board: chess.Board, limit: Limit) -> dict[chess.Move, Reading]:
            asked.append(limit)
            return search(board, limit)

        monkeypatch.setattr(judge._engine, "search", noted)
        judge.evaluate(START, depth=9)
        judge.evaluate(START, nodes=20_000)
        judge.evaluate(START, depth=2)
    assert (asked[0].depth, asked[1].nodes) == expected
    assert asked[2].depth == 2


MATE_AT_HAND = chess.Board("6k1/5ppp/8/8/8/8/8/R5K1 w - - 0 1")
STALEMATE_AT_HAND = chess.Board("7k/8/6K1/8/8/8/8/5Q2 w - - 0 1")


@pytest.mark.parametrize("limit", [{"depth": 4}, {"nodes": 100}])
@pytest.mark.parametrize("mode", ["steady", "narrow", "plain"])
def test_a_move_beside_the_best_one(mode: str, limit: dict[str, int]) -> None:
    """By an engine that searches two moves at once, and by one that is asked after each of them."""
    best = max(START.legal_moves, key=fake_engine.centipawns)
    with open_fake(mode) as judge:
        same = judge.against_best(START, best.uci(), **limit)
        other = judge.against_best(START, "a2a3", **limit)
        # White to move in a position after a move of ours: an engine asked there answers for the other side.
        asked_after = mode == "plain"
    assert same.best == same.played and same.loss == 0
    assert same.best.centipawns == fake_engine.centipawns(best)
    assert other.played.line[0] == "a2a3"
    assert other.best.score >= other.played.score
    if not asked_after:
        assert other.best.line[0] == best.uci()
        assert other.best.centipawns == fake_engine.centipawns(best)
        assert other.played.centipawns == fake_engine.centipawns(chess.Move.from_uci("a2a3"))
        assert other.loss == pytest.approx(other.best.in_practice - other.played.in_practice, abs=1e-6)


def test_a_move_that_ends_the_game_stands_beside_the_best_one_by_the_rules() -> None:
    with open_fake("steady") as judge:
        mates = judge.against_best(MATE_AT_HAND, "a1a8", depth=4)
        misses = judge.against_best(MATE_AT_HAND, "g1h1", depth=4)
        stalemate = judge.against_best(STALEMATE_AT_HAND, "f1f7", depth=4)
    assert (mates.best, mates.loss) == ((1.0, None, ("a1a8",)), 0)
    assert (misses.best.line, misses.best.score) == (("a1a8",), 1.0)
    assert misses.played.line[0] == "g1h1"
    assert stalemate.played == (0.5, 0, ("f1f7",))


def test_what_cannot_be_compared_is_said() -> None:
    with open_fake("steady") as judge:
        with pytest.raises(ValueError, match="e2e5 is not legal in"):
            judge.against_best(START, "e2e5", depth=4)
        with pytest.raises(ValueError, match="depth or nodes"):
            judge.against_best(START, "e2e4")
        with pytest.raises(ValueError, match="not a possible position"):
            judge.against_best(chess.Board("8/8/8/8/8/8/8/K7 w - - 0 1"), "a1a2", depth=4)


# --- Engines that misbehave ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mode", "complaint"),
    [
        ("crash", "stopped instead of answering in {fen}"),
        ("hang", "did not answer in {fen} (0.3 seconds)"),
        ("babble", "answered wrongly in {fen}: more lines than any search has"),
        ("below", "answered wrongly in {fen}: reports depth -5"),
        ("rank", "answered wrongly in {fen}: reports multipv 99999999"),
        ("drip", "answered wrongly in {fen}: no end after 2 seconds"),
        ("noise", "gave no score in {fen}"),
        ("silent", "gave no score in {fen}"),
        ("illegal", "answered wrongly in {fen}: illegal uci: 'e2e5' in {fen}"),
        ("wdl-missing", "offers win, draw and loss but does not report them, in {fen}"),
        ("wdl-wrong", "reports win, draw and loss that cannot be, in {fen}"),
    ],
)
def test_a_search_that_goes_wrong(mode: str, complaint: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(uci, "MAX_REPORTS", 1000)
    silence, search = 0.3 if mode == "hang" else 10.0, 2.0 if mode == "drip" else 60.0
    with open_fake(mode, silence_seconds=silence, search_seconds=search) as judge:
        process = process_of(judge)
        with pytest.raises(EngineError) as caught:
            judge.judge(START)
        assert str(caught.value) == f"{judge.name} {complaint.format(fen=START.fen())}"
        if mode in ("crash", "hang"):
            with pytest.raises(EngineError, match="is no longer running"):
                judge.judge(START)
    assert not is_running(process)


def test_an_engine_is_named_safely() -> None:
    with open_fake("steady") as judge:
        assert judge.name.startswith("Fake\ufffd steady ")


@pytest.mark.parametrize(
    ("mode", "complaint"),
    [
        ("leaves", "stopped instead of answering as a UCI engine"),
        ("mute", "did not answer as a UCI engine (0.5 seconds)"),
        ("not-uci", "did not answer as a UCI engine (0.5 seconds)"),
    ],
)
def test_a_program_that_is_no_engine(mode: str, complaint: str) -> None:
    with pytest.raises(EngineError) as caught:
        open_fake(mode, start_seconds=10.0 if mode == "leaves" else 0.5)
    assert str(caught.value) == f"{mode} {complaint}"


def test_a_file_that_is_no_program(tmp_path: Path) -> None:
    text = tmp_path / "engine"
    text.write_text("not a program")
    for command, reason in ((text, "Permission denied"), (tmp_path / "none", "No such file or directory")):
        with pytest.raises(EngineError) as caught:
            Judge.open(EngineCommand((str(command),), "a test"))
        assert str(caught.value) == f"{command.name}: {reason}"
    text.chmod(0o755)
    with pytest.raises(EngineError, match="engine: Exec format error"):
        Judge.open(EngineCommand((str(text),), "a test"))


@pytest.mark.parametrize(
    "mode", ["stubborn", "stuck"]
)  # it will not quit; it quits and leaves a child behind
def test_no_child_of_an_engine_outlives_it(
    mode: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pulse = tmp_path / "pulse"
    monkeypatch.setenv("FAKE_ENGINE_PULSE", str(pulse))
    with open_fake(mode) as judge:
        process = process_of(judge)
        deadline = time.monotonic() + 10
        while not (pulse.exists() and pulse.stat().st_size):
            assert time.monotonic() < deadline
            time.sleep(0.02)
        assert is_running(process)
    assert not is_running(process)
    time.sleep(0.05)
    size = pulse.stat().st_size
    time.sleep(0.3)
    assert pulse.stat().st_size == size


SCRIPT = """
import sys
from patterns.engines.judging import EngineCommand, EngineError, Judge
import chess
try:
    command = EngineCommand((sys.executable, sys.argv[1], sys.argv[2]), "a test")
    with Judge.open(command, silence_seconds=float(sys.argv[3])) as judge:
        print(judge.name.split()[-1], flush=True)
        judge.judge(chess.Board())
except EngineError as error:
    print("error", error)
except KeyboardInterrupt:
    print("interrupted")
"""


def start_script(mode: str, silence: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-X", "dev", "-W", "error", "-c", SCRIPT, FAKE, mode, silence],
        cwd=Path(FAKE).parents[1],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


@pytest.mark.parametrize("mode", ["crash", "hang", "illegal", "noise", "stubborn"])
def test_only_our_own_messages_reach_the_terminal(mode: str) -> None:
    with start_script(mode, "0.3") as script:
        out, err = script.communicate(timeout=30)
    # asyncio itself says where a step took long, which a busy machine is enough for.
    assert [line for line in err.splitlines() if not line.startswith("Executing <")] == []
    assert script.returncode == 0
    assert [line.split()[0] for line in out.splitlines()[1:]] == ([] if mode == "stubborn" else ["error"])


def test_ctrl_c_ends_the_engine_too() -> None:
    with start_script("hang", "60") as script:
        assert script.stdout is not None
        process = int(script.stdout.readline())
        time.sleep(0.3)
        script.send_signal(signal.SIGINT)
        out, err = script.communicate(timeout=30)
    assert (out, err) == ("interrupted\n", "")
    assert not is_running(process)


# --- Real engines --------------------------------------------------------------------------------------


@pytest.mark.parametrize("engine", ["stockfish", "sunfish"])
def test_mate_in_one_stalemate_and_the_rest(engine: str, request: pytest.FixtureRequest) -> None:
    board = chess.Board("7k/5Q2/5K2/8/8/8/8/8 w - - 0 1")
    if engine == "stockfish":
        command = EngineCommand((request.getfixturevalue("stockfish"),), "a test")
    else:
        command = sunfish()
    with Judge.open(command) as judge:
        verdicts = judge.judge(board, two_rounds(3, 4))
    mates, stalemates = 0, 0
    for move in board.legal_moves:
        child = board.copy()
        child.push(move)
        verdict = verdicts.moves[move.uci()]
        if child.is_checkmate():
            assert (verdict.score, verdict.line) == (1.0, ())
            mates += 1
        elif child.is_stalemate():
            assert (verdict.score, verdict.line) == (0.5, ())
            assert verdicts.quality(move.uci()) == "fails"
            stalemates += 1
    assert mates >= 1 and stalemates >= 1
    assert board.is_legal(chess.Move.from_uci(verdicts.best))
    assert verdicts.moves[verdicts.best].line == ()
    assert len(verdicts.moves) == board.legal_moves.count()


def test_stockfish_says_the_same_twice_and_reports_win_draw_loss(stockfish: str) -> None:
    board = chess.Board("r1bqkb1r/pppp1ppp/2n2n2/4p2Q/2B1P3/8/PPPP1PPP/RNB1K1NR w KQkq - 4 4")
    with Judge.open(EngineCommand((stockfish,), "a test")) as judge:
        first = judge.judge(board, two_rounds(6, 8))
        judge.judge(START, two_rounds(4, 4))
        assert judge.judge(board, two_rounds(6, 8)) == first
    assert (first.best, first.conversion) == ("h5f7", "wdl")
    assert first.holding() == ("h5f7",)
    assert first.quality("h5h4") == "fails" and first.moves["h5h4"].depth == 6
    assert all(bool(verdict.line) == (move != "h5f7") for move, verdict in first.moves.items())


def test_stockfish_settles_what_is_simple_and_shows_the_damage(stockfish: str) -> None:
    board = chess.Board("4k3/8/8/3r4/8/4N3/P7/4K3 w - - 0 1")
    with Judge.open(EngineCommand((stockfish,), "a test")) as judge:
        verdicts = judge.judge(board, SETTLED.to_depth(12))
    assert verdicts.settled and verdicts.holding() == ("e3d5",)
    assert (verdicts.moves["e3d5"].centipawns or 0) > 300
    assert verdicts.least_depth == 12 and verdicts.conversion == "wdl"
    for move in ("e3d5", "e3c4"):
        end = board.copy()
        for text in (move, *verdicts.moves[move].line):
            end.push_uci(text)
        assert is_quiet(end)


def test_stockfish_prefers_the_shorter_mate(stockfish: str) -> None:
    board = chess.Board("7k/5Q2/6K1/8/8/8/8/8 w - - 0 1")
    with Judge.open(EngineCommand((stockfish,), "a test")) as judge:
        verdicts = judge.judge(board, two_rounds(8, 8))
        assert verdicts.moves[verdicts.best].line == ()
        score, centipawns, line = judge.evaluate(board, depth=6)
        assert (score, centipawns, len(line)) == (1.0, None, 1)


def test_sunfish_move_by_move() -> None:
    board = chess.Board("4k3/8/8/8/8/8/r3P3/K7 w - - 0 1")
    with Judge.open(sunfish()) as judge:
        verdicts = judge.judge(board)
    assert verdicts.conversion == "logistic"
    assert verdicts.engine.startswith("sunfish")
    assert list(verdicts.moves) == ["a1a2", "a1b1"]
    assert verdicts.moves["a1a2"].score > 0.5 > verdicts.moves["a1b1"].score
    assert verdicts.quality("a1b1") == "fails"
    assert chess.Move.from_uci(verdicts.moves["a1b1"].line[0]).from_square == chess.A2


def test_a_search_of_few_nodes_has_a_small_memory_to_clear(monkeypatch: pytest.MonkeyPatch) -> None:
    sizes: list[int] = []
    with open_fake("steady") as judge:
        monkeypatch.setattr(judge._engine, "forget", sizes.append)
        judge.evaluate(START, depth=9)
        judge.evaluate(START, nodes=20_000)
    assert sizes == [HASH_MB, QUICK_HASH_MB]
