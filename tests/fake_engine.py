"""A scripted UCI engine, run as a process: `python fake_engine.py MODE`. Its name ends with its process id.

FAKE_ENGINE_NAME is how the name begins, so that an engine can pass for one that is strong enough. The file
named by FAKE_ENGINE_SEARCHES is made when a search begins.

Well-behaved modes score a move only by its squares, so that tests can compute the scores too.
Modes: steady (MultiPV), wdl, narrow (MultiPV of at most 5), plain (one line at a time), bounds (one line,
at the last depth only bounds), mirage (two moves that look best until searched deep), short (lines of one
move), clear (one good move), fickle (the same, but with little memory there are two), mates and mates-plain
(every move mates);
crash, hang, babble, noise, silent, illegal, wdl-missing, wdl-wrong, below (a depth of -5), rank (line
99999999), drip (a line now and then, without end) (`search` shows what each says);
not-uci, leaves, mute (no handshake); stubborn (stays when told to quit, and has a child process that adds
to the file named by FAKE_ENGINE_PULSE as long as it lives), stuck (the same, and it hangs in a search).
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import chess

HASH_MB = 64  # the size that we are given for a first search
MIRAGE = {"e2e4": (500, -200), "d2d4": (450, 20)}  # by move: centipawns below depth 8, and from there on
OTHERS = (0, 30)
CLEAR = {"e2e4": (300, 300), "d2d4": (0, 290)}  # by move: centipawns with the first hash size, and with less

PULSE = """
import os, time
with open(os.environ.get("FAKE_ENGINE_PULSE", os.devnull), "w") as file:
    while True:
        print("alive", file=file, flush=True)
        time.sleep(0.02)
"""


def centipawns(move: chess.Move) -> int:
    """The score of a move for the side that makes it, in the well-behaved modes: -300 to 296."""
    return (move.from_square * 37 + move.to_square * 11 + (move.promotion or 0)) % 150 * 4 - 300


def win_draw_loss(score: int) -> tuple[int, int, int]:
    """The report of the wdl mode for a score: a tenth of it in per mille, and half of the rest drawn."""
    win = 250 + score // 2
    return win, 500, 500 - win


def say(text: str) -> None:
    print(text, flush=True)


def score_of(mode: str, move: chess.Move, depth: int, hash_mb: int) -> int:
    if mode == "mirage":
        return MIRAGE.get(move.uci(), OTHERS)[depth >= 8]
    if mode in ("clear", "fickle"):
        return CLEAR.get(move.uci(), (0, 0))[mode == "fickle" and hash_mb < HASH_MB]
    return centipawns(move)


def search(mode: str, board: chess.Board, depth: int, lines: int, only: list[str], hash_mb: int) -> None:
    moves = [move for move in board.legal_moves if not only or move.uci() in only]
    moves.sort(key=lambda move: (-score_of(mode, move, depth, hash_mb), move.uci()))
    best = moves[0]
    if "FAKE_ENGINE_SEARCHES" in os.environ:
        Path(os.environ["FAKE_ENGINE_SEARCHES"]).touch()
    if mode == "crash":
        say(f"info depth 1 score cp 10 pv {best.uci()}")
        os._exit(3)
    elif mode in ("hang", "stuck"):
        say(f"info depth 1 score cp 10 pv {best.uci()}")
        time.sleep(600)
    elif mode == "babble":
        while True:
            say("info depth 1 score cp 10")
    elif mode == "drip":
        while True:
            say(f"info depth 1 score cp 10 pv {best.uci()}")
            time.sleep(0.1)
    elif mode in ("below", "rank"):
        wrong = "depth -5" if mode == "below" else "depth 1 multipv 99999999"
        say(f"info {wrong} score cp 10 pv {best.uci()}")
    elif mode == "noise":
        for text in ("\x1b[2J}{", "info depth x score cp y pv z9", "info score", "readyok", "option name"):
            say(text)
        print("stderr too", file=sys.stderr, flush=True)
    elif mode == "illegal":
        say("bestmove e2e5")
        return
    elif mode == "bounds":
        board.push(best)
        replies = [move.uci() for move in list(board.legal_moves)[:1]]
        board.pop()
        for line in ([best.uci(), *replies], [moves[-1].uci()]):
            say(f"info depth {depth - 1} score cp 0 pv {' '.join(line)}")
        for bound in (f"{centipawns(best) - 40} lowerbound", f"{centipawns(best) + 60} upperbound"):
            say(f"info depth {depth} score cp {bound}" + (f" pv {best.uci()}" if "lower" in bound else ""))
    elif mode != "silent":
        for number, move in enumerate(moves[:lines], 1):
            child = board.copy()
            child.push(move)
            line = [move.uci(), *[reply.uci() for reply in list(child.legal_moves)[:1]]]
            score = score_of(mode, move, depth, hash_mb)
            said = (
                f"cp {score}" if not mode.startswith("mates") else "mate -2" if "plain" in mode else "mate 3"
            )
            text = f"info depth {depth} multipv {number} score {said}"
            if mode == "wdl":
                text += " wdl {} {} {}".format(*win_draw_loss(score))
            elif mode == "wdl-wrong":
                text += " wdl 0 0 0"
            say(text + " pv " + " ".join(line[:1] if mode == "short" else line))
    say(f"bestmove {best.uci()}")


def handshake(mode: str) -> None:
    name = os.environ.get("FAKE_ENGINE_NAME", "Fake\x1b")
    say(f"id name {name} {mode} {os.getpid()}")
    if mode not in ("plain", "bounds", "mates-plain"):
        say(f"option name MultiPV type spin default 1 min 1 max {5 if mode == 'narrow' else 500}")
    if mode.startswith("wdl"):
        say("option name UCI_ShowWDL type check default false")
    say("option name Hash type spin default 16 min 1 max 1024")
    say("uciok")


def main(mode: str) -> None:
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    if mode == "leaves":
        return
    if mode in ("stubborn", "stuck"):
        signal.signal(signal.SIGTERM, signal.SIG_IGN)
        subprocess.Popen([sys.executable, "-c", PULSE])
    board, lines, hash_mb = chess.Board(), 1, HASH_MB
    for command in sys.stdin:
        words = command.split()
        if mode in ("not-uci", "mute"):
            say("what?") if mode == "not-uci" else None
        elif words[0] == "uci":
            handshake(mode)
        elif words[0] == "isready":
            say("readyok")
        elif words[0] == "setoption" and words[2] == "MultiPV":
            lines = int(words[4])
        elif words[0] == "setoption" and words[2] == "Hash":
            hash_mb = int(words[4])
        elif words[0] == "position":
            board = chess.Board() if words[1] == "startpos" else chess.Board(" ".join(words[2:8]))
            for move in words[words.index("moves") + 1 :] if "moves" in words else []:
                board.push_uci(move)
        elif words[0] == "go":
            depth = int(words[words.index("depth") + 1]) if "depth" in words else 1
            only = words[words.index("searchmoves") + 1 :] if "searchmoves" in words else []
            search(mode, board, depth, lines, only, hash_mb)
        elif words[0] == "quit" and mode != "stubborn":
            return
    while mode == "stubborn":
        time.sleep(600)


if __name__ == "__main__":
    main(sys.argv[1])
