"""One pass, start to end: pull, compute, keep. The only file that knows the whole journey."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from planner.answers import render
from planner.briefing import Briefing, days_of
from planner.config.load import Config
from planner.forecast import PROVIDERS, Fetched, Request, fetch
from planner.forecast import Answer as ForecastAnswer
from planner.notices import read
from planner.notices.base import Scene
from planner.plan import lay, make
from planner.site import WorkDone
from planner.weather import Forecast

if TYPE_CHECKING:
    from planner.store import Store


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
) -> Briefing:
    """The briefing of a forecast at a moment. No clock, no network, no file: the same input gives the same."""
    wash = config.wash
    ground = lay(forecast.weather, config.site, now=now, sowings=config.sowings, wash=wash)
    members = None
    count = forecast.weather.members
    if ensemble is not None:
        laid = ensemble.weather.laid_on(forecast.weather)
        members = lay(laid, config.site, now=now, sowings=config.sowings, wash=wash)
        count = laid.members
    done = (*config.done, *_sown(config))
    plan = make(ground, config.jobs, now=now, done=done, planned=config.planned, ensemble=members)
    scene = Scene(
        plan=plan, now=now, sowings=config.sowings, done=done, thresholds=config.warnings.model_dump()
    )
    return Briefing(
        made_at=now,
        plan=plan,
        notices=read(scene),
        forecast=forecast,
        members=count,
        stale=stale,
        stale_after_h=config.forecast.stale_after_h,
        faults=faults,
        days=days_of(plan),
    )


def _sown(config: Config) -> tuple[WorkDone, ...]:
    """Sowings count as work done, so that gaps to seeding hold."""
    return tuple(
        WorkDone(job="oversowing", kind="seeding", surface=sowing.surface, at=sowing.at)
        for sowing in config.sowings
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


def run(config: Config, store: Store, *, now: datetime, extra_faults: tuple[str, ...] = ()) -> Passed:
    """Pull, compute and keep. ForecastUnavailable when there is nothing to work with; the last pass stays."""
    from planner.store import Answer

    fetched = pull(config, store, now=now)
    _keep_forecasts(store, fetched.answers, fetched)
    briefing = assess(
        config,
        fetched.forecast,
        now=now,
        ensemble=fetched.ensemble,
        stale=fetched.stale,
        faults=(*extra_faults, *fetched.faults),
    )
    rendered = render(briefing)
    store.keep_pass(
        now, {name: Answer(content_type=kind, body=body) for name, (kind, body) in rendered.items()}
    )
    return Passed(briefing=briefing, answers=rendered, faults=fetched.faults)


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
            )
    return answers


def _keep_forecasts(store: Store, answers: Mapping[str, ForecastAnswer], fetched: Fetched) -> None:
    if fetched.stale:
        return
    for name, answer in answers.items():
        kept = store.last_forecast(name)
        if kept is not None and kept.body == answer.raw:
            store.renew_forecast(kept.id, answer.fetched_at, answer.expires)
            continue
        store.keep_forecast(
            name,
            body=answer.raw,
            url=answer.url,
            fetched_at=answer.fetched_at,
            etag=answer.etag,
            last_modified=answer.last_modified,
            expires_at=answer.expires,
        )
    store.prune_forecasts(fetched.forecast.fetched_at)
