"""One pass, start to end: pull, compute, keep, tell. The only file that knows the whole journey."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from planner.answers import JSON, render
from planner.briefing import Briefing, days_of
from planner.config.load import Config
from planner.diary.book import Book
from planner.diary.consequences import Consequences, consequences
from planner.diary.given import given_of
from planner.diary.timeline import timeline_of
from planner.forecast import ENSEMBLE, PROVIDERS, Fetched, Request, fetch, provider, read_answer
from planner.forecast import Answer as ForecastAnswer
from planner.notices import step, unread
from planner.notices.base import Scene
from planner.plan import Ground, lay, make
from planner.record import LAST_PULL, PAST_DAYS, Pull, Record, book, carried, last_pull, record_of
from planner.telling import outgoing, output_names, send_due, state_of
from planner.weather import Array, Forecast

if TYPE_CHECKING:
    from planner.store import Store

#: A diary entry is worth a pass from the kept forecast only while that is this young.
_AGAIN_WITHIN = timedelta(days=2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Passed:
    """What came of a pass."""

    briefing: Briefing
    answers: Mapping[str, tuple[str, bytes]]
    faults: tuple[str, ...]


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
) -> Briefing:
    """The briefing of a forecast at a moment. No clock, no network, no file: the same input gives the same.

    `record` is what the store holds: diary entries, days kept, where warnings stand. `seen_at` is when this
    forecast first came, where the service has only confirmed it since; `age_known` is False for a file that
    does not tell when it was made.
    """
    record = record or Record()
    constants, known = config.constants, book(config, record)
    timeline = timeline_of(record.past, forecast.weather, config.site.zone)
    paces, most = _growth(config)
    given = given_of(config.site, known, timeline, full_growth_mm_d=paces, nitrogen_month_g_m2=most)
    ground = lay(
        forecast.weather, config.site, now=now, sowings=known.sowings, constants=constants, given=given
    )
    members = None
    count = forecast.weather.members
    if ensemble is not None:
        laid = ensemble.weather.laid_on(forecast.weather)
        members = lay(laid, config.site, now=now, sowings=known.sowings, constants=constants, given=given)
        count = laid.members
    plan = make(ground, config.jobs, now=now, done=known.done, planned=config.planned, ensemble=members)
    changes = _consequences(config, known, record, ground, given, forecast, now)
    briefing = Briefing(
        made_at=now,
        plan=plan,
        notices=(),
        forecast=forecast,
        members=count,
        stale=stale,
        stale_after_h=config.forecast.stale_after_h,
        faults=faults,
        days=days_of(plan),
        consequences=changes,
        hours_a_day=config.week.hours_a_day,
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
        stale_at=briefing.stale_at,
    )
    life = step(scene, record.standing)
    return replace(briefing, notices=life.notices, life=life, not_read=unread(scene))


def _growth(config: Config) -> tuple[dict[str, float], dict[str, float]]:
    """Growth that the keeper told, by surface: leaf in a day and nitrogen in a month of full growth."""
    parts = config.growth.items()
    return (
        {name: part.full_growth_mm_d for name, part in parts if part.full_growth_mm_d is not None},
        {name: part.nitrogen_month_g_m2 for name, part in parts if part.nitrogen_month_g_m2 is not None},
    )


def _consequences(
    config: Config,
    known: Book,
    record: Record,
    ground: Ground,
    given: Mapping[str, Mapping[str, Array]],
    forecast: Forecast,
    now: datetime,
) -> Consequences:
    paces, most = _growth(config)
    return consequences(
        config.site,
        config.jobs,
        known,
        timeline_of(record.past, forecast.weather, config.site.zone, ground.sky["soil_temp_c"]),
        given,
        now,
        wanted=config.wanted,
        rainfast_mm=config.warnings.rainfast_mm,
        full_growth_mm_d=paces,
        nitrogen_month_g_m2=most,
    )


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
    )


def pull(config: Config, store: Store, *, now: datetime) -> Fetched:
    """The newest forecast, from the services or, failing them, from the store."""
    last = _last_answers(store)
    return fetch(
        request_of(config), config.forecast.providers, last=last, now=now, budget_s=config.forecast.budget_s
    )


def run(
    config: Config, store: Store, *, now: datetime, extra_faults: tuple[str, ...] = (), tell: bool = True
) -> Passed:
    """Pull, compute, keep and tell. ForecastUnavailable when there is nothing at all; the last pass stays."""
    fetched = pull(config, store, now=now)
    _keep_forecasts(store, fetched.answers, fetched)
    pulled = Pull(at=now, failed=fetched.stale, faults=fetched.faults)
    return _passed(config, store, fetched, pulled, now, extra_faults, tell)


def again(
    config: Config, store: Store, *, now: datetime, extra_faults: tuple[str, ...] = (), tell: bool = True
) -> Passed | None:
    """A pass from the forecast that is kept, asking nobody: for when the diary has changed.

    What the last pull found wrong holds until the next one. None when no forecast is kept that still says
    something.
    """
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
    fetched = Fetched(
        forecast=forecast,
        ensemble=ensemble,
        answers={},
        stale=before.failed,
        age_h=(now - fetched_at) / timedelta(hours=1),
        faults=before.faults,
    )
    return _passed(config, store, fetched, before, now, extra_faults, tell)


def _passed(
    config: Config,
    store: Store,
    fetched: Fetched,
    pulled: Pull,
    now: datetime,
    extra_faults: tuple[str, ...],
    tell: bool,
) -> Passed:
    """Compute from what was fetched, keep all of it at once, then send what is due."""
    from planner.store import Answer

    faults = (*extra_faults, *fetched.faults)
    kept = store.last_forecast(fetched.forecast.provider)
    record = record_of(store, config, now)
    briefing = assess(
        config,
        fetched.forecast,
        now=now,
        ensemble=fetched.ensemble,
        stale=fetched.stale,
        faults=faults,
        record=record,
        seen_at=None if kept is None else kept.fetched_at,
    )
    rendered = dict(render(briefing))
    sky = briefing.plan.ground.sky
    rendered[PAST_DAYS] = (JSON, carried(record.past, sky.weather, sky["soil_temp_c"], config, now))
    rendered[LAST_PULL] = (JSON, pulled.encoded())
    life = briefing.life
    assert life is not None
    store.keep_pass(
        now,
        {name: Answer(content_type=kind, body=body) for name, (kind, body) in rendered.items()},
        warnings=[state_of(standing) for standing in life.states],
        outbox=outgoing(life.news, output_names(config), now),
    )
    if tell:
        _, not_used = send_due(config, store, now)
        faults = (*faults, *not_used)
    return Passed(briefing=briefing, answers=rendered, faults=faults)


def _last_answers(store: Store) -> dict[str, ForecastAnswer]:
    answers = {}
    for name in PROVIDERS:
        kept = store.last_forecast(name)
        if kept is not None:
            answers[name] = ForecastAnswer(
                raw=kept.body,
                url=kept.url,
                # A service that says "not changed" has confirmed the answer at that later time.
                fetched_at=kept.checked_at,
                etag=kept.etag,
                last_modified=kept.last_modified,
                expires=kept.expires_at,
                issued_at=kept.issued_at,
                notes=kept.notes,
            )
    return answers


def _keep_forecasts(store: Store, answers: Mapping[str, ForecastAnswer], fetched: Fetched) -> None:
    if fetched.stale:
        return
    for name, answer in answers.items():
        kept = store.last_forecast(name)
        if kept is not None and kept.body == answer.raw:
            store.renew_forecast(
                kept.id, answer.fetched_at, answer.expires, issued_at=answer.issued_at, notes=answer.notes
            )
            continue
        store.keep_forecast(
            name,
            body=answer.raw,
            url=answer.url,
            fetched_at=answer.fetched_at,
            etag=answer.etag,
            last_modified=answer.last_modified,
            expires_at=answer.expires,
            issued_at=answer.issued_at,
            notes=answer.notes,
        )
    store.prune_forecasts(fetched.forecast.fetched_at)
