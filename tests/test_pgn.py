"""Reading PGN. Source: the PGN standard (import format); python-chess's own reader as the second opinion."""

from __future__ import annotations

import io
import random
from pathlib import Path

import chess
import chess.pgn
import pytest
from hypothesis import given
from hypothesis import strategies as st

from patterns.reading import pgn
from patterns.reading.clocks import seconds_before, starting_seconds
from patterns.reading.pgn import Game, GamesError, Unreadable, boards_of, positions, read_games, sides_of

TAGS = '[Event "Saltmarsh club night"]\n[White "Birch, Anna"]\n[Black "Quill, Tom"]\n[Result "1-0"]\n\n'

WAITING_KING = "k6R/8/8/8/8/8/8/K7 w - - 0 1"
"""Black is in check, and White is to move."""


def read(text: str) -> list[Game | Unreadable]:
    return list(read_games(io.StringIO(text), "night.pgn"))


def read_one(text: str) -> Game:
    (game,) = read(text)
    assert isinstance(game, Game), game
    return game


def reason_of(text: str) -> str:
    (game,) = read(text)
    assert isinstance(game, Unreadable), game
    return game.reason


def san(game: Game) -> str:
    return chess.Board(game.start.fen()).variation_san(game.moves) if game.moves else ""


def test_a_plain_game() -> None:
    game = read_one(TAGS + "1. e4 e5 2. Nf3 Nc6 1-0\n")
    assert san(game) == "1. e4 e5 2. Nf3 Nc6"
    assert (game.number, game.line, game.result) == (1, 1, "1-0")
    assert game.headers["White"] == "Birch, Anna"
    assert game.start == chess.Board()


@pytest.mark.parametrize(
    "movetext",
    [
        "1. e4 e5 2. Nf3 Nc6",
        "1.e4 e5 2.Nf3 Nc6 *",
        "e4 e5 Nf3 Nc6 1/2-1/2",
        "1 e4 e5 2 Nf3 Nc6",
        "1. e4 { good } e5 {over\ntwo } 2. Nf3 ; the rest ( of the line {\nNc6",
        "1. e4 (1. d4 d5 (1... Nf6 {x)} 2. c4) 2. c4) 1... e5 2. Nf3 $1 $14 Nc6!? += *",
        "1. e4! e5?? 2. Nf3+ Nc6# 0-1",
        "1. e4 e5\n% an escape line ( {\n2. Nf3\n\nNc6",
        "1. e2e4 e7-e5 2. Ng1f3 2... Nb8-c6",
        "1. E4 e5 2. nf3 NC6",
        "1. e4 ... e5 2. Nf3 { [%eval 0.3] }\nNc6 {\n[White time: much]} *",
    ],
)
def test_movetext_of_the_import_format(movetext: str) -> None:
    assert san(read_one(TAGS + movetext)) == "1. e4 e5 2. Nf3 Nc6"


def test_castling_en_passant_and_promotion() -> None:
    castled = read_one("1. Nf3 Nf6 2. g3 g6 3. Bg2 Bg7 4. 0-0 O-O 1-0")
    assert [move.uci() for move in castled.moves[-2:]] == ["e1g1", "e8g8"]
    taken = read_one("1. e4 a6 2. e5 d5 3. exd6e.p. Nc6 4. dxc7 e.p. a5 5. cxd8=Q+ *")
    assert [move.uci() for move in taken.moves[4::2]] == ["e5d6", "d6c7", "c7d8q"]


def test_a_set_up_position() -> None:
    game = read_one('[SetUp "1"]\n[FEN "7k/5Q2/6K1/8/8/8/8/8 w - - 0 40"]\n\n40. Qg7# 1-0')
    assert san(game) == "40. Qg7#"
    assert next(iter(positions(game)))[0] == 0


def test_positions_are_those_before_each_move() -> None:
    game = read_one("1. e4 e5 2. Nf3 *")
    seen = [(ply, board.fen(), board.san(move)) for ply, board, move in positions(game)]
    assert [(ply, text) for ply, _, text in seen] == [(0, "e4"), (1, "e5"), (2, "Nf3")]
    assert seen[0][1] == chess.STARTING_FEN
    assert game.start == chess.Board()


def test_a_game_hands_out_separate_boards() -> None:
    game = read_one("1. e4 e5 2. Nf3 *")
    boards = list(boards_of(game))
    assert [board.ply() for board in boards] == [0, 1, 2, 3]
    assert [board for _, board, _ in list(positions(game))] == boards[:-1]
    assert all(not board.move_stack for board in boards)
    for board in boards:
        board.clear()
    walked = positions(game)
    for _, board, move in walked:
        board.push(move)  # the caller's own board: the walk goes on from its own
        board.clear()
    assert [board.ply() for board in boards_of(game)] == [0, 1, 2, 3]
    assert game.start == chess.Board()


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("1. e4 e5 2. Ke3 Nc6", "2. Ke3: illegal move"),
        ("1. e4 e5 2. Nf9 Nf3", "2. Nf9: not a move"),
        ("1. e4 e5 2. Nf3 white wins", "2... white: not a move"),
        ("1. d4 d5 2. Nf3 Nf6 3. Nd2 *", "3. Nd2: ambiguous move, more than one man can go there"),
        ("1. e4 -- 2. d4", "1... --: null move, which chess does not have"),
        ("1. e4 e5 2. Sf3", "2. Sf3: not a move"),
        ("1. f3 e5 2. g4 Qh4# 3. a3", "3. a3: illegal move"),
        ("1. e4 (1. d4 e5 2. Nf3", "a variation is not closed"),
        ("1. e4 { unfinished e5", "the comment opened in line 1 is not closed"),
        ('[Variant "Crazyhouse"]\n\n1. e4', "Variant Crazyhouse: only ordinary chess is read"),
        ('[Variant "Chess960"]\n\n1. e4', "Variant Chess960: only ordinary chess is read"),
        (
            '[FEN "rk2r3/8/8/8/8/8/8/RK2R3 w EAea - 0 1"]\n\n*',
            (
                "FEN rk2r3/8/8/8/8/8/8/RK2R3 w EAea - 0 1: "
                "not a FEN: castling is - or some of KQkq in that order, not 'EAea'"
            ),
        ),
        (
            '[FEN "8/8/8/8/8/8/8/8 w - - 0 1"]\n\n*',
            "FEN 8/8/8/8/8/8/8/8 w - - 0 1: impossible position: White has no king; Black has no king",
        ),
        (
            f'[FEN "{WAITING_KING}"]\n\n1. Ka2',
            f"FEN {WAITING_KING}: impossible position: the side that is not to move is in check (a8)",
        ),
        (
            '[FEN "nonsense"]\n\n1. e4',
            (
                "FEN nonsense: not a FEN: "
                "1 field, not 6 (placement, side to move, castling, en passant, two counters)"
            ),
        ),
        (
            '[FEN "4k3/8/8/8/8/9/8/4K3 white KX - 0 x"]\n\n1. Ke2',
            (
                "FEN 4k3/8/8/8/8/9/8/4K3 white KX - 0 x: not a FEN: rank 3 ('9') has '9', no piece letter; "
                "side to move is w or b, not 'white'; castling is - or some of KQkq in that order, not 'KX'; "
                "the move number is a number, not 'x'"
            ),
        ),
        (
            '[FEN "4k2r/8/8/8/8/8/8/4K3 w KQk - 0 1"]\n\n1. Ke2',
            (
                "FEN 4k2r/8/8/8/8/8/8/4K3 w KQk - 0 1: "
                "impossible position: castling KQ without king and rook at home"
            ),
        ),
        ('[FEN "8/8\n\n1. e4', 'the tag FEN is not written [FEN "..."]'),
        ("[SetUp 1]\n\n1. e4", 'the tag SetUp is not written [SetUp "..."]'),
        ("[ Variant Atomic]\n\n1. e4", 'the tag Variant is not written [Variant "..."]'),
        ("8. e4 Zz 2. Ke3 {", "1... Zz: not a move"),
        (
            "1. a4 b5 2. axb5 a6 3. bxa6 h6 4. a7 h5 5. axb8",
            "5. axb8: ambiguous move, the pawn must become something",
        ),
        ("1. 0000 e5", "1. 0000: null move, which chess does not have"),
        ("1. @@@@ e5", "1. @@@@: null move, which chess does not have"),
        ("1. e4 é5", "1... é5: not a move"),
        ("1. e4 e5 [x] 2. Nf3 Nc6", "[x]: neither a move nor a tag pair"),
        ("1. e4 e5\n[%clk 1] 2. Nf3", "[%clk 1]: neither a move nor a tag pair"),
        ("1. e4 e5\n[White]\n2. Nf3", "[White]: neither a move nor a tag pair"),
        ("1. e4 {a\n}) ) e5 (1... d5", "a variation is not closed"),
        ('[White "Birch"]\n{ and no end\n\n1. e4 e5', "the comment opened in line 2 is not closed"),
        ("{ and no end\n\n1. e4 e5", "the comment opened in line 1 is not closed"),
    ],
)
def test_a_game_that_cannot_be_read_says_why(text: str, reason: str) -> None:
    assert reason_of(text) == reason


def test_a_faulty_game_does_not_take_its_neighbours_along() -> None:
    good = TAGS + "1. e4 e5 1-0\n\n"
    faults = ["1. e5 1-0", "1. e4 (1. d4 1-0", "1. e4 {open 1-0", "1. e4 e4) (2. d4) d4 *", "1. Zz1 e4 1-0"]
    result = read(good + "".join(TAGS + fault + "\n\n" + good for fault in faults))
    assert [type(game) for game in result] == [Game] + [Unreadable, Game] * len(faults)
    assert [game.number for game in result] == list(range(1, 2 + 2 * len(faults)))
    assert str(result[1]) == "game 2 (Birch, Anna - Quill, Tom), line 8: 1. e5: illegal move"
    assert all(san(game) == "1. e4 e5" for game in result if isinstance(game, Game))


def outline(text: str) -> list[tuple[int, str]]:
    """Line and moves of each game of a text, or why it cannot be read."""
    return [(game.line, san(game) if isinstance(game, Game) else game.reason) for game in read(text)]


@pytest.mark.parametrize(
    ("text", "games"),
    [
        # A game ends with its result, where tags come after moves, and where the roster starts anew (8.1.1).
        ("1. e4 *\n1. d4 *", [(1, "1. e4"), (2, "1. d4")]),
        ('1. e4\n[White "A"]\n1. d4', [(1, "1. e4"), (2, "1. d4")]),
        ('1. e4 [White "A"] 1. d4', [(1, "1. e4"), (1, "1. d4")]),
        ('[Event "A"]\n[Event "B"]\n1. d4', [(1, ""), (2, "1. d4")]),
        ('[Event ""]\n[Event "B"]\n1. d4', [(1, "1. d4")]),
        ('[Site "A"]\n[Site "B"]\n1. d4', [(1, "1. d4")]),
        ('[Site "A"]\n[Event "B"]\n1. d4', [(1, "1. d4")]),
        ("1. e4 (1. d4 * d5) 1... e5 *", [(1, "1. e4 e5")]),
        ("1. e4) e5 *", [(1, "1. e4 e5")]),
        # A faulty tag pair starts a game too, if it is needed, or has a name and a quote.
        ('1. e4\n[White "A\n1. d4', [(1, "1. e4"), (2, "1. d4")]),
        ("1. e4\n[FEN 8/8]\n1. d4", [(1, "1. e4"), (2, 'the tag FEN is not written [FEN "..."]')]),
        ("1. e4\n[SetUp]\n1. d4", [(1, "1. e4"), (2, 'the tag SetUp is not written [SetUp "..."]')]),
        ("1. e4\n[ Variant]\n1. d4", [(1, "1. e4"), (2, 'the tag Variant is not written [Variant "..."]')]),
        ("1. e4\n[FENs]\n1... e5", [(1, "[FENs]: neither a move nor a tag pair")]),
        ("[White]\n[%x]\n[FENs]\n1. d4", [(1, "1. d4")]),
        ("[x] 1. d4 d5", [(1, "1. d4 d5")]),
        # Nothing in a variation is read, but its end.
        ("1. e4 (Zz ± -- [x] 0-1 {)}) e5 *", [(1, "1. e4 e5")]),
        ('1. e4 (1. d4\n[White "A"]\n1. d4', [(1, "a variation is not closed"), (2, "1. d4")]),
        # Text between games belongs to none, and no comment there takes a game along.
        ("Dear Tom, - 1-0 Nf9!\n1. e4 *", [(1, "1. Dear: not a move")]),
        ('Dear Tom, 1-0 *\n[White "A"]\n1. e4 *', [(2, "1. e4")]),
        ('see [1] and [FEN x]\n[White "A"]\n1. e4 *', [(2, "1. e4")]),
        ('{ unfinished\n[Event "A"]\n1. e4 *', [(1, "1. e4")]),
        ("1. e4 * { unfinished\n1. d4 *", [(1, "1. e4"), (1, "the comment opened in line 1 is not closed")]),
        ("1. e4 * ; finished\n", [(1, "1. e4")]),
        ("\n\n1. e4 *\n\n\n", [(3, "1. e4")]),
        # Text is a game as soon as something in it is like a move: SAN, in small letters too, or castling.
        ("hello e4", [(1, "1. hello: not a move")]),
        ("hello exd5", [(1, "1. hello: not a move")]),
        ("hello nf3", [(1, "1. hello: not a move")]),
        ("hello N:f3", [(1, "1. hello: not a move")]),
        ("hello Ng1-f3", [(1, "1. hello: not a move")]),
        ("hello O-O", [(1, "1. hello: not a move")]),
        ("hello 0-0", [(1, "1. hello: not a move")]),
    ],
)
def test_where_games_start_and_end(text: str, games: list[tuple[int, str]]) -> None:
    assert outline(text) == games


@pytest.mark.parametrize(
    "text", ["", "\n", "hello you", "*", "1-0", "[x]", "[FEN x]", "Qe 12 e9 i4 O0", "{e4}", "(", "±"]
)
def test_text_without_anything_like_a_game(text: str) -> None:
    with pytest.raises(GamesError, match=r"^night.pgn: no chess game in it$"):
        read(text)


@pytest.mark.parametrize(
    ("tag", "movetext", "result"),
    [
        ("1-0", "1. e4 0-1", "1-0"),
        ("1/2-1/2", "1. e4", "1/2-1/2"),
        ("*", "1. e4 0-1", "0-1"),
        ("½", "1. e4 0-1", "0-1"),
        ("1:0", "1. e4", "*"),
    ],
)
def test_the_result_is_the_tags_if_it_is_one(tag: str, movetext: str, result: str) -> None:
    assert read_one(f'[Result "{tag}"]\n\n{movetext}').result == result


@pytest.mark.parametrize("variant", ["", "?", "Standard", " NORMAL ", "chess", "From Position"])
def test_ordinary_chess_by_its_names(variant: str) -> None:
    assert san(read_one(f'[Variant "{variant}"]\n1. e4')) == "1. e4"


@pytest.mark.parametrize(
    ("tags", "players"),
    [
        ('[White "A"]\n[Black "B"]\n', "A - B"),
        ('[White "A"]\n', "A - ?"),
        ('[Black "B"]\n', "? - B"),
        ('[Event "A"]\n', ""),
        ('[White "?"]\n[Black "?"]\n', ""),
        (f'[White "{"x" * 41}"]\n', "x" * 37 + "... - ?"),
    ],
)
def test_an_unreadable_game_names_its_players(tags: str, players: str) -> None:
    (game,) = read(tags + "1. Zz")
    assert isinstance(game, Unreadable) and game.players == players
    assert str(game) == f"game 1{f' ({players})' if players else ''}, line 1: 1. Zz: not a move"


def test_games_without_tags_or_without_moves() -> None:
    first, second = read("1. e4 e5 1-0 1. d4 *")
    assert isinstance(first, Game) and isinstance(second, Game)
    assert (san(first), first.result, san(second), second.result) == ("1. e4 e5", "1-0", "1. d4", "*")
    forfeits = read('[Event "A"]\n[Result "1-0"]\n\n[Event "B"]\n\n0-1\n\n[Event "C"]\n')
    assert [game.result for game in forfeits if isinstance(game, Game)] == ["1-0", "0-1", "*"]


def test_tags_with_quotes_and_several_on_a_line() -> None:
    game = read_one(
        '[Event "The \\"Marsh\\" \\\\ cup"] [Round "3"]\n[Site "the "Ferry" inn"]\n[broken\n1. e4 *'
    )
    assert game.headers == {"Event": 'The "Marsh" \\ cup', "Round": "3", "Site": 'the "Ferry" inn'}


def test_tags_and_plies_are_bounded() -> None:
    tags = "".join(f'[Tag{number} "x"]\n' for number in range(1000))
    assert len(read_one(tags + "\n1. e4 *").headers) == pgn.MAX_TAGS
    assert read_one('[A "1"]\n' + tags + '[A "2"]\n[B "3"]\n\n1. e4 *').headers["A"] == "2"
    shuffle = "Nf3 Nf6 Ng1 Ng8 "
    assert reason_of(shuffle * (pgn.MAX_PLIES // 4) + "e4") == f"longer than {pgn.MAX_PLIES} plies"
    assert len(read_one(shuffle * (pgn.MAX_PLIES // 4)).moves) == pgn.MAX_PLIES
    assert reason_of(shuffle * 25_000) == f"longer than {pgn.MAX_PLIES} plies"


def test_unreadable_text_is_safe_to_show() -> None:
    tags = '[White "A\x1b[2J"]\n[Black "\u202eB"]\n\n'
    (game,) = read(tags + "1. e4 \x1b[31mred")
    assert str(game) == "game 1 (A\ufffd[2J - B), line 1: 1... \ufffd[31mred: not a move"
    (game,) = read(f'[FEN "8/8/8/8/8/8/8/8 \x1b[2J\u202e{"9" * 5000} - - 0 1"]\n\n*')
    assert "side to move" in str(game) and len(str(game)) < 800 and str(game).isprintable()


@pytest.mark.parametrize(
    ("raw", "white"),
    [
        (b'\xef\xbb\xbf[White "Bl\xc3\xbcte"]\r\n\r\n1. e4\r\ne5 *\r\n', "Blüte"),
        (b'[White "Bl\xfcte"]\n\n1. e4 e5 *', "Blüte"),
        (b'[White "Bl\xc3\xbcte"]\r\r1. e4 e5 *\r', "Blüte"),
    ],
)
def test_encodings_and_line_ends(tmp_path: Path, raw: bytes, white: str) -> None:
    path = tmp_path / "night.pgn"
    path.write_bytes(raw)
    (game,) = read_games(path)
    assert isinstance(game, Game) and game.headers["White"] == white and len(game.moves) == 2


def test_files_that_are_not_games(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def complaint(path: Path) -> str:
        with pytest.raises(GamesError) as caught:
            list(read_games(path, path.name))
        assert "\n" not in str(caught.value)
        return str(caught.value)

    assert complaint(tmp_path / "none.pgn") == "none.pgn: No such file or directory"
    (tmp_path / "folder.pgn").mkdir()
    assert complaint(tmp_path / "folder.pgn") == "folder.pgn: Is a directory"
    path = tmp_path / "night.pgn"
    path.write_bytes(b"")
    assert complaint(path) == "night.pgn: no chess game in it"
    path.write_text("Dear Tom,\nsee you at the club. 1-0 to you!\n")
    assert complaint(path) == "night.pgn: no chess game in it"
    path.write_bytes(b"PK\x03\x04\x00\x00")
    assert complaint(path).startswith("night.pgn: not a text file")
    path.write_text("1. e4 " + "x" * pgn.MAX_LINE)
    assert complaint(path).startswith("night.pgn, line 1: longer than")
    path.write_text("1. e4 *" + " " * (64 * 1024 - 7) + "\0")
    assert len(list(read_games(path))) == 1
    path.write_text("1. e4 *" + " " * (64 * 1024 - 8) + "\0")
    assert complaint(path).startswith("night.pgn: not a text file")
    monkeypatch.setattr(pgn, "MAX_LINE", 20)
    path.write_text("1. e4 *".ljust(19) + "\n" + "1. d4 *".ljust(20))
    assert len(list(read_games(path))) == 2
    path.write_text("1. e4 *".ljust(19) + "\n" + "1. d4 *".ljust(21))
    assert complaint(path) == "night.pgn, line 2: longer than 20 characters, which no game needs"
    path.write_text("1. e4 *".ljust(20))
    monkeypatch.setattr(pgn, "MAX_BYTES", 20)
    assert len(list(read_games(path))) == 1
    path.write_text("1. e4 *" + " " * (1 << 20))
    assert complaint(path).startswith("night.pgn: 1 MB, and 0 MB is the most")
    assert complaint(Path("night\0.pgn")) != ""


@pytest.mark.parametrize(
    ("player", "sides"),
    [
        ("birch", ("white",)),
        ("QUILL, T", ("black",)),
        ("i", ("white", "black")),
        ("\uff22irch", ("white",)),
        ("Rook", ()),
        ("  ", ()),
    ],
)
def test_sides_of_a_player(player: str, sides: tuple[str, ...]) -> None:
    assert sides_of(read_one(TAGS + "1. e4 *"), player) == sides


@pytest.mark.parametrize(
    ("moves", "clocks"),
    [
        ("1. e4 {[%clk 0:04:59]} e5 { [%clk 1:00:00.5] } *", {0: 299.0, 1: 3600.5}),
        ("1. e4 {quick [%clk 4:59] and good} e5 ; [%clk 58]\n*", {0: 299.0, 1: 58.0}),
        ("1. e4 {over\nlines [%clk 0:04:59]\nand on} e5 *", {0: 299.0}),
        ("1. e4 {over [%clk 0:04:59]\nlines} e5 *", {0: 299.0}),
        ("1. e4 {over\nlines [%clk 0:04:59]} e5 {\n} *", {0: 299.0}),
        ("1. e4 e5 {no clock} {[%clk 0:00:07]} *", {1: 7.0}),
        ("1. e4 (1. d4 {[%clk 0:04:59]}) e5 *", {}),
        ("{[%clk 0:04:59]} 1. e4 e5 *", {}),
        ("1. e4 {[%clk now]} e5 {[%clk 1:2:3:4]} *", {}),
        ("1. e4 {[%clk 1::2]} e5 {[%clk .]} *", {}),
        ("1. e4 {[%clk 0:04:59} e5 {%clk 0:04:59} *", {}),
    ],
)
def test_clocks_of_comments(moves: str, clocks: dict[int, float]) -> None:
    """What `[%clk ...]` says after a move of the main line. Common practice, no source."""
    assert read_one(TAGS + moves).clocks == clocks


@pytest.mark.parametrize(
    ("control", "first_ply", "seconds"),
    [
        # The PGN standard, section 9.6.1: its kinds of field (from memory).
        ("300", 0, 300.0),
        ("4500+60", 0, 4500.0),
        ("40/9000", 0, 9000.0),
        ("*180", 0, 180.0),
        ("40/7200:3600", 0, 7200.0),
        ("?", 0, 295.0),
        ("-", 1, 290.0),
        ("", 1, 290.0),
        ("0", 0, 295.0),
        ("half an hour", 0, 295.0),
    ],
)
def test_time_at_the_start(control: str, first_ply: int, seconds: float) -> None:
    tags = {"TimeControl": control} if control else {}
    assert starting_seconds(tags, {0: 295.0, 1: 290.0, 2: 280.0}, first_ply) == seconds
    assert starting_seconds({}, {2: 280.0}, first_ply) is None


def test_time_left_for_a_move_is_what_the_clock_showed_after_the_one_before() -> None:
    clocks = {0: 295.0, 1: 290.0, 2: 280.0}
    assert [seconds_before(clocks, ply) for ply in (0, 1, 2, 3, 4, 5)] == [
        None,
        None,
        295.0,
        290.0,
        280.0,
        None,
    ]


def test_random_games_read_as_python_chess_reads_them() -> None:
    """Random legal games with comments, variations and NAGs, written by python-chess, read back both ways."""
    chooser = random.Random(7)
    written, expected = [], []
    for _ in range(30):
        node: chess.pgn.GameNode = (game := chess.pgn.Game())
        board = game.board()
        for _ in range(chooser.randrange(1, 60)):
            legal = list(board.legal_moves)
            if not legal:
                break
            move = chooser.choice(legal)
            main = node.add_variation(move, comment=chooser.choice(["", "a (b) [c] ; d", "1-0 e4"]))
            if chooser.random() < 0.2:
                node.add_variation(chooser.choice(legal)).nags.add(3)
            node = main
            board.push(move)
        written.append(str(game))
        expected.append(list(board.move_stack))
    found = [list(game.moves) for game in read("\n\n".join(written)) if isinstance(game, Game)]
    assert found == expected
    assert sum(map(len, found)) > 500


@given(st.text(alphabet='[]{}()"%;\\ \n*01-.eEdNfQgh45xO=+#vt', max_size=200))
def test_no_text_makes_the_reader_stumble(text: str) -> None:
    result = read('[Event "Saltmarsh"]\n' + text)
    assert [game.number for game in result] == list(range(1, len(result) + 1)) != []
    for game in result:
        if isinstance(game, Game):
            assert all(board.is_legal(move) for _, board, move in positions(game))
