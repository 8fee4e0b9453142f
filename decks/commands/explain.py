"""`rondeau explain`: motifs, factors and verdict of positions, as text or as JSON."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from io import BufferedIOBase
from typing import TYPE_CHECKING, cast

import click

from decks.commands import SUMMARIES
from decks.commands.terminal import FAIR_PLAY, MESSAGE_LIMIT, print_json, warn
from patterns.text import safe

if TYPE_CHECKING:
    import chess
    from patterns.explain import Explanation

READ_AT_MOST = 1 << 16
"""Bytes taken from standard input at a time: about a thousand positions, enough for the array code."""


@dataclass(frozen=True)
class Asked:
    """A position to explain, and the moves (UCI) that were given with it."""

    board: chess.Board
    moves: tuple[str, ...] = ()


@click.command("explain", help=SUMMARIES["explain"])
@click.argument("fen", metavar="FEN")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object; of FEN `-`, one a line.")
def command(fen: str, as_json: bool) -> None:
    if fen == "-":
        faults = explain_lines(cast(BufferedIOBase, sys.stdin.buffer), as_json)
        raise click.exceptions.Exit(1 if faults else 0)
    show([read(fen)], as_json)
    if not as_json:
        click.echo(FAIR_PLAY)


def explain_lines(source: BufferedIOBase, as_json: bool) -> int:
    """Explain one position a line; a line that is none is named and left out. Returns how many were."""
    from patterns.fen import FenError

    number = faults = 0
    for lines in line_batches(source):
        batch = []
        for line in lines:
            number += 1
            if not line.strip():
                continue
            try:
                batch.append(read(line))
            except FenError as error:
                faults += 1
                warn(f"line {number}: {safe(error, MESSAGE_LIMIT)}")
        show(batch, as_json)
        sys.stdout.flush()
    if faults:
        warn(f"{faults} of {number} lines left out")
    if not as_json:
        click.echo(FAIR_PLAY)
    return faults


def line_batches(source: BufferedIOBase) -> Iterator[Sequence[str]]:
    """Whole lines, as many at a time as are there: a slow writer gets answers line by line."""
    rest = b""
    while chunk := source.read1(READ_AT_MOST):
        *whole, rest = (rest + chunk).split(b"\n")
        yield [line.decode(errors="replace") for line in whole]
    if rest:
        yield [rest.decode(errors="replace")]


def read(text: str) -> Asked:
    """A FEN, or a FEN, a tab and UCI moves; FenError names what is wrong."""
    from patterns.fen import board_from_fen

    fen, _, moves = text.partition("\t")
    board = board_from_fen(fen)
    return Asked(board, checked_moves(board, moves.split()))


def checked_moves(board: chess.Board, moves: Iterable[str]) -> tuple[str, ...]:
    """The moves if each is legal in its turn; FenError quotes the first that is not."""
    from patterns.fen import FenError

    after = board.copy(stack=False)
    played: list[str] = []
    for move in moves:
        legal = {each.uci(): each for each in after.legal_moves}
        if move not in legal:
            raise FenError(f"move {len(played) + 1}, {move!r}, is no legal move here (UCI, like e2e4)")
        after.push(legal[move])
        played.append(move)
    return tuple(played)


def show(asked: Sequence[Asked], as_json: bool) -> None:
    """Print what the positions hold."""
    from patterns.explain import explain_many

    for each, explanation in zip(asked, explain_many([each.board for each in asked]), strict=True):
        if as_json:
            print_json(as_object(each, explanation))
        else:
            click.echo("\n".join(as_text(each.board, explanation)) + "\n")


def as_object(asked: Asked, explanation: Explanation) -> dict[str, object]:
    """The explanation as the JSON object that README.md describes."""
    assessment = explanation.assessment
    found: dict[str, object] = {
        "fen": asked.board.fen(en_passant="fen"),
        "turn": "white" if asked.board.turn else "black",
        "motifs": [
            {
                "motif": finding.motif,
                "side": finding.side,
                "actors": finding.actors,
                "targets": finding.targets,
                "squares": finding.squares,
                "note": finding.note,
            }
            for finding in explanation.findings
        ],
        "factors": [
            {
                "factor": factor.factor,
                "balance": factor.balance,
                "side": factor.verdict.side,
                "strength": factor.verdict.strength,
                "reasons": factor.reasons,
            }
            for factor in assessment.factors
        ],
        "verdict": {
            "side": assessment.verdict.side,
            "strength": assessment.verdict.strength,
            "expected_score": assessment.expected_score,
        },
    }
    if asked.moves:
        found["line"] = asked.moves
    return found


def as_text(board: chess.Board, explanation: Explanation) -> list[str]:
    """The explanation as lines of text."""
    from patterns.catalogue import MOTIFS
    from patterns.verdicts import STRENGTHS

    lines = [f"{'White' if board.turn else 'Black'} to move", "", *board_lines(board), ""]
    lines.append("Motifs" if explanation.findings else "Motifs: none of the catalogue's")
    for finding in explanation.findings:
        lines.append(f"  {MOTIFS[finding.motif].title} ({finding.motif}), for {finding.side.title()}")
        lines.append(f"    {finding.note}")
        lines.append(f"    {evidence(finding.actors, finding.targets, finding.squares)}")
    lines += ["", "Stock-taking (pawns, + for White)"]
    for factor in explanation.assessment.factors:
        side, strength = factor.verdict.side, STRENGTHS[factor.verdict.strength]
        verdict = side if side == "level" else f"{side.title()}, {strength}"
        lines.append(f"  {factor.factor:<15}{factor.balance:+6.2f}  {verdict}")
        lines += [f"    {reason}" for reason in factor.reasons]
    verdict = explanation.assessment.verdict
    words = (
        "level" if verdict.side == "level" else f"{STRENGTHS[verdict.strength]} for {verdict.side.title()}"
    )
    lines += ["", f"Verdict: {words} (White's expected score {explanation.assessment.expected_score:.2f})"]
    return lines


def evidence(actors: Sequence[str], targets: Sequence[str], squares: Sequence[str]) -> str:
    """The squares with their marks: [actors], ‹targets›, (squares)."""
    roles = (("[{}]", actors), ("‹{}›", targets), ("({})", squares))
    return " ".join(mark.format(" ".join(names)) for mark, names in roles if names)


def board_lines(board: chess.Board) -> list[str]:
    """The board as text, White below; capitals are White's men."""
    ranks = str(board).splitlines()
    return [f"  {8 - row}  {rank}" for row, rank in enumerate(ranks)] + ["", "     a b c d e f g h"]
