"""`rondeau build`: from a game to a card that can be asked, checked and answered."""

from __future__ import annotations

import re
import shutil
import sqlite3
from pathlib import Path

import chess
import pytest
from click.testing import CliRunner, Result
from scripted_engine import write_engine

from decks.cards.built_file import BUILT_FILE
from decks.cards.deck import Deck
from decks.cli import cli
from decks.scorebook.book import Scorebook
from decks.tasks.lines import board_after
from patterns.catalogue import MOTIFS

GAME = """\
[Event "Saltmarsh club evening (engine self-play)"]
[Site "Saltmarsh"]
[Date "2026.07.30"]
[Round "59.3"]
[White "Marram, Leila"]
[Black "Cordgrass, Mei"]
[Result "1-0"]

1. e4 c5 2. Nf3 e6 3. d4 cxd4 4. Nxd4 Nc6 5. Nc3 Qc7 6. Be3 a6 7. Qd2 Nf6 8. O-O-O b5 9. Bf4 Qb6 10. Nb3 Be7
11. f3 O-O 12. g4 Rd8 13. Qe1 d5 14. g5 Nh5 15. Be3 d4 16. Nxd4 Bc5 17. Nce2 e5 18. c3 b4 19. Nxc6 Bxe3+
20. Kb1 Rxd1+ 21. Qxd1 Qxc6 22. a3 1-0
"""

MATED_ON_THE_BACK_RANK = "r1b3k1/5ppp/p1q5/4p1Pn/1p2P3/2P1bP2/PP2N2P/1K1Q1B1R w - - 0 22"
AFTER_QUEEN_E8 = "r1bQq1k1/5ppp/p7/4p1Pn/1p2P3/2P1bP2/PP2N2P/1K3B1R w - - 2 23"


def run(*arguments: str | Path, stdin: str = "") -> Result:
    return CliRunner().invoke(cli, [str(argument) for argument in arguments], input=stdin)


@pytest.fixture
def game(tmp_path: Path) -> Path:
    path = tmp_path / "games.pgn"
    path.write_text(GAME)
    return path


@pytest.fixture
def engine(tmp_path: Path) -> Path:
    """It sees the mate in the game and that 22. a3 loses, nothing else, and passes for a strong engine."""
    start, before_the_mate = (" ".join(fen.split()[:4]) for fen in (MATED_ON_THE_BACK_RANK, AFTER_QUEEN_E8))
    scores = {start: {"d1d8": 1000, "a2a3": -1000}, before_the_mate: {"d8e8": 1000}}
    lines = {start: {"d1d8": ["c6e8", "d8e8"]}}
    return write_engine(tmp_path, name="Stockfish 15.1", scores=scores, lines=lines)


def test_a_card_is_built_passes_a_check_and_is_answered(
    game: Path, tmp_path: Path, engine: Path, own_scorebook: Path
) -> None:
    folder = tmp_path / "deck"
    options = ["--motif", "back-rank", "--engine", str(engine), "--title", "Ranks"]
    build = ["build", str(folder), "--from", str(game), *options]
    result = run(*build, "--cards", "1")
    assert result.exit_code == 0, result.output
    assert result.stdout.startswith(f"1 card added to {folder}, of ")
    assert "judged by Stockfish" in result.stdout
    deck = Deck.open(folder, set(MOTIFS))
    (card,) = deck.cards
    assert deck.settings.title == "Ranks"
    assert (card.fen, card.line[0]) == (MATED_ON_THE_BACK_RANK, "d1d8")
    assert [str(tag) for tag in card.motifs] == ["back-rank:white"]

    assert run("check", folder, "--engine", engine).stdout == "0 faults, 0 notes\n"
    with Scorebook.open(own_scorebook) as book:
        assert book.decks() == [(deck.settings.deck, "Ranks", str(folder.resolve()))]

    assert run("today", "--deck", folder, stdin="Qd8\nQe8\n\n").exit_code == 0
    with Scorebook.open(own_scorebook) as book:
        assert [(answer.ask, answer.grade) for answer in book.answers(book.student())] == [("play", "found")]

    assert card.chosen == "22. a3 was played and loses 1.00"

    again = run(*build, "--cards", "1")
    assert again.stdout.startswith("0 cards added")
    assert "candidates that became no card:\n" in again.stderr
    assert "  1  the position, or one like it, is known\n" in again.stderr
    assert len(Deck.open(folder).cards) == 1

    other = ["build", str(tmp_path / "other"), *build[2:]]
    assert run(*other).stdout.startswith("0 cards added"), "another deck of the scorebook has the position"

    (folder / "cards.pgn").write_text("")
    assert run(*build).stdout.startswith("0 cards added"), "the coach threw the card out"
    (folder / BUILT_FILE).unlink()
    assert run(*build).stdout.startswith("1 card added"), "and wants it back"


def test_a_motif_that_stands_on_the_board_is_asked_in_the_coachs_words(
    game: Path, tmp_path: Path, engine: Path, own_scorebook: Path
) -> None:
    folder = tmp_path / "deck"
    options = ["--motif", "back-rank", "--ask", "spot", "--engine", str(engine), "--cards", "1"]
    assert run("build", folder, "--from", game, *options).exit_code == 0
    (card,) = Deck.open(folder, set(MOTIFS)).cards
    assert (card.asks, card.own_tags) == (("spot",), {"WeakPoint": "g8: d1"})
    assert run("check", folder, "--engine", engine).stdout == "0 faults, 0 notes\n"
    asked = run("today", "--deck", folder, stdin="g8\nd1\n\n\n").stdout
    assert asked.index("The queen on d1 can go at the king on g8.") < asked.index("Weak back rank, for White")
    with Scorebook.open(own_scorebook) as book:
        assert [(answer.ask, answer.grade) for answer in book.answers(book.student())] == [("spot", "found")]


FORKED = """\
[Event "Saltmarsh club evening (engine self-play)"]
[Date "2026.10.15"]
[White "Cordgrass, Mei"]
[Black "Eelgrass, Noa"]
[Result "1-0"]

1. e4 c5 2. Nf3 d6 3. d4 cxd4 4. Nxd4 Nf6 5. Nc3 a6 6. Be3 e5 7. Nb3 Be6 8. f3 Be7 9. Be2 Nc6 10. Nd5 Bxd5
11. exd5 Nb4 12. Qd2 Nfxd5 13. Bg1 Bg5 14. Qd1 Ne3 15. Bxe3 Bxe3 16. c3 Nc6 17. Qd5 Ba7 18. O-O-O Qg5+
19. f4 Be3+ 20. Kb1 Bxf4 21. Qxd6 Rd8 22. Qc7 Qg6+ 23. Ka1 O-O 24. Qxb7 Qxg2 25. Qxa6 g6 26. Bb5 Ne7
27. Qf6 Qb7 28. a4 Rb8 29. Nc5 Qa8 30. Bc4 Nf5 31. Rhf1 Qa7 1-0
"""


def test_a_natural_defence_is_built_checked_and_has_to_be_met(tmp_path: Path, own_scorebook: Path) -> None:
    """31... Ne3 forks. The engine answers 32. Rxf4; a person may also try 32. Ba2, which 32... Qg2 meets.

    Against 32. Ne6 only a quiet move holds the gain, so what is seen on the board is the outpost.
    """
    before, after_ba2 = (
        "qr3rk1/5p1p/5Qp1/2N1pn2/P1B2b2/2P5/1P5P/K2R1R2 b - -",
        "qr3rk1/5p1p/5Qp1/2N1p3/P4b2/2P1n3/BP5P/K2R1R2 b - -",
    )
    scores = {before: {"f5e3": 600, "a8a7": -600}}
    start = chess.Board(f"{before} 6 31")
    for reply in board_after(start, ["f5e3"]).legal_moves:  # after all others every move wins
        board = board_after(start, ["f5e3", reply.uci()])
        scores[board.epd()] = dict.fromkeys(map(chess.Move.uci, board.legal_moves), 700)
    scores[after_ba2] = {"a8g2": 600}
    lines = {before: {"f5e3": ["f1f4", "e3d1"]}, after_ba2: {"a8g2": ["d1d7"]}}
    engine = write_engine(tmp_path, name="Stockfish 15.1", scores=scores, lines=lines)
    source, folder = tmp_path / "games.pgn", tmp_path / "deck"
    source.write_text(FORKED)
    options = [
        "--motif",
        "fork",
        "--motif",
        "outpost",
        "--ask",
        "play",
        "--engine",
        str(engine),
        "--cards",
        "1",
    ]
    built = run("build", folder, "--from", source, *options)
    assert built.stdout.startswith("1 card added"), built.output
    (card,) = Deck.open(folder, set(MOTIFS)).cards
    assert [(one.ply, one.line[:2]) for one in card.asked_defences] == [(1, ("c4a2", "a8g2"))]
    assert run("check", folder, "--engine", engine).stdout == "0 faults, 0 notes\n"
    asked = run("today", "--deck", folder, stdin="Ne3\nQg2\n\n").stdout
    assert "And if White plays 32. Ba2? Black to move." in asked
    with Scorebook.open(own_scorebook) as book:
        assert [(answer.raw, answer.grade) for answer in book.answers(book.student())] == [
            ('["f5e3", "a8g2"]', "found")
        ]


@pytest.mark.parametrize(
    ("options", "status", "message"),
    [
        (["--motif", "no-such-motif"], 2, "no such motif: no-such-motif (`rondeau motifs` lists them)"),
        (
            ["--motif", "pin", "--motif", "frok"],
            2,
            (
                "no such motif: pin: perhaps 'pin-on-diagonal' or 'pin-on-file' or 'pin-on-rank'?\n"
                "no such motif: frok: perhaps 'fork'? (`rondeau motifs` lists them)"
            ),
        ),
        (
            ["--motif", "coach:"],
            2,
            "'coach:' is not a label: write coach: and a word, such as coach:rook-endings",
        ),
        (["--ask", "count", "--ask", "play"], 2, "--ask count goes with no other --ask and with no --motif"),
        (
            ["--ask", "count", "--motif", "fork"],
            2,
            "--ask count goes with no other --ask and with no --motif",
        ),
        (
            ["--ask", "assess", "--motif", "fork"],
            2,
            "--ask assess goes with no other --ask and with no --motif",
        ),
        (["--cards", "0"], 2, "'--cards'"),
        (["--ask", "root"], 2, "'root' is not one of 'assess', 'spot', 'count', 'play'"),
        (["--engine", "no-such-engine"], 3, "no-such-engine"),
        (["--engine", "true"], 3, "true stopped instead of answering as a UCI engine"),
    ],
)
def test_impossible_requests_are_explained_and_make_no_deck(
    options: list[str], status: int, message: str, game: Path, tmp_path: Path
) -> None:
    result = run("build", tmp_path / "deck", "--from", game, *options)
    assert (result.exit_code, result.stdout) == (status, "")
    assert message in result.stderr
    assert not (tmp_path / "deck").exists()


def test_games_without_a_candidate_make_no_deck_and_unreadable_ones_are_named_and_counted(
    game: Path, tmp_path: Path
) -> None:
    game.write_text(GAME + '[White "Reed\x1b[2J"]\n\n1. Ke2 *\n')
    result = run("build", tmp_path / "deck", "--from", game, "--player", "nobody")
    assert result.exit_code == 1
    first, second, last = result.stderr.splitlines()
    assert first == f"{game}: game 2 (Reed\ufffd[2J - ?), line 12: 1. Ke2: illegal move"
    assert second.startswith("no position of these games is a candidate: ")
    assert last == "1 unreadable game left out"
    assert not (tmp_path / "deck").exists()


def test_a_folder_in_use_is_reported_before_any_work(tmp_path: Path) -> None:
    result = run("build", tmp_path.parent, "--from", tmp_path / "missing.pgn")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == f"Error: {tmp_path.parent}: the folder is not empty: choose another\n"


def test_a_file_in_the_place_of_the_folder_is_named_as_one(game: Path) -> None:
    result = run("build", game, "--from", game)
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == f"Error: {game}: this is a file, not a folder\n"


def test_a_depth_that_is_less_than_the_least_is_told(game: Path, tmp_path: Path, engine: Path) -> None:
    options: list[str | Path] = ["--motif", "back-rank", "--engine", engine, "--cards", "1", "--depth", "2"]
    result = run("build", tmp_path / "deck", "--from", game, *options)
    assert result.exit_code == 0
    assert result.stderr == "--depth 2: 11 is used, because every move is searched to 11 plies\n"


def test_games_that_are_not_there_are_status_1_and_no_deck_is_made(tmp_path: Path) -> None:
    result = run("build", tmp_path / "deck", "--from", tmp_path / "missing.pgn")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr.startswith(f"Error: {tmp_path}/missing.pgn: ")
    assert not (tmp_path / "deck").exists()


def test_games_of_several_files_are_used_together(game: Path, tmp_path: Path, engine: Path) -> None:
    nothing = tmp_path / "nothing.pgn"
    nothing.write_text('[Event "?"]\n\n1. e4 e5 *\n')
    sources: list[str | Path] = ["--from", nothing, "--from", game]
    result = run("build", tmp_path / "deck", *sources, "--motif", "back-rank", "--engine", engine)
    assert result.stdout.startswith("1 card added")


def test_a_second_build_looks_for_nothing_again_and_makes_the_same_deck(
    game: Path, tmp_path: Path, engine: Path, own_scorebook: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "deck"

    def built() -> list[str]:
        """The texts of the deck's files, without its settings and the ids of cards."""
        result = run("build", folder, "--from", game, "--motif", "back-rank", "--engine", engine)
        assert result.stdout.startswith("1 card added")
        files = [folder / name for name in ("cards.pgn", "verdicts.jsonl", BUILT_FILE)]
        texts = [re.sub(r"card-\w+", "", file.read_text()) for file in files]
        shutil.rmtree(folder)
        return texts

    first = built()

    def fails(*_: object) -> object:
        raise AssertionError("it was kept")

    with monkeypatch.context() as patch:
        for function in ("scan", "uses_of_many"):
            patch.setattr(f"decks.build.detector.{function}", fails)
        patch.setattr("patterns.engines.engine_pass.answer", fails)
        assert built() == first
    with sqlite3.connect(own_scorebook) as book:
        book.execute("DELETE FROM detections")
    assert built() == first, "nor does it depend on what is kept"


HANDED_OUT = """\
[Event "Saltmarsh hand-out 3"]
[FEN "2rr2k1/5ppp/8/8/8/8/3R1PPP/3R2K1 w - - 0 24"]

24. Rxd8+ Rxd8 25. Rxd8# *

[Event "Saltmarsh hand-out 4"]
[FEN "4r3/3k4/2nb2n1/1B2p3/8/3N1N2/1B6/4R1K1 w - - 0 1"]

*
"""


def test_a_count_card_is_built_without_an_engine_and_answered(
    game: Path, tmp_path: Path, own_scorebook: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RONDEAU_ENGINE", "no-such-engine")
    folder, handed_out = tmp_path / "deck", tmp_path / "hand-out.pgn"
    handed_out.write_text(HANDED_OUT)
    build: list[str | Path] = ["build", folder, "--from", handed_out, "--ask", "count"]
    assert run(*build, "--title", "Counting").stdout == f"1 card added to {folder}\n"
    deck = Deck.open(folder, set(MOTIFS))
    (card,) = deck.cards
    assert (deck.settings.title, card.asks, card.own_tags) == ("Counting", ("count",), {"Square": "e5"})
    assert run("check", folder, "--engine", "true").stdout == "0 faults, 0 notes\n"
    said = run("today", "--deck", folder, "--plain", stdin="4 3 white\n\n").stdout
    assert "Count: found\n" in said
    assert "The knight on c6 does not count: pinned to its king by the bishop on b5.\n" in said
    with Scorebook.open(own_scorebook) as book:
        (answer,) = book.answers(book.student())
        assert (answer.ask, answer.raw) == ("count", '{"attackers": 4, "defenders": 3, "winner": "white"}')
    again = run(*build)
    assert again.stdout == f"0 cards added to {folder}\n"
    assert again.stderr == "on no square of these games is a naive count wrong: try other games\n"


LEVEL = """\
[Event "Saltmarsh club evening"]
[White "Mudlark, Ines"]
[Black "Samphire, Tomasz"]
[FEN "8/R5bk/3p1n1p/2q2p2/3p1PpN/3P2P1/6QP/4K3 w - - 10 50"]

*
"""
"""Of self-play: White is ahead, Black has the safer king, and it is level."""


def test_a_ballot_is_built_of_a_position_chosen_for_it_checked_and_answered(
    tmp_path: Path, stockfish: str, own_scorebook: Path
) -> None:
    folder, games = tmp_path / "deck", tmp_path / "games.pgn"
    games.write_text(LEVEL)
    options = ["--ask", "assess", "--engine", stockfish, "--cards", "3", "--workers", "1"]
    built = run("build", folder, "--from", games, *options)
    assert built.stdout.startswith(f"1 card added to {folder}, of 1 candidate, judged by Stockfish"), (
        built.output
    )
    (card,) = Deck.open(folder, set(MOTIFS)).cards
    assert (card.asks, str(card.factors["verdict"])) == (("assess",), "level")
    assert card.chosen == "level: material for White, king safety for Black"
    assert run("check", folder, "--engine", stockfish).stdout == "0 faults, 0 notes\n"
    said = run("today", "--deck", folder, "--plain", stdin="w\nb\nb\n=\n\n").stdout
    assert "verdict: level, right" in said
    with Scorebook.open(own_scorebook) as book:
        assert [answer.ask for answer in book.answers(book.student())] == ["assess"]


def test_a_hand_out_is_built_with_a_label_checked_and_answered(
    tmp_path: Path, stockfish: str, own_scorebook: Path
) -> None:
    folder, handed_out = tmp_path / "deck", tmp_path / "hand-out.pgn"
    handed_out.write_text(HANDED_OUT.partition("\n\n[Event")[0])
    options = ["--motif", "coach:rook-endings", "--engine", stockfish]
    built = run("build", folder, "--from", handed_out, *options)
    assert built.stdout.startswith(f"1 card added to {folder}, of 1 candidate, judged by Stockfish"), (
        built.output
    )
    (card,) = Deck.open(folder, set(MOTIFS)).cards
    assert [str(tag) for tag in card.motifs] == ["coach:rook-endings:white"]
    assert card.line == ("d2d8", "c8d8", "d1d8")
    assert run("check", folder, "--engine", stockfish).stdout == "0 faults, 0 notes\n"
    said = run("today", "--deck", folder, "--plain", stdin="Rxd8\nRxd8\n\n").stdout
    assert "Rook endings, for White." in said
    with Scorebook.open(own_scorebook) as book:
        assert [answer.grade for answer in book.answers(book.student())] == ["found"]
    player = run("build", tmp_path / "other", "--from", handed_out, "--player", "Reed", *options)
    assert player.stdout.startswith("0 cards added"), "in a hand-out no player is to move"
