"""Weather services, recorded answers and tables of observations as hours of weather; it knows no rule."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from importlib import import_module
from typing import cast

from planner.errors import (
    ForecastError,
    ForecastMalformed,
    ForecastUnavailable,
    InputError,
    NotKnown,
    fit_to_show,
)
from planner.forecast.base import Provider, RawForecast, Request, read_answer
from planner.forecast.usable import known_hours, require_usable
from planner.weather import NEEDED, Forecast

__all__ = [
    "ENSEMBLE",
    "PROVIDERS",
    "RawForecast",
    "Fetched",
    "Provider",
    "Request",
    "fetch",
    "provider",
    "read_answer",
]

#: Name in a site file -> the module whose PROVIDER it is. Loaded when used.
PROVIDERS: Mapping[str, str] = {
    "open-meteo": "planner.forecast.open_meteo",
    "met-norway": "planner.forecast.met_norway",
    "nws": "planner.forecast.nws",
    "bright-sky": "planner.forecast.brightsky",
    "open-meteo-ensemble": "planner.forecast.open_meteo_ensemble",
}
ENSEMBLE = "open-meteo-ensemble"
#: An ensemble older than this says little about the chance of an hour.
ENSEMBLE_MAX_AGE_H = 12.0
#: Models run at least twice a day: a run older than this is one that a service repeats. Judgement.
OLD_RUN = timedelta(hours=24)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fetched:
    """What a pass got: a forecast to work with, and what a store should keep."""

    forecast: Forecast
    ensemble: Forecast | None
    answers: Mapping[str, RawForecast]
    """The answers behind `forecast` and `ensemble`, by service: keep them for `last` next time."""
    stale: bool
    """True when no service answered and `forecast` is the last good one."""
    age_h: float
    """Hours from when the forecast was fetched to now."""
    faults: tuple[str, ...]
    """What went wrong on the way, a sentence each."""


def provider(name: str) -> Provider:
    """The service of that name. Raises NotKnown, with the known ones."""
    module = PROVIDERS.get(name)
    if module is None:
        raise NotKnown("weather service", name, list(PROVIDERS))
    return cast(Provider, import_module(module).PROVIDER)


def fetch(
    request: Request,
    names: Sequence[str],
    *,
    last: Mapping[str, RawForecast],
    now: datetime,
    budget_s: float = 60.0,
) -> Fetched:
    """The forecast of the first of `names` that answers; else the last good one, marked stale.

    The time is shared between the services still to be asked. An answer counts only once it is read and is one
    to work with (`usable`); one of a run that is a day old waits until the other services have been asked.
    The ensemble is a second call, made when `request.members` is set;
    it may fail alone. Raises ForecastUnavailable, naming the fault of every service, when nothing is left.
    """
    begun = time.monotonic()
    plain = [name for name in names if name != ENSEMBLE]
    asked = [*plain, ENSEMBLE] if request.members or ENSEMBLE in names else plain
    faults: list[str] = []
    got: dict[str, RawForecast] = {}
    forecast: Forecast | None = None
    ensemble: Forecast | None = None
    old: dict[str, tuple[Forecast, RawForecast]] = {}
    for index, name in enumerate(asked):
        if name != ENSEMBLE and forecast is not None:
            continue
        waiting = len([other for other in asked[index:] if other == ENSEMBLE or forecast is None])
        share_s = (budget_s - (time.monotonic() - begun)) / waiting
        try:
            read, answer = _ask(name, request, last.get(name), now, share_s)
        except ForecastError as fault:
            faults.append(f"{name}: {fault}")
            continue
        except InputError:
            raise
        except Exception as fault:
            # Whatever an answer makes us stumble over, the next service is asked and the last good one stays.
            faults.append(f"{name}: {_stumbled(fault)}")
            continue
        if name == ENSEMBLE:
            ensemble, got[name] = read, answer
        elif read.issued_at is not None and now - read.issued_at > OLD_RUN:
            old[name] = read, answer
            faults.append(
                f"{name}: its newest run is of {read.issued_at:%Y-%m-%d %H:%M}Z: it repeats old values."
            )
        else:
            forecast, got[name] = read, answer
    stale = forecast is None
    if forecast is None:
        forecast = _newest(plain, last, now, got, faults)
    if stale and old:
        name, (read, answer) = max(old.items(), key=lambda item: _made_at(item[1][0]))
        if forecast is None or _made_at(read) >= _made_at(forecast):
            forecast, stale, got = read, False, {**_of(got, ENSEMBLE), name: answer}
    if stale and forecast is not None and faults:
        faults[-1] += " The last good forecast stays in force."
    if ensemble is None and ENSEMBLE in asked:
        ensemble = _kept_ensemble(last, now, got, faults)
    if forecast is None:
        raise ForecastUnavailable(
            "No weather service gave a forecast and no earlier one is left to use. "
            + (" ".join(faults) or "No service is named: name one in the site file.")
        )
    return Fetched(
        forecast=forecast,
        ensemble=ensemble,
        answers=got,
        stale=stale,
        age_h=(now - forecast.fetched_at) / timedelta(hours=1),
        faults=tuple(faults),
    )


def require_hours_ahead(forecast: Forecast, now: datetime) -> None:
    """Raise ForecastMalformed unless some hour from `now` on has every needed column known."""
    weather = forecast.weather
    if not known_hours(forecast)[max(0, weather.index(now)) :].any():
        raise ForecastMalformed(
            f"The forecast of {forecast.provider} ({weather.start:%Y-%m-%d %H:%M}Z to "
            f"{weather.end:%Y-%m-%d %H:%M}Z) "
            f"has no hour after {now:%Y-%m-%d %H:%M%z} in which {', '.join(NEEDED)} are all known."
        )


def _made_at(forecast: Forecast) -> datetime:
    return forecast.issued_at or forecast.fetched_at


def _of(got: Mapping[str, RawForecast], name: str) -> dict[str, RawForecast]:
    return {name: got[name]} if name in got else {}


def _ask(
    name: str, request: Request, last: RawForecast | None, now: datetime, budget_s: float
) -> tuple[Forecast, RawForecast]:
    service = provider(name)
    mirror = request.base_urls.get(name)
    if mirror:
        service = replace(service, base_url=mirror)  # type: ignore[type-var]
    if budget_s <= 0:
        raise ForecastUnavailable("not asked, as the time was used up.")
    answer = service.fetch(request, last=last, now=now, budget_s=budget_s)
    forecast = read_answer(service, answer)
    require_usable(forecast, answer, request, now)
    if last is not None and answer.raw != last.raw:
        _require_no_older(service, forecast, last, now)
    return forecast, answer


def _require_no_older(service: Provider, forecast: Forecast, last: RawForecast, now: datetime) -> None:
    """Raise ForecastMalformed where the answer itself says that it is of a run before that of the one we hold.

    Servers of one service may be some minutes apart; a time to come was never that of a run.
    """
    try:
        held = service.parse(last.raw, fetched_at=last.fetched_at)
        require_hours_ahead(held, now)
    except ForecastError:
        return
    if held.issued_at is None or forecast.issued_at is None or held.issued_at > now:
        return
    if held.issued_at - forecast.issued_at > timedelta(hours=1):
        raise ForecastMalformed(
            f"The answer of {forecast.provider} is of {forecast.issued_at:%Y-%m-%d %H:%M}Z, before the one held, of "
            f"{held.issued_at:%Y-%m-%d %H:%M}Z: it is an old copy."
        )


def _stumbled(fault: Exception) -> str:
    says = fit_to_show(str(fault)[:120])
    return f"its answer ended in a fault of our own ({type(fault).__name__}: {says}). Please report it."


def _newest(
    names: Sequence[str],
    last: Mapping[str, RawForecast],
    now: datetime,
    got: dict[str, RawForecast],
    faults: list[str],
) -> Forecast | None:
    kept = sorted(((last[name].fetched_at, name) for name in names if name in last), reverse=True)
    for _, name in kept:
        try:
            forecast = read_answer(provider(name), last[name])
            require_hours_ahead(forecast, now)
        except ForecastError as fault:
            faults.append(f"{name}, the last answer: {fault}")
            continue
        except Exception as fault:
            faults.append(f"{name}, the last answer: {_stumbled(fault)}")
            continue
        got[name] = last[name]
        return forecast
    return None


def _kept_ensemble(
    last: Mapping[str, RawForecast], now: datetime, got: dict[str, RawForecast], faults: list[str]
) -> Forecast | None:
    kept = last.get(ENSEMBLE)
    if kept is None or now - kept.fetched_at > timedelta(hours=ENSEMBLE_MAX_AGE_H):
        faults.append("the chance of rain is not known: there is no ensemble, or only one that is too old.")
        return None
    forecast = _newest([ENSEMBLE], last, now, got, faults)
    if forecast is not None:
        age_h = (now - kept.fetched_at) / timedelta(hours=1)
        faults.append(f"the ensemble is the last one, {age_h:.1f} h old.")
    return forecast
