"""The days ahead in figures: one row per local day."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import TypedDict, cast

import numpy as np

from planner.indices import sun
from planner.indices.frost import freezing_members, off_frost
from planner.indices.quantities import LocalDays, Quantities
from planner.indices.table_frost import night_lowest
from planner.weather import NEEDED, Array, mean_of_members


@dataclass(frozen=True, slots=True, kw_only=True)
class DayFigures:
    """A local day of one surface in figures; None where a figure is not known."""

    date: date
    hours_known: int
    air_min_c: float | None
    air_max_c: float | None
    rain_mm: float | None
    rain_hour_max_mm: float | None
    wind_2m_max_kmh: float | None
    growth_potential: float | None = None
    rain_wash_risk: float | None = None
    wash_low: float | None = None
    wash_high: float | None = None
    wash_chance: float | None = None
    soil_temp_c: float | None
    et0_mm: float | None
    storage_pct_fc: float | None = None
    dli_mol: float | None = None
    degree_days: float | None = None
    depletion_raw: float | None = None
    dollar_spot_chance: float | None = None
    brown_patch_index: float | None = None
    pythium_risk: float | None = None
    frost_risk: float | None
    air_frost_risk: float | None
    grass_min_c: float | None
    surface_min_c: float | None
    off_frost_at: datetime | None
    sunrise: datetime | None
    sunset: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Night:
    frost_risk: float | None = None
    air_frost_risk: float | None = None
    grass_min_c: float | None = None
    surface_min_c: float | None = None
    off_frost_at: datetime | None = None


def day_figures(
    surfaces: Mapping[str, Quantities], members: Mapping[str, Quantities] | None = None
) -> dict[str, list[DayFigures]]:
    """The figures of each local day of the hours, oldest first, for every surface of a site by its name.

    Temperatures in C, rain and water in mm. `sunrise`, `sunset` and `off_frost_at` are aware moments. What is not
    known is None; figures of a cut day hold for the hours that are there. Members are averaged.

    `members` are the same surfaces under an ensemble. Of the wash of seed it is the hardest hour: the share of seed
    at risk, its band, and the chance over the ways it may come, by the forecast or over the members, whichever
    chance is higher, as warnings read it. Frost is that of the night which ends on the day, all of it over the
    members where they know the night, `off_frost_at` of those that freeze. `grass_min_c` is what a thermometer at
    the grass reads, `surface_min_c` the surface as it radiates. Raises NotKnown for quantities of the sky alone.
    """
    of_members = members or surfaces
    found: dict[str, list[DayFigures]] = {}
    sky: list[DayFigures] | None = None
    for name, quantities in surfaces.items():
        # All surfaces of a site lie under one sky.
        sky = _sky_days(quantities, of_members[name]) if sky is None else sky
        figures = _surface_days(quantities, of_members[name])
        found[name] = [replace(day, **own) for day, own in zip(sky, figures, strict=True)]
    return found


def _sky_days(q: Quantities, frosts: Quantities) -> list[DayFigures]:
    """The figures that the sky alone decides; those of the surface are left open."""
    days, rain = q.days, q["rain_mm"]
    nights, known = _night_columns(q), _hours_known(q, q.days)
    if frosts is not q:
        # A night that no member knows is the forecast's; never a part of each.
        over = _night_columns(frosts)
        nights |= {morning: night for morning, night in over.items() if night.frost_risk is not None}
    air_min = mean_of_members(days.lowest(q["air_temp_c"]))
    air_max = mean_of_members(days.highest(q["air_temp_c"]))
    rain_sum, rain_most = mean_of_members(days.total(rain)), mean_of_members(days.highest(rain))
    wind = mean_of_members(days.highest(q["wind_2m_kmh"]))
    soil, et0 = mean_of_members(days.mean(q["soil_temp_c"])), mean_of_members(days.total(q["et0_hour_mm"]))
    found: list[DayFigures] = []
    for number, day in enumerate(days.dates):
        night = nights.get(day, _Night())
        sunrise, sunset = _sun_times(q, day)
        found.append(
            DayFigures(
                date=day,
                hours_known=int(known[number]),
                air_min_c=_figure(air_min[number]),
                air_max_c=_figure(air_max[number]),
                rain_mm=_figure(rain_sum[number]),
                rain_hour_max_mm=_figure(rain_most[number]),
                wind_2m_max_kmh=_figure(wind[number]),
                soil_temp_c=_figure(soil[number]),
                et0_mm=_figure(et0[number]),
                frost_risk=night.frost_risk,
                air_frost_risk=night.air_frost_risk,
                grass_min_c=night.grass_min_c,
                surface_min_c=night.surface_min_c,
                off_frost_at=night.off_frost_at,
                sunrise=sunrise,
                sunset=sunset,
            )
        )
    return found


def _figure(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


class _SurfaceDay(TypedDict):
    growth_potential: float | None
    rain_wash_risk: float | None
    wash_low: float | None
    wash_high: float | None
    wash_chance: float | None
    storage_pct_fc: float | None
    dli_mol: float | None
    degree_days: float | None
    depletion_raw: float | None
    dollar_spot_chance: float | None
    brown_patch_index: float | None
    pythium_risk: float | None


def _surface_days(q: Quantities, of_members: Quantities) -> list[_SurfaceDay]:
    """The figures of every day that the surface decides."""
    days = q.days
    lasts = np.array([*days.first_hour[1:], q.weather.hours]) - 1
    columns = (
        mean_of_members(days.mean(q["growth_potential"])),
        *_wash_days(q, of_members),
        mean_of_members(days.mean(q["storage_pct_fc"])),
        mean_of_members(days.mean(q["light_dli_mol"])),
        mean_of_members(_degree_days(q, days)),
        mean_of_members(days.highest(q["depletion_raw"])),
        mean_of_members(q["dollar_spot_chance"][:, lasts]),
        mean_of_members(q["brown_patch_index"][:, lasts]),
        # That of the night in which the day ends.
        mean_of_members(q["pythium_risk"][:, lasts]),
    )
    names = _SurfaceDay.__annotations__
    return [
        cast(_SurfaceDay, dict(zip(names, map(_figure, figures), strict=True)))
        for figures in zip(*columns, strict=True)
    ]


def _wash_days(q: Quantities, of_members: Quantities) -> list[Array]:
    """Share of seed at risk, its band and its chance on each day, from whichever has the higher chance."""
    names = ("wash_risk", "wash_low", "wash_high", "wash_chance")
    plain, over = (
        [mean_of_members(source.days.highest(source[name])) for name in names] for source in (q, of_members)
    )
    is_over = np.isnan(plain[-1]) | (over[-1] > plain[-1])
    return [np.where(is_over, theirs, ours) for ours, theirs in zip(plain, over, strict=True)]


def _degree_days(q: Quantities, days: LocalDays) -> Array:
    """Degree days that each day adds; a cut day adds those of its hours."""
    sums = q["growing_degree_days"]
    firsts, lasts = np.array(days.first_hour), np.array([*days.first_hour[1:], q.weather.hours]) - 1
    steps = np.diff(sums, axis=-1, append=np.nan)
    steps[:, -1] = steps[:, -2] if q.weather.hours - firsts[-1] > 1 else np.nan
    return np.asarray(sums[:, lasts] + steps[:, lasts] - sums[:, firsts])


def _night_columns(q: Quantities) -> dict[date, _Night]:
    """Frost figures of each night, under the date of its morning."""
    nights = q.nights
    firsts = list(nights.first_hour)
    ground, air = (
        mean_of_members(q[name][:, firsts]) for name in ("frost_chance_ground", "frost_chance_air")
    )
    lowest, surface = (mean_of_members(night_lowest(q, name)) for name in ("grass_temp_c", "surface_temp_c"))
    bounds = [*firsts, q.weather.hours]
    rows: dict[date, _Night] = {}
    for number, evening in enumerate(nights.dates):
        begin, end = bounds[number], bounds[number + 1]
        cold = freezing_members(q, begin, end)
        grass = mean_of_members(q["grass_temp_c"][cold, begin:end])
        off = None
        if not np.isnan(lowest[number]) and not np.isnan(grass).all():
            off = off_frost(q, after=q.weather.time(begin + int(np.nanargmin(grass))), members=cold)
        rows[evening + timedelta(days=1)] = _Night(
            frost_risk=_figure(ground[number]),
            air_frost_risk=_figure(air[number]),
            grass_min_c=_figure(lowest[number]),
            surface_min_c=_figure(surface[number]),
            off_frost_at=off,
        )
    return rows


def _hours_known(q: Quantities, days: LocalDays) -> Array:
    known = np.ones((1, q.weather.hours), dtype=bool)
    for name in NEEDED:
        known = known & ~np.isnan(q[name]).all(axis=0, keepdims=True)
    return np.asarray(days.total(known.astype(np.float64))[0])


def _sun_times(q: Quantities, day: date) -> tuple[datetime | None, datetime | None]:
    zone = q.site.zone
    start = datetime.combine(day, time(0), zone).timestamp()
    end = datetime.combine(day + timedelta(days=1), time(0), zone).timestamp()
    moments = sun.rise_and_set_s(int(start), int(end), q.site.latitude_deg, q.site.longitude_deg)
    rise, fall = (
        None if at is None else datetime.fromtimestamp(round(at), UTC).astimezone(zone) for at in moments
    )
    return rise, fall
