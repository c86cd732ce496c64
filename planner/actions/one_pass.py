"""One pass, start to end: fetch, compute, keep, send. The only file that knows the whole journey."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from typing import TYPE_CHECKING

import msgspec

from planner.actions.messages import morning_message, outgoing, send_due, state_of
from planner.actions.pass_input import (
    GRASS_NIGHTS,
    LAST_PULL,
    PAST_DAYS,
    Pull,
    Record,
    book,
    carried,
    carried_nights,
    last_pull,
    record_of,
)
from planner.actions.pulling import fetched_now, keep_forecasts, kept_forecast
from planner.actions.shared import beside, for_others
from planner.actions.stored import REPORT, WORKINGS
from planner.config.load import Config
from planner.diary.consequences import consequences, diary_quantities
from planner.diary.grass_nights import told_nights
from planner.diary.nitrogen import by_own_share, feeding_of
from planner.diary.timeline import timeline_of
from planner.diary.water import told_water
from planner.forecast import Fetched
from planner.indices.seed_clock import seed_clock
from planner.indices.table_frost import expected_nights
from planner.planning.conditions import conditions_of
from planner.planning.one_tank import mixes_of
from planner.planning.plan import make_plan
from planner.reports.answers import encode_report, encode_workings
from planner.reports.assessment import Assessment, days_of
from planner.reports.build import report_of, workings_of
from planner.reports.rows import Report
from planner.reports.week import week_of
from planner.reports.workings import Workings
from planner.store.records import BesideChanged
from planner.warnings import step, unread
from planner.warnings.base import Scene
from planner.weather import Forecast

if TYPE_CHECKING:
    from planner.store.store import Store

#: How often a week is planned anew at most, beside once for each site that shares its sprayer or keeper.
_PLANNED_ANEW = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Passed:
    """What came of a pass."""

    report: Report
    workings: Workings
    faults: tuple[str, ...]
    number: int | None
    """Under which it is kept; None where one that was begun later was kept before it: that one is the newest."""

    is_pull_failed: bool = False
    """Whether no service gave a forecast, and the last good one stands in."""

    @property
    def is_overtaken(self) -> bool:
        """Whether it is not kept, since one that was begun later is."""
        return self.number is None


def computed(
    config: Config,
    forecast: Forecast,
    *,
    now: datetime,
    age_known: bool = True,
    record: Record | None = None,
) -> tuple[Report, Workings]:
    """Report and workings of a forecast at a moment; nothing is kept. `record` is what a store holds, if any."""
    return reported(assess(config, forecast, now=now, age_known=age_known, record=record))


def reported(assessment: Assessment) -> tuple[Report, Workings]:
    """The rows of what was assessed; the week is planned on the way."""
    return report_of(assessment, week_of(assessment)), workings_of(assessment.plan)


def assess(
    config: Config,
    forecast: Forecast,
    *,
    now: datetime,
    ensemble: Forecast | None = None,
    stale: bool = False,
    faults: tuple[str, ...] = (),
    record: Record | None = None,
    seen_at: datetime | None = None,
    age_known: bool = True,
) -> Assessment:
    """What a forecast comes to at a moment. No clock, no network, no file: the same input gives the same.

    `record` is what the store holds: diary entries, days kept, where warnings stand. `seen_at` is when this
    forecast first came, where the service has only confirmed it since; `age_known` is False for a file that
    does not tell when it was made.
    """
    record = record or Record()
    known, parts = book(config, record), config.growth.items()
    # Growth that the keeper has measured: leaf in a day, and nitrogen in a month of full growth.
    paces = {name: part.full_growth_mm_d for name, part in parts}
    most = {name: part.nitrogen_month_g_m2 for name, part in parts}
    timeline = timeline_of(record.past, forecast.weather, config.site.zone)
    quantities = diary_quantities(
        config.site,
        known,
        timeline,
        full_growth_mm_d=paces,
        nitrogen_month_g_m2=most,
        now=now,
        feeding=feeding_of(config.site, config.jobs, config.materials, config.wanted, config.planned, now),
    )
    conditions_in = partial(
        conditions_of,
        site=config.site,
        now=now,
        sowings=known.sowings,
        constants=config.constants,
        diary_quantities=quantities,
        told_water=told_water(config.site, known, forecast.weather, now),
        past=record.past,
        told_nights=told_nights(known, record.nights, config.site.zone, now),
    )
    conditions = conditions_in(forecast.weather)
    aligned = None if ensemble is None else ensemble.weather.align_to(forecast.weather)
    members = None if aligned is None else conditions_in(aligned)
    plan = make_plan(
        conditions,
        by_own_share(config.jobs),
        now=now,
        done=known.done,
        planned=config.planned,
        ensemble=members,
    )
    mine = [job for job in config.jobs if not config.keeper_jobs or job.name in config.keeper_jobs]
    changes = consequences(
        config.site,
        mine,
        known,
        timeline,
        quantities,
        now,
        clocks={
            sowing: seed_clock(conditions.surfaces[sowing.surface], sowing)
            for sowing in known.sowings
            if sowing.surface in conditions.surfaces
        },
        wanted=config.wanted,
        rainfast_mm=config.warnings.rainfast_mm,
        full_growth_mm_d=paces,
        nitrogen_month_g_m2=most,
    )
    assessment = Assessment(
        made_at=now,
        plan=plan,
        notices=(),
        forecast=forecast,
        members=(aligned or forecast.weather).members,
        stale=stale,
        stale_after_h=config.forecast.stale_after_h,
        faults=faults,
        days=days_of(plan, members),
        consequences=changes,
        wanted=config.wanted,
        keeper_jobs=config.keeper_jobs,
        hours_a_day=config.week.hours_a_day,
        has_hours=config.hours is not None,
        mixes=mixes_of({(one.job, one.surface): one.material for one in config.wanted}, config.materials),
        week_days=config.week.days,
        away=config.away,
        seen_at=seen_at,
        age_known=age_known,
    )
    scene = Scene(
        plan=plan,
        now=now,
        sowings=known.sowings,
        done=known.done,
        thresholds=config.warnings.model_dump(),
        consequences=changes,
        members=members,
        stale_at=assessment.stale_at,
    )
    life = step(scene, record.standing)
    return replace(assessment, notices=life.notices, life=life, not_read=unread(scene))


def run(
    config: Config,
    store: Store,
    *,
    now: datetime,
    clock: Callable[[], datetime] | None = None,
    extra_faults: tuple[str, ...] = (),
    sends: bool = True,
    once: str | None = None,
) -> Passed:
    """Fetch, compute, keep and send. ForecastUnavailable when there is nothing at all; the last pass stays.

    Asking may take a while, and the diary be written meanwhile. So the pass is begun, and made, when the forecast is
    here: at the moment that `clock` then tells, `now` without one.

    A pass of the same `once` is kept once, whoever else makes it: AlreadyKept.
    """
    fetched = fetched_now(config, store, now=now)
    keep_forecasts(store, fetched.answers, fetched, config.store.forecast_days)
    pulled = Pull(at=now, failed=fetched.stale, faults=fetched.faults)
    begun_at, after = now if clock is None else clock(), _newest_number(store)
    return _passed(config, store, fetched, pulled, begun_at, after, extra_faults, sends, once)


def again(
    config: Config,
    store: Store,
    *,
    now: datetime,
    extra_faults: tuple[str, ...] = (),
    sends: bool = True,
    once: str | None = None,
) -> Passed | None:
    """A pass from the forecast that is kept, asking nobody: for when the diary has changed.

    What the last pull found wrong holds until the next one. None when no forecast is kept that still says
    something. `once` as in `run`.
    """
    # Before anything is read: a pass that is kept from here on may know more.
    after = _newest_number(store)
    fetched = kept_forecast(config, store, now)
    if fetched is None:
        return None
    before = last_pull(store, fetched.forecast.fetched_at)
    return _passed(config, store, fetched, before, now, after, extra_faults, sends, once)


def _newest_number(store: Store) -> int:
    newest = store.newest_pass()
    return 0 if newest is None else newest.number


def _passed(
    config: Config,
    store: Store,
    fetched: Fetched,
    pulled: Pull,
    now: datetime,
    after: int,
    extra_faults: tuple[str, ...],
    sends: bool,
    once: str | None,
) -> Passed:
    """Compute from what was fetched, keep all of it at once, then send what is due.

    `after` is the number of the newest pass when this one was begun, at `now`.
    """
    faults = (*extra_faults, *fetched.faults)
    kept = store.last_forecast(fetched.forecast.provider)
    record = record_of(store, config, now)
    assessment = assess(
        config,
        fetched.forecast,
        now=now,
        ensemble=fetched.ensemble,
        stale=fetched.stale,
        faults=faults,
        record=record,
        seen_at=None if kept is None else kept.fetched_at,
    )
    report, workings, number = _kept(config, store, assessment, record, pulled, after, once)
    if sends:
        _, not_used = send_due(config, store, now)
        faults = (*faults, *not_used)
    return Passed(
        report=report,
        workings=workings,
        faults=faults,
        is_pull_failed=fetched.stale,
        number=number,
    )


def _kept(
    config: Config,
    store: Store,
    assessment: Assessment,
    record: Record,
    pulled: Pull,
    after: int,
    once: str | None,
) -> tuple[Report, Workings, int | None]:
    """Report, workings and number of the pass, planned beside the sites that share the sprayer or keeper, if any, and
    kept with all that belongs to it. BesideChanged where the others are always faster."""
    now, sky, life = assessment.made_at, assessment.plan.conditions.sky, assessment.life
    assert life is not None
    workings = workings_of(assessment.plan)
    done = tuple(book(config, record).done) if config.shared is not None else ()
    tries = 0
    while True:
        shared, seen = beside(config, store, now)
        assessment = replace(assessment, shared=shared)
        week = week_of(assessment)
        report = report_of(assessment, week)
        parts = {
            REPORT: encode_report(report),
            WORKINGS: encode_workings(workings),
            PAST_DAYS: carried(record.past, sky, config, now),
            GRASS_NIGHTS: carried_nights(record.nights, expected_nights(sky), config, now),
            LAST_PULL: msgspec.json.encode(pulled),
            **({} if shared is None else for_others(shared, report, week, store, done)),
        }
        try:
            number = store.keep_pass(
                now,
                parts,
                schema=report.schema,
                stale_at=report.forecast.stale_at,
                warnings=[state_of(standing) for standing in life.states],
                outbox=(
                    *outgoing(life.news, [part.called for part in config.outputs], now, config.site),
                    *morning_message(report, config, now),
                ),
                after=after,
                once=once,
                beside=seen,
            )
        except BesideChanged:
            # Of those that plan at once each is overtaken by the others once at most, and by what comes between.
            tries += 1
            if seen is None or tries > len(seen.passes) + _PLANNED_ANEW:
                raise
        else:
            return report, workings, number
