"""Two minutes under load. The machine may have other work: rates are the best of several, times stand beside those of
a bare route that was asked at the same rate in between, and how memory grows is seen in half an hour only, by
`python -m tests.load`, whose table stands in docs/load.md.
"""

from __future__ import annotations

import json
import statistics

import pytest

from tests.load.figures import PAGE, RECORD, table
from tests.load.measure import Run, run

MINUTES = 2.0


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Run:
    made = run(tmp_path_factory.mktemp("load"), MINUTES)
    print(table(made))  # noqa: T201
    return made


@pytest.mark.replay
def test_every_answer_is_one(found: Run) -> None:
    assert found.faults == []
    assert found.asked > 1000
    assert found.writes >= MINUTES
    assert found.passes > 1
    # Each stream is told of each pass.
    assert found.events >= 20 * (found.passes - 1)


@pytest.mark.replay
def test_filtered_reads_reach_a_quarter_of_stored_ones(found: Run) -> None:
    assert found.filtered_rate >= 0.25 * found.stored_rate


@pytest.mark.replay
def test_the_slowest_reads_stand_beside_those_of_a_bare_route(found: Run) -> None:
    """Of the seconds that another's work has spoilt least: the machine may have much, and it falls on both alike."""
    ours, bare = (
        statistics.quantiles(one, n=4)[0] for one in (found.stored_p99_windows_ms, found.bare_p99_windows_ms)
    )
    assert ours < 10 * max(found.idle_median_ms, bare)


@pytest.mark.replay
def test_memory_does_not_run_away(found: Run) -> None:
    settled = [mb for _, mb in found.settled()]
    half = len(settled) // 2
    assert statistics.median(settled[half:]) - statistics.median(settled[:half]) < 5


@pytest.mark.replay
def test_what_is_posted_without_a_token_is_not_kept(found: Run) -> None:
    assert found.posted_mb >= 200
    assert found.posted_peak_mb < 20


def test_the_page_tells_of_the_run_that_is_on_record() -> None:
    record, page = json.loads(RECORD.read_text(encoding="utf-8")), PAGE.read_text(encoding="utf-8")
    assert "\n".join(record["table"]) in page
    assert record["made_on"] in page


def test_a_line_through_memory_tells_how_it_grows() -> None:
    grows = Run(1.0, memory_mb=[(float(at), 100 + 0.01 * at) for at in range(600)])
    assert grows.memory_slope_mb() == pytest.approx(6.0)
    assert Run(1.0, memory_mb=[(float(at), 100.0) for at in range(600)]).memory_slope_mb() == 0
