"""What a student types: accepted if its meaning is clear, otherwise answered with a correction."""

from __future__ import annotations

import chess
import pytest

from decks.asks.spot import read_spot
from decks.tasks.entry import EntryError, InvalidEntry, read_move

BLACK = "6k1/5p2/6p1/p2Q3p/P4P2/2bRq2b/5R1P/6K1 b - - 1 31"


@pytest.mark.parametrize("text", ["Qe1", "Qe1+", "31... Qe1", "...Qe1", "qe1!", "e3e1"])
def test_the_same_move_however_it_is_written(text: str) -> None:
    assert read_move(chess.Board(BLACK), text) == chess.Move.from_uci("e3e1")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("O-O", "O-O is not legal here: the king can't castle that way now"),
        ("b8", "b8 is not legal here: a pawn can go g5, h4"),
        ("bxc3", "bxc3 is not legal here: a pawn can go g5, h4"),
        ("nb3", "nb3 is not legal here: no knight of yours can move"),
    ],
)
def test_an_illegal_move_is_explained_with_the_right_man(text: str, message: str) -> None:
    with pytest.raises(EntryError) as caught:
        read_move(chess.Board(BLACK), text)
    assert str(caught.value) == message


def test_a_spot_entry_of_many_words_is_read_phrase_by_phrase() -> None:
    titles = {"pin-on-file": "Pin on the file", "fork": "Fork"}
    motifs, squares = read_spot(titles, "pin on the file, e4 fork e5 " * 5000)
    assert (len(motifs), len(squares)) == (10_000, 10_000)
    assert (motifs[:2], squares[:2]) == (["pin-on-file", "fork"], ["e4", "e5"])
    with pytest.raises(InvalidEntry, match="'pinned' is neither"):
        read_spot(titles, "fork pinned")
