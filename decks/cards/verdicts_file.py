"""`verdicts.jsonl`: an engine's verdict on every legal move, for every position where the student may move.

Each text line is a JSON object. All of them can be computed again:

    {"epd": "...", "engine": "...", "conversion": "wdl", "settled": true,
     "moves": {"d1d8": {"score": 0.98, "cp": 560, "depth": 14, "line": ["e8d8"], "end": 0.99},
               "d1d7": {"score": 1.0, "mate": 3, "depth": 14, "line": ["e8f8"]}}}

`end` is the score at the end of the line, where an engine has looked. A move may also be `"unclear": true`.
Files of the first version have no `settled`, `unclear`, `cp`, `mate` and `end`. They are still read.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import chess

from decks.asks.catalogue import moves_judged
from decks.cards.faults import Fault, Faults, quoted
from decks.tasks.card import Card
from decks.tasks.lines import legal_part
from patterns.engines.scores import CENTIPAWN_CAP, MAX_DEPTH, MoveVerdict, PositionVerdicts

VERDICTS_FILE = "verdicts.jsonl"

CONVERSIONS = ("wdl", "logistic")
"""How an expected score was computed: from the engine's win/draw/loss report, or by the logistic curve."""

_LINE = re.compile(r"[^\n]+")
_UCI = re.compile(r"([a-h][1-8])(?!\1)[a-h][1-8][nbrq]?")


@dataclass(frozen=True)
class StoredVerdicts:
    """What a verdicts file holds: verdicts by EPD, their text lines (from 1) by EPD, and faults."""

    by_epd: Mapping[str, PositionVerdicts]
    text_lines: Mapping[str, int]
    faults: tuple[Fault, ...]


def positions_to_judge(cards: Iterable[Card]) -> dict[str, chess.Board]:
    """By EPD, the positions that the asks of `cards` need verdicts for, in the order of the cards."""
    boards = (move.board for card in cards for move in moves_judged(card))
    return {board.epd(): board for board in boards}


def read_verdicts(text: str) -> StoredVerdicts:
    """Read a verdicts file.

    Each position must be possible, and must have a verdict for every legal move. Only the form of the
    continuations is checked, because this keeps opening a deck fast. `illegal_continuations` checks the rest.
    """
    by_epd: dict[str, PositionVerdicts] = {}
    text_lines: dict[str, int] = {}
    faults = Faults(VERDICTS_FILE)
    text = text.removeprefix("\ufeff")
    number, counted_to = 1, 0
    for filled in _LINE.finditer(text):  # no list: a file may have millions of empty lines
        number += text.count("\n", counted_to, filled.start())
        line, counted_to = filled[0], filled.start()
        if not line.strip():
            continue
        try:
            verdicts = _position(_json(line))
            if verdicts.epd in by_epd:
                raise ValueError(f"the same position as in line {text_lines[verdicts.epd]}")
        except ValueError as error:
            remedy = "delete the line, and `rondeau check` will compute it again"
            faults.add(Fault(VERDICTS_FILE, number, None, f"malformed verdict: {error}; {remedy}"))
            if faults.too_many:
                break
        else:
            by_epd[verdicts.epd] = verdicts
            text_lines[verdicts.epd] = number
    return StoredVerdicts(by_epd, text_lines, tuple(faults))


def write_verdicts(verdicts: Iterable[PositionVerdicts]) -> str:
    """The text of a verdicts file, sorted by EPD, moves best first. The same verdicts give the same bytes."""
    return "".join(f"{_line(one)}\n" for one in sorted(verdicts, key=lambda one: one.epd))


def stale(stored: StoredVerdicts, needed: Mapping[str, chess.Board]) -> tuple[str, ...]:
    """The EPDs of stored verdicts that no card needs."""
    return tuple(epd for epd in stored.by_epd if epd not in needed)


def missing(stored: StoredVerdicts, needed: Mapping[str, chess.Board]) -> tuple[str, ...]:
    """The EPDs that cards need verdicts for, but that have none."""
    return tuple(epd for epd in needed if epd not in stored.by_epd)


def illegal_continuations(stored: StoredVerdicts) -> tuple[Fault, ...]:
    """A fault for every stored continuation that can't be played."""
    faults = []
    for epd, verdicts in stored.by_epd.items():
        board = chess.Board.from_epd(epd)[0]
        for move, verdict in verdicts.moves.items():
            line = (move, *verdict.line)
            part = legal_part(board, line)
            if len(part) < len(line):
                message = f"malformed verdict: after {' '.join(part)}, {quoted(line[len(part)])} is not legal"
                faults.append(Fault(VERDICTS_FILE, stored.text_lines[epd], None, message))
    return tuple(faults)


def _line(verdicts: PositionVerdicts) -> str:
    parts = {
        "epd": verdicts.epd,
        "engine": verdicts.engine,
        "conversion": verdicts.conversion,
        **({"settled": True} if verdicts.settled else {}),
        "moves": {move: _move_parts(one) for move, one in verdicts.moves.items()},
    }
    return json.dumps(parts)


def _move_parts(one: MoveVerdict) -> dict[str, object]:
    measured = {"cp": one.centipawns, "mate": one.mate}
    return {
        "score": round(one.score, 4),
        **{name: value for name, value in measured.items() if value is not None},
        "depth": one.depth,
        **({"unclear": True} if one.unclear else {}),
        "line": list(one.line),
        **({} if one.end is None else {"end": round(one.end, 4)}),
    }


def _json(line: str) -> Any:
    try:
        return json.loads(line)
    except (ValueError, RecursionError) as error:
        raise ValueError(f"not JSON: {error}") from error


def _position(found: Any) -> PositionVerdicts:
    """The verdicts of one text line. ValueError says what is wrong with it."""
    _expect_keys(found, ("epd", "engine", "conversion", "moves"), may=("settled",))
    epd, engine, conversion, moves = (found[key] for key in ("epd", "engine", "conversion", "moves"))
    if not (isinstance(epd, str) and isinstance(engine, str) and isinstance(moves, dict)):
        raise ValueError("epd and engine must be text, moves an object")
    if conversion not in CONVERSIONS:
        raise ValueError(f"conversion must be {' or '.join(CONVERSIONS)}, not {quoted(str(conversion))}")
    settled = found.get("settled", False)
    if not isinstance(settled, bool):
        raise ValueError("settled must be true or false")
    board = _board(epd)
    legal = {move.uci() for move in board.legal_moves}
    if legal != moves.keys():
        odd = sorted(legal ^ moves.keys())
        what = "no verdict for the legal move" if odd[0] in legal else "a verdict for the illegal move"
        raise ValueError(f"{what} {quoted(odd[0])}")
    by_move = {uci: _move(uci, moves[uci]) for uci in moves}
    return PositionVerdicts(epd, engine, conversion, by_move, settled)


def _board(epd: str) -> chess.Board:
    """The position of a four-field EPD, which must have the form that this program writes."""
    try:
        board, operations = chess.Board.from_epd(epd)
    except (ValueError, IndexError) as error:
        raise ValueError(f"{quoted(epd, 90)} is not an EPD: {error}") from error
    if operations or not board.is_valid():
        raise ValueError(f"{quoted(epd, 90)} is not the EPD of a possible position")
    if board.epd() != epd:
        raise ValueError(f"{quoted(epd, 90)} must be written {board.epd()}")
    return board


def _move(uci: str, found: Any) -> MoveVerdict:
    _expect_keys(found, ("score", "depth", "line"), may=("cp", "mate", "unclear", "end"))
    score, depth, line = found["score"], found["depth"], found["line"]
    for name in ("score", "end"):
        value = found.get(name, 0)
        if not isinstance(value, int | float) or isinstance(value, bool) or not 0 <= value <= 1:
            raise ValueError(f"the {name} of {uci} must be a number from 0 to 1")
    if not isinstance(depth, int) or isinstance(depth, bool) or not 0 <= depth <= MAX_DEPTH:
        raise ValueError(f"the depth of {uci} must be a whole number from 0 to {MAX_DEPTH}")
    if not isinstance(line, list) or not all(isinstance(one, str) and _UCI.fullmatch(one) for one in line):
        raise ValueError(f"the line of {uci} must be a list of UCI moves")
    if "cp" in found and "mate" in found:
        raise ValueError(f"{uci} has both cp and mate")
    centipawns = _whole(found, "cp", uci, CENTIPAWN_CAP)
    mate = _whole(found, "mate", uci, MAX_DEPTH)
    if mate == 0 or (mate is not None and float(score) != (mate > 0)):
        raise ValueError(f"the mate of {uci} does not fit its score")
    unclear = found.get("unclear", False)
    if not isinstance(unclear, bool):
        raise ValueError(f"unclear must be true or false, of {uci}")
    end = float(found["end"]) if "end" in found else None
    return MoveVerdict(float(score), depth, tuple(line), centipawns, mate, unclear, end)


def _whole(found: Mapping[str, Any], name: str, uci: str, most: int) -> int | None:
    """The whole number of this name, None if there is none. ValueError beyond `most` on either side."""
    value = found.get(name)
    if name in found and (not isinstance(value, int) or isinstance(value, bool) or abs(value) > most):
        raise ValueError(f"the {name} of {uci} must be a whole number from {-most} to {most}")
    return value


def _expect_keys(found: Any, keys: tuple[str, ...], may: tuple[str, ...] = ()) -> None:
    """`keys`: those that must be there; `may`: those that may. ValueError otherwise."""
    if not isinstance(found, dict) or not set(keys) <= set(found) <= {*keys, *may}:
        raise ValueError(f"expected an object with {', '.join(keys)}, each once")
