"""The detector's output on the recorded corpus is the same as when the record was last accepted."""

from __future__ import annotations

from pathlib import Path

from recorded_findings import corpus, digests, recorded, report

from patterns.catalogue import MOTIFS
from patterns.words.verdicts import FACTORS


def test_nothing_has_changed_since_the_record_was_accepted(chess_archive: Path) -> None:
    today, record = digests(report(chess_archive)), recorded()
    changed = sorted(topic for topic in {*today, *record} if today.get(topic) != record.get(topic))
    assert not changed, (
        f"changed: {', '.join(changed)}. See what changes, example by example, with\n"
        "    PYTHONPATH=. python tests/recorded_findings.py\n"
        "and if every change is right, accept it with --accept"
    )


def test_the_corpus_shows_every_factor_and_every_motif(chess_archive: Path) -> None:
    positions, lines = corpus(chess_archive)
    assert len(positions) > 6000 and len(lines) > 1000
    entries = {topic: each["count"] for topic, each in recorded().items()}
    assert min(entries[f"factor {factor}"] for factor in FACTORS) == entries["verdict"] == len(positions)
    shown = [motif.id for motif in MOTIFS.values() if motif.on_the_board]
    assert all(entries[f"motif {motif}"] >= 4 for motif in shown), entries
