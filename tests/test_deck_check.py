"""Checking a deck: what it says of keys, what it writes, and that faults keep it from writing anything."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path

import chess
import pytest
from asked_at_once import Judging, judged_by
from made_verdicts import TWO_TO_TAKE, verdicts

from decks.cards.cards_file import CardEntry
from decks.cards.deck import Deck, add_cards, new_deck
from decks.cards.deck_check import CheckResult, check_deck
from decks.cards.faults import DeckError
from decks.cards.key_notes import move_notes
from decks.cards.movetext import Variation
from decks.cards.settings import DeckSettings
from decks.tasks.card import Card, Goal
from patterns.engines.effort import Effort, Round, Search
from patterns.engines.judging import EngineCommand, Judge
from patterns.engines.scores import MoveVerdict, PositionVerdicts
from patterns.words.verdicts import Verdict

DECK_ID = "7c3a51f0-2f0f-4c53-8d55-6a4f6a4f1b11"
ROOKS = "3r2k1/5ppp/8/8/8/8/5PPP/3RR1K1 w - - 0 30"
"""Two rooks against one: 30. Rxd8# is mate on the back rank, and 30. Re8+ mates a move later."""

QUICK = Effort((Search((Round(4), Round(6))),))

TODAY = date(2026, 11, 25)
LATER = date(2027, 1, 5)


class ScriptedJudge:
    """Judges by a table of losses (by UCI move; others lose `otherwise`), and remembers what it was asked."""

    def __init__(
        self,
        losses: Mapping[str, float],
        otherwise: float = 0.4,
        engine: str = "Stockfish 15.1",
        depth: int = 16,
    ) -> None:
        self.losses, self.otherwise, self.engine, self.depth = losses, otherwise, engine, depth
        self.asked: list[str] = []

    def judge(self, board: chess.Board, effort: Effort | None = None) -> PositionVerdicts:
        self.asked.append(board.epd())
        scores = {move.uci(): 0.9 - self.losses.get(move.uci(), self.otherwise) for move in board.legal_moves}
        ranked = sorted(scores, key=lambda move: -scores[move])
        moves = {move: MoveVerdict(scores[move], self.depth, ()) for move in ranked}
        return PositionVerdicts(board.epd(), self.engine, "wdl", moves, True)


SOUND = {"d1d8": 0.0, "e1e8": 0.02}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A deck without cards."""
    folder = tmp_path / "deck"
    new_deck(folder, DeckSettings(DECK_ID, "Back ranks"))
    return folder


def put(folder: Path, line: tuple[str, ...] = ("d1d8",), **more: object) -> None:
    """Add a card asking for `line`; `variations` and `nags` go beside it."""
    beside = {name: more.pop(name) for name in ("variations", "nags") if name in more}
    card = Card(**{"card_id": "sm-001", "fen": ROOKS, "asks": ("play",), "line": line, **more})  # type: ignore[arg-type]
    add_cards(folder, [CardEntry(card, **beside)])  # type: ignore[arg-type]


def check(
    folder: Path, judge: Judging | None = None, today: date = TODAY, *, again: bool = False
) -> CheckResult:
    return check_deck(folder, {"back-rank"}, judged_by(judge) if judge else None, today, again=again)


def bytes_of(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


# What it derives and writes


def test_a_judge_fills_in_what_is_missing_and_a_second_check_changes_nothing(folder: Path) -> None:
    put(folder)
    judge = ScriptedJudge(SOUND)
    steps: list[tuple[int, int]] = []
    first = check_deck(folder, None, judged_by(judge), TODAY, progress=lambda *step: steps.append(step))
    epd = chess.Board(ROOKS).epd()
    assert first == CheckResult((), (), ("cards.pgn", "verdicts.jsonl"), judged=(epd,))
    assert steps == [(0, 1), (1, 1)]
    deck = Deck.open(folder)
    assert deck.cards[0].checked == "Stockfish 15.1 depth 16, 2026-11-25"
    assert deck.verdicts[epd].quality("d1d8") == "holds"
    before = bytes_of(folder)
    assert check(folder, judge, LATER) == CheckResult(())
    assert judge.asked == [epd] and bytes_of(folder) == before


def test_a_recall_of_the_first_version_is_noted_and_the_file_left_alone(folder: Path) -> None:
    put(folder)
    check(folder, ScriptedJudge(SOUND))
    settings = folder / "deck.toml"
    settings.write_text(settings.read_text() + "recall = 0.94\n")
    before = bytes_of(folder)
    (note,) = check(folder, ScriptedJudge(SOUND)).notes
    assert (note.path, note.line) == ("deck.toml", 5)
    assert note.message == 'recall 0.94 is read as "firm": write "light", "usual" or "firm"'
    assert check(folder).notes == (note,)
    assert bytes_of(folder) == before


@pytest.mark.parametrize(
    ("engine", "depth", "checked"),
    [
        ("Stockfish 15.1", 16, "Stockfish 15.1 depth 16, 2026-11-25"),
        ("Stockfish 15.1", 12, "unverified: Stockfish 15.1 depth 12, 2026-11-25"),
        ("sunfish 2026", 6, "unverified: sunfish 2026 depth 6, 2026-11-25"),
        ("Stock\x1b[2J\nfish", 16, "unverified: Stock\ufffd[2J fish depth 16, 2026-11-25"),
    ],
)
def test_checked_says_who_judged_and_how_deep(folder: Path, engine: str, depth: int, checked: str) -> None:
    put(folder)
    check(folder, ScriptedJudge(SOUND, engine=engine, depth=depth))
    assert Deck.open(folder).cards[0].checked == checked


def test_checked_names_the_weakest_position(folder: Path) -> None:
    put(folder, ("f2f3", "d8d1", "e1d1"))
    check(folder, ScriptedJudge({}, depth=20))
    path = folder / "verdicts.jsonl"
    first, second = path.read_text().splitlines()
    path.write_text(f"{first}\n{second.replace('20', '9')}\n")
    check(folder, ScriptedJudge({}), LATER)
    assert Deck.open(folder).cards[0].checked == "unverified: Stockfish 15.1 depth 9, 2027-01-05"


def test_every_position_is_judged_again_on_request(folder: Path) -> None:
    put(folder, ("f2f3", "d8d1", "e1d1"))
    weak, strong = ScriptedJudge({}, engine="sunfish 2026", depth=6), ScriptedJudge({}, depth=16)
    assert len(check(folder, weak).unverified) == 1
    kept = check(folder, strong, LATER)
    assert (kept.judged, len(kept.unverified), strong.asked) == ((), 1, [])
    anew = check(folder, strong, LATER, again=True)
    assert (len(anew.judged), anew.unverified) == (2, ())
    assert Deck.open(folder).cards[0].checked == "Stockfish 15.1 depth 16, 2027-01-05"
    assert len(check(folder, strong, LATER, again=True).judged) == 2


def test_another_judging_tells_what_it_changes_and_leaves_the_coachs_text_alone(folder: Path) -> None:
    put(folder, ("e1e8",), variations=(Variation(0, ("h2h3",), (2,)),), comments={1: "Look for mate."})
    put(folder, card_id="sm-002", fen=ROOKS.replace("5PPP", "P4PPP"))
    check(folder, ScriptedJudge(SOUND))
    before = bytes_of(folder)
    same = check(folder, ScriptedJudge(SOUND), again=True)
    assert (len(same.judged), same.changed, bytes_of(folder)) == (2, (), before)
    other = {"d1d8": 0.0, "e1e8": 0.3, "h2h3": 0.1}
    changed = check(folder, ScriptedJudge(other), LATER, again=True).changed
    assert [(one.card, one.path) for one in changed] == [("sm-001", "cards.pgn"), ("sm-002", "cards.pgn")]
    assert changed[0].message == ("the key 30. Re8+ no longer holds: it fails; 30. h3 fails -> slips")
    assert changed[1].message == "30. h3 fails -> slips, 30. Re8+ holds -> fails"
    text = (folder / "cards.pgn").read_text()
    assert text.replace("2027-01-05", "2026-11-25").encode() == before["cards.pgn"]
    assert Deck.open(folder).verdicts[chess.Board(ROOKS).epd()].quality("e1e8") == "fails"


@pytest.mark.parametrize(
    ("key", "chosen", "best", "again", "becomes"),
    [
        ("white 2", "open file", 0.9, True, "white 3"),
        ("white 2", "open file", 0.9, False, "white 2"),
        ("white 2", "", 0.9, True, "white 2"),
        ("white 1", "open file", 0.9, True, "white 1"),
        ("black 2", "open file", 0.9, True, "black 2"),
        ("white 3", "open file", 0.84, True, "white 3"),
    ],
    ids=["a strength away", "not judged anew", "not built", "two away", "the other side", "at the border"],
)
def test_a_verdict_that_build_has_set_follows_the_search(
    folder: Path, key: str, chosen: str, best: float, again: bool, becomes: str
) -> None:
    factors = {"space": Verdict.parse("black 1"), "verdict": Verdict.parse(key)}
    put(folder, factors=factors, chosen=chosen)
    judge = ScriptedJudge({"d1d8": 0.9 - best}, otherwise=0.9)
    added = check(folder, judge, again=again).added
    now = Deck.open(folder).cards[0].factors
    assert {factor: str(verdict) for factor, verdict in now.items()} == {
        "space": "black 1",
        "verdict": becomes,
    }
    said = [one.message for one in added]
    assert said == ([] if key == becomes else [f"its verdict is {becomes} instead of {key}, by the search"])


def test_a_position_that_no_longer_settles_is_told(folder: Path) -> None:
    put(folder)
    check(folder, ScriptedJudge(SOUND))

    class Unsure(ScriptedJudge):
        def judge(self, board: chess.Board, effort: Effort | None = None) -> PositionVerdicts:
            return replace(super().judge(board), settled=False)

    (change,) = check(folder, Unsure(SOUND), again=True).changed
    assert change.message.startswith("the position before 30. Rxd8# no longer settles")


def test_a_changed_line_makes_verdicts_stale_and_missing(folder: Path) -> None:
    put(folder, ("f2f3", "d8d1", "e1d1"))
    check(folder, ScriptedJudge({"f2f3": 0.0}))
    path = folder / "cards.pgn"
    text = path.read_text()
    assert "Rxd1 31. Rxd1" in text
    path.write_text(text.replace("Rxd1 31. Rxd1", "Kf8 31. Rxd8#"))
    old = sorted(Deck.open(folder).verdicts)
    result = check(folder)
    assert [note.path for note in result.notes] == ["verdicts.jsonl", "cards.pgn"]
    assert "stale: no card asks for a move in" in result.notes[0].message and result.notes[0].line in (1, 2)
    assert "a position lacks verdicts" in result.notes[1].message
    assert result.written == () and sorted(Deck.open(folder).verdicts) == old
    result = check(folder, ScriptedJudge(SOUND), LATER)
    assert len(result.judged) == len(result.dropped) == 1
    assert sorted(Deck.open(folder).verdicts) == sorted({*old, *result.judged} - {*result.dropped})
    assert Deck.open(folder).cards[0].checked.endswith("2027-01-05")


def test_missing_ids_are_given_without_an_engine_too(folder: Path) -> None:
    put(folder)
    path = folder / "cards.pgn"
    text = path.read_text().replace('[CardId "sm-001"]\n', "")
    twice = (text + "\n" + text.replace("30. Rxd8#", "30.  Rxd8 ; the same")).replace("\n", "\r\n")
    path.write_text(twice, newline="")
    result = check(folder)
    first, second = result.new_ids
    assert second == f"{first}-2" and result.written == ("cards.pgn",)
    assert [card.card_id for card in Deck.open(folder).cards] == [first, second]
    added = [f'\r\n[CardId "{card_id}"]'.encode() for card_id in result.new_ids]
    assert path.read_bytes().replace(added[0], b"").replace(added[1], b"") == twice.encode()
    assert check(folder).new_ids == ()


def test_nothing_is_written_where_there_are_faults(folder: Path) -> None:
    put(folder)
    put(folder, card_id="sm-002")
    path = folder / "cards.pgn"
    path.write_text(path.read_text().replace("sm-002", "sm-001").replace('[Asks "play"]', '[Asks "dance"]'))
    before = bytes_of(folder)
    judge = ScriptedJudge(SOUND)
    result = check(folder, judge)
    assert [fault.message[:11] for fault in result.faults] == ["unknown ask", "unknown ask", "this CardId"]
    assert result.written == () and judge.asked == [] and bytes_of(folder) == before


def test_a_continuation_that_cannot_be_played_is_a_fault(folder: Path) -> None:
    put(folder)
    check(folder, ScriptedJudge(SOUND))
    path = folder / "verdicts.jsonl"
    path.write_text(path.read_text().replace('"line": []', '"line": ["a1a8"]', 1))
    (fault,) = check(folder).faults
    assert fault.path == "verdicts.jsonl" and fault.line == 1 and "'a1a8' is not legal" in fault.message


class Failing(ScriptedJudge):
    """Judges one position, then fails."""

    def judge(self, board: chess.Board, effort: Effort | None = None) -> PositionVerdicts:
        if self.asked:
            raise KeyboardInterrupt
        return super().judge(board)


def test_what_was_judged_before_an_interruption_is_kept(folder: Path) -> None:
    put(folder, ("f2f3", "d8d1", "e1d1"))
    with pytest.raises(KeyboardInterrupt):
        check(folder, Failing({}))
    assert len(Deck.open(folder).verdicts) == 1
    judge = ScriptedJudge({})
    check(folder, judge)
    assert len(judge.asked) == 1 and len(Deck.open(folder).verdicts) == 2


def test_an_edit_made_during_the_check_is_not_overwritten(folder: Path) -> None:
    put(folder)
    path = folder / "cards.pgn"

    class Editing(ScriptedJudge):
        def judge(self, board: chess.Board, effort: Effort | None = None) -> PositionVerdicts:
            path.write_text(path.read_text().replace("Rxd8#", "Rxd8# {Mate.}"))
            return super().judge(board)

    with pytest.raises(DeckError, match="changed while it was checked"):
        check(folder, Editing(SOUND))
    assert "{Mate.}" in path.read_text() and len(Deck.open(folder).verdicts) == 1


# What it says of keys


def notes(folder: Path, judge: Judging) -> list[str]:
    result = check(folder, judge)
    assert all(note.card == "sm-001" and note.path == "cards.pgn" for note in result.notes)
    return [note.message for note in result.notes]


@pytest.mark.parametrize(
    ("loss", "expected"),
    [
        (0.0, []),
        (0.05, []),
        (0.06, ["the key 30. Re8+ slips: it loses .06 against Rxd8#"]),
        (0.23, ["the key 30. Re8+ fails: it loses .23 against Rxd8#"]),
    ],
)
def test_a_key_that_slips_or_fails_is_reported(folder: Path, loss: float, expected: list[str]) -> None:
    put(folder, ("e1e8",))
    assert notes(folder, ScriptedJudge({"d1d8": 0.0, "e1e8": loss})) == expected


def test_every_move_of_the_student_is_compared_with_its_verdict(folder: Path) -> None:
    put(folder, ("f2f3", "d8d1", "g2g4"))
    found = notes(folder, ScriptedJudge({"f2f3": 0.0, "e1d1": 0.0, "g2g4": 0.31}))
    assert found == ["the key 31. g4 fails: it loses .31 against Rxd1"]


def test_nags_that_verdicts_contradict_are_reported(folder: Path) -> None:
    variations = (
        Variation(0, ("e1e8",), (2,)),
        Variation(0, ("h2h3",), (3,)),
        Variation(0, ("g2g3",), (4,)),
        Variation(0, ("h2h4",), (1, 5)),
    )
    put(folder, variations=variations, nags={1: (4,)})
    losses = {"d1d8": 0.0, "e1e8": 0.02, "h2h3": 0.3, "g2g3": 0.3, "h2h4": 0.1}
    assert notes(folder, ScriptedJudge(losses)) == [
        "the coach's mark refuses the key 30. Rxd8#: only h4 and h3 are right",
        "the coach marks 30. Rxd8# with ??, but it holds: it loses nothing",
        "the coach marks 30. Re8+ with ?, but it holds: it loses .02 against Rxd8#",
        "the coach marks 30. h3 with !!, but it fails: it loses .30 against Rxd8#",
        "the coach marks 30. h4 with !, but it slips: it loses .10 against Rxd8#",
    ]


def test_a_key_that_the_coach_accepts_is_not_refuted(folder: Path) -> None:
    put(folder, ("h2h3",), nags={1: (1,)})
    result = check(folder, ScriptedJudge(SOUND))
    assert [note.message for note in result.notes] == [
        "the coach marks 30. h3 with !, but it fails: it loses .40 against Rxd8#"
    ]
    assert result.refuted == ()


@pytest.mark.parametrize(
    ("losses", "marked", "right"),
    [
        ({"d1d8": 0.0}, {}, "no answer is right"),
        (SOUND, {}, "only Re8+ is right"),
        (SOUND, {"e1e8": 2}, "no answer is right"),
        ({"d1d8": 0.0}, {"h2h3": 3}, "only h3 is right"),
        (
            {"d1d8": 0.0, **dict.fromkeys(("e1e8", "d1d7", "d1d6", "d1d5", "d1d4"), 0.01)},
            {},
            "only Re8+, Rd7, Rd6 and 2 other moves are right",
        ),
    ],
)
def test_a_key_that_the_coach_refuses_is_noted_with_what_is_right(
    folder: Path, losses: Mapping[str, float], marked: Mapping[str, int], right: str
) -> None:
    variations = tuple(Variation(0, (move,), (nag,)) for move, nag in marked.items())
    put(folder, nags={1: (2,)}, variations=variations)
    said = notes(folder, ScriptedJudge(losses))
    assert f"the coach's mark refuses the key 30. Rxd8#: {right}" in said


@pytest.mark.parametrize(
    ("losses", "expected"),
    [
        (SOUND, ["the coach marks 30. Rxd8# as the only move, but Re8+ holds too"]),
        ({"d1d8": 0.0}, []),
        (
            {"e1e8": 0.0, "d1d8": 0.1},
            ["the coach marks 30. Rxd8# with $7, but it slips: it loses .10 against Re8+"],
        ),
    ],
)
def test_an_only_move_is_compared_with_the_others(
    folder: Path, losses: Mapping[str, float], expected: list[str]
) -> None:
    put(folder, nags={1: (7,)})
    assert notes(folder, ScriptedJudge(losses)) == expected


class Unsettled(ScriptedJudge):
    """Measures centipawns, and settles nothing after White's first move."""

    def judge(self, board: chess.Board, effort: Effort | None = None) -> PositionVerdicts:
        found = super().judge(board, effort)
        moves = {move: replace(one, centipawns=0) for move, one in found.moves.items()}
        return replace(found, moves=moves, settled=len(self.asked) == 1)


def test_a_position_that_does_not_settle_is_noted(folder: Path) -> None:
    put(folder, ("f2f3", "d8d1", "e1d1"))
    assert notes(folder, Unsettled({"f2f3": 0.0, "e1d1": 0.0})) == [
        "before 31. Rxd1, the engine is not sure which moves hold"
    ]


@pytest.mark.parametrize(
    ("goal", "best", "expected"),
    [
        ("win", 0.9, []),
        ("improve", 0.9, []),
        ("win-material", 0.9, ["the goal is win-material, but the engine finds win"]),
        ("mate", 0.9, ["the goal is mate, but the engine finds win"]),
        ("draw", 0.9, ["the goal is draw, but the engine finds win"]),
        ("draw", 0.5, []),
        ("win", 0.3, ["the goal is win, but White stands worse after 30. f3 too"]),
    ],
)
def test_a_goal_that_the_engine_does_not_reach_is_noted(
    folder: Path, goal: Goal, best: float, expected: list[str]
) -> None:
    put(folder, ("f2f3",), goal=goal)
    loss = 0.9 - best
    assert notes(folder, ScriptedJudge({"f2f3": loss}, otherwise=loss + 0.2)) == expected


@pytest.mark.parametrize(
    ("line", "score", "noted"),
    [
        ("Rd7 h3", 0.90, False),
        ("Rd7 h3", 0.80, False),
        ("h6 h3", 0.90, True),
        ("Rd7 h3", 0.60, True),
    ],
)
def test_a_pawn_is_material_too_where_it_wins_the_game(line: str, score: float, noted: bool) -> None:
    board = chess.Board(TWO_TO_TAKE)
    found = verdicts(board, {"Nxf5": (score, line)}, 0.3)
    card = Card("goals", TWO_TO_TAKE, ("play",), line=("e3f5",), goal="win-material")
    told = [note for note in move_notes(CardEntry(card), {found.epd: found}) if note.startswith("the goal")]
    assert bool(told) is noted


def test_replies_are_not_graded(folder: Path) -> None:
    put(folder, ("f2f3", "d8d1", "e1d1"), variations=(Variation(1, ("g8f8",), (3,)),), nags={2: (4,)})
    assert notes(folder, ScriptedJudge({"f2f3": 0.0, "e1d1": 0.0})) == []


def test_a_card_with_nothing_to_find_is_reported(folder: Path) -> None:
    put(folder)
    assert notes(folder, ScriptedJudge({}, otherwise=0.03)) == ["every move holds: nothing to find"]


def test_a_forced_move_is_nothing_to_find(folder: Path) -> None:
    put(folder, ("g1f2",), fen="6k1/8/8/8/8/8/6PP/r5K1 w - - 0 1")
    (note,) = notes(folder, ScriptedJudge({}))
    assert note == "there is only one legal move: nothing to find"


def test_a_card_that_asks_for_no_move_is_not_judged(folder: Path) -> None:
    put(folder, (), asks=("assess",))
    judge = ScriptedJudge({})
    assert check(folder, judge) == CheckResult(()) and judge.asked == []


def test_factor_keys_far_from_the_computed_ones_are_noted(folder: Path) -> None:
    factors = {
        "material": Verdict("white", 2),
        "space": Verdict("white", 1),
        "verdict": Verdict("white", 3),
    }
    put(folder, (), asks=("assess",), factors=factors)

    def assess(board: chess.Board) -> dict[str, Verdict]:
        assert board.fen() == ROOKS
        return {"material": Verdict("level", 0), "space": Verdict("level", 0), "verdict": Verdict("black", 1)}

    result = check_deck(folder, None, None, TODAY, assess=assess)
    assert [note.message for note in result.notes] == [
        "the coach's key for material is white 2, computed: level; the coach's key counts",
        "the coach's key for verdict is white 3, computed: black 1; the coach's key counts",
    ]


def test_a_real_engine_confirms_the_mate(folder: Path, stockfish: str) -> None:
    put(folder, variations=(Variation(0, ("e1e3", "d8d1"), (3,)),))
    with Judge.open(EngineCommand((stockfish,), "test")) as judge:
        result = check_deck(folder, None, judged_by(judge), TODAY, effort=QUICK)
        assert result.faults == () and len(result.judged) == 1
        assert [note.message for note in result.notes] == [
            "in the position, the engine is not sure which moves hold",
            "the coach marks 30. Re3 with !!, but it fails: it loses 1.00 against Rxd8#",
        ]
        deck = Deck.open(folder)
        found = deck.verdicts[chess.Board(ROOKS).epd()]
        assert found.best == "d1d8" and found.moves["e1e3"].line[0] == "d8d1"
        assert deck.cards[0].checked == f"unverified: {judge.name} depth 4, 2026-11-25"
        before = bytes_of(folder)
        assert check_deck(folder, None, judged_by(judge), LATER).judged == () and bytes_of(folder) == before


def test_a_card_with_only_a_fen_gets_the_tag_that_says_so(folder: Path) -> None:
    put(folder)
    cards = folder / "cards.pgn"
    whole = cards.read_text()
    cards.write_text(whole.replace('[SetUp "1"]\n', ""))
    result = check(folder)
    assert result.written == ("cards.pgn",)
    assert [(fault.card, fault.message) for fault in result.added] == [
        ("sm-001", 'the tag SetUp "1", which a FEN needs')
    ]
    assert sorted(cards.read_text().splitlines()) == sorted(whole.splitlines())
    assert check(folder).added == ()
