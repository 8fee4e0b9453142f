"""Defences: other replies that a `play` card asks the student to meet, one after the other."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import chess
import pytest
from click.testing import CliRunner
from made_tasks import task as made
from terminal import ENTER, TAB, Terminal
from test_plain import Conversation
from test_screen import grades, session

from decks.asks.ask import Answer
from decks.asks.catalogue import ASKS, moves_judged
from decks.asks.play import PlayAnswer
from decks.asks.play_mark import PlayMark
from decks.cards.cards_file import CardEntry
from decks.cards.deck import add_cards, new_deck
from decks.cards.deck_check import check_deck
from decks.cards.movetext import Variation
from decks.cards.settings import DeckSettings, new_deck_id
from decks.cli import cli
from decks.memory.answers import Settled
from decks.review.messages import Enter
from decks.review.playback import lines_to_show
from decks.review.rulings import SettledMoves
from decks.scorebook.book import Scorebook
from decks.tasks.card import Card, Defence
from decks.tasks.defences import what_it_fails_to
from decks.tasks.task import Ruling, Task
from decks.telling.verdicts_told import verdict_lines
from patterns.engines.scores import MoveVerdict, PositionVerdicts

TWO_ROOKS = "3k4/8/1R6/8/7p/8/8/R5K1 w - - 0 40"
"""After 40. Ra7, 40... Ke8 and 40... h3 allow a mate on b8; 40... Kc8 only one a move later."""

TO_C8 = Defence(1, ("d8c8", "a7h7", "c8d8", "b6b8"))
PUSHES = Defence(1, ("h4h3", "b6b8"))
CARD = Card("two-rooks", TWO_ROOKS, ("play",), line=("a1a7", "d8e8", "b6b8"), defences=(TO_C8, PUSHES))

LINE = "40. Ra7 and 41. Rb8#: that is the line."
C8_TOLD = "40... Kc8 fails to 41. Rh7: White mates in two."
FOUND = "You found 40. Ra7 and 41. Rb8#."
KD8, KE8 = (
    "after 41... Kd8 White is still much better and comes out with two rooks for a pawn",
    "after 41... Ke8 White is worse",
)
H3_TOLD = "40... h3 fails to 41. Rb8#: White mates."


def two_rooks(card: Card = CARD) -> Task:
    """A task of the card, in which 41. Rg7 meets 40... Kc8 as well, and 41. Rb1 slips there."""
    task = made(card, "play")
    after_c8 = next(key.board.epd() for key in card.moves_asked() if key.move == "a7h7")
    found = task.verdicts[after_c8]
    better = {
        **{move: MoveVerdict(1.0, 12, ("c8d8", "b6b8"), mate=2) for move in ("a7h7", "a7g7")},
        "b6b1": MoveVerdict(0.88, 12, ("c8d8",)),
    }
    return replace(
        task, verdicts={**task.verdicts, after_c8: replace(found, moves={**found.moves, **better})}
    )


def answered(*moves: str, task: Task | None = None) -> tuple[PlayAnswer, bool]:
    """The answer after these moves, and whether it was handed in with the last of them, not before."""
    answer, over = PlayAnswer(task or two_rooks()), False
    for move in moves:
        assert not over
        reaction = answer.react(Enter(1.0, move))
        assert isinstance(reaction.answer, PlayAnswer)
        answer, over = reaction.answer, reaction.handed_in
    return answer, over


def mark_of(*moves: str, task: Task | None = None) -> PlayMark:
    answer, over = answered(*moves, task=task)
    assert over
    return answer.marked()


def test_the_defences_are_asked_one_after_the_other_once_the_line_is_found() -> None:
    asked = []
    for moves in (["Ra7"], ["Ra7", "Rb8"], ["Ra7", "Rb8", "Rh7"]):
        answer, over = answered(*moves)
        assert not over
        asked.append((answer.question, answer.board.fen().split()[0], answer.played))
    assert asked == [
        ("White to move. And now?", "4k3/R7/1R6/8/7p/8/8/6K1", ("a1a7", "d8e8")),
        (
            "That is the line. And if Black plays 40... Kc8? White to move.",
            "2k5/R7/1R6/8/7p/8/8/6K1",
            ("a1a7", "d8c8"),
        ),
        (
            "And if Black plays 40... h3? White to move.",
            "3k4/R7/1R6/8/8/7p/8/6K1",
            ("a1a7", "h4h3"),
        ),
    ]
    assert answered("Ra7", "Rb8", "Rh7", "Rb8")[1], "after the last defence the answer is handed in"


@pytest.mark.parametrize(
    ("moves", "score", "reason"),
    [
        (("Ra7", "Rb8", "Rh7", "Rb8"), 1.0, f"{LINE} {C8_TOLD} {H3_TOLD}"),
        (("Ra7", "Rb8", "Rg7", "Rb8"), 1.0, f"{LINE} {C8_TOLD.replace('Rh7', 'Rg7')} {H3_TOLD}"),
        (
            ("Ra7", "Rb8", "Rb1"),
            0.65,
            f"{FOUND} Against 40... Kc8, 41. Rb1 slips: {KD8}; 41. Rh7 mates in two. {H3_TOLD}",
        ),
        (
            ("Ra7", "Rb8", "Rh7", "Kf2"),
            0.0,
            f"{FOUND} Against 40... h3, 41. Kf2 fails: {KE8}; 41. Rb8# mates. {C8_TOLD}",
        ),
        (("Ra7", "Kf2"), 0.0, "You found 40. Ra7. 41. Kf2 fails: after 41... Kf8 White is worse;"),
        (("Kf2",), 0.0, "40. Kf2 fails: after 40... Ke8 White is worse; 40. Ra7 mates in two."),
    ],
)
def test_a_failure_in_a_defence_counts_like_one_on_a_later_move(
    moves: tuple[str, ...], score: float, reason: str
) -> None:
    mark, task = mark_of(*moves), two_rooks()
    assert mark.score == score
    told = mark.reason(task)
    assert told.startswith(reason)
    assert ("fails to" in told) == ("fails to" in reason), "no defence is told before the line is found"


def test_another_move_that_holds_in_the_line_ends_the_card_without_defences() -> None:
    task = two_rooks()
    first = task.verdicts[task.card.board.epd()]
    moves = {**first.moves, "a1a8": replace(first.moves["a1a7"], score=0.99)}
    task = replace(task, verdicts={**task.verdicts, first.epd: replace(first, moves=moves)})
    mark = mark_of("Ra8", task=task)
    assert mark.score == 1.0
    assert mark.reason(task) == "40. Ra8+ isn't in the card's line, but it holds as well; the card ends here."


def test_what_a_defence_fails_to_is_told_as_soon_as_it_is_met() -> None:
    notices = {"Ra7": "", "Rb8": "", "Rg7": C8_TOLD.replace("Rh7", "Rg7"), "Kf2": ""}
    answer: Answer = PlayAnswer(two_rooks())
    for move, told in notices.items():
        reaction = answer.react(Enter(1.0, move))
        assert reaction.notice == told
        answer = reaction.answer


@pytest.mark.parametrize(
    ("score", "line", "told"),
    [
        (1.0, ("c8d8", "b6b8"), "40... Kc8 fails to 41. Rh7: White mates in two."),
        (0.95, ("h4h3", "h7h3"), "40... Kc8 fails to 41. Rh7: White wins a pawn."),
        (0.95, (), "40... Kc8 is met by 41. Rh7 (threatens Rxh4): White is winning."),
        (0.5, (), "40... Kc8 is met by 41. Rh7 (threatens Rxh4): the game is level."),
    ],
)
def test_what_is_said_of_a_defence(score: float, line: tuple[str, ...], told: str) -> None:
    key = replace(CARD.moves_asked()[2], line=("a7h7",))
    moves = {move.uci(): MoveVerdict(0.1, 12, ()) for move in key.board.legal_moves}
    moves["a7h7"] = MoveVerdict(score, 12, line)
    found = PositionVerdicts(key.board.epd(), "Stockfish 15.1", "wdl", moves)
    assert what_it_fails_to(CARD, key, "a7h7", found) == told


def test_the_lines_to_play_through_are_the_own_one_the_cards_and_its_defences() -> None:
    talk = Conversation([two_rooks()], "Ra7", "Rb8", "Rb1", "")
    (attempt,) = talk.state.done
    assert [(line.title, line.moves[:3], line.own) for line in lines_to_show(attempt)] == [
        ("Why it slips", ("a1a7", "d8c8", "b6b1"), 3),
        ("The line", ("a1a7", "d8e8", "b6b8"), 0),
        ("If 40... Kc8", ("a1a7", "d8c8", "a7h7"), 0),
        ("If 40... h3", ("a1a7", "h4h3", "b6b8"), 0),
    ]


def test_plain_mode_shows_the_board_after_each_defence() -> None:
    talk = Conversation([two_rooks()], "Ra7", "Rb8", "Rh7", "Rb8", "")
    assert talk.grades() == ["found"]
    for told in (LINE, C8_TOLD, H3_TOLD, "If 40... Kc8: 40. Ra7 Kc8 41. Rh7 Kd8 42. Rb8#"):
        assert told in talk.said
    assert talk.said.index("8  . . k . . . . .") < talk.said.index("And if Black plays 40... Kc8?")
    assert (
        talk.said.index(C8_TOLD) < talk.said.index("8  . . . k . . . .\n7  R") < talk.said.index("40... h3?")
    )


def test_on_the_screen_by_keyboard_and_by_mouse() -> None:
    async def typed(terminal: Terminal) -> None:
        for move in ("Ra7", "Rb8", "Rh7"):
            await terminal.enter(move)
        assert C8_TOLD in terminal.text
        assert "And if Black plays 40... h3?" in terminal.text
        await terminal.enter("Rb8")
        await terminal.press(TAB)
        assert "If 40... Kc8  (2 of 3)" in terminal.text
        await terminal.press(ENTER, ENTER)

    async def clicked(terminal: Terminal) -> None:
        for square in ("a1", "a7", "b6", "b8", "a7", "h7", "b6", "b8"):
            await terminal.click_square(square)
        await terminal.press(ENTER, ENTER)

    assert grades(session([two_rooks()], typed)) == ["found"]
    assert grades(session([two_rooks()], clicked)) == ["found"]


def test_a_refused_answer_to_a_defence_can_be_looked_at_again() -> None:
    mark = mark_of("Ra7", "Rb8", "Rb1")
    refused = mark.refused(two_rooks())
    assert refused is not None
    assert (refused.board.epd(), refused.move) == (CARD.moves_asked()[2].board.epd(), "b6b1")
    found = two_rooks().verdicts[refused.board.epd()]
    mended = replace(found, moves={**found.moves, "b6b1": replace(found.moves["a7h7"])})
    assert mark.judged_anew(mended).score == 1.0


def test_the_coachs_mark_on_an_answer_stands() -> None:
    marked = replace(CARD, defences=(replace(TO_C8, marks={"b6b1": True, "a7h7": False}), PUSHES))
    assert mark_of("Ra7", "Rb8", "Rb1", "Rb8", task=two_rooks(marked)).score == 1.0
    assert mark_of("Ra7", "Rb8", "Rh7", task=two_rooks(marked)).reason(two_rooks(marked)) == (
        "You found 40. Ra7 and 41. Rb8#. Against 40... Kc8, 41. Rh7 fails: the coach marks it as a mistake. "
        + H3_TOLD
    )


def test_what_was_decided_on_a_contested_answer_to_a_defence_holds() -> None:
    claim = Settled(
        deck="rooks",
        card_id=CARD.card_id,
        ask="play",
        fen=CARD.fen,
        key_version=CARD.key_version,
        raw='["a1a7", "b6b8", "b6b1"]',
        hints=0,
        claimed="found",
        grade="found",
        reason="accepted by the coach",
        time=datetime(2031, 5, 2, tzinfo=UTC),
    )
    task = two_rooks()
    rulings = SettledMoves([claim]).on("rooks", CARD, task.verdicts)
    assert rulings == {2: {"b6b1": Ruling("holds", "accepted by the coach", date(2031, 5, 2))}}
    assert mark_of("Ra7", "Rb8", "Rb1", "Rb8", task=replace(task, rulings=rulings)).score == 1.0


def test_a_kept_answer_is_read_and_marked_again() -> None:
    raw = json.loads(json.dumps(answered("Ra7", "Rb8", "Rg7", "Rb8")[0].raw()))
    assert raw == ["a1a7", "b6b8", "a7g7", "b6b8"]
    ask = ASKS["play"]
    assert ask.in_words(CARD, raw) == "40. Ra7 Ke8 41. Rb8# (40... Kc8 41. Rg7) (40... h3 41. Rb8#)"
    assert [ask.in_words(CARD, raw[:count]) for count in (0, 1)] == ["no move", "40. Ra7"]
    kept = ask.mark_of_kept(two_rooks(), [*raw[:2], "b6b1"])
    assert kept is not None and kept.score == 0.65
    one_missing = {**two_rooks().verdicts}
    del one_missing[CARD.moves_asked()[2].board.epd()]
    assert ask.mark_of_kept(replace(two_rooks(), verdicts=one_missing), raw) is None


def test_the_page_of_a_card_tells_the_verdicts_after_each_defence() -> None:
    heads = [line for line in verdict_lines(two_rooks()) if line and not line.startswith(" ")]
    assert [head.partition(" (")[0] for head in heads] == [
        "Before 40. Ra7",
        "Before 41. Rb8#",
        "After 40... Kc8, before 41. Rh7",
        "After 40... h3, before 41. Rb8#",
    ]


def deck_of(folder: Path, *variations: Variation, verdicts: Mapping[str, PositionVerdicts]) -> Path:
    """A deck to know by heart, of the card with these variations and with these verdicts."""
    new_deck(folder, DeckSettings(new_deck_id(), "Saltmarsh rooks", by_heart=True))
    add_cards(folder, [CardEntry(replace(CARD, defences=()), variations=variations)], verdicts.values())
    return folder


VARIATIONS = (Variation(1, TO_C8.line), Variation(1, PUSHES.line))


def test_check_wants_verdicts_after_each_defence_and_says_where_its_answer_fails(tmp_path: Path) -> None:
    verdicts = dict(two_rooks().verdicts)
    after_c8, after_h3 = (key.board.epd() for key in CARD.moves_asked()[2:])
    line_only = {epd: one for epd, one in verdicts.items() if epd not in (after_c8, after_h3)}
    lacking = check_deck(deck_of(tmp_path / "1", *VARIATIONS, verdicts=line_only), None, None, date.today())
    assert ["2 positions lack verdicts" in note.message for note in lacking.notes] == [True]
    assert lacking.refuted == ()
    found = verdicts[after_c8]
    failing = MoveVerdict(0.2, 12, ())
    verdicts[after_c8] = replace(found, moves={**found.moves, "a7h7": failing})
    folder = deck_of(tmp_path / "2", *VARIATIONS, verdicts=verdicts)
    refuted = check_deck(folder, None, None, date.today())
    assert refuted.refuted == ("two-rooks",)
    (note,) = (note.message for note in refuted.notes if "fails" in note.message)
    assert note == "the key 41. Rh7 fails: it loses .80 against Rg7"
    accepted = replace(VARIATIONS[0], answer_nags=(1,))
    folder = deck_of(tmp_path / "3", accepted, VARIATIONS[1], verdicts=verdicts)
    accepting = check_deck(folder, None, None, date.today())
    assert accepting.refuted == ()
    assert any("the coach marks 41. Rh7 with !, but it fails" in one.message for one in accepting.notes)


def test_a_mark_on_a_variation_of_the_line_says_nothing_of_a_defence(tmp_path: Path) -> None:
    """A coach's `41. Kf2?` beside the line is not an answer to 40... Kc8, where it may hold."""
    verdicts = dict(two_rooks().verdicts)
    after_c8 = CARD.moves_asked()[2].board.epd()
    found = verdicts[after_c8]
    verdicts[after_c8] = replace(found, moves={**found.moves, "g1f2": found.moves["a7h7"]})
    aside = Variation(2, ("g1f2",), (2,))
    folder = deck_of(tmp_path / "rooks", *VARIATIONS, aside, verdicts=verdicts)
    notes = check_deck(folder, None, None, date.today()).notes
    assert not any("Kf2" in note.message for note in notes)


def test_a_card_without_verdicts_after_its_defence_is_not_asked(tmp_path: Path, own_scorebook: Path) -> None:
    """Also where the line is of one move, which is looked up in a shorter way."""
    card = replace(CARD, to_find=1)
    assert [key.place for key in moves_judged(card)] == [0, 1, 2]
    first = {CARD.board.epd(): two_rooks().verdicts[CARD.board.epd()]}
    for name, variations, answers in (("with", VARIATIONS, 0), ("without", (), 1)):
        folder = tmp_path / name
        new_deck(folder, DeckSettings(new_deck_id(), name, by_heart=True))
        entry = CardEntry(replace(card, defences=(), card_id=name), variations=variations)
        add_cards(folder, [entry], first.values())
        CliRunner().invoke(cli, ["today", "--deck", str(folder), "--minutes", "5"], input="Ra7\n\n")
        with Scorebook.open(own_scorebook) as book:
            assert len(book.answers(book.student())) == answers


WRITTEN = """[Event "Saltmarsh club evening"]
[Site "?"]
[Date "????.??.??"]
[Round "?"]
[White "?"]
[Black "?"]
[Result "*"]
[Asks "play"]
[CardId "two-rooks"]
[FEN "3k4/8/1R6/8/7p/8/8/R5K1 w - - 0 40"]
[SetUp "1"]

40. Ra7 Ke8 (40... Kc8 41. Rh7 Kd8 42. Rb8#) (40... h3 41. Rb8#) 41. Rb8# *
"""


def test_a_deck_written_by_hand_is_checked_and_asked(
    tmp_path: Path, own_scorebook: Path, stockfish: str
) -> None:
    folder = tmp_path / "rooks"
    new_deck(folder, DeckSettings(new_deck_id(), "Saltmarsh rooks", by_heart=True))
    (folder / "cards.pgn").write_text(WRITTEN, encoding="utf-8")
    run = CliRunner().invoke
    checked = run(cli, ["check", str(folder), "--engine", stockfish, "--depth", "8"])
    assert checked.exit_code == 0, checked.output
    judged = {json.loads(line)["epd"] for line in (folder / "verdicts.jsonl").read_text().splitlines()}
    assert judged == {key.board.epd() for key in CARD.moves_asked()}
    assert (folder / "cards.pgn").read_text(encoding="utf-8").endswith(WRITTEN.split("\n\n")[1])
    asked = run(cli, ["today", "--deck", str(folder)], input="Ra7\nRb8\nRh7\nRb8\n\n")
    assert asked.exit_code == 0
    assert f"{LINE} {C8_TOLD.replace('two', 'three')} {H3_TOLD}" in asked.stdout, "h3 comes in between"
    with Scorebook.open(own_scorebook) as book:
        (answer,) = book.answers(book.student())
    assert (answer.grade, json.loads(answer.raw)) == ("found", ["a1a7", "b6b8", "a7h7", "b6b8"])


def test_every_answer_is_a_legal_move_of_its_position() -> None:
    keys = CARD.moves_asked()
    assert [key.place for key in keys] == [0, 1, 2, 3]
    for key in keys:
        assert chess.Move.from_uci(key.move) in key.board.legal_moves
        assert key.ply == len(key.before) and key.line[0] == key.move
