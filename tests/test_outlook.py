"""What is said when a study day has come to its end."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from decks.telling.outlook import Outlook, build_command, outlook_lines

FEED = "rondeau build forks --from club.pgn --motif fork"
A_FEW = f"`--minutes M` takes a few today. `{FEED}` makes more."
PLAIN = Outlook(date(2031, 5, 2), None, None, 0, 0, False, False, False, 0, FEED)
ONLY_LOOKALIKES = "Of 1 motif your decks have only lookalikes, which come among positions that show it."
SEEMING = f"{ONLY_LOOKALIKES} `{FEED}` makes some."


@pytest.mark.parametrize(
    ("outlook", "lines"),
    [
        (PLAIN, []),
        (
            replace(PLAIN, minutes=15.0, returns=date(2031, 5, 3), cards=1),
            [
                "Today's 15 minutes are done.",
                "1 card returns tomorrow (2031-05-03).",
                "To go on today: `--minutes M` adds M minutes.",
            ],
        ),
        (
            replace(PLAIN, lacks_positions=True, unseen=28, returns=date(2031, 5, 9), cards=2, motifs=1),
            [
                f"New positions are spent slowly: 28 are left for other days; {A_FEW}",
                "2 cards and 1 motif return in 7 days (2031-05-09).",
            ],
        ),
        (
            replace(PLAIN, lacks_positions=True, unseen=1),
            [f"New positions are spent slowly: 1 is left for other days; {A_FEW}"],
        ),
        (
            replace(PLAIN, lacks_positions=True),
            [f"You have seen every position of your decks. `{FEED}` makes more."],
        ),
        (
            replace(PLAIN, minutes=15.0, used_up=2),
            [
                "Today's 15 minutes are done.",
                "To go on today: `--minutes M` adds M minutes.",
                f"2 motifs of today have no new position left. `{FEED}` makes more.",
            ],
        ),
        (replace(PLAIN, used_up=1), [f"1 motif of today has no new position left. `{FEED}` makes more."]),
        (
            replace(PLAIN, lacks_positions=True, used_up=1),
            [f"You have seen every position of your decks. `{FEED}` makes more."],
        ),
        (
            replace(PLAIN, unmet=True, catching_up=True),
            ["Because you were away, new cards and motifs follow from tomorrow on."],
        ),
        (
            replace(PLAIN, unmet=True),
            ["A few first meetings come on a day: `--minutes M` adds M minutes, with one for each 5."],
        ),
        (replace(PLAIN, only_lookalikes=1), [SEEMING]),
        (
            replace(PLAIN, only_lookalikes=2),
            [SEEMING.replace("1 motif", "2 motifs").replace("show it", "show them")],
        ),
        (
            replace(PLAIN, only_lookalikes=1, lacks_positions=True),
            [f"You have seen every position of your decks. `{FEED}` makes more."],
        ),
        (
            replace(PLAIN, only_lookalikes=1, minutes=15.0),
            ["Today's 15 minutes are done.", "To go on today: `--minutes M` adds M minutes."],
        ),
    ],
)
def test_why_the_day_ends_what_returns_and_how_to_go_on(outlook: Outlook, lines: list[str]) -> None:
    assert outlook_lines(outlook) == lines


def test_the_command_that_makes_positions_names_deck_games_and_motifs() -> None:
    assert build_command("forks", ["fork"], "club.pgn") == FEED
    assert build_command("my forks", ["fork", "pin-on-file"], None) == (
        "rondeau build 'my forks' --from GAMES.pgn --motif fork --motif pin-on-file"
    )
