"""Of passes made at once the newest in the store is the one begun last, whichever ends last."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from datetime import timedelta
from itertools import count

import pytest

from planner.actions import one_pass
from planner.actions.one_pass import Passed
from planner.actions.stored import stored_pass
from planner.config.load import Config
from planner.forecast import Fetched, RawForecast, provider, read_answer
from planner.reports.rows import Report
from planner.service.cache import ReportCache
from planner.service.passes import PassRunner
from planner.store.store import Store
from tests.cli.test_diary import payload
from tests.diary.test_pass import NOW, H
from tests.made import config
from tests.store.test_outbox import FROST, tell

SECOND = timedelta(seconds=1)


@pytest.fixture
def stores(url: str) -> Iterator[tuple[Store, Store]]:
    """The same store as two processes have it."""
    found = quick()
    place = (found.site.key, found.site.place)
    with closing(Store.open(url, *place)) as one, closing(Store.open(url, *place)) as other:
        yield one, other


def quick() -> Config:
    found = config(outputs=(), wanted=(), quiet_hours=None)
    settings = found.forecast.model_copy(update={"providers": ["open-meteo"], "ensemble": False})
    return replace(found, jobs=found.jobs[:1], forecast=settings)


def answer(hour: int) -> RawForecast:
    return RawForecast(raw=payload(NOW - 72 * H, 216), url="", fetched_at=NOW + hour * H)


@pytest.fixture
def sky(monkeypatch: pytest.MonkeyPatch) -> list[Callable[[], object]]:
    """What happens while the service is asked, one thing a pull."""
    meanwhile: list[Callable[[], object]] = []

    def fetched_now(config: Config, store: Store, *, now: object) -> Fetched:
        if meanwhile:
            meanwhile.pop()()
        got = answer(1)
        return Fetched(
            forecast=read_answer(provider("open-meteo"), got),
            ensemble=None,
            answers={"open-meteo": got},
            stale=False,
            age_h=0.0,
            faults=(),
        )

    monkeypatch.setattr(one_pass, "fetched_now", fetched_now)
    return meanwhile


@pytest.fixture
def between(monkeypatch: pytest.MonkeyPatch) -> list[Callable[[], object]]:
    """What happens while a pass is worked out, after all is read and before anything of it is kept."""
    meanwhile: list[Callable[[], object]] = []
    week_of = one_pass.week_of

    def slow(*given: object) -> object:
        if meanwhile:
            meanwhile.pop()()
        return week_of(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(one_pass, "week_of", slow)
    return meanwhile


def newest(store: Store) -> Report:
    found = stored_pass(store)
    assert found is not None
    return found[0]


def test_a_pass_begun_before_one_that_was_kept_meanwhile_is_not_kept(stores: tuple[Store, Store]) -> None:
    one, other = stores
    first = one.keep_pass(NOW, {"a": b"first"}, schema=1, after=0)
    second = other.keep_pass(NOW + 2 * SECOND, {"a": b"begun last"}, schema=1, after=first)
    late = one.keep_pass(
        NOW + SECOND, {"a": b"begun before"}, schema=1, after=first, warnings=[FROST], outbox=[tell()]
    )
    assert late is None
    newest = one.newest_pass()
    assert newest is not None
    assert newest.number == second
    assert one.warnings() == one.outbox_counts() == ()


def test_a_pass_begun_after_one_that_was_kept_meanwhile_is_the_newest(stores: tuple[Store, Store]) -> None:
    one, other = stores
    first = one.keep_pass(NOW, {"a": b"first"}, schema=1, after=0)
    other.keep_pass(NOW + SECOND, {"a": b"begun before"}, schema=1, after=first)
    assert one.keep_pass(NOW + 2 * SECOND, {"a": b"begun last"}, schema=1, after=first) is not None
    found = one.part("a")
    assert found is not None
    assert found.body == b"begun last"


def test_a_clock_set_back_between_two_passes_bars_none(stores: tuple[Store, Store]) -> None:
    one, other = stores
    first = one.keep_pass(NOW, {"a": b"first"}, schema=1, after=0)
    assert other.keep_pass(NOW - 9 * H, {"a": b"second"}, schema=1, after=first) is not None
    found = one.part("a")
    assert found is not None
    assert found.body == b"second"


def test_a_pass_elsewhere_bars_none(stores: tuple[Store, Store]) -> None:
    one, other = stores
    other.bound_to("main", "another place").keep_pass(NOW + 9 * H, {}, schema=1, after=0)
    other.bound_to("another", other.place).keep_pass(NOW + 9 * H, {}, schema=1, after=0)
    assert one.keep_pass(NOW, {}, schema=1, after=0) is not None


def test_a_renewal_that_ends_after_the_hours_pass_does_not_take_its_place(
    stores: tuple[Store, Store], sky: list[Callable[[], object]], between: list[Callable[[], object]]
) -> None:
    one, other = stores
    one.keep_forecast("open-meteo", answer(0))
    ticks = count(1)

    def clock() -> object:
        return NOW + H + next(ticks) * SECOND

    hourly: list[Passed] = []
    between.append(
        lambda: hourly.append(one_pass.run(quick(), other, now=NOW + H, clock=clock, sends=False))  # type: ignore[arg-type]
    )
    renewed = one_pass.again(quick(), one, now=NOW + H, sends=False)
    assert renewed is not None
    assert renewed.is_overtaken
    assert not hourly[0].is_overtaken
    assert newest(one) == hourly[0].report
    assert newest(one).forecast.fetched_at == NOW + H
    # The next is begun after it, and is kept.
    again = one_pass.again(quick(), one, now=NOW + 2 * H, sends=False)
    assert again is not None
    assert newest(other) == again.report


def test_a_renewal_while_the_service_is_asked_does_not_bar_what_it_answers(
    stores: tuple[Store, Store], sky: list[Callable[[], object]]
) -> None:
    """The forecast is newer than what the renewal was made of, and the diary is read when it is here."""
    one, other = stores
    one.keep_forecast("open-meteo", answer(0))
    ticks = count(1)

    def clock() -> object:
        return NOW + H + next(ticks) * SECOND

    cache = ReportCache(clock)  # type: ignore[arg-type]
    runner = PassRunner(quick(), one, cache, clock)  # type: ignore[arg-type]
    sky.append(runner.renew)
    runner.run()
    assert runner.last_fault is None
    assert newest(other).forecast.fetched_at == NOW + H
    assert cache.snapshot().report == newest(other)
    passes = [made.made_at for made in _passes(other)]
    assert passes == sorted(passes)
    assert len(passes) == 2


def test_a_renewal_that_another_process_overtook_is_made_anew_and_knows_what_both_know(
    stores: tuple[Store, Store], sky: list[Callable[[], object]], between: list[Callable[[], object]]
) -> None:
    one, other = stores
    one.keep_forecast("open-meteo", answer(0))
    ticks = count(1)

    def clock() -> object:
        return NOW + H + next(ticks) * SECOND

    def ahead() -> object:
        return clock() + 20 * SECOND  # type: ignore[operator]

    cache = ReportCache(clock)  # type: ignore[arg-type]
    ours = PassRunner(quick(), one, cache, clock)  # type: ignore[arg-type]
    # Begun before or after: by its clock, which is ahead, nobody can tell.
    between.append(PassRunner(quick(), other, ReportCache(clock), ahead).run)  # type: ignore[arg-type]
    ours.renew()
    assert cache.snapshot().report == newest(one)
    assert newest(one).forecast.fetched_at == NOW + H
    assert len(_passes(one)) == 2


def test_an_hours_pass_that_was_overtaken_by_the_clock_alone_is_made_anew(
    stores: tuple[Store, Store], sky: list[Callable[[], object]], between: list[Callable[[], object]]
) -> None:
    one, other = stores
    one.keep_forecast("open-meteo", answer(0))
    ticks = count(1)

    def clock() -> object:
        return NOW + H + next(ticks) * SECOND

    cache = ReportCache(clock)  # type: ignore[arg-type]
    between.append(lambda: other.keep_pass(NOW + 2 * H, {}, schema=1))
    PassRunner(quick(), one, cache, clock).run()  # type: ignore[arg-type]
    assert cache.snapshot().report == newest(other)
    assert newest(other).forecast.fetched_at == NOW + H


def _passes(store: Store) -> list[object]:
    with store._reading() as connection:
        return list(connection.exec_driver_sql("select made_at from passes order by id"))
