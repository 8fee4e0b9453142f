"""A student's log as a file that goes from one scorebook to another: JSON Lines, UTF-8, one object a line.

The first line says what the file is, in which version of this format, whose log it is, which decks the
answers are about (title by uuid), and how many lines follow, so that a file that was cut short is noticed:

    {"rondeau": "log of a student", "version": 1, "student": "Anna Wren", "decks": {"5a17...": "Rooks"},
     "lines": 3}

Every other line has one key, which says what it is: `answer`, `display`, `correction`, `contest` or
`withdrawal`. Under it are the fields of the class of this name in `decks.memory.answers`, without the
student. Days are written as 2031-05-02, moments in UTC as 2031-05-02T18:00:00.000000+00:00. Answers and
displays stand in the order in which they came in, which counts where a clock was wrong.

    {"display": {"display_id": "...", "card_id": "rook-check", "fen": "...", "how": "asked", ...}}
    {"answer": {"answer_id": "...", "item": "motif:back-rank/play", "grade": "found", "seconds": 21.5, ...}}
    {"contest": {"contest_id": "...", "answer_id": "...", "grade": "found", "time": "..."}}
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date, datetime
from functools import cache
from math import isfinite
from pathlib import Path
from types import NoneType
from typing import Any, Literal, get_args, get_origin, get_type_hints

import chess

from decks.memory.answers import (
    Answer,
    Contest,
    Correction,
    Display,
    Logged,
    Withdrawal,
    check_moment,
    parse_item,
)
from decks.memory.strands import TIERS
from decks.scorebook.damage import LAST_YEAR
from decks.scorebook.parts import part_of
from decks.scorebook.rows import row_of
from patterns.reading.text import safe

KIND, VERSION = "log of a student", 1

LINE_LIMIT = 64 * 1024
"""Bytes of a line. An answer has about 700."""

HINTS_LIMIT = 1000

_CLASSES: Mapping[str, type[Logged]] = {
    "answer": Answer,
    "display": Display,
    "correction": Correction,
    "contest": Contest,
    "withdrawal": Withdrawal,
}
_KINDS = {made: name for name, made in _CLASSES.items()}


class HandInError(Exception):
    """A file that can't be collected. The message is one line that names the file and its line."""

    def __init__(self, file: Path, line: int, wrong: str) -> None:
        super().__init__(f"{file}, line {line}: {wrong}")


@dataclass(frozen=True)
class HandedIn:
    """A log that was handed in. `decks`: titles by uuid. `lines`: each with its number in the file."""

    file: Path
    student: str
    decks: Mapping[str, str]
    lines: Sequence[tuple[int, Logged]]

    def wrong(self, line: int, what: str) -> HandInError:
        """The error of a line of this file."""
        return HandInError(self.file, line, what)


def written(student: str, decks: Mapping[str, str], log: Sequence[Logged]) -> Iterator[str]:
    """The lines of the file."""
    first = {"rondeau": KIND, "version": VERSION, "student": student, "decks": dict(decks)}
    yield _line({**first, "lines": len(log)})
    for each in log:
        row = row_of(each)
        row.pop("student", None)
        yield _line({_KINDS[type(each)]: row})


def _line(found: object) -> str:
    return f"{json.dumps(found, ensure_ascii=False)}\n"


def save(file: Path, lines: Iterable[str]) -> None:
    """Write the file, whole or not at all. What was there before is replaced."""
    with part_of(file) as part:
        part.write_text("".join(lines), encoding="utf-8", newline="\n")
        os.replace(part, file)


def is_handed_in(file: Path) -> bool:
    """Whether a file begins like one of this format, in whatever version."""
    try:
        with file.open("rb") as opened:
            return bool(_object(opened.readline(LINE_LIMIT)).get("rondeau") == KIND)
    except (OSError, ValueError):
        return False


def read(file: Path, latest: date) -> HandedIn:
    """Read a file and check every line of it. HandInError for the first one that is wrong, OSError.

    `latest`: nothing can be of a later date, unless the student has voided what was answered on it.
    """
    with file.open("rb") as opened:
        lines = enumerate(iter(lambda: opened.readline(LINE_LIMIT + 1), b""), 1)
        handed = _read(file, lines)
    voided = _voided([each for _, each in handed.lines])
    for number, each in handed.lines:
        day = _date_of(each)
        if day > latest and not _is_voided(each, voided):
            raise handed.wrong(number, f"{day} is still to come: was the clock of that computer right?")
    return handed


def _read(file: Path, lines: Iterator[tuple[int, bytes]]) -> HandedIn:
    number, found = next(lines, (1, b""))
    log = []
    try:
        first = _first_line(found)
        for number, found in lines:
            if number > first["lines"] + 1:
                raise ValueError(f"the file has more than the {first['lines']} lines that it says")
            log.append((number, _logged(found)))
    except ValueError as error:
        raise HandInError(file, number, safe(error)) from error
    if len(log) < first["lines"]:
        raise HandInError(
            file, number, f"the file ends here, but {first['lines']} lines should follow the first"
        )
    return HandedIn(file, first["student"], first["decks"], log)


def _voided(log: Sequence[Logged]) -> Mapping[str, date]:
    """The answers that their last correction voids, with their study days."""
    corrections = [each for each in log if isinstance(each, Correction)]
    last = {each.answer_id: each for each in sorted(corrections, key=lambda it: (it.time, it.correction_id))}
    void = {answer for answer, correction in last.items() if correction.grade is None}
    return {
        each.answer_id: each.study_day for each in log if isinstance(each, Answer) if each.answer_id in void
    }


def _is_voided(logged: Logged, voided: Mapping[str, date]) -> bool:
    """Whether this was voided, belongs to what was, or was displayed on a day that was."""
    if isinstance(logged, Display):
        return logged.study_day in voided.values()
    return logged.answer_id in voided


def _date_of(logged: Logged) -> date:
    """The latest date that it has."""
    moment = logged.time.date()
    return max(moment, logged.study_day) if isinstance(logged, Answer | Display) else moment


def _first_line(line: bytes) -> dict[str, Any]:
    """The first line, which says what the file is. ValueError if it is of something else."""
    found = _object(line)
    if found.get("rondeau") != KIND:
        raise ValueError("this is no file that `rondeau hand-in` has written")
    version = found.get("version")
    if version != VERSION:
        raise ValueError(f"the file is of version {version!r}, and this program reads version {VERSION}")
    _expect(found, "rondeau", "version", "student", "decks", "lines")
    _value("student", str, found["student"])
    if _value("lines", int, found["lines"]) < 0 or not isinstance(found["decks"], dict):
        raise ValueError("lines must be a number, and decks an object")
    for deck, title in found["decks"].items():
        _value(deck, str, title)
    return found


def _logged(line: bytes) -> Logged:
    """What a line holds. ValueError if it is wrong in any way."""
    found = _object(line)
    kind = next(iter(found), "")
    if len(found) != 1 or kind not in _CLASSES:
        raise ValueError(f"expected one of {', '.join(_CLASSES)}")
    row, made = found[kind], _CLASSES[kind]
    if not isinstance(row, dict):
        raise ValueError(f"{kind} must be an object")
    types = _types(kind)
    _expect(row, *types)
    values = {name: _value(name, types[name], row[name]) for name in types}
    if "student" in {field.name for field in fields(made)}:
        values["student"] = 0  # whose it is, is known by the scorebook that takes it
    logged = made(**values)
    _check(logged)
    return logged


def _check(logged: Logged) -> None:
    """ValueError if something in it has the right type, but can't be."""
    check_moment(logged.time)
    days = [logged.time.date()]
    if isinstance(logged, Answer | Display):
        _check_position(logged.fen)
        days.append(logged.study_day)
        if logged.item is not None:
            parse_item(logged.item)
    if not all(1 < day.year < LAST_YEAR for day in days):
        raise ValueError(f"{max(days)} is not a day of our time")
    if isinstance(logged, Answer):
        if not isinstance(json.loads(logged.raw), dict | list):
            raise ValueError("raw must be an object or a list")
        if logged.tier not in (None, *TIERS) or logged.hints > HINTS_LIMIT:
            raise ValueError(f"tier {logged.tier} and hints {logged.hints} can't be")


@cache
def _check_position(fen: str) -> None:
    """ValueError if this is no position. A position is mostly in several lines."""
    chess.Board(fen)


@cache
def _types(kind: str) -> dict[str, Any]:
    """The type of each field but the student, by name."""
    hints = get_type_hints(_CLASSES[kind])
    return {field.name: hints[field.name] for field in fields(_CLASSES[kind]) if field.name != "student"}


def _value(name: str, kind: Any, found: Any) -> Any:
    """A value of this type from JSON. ValueError if it is none."""
    if NoneType in get_args(kind):
        kinds = [each for each in get_args(kind) if each is not NoneType]
        return None if found is None else _value(name, kinds[0], found)
    if get_origin(kind) is Literal:
        if found not in get_args(kind):
            raise ValueError(f"{name} must be one of {', '.join(get_args(kind))}")
        return found
    if kind in (date, datetime) and isinstance(found, str):
        return kind.fromisoformat(found)
    is_number = isinstance(found, int | float) and not isinstance(found, bool)
    if kind is float and is_number and isfinite(found):
        return float(found)
    if kind in (str, int, bool) and type(found) is kind:
        str(found).encode()  # half a character can't be kept
        return found
    raise ValueError(f"{name} must be {_IN_WORDS[kind]}")


_IN_WORDS = {
    str: "text",
    int: "a whole number",
    float: "a number",
    bool: "true or false",
    date: "a date",
    datetime: "a moment",
}


def _object(line: bytes) -> dict[str, Any]:
    """The object of a line. ValueError if there is none."""
    if len(line) > LINE_LIMIT:
        raise ValueError(f"the line is longer than {LINE_LIMIT} bytes")
    try:
        found = json.loads(line.decode())
    except (ValueError, RecursionError) as error:
        raise ValueError("this is not a line of JSON in UTF-8; perhaps the file was cut short") from error
    if not isinstance(found, dict):
        raise ValueError("expected an object")
    return found


def _expect(found: Mapping[str, object], *keys: str) -> None:
    wrong: Iterable[str] = sorted(found.keys() ^ set(keys))
    for key in wrong:
        raise ValueError(f"{key!r} is missing" if key in keys else f"{key!r} is not known here")
