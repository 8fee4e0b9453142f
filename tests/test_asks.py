"""One file adds an ask: a toy ask, defined only here, goes the whole way from a card's tag to the log."""

from __future__ import annotations

import ast
import asyncio
import io
import json
import sys
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path

import chess
import pytest
from made_tasks import DOUBLED_ROOKS, MEMORY, doubled_rooks, in_hand
from terminal import DOWN, ENTER, Terminal, on_screen

from decks.asks import catalogue
from decks.asks.ask import Answer, Ask, Mark, MarkedRow, Reaction, Size
from decks.asks.assess import AssessAnswer
from decks.asks.catalogue import DEFAULT_ASKS, in_order
from decks.build.new_card import suggested_asks
from decks.cards.cards_file import CardEntry, read_cards, write_card
from decks.cards.deck import add_cards, new_deck
from decks.cards.deck_check import check_deck
from decks.cards.settings import DeckSettings, new_deck_id, read_settings, write_settings
from decks.memory.model import Memory
from decks.plain import run_plain
from decks.review import messages as m
from decks.review.messages import Kept, SaveAnswer, SaveContest
from decks.review.session import State, start, update
from decks.scorebook.book import Scorebook
from decks.tasks.card import Card, MotifTag
from decks.tasks.evidence import Marks
from decks.tasks.hints import Hint
from decks.tasks.layout import BLANK, Completion, Key, Layout, MessageAt, Piece
from decks.tasks.lines import ShownLine
from decks.tasks.messages import Enter, Message
from decks.tasks.scoring import above_chance
from decks.tasks.task import Task
from decks.telling.result import result
from decks.telling.shown import board_view, minutes_left
from decks.today import run_today
from patterns.explanation import explain
from patterns.words.verdicts import Verdict

DECKS = Path(__file__).resolve().parent.parent / "decks"
MOMENT = datetime(2031, 5, 2, 19, 0, tzinfo=UTC)
MOST = 9
"""The answer to the toy is one digit."""


# The toy: how many checks are there? Everything about it is defined here.


@dataclass(frozen=True)
class Pick(Message):
    """A click on a number."""

    number: int


def checks_on(board: chess.Board) -> list[chess.Move]:
    return [move for move in board.legal_moves if board.gives_check(move)]


def key(card: Card) -> int:
    """How many checks there are: from the coach's own tag, otherwise counted."""
    return int(card.own_tags.get("Checks", len(checks_on(card.board))))


@dataclass(frozen=True)
class CheckRow(MarkedRow):
    """One of the checks."""

    move: chess.Move

    @property
    def name(self) -> str:
        return self.move.uci()

    def in_words(self) -> str:
        return f"the check {self.name}"

    def reasons(self, task: Task, keeping_secret: bool) -> list[str]:
        return [f"From {chess.square_name(self.move.from_square)} it attacks the king."]

    def marks(self, task: Task, keeping_secret: bool) -> Marks:
        return Marks(actors=frozenset({chess.square_name(self.move.from_square)}))


@dataclass(frozen=True)
class ChecksMark(Mark):
    """What the number earned."""

    number: int
    right: int
    checks: tuple[chess.Move, ...]

    def reason(self, task: Task) -> str:
        return f"You counted {self.number}, there are {self.right}."

    def lines(self, task: Task) -> tuple[ShownLine, ...]:
        return (ShownLine("A check", (self.checks[0].uci(),)),)

    def marks(self, task: Task) -> Marks:
        return Marks(squares=frozenset(chess.square_name(move.to_square) for move in self.checks))

    def rows_to_look_into(self) -> tuple[MarkedRow, ...]:
        return tuple(map(CheckRow, self.checks))

    def rows_title(self) -> str:
        return "The checks, one by one"

    def rows_note(self, task: Task) -> str:
        return "Captures count too."


@dataclass(frozen=True)
class ChecksAnswer(Answer):
    """A number that is typed, clicked or chosen by its key."""

    number: int | None = None

    prompt = "Number of checks: "
    help = ("Write a digit.",)

    @property
    def question(self) -> str:
        return f"{self.to_move} How many checks are there{f', {self.then}' if self.then else ''}?"

    def react(self, message: Message) -> Reaction:
        match message:
            case Pick(number=number):
                return Reaction(replace(self, number=number), handed_in=True)
            case Enter(text=text) if text.isdigit() and len(text) == 1:
                return Reaction(replace(self, number=int(text)), handed_in=True)
            case Enter(text=text):
                return Reaction(self, f"'{text}' is not a digit.")
        return Reaction(self)

    def layout(self) -> Layout:
        choice = tuple(Piece(f"[{number}]", "class:key", pick(number)) for number in range(MOST + 1))
        return Layout((BLANK, choice))

    def keys(self) -> tuple[Key, ...]:
        return (Key("up", "up", "none", pick(0)),)

    def completions(self, typed: str) -> list[Completion]:
        return [Completion(f"{typed}!", typed)] if typed.isdigit() else []

    def commands(self) -> Mapping[str, MessageAt]:
        return {"none": pick(0)}

    def looked_up(self, typed: str) -> list[str] | None:
        return ["A check attacks the king."] if typed == "check" else None

    def hints(self, keeping_secret: bool) -> list[Hint]:
        return [Hint("Look at every rook.")]

    def marked(self) -> ChecksMark:
        assert self.number is not None
        right = key(self.task.card)
        score = above_chance(float(self.number == right), 1 / (MOST + 1))
        return ChecksMark(score, self.number, right, tuple(checks_on(self.board)))

    def raw(self) -> dict[str, int | None]:
        return {"number": self.number}


def pick(number: int) -> MessageAt:
    return lambda at: Pick(at, number)


def lacks(card: Card, tags: Mapping[str, str]) -> str:
    if not checks_on(card.board):
        return "nothing gives check"
    return "" if tags.get("Checks", "0").isdigit() else "its Checks tag is no number"


TOY = Ask(
    id="checks",
    title="checks",
    place=15,
    begin=ChecksAnswer,
    size=Size(seconds=25, parts=1),
    tags=("Checks",),
    lacks=lacks,
    asks_of_a_position=True,
    suggested=lambda explanation, whole: bool(checks_on(explanation.board)),
)

THERE_ARE = len(checks_on(chess.Board(DOUBLED_ROOKS)))


# The proof


@pytest.fixture(autouse=True)
def toy(monkeypatch: pytest.MonkeyPatch) -> None:
    """The catalogue also holds the toy, as if its module were in `decks/asks/`."""
    monkeypatch.setitem(catalogue._BY_ID, TOY.id, TOY)


def toy_card(*asks: str) -> Card:
    return replace(doubled_rooks().card, card_id="checks", asks=asks or (TOY.id,))


def toy_task(*asks: str, usual: Mapping[str, float] | None = None) -> Task:
    asks = asks or (TOY.id,)
    items = {ask: f"card:d/checks/{ask}" for ask in asks}
    return replace(doubled_rooks(*asks), card=toy_card(*asks), items=items, usual_seconds=usual or {})


def keep(effect: Kept) -> Memory:
    return MEMORY


def played(task: Task, *messages: m.Message) -> State:
    state = start([task])
    for message in messages:
        state, effects = update(state, message)
        if effects and isinstance(effects[0], SaveAnswer | SaveContest):
            state, _ = update(state, m.Saved(message.at, MEMORY))
    return state


def test_the_toy_is_new_and_has_its_place_among_the_others() -> None:
    assert 1 <= THERE_ARE <= MOST
    assert TOY.id not in catalogue._declared()
    assert in_order(["root", TOY.id, "play", "spot", "assess"]) == ("assess", TOY.id, "spot", "play", "root")
    assert DEFAULT_ASKS == ("play",)


def test_its_tag_is_written_and_read_in_the_order_of_a_sitting() -> None:
    text = write_card(CardEntry(toy_card("play", TOY.id)))
    assert f'[Asks "play {TOY.id}"]' in text
    (read,), faults = read_cards(text, ("play",), None)
    assert (read.entry.card.asks, faults) == ((TOY.id, "play"), ())
    settings = DeckSettings(new_deck_id(), "Saltmarsh checks", asks=(TOY.id,))
    assert read_settings(write_settings(settings)) == settings


def test_its_own_tag_is_written_read_checked_and_counts_in_the_key() -> None:
    card = replace(toy_card(), own_tags={"Checks": "4"})
    text = write_card(CardEntry(card))
    (read,), _ = read_cards(text, ("play",), None)
    assert read.entry.card.own_tags == {"Checks": "4"}
    assert "Checks" not in read.entry.headers
    assert read.entry.card.key_version != toy_card().key_version
    state = played(replace(toy_task(), card=read.entry.card), Enter(1, "4"))
    assert [given.grade for given in state.done[0].given] == ["found"]
    for odd, message in (
        ('[Checks "many"]', "the card asks checks, but its Checks tag is no number"),
        ('[checks "4"]', "tag checks is misspelt: write Checks"),
    ):
        _, (fault,) = read_cards(text.replace('[Checks "4"]', odd), ("play",), None)
        assert fault.message == message


def test_a_card_that_cannot_carry_it_is_a_fault_and_one_that_can_needs_no_verdicts(tmp_path: Path) -> None:
    quiet = Card("quiet", "4k3/8/8/8/8/8/4P3/4K3 w - - 0 1", (TOY.id,))
    _, (fault,) = read_cards(write_card(CardEntry(quiet)), ("play",), None)
    assert fault.message == "the card asks checks, but nothing gives check"
    folder = tmp_path / "deck"
    new_deck(folder, DeckSettings(new_deck_id(), "Saltmarsh checks"))
    add_cards(folder, [CardEntry(replace(toy_card(), factors={}))])
    checked = check_deck(folder, None, None, date(2031, 5, 2))
    assert (checked.faults, checked.notes, checked.refuted) == ((), (), ())
    add_cards(folder, [CardEntry(replace(toy_card(TOY.id, "play"), card_id="both", factors={}))])
    (note,) = check_deck(folder, None, None, date(2031, 5, 2)).notes
    assert note.message == "2 positions lack verdicts: check the deck with an engine"


def test_a_card_built_from_a_game_asks_it_where_it_suits() -> None:
    quiet = chess.Board("4k3/8/8/8/8/8/4P3/4K3 w - - 0 1")
    for board, asks in ((chess.Board(DOUBLED_ROOKS), (TOY.id, "play")), (quiet, ("play",))):
        assert suggested_asks(board, Verdict("level", 0)) == asks


def test_a_day_counts_its_time() -> None:
    assert minutes_left(start([toy_task()])) == pytest.approx(25 / 60)


def test_a_session_asks_it_and_grades_it() -> None:
    state = played(toy_task(), Enter(1, "many"))
    assert (state.phase, state.notice) == ("answering", "'many' is not a digit.")
    for number, grade in ((THERE_ARE, "found"), (0, "missed")):
        state = played(toy_task(), Pick(5, number))
        assert state.attempt is not None
        (given,) = state.attempt.given
        assert (state.phase, given.ask, given.grade, given.seconds) == ("shown", TOY.id, grade, 5)
        assert json.loads(given.raw) == {"number": number}
        assert [part.text for part in result(state)[:2]] == [
            f"Checks: {grade}",
            f"You counted {number}, there are {THERE_ARE}.",
        ]
    hinted = played(toy_task(), *[m.TakeHint(1)] * 3, Enter(3, str(THERE_ARE)))
    assert [given.grade for given in hinted.done[0].given] == ["helped"]
    fluent = played(replace(toy_task(), fluent_within={TOY.id: 4.5}), Enter(3, str(THERE_ARE)))
    assert [given.grade for given in fluent.done[0].given] == ["fluent"]


def test_it_comes_before_the_move_and_its_line_waits_until_the_move_was_asked_for() -> None:
    task = toy_task(TOY.id, "play")
    assert in_hand(start([task]), ChecksAnswer).question.endswith("are there, then decide?")
    state = played(task, Enter(1, "0"))
    assert state.attempt is not None
    assert (state.phase, state.attempt.ask, state.lines) == ("answering", "play", ())
    assert state.attempt.answer.question == "White to move. Now decide."
    alone = played(replace(task, asks=(TOY.id,)), Enter(1, "0"))
    assert (alone.phase, alone.lines) == ("shown", ())
    state = played(task, Enter(1, "0"), Enter(2, "h3"))
    assert [line.title for line in state.lines] == ["A check", "Your move", "The line"]


def test_its_rows_are_looked_into_with_their_marks() -> None:
    state = played(toy_task(), Enter(1, "0"))
    whole = board_view(state)
    assert whole is not None
    assert whole.marks.squares >= {"d8"}
    state, _ = update(state, m.MoveRow(2, 1))
    view = board_view(state)
    assert view is not None
    assert (state.row, view.marks) == ("d2d8", Marks(actors=frozenset({"d2"})))


def test_while_a_motif_is_to_be_asked_for_it_frees_no_comment() -> None:
    task = toy_task()
    card = replace(task.card, asks=(TOY.id, "spot"), motifs=(MotifTag("back-rank", "white"),))
    shown = "\n".join(part.text for part in result(played(replace(task, card=card), Enter(1, "0"))))
    assert "Coach" not in shown
    assert "is not shown before you have been asked for it" in shown


@pytest.mark.parametrize(
    ("said", "fen", "row", "strength"),
    [
        (
            "two bishops against a bishop and a knight",
            "2b1kn2/ppppp3/8/8/8/8/PPPPP3/2B1KB2 w - - 0 1",
            "material",
            1,
        ),
        ("an extra pawn", "r3k2r/ppp2pp1/8/8/8/8/PPP2PPP/R3K2R w - - 0 1", "material", 2),
        ("an extra knight", "4k3/ppp2ppp/8/8/8/8/PPP2PPP/1N2K3 w - - 0 1", "verdict", 3),
    ],
)
def test_the_examples_of_slight_and_clear_are_what_the_program_makes_of_them(
    said: str, fen: str, row: str, strength: int
) -> None:
    assert any(said in line for line in AssessAnswer.help)
    assessment = explain(chess.Board(fen)).assessment
    verdicts = {each.factor: each.verdict for each in assessment.factors} | {"verdict": assessment.verdict}
    assert verdicts[row] == Verdict("white", strength)


def test_plain_mode_asks_it_in_lines() -> None:
    read, write = io.StringIO(f"?\ncheck\nmany\nhint\nhint\n{THERE_ARE}\n\n"), io.StringIO()
    state = run_plain(start([toy_task()]), keep, lambda: 1.0, read, write)
    assert state.phase == "ended"
    said = write.getvalue()
    for line in (
        "White to move. How many checks are there?\nNumber of checks: ",
        "Write a digit.\n",
        "A check attacks the king.\n",
        "'many' is not a digit.\n",
        "Hint: Look at every rook.\n",
        "Checks: with help\n",
        f"You counted {THERE_ARE}, there are {THERE_ARE}.\n",
        "The checks, one by one\n  the check ",
        "    From d2 it attacks the king.\n",
        "  Captures count too.\n",
        "A check: 24. ",
        "Returns: checks in 3 days (2031-05-05).",
        "1 answer: 1 with help.\n",
        "checks, tier 2: 0 of 1 right\n",
    ):
        assert line in said
    by_command = io.StringIO("none\n\n")
    state = run_plain(start([toy_task()]), keep, lambda: 1.0, by_command, io.StringIO())
    assert [given.raw for given in state.done[0].given] == ['{"number": 0}']


def on_the_screen(script: list[str], *ways_of_answering: str) -> list[Terminal]:
    """The terminals after their sessions have ended. What they drew can still be read."""

    async def run(way: str) -> Terminal:
        async with on_screen([toy_task()], keep) as terminal:
            assert "How many checks" in terminal.text
            assert "Number of checks: " in terminal.text
            assert "up none" in terminal.lines[-2]
            if way == "typed":
                await terminal.press(str(THERE_ARE))
                assert f"{THERE_ARE}!" in terminal.text
                await terminal.press(ENTER)
            elif way == "clicked":
                await terminal.click_text(f"[{THERE_ARE}]")
            else:
                await terminal.press("\x1b[A")
            for words in script:
                assert words in terminal.text
            await terminal.press(DOWN)
            assert ">the check" in terminal.text
            assert "it attacks the king." in terminal.text
            assert "[♖]" in terminal.text
            await terminal.click_text("[back to the result]")
            await terminal.click_text(" the check")
            assert ">the check" in terminal.text
            await terminal.press(ENTER)
            assert "Sheet signed" in terminal.text
            assert "1 card in" in terminal.text
            await terminal.press(ENTER)
            await terminal.end()
        return terminal

    return [asyncio.run(run(way)) for way in ways_of_answering]


def test_the_screen_shows_it_and_takes_its_text_clicks_and_keys() -> None:
    words = ["Checks: ", f"there are {THERE_ARE}.", "A check", "the check", "Captures count too."]
    terminals = on_the_screen(words, "typed", "clicked", "by its key")
    grades = [terminal.state.done[0].given[0].grade for terminal in terminals]
    assert grades == ["found", "found", "missed"]


def test_it_goes_from_a_deck_into_the_log_and_the_closing_page(
    tmp_path: Path, own_scorebook: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "deck"
    new_deck(folder, DeckSettings(new_deck_id(), "Saltmarsh checks"))
    add_cards(folder, [CardEntry(toy_card())])
    said = io.StringIO()
    monkeypatch.setattr(sys, "stdin", io.StringIO(f"{THERE_ARE}\n\n"))
    monkeypatch.setattr(sys, "stdout", said)
    assert run_today(folder, own_scorebook, now=lambda: MOMENT) == 0
    assert "1 answer: 1 found." in said.getvalue()
    with Scorebook.open(own_scorebook) as book:
        (answer,) = book.answers(book.student())
        assert (answer.ask, answer.raw, answer.grade) == (TOY.id, f'{{"number": {THERE_ARE}}}', "found")
        assert list(map(str, book.strand_states(book.student()))) == [answer.item]
        assert answer.item == "motif:every-motif/checks"
        assert book.answers(book.student(), ask=TOY.id) == [answer]
        assert book.replay() == []


# No other place


def named_in(path: Path, ids: set[str]) -> list[int]:
    """The lines of a module in which a string is the id of an ask."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return [node.lineno for node in ast.walk(tree) if isinstance(node, ast.Constant) and node.value in ids]


def test_no_other_module_names_an_ask() -> None:
    ids = set(catalogue._declared())
    assert len(ids) >= 4
    inside: list[str] = []
    outside: list[str] = []
    for path in sorted(DECKS.rglob("*.py")):
        found = [f"{path.relative_to(DECKS.parent)}:{line}" for line in named_in(path, ids)]
        (inside if path.parent == DECKS / "asks" else outside).extend(found)
    assert len(inside) >= len(ids)
    assert outside == []


def test_no_ask_names_another() -> None:
    for ask_id in catalogue._declared():
        others = set(catalogue._declared()) - {ask_id}
        (module,) = (DECKS / "asks").glob(f"{ask_id}.py")
        assert named_in(module, others) == [], module
