"""`rondeau explain`: shows motifs, factors and verdict of positions, as text or as JSON."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from io import BufferedIOBase
from typing import TYPE_CHECKING, Any, cast

import click

from decks.commands import SUMMARIES
from decks.commands.terminal import FAIR_PLAY, MESSAGE_LIMIT, print_json, warn
from patterns.reading.text import safe

if TYPE_CHECKING:
    import chess

    from patterns.explanation import Explanation

READ_AT_MOST = 1 << 16
"""Bytes read from standard input at a time: about a thousand positions, enough for the array code."""

LONGEST = READ_AT_MOST
"""Bytes of the longest text line accepted. The longest game needs less."""


@dataclass(frozen=True)
class Asked:
    """A position to explain, with the moves given with it, and the square asked about or None."""

    board: chess.Board
    moves: tuple[chess.Move, ...] = ()
    square: chess.Square | None = None


@click.command("explain", help=SUMMARIES["explain"])
@click.argument("fen", metavar="FEN")
@click.option("--line", metavar="MOVES", default="", help="Show which motifs these moves use (UCI or SAN).")
@click.option(
    "--square", metavar="SQUARE", help="Show which men attack and defend this square, and which count."
)
@click.option("--all", "in_full", is_flag=True, help="Show every motif with its squares, and every reason.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object per position.")
def command(fen: str, line: str, square: str | None, in_full: bool, as_json: bool) -> None:
    if fen == "-":
        if line or square:
            raise click.UsageError("--line and --square go with one FEN, not with `-`")
        faults = explain_input(cast(BufferedIOBase, sys.stdin.buffer), as_json, in_full)
        raise click.exceptions.Exit(1 if faults else 0)
    asked = read(f"{fen}\t{line}")
    show([Asked(asked.board, asked.moves, square_named(square) if square else None)], as_json, in_full)
    if not as_json:
        click.echo(FAIR_PLAY)


def explain_input(source: BufferedIOBase, as_json: bool, in_full: bool) -> int:
    """Explain the position on each text line. Lines that hold no position are reported and left out.

    Returns the number of lines left out.
    """
    number = faults = 0
    for lines in text_lines(source):
        batch = []
        for line in lines:
            number += 1
            if not line.strip():
                continue
            try:
                if len(line) > LONGEST:
                    raise ValueError(f"longer than {LONGEST} bytes: too long for a position and moves")
                batch.append(read(line))
            except ValueError as error:  # from the FEN, a move or the length
                faults += 1
                warn(f"line {number}: {safe(error, MESSAGE_LIMIT)}")
        show(batch, as_json, in_full)
        sys.stdout.flush()
    if faults:
        warn(f"{faults} of {number} lines left out")
    if not as_json:
        click.echo(FAIR_PLAY)
    return faults


def text_lines(source: BufferedIOBase) -> Iterator[Sequence[str]]:
    """Whole text lines, as many at a time as have arrived. So a slow writer gets an answer to each line."""
    rest = b""
    while chunk := source.read1(READ_AT_MOST):
        *whole, rest = (rest + chunk).split(b"\n")
        rest = rest[: LONGEST + 1]  # an endless line must not fill the memory
        yield [line.decode(errors="replace") for line in whole]
    if rest:
        yield [rest.decode(errors="replace")]


def read(text: str) -> Asked:
    """Read a FEN, or a FEN, a tab and moves. FenError or LineError says what is wrong."""
    from patterns.reading.fen import board_from_fen

    fen, _, moves = text.partition("\t")
    board = board_from_fen(fen)
    if not moves.strip():
        return Asked(board)
    from patterns.lines import parse_line

    return Asked(board, tuple(parse_line(board, moves)))


def square_named(name: str) -> chess.Square:
    """The square with this name. FenError if there is none."""
    import chess

    from patterns.reading.fen import FenError

    if name.lower() not in chess.SQUARE_NAMES:
        raise FenError(f"{name!r} is not a square: write a1 to h8")
    return chess.parse_square(name.lower())


def show(asked: Sequence[Asked], as_json: bool, in_full: bool) -> None:
    """Print the explanations of the positions."""
    from patterns.explanation import explain_many

    for each, explanation in zip(asked, explain_many([each.board for each in asked]), strict=True):
        if as_json:
            print_json(as_object(each, explanation))
        else:
            click.echo("\n".join(as_text(each, explanation, in_full)) + "\n")


def as_object(asked: Asked, explanation: Explanation) -> dict[str, Any]:
    """The explanation as the JSON object that README.md describes."""
    found = explanation.as_dict()
    if asked.moves:
        from dataclasses import asdict

        from patterns.lines import key_move, uses

        found["line"] = [move.uci() for move in asked.moves]
        told = uses(asked.board, asked.moves)
        found["key_move"] = key_move(asked.board, asked.moves, told)
        found["uses"] = [asdict(use) for use in told]
    if asked.square is not None:
        from patterns.square_count import count_square

        found["square"] = count_square(asked.board, asked.square).as_dict()
    return found


def as_text(asked: Asked, explanation: Explanation, in_full: bool) -> list[str]:
    """The explanation as lines of text: one page for a coach, or everything."""
    from decks.telling.explanation_text import coach_page, everything

    more = ["", *moves_as_text(asked)] if asked.moves else []
    if asked.square is not None:
        more += ["", *square_as_text(asked.board, asked.square)]
    return everything(explanation, more) if in_full else [*coach_page(explanation), *more]


def moves_as_text(asked: Asked) -> list[str]:
    """The moves in SAN, what the first one does, and the motifs that they use."""
    from decks.tasks.lines import move_at
    from decks.telling.explanation_text import evidence
    from patterns.lines import key_move, uses

    found = uses(asked.board, asked.moves)
    line = tuple(move.uci() for move in asked.moves)
    lines = [
        f"Line: {asked.board.variation_san(asked.moves)}",
        f"  {key_move(asked.board, asked.moves, found)}",
    ]
    for use in found:
        lines.append(f"  {move_at(asked.board, line, 2 * use.ply - 1)}, {use.motif}: {use.note}")
        lines.append(f"    {evidence(use.actors, use.targets, use.squares)}")
    return lines if found else [*lines, "  uses no motif of the catalogue"]


def square_as_text(board: chess.Board, square: chess.Square) -> list[str]:
    """Which men attack and defend a square, which of them count and why, and what the side to move wins."""
    import chess

    from patterns.square_count import count_square
    from patterns.words.wording import named

    count = count_square(board, square)
    lines = [f"On {chess.square_name(square)}"]
    for role, bearers in (("attacks", count.attackers), ("defends", count.defenders)):
        for one in bearers:
            counts = "" if one.counts else ", does not count"
            lines.append(f"  {named(board, one.square)} {role}{counts}: {one.reason}")
    return [*lines, f"  the side to move wins {count.exchange:+.2f} pawns there"]
