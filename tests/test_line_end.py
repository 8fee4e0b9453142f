"""Where a card stops asking, what it shows after that, and how a check trims the cards of a deck."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path

import chess
import pytest
from click.testing import CliRunner
from made_tasks import DOUBLED_ROOKS, MEMORY, task
from made_verdicts import Told, verdicts

from decks.cards.cards_file import CARDS_FILE, CardEntry, read_cards, write_card
from decks.cards.deck import Deck, add_cards, new_deck
from decks.cards.deck_check import check_deck
from decks.cards.line_end import (
    ended,
    is_worth_asking,
    moves_worth_finding,
    with_what_follows,
)
from decks.cards.settings import DeckSettings, new_deck_id
from decks.cli import cli
from decks.review import messages as m
from decks.review.session import start, update
from decks.tasks.card import Card, MotifTag
from decks.tasks.goal import MOST_SHOWN
from decks.tasks.messages import Enter
from patterns.engines.scores import PositionVerdicts

DAY = date(2031, 5, 2)


def card_with(fen: str, line: str, **fields: object) -> Card:
    card = Card("lines", fen, ("play",))
    board = card.board.copy(stack=False)
    return replace(card, line=tuple(board.push_san(san).uci() for san in line.split()), **fields)  # type: ignore[arg-type]


def judged(card: Card, *told: Mapping[str, Told]) -> dict[str, PositionVerdicts]:
    """Verdicts by EPD: the key scores 1, the moves told their score, all others nothing."""
    by_epd = {}
    for key, here in zip(card.moves_to_find(), told, strict=True):
        by_epd[key.board.epd()] = verdicts(
            key.board, {key.board.san(chess.Move.from_uci(key.move)): (1.0, ""), **here}, 0.0
        )
    return by_epd


QUIET = ("6k1/5ppp/8/8/8/8/5PPP/3R2K1 w - - 0 24", "Rd7 h6 Rd6")
GIVES_BACK = ("6k1/5ppp/8/3r4/8/4N3/5PPP/3R2K1 w - - 0 24", "Kf1 Rxd1+ Nxd1")
TAKES_FREE = ("6k1/5ppp/8/3r4/8/4N3/5PPP/6K1 w - - 0 24", "Kf1 h6 Nxd5")
TAKES_GUARDED = ("6k1/5ppp/2p5/3r4/8/4N3/5PPP/6K1 w - - 0 24", "Kf1 h6 Nxd5")
TAKES_EQUAL = ("6k1/5ppp/2p5/3n4/8/4N3/5PPP/6K1 w - - 0 24", "Kf1 h6 Nxd5")
TWO_HANG = ("6k1/5ppp/8/3r4/6p1/4N3/5PPP/6K1 w - - 0 24", "Kf1 h6 Nxd5")
ROOKS = (DOUBLED_ROOKS, "Rxd8+ Rxd8 Rxd8#")


PLAN = "h6 h3 Kh7"
"""Replies and moves after Rd7 in which nobody takes or checks."""


@pytest.mark.parametrize(
    ("replies", "others", "has_to_be_found", "why"),
    [
        (PLAN, "Rd6 Rd5 Rd4", True, "four moves hold, and nobody takes or checks"),
        (PLAN, "Rd6 Rd5 Rd4 Rd3", False, "five moves hold"),
        (PLAN, "", True, "only one holds"),
        ("h6 Rd8+ Kh7", "Rd6 Rd5", False, "three hold, and a check comes"),
        ("h6 Rxf7 Kxf7", "Rd6 Rd5", False, "three hold, and a capture comes"),
        ("h6 Rd8+ Kh7", "Rd6", True, "two hold"),
        ("h6", "Rd6 Rd5", False, "nobody knows how it goes on"),
    ],
)
def test_of_the_moves_of_a_quiet_plan_more_may_hold(
    replies: str, others: str, has_to_be_found: bool, why: str
) -> None:
    card = card_with(QUIET[0], "Rd7")
    told: Mapping[str, Told] = {"Rd7": (1.0, replies), **dict.fromkeys(others.split(), (0.98, ""))}
    by_epd = {card.board.epd(): verdicts(card.board, told, 0.5)}
    assert is_worth_asking(card, by_epd) is has_to_be_found, why


@pytest.mark.parametrize(("engine", "worth"), [("Stockfish test", False), ("sunfish test", True)])
def test_what_a_weak_engine_allows_needs_no_further_margin(engine: str, worth: bool) -> None:
    """The others lose .09 and .49: clearly more than Stockfish allows is .10, than the weak engine .30."""
    card = card_with(QUIET[0], "Rd7")
    loses = 0.49 if worth else 0.09
    found = replace(verdicts(card.board, {"Rd7": (1.0, "h6")}, 1.0 - loses), engine=engine)
    assert is_worth_asking(card, {card.board.epd(): found}) is worth


def test_a_plan_counts_only_where_the_card_begins() -> None:
    card = card_with(*QUIET)
    later = {"Rd6": (1.0, "h5 h3 Kh7"), "Rd5": (0.98, ""), "Rd4": (0.98, "")}
    assert moves_worth_finding(card, judged(card, {}, later)) == 1


@pytest.mark.parametrize(
    ("line", "second", "count"),
    [
        (QUIET, {}, 2),
        (QUIET, {"Rd5": (0.97, "")}, 2),  # two hold
        (QUIET, {"Rd5": (0.97, ""), "Rd4": (0.97, "")}, 1),  # three hold
        (QUIET, {"Rd5": (0.89, "")}, 2),  # the rest are behind by a margin
        (QUIET, {"Rd5": (0.91, "")}, 1),
        (GIVES_BACK, {}, 1),
        (TAKES_FREE, {}, 1),
        (TWO_HANG, {}, 2),  # to take the other is a mistake
        (TWO_HANG, {"Nxg4": (1.0, "")}, 1),
        (TAKES_GUARDED, {}, 1),  # for so much less that the guard does not matter
        (TAKES_EQUAL, {}, 2),
        (ROOKS, {}, 2),  # takes back, but mates
        (ROOKS, {"h3": (0.93, "")}, 2),  # a mate is to be found also where another move wins
    ],
)
def test_the_last_move_that_has_to_be_found(
    line: tuple[str, str], second: Mapping[str, Told], count: int
) -> None:
    card = card_with(*line)
    assert moves_worth_finding(card, judged(card, {}, second)) == count


def test_a_move_in_the_middle_that_plays_itself_is_asked_if_a_later_one_has_to_be_found() -> None:
    card = card_with(GIVES_BACK[0], "Kf1 Rxd1+ Nxd1 h6 Nc3")
    assert moves_worth_finding(card, judged(card, {}, {}, {})) == 3


@pytest.mark.parametrize(("also_holds", "worth"), [("Nxd5", False), ("f3", True)])
def test_where_taking_what_hangs_holds_too_nothing_has_to_be_found(also_holds: str, worth: bool) -> None:
    card = card_with(TAKES_FREE[0], "Nc4")
    found = verdicts(card.board, {"Nc4": (1.0, ""), also_holds: (1.0, "")}, 0.0)
    assert is_worth_asking(card, {card.board.epd(): found}) is worth


def test_the_first_move_is_always_asked() -> None:
    card = card_with(TAKES_FREE[0], "Nxd5")
    assert moves_worth_finding(card, judged(card, {})) == 1


def test_a_move_without_a_choice_does_not_have_to_be_found() -> None:
    card = card_with("k7/8/8/8/8/6P1/1r5P/7K w - - 0 24", "g4 Rb1+ Kg2")
    assert len(judged(card, {}, {})[card.moves_to_find()[1].board.epd()].moves) == 1
    assert moves_worth_finding(card, judged(card, {}, {})) == 1


def test_what_the_coach_praises_has_to_be_found() -> None:
    card = card_with(*TAKES_FREE, marks={2: {"e3d5": True}})
    assert moves_worth_finding(card, judged(card, {}, {})) == 2
    other = replace(card, marks={2: {"e3d5": False, "e3c4": True}})
    assert moves_worth_finding(other, judged(card, {}, {})) == 1


def test_nothing_is_said_without_verdicts() -> None:
    card = card_with(*QUIET)
    first, _ = card.moves_to_find()
    by_epd = {epd: one for epd, one in judged(card, {}, {}).items() if epd == first.board.epd()}
    assert moves_worth_finding(card, by_epd) is None
    assert moves_worth_finding(replace(card, line=()), {}) is None


@pytest.mark.parametrize(
    ("line", "verdict", "to_find", "shown"),
    [
        (TAKES_FREE, (1.0, "Kf8 h3"), 1, "Kf1 h6 Nxd5"),  # up to where the gain is there
        (TAKES_GUARDED, (1.0, "cxd5 h3"), 1, "Kf1 h6 Nxd5 cxd5"),
        (QUIET, (1.0, "Kf8 Rd8#"), None, "Rd7 h6 Rd6"),  # nothing is won
        ((QUIET[0], "Rd7"), (1.0, "h6 Rd8+ Kh7"), None, "Rd7"),
        ((ROOKS[0], "Rxd8+"), (1.0, "Rxd8 Rxd8#"), 1, "Rxd8+ Rxd8 Rxd8#"),
        (ROOKS, (1.0, ""), None, "Rxd8+ Rxd8 Rxd8#"),
    ],
)
def test_a_new_card_shows_its_line_until_the_gain_is_there(
    line: tuple[str, str], verdict: Told, to_find: int | None, shown: str
) -> None:
    card = card_with(*line)
    *_, last = card.moves_to_find()
    by_epd = judged(card, *({} for _ in card.moves_to_find()))
    by_epd[last.board.epd()] = verdicts(
        last.board, {last.board.san(chess.Move.from_uci(last.move)): verdict}, 0.0
    )
    new = ended(card, by_epd)
    assert (new.to_find, new.line) == (to_find, card_with(line[0], shown).line)
    assert len(new.asked_line) == 2 * len(new.moves_to_find()) - 1


def test_a_gain_too_far_off_is_not_shown() -> None:
    card = card_with("6k1/5ppp/8/3r4/8/4N3/5PPP/6K1 w - - 0 24", "Kf1")
    waits, longer = "Kf8 Kg1 Ke8 Kf1 Kd8 Kg1 Kc8 Kf1 ", "Kb8 Kg1 Ka8 Kf1 "
    for line, plies in ((waits + "h6 Nxd5 g6", 1 + MOST_SHOWN), (waits + longer + "h6 Nxd5 g6", 1)):
        new = ended(card, judged_with(card, line))
        assert len(new.line) == plies
        assert new.goal == ("win-material" if plies > 1 else "win")


def test_of_a_gain_that_grows_the_part_in_sight_is_shown() -> None:
    """The rook falls at once, the queen after twenty plies, so that it is clear only then what is won."""
    card = card_with("6k1/5pp1/6qp/3r4/8/4N3/5PPP/6K1 w - - 0 24", "Nxd5")
    waits = "Kf8 f3 Ke8 g3 Kd8 h3 Kc8 Kf2 Kb8 Ke2 Ka8 Kd2 "
    found = verdicts(card.board, {"Nxd5": (1.0, f"{waits}Ka7 Nf4 Ka6 Nxg6 fxg6")}, 0.0)
    new = ended(card, {found.epd: found})
    assert (new.line, new.goal) == (card.line, "win-material")


def judged_with(card: Card, line: str) -> dict[str, PositionVerdicts]:
    (key,) = card.moves_to_find()
    return {key.board.epd(): verdicts(key.board, {"Kf1": (1.0, line)}, 0.0)}


def test_a_new_card_gets_its_goal() -> None:
    card = card_with(*TAKES_FREE)
    assert ended(card, judged(card, {}, {})).goal == "win-material"


def test_a_card_stops_asking_there_and_shows_the_whole_line() -> None:
    card = card_with(*ROOKS, to_find=1)
    state = start([task(card, "play")])
    state, effects = update(state, Enter(1, "Rxd8+"))
    assert effects
    state, _ = update(state, m.Saved(1, MEMORY))
    assert (state.phase, [given.grade for given in state.done[0].given]) == ("shown", ["found"])
    assert [(line.title, line.moves) for line in state.lines] == [("The line", card.line)]


def test_what_is_only_shown_is_no_part_of_the_key() -> None:
    short, shown = card_with(ROOKS[0], "Rxd8+"), card_with(*ROOKS, to_find=1)
    assert shown.key_version == short.key_version != card_with(*ROOKS).key_version


def test_the_tag_is_written_and_read_and_its_faults_say_what_would_be_right() -> None:
    card = card_with(ROOKS[0], "Rxd8+ Rxd8", to_find=1)
    text = write_card(CardEntry(card))
    (read,), faults = read_cards(text, ("play",), None)
    assert (read.entry.card, faults) == (card, ())
    odd = write_card(CardEntry(card_with(*ROOKS, to_find=1)))
    for value in ("3", "0", "one"):
        _, (fault,) = read_cards(odd.replace('[ToFind "1"]', f'[ToFind "{value}"]'), ("play",), None)
        assert fault.message == f"ToFind '{value}' is not a number of moves to find: write 1 to 2"
    _, (fault,) = read_cards(text.replace('[ToFind "1"]\n', ""), ("play",), None)
    assert fault.message.endswith("its line ends with a reply, not with the student")


def test_a_new_card_shows_no_move_that_only_repeats_the_position() -> None:
    card = card_with("6k1/5pp1/8/7p/8/2n5/8/R5K1 w - - 0 24", "Ra8+")
    replies = "Kh7 Ra7 Kg8 Ra8+ Kh7 Ra3"
    shown = ended(card, {card.board.epd(): verdicts(card.board, {"Ra8+": (1.0, f"{replies} Kg8 Rxc3")}, 0.0)})
    assert shown.line == card_with(card.fen, "Ra8+ Kh7 Ra3 Kg8 Rxc3").line


@pytest.mark.parametrize(
    ("line", "to_find", "reply", "expected"),
    [
        ("Rd7", None, "h6 Rd6 Kh7 Rd7 Kg6", ("Rd7 h6 Rd6 Kh7 Rd7", 1)),
        ("Rd7", None, "h6", ("Rd7 h6", 1)),
        ("Rd7", None, "", ("Rd7", None)),
        ("Rd7 h6 Rd6", 1, "h5 Rd6", ("Rd7 h6 Rd6", 1)),
    ],
)
def test_a_key_is_shown_with_what_follows(
    line: str, to_find: int | None, reply: str, expected: tuple[str, int | None]
) -> None:
    card = card_with(QUIET[0], line, to_find=to_find)
    by_epd = {card.board.epd(): verdicts(card.board, {"Rd7": (1.0, reply)}, 0.0)}
    shown = with_what_follows(card, by_epd)
    moves = card_with(QUIET[0], expected[0]).line
    assert (shown.line, shown.to_find) == (moves, expected[1])


def a_deck(folder: Path, *entries: CardEntry) -> Path:
    """A deck of these cards, with verdicts by which only the key holds."""
    new_deck(folder, DeckSettings(new_deck_id(), "Saltmarsh lines"))
    by_epd: dict[str, PositionVerdicts] = {}
    for entry in entries:
        by_epd |= judged(entry.card, *({} for _ in entry.card.moves_to_find()))
    add_cards(folder, entries, by_epd.values())
    return folder


def test_check_trims_on_request_says_what_it_cut_and_drops_the_verdicts(tmp_path: Path) -> None:
    folder = a_deck(tmp_path / "deck", CardEntry(card_with(*TAKES_FREE)))
    before = (folder / CARDS_FILE).read_text()
    assert check_deck(folder, None, None, DAY).written == ()
    result = check_deck(folder, None, None, DAY, trim=True)
    (added,) = result.added
    assert added.message == "asks for 1 move instead of 2; the rest of the line is shown: 24... h6 25. Nxd5"
    assert (result.written, result.notes) == ((CARDS_FILE, "verdicts.jsonl"), ())
    assert (folder / CARDS_FILE).read_text().replace('[ToFind "1"]\n', "") == before
    deck = Deck.open(folder)
    assert list(deck.verdicts) == [deck.cards[0].board.epd()]
    assert check_deck(folder, None, None, DAY, trim=True).written == ()


@pytest.mark.parametrize(
    "entry",
    [
        CardEntry(card_with(*TAKES_FREE, to_find=2)),
        CardEntry(card_with(*TAKES_FREE), nags={3: (1,)}),
        CardEntry(card_with(*QUIET)),
        CardEntry(replace(card_with(*TAKES_FREE), asks=("root",), root=1)),
    ],
)
def test_check_does_not_trim_what_the_coach_set_or_has_to_be_found_or_is_not_asked(
    entry: CardEntry, tmp_path: Path
) -> None:
    folder = a_deck(tmp_path / "deck", entry)
    assert check_deck(folder, None, None, DAY, trim=True).added == ()


def test_check_gives_goals_on_request_to_cards_without_one(tmp_path: Path) -> None:
    cards = card_with(*TAKES_FREE), replace(card_with(*QUIET), card_id="quiet", goal="draw")
    folder = a_deck(tmp_path / "deck", *map(CardEntry, cards))
    (added,) = check_deck(folder, None, None, DAY, goal=True).added
    assert added.message == "its goal is win-material"
    assert [card.goal for card in Deck.open(folder).cards] == ["win-material", "draw"]
    assert check_deck(folder, None, None, DAY, goal=True).written == ()


def test_check_says_of_each_card_without_a_goal_why_if_goals_are_asked_for(tmp_path: Path) -> None:
    told = card_with(*QUIET)
    gives_away = card_with(TAKES_FREE[0], "Nxd5", card_id="gives-away")
    prevents = card_with(*QUIET, card_id="prevents", motifs=(MotifTag("fork", "black"),))
    unasked = card_with(*GIVES_BACK, card_id="unasked", asks=("root",), root=1)
    folder = a_deck(tmp_path / "deck", *map(CardEntry, (told, gives_away, prevents, unasked)))
    assert not any("goal" in note.message for note in check_deck(folder, None, None, DAY).notes)
    notes = check_deck(folder, None, None, DAY, goal=True).notes
    prevents_it = "the motif is Black's, so the task is to prevent it, and 'win' would mislead"
    assert {note.card: note.message for note in notes if "goal" in note.message} == {
        "gives-away": "no goal is told: the goal would give the move away: 24. Nxd5 is the only capture",
        "prevents": f"no goal is told: {prevents_it}",
    }
    unjudged = tmp_path / "unjudged"
    new_deck(unjudged, DeckSettings(new_deck_id(), "Saltmarsh lines"))
    add_cards(unjudged, [CardEntry(told)])
    assert not any("goal" in note.message for note in check_deck(unjudged, None, None, DAY, goal=True).notes)


def test_the_command_does_both_and_says_so(tmp_path: Path) -> None:
    folder = a_deck(tmp_path / "deck", CardEntry(card_with(*TAKES_FREE)))
    command = ["check", str(folder)]
    told = CliRunner().invoke(cli, [*command, "--trim"]).output
    assert "added: cards.pgn line 1, card lines: asks for 1 move instead of 2; the rest" in told
    added = json.loads(CliRunner().invoke(cli, [*command, "--goals", "--json"]).stdout)["added"]
    assert [one["message"] for one in added] == ["its goal is win-material"]
