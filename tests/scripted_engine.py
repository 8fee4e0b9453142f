"""A UCI engine that answers from a script, run as a process: `python scripted_engine.py SCRIPT`.

The script is a JSON object. `name`: what the engine calls itself. `scores`: by EPD and UCI move, centipawns;
all other moves are worth nothing. `lines`: by EPD and UCI move, the moves that follow. `log`: a file to which
it adds a line for every search: its process id and the EPD. `dies_in`: EPDs in which it dies. `slow_in`: EPDs
in which a search takes `seconds`. How it talks is `fake_engine`'s.
"""

from __future__ import annotations

import json
import os
import sys
import time
from pathlib import Path
from typing import Any

import chess
import fake_engine

SCRIPT: dict[str, Any] = {}


def write_engine(folder: Path, **script: Any) -> Path:
    """A program in `folder` that runs this engine with this script. Its log is `folder / "searches"`."""
    script = {"name": "Scripted 1", "log": str(folder / "searches"), **script}
    file = folder / "script.json"
    file.write_text(json.dumps(script))
    program = folder / "scripted-engine"
    here = Path(__file__).resolve()
    path = f"{here.parent.parent}:{here.parent}"
    program.write_text(f'#!/bin/sh\nPYTHONPATH="{path}" exec "{sys.executable}" "{here}" "{file}"\n')
    program.chmod(0o755)
    return program


def searches(folder: Path) -> list[str]:
    """The EPDs of all searches so far, in order."""
    log = folder / "searches"
    return [line.split(" ", 1)[1] for line in log.read_text().splitlines()] if log.exists() else []


def processes(folder: Path) -> set[int]:
    """The process ids of all engines that have searched."""
    log = folder / "searches"
    return {int(line.split()[0]) for line in log.read_text().splitlines()} if log.exists() else set()


def search(mode: str, board: chess.Board, depth: int, lines: int, only: list[str], hash_mb: int) -> None:
    epd = board.epd()
    with Path(SCRIPT["log"]).open("a") as log:
        print(os.getpid(), epd, file=log)
    if epd in SCRIPT.get("slow_in", ()):
        time.sleep(SCRIPT["seconds"])
    if epd in SCRIPT.get("dies_in", ()):
        os._exit(3)
    scores = SCRIPT.get("scores", {}).get(epd, {})
    follow = SCRIPT.get("lines", {}).get(epd, {})
    moves = [move.uci() for move in board.legal_moves if not only or move.uci() in only]
    moves.sort(key=lambda move: (-scores.get(move, 0), move))
    for number, move in enumerate(moves[:lines], 1):
        line = " ".join([move, *follow.get(move, ())])
        fake_engine.say(f"info depth {depth} multipv {number} score cp {scores.get(move, 0)} pv {line}")
    fake_engine.say(f"bestmove {moves[0]}")


def handshake(mode: str) -> None:
    fake_engine.say(f"id name {SCRIPT['name']}")
    fake_engine.say("option name MultiPV type spin default 1 min 1 max 500")
    fake_engine.say("option name Hash type spin default 16 min 1 max 1024")
    fake_engine.say("uciok")


if __name__ == "__main__":
    SCRIPT.update(json.loads(Path(sys.argv[1]).read_text()))
    fake_engine.search, fake_engine.handshake = search, handshake
    fake_engine.main("steady")
