"""Which reports of a search count."""

from __future__ import annotations

import pytest

from patterns.engines.reports import LastReports

FIRST = "info depth 5 multipv 1 score cp 30 wdl 400 400 200 pv e2e4 e7e5"
LATER = "info depth 6 multipv 2 score cp 35 wdl 400 400 200 pv e2e4 c7c5"
OTHER = "info depth 6 multipv 1 score mate 3 pv d2d4"
BOUND = "info depth 7 score cp 50 lowerbound nodes 9 pv e2e4"
NO_SCORE = "info depth 9 currmove e2e4 currmovenumber 1"
NO_LINE = "info depth 6 score cp 10"
TEXT = "info string depth 30 score cp 900 pv a2a3"
NO_DEPTH = "info score cp 15 pv g1f3"


@pytest.mark.parametrize(
    ("sent", "several", "single"),
    [
        ([FIRST, LATER], [LATER], [LATER]),
        ([FIRST, OTHER, LATER], [LATER, OTHER], [OTHER, LATER]),
        ([FIRST, BOUND], [FIRST], [FIRST, BOUND]),
        ([BOUND, FIRST, BOUND], [FIRST], [FIRST, BOUND, BOUND]),
        ([LATER, NO_SCORE], [LATER], [LATER]),
        ([LATER, NO_LINE], [LATER], [LATER, NO_LINE]),
        ([LATER, TEXT], [LATER], [LATER]),
        ([NO_DEPTH], [NO_DEPTH], [NO_DEPTH]),
        ([NO_DEPTH, FIRST], [NO_DEPTH, FIRST], [NO_DEPTH, FIRST]),
        ([TEXT, NO_SCORE], [], []),
    ],
)
def test_only_the_last_reports_count(sent: list[str], several: list[str], single: list[str]) -> None:
    for kind, expected in ((True, several), (False, single)):
        reports = LastReports(several=kind)
        for line in sent:
            reports.take(line)
        assert reports.lines() == expected
        assert reports.count == len(sent)
