"""What every weather service has in common: what is asked, what is kept of an answer, what it can do."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Protocol

from planner.errors import InputError
from planner.weather import Forecast


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """What is asked of a weather service for one site."""

    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    past_days: int = 2
    forecast_days: int = 8
    members: bool = False
    """Whether the spread of an ensemble is wanted too."""
    contact: str = ""
    """Mail address or page of the person who runs this, for the User-Agent."""
    model: str = "best_match"
    ensemble_model: str = "ecmwf_ifs025_ensemble"
    base_urls: Mapping[str, str] = field(default_factory=dict)
    """Where to ask a service by its name, if not at its own address: a mirror."""

    def __post_init__(self) -> None:
        for what, value, low, high in (
            ("latitude", self.latitude_deg, -90, 90),
            ("longitude", self.longitude_deg, -180, 180),
            ("past_days", self.past_days, 0, 92),
            ("forecast_days", self.forecast_days, 1, 16),
        ):
            if not low <= value <= high:
                raise InputError(f"The {what} of a forecast request is {value}; it must be {low} to {high}.")


@dataclass(frozen=True, slots=True, kw_only=True)
class RawForecast:
    """One answer as it came, with what a later conditional request needs. This is what a store keeps."""

    raw: bytes
    url: str
    """Never holds a key."""
    fetched_at: datetime
    etag: str | None = None
    last_modified: str | None = None
    expires: datetime | None = None
    issued_at: datetime | None = None
    """When the model run became available, where a second call says."""
    notes: tuple[str, ...] = ()


class Provider(Protocol):
    """One weather service. `parse` is pure; `fetch` is the only part that goes to the network."""

    @property
    def name(self) -> str:
        """The name used in a site file."""
        ...

    @property
    def credit(self) -> str:
        """The line that must stand wherever its data are shown."""
        ...

    def parse(self, raw: bytes, *, fetched_at: datetime) -> Forecast:
        """Read an answer. Raises ForecastMalformed or UnitMismatch."""
        ...

    def fetch(
        self, request: Request, *, last: RawForecast | None, now: datetime, budget_s: float
    ) -> RawForecast:
        """Ask for a new answer within the time allowed. Raises ForecastUnavailable or ForecastMalformed."""
        ...


def read_answer(provider: Provider, answer: RawForecast) -> Forecast:
    """The forecast in a kept answer, with what the second call said about it."""
    forecast = provider.parse(answer.raw, fetched_at=answer.fetched_at)
    return replace(
        forecast,
        issued_at=answer.issued_at or forecast.issued_at,
        notes=(*forecast.notes, *answer.notes),
    )
