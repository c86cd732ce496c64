"""Open-Meteo: the plain forecast. https://open-meteo.com/

Instants stand at their label; sums, means and maxima are labelled at the END of their hour and are moved.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from time import monotonic
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from planner.errors import ForecastError, ForecastMalformed
from planner.forecast import document
from planner.forecast.base import RawForecast, Request
from planner.forecast.hourly import blank_rain_beyond_reach, native_step_h, pressure_at_site_hpa
from planner.forecast.open_meteo_list import CONTROL, SPELLINGS, HourlyList
from planner.weather import Array, Forecast, HourlyWeather

if TYPE_CHECKING:
    from planner.forecast import http

WHO = "Open-Meteo"
CREDIT = "Weather data by Open-Meteo.com"
CREDIT_URL = "https://open-meteo.com/"
LICENCE = "CC BY 4.0"
FREE_HOST = "https://api.open-meteo.com"
ASKED = (
    "temperature_2m,relative_humidity_2m,dew_point_2m,precipitation,snowfall,precipitation_probability,"
    "wind_speed_10m,wind_gusts_10m,wind_direction_10m,cloud_cover,shortwave_radiation,"
    "et0_fao_evapotranspiration,surface_pressure,soil_temperature_6cm,soil_temperature_0_to_7cm,"
    "soil_moisture_0_to_1cm,soil_moisture_0_to_7cm,temperature_80m"
)
UNITS: Mapping[str, str] = {
    "temperature_unit": "celsius",
    "wind_speed_unit": "ms",
    "precipitation_unit": "mm",
    "timezone": "GMT",
    "timeformat": "unixtime",
}
#: Where to ask for the run of a model; the directory names are not those asked for. The mixture that is asked
#: for by default has no run of its own: where it carries the soil layers of ICON, the global run of that is taken.
RUN_OF_MODEL: Mapping[str, str] = {
    "ecmwf_ifs025": "ecmwf_ifs025",
    "icon_global": "dwd_icon",
    "icon_eu": "dwd_icon_eu",
    "icon_d2": "dwd_icon_d2",
    "ukmo_uk_deterministic_2km": "ukmo_uk_deterministic_2km",
}


@dataclass(frozen=True, slots=True)
class ModelRun:
    """When a model run became available, and how often one does."""

    available_at: datetime
    interval: timedelta

    def late_note(self, now: datetime) -> str | None:
        """Words when the next run is overdue by more than the twenty minutes the service allows itself."""
        overdue = now - self.available_at - self.interval - timedelta(minutes=20)
        if overdue <= timedelta(0):
            return None
        return (
            f"the newest model run is of {self.available_at:%Y-%m-%d %H:%M}Z and the next is "
            f"{overdue.total_seconds() / 3600:.1f} h overdue: the service may be repeating old values"
        )


def parse_run(raw: bytes) -> ModelRun:
    """Read the small answer that says when a model last ran. Raises ForecastMalformed."""
    found = document.load(raw, who=WHO)
    try:
        if not isinstance(found, Mapping):
            raise TypeError(f"a {type(found).__name__}, not an object")
        available = datetime.fromtimestamp(float(found["last_run_availability_time"]), UTC)
        interval = timedelta(seconds=float(found["update_interval_seconds"]))
    except (KeyError, TypeError, ValueError, OverflowError, OSError) as fault:
        raise ForecastMalformed(f"The model run of {WHO} cannot be read ({fault!r}).") from None
    return ModelRun(available_at=available, interval=interval)


def parse_document(answer: object, *, fetched_at: datetime, provider: str = "open-meteo") -> Forecast:
    """The forecast in a decoded answer. Raises ForecastMalformed or UnitMismatch."""
    listed = HourlyList.of(answer, who=WHO)
    listed.require_one_model()
    columns: dict[str, Array] = {}
    for name in SPELLINGS:
        values = listed.column(name).get(CONTROL)
        if values is not None:
            columns[name] = values
    notes = [*_reduce_pressure(listed, columns), *blank_rain_beyond_reach(columns)]
    if listed.utc_offset_s:
        notes.append(
            f"the list is in local time, {listed.utc_offset_s / 3600:+g} h from UTC for every hour; read "
            "back to UTC"
        )
    rain = columns.get("rain_mm")
    steps = native_step_h(listed.labels, rain) if rain is not None else None
    if steps is not None and (steps > 1).any():
        notes.append(
            f"rain is known only in steps of up to {steps.max():g} h in {int((steps > 1).sum())} of the hours"
        )
    return Forecast(
        weather=HourlyWeather.from_columns(epoch_s=listed.labels.tolist(), columns=columns, step_h=steps),
        provider=provider,
        issued_at=None,
        fetched_at=fetched_at,
        credit=CREDIT,
        credit_url=CREDIT_URL,
        licence=LICENCE,
        notes=tuple(notes),
    )


def _reduce_pressure(listed: HourlyList, columns: dict[str, Array]) -> list[str]:
    if "pressure_hpa" in columns or "air_temp_c" not in columns or listed.elevation_m is None:
        return []
    sea_level = listed.column("pressure_hpa", spellings=("pressure_msl",)).get(CONTROL)
    if sea_level is None:
        return []
    columns["pressure_hpa"] = pressure_at_site_hpa(sea_level, columns["air_temp_c"], listed.elevation_m)
    return [f"pressure is reduced from sea level to {listed.elevation_m:g} m"]


def run_directory(model: str, raw: bytes) -> str | None:
    """Where to ask when the model ran; None when it is not known which model an answer is of."""
    if model != "best_match":
        return RUN_OF_MODEL.get(model)
    answer = document.load(raw, who=WHO)
    hourly = answer.get("hourly") if isinstance(answer, Mapping) else None
    soil = hourly.get("soil_temperature_6cm") if isinstance(hourly, Mapping) else None
    known = isinstance(soil, list) and any(value is not None for value in soil)
    return RUN_OF_MODEL["icon_global"] if known else None


def url_of(base_url: str, path: str, request: Request, **query: str | int) -> str:
    """What is asked of one of its services: the place, the units, and what differs between them."""
    place: dict[str, str | int] = {
        "latitude": f"{request.latitude_deg:.4f}",
        "longitude": f"{request.longitude_deg:.4f}",
        "elevation": f"{request.elevation_m:g}",
    }
    return f"{base_url}/v1/{path}?{urlencode({**place, **query, **UNITS}, safe=',')}"


def ask(
    url: str,
    request: Request,
    *,
    who: str,
    last: RawForecast | None,
    now: datetime,
    budget_s: float,
    requests: http.Requests | None = None,
) -> RawForecast:
    """One call to one of its services."""
    from planner.forecast import http

    return http.get(
        url,
        who=who,
        contact=request.contact,
        last=last,
        now=now,
        budget_s=budget_s,
        requests=requests,
    )


def days_asked(request: Request) -> dict[str, int]:
    """How far back and ahead a forecast is asked for."""
    return {"past_days": request.past_days, "forecast_days": request.forecast_days}


def model_asked(request: Request) -> dict[str, str]:
    """The one model that is asked for, if one is."""
    return {} if request.model == "best_match" else {"models": request.model}


@dataclass(frozen=True, slots=True)
class OpenMeteo:
    """The plain forecast of Open-Meteo."""

    name: str = "open-meteo"
    credit: str = CREDIT
    base_url: str = FREE_HOST

    def parse(self, raw: bytes, *, fetched_at: datetime) -> Forecast:
        """Read an answer. Raises ForecastMalformed or UnitMismatch."""
        return parse_document(document.load(raw, who=WHO), fetched_at=fetched_at, provider=self.name)

    def url(self, request: Request) -> str:
        """What is asked."""
        return url_of(
            self.base_url,
            "forecast",
            request,
            hourly=ASKED,
            **days_asked(request),
            **model_asked(request),
        )

    def fetch(
        self, request: Request, *, last: RawForecast | None, now: datetime, budget_s: float
    ) -> RawForecast:
        """Ask for the forecast and, where one model was asked for, when it ran. The second call may fail."""
        from planner.forecast import http

        begun = monotonic()
        allowed = http.Requests()
        answer = ask(
            self.url(request), request, who=WHO, last=last, now=now, budget_s=budget_s, requests=allowed
        )
        directory = run_directory(request.model, answer.raw)
        left_s = min(10.0, budget_s - (monotonic() - begun))
        if directory is None or left_s < 1.0 or not allowed.left:
            return replace(answer, issued_at=None, notes=())
        try:
            address = f"{self.base_url}/data/{directory}/static/meta.json"
            newest = ask(
                address, request, who=WHO, last=None, now=now, budget_s=left_s, requests=http.Requests(1)
            )
            run = parse_run(newest.raw)
        except ForecastError as fault:
            return replace(answer, issued_at=None, notes=(f"when the model ran is not known: {fault}",))
        late = run.late_note(now)
        return replace(answer, issued_at=run.available_at, notes=(late,) if late else ())


PROVIDER = OpenMeteo()
