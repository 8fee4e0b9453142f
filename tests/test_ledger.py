"""The ledger: what counts as a case, each game once, the table, and a recount by a plain loop."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import replace
from pathlib import Path

import chess
import pytest
from click.testing import CliRunner, Result
from traced_games import EVERY, traced

from decks.build.cases import Case, cases_of, chances_taken
from decks.build.tracing import SIDES, Side, TracedGame
from decks.cli import cli
from decks.scorebook.book import Scorebook
from decks.scorebook.ledger import Tally, TracedSide
from decks.scorebook.rows import GameRecord
from decks.telling.ledger_told import LEAST_CASES, cost_of_a_hundred, take_rate
from patterns.engines.episodes import ScoredMove
from patterns.engines.quiet_lines import quiet_line
from patterns.engines.scores import Compared, Evaluation
from patterns.lines import uses_of_many
from patterns.reading.pgn import boards_of

LET_IN = Case(20, "let in", "fork", "piece-play", 0.4, "middlegame", "enough time")
LET_SLIP = Case(30, "let slip", "fork", None, 0.2, "endgame", "time trouble")
TOOK = Case(16, "took", "fork", None, 0.0, "opening", "unknown")
DRIFT = Case(40, "unnamed", None, "space", 0.25, "middlegame", "unknown")


def game(number: int, white: str = "Wren, Anna", black: str = "Reed, Tom", **tags: str) -> GameRecord:
    headers = {"White": white, "Black": black, "Date": "2026.03.14", "Result": "0-1", **tags}
    return GameRecord("games.pgn", number, headers, ["e2e4", "e7e5", f"{'abcdefgh'[number % 8]}2a3"])


def side(record: GameRecord, *cases: Case, of: Side = "white") -> TracedSide:
    return TracedSide(record, of, "Scripted 1", cases)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "scorebook.sqlite"


def ledger(path: Path, *arguments: str) -> Result:
    return CliRunner().invoke(cli, ["ledger", "--scorebook", str(path), *arguments])


def found(path: Path, *arguments: str) -> dict[str, object]:
    result = ledger(path, *arguments, "--json")
    assert result.exit_code == 0, result.output
    whole: dict[str, object] = json.loads(result.stdout)
    return whole


def rows(path: Path, *arguments: str) -> dict[str, list[tuple[object, ...]]]:
    """By value of the cut: motif, had, took, let slip, let in, cost."""
    columns = ("motif", "had", "took", "let_slip", "let_in", "cost")
    whole = found(path, *arguments)
    cut = arguments[-1] if "--by" in arguments else ""
    parts = whole["parts"]
    assert isinstance(parts, list)
    return {
        part.get(cut, ""): [tuple(row[name] for name in columns) for row in (*part["motifs"], part["all"])]
        for part in parts
    }


# --- What is counted -------------------------------------------------------------------------------------


def test_the_worst_comes_first_and_the_costs_add_up(path: Path) -> None:
    with Scorebook.open(path) as book:
        pin = replace(TOOK, motif="pin-on-file")
        book.store_traces([side(game(1), TOOK, LET_IN, LET_SLIP, DRIFT, pin)])
    assert rows(path)[""] == [
        ("fork", 2, 1, 1, 1, 0.6),
        (None, 0, 0, 0, 0, 0.25),
        ("pin-on-file", 1, 1, 0, 0, 0.0),
        ("all", 3, 2, 1, 1, 0.85),
    ]


def test_a_game_counts_once_whatever_its_file_and_title(path: Path) -> None:
    again = replace(game(1, white="WREN,  Anna", Event="Club championship"), source="renamed.pgn", number=7)
    for record in (game(1), again):
        with Scorebook.open(path) as book:
            book.store_traces([side(record, LET_IN), side(record, TOOK, of="black")])
    assert found(path, "--player", "Wren")["games"] == 1
    assert rows(path, "--player", "Wren")[""][0] == ("fork", 0, 0, 0, 1, 0.4)
    with Scorebook.open(path) as book:
        book.store_traces([side(game(1)), side(game(2), LET_IN)])  # now nothing is found in the first
    assert found(path, "--player", "Wren")["games"] == 2
    assert rows(path, "--player", "Wren")[""][-1] == ("all", 0, 0, 0, 1, 0.4)


@pytest.mark.parametrize(
    ("cut", "expected"),
    [
        ("phase", {"opening": (1, 0.0), "middlegame": (0, 0.4), "endgame": (1, 0.2)}),
        ("clock", {"enough time": (0, 0.4), "time trouble": (1, 0.2), "unknown": (1, 0.0)}),
        ("colour", {"white": (1, 0.4), "black": (1, 0.2)}),
    ],
)
def test_cuts(path: Path, cut: str, expected: dict[str, tuple[int, float]]) -> None:
    with Scorebook.open(path) as book:
        book.store_traces(
            [side(game(1), TOOK, LET_IN), side(game(2, "Reed, Tom", "Wren, Anna"), LET_SLIP, of="black")]
        )
    cuts = rows(path, "--player", "Wren, Anna", "--by", cut)
    assert {value: (part[-1][1], part[-1][5]) for value, part in cuts.items()} == expected
    assert [*cuts] == [*expected]  # in this order


def test_whom_it_counts_is_said_and_asked(path: Path) -> None:
    assert ledger(path).stdout == "no game has been traced: `rondeau trace PGN` does it\n"
    with Scorebook.open(path) as book:
        book.store_traces([side(game(1), LET_IN), side(game(2, "Wren, Bert"), LET_IN)])
        book.store_traces([side(game(3), LET_IN), side(game(4, "Reed, Tom", "Wren, Anna"), of="black")])
    anna = ledger(path, "--player", "anna").stdout
    assert anna.startswith("Wren, Anna: 3 traced games (2 as White, 1 as Black)\n\n2 cases in 3 games, 2 ep")
    assert ledger(path).stdout.startswith("2 players: 4 traced games (3 as White, 1 as Black)\n")
    several = ledger(path, "--player", "wren")
    assert several.exit_code == 2
    assert "Wren, Anna; Wren, Bert" in several.stderr
    nobody = ledger(path, "--player", "Heron")
    assert nobody.stdout == "no game of Heron has been traced: `rondeau trace PGN` does it\n"


def students(path: Path, *arguments: str) -> Result:
    return CliRunner().invoke(cli, ["students", "--scorebook", str(path), *arguments])


def test_a_student_is_counted_under_all_aliases(path: Path) -> None:
    aliases = ("--alias", "anna  WREN=Wren, Anna", "--alias", "Anna Wren=Wren, A.")
    listed = students(path, "--add", "Anna Wren", "--add", "Ida Heron", *aliases).stdout
    assert listed == "   1  Anna Wren (in PGN files Wren, A.; Wren, Anna)\n   2  Ida Heron\n"
    with Scorebook.open(path) as book:
        book.store_traces([side(game(1), LET_IN), side(game(2, "Wren, A."), LET_IN)])
        book.store_traces([side(game(3, "Wren, Arthur"), LET_IN)])
    for name in ("Anna Wren", "Wren, Anna", "wren, a."):
        assert ledger(path, "--player", name).stdout.startswith(
            "Wren, A.; Wren, Anna: 2 traced games (2 as W"
        )
    assert found(path, "--player", "Arthur")["games"] == 1
    students(path, "--alias", "Ida Heron=WREN, A.")
    assert found(path, "--player", "Anna Wren")["player"] == "Wren, Anna"
    assert json.loads(students(path, "--json").stdout)["students"][1]["aliases"] == ["WREN, A."]


@pytest.mark.parametrize("text", ["Anna Wren", "Anna Wren=", "Anna Wren= ", "Ida Heron=Heron, Ida"])
def test_an_alias_needs_a_student_and_a_name(path: Path, text: str) -> None:
    result = students(path, "--add", "Anna Wren", "--alias", text)
    assert result.exit_code == 2
    assert "is not the name of a student, =, and a name in PGN files" in result.stderr


# --- Rates -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("tally", "rate", "cost"),
    [
        (Tally(took=LEAST_CASES - 1, let_in=LEAST_CASES - 1, cost=1.0), None, None),
        (Tally(took=LEAST_CASES - 1, let_slip=1, let_in=LEAST_CASES - 1, cost=1.0), 0.8, 10.0),
        (Tally(took=2, let_slip=2, let_in=1, cost=0.6), None, None),
        (Tally(let_in=1, unnamed=LEAST_CASES - 1, cost=0.5), None, 5.0),
    ],
)
def test_fewer_than_five_cases_are_no_rate(tally: Tally, rate: float | None, cost: float | None) -> None:
    assert take_rate(tally) == rate
    assert cost_of_a_hundred(tally, 10) == cost


def test_the_table_has_the_others_beside_the_player(path: Path) -> None:
    own = [side(game(number), TOOK, TOOK, LET_SLIP, LET_IN) for number in range(4)]
    others = [side(game(number, "Heron, Ida"), TOOK, LET_SLIP, LET_SLIP, LET_SLIP) for number in range(2)]
    with Scorebook.open(path) as book:
        book.store_traces([*own, *others])
    lines = ledger(path, "--player", "Wren, Anna").stdout.splitlines()
    heads, first, whole = (" ".join(line.split()) for line in lines[4:7])
    assert heads == "motif had took rate others let slip let in cost a hundred others"
    assert first == "fork 12 8 67% 25% 4 4 2.4 60.0 60.0"
    assert whole == "all 12 8 67% 25% 4 4 2.4 60.0 60.0"


# --- What a case is --------------------------------------------------------------------------------------

FORK = chess.Board("r3k3/8/8/3N4/8/8/8/4K3 w q - 0 20")


def moved(board: chess.Board, line: str, loss: float = 0.0, ply: int = 0) -> ScoredMove:
    moves = tuple(line.split())
    best = Evaluation(0.9, None, moves)
    played = Evaluation(round(0.9 - loss, 6), None, moves)
    return ScoredMove(ply, board, chess.Move.from_uci(moves[0]), Compared(best, played))


@pytest.mark.parametrize(
    ("line", "loss", "taken"),
    [
        ("d5c7 e8d7 c7a8", 0.0, ["fork"]),
        ("d5c7 e8d7 c7a8", 0.05, ["fork"]),
        ("d5c7 e8d7 c7a8", 0.06, []),  # a move that loses so much does not hold
        ("e1e2 e8f8 e2e3", 0.0, []),
    ],
)
def test_a_chance_is_taken_by_a_move_that_holds_and_uses_it(line: str, loss: float, taken: list[str]) -> None:
    assert [use.motif for _, use in chances_taken([moved(FORK, line, loss)])] == taken


def test_a_chance_that_comes_at_the_second_move_is_not_taken_yet() -> None:
    board = chess.Board("r3k3/8/8/8/8/2N5/8/4K3 w q - 0 20")
    assert list(chances_taken([moved(board, "c3d5 a8a6 d5c7 e8d7 c7a6")])) == []


def test_taking_back_is_no_chance() -> None:
    board = chess.Board("4k3/8/8/3n4/4P3/8/8/4K3 w - - 0 20")
    takes = moved(board, "e4d5 e8d7")
    assert [use.motif for _, use in chances_taken([takes])] == ["loose-piece"]
    assert list(chances_taken([replace(takes, taken=chess.D5)])) == []
    assert len([*chances_taken([replace(takes, taken=chess.D4)])]) == 1


def test_the_same_motif_against_the_same_man_is_one_chance() -> None:
    first = moved(FORK, "d5c7 e8d7 c7a8")
    after = chess.Board("r7/2Nk4/8/8/8/8/8/4K3 w - - 0 21")
    goes_on = moved(after, "c7a8 d7c8 a8b6", ply=2)
    (forked, _), *others = chances_taken([first, goes_on])
    assert forked is first
    motifs = [use.motif for _, use in others]
    assert "fork" not in motifs
    later = replace(first, ply=10)
    assert [move.ply for move, use in chances_taken([first, later]) if use.motif == "fork"] == [0, 10]
    straight_on = replace(first, ply=2)
    assert [move.ply for move, _ in chances_taken([first, straight_on])] == [0]


def test_circumstances_of_a_case() -> None:
    (known,) = (one for one in EVERY if one.name == "the rook leaves the first rank")
    (case,) = [one for one in cases_of(traced(known)) if one.outcome == "let in"]
    assert (case.motif, case.factor, case.phase, case.clock) == (
        "back-rank",
        "king-safety",
        "endgame",
        "unknown",
    )
    assert case.cost == pytest.approx(0.5, abs=0.05)


def test_a_motif_that_is_only_plain_is_not_counted() -> None:
    (known,) = (one for one in EVERY if one.name == "the rook leaves the first rank")
    game = traced(known)
    (one,) = (one for one in game.episodes if one.cause is not None and one.cause.kind == "let in")
    assert one.cause is not None
    plain = replace(game, episodes=(replace(one, cause=replace(one.cause, is_plain=True)),))
    (case,) = [case for case in cases_of(plain) if case.outcome != "took"]
    assert (case.outcome, case.motif) == ("unnamed", None)


# --- A recount by a plain loop ---------------------------------------------------------------------------


def hits_others(move: ScoredMove, targets: tuple[str, ...]) -> bool:
    """Whether the king or two men are among the targets, besides the man that the move takes."""
    others = {chess.parse_square(name) for name in targets} - {move.move.to_square}
    men = [move.board.piece_at(square) for square in others]
    theirs = [man for man in men if man is not None and man.color != move.board.turn]
    return len(theirs) > 1 or any(man.piece_type == chess.KING for man in theirs)


def recount(games: list[TracedGame]) -> dict[str, Counter[str]]:
    """What the ledger should say, counted one by one from what was traced."""
    result: dict[str, Counter[str]] = {}
    for one in games:
        for told in one.episodes:
            if told.cause is not None and told.cause.use is not None and not told.cause.is_plain:
                counts = result.setdefault(told.cause.use.motif, Counter())
                counts[str(told.cause.kind)] += 1
                counts["cost"] += round(10_000 * told.episode.cost)
        last: dict[str, tuple[int, set[str]]] = {}
        lines = []
        for move in one.moves:
            line = [chess.Move.from_uci(uci) for uci in move.compared.played.line]
            lines.append((move.board, quiet_line(move.board, line, 8)))
        history = [*boards_of(one.seat.game)]
        for move, uses in zip(one.moves, uses_of_many(lines), strict=True):
            used = [use for use in uses if use.ply == 1]
            last_move = one.seat.game.moves[move.ply - 1] if move.ply else None
            took = last_move is not None and history[move.ply - 1].is_capture(last_move)
            if last_move is not None and took and last_move.to_square == move.move.to_square:
                used = [use for use in used if hits_others(move, use.targets)]
            if move.compared.best.in_practice - move.compared.played.in_practice > 0.0500001 or not used:
                continue
            motif, targets = used[0].motif, set(used[0].targets)
            ply, before = last.get(motif, (-9, set()))
            if ply != move.ply - 2 or not targets & before:
                result.setdefault(motif, Counter())["took"] += 1
            last[motif] = move.ply, targets
    return result


def test_a_recount_of_the_traced_games_agrees(path: Path) -> None:
    games = [traced(known) for known in EVERY]
    with Scorebook.open(path) as book:
        for _ in range(2):  # the second time changes nothing
            book.store_traces(
                [
                    side(GameRecord.of(one.seat.game, "x.pgn"), *cases_of(one), of=one.seat.side)
                    for one in games
                ]
            )
    expected = recount(games)
    counted = {str(row[0]): row[1:] for row in rows(path)[""]}
    assert {*counted} - {"all", "None"} == {*expected}
    assert len(expected) >= 6
    for motif, counts in expected.items():
        slip, took = counts["overlooked"], counts["took"]
        cost = counts["cost"] / 10_000
        assert counted[motif] == (took + slip, took, slip, counts["let in"], pytest.approx(cost, abs=2e-4)), (
            motif
        )
    assert {one.seat.side for one in games} == {*SIDES}
