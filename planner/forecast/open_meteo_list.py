"""The hourly list of an Open-Meteo answer: names, units and members, plain or ensemble."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from planner.errors import ForecastMalformed, UnitMismatch
from planner.forecast import document
from planner.forecast.hourly import Labels, epoch_labels, from_hour_end
from planner.units import convert
from planner.weather import HOUR_S, VARIABLE, Array

#: Our column, and the names it may come under. An earlier name wins; its nulls are filled from the later ones.
#: Names without underscores between the words are the service's old spellings.
SPELLINGS: Mapping[str, tuple[str, ...]] = {
    "air_temp_c": ("temperature_2m",),
    "rel_humidity_pct": ("relative_humidity_2m", "relativehumidity_2m"),
    "dew_point_c": ("dew_point_2m", "dewpoint_2m"),
    "wind_10m_ms": ("wind_speed_10m", "windspeed_10m"),
    "gust_10m_ms": ("wind_gusts_10m", "windgusts_10m"),
    "wind_dir_deg": ("wind_direction_10m", "winddirection_10m"),
    "rain_mm": ("precipitation",),
    "rain_chance_pct": ("precipitation_probability",),
    "snow_mm": ("snowfall",),
    "cloud_pct": ("cloud_cover", "cloudcover"),
    "shortwave_wm2": ("shortwave_radiation",),
    "pressure_hpa": ("surface_pressure",),
    "soil_temp_6cm_c": (
        "soil_temperature_6cm",
        "soil_temperature_0_to_7cm",
        "soil_temperature_0_7cm",
        "soil_temperature_0_to_10cm",
        "soil_temperature_0_10cm",
    ),
    "soil_moisture_m3m3": (
        "soil_moisture_0_to_1cm",
        "soil_moisture_0_1cm",
        "soil_moisture_1_to_3cm",
        "soil_moisture_3_to_9cm",
        "soil_moisture_3_9cm",
        "soil_moisture_0_to_7cm",
        "soil_moisture_0_7cm",
        "soil_moisture_0_to_10cm",
        "soil_moisture_0_10cm",
    ),
    "et0_mm": ("et0_fao_evapotranspiration",),
    "air_temp_80m_c": ("temperature_80m",),
}
#: Snow is declared as a depth; the conversion to water is its own.
_SNOW_UNITS = {"cm": "cm snow", "inch": "inch snow"}
_MEMBER = re.compile(r"^(?P<name>.+)_member(?P<number>\d+)$")
CONTROL = 0


@dataclass(frozen=True, slots=True)
class HourlyList:
    """The list as it came. Member 0 is the bare name: the plain forecast, or the control of an ensemble."""

    who: str
    labels: Labels
    utc_offset_s: int
    elevation_m: float | None
    hourly: Mapping[str, object]
    units: Mapping[str, object]

    @classmethod
    def of(cls, answer: object, *, who: str) -> HourlyList:
        """The hourly list of a decoded answer. Raises ForecastMalformed for error bodies and other shapes."""
        answer = _one_location(answer, who)
        reason = document.reason_of(answer)
        if reason is not None:
            raise ForecastMalformed(f'{who} refused: "{reason}". Correct what was asked, or ask again.')
        hourly = document.table(answer, "hourly", who=who)
        assert isinstance(answer, Mapping)
        units = document.table(answer, "hourly_units", who=who)
        labels = epoch_labels(
            hourly.get("time"),
            declared=str(units.get("time")),
            utc_offset_s=answer.get("utc_offset_seconds", 0),
            who=who,
        )
        if labels.size > 1 and not (np.diff(labels) == HOUR_S).any():
            raise ForecastMalformed(
                f"The list of {who} steps by {int(labels[1] - labels[0]) // 60} minutes: "
                "ask for hourly values (leave temporal_resolution out)."
            )
        if (np.diff(labels) < 0).any():
            raise ForecastMalformed(
                f"The hours of {who} are out of order: an hour of the list lies before the last."
            )
        height = answer.get("elevation")
        known = isinstance(height, int | float) and not isinstance(height, bool)
        return cls(
            who=who,
            labels=labels,
            utc_offset_s=int(answer.get("utc_offset_seconds", 0)),
            elevation_m=float(height) if known and height is not None else None,
            hourly=hourly,
            units=units,
        )

    def column(self, name: str, *, spellings: tuple[str, ...] | None = None) -> dict[int, Array]:
        """Member number -> our column, shape (hours,), on the rows of its hours; empty when it is not there."""
        found: dict[int, Array] = {}
        for spelling in spellings or SPELLINGS[name]:
            for number, values in self._members(spelling, VARIABLE[name].unit).items():
                have = found.get(number)
                found[number] = values if have is None else np.where(np.isnan(have), values, have)
        if VARIABLE[name].over_hour == "instant":
            return found
        return {number: from_hour_end(values, self.labels) for number, values in found.items()}

    def _members(self, spelling: str, unit: str) -> dict[int, Array]:
        found: dict[int, Array] = {}
        for key in self.hourly:
            match = _MEMBER.match(key)
            base, number = (match["name"], int(match["number"])) if match else (key, CONTROL)
            if base != spelling:
                continue
            values = self._converted(key, unit, snow=spelling == "snowfall")
            if values is not None:
                found[number] = values
        return found

    def _converted(self, key: str, unit: str, *, snow: bool) -> Array | None:
        where = f'"{key}" of {self.who}'
        values = document.numbers(self.hourly[key], length=self.labels.size, where=where)
        declared = self.units.get(key)
        if declared == "undefined" and bool(np.isnan(values).all()):
            return None
        if not isinstance(declared, str):
            raise UnitMismatch(
                f"{where} declares no unit. Ask for JSON with hourly_units, or correct the file."
            )
        return convert(values, _SNOW_UNITS.get(declared, declared) if snow else declared, unit, where=where)

    def require_one_model(self) -> None:
        """Raise ForecastMalformed when the answer is of several models, or lacks the rain."""
        if "temperature_2m" not in self.hourly:
            suffixed = sorted(
                key for key in self.hourly if key.startswith("temperature_2m_") and not _MEMBER.match(key)
            )
            if suffixed:
                raise ForecastMalformed(
                    f"The answer of {self.who} is of several models ({', '.join(suffixed)}): ask for one "
                    "model."
                )
        if "precipitation" not in self.hourly and "rain" in self.hourly:
            raise ForecastMalformed(
                f'The answer of {self.who} has "rain" but no "precipitation". "rain" reads 0 beyond the '
                "reach of "
                'the model and leaves showers out: ask for "precipitation".'
            )


def _one_location(answer: object, who: str) -> object:
    if not isinstance(answer, list):
        return answer
    if len(answer) == 1:
        return answer[0]
    places = "; ".join(
        f"{place.get('latitude')}, {place.get('longitude')}" for place in answer if isinstance(place, Mapping)
    )
    raise ForecastMalformed(
        f"The answer of {who} holds {len(answer)} locations ({places or 'none readable'}): ask for one "
        "site at a time."
    )
