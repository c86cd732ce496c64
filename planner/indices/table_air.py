"""Rows of the air and the sun, the same for every surface of a site."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np

from planner.indices import evapotranspiration as evaporation
from planner.indices import humidity, sun
from planner.indices.quantities import Quantities
from planner.indices.table import Rows
from planner.units import KMH_PER_MS, WIND_2M_PER_10M
from planner.weather import Array, flag

MJ_PER_WM2_HOUR = 0.0036
#: Heat over which cool-season greens spend more than they make (golf association updates).
HEAT_C = 32.0
rows = Rows()


@rows.sky(
    unit="hPa",
    says="Air pressure at the site, forecast or from its height",
    bounds=(500, 1100),
    needs=("pressure_hpa",),
    source="fao-56",
    valid="always known",
    check="tests/indices/test_humidity.py::test_pressure_printed_in_fao56",
)
def station_pressure_hpa(q: Quantities) -> Array:
    forecast = q["pressure_hpa"]
    return np.where(np.isnan(forecast), humidity.pressure_at_hpa(q.site.elevation_m), forecast)


@rows.sky(
    unit="km/h",
    says="Wind at 2 m, where the spray is",
    bounds=(0, 202.5),
    needs=("wind_10m_ms",),
    source="fao-56",
    valid="0 to 75 m/s",
    check="tests/indices/test_rows.py::test_wind_is_brought_down_to_two_metres",
)
def wind_2m_kmh(q: Quantities) -> Array:
    return q["wind_10m_ms"] * (WIND_2M_PER_10M * KMH_PER_MS)


@rows.sky(
    unit="km/h",
    says="Gust brought to 2 m as the mean wind is; gusts fall off less, so that it may be more",
    bounds=(0, 202.5),
    needs=("gust_10m_ms",),
    source="fao-56",
    valid="where gusts are forecast",
    check="tests/indices/test_rows.py::test_wind_is_brought_down_to_two_metres",
)
def gust_2m_kmh(q: Quantities) -> Array:
    return q["gust_10m_ms"] * (WIND_2M_PER_10M * KMH_PER_MS)


@rows.sky(
    unit="mm",
    says="Rain of the hour and the two after it",
    bounds=(0, 600),
    needs=("rain_mm",),
    source="own-hours",
    valid="where three hours are known",
    check="tests/indices/test_rows.py::test_rain_of_three_hours_looks_ahead",
)
def rain_3h_mm(q: Quantities) -> Array:
    rain = q["rain_mm"]
    ends = np.full((rain.shape[0], 2), np.nan)
    ahead = np.concatenate([rain, ends], axis=-1)
    return np.asarray(ahead[:, :-2] + ahead[:, 1:-1] + ahead[:, 2:])


@rows.sky(
    unit="0/1",
    says="Warm damp air in which seedlings rot: above 17 C at more than 90 % humidity",
    needs=("air_temp_c", "rel_humidity_pct"),
    source="own-hours",
    valid="figures are judgement",
    check="tests/indices/test_rows.py::test_warm_damp_air_needs_both",
)
def warm_damp_air(q: Quantities) -> Array:
    air, humidity_pct = q["air_temp_c"], q["rel_humidity_pct"]
    return flag((air > 17.0) & (humidity_pct > 90.0), ~np.isnan(air + humidity_pct))


@rows.sky(
    unit="h",
    says="Hour of the day on the site's clock",
    bounds=(0, 24),
    needs=(),
    source="own-hours",
    valid="always known",
    check="tests/indices/test_rows.py::test_hour_of_the_day_is_the_sites_own",
)
def clock_hour(q: Quantities) -> Array:
    return np.atleast_2d((q.weather.epoch_s / 3600.0 + q.local_offset_h) % 24.0)


@rows.sky(
    unit="d",
    says="Days until the grass usually comes to rest, as the site file has it",
    bounds=(0, 366),
    needs=(),
    source="own-hours",
    valid="where the site file names the date",
    check="tests/indices/test_rows.py::test_days_to_rest_are_counted_to_the_date_of_the_site",
)
def days_to_dormancy(q: Quantities) -> Array:
    if not q.site.dormant_from:
        return np.full((1, q.weather.hours), np.nan)
    month, day = (int(part) for part in q.site.dormant_from.split("-"))

    def until(today: date) -> float:
        # 29 February is the last day of the month in other years.
        rest = [_date(today.year + later, month, day) for later in (0, 1)]
        return float(next((one - today).days for one in rest if one >= today))

    return q.days.spread(np.atleast_2d([until(today) for today in q.days.dates]))


def _date(year: int, month: int, day: int) -> date:
    try:
        return date(year, month, day)
    except ValueError:
        return date(year, month + 1, 1) - timedelta(days=1)


@rows.sky(
    unit="C",
    says="Wet-bulb temperature",
    bounds=(-25, 50),
    needs=("air_temp_c", "rel_humidity_pct", "station_pressure_hpa"),
    source="ashrae-2017",
    valid="-20 to 50 C, 5 to 100 %",
    check="tests/indices/test_humidity.py::test_wet_bulb_oracle_values",
)
def wet_bulb_c(q: Quantities) -> Array:
    return humidity.wet_bulb_c(q["air_temp_c"], q["rel_humidity_pct"], q["station_pressure_hpa"])


@rows.sky(
    unit="K",
    says="Air less wet bulb: how fast droplets dry",
    bounds=(0, 40),
    needs=("air_temp_c", "wet_bulb_c"),
    source="grdc-spray",
    valid="-20 to 50 C, 5 to 100 %",
    check="tests/indices/test_humidity.py::test_wet_bulb_oracle_values",
)
def delta_t_k(q: Quantities) -> Array:
    return q["air_temp_c"] - q["wet_bulb_c"]


@rows.sky(
    unit="kPa",
    says="How far the air is from saturation",
    bounds=(0, 20),
    needs=("air_temp_c", "rel_humidity_pct"),
    source="fao-56",
    valid="-60 to 60 C",
    check="tests/indices/test_humidity.py::test_vapour_pressure_agrees_with_fao56_printed_values",
)
def vpd_kpa(q: Quantities) -> Array:
    return humidity.vapour_pressure_deficit_kpa(q["air_temp_c"], q["rel_humidity_pct"])


@rows.sky(
    unit="K",
    says="Degrees of the air above 32 C",
    bounds=(0, 25),
    needs=("air_temp_c",),
    source="heat-green-section",
    valid="cool-season greens",
    check="tests/indices/test_rows.py::test_heat_counts_from_thirty_two",
)
def heat_stress(q: Quantities) -> Array:
    return np.maximum(q["air_temp_c"] - HEAT_C, 0.0)


@rows.sky(
    unit="degrees",
    says="Height of the sun at the start of the hour",
    bounds=(-90, 90),
    needs=(),
    source="almanac-low-precision",
    valid="1950 to 2050",
    check="tests/indices/test_sun.py::test_spa_printed_point",
)
def sun_altitude_deg(q: Quantities) -> Array:
    return sun.sun_position_deg(q.weather.epoch_s, q.site.latitude_deg, q.site.longitude_deg)[0]


def mid_hour_altitude_deg(q: Quantities) -> Array:
    middle = q.weather.epoch_s + 1800
    return np.atleast_2d(sun.sun_position_deg(middle, q.site.latitude_deg, q.site.longitude_deg)[0])


@rows.sky(
    unit="0/1",
    says="Within an hour before sunset to an hour after sunrise",
    needs=(),
    source="epa-2000",
    valid="1950 to 2050",
    check="tests/indices/test_spray_air.py::test_inversion_in_the_evening_and_not_at_noon",
)
def near_night(q: Quantities) -> Array:
    """1 for hours that touch the time from an hour before sunset to an hour after sunrise."""
    labels = q.weather.epoch_s
    around = np.concatenate([[labels[0] - 3600], labels, [labels[-1] + 3600, labels[-1] + 7200]])
    below = sun.sun_position_deg(around, q.site.latitude_deg, q.site.longitude_deg)[0] < sun.RISE_DEG
    count = labels.size
    dark = below[:count] | below[1 : count + 1] | below[2 : count + 2] | below[3 : count + 3]
    return dark.astype(np.float64)


@rows.sky(
    unit="W/m2",
    says="Sunlight on the level, forecast or estimated from cloud",
    bounds=(0, 1400),
    needs=("shortwave_wm2", "cloud_pct"),
    source="kasten-czeplak-1980",
    valid="where sunlight or cloud is forecast",
    check="tests/indices/test_sun.py::test_cloud_takes_three_quarters",
)
def sunlight_wm2(q: Quantities) -> Array:
    forecast = q["shortwave_wm2"]
    if not np.isnan(forecast).any():
        return forecast
    estimate = sun.cloudy_sky_wm2(mid_hour_altitude_deg(q), q["cloud_pct"] / 100.0)
    return np.where(np.isnan(forecast), estimate, forecast)


@rows.sky(
    unit="MJ/m2",
    says="Sunlight in the hour",
    bounds=(0, 5.04),
    needs=("sunlight_wm2",),
    source="kasten-czeplak-1980",
    valid="where sunlight or cloud is forecast",
    check="tests/indices/test_sun.py::test_daily_light_of_twenty_megajoule",
)
def sunlight_mj(q: Quantities) -> Array:
    return q["sunlight_wm2"] * MJ_PER_WM2_HOUR


@rows.sky(
    unit="mm",
    says="Water that short grass gives to the air in the hour",
    bounds=(0, 2.5),
    needs=("et0_mm", "air_temp_c", "rel_humidity_pct", "wind_10m_ms", "sunlight_mj"),
    source="fao-56",
    valid="-40 to 55 C",
    check="tests/indices/test_evapotranspiration.py::test_example_19_ndiaye",
)
def et0_hour_mm(q: Quantities) -> Array:
    """What the forecast carries; else FAO-56 from sunlight, forecast or estimated; else by temperature alone."""
    forecast = q["et0_mm"]
    if not np.isnan(forecast).any():
        return forecast
    temp, moist = q["air_temp_c"], q["rel_humidity_pct"]
    altitude = mid_hour_altitude_deg(q)
    light = q["sunlight_mj"]
    clear = np.broadcast_to(sun.clear_sky_wm2(altitude) * MJ_PER_WM2_HOUR, light.shape)
    vapour = humidity.vapour_pressure_hpa(temp, np.minimum(moist, 100.0)) / 10.0
    net = evaporation.hourly_net_mj_m2(temp, vapour, light, evaporation.last_clearness(light, clear))
    ground = np.where(altitude > 0.0, 0.1, 0.5) * net
    wind = q["wind_10m_ms"] * WIND_2M_PER_10M
    hourly = evaporation.hourly_et0_mm(temp, moist, wind, net, ground, q["station_pressure_hpa"] / 10.0)
    made = np.where(np.isnan(forecast), hourly, forecast)
    if not np.isnan(made).any():
        return made
    above = 4.92 * np.maximum(np.sin(np.radians(altitude)), 0.0)
    by_day = evaporation.hargreaves_et0_mm(
        temp, q.days.spread(q.days.highest(temp)), q.days.spread(q.days.lowest(temp)), above
    )
    return np.where(np.isnan(made), by_day, made)
