"""What a line uses: textbook examples and near misses, reading lines, and the exchange on one board."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import chess
import pytest
import slow
from hypothesis import given, settings
from hypothesis import strategies as st
from real_positions import games_in, wandered

from patterns.catalogue import MOTIFS
from patterns.detect import find_in
from patterns.lines import LineError, Use, parse_line, uses, uses_of_many
from patterns.proof.captures import exchange, falls

GREEK_GIFT = "rnbq1rk1/pppn1ppp/4p3/3pP3/1b1P3P/2NB1N2/PPP2PP1/R1BQK2R w KQ - 0 8"
"""The classic sacrifice on h7, as in Vukovic, The Art of Attack in Chess (from memory)."""

BAD_GIFT = "r1b2rk1/ppq2ppp/2n1p3/3pP3/8/3B1N2/PPP2PPP/R2QK2R w KQ - 0 12"
"""The queen on c7 takes on e5, and the attack has come to an end."""

SINGLE_PAWN = "r4rk1/ppq2ppp/2n5/5P2/8/2P5/PP1Q2PP/R1B2RK1 w - - 0 1"
"""The pawn on g7 alone holds the dark squares against the bishop on c1."""


def used(fen: str, line: str) -> list[Use]:
    board = chess.Board(fen)
    return uses(board, parse_line(board, line))


@pytest.mark.parametrize(
    ("motif", "fen", "line", "ply", "targets"),
    [
        ("pin-on-file", "4k3/8/8/4n3/8/8/3P1P2/4R1K1 w - - 0 1", "f4 Kf8 fxe5", 1, "e5 e8"),
        ("pin-on-file", "5rk1/5pp1/8/8/8/7Q/8/6RK w - - 0 1", "Qh6 f6 Qxg7#", 1, "g7 g8"),
        ("pin-on-rank", "3q2k1/5ppp/8/8/6B1/8/5PPP/2R3K1 w - - 0 1", "Rc8 Qxc8 Bxc8", 1, "d8 g8"),
        ("pin-on-diagonal", "4k3/3n4/8/8/8/8/4BP2/3R2K1 w - - 0 1", "Bb5 Ke7 Rxd7+", 1, "d7 e8"),
        ("fork", "r3k3/8/8/3N4/8/8/8/4K3 w q - 0 1", "Nc7+ Kd7 Nxa8", 1, "a8 e8"),
        ("fork", "6k1/8/8/2n1r3/8/3P4/8/3Q2K1 w - - 0 1", "d4 Re8 dxc5", 1, "c5 e5"),
        ("fork", "r3k3/8/8/3N4/8/8/8/4K3 w q - 0 1", "Nc7+", 1, "a8 e8"),
        ("skewer", "r7/8/8/8/k7/8/5K2/7R w - - 0 1", "Ra1+ Kb3 Rxa8", 1, "a4 a8"),
        ("skewer", "6k1/5ppp/4q3/8/2r5/8/4BPPP/6K1 w - - 0 1", "Bxc4 Qxc4", 0, ""),
        ("discovered-attack", "3k4/6r1/8/8/3N4/8/1B6/5K2 w - - 0 1", "Nc6+ Kc7 Bxg7", 1, "g7"),
        ("discovered-attack", "4k3/8/8/8/4N3/8/8/4R1K1 w - - 0 1", "Nf6+ Kf7 Kf2", 1, "e8"),
        ("removed-defender", "6k1/5ppp/1p3n2/6B1/4r3/8/2Q2PPP/6K1 w - - 0 1", "Bxf6 gxf6 Qxe4", 1, "e4 f6"),
        ("overloaded-defender", "6k1/5ppp/1p6/b1n5/8/8/5PPP/R1R3K1 w - - 0 1", "Rxa5 bxa5 Rxc5", 1, "b6 c5"),
        ("trapped-piece", "6k1/5ppp/8/8/8/1P6/b1P2PPP/2K4R w - - 0 1", "Kb2 Kf8 Kxa2", 1, "a2"),
        ("trapped-piece", "6k1/5ppp/8/8/8/1P6/b1P2PPP/2K4R w - - 0 1", "Kb2 Bb1 Rxb1", 1, "a2"),
        ("loose-piece", "4k3/8/8/7b/8/8/8/3QK3 w - - 0 1", "Qxh5+", 1, "h5"),
        ("back-rank", "6k1/5ppp/8/8/8/8/5PPP/3R2K1 w - - 0 1", "Rd8#", 1, "g8"),
        ("back-rank", "2r3k1/5ppp/8/1b6/8/8/5PPP/3RR1K1 w - - 0 1", "Rd8+ Rxd8 Re8+ Rxe8", 0, ""),
        ("back-rank", "3r2k1/5ppp/8/8/8/4Q3/5PPP/4R1K1 w - - 0 1", "Qe8+ Rxe8 Rxe8#", 1, "g8"),
        ("cover-sacrifice", "6rk/5p1p/5PpQ/8/8/5R2/6PP/6K1 w - - 0 1", "Qxh7+ Kxh7 Rh3#", 1, "h7 h8"),
        ("cover-sacrifice", GREEK_GIFT, "Bxh7+ Kxh7 Ng5+ Kg8 Qh5", 1, "h7 g8"),
        ("cover-sacrifice", BAD_GIFT, "Bxh7+ Kxh7 Ng5+ Kg8 Ne4", 0, ""),
        ("pawn-storm", "r1q2rk1/pp2ppbp/3p1np1/8/3QP1PP/2N1BP2/PPP5/2KR3R w - - 0 1", "h5 a6 hxg6", 1, "g8"),
        (
            "pawn-storm",
            "r1q2rk1/pp2ppbp/3p1np1/8/3QP1PP/2N1BP2/PPP5/2KR3R w - - 0 1",
            "g5 Nh5 Ne2",
            1,
            "g8 f6",
        ),
        (
            "unopposed-bishop",
            "r2q1rk1/pp3p1p/2n1p1p1/3p4/3P4/2P5/PP1Q1PPP/R1B2RK1 w - - 0 1",
            "Qh6 Qf6 Bg5",
            1,
            "g8",
        ),
        ("unopposed-bishop", SINGLE_PAWN, "f6 gxf6 Qh6", 1, "g7"),
        ("unopposed-bishop", SINGLE_PAWN, "Qg5 Kh8 Qxg7#", 1, "g7"),
        ("unopposed-bishop", "2r2rk1/p3qp1p/1p4p1/8/3P4/1P6/PB1Q1PPP/3R2K1 w - - 0 1", "d5 Qd6 Qd4", 1, "g8"),
        ("unopposed-bishop", "2r2rk1/p3qp1p/1p4p1/8/3P4/1P6/PB1Q1PPP/3R2K1 w - - 0 1", "Bc1 Qd6 h3", 0, ""),
    ],
)
def test_a_line_uses_what_the_books_call_by_that_name(
    motif: str, fen: str, line: str, ply: int, targets: str
) -> None:
    found = [use for use in used(fen, line) if use.motif == motif]
    assert bool(found) == bool(ply), found
    if ply:
        assert (found[0].ply, set(targets.split()) <= set(found[0].targets)) == (ply, True), found


@pytest.mark.parametrize(
    ("motif", "fen", "line"),
    [
        # The knight moves away in time, as it is not pinned.
        ("pin-on-file", "8/3k4/8/4n3/8/8/5P2/4R1K1 w - - 0 1", "f4 Nc6"),
        # A pinned knight that attacks nothing and is not attacked.
        ("pin-on-file", "4k3/8/8/4n3/8/8/8/4R1K1 w - - 0 1", "Kg2 Ke7"),
        # The bishop takes the knight that would fork.
        ("fork", "r2bk3/8/8/3N4/8/8/8/4K3 w q - 0 1", "Nc7+ Bxc7"),
        # An attack on two pawns is not a fork.
        ("fork", "4k3/p1p5/8/8/8/8/8/1N2K3 w - - 0 1", "Nc3 Kd7 Nb5 Kc6 Nxa7+"),
        # The king that steps back guards the rook behind it.
        ("skewer", "8/8/r7/8/k7/8/5K2/7R w - - 0 1", "Ra1+ Kb5 Rxa6 Kxa6"),
        # The line opens, but the man that the slider takes is guarded, and nothing is won.
        ("discovered-attack", "6k1/8/3b1p2/4p3/3N4/8/1B6/6K1 w - - 0 1", "Nf3 Kg7 Bxe5 fxe5 Nxe5"),
        # Not attacked yet. That the bishop may sell itself does not make it trapped.
        ("trapped-piece", "6k1/5ppp/8/8/8/8/bPP2PPP/2K4R w - - 0 1", "b3 Bxb3 cxb3"),
        # The pawn on h6 leaves the king a square.
        ("back-rank", "6k1/5pp1/7p/8/8/8/5PPP/3R2K1 w - - 0 1", "Rd8+ Kh7"),
        # The other rook guards too.
        ("removed-defender", "4r1k1/5ppp/1p3n2/6B1/4r3/8/2Q2PPP/6K1 w - - 0 1", "Bxf6 gxf6 Qxe4 Rxe4"),
        # A guarded piece is not loose.
        ("loose-piece", "4k3/8/6p1/7b/8/8/8/3QK3 w - - 0 1", "Qxh5 gxh5"),
    ],
)
def test_a_line_that_only_looks_like_it_does_not_use_the_motif(motif: str, fen: str, line: str) -> None:
    assert [use for use in used(fen, line) if use.motif == motif] == []


@pytest.mark.parametrize(
    ("fen", "line", "motif", "wins", "shown", "why"),
    [
        ("r3k3/8/8/3N4/8/8/8/4K3 w q - 0 1", "Nc7+ Kd7 Nxa8", "fork", 5, True, "the rook falls"),
        ("r3k3/8/8/3N4/8/8/8/4K3 w q - 0 1", "Nc7+ Kd7 Nd5 Kd6", "fork", 5, False, "the rook is left alone"),
        ("3k4/6r1/8/8/3N4/8/1B6/5K2 w - - 0 1", "Nc6+ Kc7 Nb4", "discovered-attack", 2, False, "so is this"),
        ("4k3/1q6/8/8/4N3/8/8/4R1K1 w - - 0 1", "Nd6+ Kd7 Kf2", "discovered-attack", 8, True, "a check"),
        ("6k1/5ppp/8/8/8/2b5/8/1K1R3R w - - 0 1", "Rd3 Bf6 Rd6", "threat-of-mate", 0, True, "no gain yet"),
    ],
)
def test_a_use_says_what_it_wins_at_least_and_whether_the_line_shows_it(
    fen: str, line: str, motif: str, wins: int, shown: bool, why: str
) -> None:
    use = next(use for use in used(fen, line) if use.motif == motif)
    assert (use.ply, use.wins, use.shown) == (1, wins, shown), why
    assert "win" not in use.note


@pytest.mark.parametrize(
    ("fen", "line", "targets", "forked"),
    [
        ("r3k3/8/4p3/3N4/8/8/8/4K3 w q - 0 1", "Nc7+", "a8 e6 e8", "the rook on a8 and the king on e8"),
        ("4k3/7p/8/3N4/8/8/8/4K3 w - - 0 1", "Nf6+", "h7 e8", "the pawn on h7 and the king on e8"),
    ],
)
def test_a_pawn_is_named_as_forked_only_where_no_two_pieces_are(
    fen: str, line: str, targets: str, forked: str
) -> None:
    (found,) = find_in([chess.Board(fen)], "fork")[0]
    assert {*found.targets} == {*targets.split()}
    for note in (found.note, next(use.note for use in used(fen, line) if use.motif == "fork")):
        assert f" {forked} from " in note


def test_a_discovered_check_is_called_a_check_and_another_threat_a_threat() -> None:
    checks = "3k4/6r1/8/8/3N4/8/1B6/5K2 w - - 0 1"
    threatens = "5r1k/3Q3p/p3p1p1/1p4b1/8/5N2/P3B2P/5R1K w - - 2 43"
    for fen, how in (
        (checks, " for c6 with check, "),
        (threatens, " by taking on g5, with a threat of its own, "),
    ):
        notes = [finding.note for finding in find_in([chess.Board(fen)], "discovered-attack")[0]]
        assert any(how in note for note in notes), notes


def test_a_double_check_is_named_as_one() -> None:
    notes = [use.note for use in used("4k3/8/8/8/4N3/8/8/4R1K1 w - - 0 1", "Nf6+ Kf7")]
    assert any("double check" in note for note in notes), notes


@pytest.mark.parametrize(
    ("text", "moves"),
    [
        ("", ""),
        ("e4 e5 Nf3", "e2e4 e7e5 g1f3"),
        ("1. e4, e7e5; 2. Nf3!? Nc6 3.Bb5 a6 4. O-O", "e2e4 e7e5 g1f3 b8c6 f1b5 a7a6 e1g1"),
        ("1.d4 d5 2. Bf4 ??", "d2d4 d7d5 c1f4"),
        ("e4 e5 Nf3 Nc6 Bc4 Bc5 e1h1", "e2e4 e7e5 g1f3 b8c6 f1c4 f8c5 e1g1"),
    ],
)
def test_lines_are_read_in_uci_or_san(text: str, moves: str) -> None:
    assert [move.uci() for move in parse_line(chess.Board(), text)] == moves.split()


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("h4 h5 xyzzy", "move 3 ('xyzzy') is not a move: write it like a3 or a2a3"),
        ("e4 Nh5", "move 2 ('Nh5') is not legal: no black knight can go to h5"),
        ("e2e5", "move 1 ('e2e5') is not legal"),
        ("e4 e7e7", "move 2 ('e7e7') is not legal"),
        ("Nc3 a6 Nf3 a5 Nd4 a4 Nb5", "move 7 ('Nb5') is ambiguous: Ncb5 or Ndb5"),
        ("O-O", "castling is not possible"),
        ("0000", "move 1 ('0000')"),
    ],
)
def test_every_fault_of_a_line_quotes_the_move(text: str, fault: str) -> None:
    with pytest.raises(LineError) as caught:
        parse_line(chess.Board(), text)
    assert fault in str(caught.value)


def test_a_promotion_must_name_the_new_piece() -> None:
    board = chess.Board("8/P6k/8/8/8/8/8/4K3 w - - 0 1")
    told = "is ambiguous: a8=Q, a8=R, a8=B or a8=N; say what the pawn becomes"
    with pytest.raises(LineError, match=f"'a8'. {told}"):
        parse_line(board, "a8")
    assert parse_line(board, "a8=N")[0].promotion == chess.KNIGHT
    with pytest.raises(LineError, match=f"'a7a8'. {told}"):
        parse_line(board, "a7a8")


def test_a_line_that_is_not_legal_is_refused() -> None:
    with pytest.raises(LineError, match="'e2e4' is not legal"):
        uses(chess.Board(), [chess.Move.from_uci("e2e4"), chess.Move.from_uci("e2e4")])


def windows(boards_of: Path, length: int = 5) -> list[tuple[chess.Board, list[chess.Move]]]:
    """Parts of real games, one starting at every third move."""
    found = []
    for game in games_in(boards_of):
        nodes = list(game.mainline())
        for start in range(0, len(nodes) - length, 3):
            line = [node.move for node in nodes[start + 1 : start + 1 + length]]
            if all(line):  # one game has a null move
                found.append((nodes[start].board(), line))
    return found


def mirrored(move: chess.Move) -> chess.Move:
    return chess.Move(
        chess.square_mirror(move.from_square), chess.square_mirror(move.to_square), move.promotion
    )


def upside_down(use: Use) -> Use:
    def turned(names: tuple[str, ...]) -> tuple[str, ...]:
        squares = sorted(chess.square_mirror(chess.parse_square(name)) for name in names)
        return tuple(chess.SQUARE_NAMES[square] for square in squares)

    return replace(
        use, actors=turned(use.actors), targets=turned(use.targets), squares=turned(use.squares), note=""
    )


def test_both_colours_use_the_same_and_every_use_is_in_the_catalogue(chess_archive: Path) -> None:
    """Parts of the games in the python-chess source archive (data/pgn)."""
    lines = windows(chess_archive / "data" / "pgn")
    found = uses_of_many(lines)
    turned = uses_of_many([(board.mirror(), [mirrored(move) for move in line]) for board, line in lines])
    seen = 0
    for (board, line), here, there in zip(lines, found, turned, strict=True):
        expected = sorted((upside_down(use) for use in here), key=str)
        assert expected == sorted((replace(use, note="") for use in there), key=str), (board.fen(), line)
        assert all(use.motif in MOTIFS and 1 <= use.ply <= 3 for use in here)
        seen += len(here)
    assert len(lines) > 300
    assert seen > 50


def test_one_by_one_is_the_same_as_many_at_once(chess_archive: Path) -> None:
    lines = windows(chess_archive / "data" / "pgn")[::15]
    assert len(lines) > 20
    assert [uses(board, line) for board, line in lines] == uses_of_many(lines)


@settings(max_examples=10)
@given(st.integers(0, 10_000))
def test_the_exchange_of_one_board_follows_the_stated_rules(seed: int) -> None:
    boards = wandered(seed, games=1)[::7]
    moves = 0
    for board in boards:
        for colour in chess.COLORS:
            seen = slow.seen_by_us(board, colour)
            for square in chess.scan_forward(seen.occupied_co[chess.BLACK]):
                kind = seen.piece_type_at(square) or 0
                real = square if colour == chess.WHITE else chess.square_mirror(square)
                assert falls(board, real) == slow.settle(seen, square, slow.WORTH[kind], chess.WHITE), (
                    board.fen(),
                    chess.square_name(real),
                )
        mine = slow.seen_by_us(board, board.turn)
        for move in mine.legal_moves:
            if mine.is_castling(move) or move.promotion not in (None, chess.QUEEN):
                continue
            real_move = move if board.turn else mirrored(move)
            expected = slow.exchange(mine, move.from_square, move.to_square)
            assert exchange(board, real_move) == expected, (board.fen(), real_move)
            moves += 1
    assert moves > 50


def test_an_empty_line_uses_nothing_and_hides_no_other() -> None:
    board = chess.Board("r3k3/8/8/3N4/8/8/8/4K3 w q - 0 1")
    line = parse_line(board, "Nc7+ Kd7 Nxa8")
    assert uses_of_many([(board, []), (board, line), (board, [])]) == [[], uses(board, line), []]
