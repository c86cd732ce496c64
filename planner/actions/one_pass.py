"""One pass, start to end: fetch, compute, keep, send. The only file that knows the whole journey."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
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
from planner.actions.stored import REPORT, WORKINGS
from planner.config.load import Config
from planner.diary.consequences import consequences, diary_quantities
from planner.diary.grass_nights import told_nights
from planner.diary.nitrogen import by_own_share, feeding_of
from planner.diary.timeline import timeline_of
from planner.diary.water import told_water
from planner.forecast import ENSEMBLE, PROVIDERS, Fetched, RawForecast, Request, fetch, provider, read_answer
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
from planner.warnings import step, unread
from planner.warnings.base import Scene
from planner.weather import Forecast

if TYPE_CHECKING:
    from planner.store.store import Store

#: A diary entry is worth a pass from the kept forecast only while that is this young.
_AGAIN_WITHIN = timedelta(days=2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Passed:
    """What came of a pass."""

    report: Report
    workings: Workings
    faults: tuple[str, ...]
    is_pull_failed: bool = False
    """Whether no service gave a forecast, and the last good one stands in."""
    is_overtaken: bool = False
    """Whether one that was begun later was kept before it: that one is the newest, and this one is not kept."""


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


def request_of(config: Config) -> Request:
    """What to ask of the weather services for this site."""
    site, settings = config.site, config.forecast
    return Request(
        latitude_deg=site.latitude_deg,
        longitude_deg=site.longitude_deg,
        elevation_m=site.elevation_m,
        past_days=settings.past_days,
        forecast_days=settings.days,
        members=settings.ensemble,
        contact=settings.contact,
        base_urls=settings.base_urls,
    )


def fetched_now(config: Config, store: Store, *, now: datetime) -> Fetched:
    """The newest forecast, from the services or, failing them, from the store."""
    last = _last_answers(store)
    return fetch(
        request_of(config), config.forecast.providers, last=last, now=now, budget_s=config.forecast.budget_s
    )


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
    _keep_forecasts(store, fetched.answers, fetched, config.store.forecast_days)
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


def kept_forecast(config: Config, store: Store, now: datetime) -> Fetched | None:
    """The newest forecast of the store as though it were fetched; None when none still says something."""
    last = _last_answers(store)
    kept = [(last[name].fetched_at, name) for name in config.forecast.providers if name in last]
    if not kept:
        return None
    fetched_at, name = max(kept)
    if now - fetched_at > _AGAIN_WITHIN:
        return None
    forecast = read_answer(provider(name), last[name])
    if not forecast.weather.start <= now < forecast.weather.end:
        return None
    ensemble = None
    if (
        config.forecast.ensemble
        and ENSEMBLE in last
        and now - last[ENSEMBLE].fetched_at < timedelta(hours=12)
    ):
        ensemble = read_answer(provider(ENSEMBLE), last[ENSEMBLE])
    before = last_pull(store, fetched_at)
    return Fetched(
        forecast=forecast,
        ensemble=ensemble,
        answers={},
        stale=before.failed,
        age_h=(now - fetched_at) / timedelta(hours=1),
        faults=before.faults,
    )


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
    report, workings = reported(assessment)
    sky = assessment.plan.conditions.sky
    life = assessment.life
    assert life is not None
    number = store.keep_pass(
        now,
        {
            REPORT: encode_report(report),
            WORKINGS: encode_workings(workings),
            PAST_DAYS: carried(record.past, sky, config, now),
            GRASS_NIGHTS: carried_nights(record.nights, expected_nights(sky), config, now),
            LAST_PULL: msgspec.json.encode(pulled),
        },
        schema=report.schema,
        stale_at=report.forecast.stale_at,
        warnings=[state_of(standing) for standing in life.states],
        outbox=(
            *outgoing(life.news, [part.called for part in config.outputs], now, config.site.units),
            *morning_message(report, config, now),
        ),
        after=after,
        once=once,
    )
    if sends:
        _, not_used = send_due(config, store, now)
        faults = (*faults, *not_used)
    return Passed(
        report=report,
        workings=workings,
        faults=faults,
        is_pull_failed=fetched.stale,
        is_overtaken=number is None,
    )


def _last_answers(store: Store) -> dict[str, RawForecast]:
    last = {name: store.last_forecast(name) for name in PROVIDERS}
    # A service that says "not changed" has confirmed the answer at that later time.
    return {
        name: replace(kept, fetched_at=kept.checked_at) for name, kept in last.items() if kept is not None
    }


def _keep_forecasts(store: Store, answers: Mapping[str, RawForecast], fetched: Fetched, days: int) -> None:
    if fetched.stale:
        return
    for name, answer in answers.items():
        kept = store.last_forecast(name)
        if kept is not None and kept.raw == answer.raw:
            store.renew_forecast(kept.id, answer)
        else:
            store.keep_forecast(name, answer)
    store.prune_forecasts(fetched.forecast.fetched_at, days)
