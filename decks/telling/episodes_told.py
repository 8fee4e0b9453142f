"""Where a game went wrong, as a coach tells it: a sentence or two for each episode, and its board. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, replace

import chess

from decks.build.tracing import TracedEpisode, TracedGame
from decks.tasks.lines import numbered
from decks.telling.board_text import ascii_board
from decks.telling.shown import BoardView
from patterns.catalogue import MOTIFS
from patterns.causes import Cause
from patterns.engines.episodes import SLIP, ScoredMove
from patterns.engines.rule_ends import after
from patterns.engines.scores import verdict_from_expected
from patterns.reading.text import counted, safe
from patterns.words.outcome import Outcome, outcome
from patterns.words.verdicts import row_title, standing
from patterns.words.wording import listed, side_name

INDENT = "   "

SENTENCE_LIMIT = 1000
"""Characters of a sentence that are shown."""

NOTHING = Outcome(0, "")
"""What a line gets in which no man is won."""

NO_SHOW = "a search of four plies does not see it"


def game_lines(traced: TracedGame) -> list[str]:
    """A game with its episodes, as lines of text."""
    lines = [title(traced)]
    for number, one in enumerate(traced.episodes, 1):
        lines += ["", safe(f"Episode {number}: {heading(one)}"), ""]
        lines += [f"{INDENT}{safe(text, SENTENCE_LIMIT)}" for text in sentences(traced, one)]
        board = one.episode.told.board
        lines += ["", *(INDENT + row for row in ascii_board(BoardView(board, board.turn))), ""]
        lines.append(f"{INDENT}FEN {board.fen()}")
    if apart := traced.slips_apart:
        lines += ["", safe(f"Other slips: {_slips(apart)}", SENTENCE_LIMIT)]
    return lines


def title(traced: TracedGame) -> str:
    """Which game it is, whose moves were traced, and how much was found."""
    game = traced.seat.game
    white, black, date = (game.headers.get(tag, "?") for tag in ("White", "Black", "Date"))
    found = counted(len(traced.episodes), "episode") if traced.episodes else "no episode"
    side = f"{side_name(traced.seat.colour)}'s moves: {found}"
    return safe(f"Game {game.number}: {white} - {black}, {date}, {game.result}. {side}")


def heading(one: TracedEpisode) -> str:
    """The move that an episode is told by, what it cost, and under which circumstances."""
    told = one.episode.told
    around = [
        f"time trouble ({_clock(told.seconds)} left)"
        if name == "time-trouble" and told.seconds is not None
        else name
        for name in one.circumstances
    ]
    return ", ".join([_played(told), _points(one.episode.cost), *around])


def sentences(traced: TracedGame, one: TracedEpisode) -> list[str]:
    """The episode in sentences: what was overlooked or let in, what would have held, where it showed."""
    told = _drift(one) if one.episode.root is None else _root(traced, one, one.episode.root)
    if one.factor is not None:
        told.append(_factor(one.cause, row_title(one.factor)))
    return told


def _factor(cause: Cause | None, factor: str) -> str:
    if cause is None:
        return f"Besides material and initiative, what got worse most of all is {factor}."
    if cause.own_factor:
        return f"It is a matter of {factor}."
    return f"Besides material and initiative, {factor} is what differs most between the two lines."


def episode_object(traced: TracedGame, one: TracedEpisode) -> dict[str, object]:
    """The episode for JSON."""
    episode, cause, told = one.episode, one.cause, one.episode.told
    return {
        "kind": "drift" if cause is None else cause.kind,
        "ply": told.ply,
        "fen": told.board.fen(),
        "played": told.move.uci(),
        "loss": told.loss,
        "best_line": list(told.compared.best.line),
        "played_line": list(told.compared.played.line),
        "motif": cause.use.motif if cause and cause.use else None,
        "use": asdict(cause.use) if cause and cause.use else None,
        "proven": cause is not None and cause.use is not None and not cause.is_plain,
        "line": [move.uci() for move in cause.line] if cause else [],
        "factor": one.factor,
        "showed": one.showed,
        "circumstances": list(one.circumstances),
        "seconds": told.seconds,
        "first": episode.first.ply,
        "last": episode.last.ply,
        "before": round(episode.before, 4),
        "after": round(episode.after, 4),
        "cost": round(episode.cost, 4),
        "prepared_by": [slip_object(slip) for slip in episode.prepared_by],
        "slips": [slip_object(slip) for slip in episode.slips],
        "text": sentences(traced, one),
    }


def slip_object(slip: ScoredMove) -> dict[str, object]:
    """A slip for JSON."""
    best = slip.compared.best.line[0]
    return {"ply": slip.ply, "played": slip.move.uci(), "best": best, "loss": round(slip.loss, 4)}


def _root(traced: TracedGame, one: TracedEpisode, root: ScoredMove) -> list[str]:
    cause = one.cause
    assert cause is not None
    played, side = _played(root), side_name(root.board.turn)
    start = root.board if cause.missed else after(root.board, root.move)
    line, gained = tuple(move.uci() for move in cause.line), _gained(root, cause)
    if cause.use is not None:
        shown = " ".join(numbered(start, line[: 2 * cause.use.ply - 1]))
        verb = "overlooks" if cause.missed else "lets in"
        first = f"{played} {verb} {shown} ({MOTIFS[cause.use.motif].title.lower()}): {cause.use.note}"
        if gained.words and not gained.mates:
            first += f" The line {gained.words}."
    elif line:
        shown = " ".join(numbered(start, line[: gained.plies] if gained.words else line[:1]))
        verb = "misses" if cause.missed else "allows"
        first = f"{played} {verb} {shown}{f', which {gained.words}' if gained.words else ''}."
    else:
        first = f"{played} ends the game."
    best = _san(root.board, root.compared.best.line[0])
    better, now = (_stands(one.in_practice, root) for one in (root.compared.best, root.compared.played))
    if better == now:
        would = f"With {best}, {side} would have {_points(root.loss)} more, though {now} either way"
    else:
        would = f"With {best}, {side} would be {better}; after {played}, {side} is {now}"
    told = [first, f"{would}. {_showed(traced, one, root)}."]
    if len(one.episode.slips) > 1:
        told.append(_whole(one))
    return told


def _gained(root: ScoredMove, cause: Cause) -> Outcome:
    """What the line of the cause wins, counted from the root on: what is only taken back is not won."""
    line = [move.uci() for move in cause.line]
    if cause.missed:
        found = outcome(root.board, line, root.board.turn)
    else:
        found = outcome(root.board, [root.move.uci(), *line], not root.board.turn)
        found = replace(found, plies=max(found.plies - 1, 1))
    return found if found.mates or found.pawns == cause.wins else NOTHING


def _showed(traced: TracedGame, one: TracedEpisode, root: ScoredMove) -> str:
    if one.showed is None:
        later = any(other.episode.first.ply > root.ply for other in traced.episodes)
        return f"Before {'the next episode' if later else 'the end of the game'}, {NO_SHOW}"
    if one.showed == root.ply + 1:
        return "It shows at once"
    game = traced.seat.game
    board = game.start.copy(stack=False)
    for move in game.moves[: one.showed - 1]:
        board.push(move)
    return f"It shows after {_san(board, game.moves[one.showed - 1].uci())}"


def _whole(one: TracedEpisode) -> str:
    """What else belongs to the episode, and how far it led."""
    episode = one.episode
    before = episode.prepared_by
    assert episode.root is not None
    later = [slip for slip in episode.slips if slip.ply > episode.root.ply]
    parts = [f"It was prepared by {_slips(before)}"] if before else []
    if later:
        parts.append(f"{'and' if before else 'It'} went on with {_slips(later)}")
    ends = [_stands(episode.before, episode.told), _stands(episode.after, episode.told)]
    way = f"from {ends[0]} to {ends[1]}" if ends[0] != ends[1] else f"{ends[0]} all the while"
    return f"{', '.join(parts)}: {way}."


def _drift(one: TracedEpisode) -> list[str]:
    episode, told = one.episode, one.episode.told
    ends = [_stands(score, told) for score in (episode.before, episode.after)]
    way = f"from {ends[0]} to {ends[1]}" if ends[0] != ends[1] else f"further down, {ends[0]} all the while"
    side = side_name(told.board.turn)
    within = f"between {_played(episode.first)} and {_played(episode.last)}"
    text = f"From about {_played(told)} on, {side} drifts {way}"
    if episode.slips:
        return [f"{text}. There was no collapse {within}, only slips: {_slips(episode.slips)}."]
    return [f"{text}: no move {within} loses {_points(SLIP)}, but together they do."]


def _slips(slips: Sequence[ScoredMove]) -> str:
    """Slips with what each costs: `12. h3 (9) and 14. Nd2 (21 points in 100)`."""
    costs = [f"{100 * slip.loss:.0f}" for slip in slips[:-1]] + [_points(slips[-1].loss)]
    return listed(f"{_played(slip)} ({cost})" for slip, cost in zip(slips, costs, strict=True))


def _stands(score: float, of: ScoredMove) -> str:
    """How the player stands with an expected score of theirs."""
    white = of.board.turn == chess.WHITE
    verdict = verdict_from_expected(score if white else 1.0 - score)
    return standing(verdict, "white" if white else "black")


def _points(loss: float) -> str:
    """Expected score as points of a hundred games."""
    return f"{counted(round(100 * loss), 'point')} in 100"


def _played(move: ScoredMove) -> str:
    return _san(move.board, move.move.uci())


def _san(board: chess.Board, uci: str) -> str:
    return numbered(board, (uci,))[0]


def _clock(seconds: float) -> str:
    """Time on a clock, as it shows it: `0:21`, `1:02:05`."""
    minutes, left = divmod(int(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{left:02}" if hours else f"{minutes}:{left:02}"
