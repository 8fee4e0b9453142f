"""Games with a known losing move, and what Stockfish answered when they were traced: data for tests.

`python tests/traced_games.py ENGINE` asks an engine everything again and writes `traced_games.json`. Tests
read the answers from there, so that they need no engine.
"""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from decks.build.tracing import Seat, Side, TracedGame, trace
from patterns.engines.engine_pass import Awaited
from patterns.engines.judging import Judge, find_engine
from patterns.engines.questions import Answer, Asked, answered
from patterns.engines.scores import Compared, Evaluation
from patterns.reading.pgn import Game, read_games

RECORD = Path(__file__).with_name("traced_games.json")
LINE_PLIES = 12
"""Plies of a line that are recorded: enough for its motifs."""


@dataclass(frozen=True)
class Known:
    """A game whose losing move is known.

    `source`: why. `root`: the losing move. `holds`: a move that would have held; empty if any of several.
    `kind`, `motif`: empty if the sources do not name them.
    """

    name: str
    source: str
    side: Side
    root: str
    holds: str
    kind: str
    motif: str
    pgn: str

    @property
    def game(self) -> Game:
        (found,) = read_games(io.StringIO(self.pgn))
        assert isinstance(found, Game), found
        return found


def from_fen(fen: str, moves: str) -> str:
    return f'[SetUp "1"]\n[FEN "{fen}"]\n\n{moves}'


PUBLISHED = (
    Known(
        "Bernstein-Capablanca, Moscow 1914",
        "annotators agree that the pawn on c3 must not be taken (moves and judgement from memory)",
        "white",
        "27. Nxc3",
        "",
        "let in",
        "",
        "1. d4 d5 2. c4 e6 3. Nc3 Nf6 4. Nf3 Be7 5. Bg5 O-O 6. e3 Nbd7 7. Rc1 b6 8. cxd5 exd5 9. Qa4 "
        "Bb7 10. Ba6 Bxa6 11. Qxa6 c5 12. Bxf6 Nxf6 13. dxc5 bxc5 14. O-O Qb6 15. Qe2 c4 16. Rfd1 "
        "Rfd8 17. Nd4 Bb4 18. b3 Rac8 19. bxc4 dxc4 20. Rc2 Bxc3 21. Rxc3 Nd5 22. Rc2 c3 23. Rdc1 Rc5 "
        "24. Nb3 Rc6 25. Nd4 Rc7 26. Nb5 Rc5 27. Nxc3 Nxc3 28. Rxc3 Rxc3 29. Rxc3 Qb2 0-1",
    ),
    Known(
        "Chigorin-Steinitz, 23rd game of the match, Havana 1892",
        "32. Bb4 gives up the guard of h2 and is mated in two (moves and judgement from memory)",
        "white",
        "32. Bb4",
        "",
        "let in",
        "",
        "1. e4 e5 2. f4 exf4 3. Nf3 Nf6 4. e5 Nh5 5. Be2 g6 6. d4 Bg7 7. O-O d6 8. Nc3 O-O 9. Ne1 "
        "dxe5 10. Bxh5 gxh5 11. dxe5 Qxd1 12. Nxd1 Nc6 13. Bxf4 Bf5 14. Ne3 Be4 15. Nf3 Rfe8 16. Ng5 "
        "Bg6 17. Nd5 Bxe5 18. Nxc7 Bxc7 19. Bxc7 Rac8 20. Bg3 Nd4 21. c3 Ne2+ 22. Kf2 h4 23. Bd6 Nd4 "
        "24. cxd4 Rc2+ 25. Kg1 Ree2 26. Rae1 Rxg2+ 27. Kh1 Kg7 28. Re8 f5 29. Ne6+ Kf6 30. Re7 Rge2 "
        "31. d5 Rcd2 32. Bb4 Rxh2+ 0-1",
    ),
    Known(
        "Petrosian-Bronstein, Candidates, Amsterdam 1956",
        "36. Ng5 leaves the queen on d6 to a knight (moves and judgement from memory)",
        "white",
        "36. Ng5",
        "",
        "let in",
        "",
        "1. c4 Nf6 2. Nc3 g6 3. g3 Bg7 4. Bg2 O-O 5. Nf3 c5 6. O-O Nc6 7. d4 d6 8. dxc5 dxc5 9. Be3 "
        "Nd7 10. Qc1 Nd4 11. Rd1 e5 12. Bh6 Qa5 13. Bxg7 Kxg7 14. Kh1 Rb8 15. Nd2 a6 16. e3 Ne6 17. "
        "a4 h5 18. h4 f5 19. Nd5 Kh7 20. b3 Rf7 21. Nf3 Qd8 22. Qc3 Qh8 23. e4 fxe4 24. Nd2 Qg7 25. "
        "Nxe4 Kh8 26. Rd2 Rf8 27. a5 Nd4 28. b4 cxb4 29. Qxb4 Nf5 30. Rad1 Nd4 31. Re1 Nc6 32. Qa3 "
        "Nd4 33. Rb2 Nc6 34. Reb1 Nd4 35. Qd6 Nf5 36. Ng5 Nxd6 0-1",
    ),
    Known(
        "Keres-Arlamowski, Szczawno Zdroj 1950",
        "5... Ngf6 is mated by the knight, since the pawn on e7 is pinned (moves and judgement from memory)",
        "black",
        "5... Ngf6",
        "",
        "let in",
        "",
        "1. e4 c6 2. Nc3 d5 3. Nf3 dxe4 4. Nxe4 Nd7 5. Qe2 Ngf6 6. Nd6# 1-0",
    ),
    Known(
        "Gibaud-Lazard, Paris 1924",
        "4. h3 loses the queen or is mated (moves and judgement from memory)",
        "white",
        "4. h3",
        "",
        "let in",
        "",
        "1. d4 Nf6 2. Nd2 e5 3. dxe5 Ng4 4. h3 Ne3 0-1",
    ),
    Known(
        "Combe-Hasenfuss, Olympiad, Folkestone 1933",
        "4. Nxe5 loses the knight to a check (moves and judgement from memory)",
        "white",
        "4. Nxe5",
        "",
        "let in",
        "fork",
        "1. d4 c5 2. c4 cxd4 3. Nf3 e5 4. Nxe5 Qa5+ 0-1",
    ),
    Known(
        "Christiansen-Karpov, Wijk aan Zee 1993",
        "11... Bd6 leaves bishop and knight to a double attack (moves and judgement from memory)",
        "black",
        "11... Bd6",
        "",
        "let in",
        "fork",
        "1. d4 Nf6 2. c4 e6 3. Nf3 b6 4. a3 Ba6 5. Qc2 Bb7 6. Nc3 c5 7. e4 cxd4 8. Nxd4 Nc6 9. Nxc6 "
        "Bxc6 10. Bf4 Nh5 11. Be3 Bd6 12. Qd1 1-0",
    ),
    Known(
        "Samisch-Capablanca, Carlsbad 1929",
        "9... Ba6 loses a piece to 10. Qa4 and d5 (moves up to there, and judgement, from memory)",
        "black",
        "9... Ba6",
        "",
        "let in",
        "",
        "1. d4 Nf6 2. c4 e6 3. Nc3 Bb4 4. a3 Bxc3+ 5. bxc3 d6 6. f3 e5 7. e4 Nc6 8. Be3 b6 9. Bd3 Ba6 "
        "10. Qa4 1-0",
    ),
)

CONSTRUCTED = (
    Known(
        "the rook leaves the first rank",
        "a mate on the back rank follows at once",
        "white",
        "2. Rc7",
        "",
        "let in",
        "back-rank",
        from_fen("3r2k1/p4ppp/8/8/8/8/P4PPP/2R3K1 w - - 0 1", "1. a3 a6 2. Rc7 Rd1# 0-1"),
    ),
    Known(
        "the mate on the back rank is not given",
        "the move that mates is on the board",
        "black",
        "1... a6",
        "1... Rd1#",
        "overlooked",
        "back-rank",
        from_fen("3r2k1/p4ppp/8/8/8/8/P4PPP/2R3K1 w - - 0 1", "1. Rc7 a6 2. g3 Rd1+ 3. Kg2 Rd2 1/2-1/2"),
    ),
    Known(
        "a knight forks king and rook",
        "the king steps where the knight forks; it had other squares",
        "white",
        "1. Kf1",
        "",
        "let in",
        "fork",
        from_fen("6k1/5pp1/7p/8/2n5/8/5PPP/1R4K1 w - - 0 1", "1. Kf1 Nd2+ 2. Ke2 Nxb1 0-1"),
    ),
    Known(
        "the opposition is given up",
        "only keeping the opposition draws (common practice, no source)",
        "black",
        "1... Kd6",
        "1... Kf6",
        "",
        "",
        from_fen(
            "8/8/4k3/8/4PK2/8/8/8 b - - 0 1",
            "1... Kd6 2. Kf5 Ke7 3. Ke5 Kd7 4. Kf6 Ke8 5. Ke6 Kf8 6. e5 Ke8 7. Kf6 Kf8 8. e6 Ke8 9. e7 Kd7 "
            "10. Kf7 Kd6 11. e8=Q 1-0",
        ),
    ),
)
EVERY = (*PUBLISHED, *CONSTRUCTED)


def key_of(question: Asked) -> str:
    return f"{question.board.epd()}; {question.effort_name}"


class Recorded:
    """Engines whose answers are recorded, or are asked of a judge and recorded now."""

    workers = 1

    def __init__(self, answers: Mapping[str, Answer], judge: Judge | None = None) -> None:
        self.answers = dict(answers)
        self._judge = judge

    def ask(self, question: Asked) -> Awaited:
        key = key_of(question)
        if key not in self.answers and self._judge is not None:
            self.answers[key] = answered(question, self._judge)
        return Awaited(question, self.answers[key])

    def wait(self) -> None:
        raise AssertionError("nothing is in work")


@cache
def recorded() -> Mapping[str, Answer]:
    """The answers, by question."""
    found: dict[str, Answer] = {}
    for key, parts in json.loads(RECORD.read_text())["answers"].items():
        evaluations = [
            Evaluation(score, centipawns, tuple(line.split())) for score, centipawns, line in parts
        ]
        found[key] = Compared(*evaluations) if len(evaluations) == 2 else evaluations[0]
    return found


@cache
def traced(known: Known) -> TracedGame:
    """The game as it is traced with the recorded answers."""
    (found,) = trace([Seat(known.game, known.side)], Recorded(recorded()))
    assert isinstance(found, TracedGame)
    return found


def write(engine: str) -> None:
    with Judge.open(find_engine(engine)) as judge:
        engines = Recorded({}, judge)
        for known in EVERY:
            list(trace([Seat(known.game, known.side)], engines))
            print(known.name, flush=True)
        answers = {key: _parts(answer) for key, answer in sorted(engines.answers.items())}
        rows = ",\n".join(f"{json.dumps(key)}: {json.dumps(parts)}" for key, parts in answers.items())
        RECORD.write_text(f'{{"engine": {json.dumps(judge.name)}, "answers": {{\n{rows}\n}}}}\n')


def _parts(answer: Answer) -> list[object]:
    assert isinstance(answer, Compared | Evaluation)
    evaluations = answer if isinstance(answer, Compared) else (answer,)
    return [[one.score, one.centipawns, " ".join(one.line[:LINE_PLIES])] for one in evaluations]


if __name__ == "__main__":
    write(sys.argv[1])
