"""The forecast of a pass: asked of the services, or as the store keeps it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from planner.actions.pass_input import last_pull
from planner.config.load import Config
from planner.forecast import ENSEMBLE, PROVIDERS, Fetched, RawForecast, Request, fetch, provider, read_answer

if TYPE_CHECKING:
    from planner.store.store import Store

#: A diary entry is worth a pass from the kept forecast only while that is this young.
_AGAIN_WITHIN = timedelta(days=2)


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


def _last_answers(store: Store) -> dict[str, RawForecast]:
    last = {name: store.last_forecast(name) for name in PROVIDERS}
    # A service that says "not changed" has confirmed the answer at that later time.
    return {
        name: replace(kept, fetched_at=kept.checked_at) for name, kept in last.items() if kept is not None
    }


def keep_forecasts(store: Store, answers: Mapping[str, RawForecast], fetched: Fetched, days: int) -> None:
    """Puts new answers of the services into the store, and renews those that say the same as before.

    Those older than so many days go.
    """
    if fetched.stale:
        return
    for name, answer in answers.items():
        kept = store.last_forecast(name)
        if kept is not None and kept.raw == answer.raw:
            store.renew_forecast(kept.id, answer)
        else:
            store.keep_forecast(name, answer)
    store.prune_forecasts(fetched.forecast.fetched_at, days)
