"""`rondeau prepare` with games: the student's own leaks and an opponent's habits weigh the motifs."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from test_cli_engine_pass import program
from test_cli_prepare import deck, in_days, run
from test_cli_trace import GAME, LINES, OTHER, SCORES
from test_ledger import LET_IN, game, side

from decks.cards.deck import Deck
from decks.preparing import event_ahead, leaning_of
from decks.scorebook.book import Scorebook
from decks.scorebook.games import MotifCount
from decks.telling.prepared_told import leaning_lines
from patterns.catalogue import MOTIFS

__all__ = ["deck"]


@pytest.fixture
def games(tmp_path: Path) -> Path:
    path = tmp_path / "games.pgn"
    path.write_text(GAME + OTHER)
    return path


def arose(motif: str, games: int) -> MotifCount:
    return MotifCount(motif, "player", games, games, 0, 0, games)


def test_own_games_are_traced_first(deck: Deck, games: Path, own_scorebook: Path, tmp_path: Path) -> None:
    engine = program(tmp_path, scores=SCORES, lines=LINES)
    asked = ("prepare", "--event", in_days(3), "--deck", deck.folder, "--games", games, "--engine", engine)
    result = run(*asked, "--player", "wren, anna")
    assert result.exit_code == 0, result.stderr
    assert "Motifs count by what they cost in 1 traced game of yours." in result.stdout
    with Scorebook.open(own_scorebook) as book:
        event = event_ahead(book, book.student(), date.today())
        assert event is not None
        assert dict(event.weights) == {"back-rank": 1.0}
    run("students", "--alias", "me=Wren, Anna")
    by_alias = json.loads(run(*asked, "--json").stdout)
    assert (by_alias["games"], by_alias["weights"], by_alias["opponent"]) == (1, {"back-rank": 1.0}, None)


def test_an_opponents_habits_need_no_engine(
    deck: Deck, games: Path, own_scorebook: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RONDEAU_ENGINE", "/no/such/engine")
    asked = ("prepare", "--event", in_days(3), "--deck", deck.folder, "--opponent", games, "--name", "reed")
    told = json.loads(run(*asked, "--json").stdout)
    assert (told["opponent"], told["opponent_games"], told["games"]) == ("Reed, Tom", 1, 0)
    assert told["weights"].keys() == MOTIFS.keys()
    with Scorebook.open(own_scorebook) as book:
        held = {row.motif for row in book.motif_counts("Reed, Tom")}
        event = event_ahead(book, book.student(), date.today())
    assert event is not None
    assert dict(event.weights) == told["weights"]
    assert held
    least = min(told["weights"][motif] for motif in held)
    assert all(told["weights"][motif] < least for motif in MOTIFS.keys() - held)
    said = " ".join(run(*asked).stdout.split())
    assert "Motifs count by how often they arose in 1 game of Reed, Tom. Most: " in said


def test_what_costs_most_counts_most_if_it_is_likely_to_arise(own_scorebook: Path) -> None:
    with Scorebook.open(own_scorebook) as book:
        other = replace(LET_IN, motif="pin-on-file", cost=0.05)
        book.store_traces([side(game(number), LET_IN, other) for number in range(8)])
        names = {"wren, anna"}
        alone = leaning_of(book, names, None)
        both = leaning_of(book, names, ("Reed", 10, [arose("pin-on-file", 10), arose("back-rank", 1)]))
        nobody = leaning_of(book, {"birch"}, None)
    assert (alone.games, both.opponent, both.opponent_games, nobody.games) == (8, "Reed", 10, 0)
    assert alone.weights["fork"] > 1 > alone.weights["pin-on-file"]
    assert both.weights["fork"] < alone.weights["fork"]
    assert both.weights["pin-on-file"] > alone.weights["pin-on-file"]
    assert both.weights["back-rank"] > both.weights["loose-piece"]
    assert all(0.5 <= weight <= 2.0 for weight in both.weights.values())
    assert nobody.weights == {}


@pytest.mark.parametrize(
    ("weights", "games", "opponent", "said"),
    [
        ({}, 0, "", "Motifs count alike, because no game of yours has been traced."),
        (
            {"fork": 1.5, "pin-on-file": 0.5},
            2,
            "",
            "Motifs count by what they cost in 2 traced games of yours. Most: fork.",
        ),
        (
            {"fork": 1.0},
            2,
            "Reed, Tom",
            (
                "Motifs count by what they cost in 2 traced games of yours "
                "and by how often they arose in 3 games of Reed, Tom."
            ),
        ),
    ],
)
def test_by_what_motifs_count_is_told(
    weights: dict[str, float], games: int, opponent: str, said: str
) -> None:
    lines = leaning_lines(weights, games, opponent, 3)
    assert " ".join(" ".join(lines).split()) == said
    assert all(len(line) <= 80 for line in lines)


@pytest.mark.parametrize(
    ("options", "status", "said"),
    [
        (["--player", "Wren"], 2, "--player goes with --games"),
        (["--name", "Wren"], 2, "--opponent and --name go together"),
        (["--opponent", "GAMES"], 2, "--opponent and --name go together"),
        (["--opponent", "GAMES", "--name", "Gull"], 2, "Gull does not play in "),
        (["--opponent", "GAMES", "--name", "wren"], 2, "'--name': 'wren' fits several people"),
        (["--games", "GAMES", "--player", "Gull"], 2, "Gull does not play in "),
        (["--games", "GAMES", "--player", "wren, anna", "--engine", "/no/such"], 3, "/no/such"),
        (["--games", "nowhere.pgn", "--player", "Wren"], 2, "nowhere.pgn"),
    ],
)
def test_what_can_not_be_weighed(options: list[str], status: int, said: str, deck: Deck, games: Path) -> None:
    given = [str(games) if option == "GAMES" else option for option in options]
    result = run("prepare", "--event", in_days(3), "--deck", deck.folder, *given)
    assert (result.exit_code, said in result.stderr) == (status, True), result.stderr
