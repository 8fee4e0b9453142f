"""Logs as files: written and read again, and every kind of damage named by file and line."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import chess
import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_answers import DAY, DECK, an_answer

from decks.memory.answers import Answer, Contest, Correction, Display, Logged, Withdrawal
from decks.scorebook.handed_in import LINE_LIMIT, HandInError, is_handed_in, read, save, written

ANSWER = an_answer(1)
DISPLAY = Display(
    an_answer(2).answer_id,
    1,
    DECK,
    "heron",
    chess.STARTING_FEN,
    "asked",
    DAY,
    ANSWER.time,
    ANSWER.item,
    "due",
)
CONTEST = Contest(an_answer(3).answer_id, ANSWER.answer_id, "found", ANSWER.time)
LOG: tuple[Logged, ...] = (
    DISPLAY,
    ANSWER,
    an_answer(5, day=1),
    Correction(an_answer(4).answer_id, ANSWER.answer_id, None, "wrong date", ANSWER.time),
    CONTEST,
    Withdrawal(an_answer(6).answer_id, ANSWER.answer_id, CONTEST.contest_id, ANSWER.time),
)


LATEST = an_answer(5, day=1).study_day


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "anna.log"
    save(path, written("Anna Wren", {DECK: "Türme"}, LOG))
    return path


def unnumbered(logged: Logged) -> Logged:
    return replace(logged, student=0) if isinstance(logged, Answer | Display) else logged


def test_what_is_written_is_read_again(file: Path) -> None:
    found = read(file, LATEST)
    assert (found.student, found.decks) == ("Anna Wren", {DECK: "Türme"})
    assert found.lines == [(number, unnumbered(each)) for number, each in enumerate(LOG, 2)]
    assert is_handed_in(file)


def test_the_first_line_says_what_the_file_is(file: Path) -> None:
    first, *others = map(json.loads, file.read_text(encoding="utf-8").splitlines())
    assert first == {
        "rondeau": "log of a student",
        "version": 1,
        "student": "Anna Wren",
        "decks": {DECK: "Türme"},
        "lines": 6,
    }
    assert [*others[0]["display"]][:3] == ["display_id", "deck", "card_id"]
    assert [next(iter(each)) for each in others] == [
        *("display", "answer", "answer", "correction", "contest", "withdrawal"),
    ]


def test_an_empty_log_is_a_file_too(tmp_path: Path) -> None:
    save(tmp_path / "empty.log", written("Anna Wren", {}, []))
    assert read(tmp_path / "empty.log", LATEST).lines == []


Change = Callable[[dict[str, Any]], object]


def changed(kind: str, **values: object) -> Change:
    return lambda line: line[kind].update(values)


def without(kind: str, key: str) -> Change:
    return lambda line: line[kind].pop(key)


@pytest.mark.parametrize(
    ("number", "change", "message"),
    [
        (1, lambda line: line.update(rondeau="deck"), "no file that `rondeau hand-in` has written"),
        (1, lambda line: line.update(version=2), "version 2, and this program reads version 1"),
        (1, lambda line: line.update(lines=5), "more than the 5 lines"),
        (1, lambda line: line.update(lines=7), "the file ends here, but 7 lines should follow"),
        (1, lambda line: line.update(lines="6"), "lines must be a whole number"),
        (1, lambda line: line.update(lines=-1), "lines must be a number"),
        (1, lambda line: line.update(student=4), "student must be text"),
        (1, lambda line: line.update(decks=[]), "decks an object"),
        (1, lambda line: line.update(decks={DECK: 4}), f"{DECK} must be text"),
        (1, lambda line: line.update(more=1), "'more' is not known here"),
        (1, lambda line: line.pop("decks"), "'decks' is missing"),
        (2, lambda line: line.update(more={}), "expected one of answer, display"),
        (2, lambda line: line.update(note=line.pop("display")), "expected one of answer, display"),
        (2, lambda line: line.update(display=[]), "display must be an object"),
        (2, changed("display", how="seen"), "how must be one of asked, worked"),
        (2, changed("display", item="motif:fork/juggle"), "is not an item"),
        (2, changed("display", fen="8/8 w - - 0 1"), "'8/8'"),
        (3, changed("answer", answer_id="7"), "badly formed hexadecimal UUID string"),
        (3, changed("answer", grade="good"), "grade must be one of missed, helped"),
        (3, changed("answer", ask="spot"), "doesn't ask for 'spot'"),
        (3, changed("answer", score=1.5), "a score is 0 to 1"),
        (3, changed("answer", score=True), "score must be a number"),
        (3, changed("answer", score=float("nan")), "score must be a number"),
        (3, changed("answer", seconds=-1), "can't be below 0"),
        (3, changed("answer", hints=1.0), "hints must be a whole number"),
        (3, changed("answer", hints=2**70), "can't be"),
        (3, changed("answer", lookalike=0), "lookalike must be true or false"),
        (3, changed("answer", tier=4), "tier 4"),
        (3, changed("answer", study_day="2031-02-30"), "day is out of range for month"),
        (3, changed("answer", study_day="9900-01-01"), "is not a day of our time"),
        (3, changed("answer", study_day=20310505), "study_day must be a date"),
        (3, changed("answer", time="2031-05-05T18:00:00"), "lacks a time zone"),
        (3, changed("answer", time="0001-01-01T00:00:00+00:00"), "is not a day of our time"),
        (3, changed("answer", raw="[1"), "delimiter"),
        (3, changed("answer", raw="7"), "raw must be an object or a list"),
        (3, changed("answer", card_id="\ud800"), "surrogates not allowed"),
        (3, changed("answer", student=1), "'student' is not known here"),
        (3, without("answer", "why"), "'why' is missing"),
        (5, changed("correction", reason=None), "reason must be text"),
        (6, changed("contest", grade=None), "grade must be one of"),
        (2, changed("display", study_day="2031-05-07"), "2031-05-07 is still to come"),
        (4, changed("answer", study_day="2031-05-07"), "2031-05-07 is still to come"),
        (4, changed("answer", time="2031-05-08T01:00:00+00:00"), "2031-05-08 is still to come"),
        (7, changed("withdrawal", withdraws=None), "withdraws must be text"),
    ],
)
def test_a_line_that_is_wrong_is_named(number: int, change: Change, message: str, file: Path) -> None:
    lines = file.read_text(encoding="utf-8").splitlines()
    found = json.loads(lines[number - 1])
    change(found)
    lines[number - 1] = json.dumps(found)
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    with pytest.raises(HandInError) as caught:
        read(file, LATEST)
    said = str(caught.value)
    at = {5: 7, 7: 7}.get(found.get("lines"), number) if number == 1 else number
    assert said.startswith(f"{file}, line {at}: ")
    assert message in said
    assert "\n" not in said


@pytest.mark.parametrize(
    ("content", "number", "message"),
    [
        (b"", 1, "not a line of JSON"),
        (b"\x00\xff\n", 1, "not a line of JSON"),
        (b'{"rondeau": "log', 1, "cut short"),
        (b"[" * 5000, 1, "not a line of JSON"),
        (b"[]\n", 1, "expected an object"),
        (b" " * (LINE_LIMIT + 10), 1, f"longer than {LINE_LIMIT} bytes"),
    ],
    ids=["empty", "no text", "cut", "deep", "a list", "long"],
)
def test_a_strangers_file_is_named(content: bytes, number: int, message: str, tmp_path: Path) -> None:
    path = tmp_path / "stranger"
    path.write_bytes(content)
    assert not is_handed_in(path)
    with pytest.raises(HandInError, match=message) as caught:
        read(path, LATEST)
    assert str(caught.value).startswith(f"{path}, line {number}: ")


@given(st.data())
def test_a_file_that_is_cut_short_anywhere_is_refused(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    path = tmp_path_factory.getbasetemp() / "cut.log"
    save(path, written("Anna Wren", {}, LOG))
    whole = path.read_bytes()
    path.write_bytes(whole[: data.draw(st.integers(0, len(whole) - 2))])
    with pytest.raises(HandInError):
        read(path, LATEST)


def test_a_file_that_is_not_there_is_an_error_of_the_system(tmp_path: Path) -> None:
    assert not is_handed_in(tmp_path / "none")
    with pytest.raises(FileNotFoundError):
        read(tmp_path / "none", LATEST)


def test_moments_of_any_time_zone_are_kept(file: Path) -> None:
    there = replace(ANSWER, time=ANSWER.time.astimezone().replace(microsecond=7) + timedelta(hours=3))
    save(file, written("Anna Wren", {}, [there]))
    ((_, found),) = read(file, LATEST).lines
    assert found.time == there.time


def test_what_was_answered_under_a_wrong_clock_and_voided_is_no_reason_to_refuse_a_file(file: Path) -> None:
    wrong = replace(an_answer(7), study_day=date(2099, 1, 1), time=datetime(2099, 1, 1, tzinfo=UTC))
    shown = replace(DISPLAY, study_day=wrong.study_day, time=wrong.time)
    claim = Contest(an_answer(8).answer_id, wrong.answer_id, "found", wrong.time)
    void = Correction(an_answer(9).answer_id, wrong.answer_id, None, "wrong clock", wrong.time)
    back = Correction(an_answer(10).answer_id, wrong.answer_id, "found", "", datetime(2099, 1, 2, tzinfo=UTC))
    save(file, written("Anna Wren", {}, [shown, wrong, void, claim]))
    assert len(read(file, LATEST).lines) == 4
    save(file, written("Anna Wren", {}, [shown, wrong, claim, back, void]))
    with pytest.raises(HandInError, match="line 2: 2099-01-01 is still to come"):
        read(file, LATEST)
