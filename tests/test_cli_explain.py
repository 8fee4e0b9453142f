"""`rondeau explain` and `rondeau motifs`: what they print of positions, one or many, good or bad."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import chess
import pytest
from click.testing import CliRunner, Result
from real_positions import wandered

from decks.cli import cli
from decks.telling.explanation_text import REASON_LINES, coach_page
from patterns.catalogue import MOTIFS
from patterns.explanation import explain, explain_many
from patterns.words.verdicts import FACTORS

ROOT = Path(__file__).resolve().parent.parent
PINNED = "4k3/8/8/4n3/8/3P4/5P2/4R1K1 w - - 0 1"
FAIR_PLAY = "Not for use during play (FIDE Laws of Chess, Article 11.3)."


def run(*arguments: str, stdin: str | bytes | None = None) -> Result:
    return CliRunner().invoke(cli, arguments, input=stdin)


def objects(result: Result) -> list[dict[str, object]]:
    return [json.loads(line) for line in result.stdout.splitlines()]


def test_the_catalogue_is_listed_in_full() -> None:
    (found,) = objects(run("motifs", "--json"))
    motifs = found["motifs"]
    assert isinstance(motifs, list)
    assert [each["motif"] for each in motifs] == list(MOTIFS)
    assert all(set(each) == {"motif", "title", "definition", "source"} for each in motifs)
    text = run("motifs").output
    assert all(f"{motif.id}: {motif.title}" in text for motif in MOTIFS.values())


def test_json_is_one_object_with_motifs_factors_and_verdict() -> None:
    result = run("explain", PINNED, "--json")
    assert (result.exit_code, result.stderr, result.stdout.count("\n")) == (0, "", 1)
    (found,) = objects(result)
    assert found == json.loads(json.dumps(explain(chess.Board(PINNED)).as_dict()))
    assert list(found) == ["fen", "turn", "motifs", "factors", "verdict", "pending"]
    factors = found["factors"]
    assert isinstance(factors, list)
    assert [each["factor"] for each in factors] == list(FACTORS)
    pin = {
        "motif": "pin-on-file",
        "side": "white",
        "actors": ["e1"],
        "targets": ["e5", "e8"],
        "squares": ["e2", "e3", "e4", "e6", "e7"],
    }
    motifs = found["motifs"]
    assert isinstance(motifs, list)
    assert pin in [{key: each[key] for key in pin} for each in motifs]


def test_text_is_a_page_with_board_ballot_reasons_motifs_verdict_and_the_rule_of_fair_play() -> None:
    result = run("explain", PINNED)
    assert result.exit_code == 0
    lines = result.output.splitlines()
    assert lines[0].strip() == "White to move"
    assert lines[4].startswith("5  . . . . n . . .     pawn structure ")
    assert "material        [W] w  =  b  B      +" in lines[1]
    assert lines[9].endswith("verdict     [WW] W  w  =  b  B  BB")
    for factor in FACTORS:
        assert sum(f"   {factor.replace('-', ' ')}  " in line for line in lines) == 1
    assert any(line.startswith("Loose piece, for White: The knight on e5 is unguarded") for line in lines)
    assert "\nVerdict: decisive for White (White's expected score " in result.output
    assert result.output.endswith(f"\n\n{FAIR_PLAY}\n")


@pytest.mark.parametrize("options", [[], ["--all"]])
def test_a_pending_exchange_is_told_below_the_verdict(options: list[str]) -> None:
    fen = "r2qk2r/pp2bppp/2n1pn2/3B4/3P4/2N2N2/PP3PPP/R1BQK2R b KQkq - 0 8"
    lines = run("explain", fen, *options).output.splitlines()
    (place,) = [place for place, line in enumerate(lines) if line.startswith("Verdict: ")]
    assert re.fullmatch(
        r"8\.\.\.Nxd5 is pending; counted after it: slight for Black \(0\.\d\d\)", lines[place + 1]
    )
    pinned = run("explain", PINNED.replace(" w ", " b "), *options).output
    assert "pending" not in pinned


def test_everything_is_printed_on_request() -> None:
    result = run("explain", PINNED, "--all")
    assert result.output.startswith("White to move\n\n  8  . . . . k . . .\n")
    assert "[e1] ‹e5 e8› (e2 e3 e4 e6 e7)\n" in result.output
    explanation = explain(chess.Board(PINNED))
    for factor in explanation.assessment.factors:
        assert f"\n  {factor.factor} " in result.output
        assert all(f"    {reason}\n" in result.output for reason in factor.reasons)
    assert all(f"    {finding.note}\n" in result.output for finding in explanation.findings)


def test_a_page_fits_its_screen_and_its_reasons_add_up() -> None:
    boards = [board for board in wandered(seed=4) if board.is_valid()]
    cut_short = 0
    for board, explanation in zip(boards, explain_many(boards), strict=True):
        lines = coach_page(explanation)
        assert len(lines) <= 22, board.fen()
        assert max(map(len, lines)) <= 80, board.fen()
        cut_short += any("more (--all tells them)" in line for line in lines)
        worths = [float(line.split()[0]) for line in lines if re.match(r"[+-]\d+\.\d\d ", line)]
        balances = [factor.balance for factor in explanation.assessment.factors]
        assert sum(worths) == pytest.approx(sum(balances), abs=1e-6), board.fen()
        told = worths[:-1] if "other reason" in "\n".join(lines) else worths
        assert told == sorted(told, key=abs, reverse=True), board.fen()
    assert len(boards) > 400
    assert cut_short > 0


def test_reasons_get_the_room_that_motifs_leave() -> None:
    without_motifs = "r2qk2r/2p2ppp/p1np1n2/1pb1p3/P3P1b1/1BP2N2/1P1P1PPP/RNBQ1RK1 w kq - 1 9"
    (explanation,) = explain_many([chess.Board(without_motifs)])
    page = coach_page(explanation)
    assert not explanation.findings
    assert page.index("Motifs: none of the catalogue's") - page.index("") - 1 > REASON_LINES


@pytest.mark.parametrize("moves", ["Rxe5+ Kd7", "e1e5 e8d7", "1. Rxe5+ Kd7"])
def test_a_line_is_explained_move_by_move(moves: str) -> None:
    (found,) = objects(run("explain", PINNED, "--line", moves, "--json"))
    assert found["line"] == ["e1e5", "e8d7"]
    uses = found["uses"]
    assert isinstance(uses, list)
    assert uses
    keys = {"ply", "motif", "actors", "targets", "squares", "note", "wins", "shown", "prepares"}
    assert all(set(use) == keys for use in uses)
    key_move = "The rook on e1 takes the knight on e5 with check: the point is a pin on the file,"
    key_move += " and it wins a knight."
    assert found["key_move"] == key_move
    text = run("explain", PINNED, "--line", moves).output
    assert f"Line: 1. Rxe5+ Kd7\n  {key_move}\n  1. Rxe5+, " in text


def test_a_square_is_counted() -> None:
    (found,) = objects(run("explain", PINNED, "--square", "e5", "--json"))
    square = found["square"]
    assert isinstance(square, dict)
    assert (square["square"], square["exchange"], square["defenders"]) == ("e5", 3.0, [])
    assert [each["from"] for each in square["attackers"]] == ["e1"]
    text = run("explain", PINNED, "--square", "e5").output
    assert "On e5\n  the rook on e1 attacks: directly\n" in text


@pytest.mark.parametrize(
    ("arguments", "status", "message"),
    [
        (["nonsense"], 1, "not a FEN: 1 field"),
        (["4k3/8/8/4n3/8/3P4/5P2/4R1K w - - 0 1"], 1, "rank 1 ('4R1K') has 7 squares, not 8"),
        (["8/8/8/8/8/8/8/4K2P w - - 0 1"], 1, "Black has no king; a pawn on h1"),
        ([PINNED, "--line", "Qxe5"], 1, "'Qxe5'"),
        ([PINNED, "--square", "k9"], 1, "'k9' is not a square"),
        (["-", "--square", "e4"], 2, "go with one FEN"),
    ],
)
def test_bad_input_is_explained(arguments: list[str], status: int, message: str) -> None:
    result = run("explain", *arguments)
    assert (result.exit_code, result.stdout) == (status, "")
    assert message in result.stderr
    if status == 1:
        assert result.stderr.count("\n") == 1


def test_control_characters_of_a_bad_position_do_not_reach_the_terminal() -> None:
    result = run("explain", "-", stdin="4k3/8/\x1b[2J\u202e/8/8/8/8/4K3 w - -\n")
    assert result.exit_code == 1
    assert "\x1b" not in result.output
    assert "\u202e" not in result.output


def test_an_endless_line_is_left_out_and_the_next_one_read() -> None:
    result = run("explain", "-", "--json", stdin=f"{'x' * 200_000}\n{PINNED}\n")
    assert (result.exit_code, len(objects(result))) == (1, 1)
    assert (
        result.stderr.splitlines()[0] == "line 1: longer than 65536 bytes: too long for a position and moves"
    )


def test_many_positions_give_a_line_each_and_bad_ones_are_named_and_left_out() -> None:
    lines = [PINNED, "rubbish", "", f"{PINNED}\te1e5 e8d7", f"{PINNED}\te1e9", chess.STARTING_FEN]
    result = run("explain", "-", "--json", stdin="\n".join(lines))
    assert result.exit_code == 1
    found = objects(result)
    assert [each["fen"] for each in found] == [PINNED, PINNED, chess.STARTING_FEN]
    assert [each.get("line") for each in found] == [None, ["e1e5", "e8d7"], None]
    errors = result.stderr.splitlines()
    assert [line.partition(":")[0] for line in errors[:-1]] == ["line 2", "line 5"]
    assert errors[-1] == "2 of 6 lines left out"


def test_a_batch_says_the_same_as_one_position_at_a_time(chess_archive: Path) -> None:
    lines = (chess_archive / "data" / "endgame.epd").read_text().splitlines()
    fens = [" ".join(line.split()[:4]) for line in lines][:200]
    result = run("explain", "-", "--json", stdin="\n".join(fens))
    assert result.exit_code == 0, result.stderr
    found = objects(result)
    assert len(found) == len(fens) == 200
    for fen, each in list(zip(fens, found, strict=True))[::20]:
        assert [each] == objects(run("explain", fen, "--json"))


def test_a_slow_writer_is_answered_line_by_line() -> None:
    command = [sys.executable, "-m", "decks.start", "explain", "-", "--json"]
    with subprocess.Popen(
        command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as talk:
        assert talk.stdin
        assert talk.stdout
        for fen in (PINNED, chess.STARTING_FEN):
            talk.stdin.write(fen + "\n")
            talk.stdin.flush()
            assert json.loads(talk.stdout.readline())["fen"] == fen
        talk.stdin.close()
        assert talk.stdout.read() == ""
    assert talk.returncode == 0
