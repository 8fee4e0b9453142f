"""The library's front door: what `import patterns` offers, and how it answers a wrong argument."""

from __future__ import annotations

import ast
import io
import subprocess
import sys
import warnings
from collections.abc import Callable, Iterator
from importlib import import_module
from pathlib import Path
from typing import Any, assert_type

import chess
import pytest

import patterns
from patterns.detect import find_in
from patterns.reading.pgn import boards_of

BARE = "6k1/5ppp/8/8/8/8/5PPP/4R1K1 w - - 0 1"
"""White mates on the back rank."""

PINNED = "4k3/8/8/4n3/8/3P4/5P2/4R1K1 w - - 0 1"

EVENING = """\
[Event "Saltmarsh club evening"]
[White "Birch, Anna"]
[Black "Quill, Tom"]

1. e4 e5 2. Nf3 Nc6 3. Bb5 *

[Event "Saltmarsh club evening"]
[White "Reed, Tom"]
[Black "Quill, Tom"]

1. Ke2 *

[Event "Saltmarsh club evening"]
[White "Wren, Anna"]
[Black "Reed, Tom"]

1. d4 *
"""


@pytest.fixture
def evening(tmp_path: Path) -> Path:
    path = tmp_path / "evening.pgn"
    path.write_text(EVENING)
    return path


GAMES = 6


@pytest.fixture(scope="module")
def demo_games(project_root: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The first games of the demo deck."""
    text = (project_root / "demo_deck" / "games.pgn").read_text(encoding="utf-8")
    path = tmp_path_factory.mktemp("demo") / "games.pgn"
    path.write_text("[Event ".join(text.split("[Event ")[: GAMES + 1]), encoding="utf-8")
    return path


# --- The names -----------------------------------------------------------------------------------------


def test_the_import_itself_is_light(project_root: Path) -> None:
    code = "import sys, patterns; print(sorted({'numpy', 'chess', 'chess.pgn'} & set(sys.modules)))"
    for more, expected in (("", "[]"), ("; patterns.MOTIFS; print('numpy' in sys.modules)", "[]\nTrue")):
        shown = subprocess.run(
            [sys.executable, "-c", code + more], cwd=project_root, capture_output=True, text=True, check=True
        )
        assert shown.stdout.strip() == expected


def test_the_names_are_what_types_and_lists_say(project_root: Path) -> None:
    tree = ast.parse((project_root / "patterns" / "__init__.py").read_text(encoding="utf-8"))
    typed = {
        alias.name: node.module
        for branch in tree.body
        if isinstance(branch, ast.If)
        for node in branch.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }
    assert typed == patterns._HOME_OF
    assert sorted(typed) == sorted(patterns.__all__)
    assert set(patterns.__all__) <= set(dir(patterns))
    for name, module in typed.items():
        assert getattr(patterns, name) is getattr(import_module(str(module)), name)
    with pytest.raises(AttributeError, match="module 'patterns' has no attribute 'tags'"):
        patterns.tags  # type: ignore[attr-defined]  # noqa: B018


def test_both_packages_say_that_they_are_typed(project_root: Path) -> None:
    assert all((project_root / package / "py.typed").is_file() for package in ("patterns", "decks"))


def test_types_reach_the_caller(evening: Path) -> None:
    """What mypy sees. At run time `assert_type` only returns its argument."""
    board = chess.Board(BARE)
    games = assert_type(patterns.read_games(evening), Iterator[patterns.Game | patterns.Unreadable])
    assert_type(patterns.tag(games, unreadable=print), Iterator[patterns.TaggedGame])
    assert_type(patterns.tag(str(evening)), Iterator[patterns.TaggedGame])
    assert_type(patterns.tag(io.StringIO(EVENING), "fork"), Iterator[patterns.TaggedGame])
    assert_type(patterns.tag(board, patterns.MOTIFS["fork"]), Iterator[patterns.TaggedBoard])
    assert_type(patterns.tag([board], ["fork"]), Iterator[patterns.TaggedBoard])
    found = assert_type(patterns.explain(board), patterns.Explanation)
    assert_type(found.findings, tuple[patterns.Finding, ...])


# --- Games ---------------------------------------------------------------------------------------------


def test_every_position_of_every_game_has_its_findings(
    monkeypatch: pytest.MonkeyPatch, demo_games: Path
) -> None:
    monkeypatch.setattr("patterns.scan.BATCH", 256)  # there are several batches
    tagged = list(patterns.tag(demo_games))
    read = [game for game in patterns.read_games(demo_games) if isinstance(game, patterns.Game)]
    assert [one.game for one in tagged] == read
    assert len(read) == GAMES
    for one in tagged:
        game, boards = one.game, list(boards_of(one.game))
        assert [position.board for position in one.positions] == boards
        assert [position.ply for position in one.positions] == list(range(len(boards)))
        assert [position.move for position in one.positions] == [*game.moves, None]
        assert [list(position.findings) for position in one.positions] == find_in(boards)
    assert sum(len(position.findings) for one in tagged for position in one.positions) > 1000


def test_a_path_a_stream_and_read_games_give_the_same(demo_games: Path) -> None:
    with demo_games.open(encoding="utf-8") as stream:
        from_stream = list(patterns.tag(stream, "pin-on-file"))
    from_path = list(patterns.tag(str(demo_games), "pin-on-file"))
    assert from_stream == from_path == list(patterns.tag(patterns.read_games(demo_games), "pin-on-file"))
    (alone,) = patterns.tag(from_path[0].game, "pin-on-file")
    assert alone == from_path[0]
    found = {finding.motif for one in from_path for each in one.positions for finding in each.findings}
    assert found == {"pin-on-file"}


def test_motifs_are_asked_for_by_id_or_as_objects() -> None:
    board = chess.Board(PINNED)
    (every,) = patterns.tag(board)
    assert len({finding.motif for finding in every.findings}) > 1
    pin = patterns.MOTIFS["pin-on-file"]
    for asked in ("pin-on-file", pin, ["pin-on-file"], (pin, "pin-on-file", "fork")):
        (one,) = patterns.tag(board, asked)
        assert [(finding.motif, finding.actors) for finding in one.findings] == [("pin-on-file", ("e1",))]
        assert find_in([board], asked) == [list(one.findings)]


@pytest.mark.parametrize("source", ["path", "stream", "games"])
def test_a_game_that_cannot_be_read_is_not_skipped_silently(source: str, evening: Path) -> None:
    def given() -> Any:
        named = {"path": evening, "stream": io.StringIO(EVENING), "games": patterns.read_games(evening)}
        return named[source]

    why = "game 2 (Reed, Tom - Quill, Tom), line 7: 1. Ke2: illegal move"
    with pytest.warns(patterns.LeftOutWarning) as caught:
        assert [one.game.number for one in patterns.tag(given())] == [1, 3]
    name = {"path": str(evening), "stream": "the stream", "games": "the games"}[source]
    assert [str(each.message) for each in caught] == [f"left out of {name}: {why}"]

    left_out: list[patterns.Unreadable] = []
    with warnings.catch_warnings(action="error"):
        assert [one.game.number for one in patterns.tag(given(), unreadable=left_out.append)] == [1, 3]
    assert list(map(str, left_out)) == [why]


def test_games_are_read_lazily(monkeypatch: pytest.MonkeyPatch, evening: Path) -> None:
    monkeypatch.setattr("patterns.scan.BATCH", 10)
    (game, *_) = patterns.read_games(evening)
    read: list[int] = []

    def endless() -> Iterator[patterns.Game | patterns.Unreadable]:
        while True:
            read.append(1)
            yield game

    tagged = patterns.tag(endless())
    assert read == []
    assert next(tagged).game is game
    assert len(read) == 2, "two games of six positions fill a batch of ten"


# --- Boards --------------------------------------------------------------------------------------------


def test_boards_have_their_findings_in_their_order(monkeypatch: pytest.MonkeyPatch, demo_games: Path) -> None:
    (game, *_) = patterns.read_games(demo_games)
    assert isinstance(game, patterns.Game)
    boards = list(boards_of(game))
    tagged = list(patterns.tag(boards))
    assert [one.board for one in tagged] == boards
    assert [list(one.findings) for one in tagged] == find_in(boards)
    monkeypatch.setattr("patterns.tagging.BATCH", 50)
    assert list(patterns.tag(iter(boards))) == tagged
    assert len(boards) > 100


def test_a_board_that_changes_later_is_tagged_as_it_was(demo_games: Path) -> None:
    (game, *_) = patterns.read_games(demo_games)
    assert isinstance(game, patterns.Game)

    def moving() -> Iterator[chess.Board]:
        board = game.start.copy()
        for move in game.moves:
            yield board
            board.push(move)

    tagged = list(patterns.tag(moving()))
    assert [one.board for one in tagged] == list(boards_of(game))[:-1]
    assert tagged == list(patterns.tag(list(boards_of(game))[:-1]))


def test_results_belong_to_the_caller() -> None:
    board = chess.Board(BARE)
    (one,) = patterns.tag(board)
    explanation = patterns.explain(board)
    board.clear()
    assert one.board.fen() == explanation.as_dict()["fen"] == BARE


def test_an_empty_source_gives_nothing() -> None:
    assert list(patterns.tag([])) == []


def test_a_position_is_explained_from_a_board_or_a_fen() -> None:
    assert patterns.explain(BARE) == patterns.explain(chess.Board(BARE))
    assert patterns.explain(BARE).as_dict()["motifs"][0]["motif"] == "back-rank"


# --- Wrong arguments -----------------------------------------------------------------------------------

TAKES = "tag takes the path of a PGN file, a stream open for reading text, games as patterns.read_games "
NO_WHITE_KING = "4k3/8/8/8/8/8/8/8 w - - 0 1"
THREE_KINGS = "4k3/8/8/8/8/8/8/K1K1K3 w - - 0 1"

# For callers without a type checker, which refuses most of these arguments.
tag: Callable[..., Iterator[object]] = patterns.tag
explain: Callable[..., object] = patterns.explain
read_games: Callable[..., object] = patterns.read_games


@pytest.mark.parametrize(
    ("call", "kind", "parts"),
    [
        (lambda: tag(42), TypeError, [TAKES, "not int (42)"]),
        (lambda: tag(None), TypeError, [TAKES, "not NoneType (None)"]),
        (lambda: tag(b"games.pgn"), TypeError, [TAKES, "not bytes (b'games.pgn')"]),
        (lambda: tag(io.BytesIO(b"1. e4")), TypeError, ["stream open for reading text, not from BytesIO"]),
        (lambda: read_games(42), TypeError, ["a path or a stream open for reading text, not from int"]),
        (lambda: read_games([BARE]), TypeError, ["a path or a stream", "not from list"]),
        (lambda: tag("nonsense"), ValueError, ["there is no file 'nonsense'", TAKES]),
        (lambda: tag(Path("none.pgn")), ValueError, ["there is no file 'none.pgn'", TAKES]),
        (lambda: tag("a" * 5000), ValueError, ["there is no file", TAKES]),
        (lambda: tag("a\0b"), ValueError, ["there is no file 'a\\x00b'", TAKES]),
        (lambda: tag(BARE), ValueError, [BARE, "is a FEN", "chess.Board(fen)"]),
        (lambda: tag("1. e4 e5\n2. Nf3"), ValueError, ["is PGN, not the path", "io.StringIO(text)"]),
        (lambda: tag('[Event "?"]'), ValueError, ["is PGN, not the path", "io.StringIO(text)"]),
        (lambda: list(tag([1, 2])), TypeError, ["item 1 is int (1)", TAKES]),
        (lambda: list(tag(["a.pgn"])), TypeError, ["item 1 is str ('a.pgn')", TAKES]),
        (
            lambda: list(tag([chess.Board(), BARE])),
            TypeError,
            ["item 2 is str ('6k1/5ppp", "not a chess.Board like those before it"],
        ),
        (
            lambda: list(tag([*patterns.read_games(io.StringIO("1. e4 *")), chess.Board()])),
            TypeError,
            ["item 2 is Board (Board(", TAKES],
        ),
        (
            lambda: list(tag([chess.Board(), chess.Board(NO_WHITE_KING)])),
            ValueError,
            ["board 2: ", NO_WHITE_KING, "White has no king, not one"],
        ),
        (
            lambda: tag([], "pin"),
            ValueError,
            ["'pin': perhaps 'pin-on-diagonal' or 'pin-on-file' or 'pin-on-rank'?"],
        ),
        (lambda: tag([], "pin-on-fle"), ValueError, ["'pin-on-fle': perhaps 'pin-on-file' or "]),
        (
            lambda: tag([], ["fork", "xyz"]),
            ValueError,
            ["no motif is called 'xyz' (patterns.MOTIFS"],
        ),
        (lambda: tag([], []), ValueError, ["no motif is asked for"]),
        (
            lambda: tag([], 7),
            TypeError,
            ["motifs are given as ids or patterns.Motif, not as int (7)"],
        ),
        (lambda: tag([], [7]), TypeError, ["as its id or as patterns.Motif, not as int (7)"]),
        (lambda: explain("nonsense"), ValueError, ["'nonsense': not a FEN: 1 field, not 6"]),
        (lambda: explain(NO_WHITE_KING), ValueError, [NO_WHITE_KING, "White has no king"]),
        (lambda: explain(chess.Board(None)), ValueError, ["8/8/8/8/8/8/8/8", "White has no king"]),
        (lambda: explain(chess.Board(THREE_KINGS)), ValueError, ["White has 3 kings, not one"]),
        (lambda: explain(3.5), TypeError, ["a chess.Board or a FEN, not as float (3.5)"]),
        (lambda: explain([chess.Board()]), TypeError, ["a chess.Board or a FEN, not as list ("]),
        (
            lambda: find_in([chess.Board()], ["frok"]),
            ValueError,
            ["no motif is called 'frok': perhaps 'fork'"],
        ),
    ],
)
def test_a_wrong_argument_gets_an_error_that_says_what_is_wanted(
    call: Callable[[], object], kind: type[Exception], parts: list[str]
) -> None:
    with pytest.raises(kind) as caught:
        call()
    assert [part for part in parts if part not in str(caught.value)] == [], str(caught.value)
    assert len(str(caught.value)) < 400


def test_a_file_without_games_is_a_fault_of_the_file(tmp_path: Path) -> None:
    path = tmp_path / "letter.pgn"
    path.write_text("Dear Tom, see you at the club.\n")
    with pytest.raises(patterns.GamesError, match="no chess game in it"):
        list(patterns.tag(path))
