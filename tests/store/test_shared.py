"""What sites tell each other of the sprayer or keeper that they share, from pass to pass."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import msgspec
import pytest
from msgspec.structs import replace as changed

from planner.actions.shared import beside, for_others, part_of
from planner.config.load import Config
from planner.planning.shared import Elsewhere, Shared
from planner.planning.week import WeekOrder
from planner.reports.rows import SCHEMA, Report
from planner.site import WorkDone
from planner.store.store import Store
from tests.made import config
from tests.reports.made import NOW, demo_pass

SHARED = Shared(name="barrow", is_keeper=False, move_h=1.0)
EMPTY = WeekOrder(placed=(), left=(), method="")
H = timedelta(hours=1)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with closing(Store.open(f"sqlite:///{tmp_path / 'store.db'}", "north", "here")) as opened:
        yield opened


@pytest.fixture(scope="module")
def report() -> Report:
    """A pass whose week holds nothing."""
    found, _ = demo_pass()
    return changed(found, week=changed(found.week, work=(), planned=()))


def sharing() -> Config:
    return replace(config(), shared=SHARED)


def spans(parts: dict[str, bytes]) -> list[tuple[float, float]]:
    return list(msgspec.json.decode(parts[part_of(SHARED)], type=Elsewhere).taken)


def h(hours: float) -> float:
    return (NOW + hours * H).timestamp() / 3600.0


def keep(store: Store, taken: list[tuple[float, float]], age: timedelta = timedelta(0)) -> None:
    body = msgspec.json.encode(Elsewhere(site="North green", taken=tuple(taken), move_h=1.0))
    store.keep_pass(NOW - age, {part_of(SHARED): body}, schema=SCHEMA)


def test_work_under_way_and_the_way_after_it_are_told(store: Store, report: Report) -> None:
    """The plan drops what has begun; the sprayer is there all the same."""
    keep(store, [(h(-0.5), h(0.5)), (h(-2), h(-0.5)), (h(-4), h(-2)), (h(3), h(4))])
    assert spans(for_others(SHARED, report, EMPTY, store, ())) == [(h(-2), h(-0.5)), (h(-0.5), h(0.5))]


def test_a_spray_just_written_down_holds_the_sprayer_for_the_way(store: Store, report: Report) -> None:
    def done(kind: str, hours: float) -> WorkDone:
        return WorkDone(job=kind, kind=kind, surface="green", at=NOW + hours * H)

    works = (done("spraying", -0.25), done("spraying", -1.5), done("mowing", -0.25))
    assert spans(for_others(SHARED, report, EMPTY, store, works)) == [(h(-0.25), h(-0.25))]
    keeper = replace(SHARED, is_keeper=True)
    told = msgspec.json.decode(
        for_others(keeper, report, EMPTY, store, works)[part_of(keeper)], type=Elsewhere
    )
    assert told.taken == ((h(-0.25), h(-0.25)),)


def test_a_site_that_is_gone_holds_it_for_a_day(store: Store) -> None:
    keep(store, [(h(5), h(6))], age=20 * H)
    south = store.bound_to("south", "there")
    found, known = beside(sharing(), south, NOW)
    assert found is not None
    assert [other.taken for other in found.elsewhere] == [((h(5), h(6)),)]
    found, later = beside(sharing(), south, NOW + 10 * H)
    assert found is not None
    assert found.elsewhere == ()
    # Its pass still counts for whoever planned beside it.
    assert known == later


def test_the_longest_way_counts(store: Store) -> None:
    body = msgspec.json.encode(Elsewhere(site="North green", taken=(), move_h=2.5))
    store.keep_pass(NOW, {part_of(SHARED): body}, schema=SCHEMA)
    found, _ = beside(sharing(), store.bound_to("south", "there"), NOW)
    assert found is not None
    assert found.move_h == 2.5


def test_where_nothing_is_shared_nothing_is_read(store: Store) -> None:
    assert beside(config(), store, NOW) == (None, None)
