"""Rows of frost: what a thermometer at the grass reads, the hours to keep off, and the chance of the night."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta

import numpy as np

from planner.indices import frost, grass_min
from planner.indices import surface_temp as surface
from planner.indices.quantities import LocalDays, Quantities
from planner.indices.table import Rows
from planner.indices.table_leaf import sunlight_at_label, under_thatch_c
from planner.weather import Array, Mask, mean_of_members

#: So many hours in a row without cloud are taken as clear, the cold side; over a longer gap the air speaks alone.
SHORT_GAP_H = 3
#: A night with a dark hour that is not known has the chance of its known hours, where that is so high. Judgement.
DECIDED = 0.9
#: A thermometer of the air is read to this. [K]
_READ_TO_K = 0.1
#: Hours that are past are the service's model, not measured here: its spread against a thermometer on the spot.
#: Judgement; a site whose weather is a record of measurements sets `past_spread_k` to 0. [K]
PAST_SPREAD_K = 1.0
#: Spreads from freezing at which nothing is left to chance.
_SURE = 30.0
rows = Rows()


def balance_c(q: Quantities) -> Array:
    """The surface, under a clear sky where cloud alone is missing for at most `SHORT_GAP_H` hours. [degC]

    Shape (members or 1, hours). A clear sky is the cold side of what it can have been.
    """
    return q.of_site("surface under short gaps in cloud", (), lambda: _balance_c(q))


def _balance_c(q: Quantities) -> Array:
    known, cloud = q["surface_temp_c"], q["cloud_pct"]
    short = _short_gaps(np.isnan(cloud))
    hours = np.flatnonzero(short.any(axis=0))
    if not hours.size:
        return known
    clear = surface.surface_temp_c(
        q["air_temp_c"][:, hours],
        q["rel_humidity_pct"][:, hours],
        q["wind_10m_ms"][:, hours],
        np.where(short, 0.0, cloud)[:, hours] / 100.0,
        under_thatch_c(q)[:, hours],
        q["station_pressure_hpa"][:, hours],
        # Sunlight may be worked out from the cloud that is missing; none is the cold side.
        np.nan_to_num(sunlight_at_label(q)[:, hours]),
    )
    out = np.broadcast_to(known, np.broadcast_shapes(known.shape, (clear.shape[0], known.shape[1]))).copy()
    out[:, hours] = np.where(short[:, hours], clear, out[:, hours])
    return out


def _short_gaps(gap: Mask) -> Mask:
    # The run of gaps that an hour lies in reaches from the last known hour before it to the next one after it.
    hours = np.arange(gap.shape[1])
    before = np.maximum.accumulate(np.where(gap, -1, hours), axis=1)
    after = np.minimum.accumulate(np.where(gap, hours.size, hours)[:, ::-1], axis=1)[:, ::-1]
    return np.asarray(gap & (after - before - 1 <= SHORT_GAP_H))


def _expected(q: Quantities) -> Array:
    """Grass temperature by the shipped calibration, and its spread, shape (2, members or 1, hours)."""
    return q.of_site("grass by the shipped calibration", (), lambda: _by_calibration(q))


def _by_calibration(q: Quantities) -> Array:
    sun = q["sun_altitude_deg"]
    grass = grass_min.grass_temp_c(balance_c(q), q["air_temp_c"], q["wind_10m_ms"], sun)
    alone = grass_min.air_less_c(q["air_temp_c"], sun)
    spread = np.where(
        np.isnan(grass), grass_min.AIR_ALONE_SPREAD_K, grass_min.grass_spread_k(q["wind_10m_ms"])
    )
    return np.stack(np.broadcast_arrays(np.where(np.isnan(grass), alone, grass), spread))


def expected_nights(q: Quantities) -> dict[date, tuple[float, float]]:
    """What the shipped calibration expects of the nights up to today, by the date of the morning: lowest and spread.

    Nights that are not wholly known are left out. [degC, K]
    """
    grass, spread = (mean_of_members(part) for part in _expected(q))
    lowest, today = _lowest(q, grass[None, :])[0], q.now.astimezone(q.site.zone).date()
    bounds = [*q.nights.first_hour, q.weather.hours]
    found = {}
    for number, evening in enumerate(q.nights.dates):
        morning = evening + timedelta(days=1)
        if morning <= today and not np.isnan(lowest[number]):
            begin, end = bounds[number], bounds[number + 1]
            coldest = begin + int(np.nanargmin(grass[begin:end]))
            found[morning] = (float(lowest[number]), float(spread[coldest]))
    return found


def own_correction(q: Quantities) -> tuple[float, float]:
    """Shift of the calibration by what was read at this site, and the factor of its spread. [K, 1]"""
    shift, factor = q.of_site("own correction", (), lambda: np.array(_own_correction(q)))
    return float(shift), float(factor)


def _own_correction(q: Quantities) -> tuple[float, float]:
    start, told = q.constants.get("grass_shift_k", 0.0), q.told_nights
    if not told.read_c:
        return start, 1.0
    expected = {**told.expected, **expected_nights(q)}
    today = q.now.astimezone(q.site.zone).date()
    nights = [
        (read - expected[morning][0], expected[morning][1], (today - morning).days)
        for morning, read in told.read_c.items()
        if morning in expected and morning <= today
    ]
    error, spread, age = np.array(nights, dtype=np.float64).reshape(-1, 3).T
    return grass_min.own_correction(error, np.hypot(spread, _past_spread_k(q)), age, start)


@rows.sky(
    unit="C",
    says="Temperature a thermometer at the tips of the grass reads; its lowest is the grass minimum",
    bounds=(-75, 90),
    needs=("surface_temp_c", "air_temp_c", "wind_10m_ms", "sun_altitude_deg"),
    source="own-grass-minimum",
    valid="-50 to 50 C; open ground",
    check="tests/verification/test_ground_frost.py::test_shipped_calibration_is_the_fit",
)
def grass_temp_c(q: Quantities) -> Array:
    """The balance calibrated; from the air alone where the balance is not known."""
    shift = own_correction(q)[0]
    return np.asarray(_expected(q)[0] + shift * grass_min.night_share(q["sun_altitude_deg"]))


@rows.sky(
    unit="C",
    says="Grass temperature; where cloud, wind or humidity are not known the coldest of a hundred nights",
    bounds=(-75, 90),
    needs=("grass_temp_c", "surface_temp_c", "air_temp_c"),
    source="own-grass-minimum",
    valid="-50 to 50 C; open ground",
    check="tests/indices/test_rows.py::test_turf_is_held_at_its_coldest_where_cloud_is_not_known",
)
def turf_least_c(q: Quantities) -> Array:
    """What needs read: the cautious side of frost."""
    coldest = grass_min.air_less_c(q["air_temp_c"], q["sun_altitude_deg"], -grass_min.COLDEST_BELOW_AIR_K)
    return np.where(np.isnan(balance_c(q)), coldest, q["grass_temp_c"])


@rows.sky(
    unit="0/1",
    says="Frost on the grass, or gone for less than an hour: keep off",
    needs=("turf_least_c", "air_temp_c", "sun_altitude_deg"),
    source="own-frost-chance",
    valid="nights known up to the thaw",
    check="tests/indices/test_frost.py::test_off_frost_waits_for_a_full_hour",
)
def frost_keep_off(q: Quantities) -> Array:
    return frost.keep_off(q["turf_least_c"], q["air_temp_c"], q["sun_altitude_deg"])


def night_lowest(q: Quantities, name: str) -> Array:
    """Lowest of each noon-to-noon night, (members, nights); NaN where a dark hour is not known.

    Nor is a night known that the hours leave before the sun is up, or enter after it.
    """
    return _lowest(q, q[name])


def _lowest(q: Quantities, values: Array) -> Array:
    lowest = q.nights.lowest(np.where(np.isnan(values) & _sun_is_up(q), np.inf, values))
    return np.where(_whole(q) & np.isfinite(lowest), lowest, np.nan)


def _sun_is_up(q: Quantities) -> Mask:
    return np.asarray(q["sun_altitude_deg"] > 0.0)


def _whole(q: Quantities) -> Mask:
    """Which nights the hours neither leave before the sun is up, nor enter after it; shape (nights,)."""
    up = _sun_is_up(q)
    whole = np.ones(len(q.nights.dates), dtype=bool)
    whole[0] = _since_noon_h(q, 0) < 1.0 or not up[0, 0]
    end = _since_noon_h(q, q.weather.hours - 1)
    whole[-1] &= end >= 23.0 or (end >= 12.0 and bool(up[0, -1]))
    return whole


def _since_noon_h(q: Quantities, hour: int) -> float:
    local = q.weather.time(hour).astimezone(q.site.zone)
    return (local.hour + local.minute / 60.0 - 12.0) % 24.0


def night_lead_days(q: Quantities, nights: LocalDays) -> Array:
    """Days from now to the midnight of each night."""
    zone = q.site.zone
    middles = [datetime.combine(day + timedelta(days=1), time(0), zone) for day in nights.dates]
    return np.array([(middle - q.now).total_seconds() / 86400.0 for middle in middles])


def _past_spread_k(q: Quantities) -> float:
    return q.constants.get("past_spread_k", PAST_SPREAD_K)


def _weather_spread_k(q: Quantities) -> Array:
    """Spread of the weather in each hour, shape (1, hours): of the forecast, and of what is told of past hours."""
    # Members may share one air temperature and differ in rain and wind alone.
    if q["air_temp_c"].shape[0] > 1:
        ahead = np.full((1, q.weather.hours), frost.MEMBER_SPREAD_K)
    else:
        ahead = q.nights.spread(frost.forecast_spread_k(night_lead_days(q, q.nights))[None, :])
    return np.where(q.weather.epoch_s <= q.now.timestamp(), _past_spread_k(q), ahead)


def _night_chance(q: Quantities, temp_c: Array, spread_k: Array) -> Array:
    """The chance of the likeliest hour of each night, in all its hours."""
    # The hour that lies furthest below freezing, in spreads, is the likeliest.
    below = -temp_c / np.hypot(spread_k, _weather_spread_k(q))
    unknown = np.isnan(below)
    furthest = q.nights.highest(np.where(unknown, -_SURE, np.clip(below, -_SURE, _SURE)))
    chance = frost.frost_chance(-furthest, 1.0)
    gaps = q.nights.total((unknown & ~_sun_is_up(q)).astype(np.float64)) > 0.0
    nothing = q.nights.lowest(unknown.astype(np.float64)) > 0.0
    open_end = nothing | ((gaps | ~_whole(q)) & (chance < DECIDED))
    return q.nights.spread(np.where(open_end, np.nan, chance))


@rows.sky(
    unit="0-1",
    says="Chance that the grass minimum of the night from noon to noon is below 0 C",
    needs=("grass_temp_c", "surface_temp_c", "air_temp_c", "wind_10m_ms", "sun_altitude_deg"),
    source="own-frost-chance",
    valid="nights known up to sunrise",
    check="tests/verification/test_ground_frost.py::test_chances_beat_the_air_at_stations_left_out",
)
def frost_chance_ground(q: Quantities) -> Array:
    return _night_chance(q, q["grass_temp_c"], own_correction(q)[1] * _expected(q)[1])


@rows.sky(
    unit="0-1",
    says="Chance of frost in the air in the night from noon to noon",
    needs=("air_temp_c",),
    source="own-frost-chance",
    valid="nights known up to sunrise",
    check="tests/indices/test_frost.py::test_frost_chance_worked_values",
)
def frost_chance_air(q: Quantities) -> Array:
    return _night_chance(q, q["air_temp_c"], np.array(_READ_TO_K))
