"""Cards from the episodes of a player's own games: `play` at the root, `root` where it showed late."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import chess
import pytest
from asked_at_once import AtOnce
from test_cards_from_games import Said
from test_cli_engine_pass import program
from test_cli_trace import GAME, LINES, OTHER, ROOT_EPD, SCORES, after, run
from traced_games import PUBLISHED, traced

from decks.asks.root import ASK, FACTOR_TAG
from decks.build.own_cards import (
    PLIES_BEFORE,
    OwnEpisode,
    costliest_motifs,
    own_cards,
    own_episodes,
    root_card,
)
from decks.build.variety import Known
from decks.cards.cards_file import read_cards, write_card
from decks.cards.tags import card_tags
from decks.tasks.card import Card
from decks.telling.episodes_told import sentences
from patterns.catalogue import MOTIFS
from patterns.engines.engine_pass import Awaited
from patterns.engines.episodes import LEAST, ScoredMove
from patterns.engines.judging import EngineError
from patterns.engines.questions import Asked
from patterns.engines.scores import Compared, Evaluation

TODAY = date(2031, 5, 2)
LATE, *_ = PUBLISHED
"""Bernstein-Capablanca: 27. Nxc3 shows after 29. Rxc3."""

KNIGHT_STAYS = "b5d4"


def episodes() -> list[OwnEpisode]:
    return own_episodes([traced(LATE)], sentences)


def own() -> OwnEpisode:
    (one,) = [one for one in episodes() if one.root.move == chess.Move.from_uci("b5c3")]
    return one


def built(*judged: OwnEpisode, judge: Said, known: Known | None = None) -> list[Card]:
    known = Known() if known is None else known
    return [one.entry.card for one in own_cards(judged, AtOnce(judge), TODAY, known)]


def test_an_episode_that_showed_late_becomes_a_root_card() -> None:
    one = own()
    card = root_card(one)
    assert card is not None
    found = card.entry.card
    board, line = found.board.copy(stack=False), list(found.line)
    assert (found.asks, found.root, board.fullmove_number) == (("root",), PLIES_BEFORE + 1, 24)
    for move in line[:PLIES_BEFORE]:
        board.push_uci(move)
    assert (board.fen(), line[PLIES_BEFORE]) == (one.root.board.fen(), "b5c3")
    assert line[-1] == "c1c3"
    assert found.comments == {found.root: " ".join(sentences(one.traced, one.one))}
    assert found.chosen.startswith("27. Nxc3 was played and loses 0.")
    assert found.own_tags == ({FACTOR_TAG: one.one.factor} if one.one.factor else {})


def with_moves(one: OwnEpisode, *moves: ScoredMove) -> OwnEpisode:
    """The episode in a game in which nothing but its root and these moves was compared."""
    return replace(one, traced=replace(one.traced, moves=(one.root, *moves)))


def test_the_root_card_can_be_written_and_read() -> None:
    card = root_card(own())
    assert card is not None
    (read,), faults = read_cards(write_card(card.entry), ("play",), set(MOTIFS))
    assert faults == ()
    assert read.entry.card == card.entry.card
    assert ASK.lacks(read.entry.card, dict(card_tags(read.entry.card))) == ""


@pytest.mark.parametrize(
    ("later", "is_asked"), [(None, False), (1, False), (4, False), (5, True), (16, True), (17, False)]
)
def test_it_shows_late_if_two_own_moves_were_played_after_the_root(later: int | None, is_asked: bool) -> None:
    one = with_moves(own())
    showed = None if later is None else one.root.ply + later
    card = root_card(replace(one, one=replace(one.one, showed=showed)))
    assert (card is not None) == is_asked
    if card is not None:
        left = len(one.traced.seat.game.moves) - one.root.ply
        assert len(card.entry.card.line) == PLIES_BEFORE + min(later or 0, left)


def test_a_root_that_loses_less_than_an_episode_is_not_asked() -> None:
    one = with_moves(own())
    for loss, is_asked in ((LEAST, True), (LEAST - 0.001, False)):
        found = Compared(Evaluation(0.5, None, ("a2a3",)), Evaluation(0.5 - loss, None, ("a2a4",)))
        card = root_card(replace(one, root=replace(one.root, compared=found)))
        assert (card is not None) == is_asked


@pytest.mark.parametrize(
    ("away", "share", "is_asked"), [(-2, 0.5, True), (-2, 0.51, False), (4, 0.51, False), (-8, 0.9, True)]
)
def test_no_other_move_of_the_card_is_nearly_as_bad(away: int, share: float, is_asked: bool) -> None:
    one = own()
    loss = round(share * one.root.loss, 6)
    other = Compared(Evaluation(loss, None, ("a2a3",)), Evaluation(0.0, None, ("a2a4",)))
    move = ScoredMove(one.root.ply + away, chess.Board(), chess.Move.from_uci("a2a4"), other)
    assert (root_card(with_moves(one, move)) is not None) == is_asked


@pytest.mark.parametrize("factor", ["king-safety", "material", None])
def test_a_factor_that_cannot_be_chosen_is_not_asked(factor: str | None) -> None:
    one = own()
    card = root_card(replace(one, one=replace(one.one, factor=factor)))
    assert card is not None
    assert card.entry.card.own_tags == ({FACTOR_TAG: "king-safety"} if factor == "king-safety" else {})


def test_the_root_is_asked_as_a_move_to_play() -> None:
    play, root = built(own(), judge=Said({KNIGHT_STAYS: 0.5}, 0.1, {}))
    assert (play.asks, play.line, play.fen) == (("play",), (KNIGHT_STAYS,), own().root.board.fen())
    assert play.chosen == root.chosen
    assert play.checked.endswith(", 2031-05-02")
    assert root.asks == ("root",)


@pytest.mark.parametrize(
    "judge",
    [
        Said({KNIGHT_STAYS: 0.5, "b5c3": 0.48}, 0.1, {}),  # the move played holds
        Said({}, 0.5, {}),  # all moves hold
        Said({KNIGHT_STAYS: 0.4}, 0.1, {}),  # the best move only loses more slowly
    ],
)
def test_what_is_no_lesson_is_not_asked(judge: Said) -> None:
    assert [card.asks for card in built(own(), judge=judge)] == [("root",)]


def test_a_move_that_plays_itself_is_not_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    """What plays itself is held by the tests of where a card ends."""
    monkeypatch.setattr("decks.build.play_card.is_worth_asking", lambda card, verdicts: False)
    assert [card.asks for card in built(own(), judge=Said({KNIGHT_STAYS: 0.5}, 0.1, {}))] == [("root",)]


def test_what_is_known_is_not_asked_again() -> None:
    judge, known = Said({KNIGHT_STAYS: 0.5}, 0.1, {}), Known()
    assert len(built(own(), judge=judge, known=known)) == 2
    assert built(own(), judge=judge, known=known) == []


@pytest.mark.parametrize(("kind", "side"), [("overlooked", "own"), ("let in", "theirs")])
def test_the_motif_is_of_the_side_that_profits(kind: str, side: str) -> None:
    one = next(one for one in own_episodes(map(traced, PUBLISHED), sentences) if one.motifs)
    assert one.one.cause is not None and one.one.cause.use is not None
    white = one.root.board.turn == chess.WHITE
    cause = replace(one.one.cause, kind=kind)  # type: ignore[arg-type]
    (found,) = replace(one, one=replace(one.one, cause=cause)).motifs
    assert found.motif == one.one.cause.use.motif
    assert (found.side == "white") == (white == (side == "own"))
    assert replace(one, one=replace(one.one, cause=replace(cause, use=None))).motifs == ()
    assert replace(one, one=replace(one.one, cause=replace(cause, is_plain=True))).motifs == ()


def test_the_costliest_come_first_and_a_drift_has_no_card() -> None:
    every = own_episodes([traced(known) for known in PUBLISHED], sentences)
    costs = [one.one.episode.cost for one in every]
    assert costs == sorted(costs, reverse=True)
    whole = [one for known in PUBLISHED for one in traced(known).episodes]
    assert len(every) == sum(one.episode.root is not None for one in whole) > 5


class Dies(AtOnce):
    """Engines that fail in every position."""

    def ask(self, question: Asked) -> Awaited:
        return Awaited(question, error=EngineError("died"))


def test_if_the_engine_dies_the_others_are_still_made() -> None:
    made = own_cards([own()], Dies(Said({}, 0.1, {})), TODAY, Known())
    assert next(made).entry.card.asks == ("root",)
    with pytest.raises(EngineError, match="died"):
        next(made)


def test_the_motifs_whose_episodes_cost_most_come_first() -> None:
    every = own_episodes([traced(known) for known in PUBLISHED], sentences)
    costs: dict[str, float] = {}
    for one in every:
        for tag in one.motifs:
            costs[tag.motif] = costs.get(tag.motif, 0.0) + one.one.episode.cost
    found = costliest_motifs(every)
    assert len(found) > 2 and {*found} == {*costs}
    assert [costs[motif] for motif in found] == sorted(costs.values(), reverse=True)


# --- The command -----------------------------------------------------------------------------------------


def test_build_own_end_to_end(tmp_path: Path) -> None:
    games = tmp_path / "games.pgn"
    games.write_text(GAME + OTHER)
    root = after("a3", "a6")
    falls = {move.uci(): -1000 for move in root.legal_moves if move.uci() != "g2g3"}
    engine = program(tmp_path, scores={**SCORES, ROOT_EPD: falls}, lines=LINES)
    arguments = ("build", tmp_path / "own", "--from", games, "--player", "anna", "--own", "--engine", engine)
    result = run(*arguments)
    assert result.exit_code == 0, result.output
    assert result.stdout.splitlines()[0] == "Wren, Anna: 1 of 2 games (1 as White, 0 as Black)"
    assert "1 card added to " in result.stdout and "from 1 episode, judged by Scripted 1" in result.stdout
    more = f"rondeau build {tmp_path}/own-motifs --from {games} --motif back-rank"
    assert result.stdout.splitlines()[-1] == f"The same motifs in other positions: `{more}`"
    text = (tmp_path / "own" / "cards.pgn").read_text()
    assert '[Chosen "11. Rc7 was played and loses 0.50"]' in text
    assert '[Motifs "back-rank:black"]' in text
    assert "by-heart = true" in (tmp_path / "own" / "deck.toml").read_text()  # own slips are facts
    assert run("check", tmp_path / "own", "--engine", engine).exit_code == 0
    assert "0 cards added" in run(*arguments).stdout
    assert "1 traced game" in run("ledger", "--player", "anna").stdout


@pytest.mark.parametrize(
    "more", [(), ("--player", "Wren", "--motif", "fork"), ("--player", "Wren", "--ask", "play")]
)
def test_own_needs_a_player_and_no_motif_or_ask(tmp_path: Path, more: tuple[str, ...]) -> None:
    result = run("build", tmp_path / "own", "--from", tmp_path / "games.pgn", "--own", *more)
    assert result.exit_code == 2
    assert "--own needs --player, and goes with no --motif and no --ask" in result.stderr
