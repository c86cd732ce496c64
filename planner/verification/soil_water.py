"""The bucket of the root zone in daily steps against soil moisture of 0 to 20 cm, at stations in the United States.

Fixed for all stations: one soil (loam), roots to 0.6 m as under natural grass, the crop factor and the ready share of
cool-season turf, reference evapotranspiration of FAO-56 with a wind of 2 m/s; antecedent rain with 0.9 a day. The depth
alone was chosen with the stations of `fixtures/verification` in sight. Moisture is the mean of 5, 10 and 20 cm;
correlation is that of the days of each station, and the figure is the median of the stations.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from planner.indices.evapotranspiration import daily_et0_mm, day_sky_mj_m2, hargreaves_et0_mm, saturation_kpa
from planner.indices.soil_water import TURF_WATER, readily_available_mm, run_buckets, soil_named
from planner.verification.base import Row, compared
from planner.verification.data import column, days_since_1970, tables
from planner.verification.soil_temperature import FITTED_ON, NORTHERN_LIMIT_DEG
from planner.weather import Array, Whole

SOIL, ROOT_DEPTH_M, WIND_MS = "loam", 0.6, 2.0
RAIN_KEPT = 0.9
#: Days with moisture that a station must have.
LEAST_DAYS = 150
#: Months of growth, told beside the whole year.
SUMMER = (5, 9)
_WANTED = (
    "wban",
    "date_local_standard",
    "latitude_deg",
    "air_max_c",
    "air_min_c",
    "air_mean_c",
    "rain_mm",
    "soil_moisture_5cm_m3m3",
    "soil_moisture_10cm_m3m3",
    "soil_moisture_20cm_m3m3",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """Consecutive days of a station, shape (days,); NaN where not known."""

    name: str
    days: Whole
    rain_mm: Array
    et0_mm: Array
    moisture: Array

    @property
    def month(self) -> Whole:
        """Month of each day."""
        return np.asarray(self.days.astype("datetime64[D]").astype("datetime64[M]").astype(np.int64)) % 12 + 1


def rows(folder: Path) -> list[Row]:
    """The bucket against antecedent rain, over the year and over the months of growth."""
    stations = stations_in(folder)
    if len(stations) < 2:
        return []
    years = sorted({(date(1970, 1, 1) + timedelta(days=int(one.days[0]))).year for one in stations})
    return [
        _row(stations, f"US stations below 50° N, 0 to 20 cm, {years[0]}{season}", months)
        for months, season in (((1, 12), ""), (SUMMER, ", May to September"))
    ]


def _row(stations: list[Station], data: str, months: tuple[int, int]) -> Row:
    pairs = [correlations(station, months) for station in stations]
    own, rain = (np.array(part) for part in zip(*(pair for pair in pairs if pair is not None), strict=True))
    looked_at = {one.name for one in stations_in(FITTED_ON)} if FITTED_ON.is_dir() else set()
    gain, low, high = compared(lambda drawn: _medians(own, drawn) - _medians(rain, drawn), own.size)
    return Row(
        quantity="soil water",
        indices=("water_mm", "storage_pct_fc", "depletion_raw"),
        data=data,
        measure="correlation",
        cases=int(own.size),
        of="stations",
        score=float(np.median(own)),
        baseline="antecedent rain, 0.9 kept a day",
        baseline_score=float(np.median(rain)),
        gain=gain,
        gain_low=low,
        gain_high=high,
        fitted="none" if {one.name for one in stations}.isdisjoint(looked_at) else "these",
        says="Median of the stations; loam with roots to 0.6 m for all, which alone was chosen.",
    )


def _medians(values: Array, drawn: Array) -> Array:
    """Median with each station as often as it was drawn, shape (draws,)."""
    order = np.argsort(values)
    held = np.cumsum(drawn[:, order], axis=1)
    half = 0.5 * held[:, -1:]
    return np.asarray(
        0.5 * (values[order][(held >= half).argmax(axis=1)] + values[order][(held > half).argmax(axis=1)])
    )


def correlations(station: Station, months: tuple[int, int] = (1, 12)) -> tuple[float, float] | None:
    """Correlation of the bucket, and of antecedent rain, with the moisture; None with fewer than 100 days."""
    known = ~np.isnan(station.moisture) & (station.month >= months[0]) & (station.month <= months[1])
    if known.sum() < 100:
        return None
    truth = station.moisture[known]
    told = (bucket_mm(station)[known], antecedent_mm(station.rain_mm)[known])
    own, rain = (float(np.corrcoef(one, truth)[0, 1]) for one in told)
    return own, rain


def bucket_mm(station: Station, root_depth_m: float = ROOT_DEPTH_M) -> Array:
    """Water over field capacity at the end of each day, by the shipped bucket in daily steps. [mm]"""
    soil = soil_named(SOIL)
    total, surplus = (
        np.array([1000.0 * share * root_depth_m])
        for share in (soil.field_capacity - soil.wilting_point, soil.saturated - soil.field_capacity)
    )
    use = np.nan_to_num(station.et0_mm) * TURF_WATER.cool_crop_factor
    # A day more, so that the state after the last one is told too; a day without a figure brings none.
    rain, taken = (np.append(part, 0.0)[None, :] for part in (np.nan_to_num(station.rain_mm), use))
    return run_buckets(
        rain,
        taken,
        readily_available_mm(total, taken, TURF_WATER.cool_ready_share),
        total,
        surplus,
        np.array([np.exp(-24.0 / soil.drains_h)]),
        -TURF_WATER.start_depleted * total,
        None,
    )[0, 1:]


def antecedent_mm(rain_mm: Array) -> Array:
    """Rain of the day and what is kept of the days before. [mm]"""
    out, state = np.empty_like(rain_mm), 0.0
    for day, rain in enumerate(np.nan_to_num(rain_mm)):
        state = RAIN_KEPT * state + float(rain)
        out[day] = state
    return out


def stations_in(folder: Path) -> list[Station]:
    """The stations of `uscrn*daily*` tables with moisture at all three depths."""
    found = []
    for _, table in tables(folder, "uscrn*daily*", _WANTED):
        for name, part in table.groupby("wban"):
            latitude = float(column(part, "latitude_deg")[0])
            if latitude >= NORTHERN_LIMIT_DEG:
                continue
            stamps = days_since_1970(part, "date_local_standard")
            days = np.arange(stamps.min(), stamps.max() + 1)
            row = {}
            for key in (*_WANTED[3:], "radiation_mj_m2", "rel_humidity_mean_pct"):
                row[key] = np.full(days.size, np.nan)
                row[key][stamps - days[0]] = column(part, key)
            moisture = sum(row[f"soil_moisture_{depth}cm_m3m3"] for depth in (5, 10, 20)) / 3.0
            if (~np.isnan(moisture)).sum() >= LEAST_DAYS:
                et0 = _et0_mm(row, days, latitude)
                found.append(
                    Station(
                        name=str(name),
                        days=days,
                        rain_mm=row["rain_mm"],
                        et0_mm=et0,
                        moisture=np.asarray(moisture),
                    )
                )
    return found


def _et0_mm(row: dict[str, Array], days: Whole, latitude: float) -> Array:
    """FAO-56 with the wind taken; Hargreaves where radiation or humidity is not known."""
    of_year = np.array([(date(1970, 1, 1) + timedelta(days=int(day))).timetuple().tm_yday for day in days])
    mean, high, low = row["air_mean_c"], row["air_max_c"], row["air_min_c"]
    vapour = 0.5 * (saturation_kpa(high) + saturation_kpa(low)) * row["rel_humidity_mean_pct"] / 100.0
    full = daily_et0_mm(
        high, low, vapour, np.full(mean.shape, WIND_MS), row["radiation_mj_m2"], of_year, latitude, 0.0
    )
    simple = hargreaves_et0_mm(mean, high, low, day_sky_mj_m2(of_year, latitude)[0])
    return np.where(np.isnan(full), simple, full)
