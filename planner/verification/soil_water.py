"""The bucket of the root zone in daily steps against soil moisture of 0 to 20 cm, at stations in the United States.

Fixed for all stations: one soil (loam), the crop factor and the ready share of cool-season turf, reference
evapotranspiration of FAO-56 with a wind of 2 m/s. Roots reach to 0.6 m as under natural grass, a depth that was chosen
with the stations of `fixtures/verification` in sight, and in rows of their own to 0.15 m, which a site has where it
names none. Two simple ways stand beside it: antecedent rain with 0.9 a day, and a bucket in one line. Moisture is the
mean of 5, 10 and 20 cm; correlation is that of the days of each station, and the figure is the median of the stations.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from planner.indices.evapotranspiration import daily_et0_mm, day_sky_mj_m2, hargreaves_et0_mm, saturation_kpa
from planner.indices.soil_water import MEETS_SHARE, TURF_WATER, readily_available_mm, run_buckets, soil_named
from planner.verification.base import Row, compared
from planner.verification.data import (
    CARRIED,
    US_DAYS,
    column,
    days_since_1970,
    grid_of,
    laid,
    merged,
    month_of,
    years_of,
)
from planner.verification.soil_temperature import NORTHERN_LIMIT_DEG, day_of_year
from planner.weather import Array, Whole

SOIL, ROOT_DEPTH_M, WIND_MS = "loam", 0.6, 2.0
#: Depth of roots of a site that names none. [m]
TURF_DEPTH_M = 0.15
RAIN_KEPT = 0.9
#: Days after one without rain on which antecedent rain is not known: of it 0.9 to this power, 0.04, is left.
HOLE_DAYS = 30
#: Water that the bucket in one line holds; half full it gives half of the evapotranspiration. Chosen in sight of the
#: same stations as the depth. [mm]
ONE_LINE_MM = 100.0
#: Most that a day without a figure may have brought, and used. [mm]
_MOST_RAIN_MM, _MOST_USE_MM = 500.0, 12.0
#: Days with moisture that a station must have, and that a correlation needs.
LEAST_DAYS, LEAST_TOLD = 150, 100
#: Months of growth, told beside the whole year.
SUMMER = (5, 9)
_DEPTHS_CM = (5, 10, 20)
_BASELINES = ("antecedent rain, 0.9 kept a day", "bucket in one line, 100 mm")


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
        return month_of(self.days) % 12 + 1


def rows(folder: Path) -> list[Row]:
    """The bucket with both depths of roots against both simple ways, over the year and over the months of growth."""
    stations = stations_in(folder)
    looked_at = {one.name for one in stations_in(CARRIED)} if stations else set()
    found = []
    for fitted in ("these", "none"):
        part = [one for one in stations if (one.name in looked_at) is (fitted == "these")]
        for depth_m in (ROOT_DEPTH_M, TURF_DEPTH_M):
            for months, season in (((1, 12), ""), (SUMMER, ", May to September")):
                found += _rows_of(part, depth_m, (months, season), fitted)
    return found


def _rows_of(
    stations: list[Station], depth_m: float, months: tuple[tuple[int, int], str], fitted: str
) -> list[Row]:
    each = [correlations(station, months[0], depth_m) for station in stations]
    told = np.array([one for one in each if one is not None]).reshape(-1, 3)
    if not told.size:
        return []
    years = years_of(np.concatenate([one.days for one in stations]))
    own, found = told[:, 0], []
    deep = depth_m == ROOT_DEPTH_M
    for rival, baseline in zip(told[:, 1:].T, _BASELINES, strict=True):

        def gained(drawn: Array, rival: Array = rival) -> Array:
            return _medians(own, drawn) - _medians(rival, drawn)

        gain, low, high = compared(gained, own.size)
        found.append(
            Row(
                quantity="soil water",
                indices=("water_mm", "storage_pct_fc", "depletion_raw"),
                data=f"US stations below 50° N, 0 to 20 cm, roots to {depth_m:g} m, {years}{months[1]}",
                measure="correlation",
                cases=int(own.size),
                of="stations",
                score=float(np.median(own)),
                baseline=baseline,
                baseline_score=float(np.median(rival)),
                gain=gain,
                gain_low=low,
                gain_high=high,
                fitted=fitted,
                says="Median of the stations; loam for all; "
                + ("the depth alone was chosen." if deep else "the depth of a site that names none."),
            )
        )
    return found


def _medians(values: Array, drawn: Array) -> Array:
    """Median with each station as often as it was drawn, shape (draws,)."""
    order = np.argsort(values)
    held = np.cumsum(drawn[:, order], axis=1)
    half = 0.5 * held[:, -1:]
    return np.asarray(
        0.5 * (values[order][(held >= half).argmax(axis=1)] + values[order][(held > half).argmax(axis=1)])
    )


def correlations(
    station: Station, months: tuple[int, int] = (1, 12), root_depth_m: float = ROOT_DEPTH_M
) -> tuple[float, float, float] | None:
    """Correlation of the bucket, of antecedent rain and of the bucket in one line with the moisture.

    All three on the same days; None with fewer than 100 of them.
    """
    told = (
        bucket_mm(station, root_depth_m),
        antecedent_mm(station.rain_mm),
        one_line_mm(station.rain_mm, station.et0_mm),
    )
    known = ~np.isnan(station.moisture + sum(told))
    known &= (station.month >= months[0]) & (station.month <= months[1])
    truth = station.moisture[known]
    if known.sum() < LEAST_TOLD or min(np.ptp(one[known]) for one in (*told, station.moisture)) == 0.0:
        return None
    own, rain, line = (float(np.corrcoef(one[known], truth)[0, 1]) for one in told)
    return own, rain, line


def bucket_mm(station: Station, root_depth_m: float = ROOT_DEPTH_M) -> Array:
    """Water over field capacity at the end of each day, by the shipped bucket in daily steps. [mm]

    NaN after a day without rain or use until the least and the most that it can be lie together again.
    """
    soil = soil_named(SOIL)
    total, surplus = (
        np.full(2, 1000.0 * share * root_depth_m)
        for share in (soil.field_capacity - soil.wilting_point, soil.saturated - soil.field_capacity)
    )
    # A day more, so that the state after the last one is told too.
    rain, et0 = (np.pad(part, ((0, 0), (0, 1))) for part in _bounds(station.rain_mm, station.et0_mm))
    use = et0 * TURF_WATER.cool_crop_factor
    both = run_buckets(
        rain,
        use,
        readily_available_mm(total[:, None], use, TURF_WATER.cool_ready_share),
        total,
        surplus,
        np.full(2, np.exp(-24.0 / soil.drains_h)),
        -TURF_WATER.start_depleted * total,
        None,
    )[:, 1:]
    return _between(both, MEETS_SHARE * 1000.0 * soil.field_capacity * root_depth_m)


def one_line_mm(rain_mm: Array, et0_mm: Array) -> Array:
    """Water of a bucket in one line, x = x + rain - ET0 x / 100 held between 0 and 100, from half full on. [mm]

    NaN after a day without a figure as in `bucket_mm`.
    """
    rain, et0 = _bounds(rain_mm, et0_mm)
    out, state = np.empty_like(rain), np.full(2, 0.5 * ONE_LINE_MM)
    for day in range(rain.shape[1]):
        state = np.clip(state + rain[:, day] - et0[:, day] * state / ONE_LINE_MM, 0.0, ONE_LINE_MM)
        out[:, day] = state
    return _between(out, MEETS_SHARE * ONE_LINE_MM)


def _bounds(rain_mm: Array, et0_mm: Array) -> tuple[Array, Array]:
    """Rain and evapotranspiration of the driest and of the wettest that the days can have been, (2, days) each."""
    return (
        np.stack([np.where(np.isnan(rain_mm), rain, rain_mm) for rain in (0.0, _MOST_RAIN_MM)]),
        np.stack([np.where(np.isnan(et0_mm), use, et0_mm) for use in (_MOST_USE_MM, 0.0)]),
    )


def _between(both: Array, meet_mm: float) -> Array:
    """The middle of two bounds that have met."""
    return np.where(np.abs(both[1] - both[0]) <= meet_mm, both.mean(axis=0), np.nan)


def antecedent_mm(rain_mm: Array) -> Array:
    """Rain of the day and what is kept of the days before; NaN on 30 days from one without a figure on. [mm]"""
    out, state, hole = np.empty_like(rain_mm), 0.0, 0
    for day, rain in enumerate(rain_mm.tolist()):
        hole = HOLE_DAYS if np.isnan(rain) else hole - 1
        state = RAIN_KEPT * state + (0.0 if np.isnan(rain) else rain)
        out[day] = np.nan if hole > 0 else state
    return out


def stations_in(folder: Path) -> list[Station]:
    """The stations of `uscrn*daily*` tables with moisture at all three depths."""
    found = []
    table = merged(folder, US_DAYS)
    for name, part in table.groupby("wban"):
        latitude = float(column(part, "latitude_deg")[0])
        # A latitude that is not known is not one below the limit.
        if not latitude < NORTHERN_LIMIT_DEG:
            continue
        stamps = days_since_1970(part, "date_local_standard")
        days = grid_of(stamps)
        row = {key: laid(stamps, column(part, key), days) for key in (*US_DAYS.needed[3:], *US_DAYS.optional)}
        moisture = np.asarray(sum(row[f"soil_moisture_{depth}cm_m3m3"] for depth in _DEPTHS_CM) / 3.0)
        if (~np.isnan(moisture)).sum() >= LEAST_DAYS:
            et0 = _et0_mm(row, days, latitude)
            found.append(
                Station(name=str(name), days=days, rain_mm=row["rain_mm"], et0_mm=et0, moisture=moisture)
            )
    return found


def _et0_mm(row: dict[str, Array], days: Whole, latitude: float) -> Array:
    """FAO-56 with the wind taken; Hargreaves where radiation or humidity is not known."""
    of_year = day_of_year(days)
    mean, high, low = row["air_mean_c"], row["air_max_c"], row["air_min_c"]
    vapour = 0.5 * (saturation_kpa(high) + saturation_kpa(low)) * row["rel_humidity_mean_pct"] / 100.0
    full = daily_et0_mm(
        high, low, vapour, np.full(mean.shape, WIND_MS), row["radiation_mj_m2"], of_year, latitude, 0.0
    )
    simple = hargreaves_et0_mm(mean, high, low, day_sky_mj_m2(of_year, latitude)[0])
    return np.where(np.isnan(full), simple, full)
