"""Plain mode: the same session as lines of text."""

from __future__ import annotations

import io

import chess
import pytest
from made_tasks import (
    MEMORY,
    black_to_move,
    count_card,
    doubled_rooks,
    root_card,
    short_ballot,
    spot_card,
)

from decks.memory.model import Memory
from decks.plain import run_plain
from decks.review.dispatch import Looker, no_engine
from decks.review.messages import Kept, SaveContest, SaveShown
from decks.review.session import State, start
from decks.tasks.card import Card
from decks.tasks.task import Task
from decks.telling.board_text import ascii_board, men_in_words
from decks.telling.shown import BoardView


class Conversation:
    """One run of plain mode over strings: what it said, what it kept, how it ended."""

    def __init__(self, tasks: list[Task], *typed: str, fail: str = "", looker: Looker = no_engine) -> None:
        self.kept: list[Kept] = []
        self.shown: list[Task] = []
        self.fail = fail
        self.seconds = 0.0
        read, write = io.StringIO("".join(f"{line}\n" for line in typed)), io.StringIO()
        self.state: State = run_plain(start(tasks), self.save, self.clock, read, write, looker)
        self.said = write.getvalue()
        self.unread = read.read()

    def save(self, effect: Kept) -> Memory | None:
        if self.fail:
            raise OSError(self.fail)
        if isinstance(effect, SaveShown):
            self.shown.append(effect.task)
            return None
        self.kept.append(effect)
        return MEMORY

    def clock(self) -> float:
        self.seconds += 1
        return self.seconds

    def grades(self) -> list[str]:
        return [given.grade for attempt in self.state.done for given in attempt.given]


BALLOT = ["=", "w", "=", "=", "=", "=", "W", "=", "WW"]


def test_a_whole_session_by_lines_alone() -> None:
    talk = Conversation(
        [doubled_rooks("assess", "play"), black_to_move("play"), spot_card("spot"), root_card("root")],
        *[*BALLOT, ""],
        *["Rxd8", "Rxd8", "forward", ""],
        *["Rd1", ""],
        *["back-rank d1 d2 g8", "", ""],
        *["back", "back", "", ""],
    )
    assert talk.unread == ""
    assert talk.state.phase == "ended"
    assert talk.grades() == ["found"] * 5
    assert len(talk.kept) == 5
    assert "4 cards in" in talk.said


def test_nothing_of_the_key_is_said_before_the_answer() -> None:
    talk = Conversation([doubled_rooks("assess", "play")], *BALLOT, "", "Rxd8")
    assert "Rxd8+" in talk.said  # the move played
    for secret in (
        "back rank",
        "Back rank",
        "Rxd8#",
        "Count who guards",
        "flight square",
        "rows right",
        "found",
    ):
        before, _, _ = talk.said.partition("1 card in")
        assert secret not in before


def test_the_result_names_the_grade_the_reason_the_evidence_the_coach_and_the_return() -> None:
    said = Conversation([doubled_rooks("assess", "play")], *BALLOT, "", "Kf1").said
    assert "Stock-taking: found" in said
    assert "Move: missed" in said
    assert "24. Kf1 fails: after 24... Kh8 White is worse; 24. Rxd8+ mates in two." in said
    assert "Weak back rank, for White, with 24. Rxd8+: " in said
    assert "Coach: Count who guards the last rank." in said
    assert "Coach, on 25. Rxd8#: Mate on the last rank." in said
    assert "stock-taking in 3 days (2031-05-05), move in 3 days (2031-05-05)" in said
    assert "Why it fails: 24. Kf1 " in said
    assert "The line: 24. Rxd8+ Rxd8 25. Rxd8#" in said
    assert "king safety: White slight, right" in said


def test_a_short_ballot_asks_four_rows_and_says_of_each_whether_it_is_right_and_why() -> None:
    talk = Conversation([short_ballot("assess")], "=", "=", "b", "WW", "", "")
    assert talk.unread == ""
    assert "space (W w" not in talk.said
    before, _, after = talk.said.partition("Your stock-taking, row by row\n")
    assert "Why " not in before
    assert after.startswith(
        "  material: level, right (by the card's key).\n"
        "    Why material stands so (+0.00 Black).\n"
        "  king safety: level, near (the key says White slight).\n"
        "    Why king-safety stands so (+0.50 White).\n"
        "  open lines: Black slight, off (the key says White clear).\n"
    )
    assert "Not asked: centre level, pawn structure level, space level" in after


def test_a_count_is_written_in_parts_or_at_once_and_told_man_by_man() -> None:
    talk = Conversation([count_card("count")], "?", "4", "", "4 white", "defenders 3", "", "")
    assert talk.unread == ""
    assert talk.grades() == ["found"]
    assert "White attacks and Black defends e5. How many men of each side count there" in talk.said
    assert "Attackers, defenders, winner: So far: attackers 4\n" in talk.said
    assert "Still to fill in: defenders, winner." in talk.said
    assert "Enter to hand in, or a part to change: " in talk.said
    before, _, after = talk.said.partition("Your count, man by man\n")
    assert "pinned" not in before.replace("A pinned man", "")
    assert after.startswith(
        "  attackers: 4, right.\n    The rook on e1 counts directly.\n    The bishop on b2 counts directly.\n"
    )
    assert "  defenders: 3, right.\n    The knight on c6 does not count: pinned to its king by the " in after
    assert (
        "  winner: white, right.\n    If White takes on e5, White comes out 1 pawn ahead by count." in after
    )
    at_once = Conversation([count_card("count")], "4 4 nobody", "")
    assert at_once.grades() == ["missed"]
    assert at_once.unread == ""


def test_a_motif_is_found_in_the_list_by_its_beginning_and_written_by_its_title() -> None:
    talk = Conversation(
        [spot_card("spot")], "motifs weak b", "motifs xyz", "weak back rank", "d1 d2, g8", "", ""
    )
    assert talk.said.count("back-rank: Weak back rank\n") == 1
    assert "pin-on-file: " not in talk.said
    assert "No motif begins like this." in talk.said
    assert "Named: weak back rank\nPointed to: d1 d2 g8\n" in talk.said
    assert talk.grades() == ["found"]


@pytest.mark.parametrize("typed", [[], ["w"], [*BALLOT], [*BALLOT, ""], [*BALLOT, "", "Rxd8"]])
def test_the_end_of_the_input_ends_cleanly_with_everything_kept(typed: list[str]) -> None:
    talk = Conversation([doubled_rooks("assess", "play")], *typed)
    assert talk.state.phase == "ended"
    assert talk.state.failure == ""
    assert len(talk.kept) == ("" in typed)


def test_rows_are_marked_by_name_and_can_be_changed_before_handing_in() -> None:
    answers = ["space = b", "material: w", "king safety w", "WW", "=", "=", "=", "W", "=", "WW"]
    talk = Conversation([doubled_rooks("assess")], *answers, "space = =", "material =", "", "")
    assert "'WW' is not a cell of centre: write one of W w = b B" in talk.said
    assert talk.grades() == ["found"]


def test_a_bad_cell_and_an_unknown_word_are_answered_with_what_is_right() -> None:
    said = Conversation([doubled_rooks("assess")], "X", "hello").said
    assert "'X' is not a cell of material: write one of W w = b B" in said
    assert "'hello' is not a cell of material" in said


def test_a_wrong_entry_says_why_and_the_card_goes_on() -> None:
    talk = Conversation([doubled_rooks("play")], "Qd4", "xyzzy", "h3", "dance", "")
    assert "Qd4 is not legal here: no queen of yours can move" in talk.said
    assert "'xyzzy' is not a move" in talk.said
    assert "'dance' is not a command here." in talk.said
    assert talk.grades() == ["found"]


def test_hints_are_said_once_each_and_cap_the_grade() -> None:
    talk = Conversation([doubled_rooks("play")], "hint", "hint", "hint", "board", "hint", "hint", "h3", "")
    assert talk.said.count("Hint: It is about this: weak back rank.") == 1
    assert talk.said.count("Hint: ") == 3
    assert "There is no further hint." in talk.said
    assert talk.grades() == ["helped"]


def test_help_is_free_and_a_hint_says_first_what_it_costs() -> None:
    talk = Conversation([doubled_rooks("play")], "?", "help", "hint", "?", "h3", "")
    assert talk.said.count("There may be more than one move to find") == 3
    assert "A hint makes the grade 'with help' at best. Ask again to take it." in talk.said
    assert "Hint: " not in talk.said
    assert talk.grades() == ["found"]


@pytest.mark.parametrize(
    ("typed", "claims"),
    [
        (["contest", "yes"], ["found"]),
        (["c", "Y"], ["found"]),
        (["contest", ""], []),
        (["c", "c"], []),
        (["yes"], []),
        (["contest", "yes", "undo"], ["found", None]),
        (["undo"], []),
    ],
)
def test_a_grade_is_contested_after_a_yes_and_the_contest_can_be_undone(
    typed: list[str], claims: list[str | None]
) -> None:
    talk = Conversation([doubled_rooks("play"), black_to_move("play")], "Kf1", *typed, "", "Rd1", "")
    assert [effect.grade for effect in talk.kept if isinstance(effect, SaveContest)] == claims
    assert talk.unread == ""
    assert talk.grades() == ["missed", "found"]
    assert ("Contest the grade 'missed'?\nyes to contest it, Enter to leave" in talk.said) == (
        typed[0][0] == "c"
    )
    assert ("Your coach decides; until then the grade stays." in talk.said) == bool(claims)


def test_a_failed_save_ends_the_session() -> None:
    talk = Conversation([doubled_rooks("play"), black_to_move("play")], "Kf1", "", fail="disk full")
    assert (talk.state.phase, talk.state.failure) == ("ended", "disk full")
    assert " fails: " not in talk.said


def test_help_is_for_the_step_in_hand() -> None:
    said = Conversation([doubled_rooks("assess", "play")], "?", *BALLOT, "", "?").said
    assert said.count("W White clear, w White slight") == 2  # with the question, and asked for
    assert said.count("Clear is a large one: on material, an extra pawn.") == 1
    assert said.count("or name the row: space = w") == 1
    assert said.count("Write your move as Nf3 or g1f3.") == 1


def test_text_from_the_deck_cannot_control_the_terminal() -> None:
    card = doubled_rooks("play").card
    hostile = Card(
        "x\x1b]0;owned\x07",
        card.fen,
        ("play",),
        card.motifs,
        line=card.line,
        origin="A \x1b[31mB\u202e",
        comments={0: "look\x1b[2J\x9b1mhere\n\nand there"},
    )
    task = Task(
        "deck", hostile, ("play",), doubled_rooks("play").verdicts, explainer=doubled_rooks("play").explainer
    )
    said = Conversation([task], "Kf1\x1b[2J", "Kf1", "").said
    assert "and there" in said
    assert not {character for character in said if character != "\n" and not character.isprintable()}


def test_the_board_has_the_students_side_below_and_turns() -> None:
    board = chess.Board()
    white, black = ascii_board(BoardView(board, True)), ascii_board(BoardView(board, False))
    assert white[0] == "8  r n b q k b n r"
    assert white[-1] == "   a b c d e f g h"
    assert black[0] == "1  R N B K Q B N R"
    assert black[-1] == "   h g f e d c b a"
    said = Conversation([black_to_move("play")], "turn").said
    first, _, turned = said.partition("Your move: ")
    assert "1  . K . . . . R ." in first.splitlines()
    assert "8  . . . r . . k ." in turned.splitlines()


def test_men_are_listed_by_name_for_a_listener() -> None:
    assert men_in_words(chess.Board("4k3/p7/8/8/8/8/1N6/4K2R w K - 0 1")) == [
        "White: Ke1 Rh1 Nb2",
        "Black: Ke8 a7",
    ]
    assert "White: Kg1 Rd1 Rd2 f2 g2 h2" in Conversation([doubled_rooks("play")], "men").said


def test_an_empty_session_says_so() -> None:
    assert Conversation([]).said.strip() == "Nothing was answered."
