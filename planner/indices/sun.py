"""Where the sun stands, and what a clear or cloudy sky lets through."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from planner.weather import Array, within

#: Altitude of the sun's centre at sunrise and sunset: refraction 34', half its disc 16'.
RISE_DEG = -0.833


def sun_position_deg(epoch_s: ArrayLike, latitude_deg: float, longitude_deg: float) -> tuple[Array, Array]:
    """Altitude and azimuth of the sun's centre, without refraction.

    Parameters   epoch_s : array of any shape. Seconds since 1970, UTC.
                 latitude_deg, longitude_deg : float. East and north are positive. [degrees]
    Returns      two arrays, same shape: altitude above the horizon, azimuth from north by east. [degrees]
    Valid for    1950 to 2050, to 0.02 degrees; the polar regions included
    Missing      NaN in, NaN out
    Differs      low-precision series for the sun's place, not the full SPA
    Source       almanac-low-precision (from memory)
    Check        tests/indices/test_sun.py::test_spa_printed_point
    """
    days = np.asarray(epoch_s, dtype=np.float64) / 86400.0 - 10957.5
    anomaly = np.radians(357.528 + 0.9856003 * days)
    longitude = np.radians(
        280.460 + 0.9856474 * days + 1.915 * np.sin(anomaly) + 0.020 * np.sin(2.0 * anomaly)
    )
    tilt = np.radians(23.439 - 4.0e-7 * days)
    declination = np.arcsin(np.sin(tilt) * np.sin(longitude))
    ascension = np.arctan2(np.cos(tilt) * np.sin(longitude), np.cos(longitude))
    hour_angle = np.radians(280.46062 + 360.9856473 * days + longitude_deg) - ascension
    latitude = np.radians(latitude_deg)
    sine = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(
        hour_angle
    )
    east = -np.cos(declination) * np.sin(hour_angle)
    north = np.sin(declination) * np.cos(latitude) - np.cos(declination) * np.sin(latitude) * np.cos(
        hour_angle
    )
    altitude: Array = np.degrees(np.arcsin(np.clip(sine, -1.0, 1.0)))
    azimuth: Array = np.degrees(np.arctan2(east, north)) % 360.0
    return altitude, azimuth


def rise_and_set_s(
    from_s: int, to_s: int, latitude_deg: float, longitude_deg: float, *, altitude_deg: float = RISE_DEG
) -> tuple[float | None, float | None]:
    """First rising and last setting of the sun within a span, such as a local day.

    Parameters   from_s, to_s : int. Span in seconds since 1970, UTC.
                 latitude_deg, longitude_deg : float. [degrees]
                 altitude_deg : float. -0.833 for sunrise and sunset, -6 for civil twilight. [degrees]
    Returns      seconds since 1970 of each, None when the sun does not pass the altitude within the span
    Valid for    as sun_position_deg; to about half a minute below 65 degrees of latitude
    Missing      does not arise
    Differs      none
    Source       almanac-low-precision
    Check        tests/indices/test_sun.py::test_rise_and_set_against_astral
    """
    ticks = np.append(np.arange(from_s, to_s, 600.0), float(to_s))
    above = sun_position_deg(ticks, latitude_deg, longitude_deg)[0] - altitude_deg
    turns = np.flatnonzero((above[:-1] >= 0.0) != (above[1:] >= 0.0))
    share = above[turns] / (above[turns] - above[turns + 1])
    moments = ticks[turns] + share * (ticks[turns + 1] - ticks[turns])
    rising = moments[above[turns] < 0.0]
    setting = moments[above[turns] >= 0.0]
    return (float(rising[0]) if rising.size else None, float(setting[-1]) if setting.size else None)


def clear_sky_wm2(sun_altitude_deg: ArrayLike) -> Array:
    """Sunlight on the level under a clear sky.

    Parameters   sun_altitude_deg : array. [degrees]
    Returns      array, same shape; 0 with the sun below about 2 degrees. [W/m2]
    Valid for    -90 to 90 degrees; middle latitudes, average haze; outside that NaN
    Missing      NaN in, NaN out
    Differs      none
    Source       kasten-czeplak-1980 (from memory)
    Check        tests/indices/test_sun.py::test_cloud_takes_three_quarters
    """
    sine = np.sin(np.radians(within(sun_altitude_deg, -90.0, 90.0)))
    return np.maximum(910.0 * sine - 30.0, 0.0)


def cloudy_sky_wm2(sun_altitude_deg: ArrayLike, cloud_fraction: ArrayLike) -> Array:
    """Sunlight on the level under a sky with cloud: an estimate where none is forecast.

    Parameters   sun_altitude_deg : array. [degrees]
                 cloud_fraction : array. [0-1]
    Returns      array, broadcast shape. [W/m2]
    Valid for    cloud 0 to 1.13 (above 1 read as 1); outside that NaN
    Missing      NaN in, NaN out
    Differs      none
    Source       kasten-czeplak-1980 (from memory)
    Check        tests/indices/test_sun.py::test_cloud_takes_three_quarters
    """
    cloud = np.minimum(within(cloud_fraction, 0.0, 1.13), 1.0)
    return clear_sky_wm2(sun_altitude_deg) * (1.0 - 0.75 * cloud**3.4)


def daily_light_mol_m2(sunlight_mj_m2: ArrayLike) -> Array:
    """Light that plants can use, from the day's sunlight.

    Parameters   sunlight_mj_m2 : array. [MJ/m2/d]
    Returns      array, same shape. [mol/m2/d]
    Valid for    0 to 45 MJ; outside that NaN
    Missing      NaN in, NaN out
    Differs      none
    Source       thimijan-heins-1983 (0.45 and 4.57: from memory)
    Check        tests/indices/test_sun.py::test_daily_light_of_twenty_megajoule
    """
    return within(sunlight_mj_m2, 0.0, 45.0) * 0.45 * 4.57
