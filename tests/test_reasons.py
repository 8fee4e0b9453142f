"""What is told about a wrong move: each kind of sentence, and that every one on the demo deck is true."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import replace
from itertools import pairwise

import chess
import pytest
from made_verdicts import GUARDED, KNIGHT, QUIET, TWO_TO_TAKE, Told, verdicts
from slow import WORTH

from decks.asks.play_mark import StudentMove, grade_play, judge_move
from decks.cards.deck import Deck
from decks.cards.demo import demo_deck_folder
from decks.tasks.card import Card
from decks.tasks.lines import board_after
from decks.tasks.reasons import why
from decks.tasks.task import Task
from decks.tasks.tried import Tried, first_motif
from patterns.catalogue import MOTIFS
from patterns.engines.scores import MoveVerdict, PositionVerdicts
from patterns.lines import parse_line


def said(fen: str, told: Mapping[str, Told], *line: str, **ends: float | None) -> str:
    """What is said of the first move told. The second is the card's, and `line` (SAN) follows it.

    `ends`: by SAN, the score at the end of the line of a move that was told. Default: that of the move.
    """
    board = chess.Board(fen)
    wrong, key = (board.parse_san(san).uci() for san in list(told)[:2])
    after, moves = board.copy(stack=False), [key]
    after.push_uci(key)
    moves += [after.push_san(san).uci() for san in line]
    worst = min(score for score, *_ in told.values())
    found = verdicts(board, told, worst)
    for san, (score, *_) in told.items():
        uci = board.parse_san(san).uci()
        end = replace(found.moves[uci], end=ends.get(san, score))
        found = replace(found, moves={**found.moves, uci: end})
    return why(board, wrong, found, tuple(moves))


ROOKS = "3r2k1/5ppp/8/8/8/8/R4PPP/6K1 w - - 0 24"
PAWN = "6k1/5ppp/8/3r4/3P4/8/R4PPP/6K1 w - - 0 24"
CHECKED = "k7/8/8/8/8/6q1/P7/Q6K w - - 0 24"
CHECKING = "q6k/p7/6Q1/8/8/8/8/K7 w - - 0 24"
NO_MOVE = "k7/2Q5/8/1K6/8/8/8/8 w - - 0 24"
QUEENING = "6k1/5ppp/8/7Q/8/8/p4PPK/8 w - - 0 24"

TAKES = {"Nxd5": (1.0, "Kf8 h3")}
BALANCE = {"Kf1": (0.5, "Kf8")}


@pytest.mark.parametrize(
    ("fen", "told", "sentence"),
    [
        # it loses: mate
        (ROOKS, {"Ra7": (0.0, "Rd1#"), **BALANCE}, "24... Rd1# mates; 24. Kf1 keeps the balance."),
        (
            ROOKS,
            {"Ra7": (0.02, "Rd1#"), **BALANCE},
            "after 24... Rd1# (weak back rank) White is lost; 24. Kf1 keeps the balance.",
        ),
        (ROOKS, {"Ra7": (0.0, "h6", -5), **BALANCE}, "24... h6 forces mate; 24. Kf1 keeps the balance."),
        (ROOKS, {"Ra7": (0.0, "h6", -6), **BALANCE}, "24... h6 forces mate; 24. Kf1 keeps the balance."),
        # it loses: men, at once or later, if they cannot be taken back
        (KNIGHT, {"Nf5": (0.1, "Rxf5 h3"), **TAKES}, "24... Rxf5 wins a knight; 24. Nxd5 wins a rook."),
        (
            KNIGHT,
            {"Kf1": (0.1, "h6 Nf5 Rxf5 Kg1"), **TAKES},
            "after 24... h6 Black wins a knight; 24. Nxd5 wins a rook.",
        ),
        (
            KNIGHT,
            {"Nc4": (0.1, "Rg5 Ne3 Rxg2+"), **TAKES},
            "after 24... Rg5 White is lost; 24. Nxd5 wins a rook.",
        ),
        # the mover is not worse: nobody wins anything
        (KNIGHT, {"Nf5": (0.39, "Rxf5 h3"), **TAKES}, "24... Rxf5 wins a knight; 24. Nxd5 wins a rook."),
        (
            KNIGHT,
            {"Nf5": (0.4, "Rxf5 h3"), **TAKES},
            "it costs a knight after 24... Rxf5, and the game is about level; 24. Nxd5 wins a rook.",
        ),
        (
            KNIGHT,
            {"Nf5": (0.5, "Rxf5 h3"), **TAKES},
            "it costs a knight after 24... Rxf5, and the game is level; 24. Nxd5 wins a rook.",
        ),
        (
            KNIGHT,
            {"Nf5": (0.7, "Rxf5 h3"), **TAKES},
            "it costs a knight after 24... Rxf5, and White is still better; 24. Nxd5 wins a rook.",
        ),
        (
            QUEENING,
            {"Qg4": (0.5, "a1=Q Kg3"), "Qd1": (0.9, "h6")},
            (
                "24... a1=Q queens a pawn, and the game is level;"
                " after 24. Qd1 (threat of mate) White is winning."
            ),
        ),
        # a pawn does not explain a large loss
        (
            PAWN,
            {"Ra7": (0.1, "Rxd4 h3"), "Rd2": (0.5, "Kf8")},
            "24... Rxd4 wins a pawn; 24. Rd2 keeps the balance.",
        ),
        (
            PAWN,
            {"Ra7": (0.1, "Rxd4 h3"), "Rd2": (0.61, "Kf8")},
            "24... Rxd4 wins a pawn, and White is lost; after 24. Rd2 White is better.",
        ),
        # the right move loses as much: not the reason
        (
            PAWN,
            {"Ra7": (0.1, "Rxd4 h3"), "Kf1": (0.3, "Rxd4 h3")},
            "after 24... Rxd4 (isolated pawn) White is lost; after 24. Kf1 White is worse.",
        ),
        # it wins less than the right move
        (TWO_TO_TAKE, {"Nxf5": (0.7, "Rd7 h3"), **TAKES}, "it only wins a pawn; 24. Nxd5 wins a rook."),
        (
            TWO_TO_TAKE,
            {"Nxf5": (0.5, "Rd7 h3"), **TAKES},
            "after 24... Rd7 (threat of mate) the game is level; 24. Nxd5 wins a rook.",
        ),
        # draws
        (
            CHECKED,
            {"a4": (0.5, "Qh3+ Kg1 Qg3+ Kh1"), "Qf1": (1.0, "Qe5")},
            "after 24... Qh3+ Black draws by perpetual check; after 24. Qf1 White is winning.",
        ),
        (
            CHECKED,
            {"a4": (0.7, "Qh3+ Kg1 Qg3+ Kh1"), "Qf1": (1.0, "Qe5")},
            "after 24... Qh3+ White is still better and comes out a pawn up; after 24. Qf1 White is winning.",
        ),
        (
            CHECKED,
            {"a4": (0.5, "Qh3+ Kg1 Qg3+"), "Qf1": (1.0, "Qe5")},
            "after 24... Qh3+ the game is level; after 24. Qf1 White is winning.",
        ),
        (
            CHECKED,
            {"a4": (0.5, "Qd6 Qb1 Qg3 Qa1"), "Qf1": (1.0, "Qe5")},
            "after 24... Qd6 the game is level; after 24. Qf1 White is winning.",
        ),
        (
            CHECKING,
            {"Qe4": (0.0, "Qxe4"), "Qh6+": (0.5, "Kg8 Qg6+ Kh8")},
            "24... Qxe4 wins a queen; 24. Qh6+ draws by perpetual check.",
        ),
        (NO_MOVE, {"Kb6": (0.5, ""), "Ka6": (1.0, "", 2)}, "it is stalemate; 24. Ka6 mates in two."),
        # nothing concrete: how the mover stands
        (
            QUIET,
            {"Kf1": (0.9, "h6"), "Rd7": (1.0, "h6")},
            "after 24... h6 White is still winning and comes out a rook up; 24. Rd7 keeps more.",
        ),
        (
            QUIET,
            {"Kf1": (0.3, "h6"), "Rd7": (0.61, "h6")},
            "after 24... h6 White is worse; after 24. Rd7 (threat of mate) White is better.",
        ),
        (
            QUIET,
            {"Kf1": (0.1, ""), "Rd7": (0.5, "h6")},
            "White is lost; 24. Rd7 (threat of mate) keeps the balance.",
        ),
        (
            KNIGHT,
            {"Nf5": (0.0, "Rxf5 h3"), "Nc4": (0.1, "Kf8")},
            "24... Rxf5 wins a knight; 24. Nc4 avoids that.",
        ),
        (
            PAWN,
            {"Ra7": (0.0, "Rxd4 h3"), "Kf1": (0.1, "Rxd4 h3")},
            "after 24... Rxd4 (isolated pawn) White is lost; 24. Kf1 keeps more.",
        ),
        # what the right move wins can be taken back
        (
            GUARDED,
            {"Kf1": (0.39, "h6"), "Nxd5": (0.61, "")},
            (
                "after 24... h6 White is worse and comes out with a knight for a rook and a pawn;"
                " after 24. Nxd5 White is better."
            ),
        ),
        (
            GUARDED,
            {"Kf1": (0.39, "h6"), "Nxd5": (0.61, "cxd5")},
            (
                "after 24... h6 White is worse and comes out with a knight for a rook and a pawn;"
                " after 24. Nxd5 White wins the exchange."
            ),
        ),
        # the right move: the card's, if it holds
        (
            QUIET,
            {"Kf1": (0.3, "h6"), "Rd7": (0.61, "h6"), "Rd6": (0.62, "h6")},
            "after 24... h6 White is worse; after 24. Rd7 (threat of mate) White is better.",
        ),
        (
            QUIET,
            {"Kf1": (0.3, "h6"), "Rd7": (0.5, "h6"), "Rd6": (0.61, "h6")},
            "after 24... h6 White is worse; after 24. Rd6 (threat of mate) White is better.",
        ),
        (
            QUIET,
            {"Kf1": (0.3, "h6"), "Rd7": (0.2, "h6")},
            "after 24... h6 White is worse; the card's move is 24. Rd7.",
        ),
    ],
)
def test_what_is_said_of_a_wrong_move(fen: str, told: Mapping[str, Told], sentence: str) -> None:
    assert said(fen, told) == sentence


def test_the_line_of_the_card_counts_where_it_is_longer_and_no_end_was_looked_at() -> None:
    told: Mapping[str, Told] = {"Kf1": (0.39, "h6"), "Nxd5": (0.61, "")}
    assert said(GUARDED, told, "cxd5", "h3", Nxd5=None).endswith("after 24. Nxd5 White wins the exchange.")
    assert said(GUARDED, told, "cxd5", "h3").endswith("after 24. Nxd5 White is better.")


@pytest.mark.parametrize(
    ("fen", "told", "ends", "sentence"),
    [
        # the score at the end of the line does not agree: nobody has won anything
        (
            KNIGHT,
            {"Nf5": (0.2, "Rxf5 h3"), **BALANCE},
            {"Nf5": 0.36},
            "after 24... Rxf5 White is much worse; 24. Kf1 keeps the balance.",
        ),
        (
            KNIGHT,
            {"Nf5": (0.2, "Rxf5 h3"), **BALANCE},
            {"Nf5": 0.35},
            "24... Rxf5 wins a knight; 24. Kf1 keeps the balance.",
        ),
        (
            KNIGHT,
            {"Kf1": (0.1, "Rb5"), "Nxd5": (0.85, "Kf8")},
            {"Nxd5": 0.5},
            (
                "after 24... Rb5 White is lost and comes out with a knight for a rook;"
                " after 24. Nxd5 (loose piece) White is much better."
            ),
        ),
        (
            TWO_TO_TAKE,
            {"Nxf5": (0.7, "Rd7 h3"), **TAKES},
            {"Nxf5": 0.5},
            "after 24... Rd7 (threat of mate) White is still better; 24. Nxd5 wins a rook.",
        ),
        # it need not agree where the gain decides the game in both
        (
            KNIGHT,
            {"Nf5": (0.0, "Rxf5 h3"), **BALANCE},
            {"Nf5": 0.34},
            "24... Rxf5 wins a knight; 24. Kf1 keeps the balance.",
        ),
        # men do not speak for the better side either
        (
            QUIET,
            {"Kf1": (0.9, "h6"), "Rd7": (1.0, "h6")},
            {"Kf1": 0.5},
            "after 24... h6 White is still winning; 24. Rd7 keeps more.",
        ),
        # nobody has looked at the end: only what the reply takes at once, and words that are less sure
        (
            KNIGHT,
            {"Nf5": (0.1, "Rxf5 h3"), **TAKES},
            {"Nf5": None},
            "24... Rxf5 wins a knight; 24. Nxd5 wins a rook.",
        ),
        (
            KNIGHT,
            {"Kf1": (0.1, "h6 Nf5 Rxf5 Kg1"), **TAKES},
            {"Kf1": None},
            "after 24... h6 White is much worse; 24. Nxd5 wins a rook.",
        ),
        # who is not better after the right move has won nothing
        (
            KNIGHT,
            {"Kf1": (0.1, "Rb5"), "Nxd5": (0.55, "Kf8")},
            {},
            (
                "after 24... Rb5 White is lost and comes out with a knight for a rook;"
                " 24. Nxd5 (loose piece) keeps the balance."
            ),
        ),
        (
            KNIGHT,
            {"Kf1": (0.1, "Rb5"), "Nxd5": (0.57, "Kf8")},
            {},
            (
                "after 24... Rb5 White is lost and comes out with a knight for a rook;"
                " after 24. Nxd5 (loose piece) the game is about level."
            ),
        ),
    ],
)
def test_what_is_said_where_the_end_of_the_line_says_something_else(
    fen: str, told: Mapping[str, Told], ends: Mapping[str, float | None], sentence: str
) -> None:
    assert said(fen, told, **ends) == sentence


def test_it_says_which_moves_were_found_before() -> None:
    card = Card("two-moves", "3rr1k1/5ppp/8/8/8/8/3R1PPP/3R2K1 w - - 0 24", ("play",))
    board = card.board
    card = replace(card, line=tuple(board.push_san(san).uci() for san in ("Rxd8", "Rxd8", "Rxd8#")))
    first, second = card.moves_to_find()
    by_epd = {
        first.board.epd(): verdicts(first.board, {"Rxd8": (1.0, "Rxd8 Rxd8#")}, 0.3),
        second.board.epd(): verdicts(second.board, {"Rxd8#": (1.0, ""), "h3": (0.5, "h6")}, 0.3),
    }
    moves = [judge_move(by_epd[first.board.epd()], first.move, first.move)]
    moves.append(judge_move(by_epd[second.board.epd()], "h2h3", second.move))
    assert grade_play(moves).reason(Task("deck", card, ("play",), by_epd)) == (
        "You found 24. Rxd8. 25. h3 fails: after 25... h6 the game is about level; 25. Rxd8# mates."
    )


# The truth of every sentence on the demo deck, by a slow count that shares no code with the program's

MOVE = r"\d+\.(?:\.\.)? \S+?"
STANDS = r"(?:the game is (?P<level>(?:about )?level)|(?:White|Black) is (?:still )?(?P<word>[a-z ]+?))"
IDEA = r"(?: \((?:threatens (?P<threat>[^)]+)|(?P<off>queens come off)|(?P<idea>[a-z -]+))\))?"
OUT = r"(?: and comes out (?P<out>with [a-z ,]+|[a-z ,]+ (?:up|down)))?"
OWN = {
    "mate": rf"{MOVE} (?:mates(?: in \S+)?|forces mate)",
    "men": rf"(?:after )?{MOVE}(?: White| Black)? wins (?P<men>[a-z ,]+?)(?:, and {STANDS})?",
    "queens": rf"(?:after )?{MOVE}(?: White| Black)? (?:queens|promotes) a pawn(?:, and {STANDS})?",
    "costs": rf"it costs (?P<men>[a-z ,]+?) after {MOVE}, and {STANDS}",
    "only": r"it only (?:wins (?P<men>[a-z ,]+)|queens a pawn)",
    "perpetual": rf"after {MOVE} (?:White|Black) draws by perpetual check",
    "stands": rf"after {MOVE}{IDEA} {STANDS}{OUT}",
}
BEST = {
    "mate": rf"{MOVE} (?:mates(?: in \S+)?|forces mate)",
    "men": rf"(?:after )?{MOVE}(?: White| Black)? wins (?P<men>[a-z ,]+)",
    "queens": rf"(?:after )?{MOVE}(?: White| Black)? (?:queens|promotes) a pawn",
    "perpetual": rf"{MOVE} draws by perpetual check",
    "balance": rf"{MOVE}{IDEA} keeps the balance",
    "more": rf"{MOVE} (?:keeps more|avoids that)",
    "stands": rf"after {MOVE}{IDEA} {STANDS}",
}
NUMBERS = {"a": 1, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6}
NUMBERS |= {"seven": 7, "eight": 8, "nine": 9, "ten": 10, "eleven": 11, "twelve": 12}
KINDS = {"queen": "q", "rook": "r", "bishop": "m", "knight": "m", "pawn": "p"}
WORDS = (
    (0.0, "level", "about level"),
    (0.01, "about level", "about level"),
    (0.11, "{}", "about level"),
    (0.16, "{}", "{}"),
    (0.25, "{}", "much {}"),
    (0.30, "much {}", "much {}"),
    (0.40, "decided", "much {}"),
    (0.45, "decided", "decided"),
)
"""What is told of the mover from these distances to one half on, if the move was searched, and if not."""


def word_for(score: float, is_shallow: bool) -> str:
    distance = round(abs(score - 0.5), 6)
    told = [words[is_shallow] for least, *words in WORDS if distance >= least][-1]
    if told == "decided":
        return "winning" if score > 0.5 else "lost"
    return told.format("better" if score > 0.5 else "worse")


def men_named(words: str) -> Counter[str]:
    """Men won (and paid, below 0) in words, knights and bishops together as `m`."""
    won = Counter[str]()
    for sign, part in zip((1, -1), words.split(" for "), strict=False):
        for item in re.split(", | and ", part):
            if item == "the exchange":
                won += Counter()
                won["r"] += sign
                won["m"] -= sign
            else:
                number, kind = item.split()
                won[KINDS[kind.removesuffix("s")]] += sign * NUMBERS[number]
    return Counter({kind: count for kind, count in won.items() if count})


def men_won(start: chess.Board, board: chess.Board, side: chess.Color) -> Counter[str]:
    """Men that the side has won (and paid, below 0) on the way, counted square by square."""
    won = Counter[str]()
    for position, sign in ((start, 1), (board, -1)):
        for square in chess.SQUARES:
            man = position.piece_at(square)
            if man is not None and man.piece_type != chess.KING:
                kind = KINDS[chess.piece_name(man.piece_type)]
                won[kind] += sign if man.color != side else -sign
    return Counter({kind: count for kind, count in won.items() if count})


def pawns(won: Mapping[str, int]) -> int:
    return sum({"q": 9, "r": 5, "m": 3, "p": 1}[kind] * count for kind, count in won.items())


def taken_next(board: chess.Board, on: chess.Square | None = None) -> int:
    """What the side to move wins by a capture (on this square), by plain recursion over legal moves."""
    best = 0
    for move in board.legal_moves:
        taken = board.piece_at(move.to_square)
        worth = WORTH[taken.piece_type] if taken else int(board.is_en_passant(move))
        worth += WORTH[move.promotion] - 1 if move.promotion else 0
        if worth == 0 or (on is not None and move.to_square != on):
            continue
        board.push(move)
        best = max(best, worth - taken_next(board, move.to_square))
        board.pop()
    return best


def boards_of(board: chess.Board, line: tuple[str, ...]) -> list[chess.Board]:
    boards = [board.copy(stack=False)]
    for uci in line:
        boards.append(boards[-1].copy(stack=False))
        boards[-1].push(chess.Move.from_uci(uci))
    return boards


def check_men(words: str, boards: list[chess.Board], side: chess.Color) -> None:
    """The men named are won in four moves of each, and at the end most of their worth is still there."""
    named = men_named(words)
    assert any(men_won(boards[0], board, side) == named for board in boards[:9]), "these men are never won"
    left = pawns(men_won(boards[0], boards[-1], side))
    if boards[-1].turn != side:
        left -= taken_next(boards[-1].copy())
    assert left >= max(1, pawns(named) - 1), f"{left} pawns are left in the end"


def check_out(words: str, boards: list[chess.Board], mover: chess.Color, score: float) -> None:
    """The mover has these men more and fewer after four moves of each and at the end, for the better side."""
    told = words.removeprefix("with ")
    named = men_named(told.removesuffix(" up").removesuffix(" down"))
    if told.endswith(" down"):
        named = Counter({kind: -count for kind, count in named.items()})
    empty = chess.Board(None)
    end = boards[-1]
    assert men_won(empty, end, mover) == men_won(empty, boards[:9][-1], mover) == named
    side = mover if score > 0.5 else not mover
    left = pawns(men_won(empty, end, side)) - (taken_next(end.copy()) if end.turn != side else 0)
    assert left >= 1


def check_threat(words: str, before: chess.Board, after: chess.Board) -> None:
    """If nothing were done against it, this move would win more than at once, by mate or men."""
    passed = after.copy(stack=False)
    passed.push(chess.Move.null())
    move = passed.parse_san(words)
    assert won_by(passed, move) > (won_by(before, move) if move in before.legal_moves else 0)


def won_by(board: chess.Board, move: chess.Move) -> int:
    taken = board.piece_at(move.to_square)
    won = WORTH[taken.piece_type] if taken else int(board.is_en_passant(move))
    won += WORTH[move.promotion] - 1 if move.promotion else 0
    (after,) = boards_of(board, (move.uci(),))[1:]
    return 100 if after.is_checkmate() else won - taken_next(after, move.to_square)


def check_clause(
    kind: str,
    found: re.Match[str],
    boards: list[chess.Board],
    side: chess.Color,
    verdict: MoveVerdict,
    word: str,
) -> None:
    """A clause about the line of these boards is true. `side`: who gains; `word`: how the mover stands."""
    groups, score = found.groupdict(), verdict.score
    if groups.get("men"):
        check_men(groups["men"], boards, side)
    if kind == "mate" and not boards[-1].is_checkmate():
        # A long mate goes on after the kept line: then the engine must have seen it, further on than that.
        told = re.search(r"mates in (\w+)", found[0])
        assert verdict.mate is not None and score in (0.0, 1.0)
        most = 5 if boards[0].turn == side else 3
        assert abs(verdict.mate) == NUMBERS[told[1]] <= most if told else abs(verdict.mate) > most
    elif kind == "mate":
        assert boards[-1].turn != side
    if promoted := re.search("(queens|promotes) a pawn", found[0]):
        kinds = chess.PIECE_TYPES[1:] if promoted[1] == "promotes" else (chess.QUEEN,)
        counts = [[len(board.pieces(kind, side)) for board in boards] for kind in kinds]
        assert any(after > before for each in counts for before, after in pairwise(each))
    if kind == "perpetual":
        epds = [board.epd() for board in boards]
        again = next(place for place, epd in enumerate(epds) if epd in epds[:place])
        assert all(board.is_check() for board in boards[2 : again + 1] if board.turn != side)
    if groups.get("out"):
        check_out(groups["out"], boards, boards[0].turn, score)
    if groups.get("idea"):
        assert groups["idea"] in {motif.title.lower() for motif in MOTIFS.values()}
    if groups.get("threat"):
        before, after = boards[:2] if boards[0].turn == side else boards[1:3]
        check_threat(groups["threat"], before, after)
    if groups.get("off"):
        early = boards[3 if boards[0].turn == side else 4]
        assert all(len(early.pieces(5, one)) < len(boards[0].pieces(5, one)) for one in chess.COLORS)
    if groups.get("level") or groups.get("word"):
        assert (groups["level"] or groups["word"]) == word


Sentence = tuple[chess.Board, PositionVerdicts, str, tuple[str, ...], str]

BEST_FAILING = 2
"""Wrong moves of a position for which the motifs are looked for too, which takes most of the time."""


def sentences(deck: Deck, most: int | None = None) -> Iterator[Sentence]:
    """The wrong moves (the best `most`) of every position asked, the card's line from there, what is said."""
    for card in deck.cards:
        found: list[StudentMove] = []
        task = Task("deck", card, ("play",), deck.verdicts)
        for key in card.moves_to_find() if "play" in card.asks else ():
            here = deck.verdicts[key.board.epd()]
            wrong = [move for move in here.moves if here.quality(move) != "holds"]
            for move in sorted(wrong, key=here.loss)[:most]:
                reason = grade_play([*found, judge_move(here, move, key.move)]).reason(task)
                yield key.board, here, move, card.line[key.ply :], reason
            found.append(judge_move(here, key.move, key.move))


def check_sentences(found_wrong: Iterator[Sentence]) -> Counter[str]:
    """Every sentence is true; how often each kind of clause is told."""
    seen = Counter[str]()
    for board, here, move, line, reason in found_wrong:
        where = f"{board.fen()} {move}: {reason}"
        told = re.fullmatch(rf"(?:You found .+\. )?{MOVE} (?:slips|fails): (.+); (.+)\.", reason)
        assert told, where
        best = (here.best, *here.moves[here.best].line)
        right = line[0] if here.quality(line[0]) == "holds" else here.best
        best = (right, *here.moves[right].line)
        if here.moves[right].end is None and len(line) > len(best) and line[0] == right:
            best = line
        for group, patterns, side, moves in (
            (1, OWN, not board.turn, (move, *here.moves[move].line)),
            (2, BEST, board.turn, best),
        ):
            kind, found = next(
                (
                    (kind, found)
                    for kind, text in patterns.items()
                    if (found := re.fullmatch(text, told[group]))
                ),
                ("", None),
            )
            assert found, where
            verdict = here.moves[moves[0]]
            shallow = verdict.end is None and here.quality(moves[0]) == "fails"
            word = word_for(verdict.score, shallow)
            if group == 1 and kind in ("men", "mate"):
                assert word in ("worse", "much worse", "lost"), where
            try:
                gains = not side if kind == "only" else side
                check_clause(kind, found, boards_of(board, moves), gains, verdict, word)
            except AssertionError as error:
                raise AssertionError(f"{where} {error}") from error
            seen["own " * (group == 1) + kind] += 1
            seen["idea"] += bool(found.groupdict().get("idea"))
            seen["threat"] += bool(found.groupdict().get("threat"))
            seen["out"] += bool(found.groupdict().get("out"))
    return seen


def test_every_sentence_on_the_demo_deck_is_true(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("decks.tasks.tried.first_motif", lambda board, line: "")
    seen = check_sentences(sentences(Deck.open(demo_deck_folder())))
    assert seen.total() > 4_000
    kinds = ("own mate", "own men", "own costs", "own only", "own stands", "men", "mate", "out", "threat")
    assert all(seen[kind] for kind in kinds)


SLOW = "6k1/8/8/8/N6r/8/P7/4K3 w - - 0 24"
"""The rook can take the knight on a4, and the pawn behind it."""
TWO_MEN = "6k1/n7/8/8/N6r/8/P5P1/1N2K3 w - - 0 24"


@pytest.mark.parametrize(
    ("fen", "line", "words", "why"),
    [
        (SLOW, "Ke2 Kg7 Ke1 Kg8 Ke2 Kg7 Ke1 Rxa4 Ke2 Kg8", "wins a knight", "it falls in four moves"),
        (SLOW, "Ke2 Kg7 Ke1 Kg8 Ke2 Kg7 Ke1 Kg8 Ke2 Rxa4 Ke1 Kg7", "", "only later"),
        (SLOW, "Ke2 Rh2+ Ke1 Rxa2 Kf1 Kg7 Ke1 Kg8 Kf1 Rxa4 Ke1 Kg7", "wins a pawn", "the rest is later"),
        (TWO_MEN, "Ke2 Rxa4 Ke1 Rc4 Ke2 Rc7 Kf1 Kf7 Nc3 Rxc3", "wins a knight", "two fall, one of them soon"),
        (TWO_MEN, "Ke2 Rxa4 Kf2 Kg7 Ke2 Kg8 Kf2 Kg7 Nc3 Rxa2+ Nxa2 Kg8", "", "it does not stay"),
    ],
)
def test_what_falls_late_is_not_told_as_lost(fen: str, line: str, words: str, why: str) -> None:
    board = chess.Board(fen)
    moves = tuple(move.uci() for move in parse_line(board, line))
    assert Tried(board, moves, MoveVerdict(0.0, 17, moves[1:], end=0.0)).loses_soon.words == words, why


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("Ke2 Rxa4 Ke1 Rh4", "a rook down"),
        ("Ke2 Kg7 Ke1 Kg8 Ke2 Kg7 Ke1 Kg8 Ke2 Rxa4 Ke1 Rh4", ""),
    ],
)
def test_men_are_told_as_missing_if_they_miss_after_four_moves(line: str, told: str) -> None:
    board = chess.Board(SLOW.replace("P7", "8"))
    moves = tuple(move.uci() for move in parse_line(board, line))
    assert Tried(board, moves, MoveVerdict(0.0, 17, moves[1:], end=0.0)).material == told


def test_motifs_explain_where_nothing_is_won() -> None:
    seen = check_sentences(sentences(Deck.open(demo_deck_folder()), BEST_FAILING))
    assert seen["idea"] > 20


def test_taking_the_man_that_moved_is_no_motif() -> None:
    board = chess.Board("r2r2k1/pb3pp1/1pB1pn1p/8/3P2P1/P3PN2/1P3P1P/2R1K2R b K - 0 17")
    line = ("b7c6", "c1c6", "a8c8")
    assert first_motif(board_after(board, line[:1]), line[1:])
    assert Tried(board, line, MoveVerdict(0.5, 17, line[1:])).idea_of_reply == ""
