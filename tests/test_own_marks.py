"""Marks that the first version's `build` wrote: told apart from a coach's own, and taken out on request."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import chess
import pytest
from asked_at_once import judged_by

from decks.cards.cards_file import read_cards
from decks.cards.deck import Deck, new_deck
from decks.cards.deck_check import CheckResult, check_deck
from decks.cards.own_marks import own_marks
from decks.cards.settings import DeckSettings
from decks.cards.verdicts_file import write_verdicts
from decks.commands.check import as_object, as_text
from patterns.engines.effort import Effort
from patterns.engines.scores import MoveVerdict, PositionVerdicts

FEN = "3r2k1/5ppp/8/8/8/8/5PPP/3RR1K1 w - - 0 30"
EPD = chess.Board(FEN).epd()
BUILT = f"""[Event "Saltmarsh club evening (engine self-play)"]
[Site "Saltmarsh"]
[Date "2026.07.09"]
[Round "53.3"]
[White "Glasswort, Priya"]
[Black "Lapwing, Yusuf"]
[Result "1-0"]
[Asks "play"]
[CardId "card-rooks"]
[CardOrigin "Glasswort, Priya-Lapwing, Yusuf, after 29...Rd8"]
[Checked "Stockfish 15.1 depth 18, 2026-11-25"]
[FEN "{FEN}"]
[SetUp "1"]

30. Rxd8# $1 (30. h3 $2 Rxd1 31. Rxd1 h6)
(30. Re8+ $2 Rxe8 31. Kf1 Re2)
1-0
"""
LINES = {"d1d8": (), "h2h3": ("d8d1", "e1d1", "h7h6", "g1h2"), "e1e8": ("d8e8", "g1f1", "e8e2")}


def verdicts(
    second: str = "e1e8", loss: float = 0.4, centipawns: int | None = None, line: str = "d8d1 e1d1 h7h6 g1h2"
) -> PositionVerdicts:
    """Those of the first version: the second best move loses so much. `line`: what follows h3."""
    lines = {**LINES, "h2h3": tuple(line.split())}
    moves = {
        move.uci(): MoveVerdict(0.5, 18, lines.get(move.uci(), ()), centipawns)
        for move in chess.Board(FEN).legal_moves
    }
    moves["d1d8"] = MoveVerdict(1.0, 18, (), centipawns)
    moves[second] = MoveVerdict(1.0 - loss, 18, lines[second], centipawns)
    return PositionVerdicts(EPD, "Stockfish 15.1", "wdl", moves)


def marks(text: str, found: PositionVerdicts) -> list[str]:
    cards, faults = read_cards(text, ("play",), None)
    assert faults == ()
    return [one.move for one in own_marks(text, cards, {found.epd: found})]


KEY, QUIET, CHECK = "30. Rxd8#", "30. h3", "30. Re8+"


def test_the_marks_that_build_wrote_are_its_own() -> None:
    assert marks(BUILT, verdicts()) == [KEY, QUIET, CHECK]


@pytest.mark.parametrize(
    ("old", "new", "own"),
    [
        # A card of a coach, or of a later version.
        ('[CardOrigin "Glasswort, Priya-Lapwing, Yusuf, after 29...Rd8"]\n', "", []),
        ('[Checked "Stockfish 15.1 depth 18, 2026-11-25"]\n', "", []),
        ("[Checked ", '[Chosen "30. h3 was played and loses 0.50"]\n[Checked ', []),
        # Another mark on the key, a second one, or words about it.
        ("# $1", "#!", [QUIET, CHECK]),
        ("# $1", "# $3", [QUIET, CHECK]),
        ("# $1", "# $1 $14", [QUIET, CHECK]),
        ("# $1", "# $1 {Mate.}", [QUIET, CHECK]),
        ("# $1", "#", [QUIET, CHECK]),
        # Words before the key say nothing of its mark.
        ("30. Rxd8#", "{Look at the eighth rank.} 30. Rxd8#", [KEY, QUIET, CHECK]),
        # Another variation than the refutation.
        ("h3 $2", "h3?", [KEY, CHECK]),
        ("h3 $2", "h3 $4", [KEY, CHECK]),
        ("h3 $2", "h3 $2 {Too slow.}", [KEY, CHECK]),
        ("31. Rxd1 h6)", "31. Rxd1 h5)", [KEY, CHECK]),
        ("31. Rxd1 h6)", "31. Rxd1)", [KEY, CHECK]),
        ("h3 $2 Rxd1", "h3 $2 Rxd1 $1", [KEY, CHECK]),
        (" Rxd1 31. Rxd1 h6)", ")", [KEY, CHECK]),
    ],
)
def test_what_a_coach_may_have_written_is_left(old: str, new: str, own: list[str]) -> None:
    assert old in BUILT
    assert marks(BUILT.replace(old, new), verdicts()) == own


@pytest.mark.parametrize(
    ("found", "own"),
    [
        (verdicts(loss=0.06), [KEY, QUIET, CHECK]),
        (verdicts(loss=0.05), [QUIET, CHECK]),
        (verdicts(centipawns=500), []),
        (verdicts(line="d8d1 e1d1 h7h5 g1h2"), [KEY, CHECK]),
    ],
)
def test_only_what_the_stored_verdicts_made_build_write_is_its_own(
    found: PositionVerdicts, own: list[str]
) -> None:
    assert marks(BUILT, found) == own


def test_a_variation_later_in_the_line_is_the_coachs() -> None:
    fen = "6k1/5ppp/8/8/8/8/5PPP/R5K1 b - - 0 1"
    text = BUILT.replace(FEN, fen)
    text = text[: text.index("30.")] + "1... h6 2. Ra8+ Kh7 (2... Kh7 $2 3. Kf1 g6) 1-0\n"
    board = chess.Board(fen)
    moves = {move.uci(): MoveVerdict(0.5, 18, ()) for move in board.legal_moves}
    assert marks(text, PositionVerdicts(board.epd(), "Stockfish 15.1", "wdl", moves)) == []


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    new_deck(tmp_path / "deck", DeckSettings("7c3a51f0-2f0f-4c53-8d55-6a4f6a4f1b11", "Back ranks"))
    (tmp_path / "deck" / "cards.pgn").write_text(BUILT)
    (tmp_path / "deck" / "verdicts.jsonl").write_text(write_verdicts([verdicts()]))
    return tmp_path / "deck"


class AnotherJudge:
    """Finds 30. Re8+ as good as the key, unless it fails altogether."""

    fails = False

    def judge(self, board: chess.Board, effort: Effort | None = None) -> PositionVerdicts:
        if self.fails:
            raise KeyboardInterrupt
        return verdicts(loss=0.0, centipawns=300)


def check(folder: Path, judge: AnotherJudge, *, again: bool = True) -> CheckResult:
    return check_deck(folder, None, judged_by(judge), date(2027, 1, 5), again=again)


def test_a_check_takes_them_out_and_a_good_move_is_no_longer_refused(folder: Path) -> None:
    assert Deck.open(folder).cards[0].marks == {0: {"d1d8": True, "h2h3": False, "e1e8": False}}
    assert check(folder, AnotherJudge(), again=False).removed == ()
    result = check(folder, AnotherJudge())
    assert [str(one) for one in result.removed] == [
        f"cards.pgn line {line}, card card-rooks: the mark of {move} was the program's own"
        for line, move in ((15, KEY), (15, QUIET), (16, CHECK))
    ]
    says = "removed: cards.pgn line 15, card card-rooks: the mark of 30. Rxd8# was the program's own"
    assert says in as_text(result, "Stockfish 15.1")
    assert len(as_object(result, "Stockfish 15.1")["removed"]) == 3  # type: ignore[arg-type]
    assert "cards.pgn" in result.written and not any("coach" in str(note) for note in result.notes)
    deck = Deck.open(folder)
    assert deck.cards[0].marks == {}
    text = (folder / "cards.pgn").read_text()
    assert text.endswith("30. Rxd8# (30. h3 Rxd1 31. Rxd1 h6)\n(30. Re8+ Rxe8 31. Kf1 Re2)\n1-0\n")
    assert check(folder, AnotherJudge()).removed == ()


@pytest.mark.parametrize(
    ("key", "old", "new", "becomes"),
    [
        ("white 2", "", "", "white 3"),
        ("white 1", "", "", "white 1"),  # two strengths away: the coach's own
        ("white 2", '[CardOrigin "Glasswort, Priya-Lapwing, Yusuf, after 29...Rd8"]\n', "", "white 2"),
        ("white 2", '[Checked "Stockfish 15.1 depth 18, 2026-11-25"]\n', "", "white 2"),
    ],
)
def test_the_verdict_that_build_has_set_follows_the_search(
    folder: Path, key: str, old: str, new: str, becomes: str
) -> None:
    text = BUILT.replace(old, new).replace("[FEN", f'[Factors "verdict={key}"]\n[FEN')
    (folder / "cards.pgn").write_text(text)
    added = check(folder, AnotherJudge()).added
    assert str(Deck.open(folder).cards[0].factors["verdict"]) == becomes
    said = [] if key == becomes else ["its verdict is white 3 instead of white 2, by the search"]
    assert [one.message for one in added] == said


def test_a_verdict_beside_verdicts_of_a_later_version_is_the_coachs(folder: Path) -> None:
    (folder / "cards.pgn").write_text(BUILT.replace("[FEN", '[Factors "verdict=white 2"]\n[FEN'))
    (folder / "verdicts.jsonl").write_text(write_verdicts([verdicts(centipawns=500)]))
    assert check(folder, AnotherJudge()).added == ()
    (folder / "verdicts.jsonl").unlink()
    assert check(folder, AnotherJudge()).added == ()


def test_they_are_taken_out_before_an_interruption_can_make_them_look_like_a_coachs(folder: Path) -> None:
    judge = AnotherJudge()
    judge.fails = True
    with pytest.raises(KeyboardInterrupt):
        check(folder, judge)
    assert Deck.open(folder).cards[0].marks == {}
    assert "$" not in (folder / "cards.pgn").read_text()


def test_a_mark_at_the_beginning_of_a_text_line_leaves_no_empty_one(folder: Path) -> None:
    cards = folder / "cards.pgn"
    cards.write_text(
        BUILT.replace("# $1", "#\n$1").replace("+ $2", "+\n$2\n").replace("\n", "\r\n"), newline=""
    )
    check(folder, AnotherJudge())
    assert cards.read_bytes().partition(b"\r\n\r\n")[2] == (
        b"30. Rxd8#\r\n(30. h3 Rxd1 31. Rxd1 h6)\r\n(30. Re8+\r\n Rxe8 31. Kf1 Re2)\r\n1-0\r\n"
    )
