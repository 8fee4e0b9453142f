"""`rondeau disputes`: contested grades listed for the coach, accepted and refused."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from made_tasks import black_to_move, doubled_rooks, spot_card

from decks.cards.cards_file import CardEntry
from decks.cards.deck import add_cards, new_deck
from decks.cards.settings import DeckSettings, new_deck_id
from decks.cli import cli
from decks.memory.model import review
from decks.scorebook.book import Scorebook
from decks.tasks.task import Task
from decks.telling.disputed import Dispute, dispute_lines
from decks.today import DEMO_SCOREBOOK


def run(*arguments: str | Path, stdin: str = "") -> Result:
    return CliRunner().invoke(cli, [str(argument) for argument in arguments], input=stdin)


def said(*arguments: str | Path) -> str:
    result = run("disputes", *arguments)
    assert (result.exit_code, result.stderr) == (0, "")
    return result.stdout


@pytest.fixture(autouse=True)
def no_engine(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RONDEAU_ENGINE", "/no/such/engine")


def a_deck(folder: Path, title: str, *tasks: Task) -> Path:
    new_deck(folder, DeckSettings(new_deck_id(), title, by_heart=True))
    verdicts = {epd: found for task in tasks for epd, found in task.verdicts.items()}
    add_cards(folder, [CardEntry(task.card) for task in tasks], verdicts.values())
    return folder


@pytest.fixture
def rooks(tmp_path: Path) -> Path:
    return a_deck(tmp_path / "rooks", "Saltmarsh rooks", black_to_move("play"))


@pytest.fixture
def contest(rooks: Path) -> Callable[..., str]:
    """Lets a student answer wrongly and contest the grade; gives the short id."""

    def contested(
        student: str = "Anna Wren", typed: str = "Rd3\ncontest\nyes\n\n", deck: Path = rooks
    ) -> str:
        before = {each["dispute"] for each in listed()}
        run("students", "--add", student)
        run("today", "--plain", "--deck", deck, "--student", student, "--minutes", "5", stdin=typed)
        (new,) = {each["dispute"] for each in listed()} - before
        return str(new)

    return contested


def listed(*arguments: str | Path) -> list[dict[str, object]]:
    found = json.loads(said("--json", *arguments))["disputes"]
    assert isinstance(found, list)
    return found


def test_a_dispute_is_listed_with_all_that_decides_it(contest: Callable[..., str]) -> None:
    name = contest()
    assert len(name) == 4
    head, card, fen, *others = said().splitlines()
    assert head.startswith(f"{name}  Anna Wren: 'missed' should be 'found', since 20")
    assert (
        card == "Card rook-check, from Saltmarsh rooks (rondeau show rook-check --student 'Anna Wren' --all)"
    )
    assert fen == "FEN 3r2k1/5ppp/8/8/8/8/5PPP/1R4K1 b - - 0 30"
    assert others[1] == "1  . K . . . . R ."
    assert "Move: 30... Rd3" in others
    (verdicts,) = (line for line in others if line.startswith("The verdicts: "))
    assert "30... Rd3 fails: after 31. Kh1 Black is worse" in verdicts
    assert verdicts.endswith("12 plies)")
    assert others[-1] == "To decide: rondeau disputes --accept ID, or --refuse ID, with --reason TEXT"


def test_json_holds_the_same_and_nothing_else(contest: Callable[..., str], own_scorebook: Path) -> None:
    name = contest()
    (dispute,) = listed()
    with Scorebook.open(own_scorebook) as book:
        ((claim, answer),) = book.disputes()
    assert dispute == {
        "dispute": name,
        "contest_id": claim.contest_id,
        "student": "Anna Wren",
        "deck": answer.deck,
        "card": "rook-check",
        "ask": "play",
        "fen": answer.fen,
        "answer": "30... Rd3",
        "grade": "missed",
        "claimed": "found",
        "since": claim.time.isoformat(),
        "verdicts": dispute["verdicts"],
        "decided": None,
        "open": True,
    }
    assert str(dispute["verdicts"]).startswith("30... Rd3 fails: ")


def test_a_move_that_the_coach_refused_is_listed_with_the_coachs_own_word(
    contest: Callable[..., str], rooks: Path
) -> None:
    cards = rooks / "cards.pgn"
    cards.write_text(cards.read_text().replace("30... Rd1+", "30... Rd1+ (30... Rd3?)"), encoding="utf-8")
    contest()
    (dispute,) = listed()
    assert dispute["verdicts"] == "30... Rd3 fails: the coach marks it as a mistake."


@pytest.mark.parametrize(
    ("option", "grade", "word", "reason"),
    [
        ("--accept", "found", "accepted: the grade is now 'found'", "accepted by the coach"),
        ("--refuse", "missed", "refused: the grade stays 'missed'", "refused by the coach"),
    ],
)
def test_a_decision_closes_the_dispute_and_memory_follows_from_the_log(
    option: str,
    grade: str,
    word: str,
    reason: str,
    contest: Callable[..., str],
    own_scorebook: Path,
) -> None:
    name = contest()
    assert said(option, name) == (f"{name}  Anna Wren, card rook-check, {word}\nno dispute is open now\n")
    assert said() == "no disputes\n"
    with Scorebook.open(own_scorebook) as book:
        (answer,) = book.answers(1)
        assert answer.grade == grade
        assert book.answers(1, as_corrected=False)[0].grade == "missed"
        assert book.memory_of(1) == {answer.item: review(None, answer.grade, answer.study_day)}
        assert [(each.grade, each.reason) for each in book.corrections(1)] == [(grade, reason)]
        assert (book.open_contests(1), book.replay()) == ([], [])


def test_the_coachs_reason_is_kept_and_told_when_the_student_contests_again(
    contest: Callable[..., str], own_scorebook: Path
) -> None:
    said("--refuse", contest(), "--reason", "The rook is taken\x1b[2J on d3.")
    with Scorebook.open(own_scorebook) as book:
        (answer,) = book.answers(1)
        book.contest(answer.answer_id, "partly", datetime.now().astimezone() + timedelta(seconds=1))
    (again,) = listed()
    assert again["decided"] == "The rook is taken\x1b[2J on d3."
    assert "Decided before: The rook is taken\ufffd[2J on d3." in said()


def test_decided_disputes_are_listed_on_request_and_decided_anew(
    contest: Callable[..., str], own_scorebook: Path
) -> None:
    decided, waiting = contest(), contest("Tom Reed")
    said("--accept", decided, "--reason", "Rd3 keeps the pawn")
    assert [each["dispute"] for each in listed()] == [waiting]
    assert [(each["dispute"], each["open"]) for each in listed("--all")] == [
        (waiting, True),
        (decided, False),
    ]
    text = said("--all")
    assert f"{decided}  Anna Wren: 'missed' should be 'found', since 20" in text
    assert "\nDecided: the grade is 'found' (Rd3 keeps the pawn)\n" in text
    assert said("--refuse", decided, "--all").splitlines() == [
        f"{decided}  Anna Wren, card rook-check, refused: the grade is now 'missed'",
        "1 dispute still open",
    ]
    assert said("--refuse", decided).startswith(
        f"{decided}  Anna Wren, card rook-check, refused: the grade stays 'missed'\n"
    )
    (again,) = listed("--all", "--student", "Anna Wren")
    assert (again["grade"], again["decided"]) == ("missed", "refused by the coach")
    with Scorebook.open(own_scorebook) as book:
        (answer,) = book.answers(1)
        assert book.memory_of(1) == {answer.item: review(None, "missed", answer.study_day)}
        assert [each.grade for each in book.corrections(1)] == ["found", "missed", "missed"]
        assert book.replay() == []


def test_several_are_decided_at_once_and_the_others_stay(
    contest: Callable[..., str], own_scorebook: Path
) -> None:
    one, two, three = (contest(student) for student in ("Anna Wren", "Tom Reed", "Ida Marsh"))
    assert [each["student"] for each in listed()] == ["Anna Wren", "Tom Reed", "Ida Marsh"]
    result = json.loads(said("--accept", one, "--refuse", two, "--json"))
    assert result["decided"] == [
        {"dispute": one, "accepted": True},
        {"dispute": two, "accepted": False},
    ]
    assert [each["dispute"] for each in result["disputes"]] == [three]
    with Scorebook.open(own_scorebook) as book:
        assert [book.answers(number)[0].grade for number in (1, 2, 3)] == ["found", "missed", "missed"]


def test_disputes_can_be_listed_by_student_and_by_deck(contest: Callable[..., str], tmp_path: Path) -> None:
    other = a_deck(tmp_path / "spots", "Saltmarsh motifs", spot_card("spot"))
    contest("Anna Wren")
    contest("Tom Reed", "fork d1\n\ncontest\nyes\n\n", other)
    assert [each["student"] for each in listed("--student", "tom reed")] == ["Tom Reed"]
    assert [each["card"] for each in listed("--deck", other)] == ["spot-it"]
    assert listed("--deck", other, "--student", "Anna Wren") == []
    (spot,) = listed("--deck", other)
    assert spot["verdicts"] is None
    assert run("disputes", "--deck", tmp_path / "nowhere").exit_code == 1


@pytest.mark.parametrize("change", ["gone", "faulty", "card", "key"])
def test_without_the_card_the_answer_is_listed_as_far_as_the_position_tells_it(
    change: str, contest: Callable[..., str], rooks: Path
) -> None:
    name = contest()
    cards = rooks / "cards.pgn"
    if change == "gone":
        rooks.rename(rooks.with_name("elsewhere"))
    elif change == "faulty":
        cards.write_text("[FEN", encoding="utf-8")
    elif change == "card":
        cards.write_text(cards.read_text().replace("rook-check", "another"), encoding="utf-8")
    else:
        cards.write_text(cards.read_text().replace("back-rank:black", "fork:black"), encoding="utf-8")
    (dispute,) = listed()
    answer = "the card has changed since then" if change == "key" else "30... Rd3"
    assert (dispute["dispute"], dispute["answer"], dispute["verdicts"]) == (name, answer, None)
    assert "FEN 3r2k1/5ppp/8/8/8/8/5PPP/1R4K1 b - - 0 30" in said()
    assert "accepted" in said("--accept", name)


def test_ids_that_name_no_dispute_or_several_change_nothing(
    contest: Callable[..., str], own_scorebook: Path
) -> None:
    name = contest()
    for arguments, message in (
        (("--accept", "zzzz"), "zzzz: no dispute has this id"),
        (("--refuse", ""), "no dispute has this id"),
        (("--accept", name, "--refuse", name), "accept it or refuse it"),
        (("--reason", "why"), "--reason goes with --accept or --refuse"),
    ):
        result = run("disputes", *arguments)
        assert (result.exit_code, result.stdout) == (2, "")
        assert message in " ".join(result.stderr.split())
    assert [each["dispute"] for each in listed()] == [name]
    with Scorebook.open(own_scorebook) as book:
        assert book.corrections(1) == []


def test_an_id_that_several_disputes_begin_with_names_them(
    contest: Callable[..., str], monkeypatch: pytest.MonkeyPatch
) -> None:
    ids = iter(["7c01f8d2", "7c02aa51"])
    monkeypatch.setattr("decks.scorebook.log_kept.uuid4", lambda: next(ids))
    names = [contest(student) for student in ("Anna Wren", "Tom Reed")]
    result = run("disputes", "--accept", "7c0")
    assert result.exit_code == 2
    assert f"7c0: several begin so: {', '.join(names)}" in " ".join(result.stderr.split())


def test_the_demo_decks_disputes_are_listed_until_another_deck_is_used(
    own_scorebook: Path, rooks: Path
) -> None:
    own = own_scorebook.with_name(DEMO_SCOREBOOK)
    run("today", "--plain", stdin="")
    with Scorebook.open(own) as book:
        (deck,) = book.decks()
    assert deck
    result = run("disputes")
    assert (result.exit_code, result.stdout) == (0, "no disputes\n")
    assert result.stderr == f"No deck yet: these are answers to the demo deck, kept in {own}.\n"
    assert said("--scorebook", own_scorebook) == "no disputes\n"
    run("today", "--plain", "--deck", rooks, stdin="Rd3\ncontest\nyes\n\n")
    assert [each["student"] for each in listed()] == ["me"]


@pytest.mark.parametrize(
    ("raw", "told"),
    [
        (["d8d3"], "30... Rd3"),
        (["d8d1", "d1b1"], "30... Rd1+, then d1b1"),
        (["a1a8"], '["a1a8"]'),
        ([], "[]"),
        ({"point": "d1"}, '{"point": "d1"}'),
    ],
)
def test_without_the_deck_the_moves_are_still_told(
    raw: object, told: str, contest: Callable[..., str], own_scorebook: Path
) -> None:
    contest()
    with Scorebook.open(own_scorebook) as book:
        ((claim, answer),) = book.disputes()
    kept = replace(answer, raw=json.dumps(raw))
    assert f"Move: {told}" in dispute_lines(Dispute("7c1e", "Anna Wren", claim, kept, "missed"))


def test_a_deck_with_several_cards_shows_the_right_one(tmp_path: Path, contest: Callable[..., str]) -> None:
    rooks = replace(doubled_rooks("play"), card=replace(doubled_rooks("play").card, asks=("play",)))
    both = a_deck(tmp_path / "both", "Saltmarsh evenings", rooks, black_to_move("play"))
    contest("Ida Marsh", "Kf1\ncontest\nyes\n\n", both)
    assert "Card rooks, from Saltmarsh evenings" in said()
    assert "Move: 24. Kf1" in said()
