"""Stillness and layering of the air near the ground."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from planner.weather import Array, flag, within

#: Edges between the wind rows of the table. [m/s]
_WIND_EDGES_MS = (0.75, 1.85, 2.85, 3.35, 3.85, 4.85, 5.45, 5.95)
#: Rows: wind, calm first. Columns: net radiation index 4, 3, 2, 1, 0, -1, -2.
_TURNER = np.array(
    [
        [1, 1, 2, 3, 4, 6, 7],
        [1, 2, 2, 3, 4, 6, 7],
        [1, 2, 3, 4, 4, 5, 6],
        [2, 2, 3, 4, 4, 5, 6],
        [2, 2, 3, 4, 4, 4, 5],
        [2, 3, 3, 4, 4, 4, 5],
        [3, 3, 4, 4, 4, 4, 5],
        [3, 3, 4, 4, 4, 4, 4],
        [3, 4, 4, 4, 4, 4, 4],
    ],
    dtype=np.float64,
)
#: 11 km/h, above which wind through the whole night keeps the air mixed.
STILL_MS = 3.06
LOW_CEILING_FT = 7000.0
HIGH_CEILING_FT = 16000.0


def stability_class(
    wind_10m_ms: ArrayLike,
    cloud_fraction: ArrayLike,
    sun_altitude_deg: ArrayLike,
    night: ArrayLike,
    ceiling_ft: float | None = None,
) -> Array:
    """Stability class of the air by Turner's table: 1 very unstable, 4 neutral, 7 very stable.

    Parameters   wind_10m_ms : array. [m/s]
                 cloud_fraction : array. [0-1]
                 sun_altitude_deg : array. [degrees]
                 night : array of bool. From an hour before sunset to an hour after sunrise.
                 ceiling_ft : float or None when not known. Base of the cloud. [ft]
    Returns      array, broadcast shape. [1-7]
    Valid for    wind 0 to 75 m/s, cloud 0 to 1.13 (above 1 read as 1); outside that NaN
    Missing      NaN in, NaN out
    Differs      where the ceiling is not known a whole cover counts as low and a broken one as middle-high
    Source       epa-2000, section 6.4.1, tables 6-4 to 6-6 (cloud by day: as drawn after Turner)
    Check        tests/indices/test_spray_air.py::test_turner_table
    """
    wind = within(wind_10m_ms, 0.0, 75.0)
    cloud = np.minimum(within(cloud_fraction, 0.0, 1.13), 1.0)
    altitude = within(sun_altitude_deg, -90.0, 90.0)
    wind, cloud, altitude, dark = np.broadcast_arrays(wind, cloud, altitude, np.asarray(night, dtype=bool))
    overcast = cloud > 0.95
    strength = 1.0 + (altitude > 15.0) + (altitude > 35.0) + (altitude > 60.0)
    if ceiling_ft is None:
        lowered, closed = 1.0, overcast
    else:
        lowered = 2.0 if ceiling_ft < LOW_CEILING_FT else 1.0 if ceiling_ft < HIGH_CEILING_FT else 0.0
        closed = overcast & (ceiling_ft < LOW_CEILING_FT)
    by_day = np.where(cloud > 0.5, np.maximum(strength - lowered - overcast, 1.0), strength)
    radiation = np.where(closed, 0.0, np.where(dark, np.where(cloud <= 0.4, -2.0, -1.0), by_day))
    known = ~np.isnan(wind + cloud + altitude)
    row = np.searchsorted(_WIND_EDGES_MS, np.where(known, wind, 0.0), side="right")
    column = (4.0 - np.where(known, radiation, 0.0)).astype(np.int64)
    return np.where(known, _TURNER[row, column], np.nan)


def inversion_likely(
    stability: ArrayLike,
    wind_10m_ms: ArrayLike,
    cloud_fraction: ArrayLike,
    sun_altitude_deg: ArrayLike,
    night: ArrayLike,
    surface_below_air_k: ArrayLike,
    warmer_aloft_k: ArrayLike = np.nan,
) -> Array:
    """Whether the air near the ground is likely layered, so that fine drops hang and drift.

    Parameters   stability : array. Class 1 to 7.
                 wind_10m_ms, cloud_fraction, sun_altitude_deg : arrays. [m/s, 0-1, degrees]
                 night : array of bool. From an hour before sunset to an hour after sunrise.
                 surface_below_air_k : array. Air less surface temperature. [K]
                 warmer_aloft_k : array. Temperature at 80 m less that of the air, where known. [K]
    Returns      array, broadcast shape. 1 likely, 0 not.
    Valid for    open ground; no such flag is published, the three signs are judgement on published parts
    Missing      1 when a known sign says so; 0 when every sign that the hour needs is known; else NaN
    Differs      the surface counts only at night and with the sun below 5 degrees
    Source       own-inversion (parts: epa-2000, grdc-spray module 10.8, irrigation-newsletter-197)
    Check        tests/indices/test_spray_air.py::test_inversion_in_the_evening_and_not_at_noon
    """
    names = (stability, wind_10m_ms, cloud_fraction, sun_altitude_deg, surface_below_air_k, warmer_aloft_k)
    klass, wind, cloud, altitude, below, aloft = (np.asarray(a, dtype=np.float64) for a in names)
    dark = np.asarray(night, dtype=bool)
    low_sun = altitude < 5.0
    layered = (dark & (klass >= 5.0)) | (low_sun & (wind < STILL_MS) & (cloud < 0.5))
    # Not in place: members may share some of the columns.
    layered = layered | ((dark | low_sun) & (below > 1.0)) | (aloft > 0.0)
    unknown = (dark | low_sun) & np.isnan(klass + wind + cloud + below)
    return flag(layered, ~unknown & ~np.isnan(altitude + wind))


def direction_spread_deg(wind_dir_deg: Array) -> Array:
    """Smallest arc that holds the wind directions of the hour, the one before and the one after.

    Parameters   wind_dir_deg : array (members, hours). [degrees]
    Returns      array, same shape. [0-240]
    Valid for    0 to 360 degrees; outside that NaN. Says little in a calm.
    Missing      NaN where any of the three is NaN; first and last hour have two
    Differs      none
    Source       own-direction-spread (geometry)
    Check        tests/indices/test_spray_air.py::test_direction_spread_across_north
    """
    here = within(wind_dir_deg, 0.0, 360.0)
    here = np.where(here == 360.0, 0.0, here)
    before = np.concatenate([here[..., :1], here[..., :-1]], axis=-1)
    after = np.concatenate([here[..., 1:], here[..., -1:]], axis=-1)
    below, above = np.minimum(before, here), np.maximum(before, here)
    low, high = np.minimum(below, after), np.maximum(above, after)
    middle = np.maximum(below, np.minimum(above, after))
    widest = np.maximum(np.maximum(middle - low, high - middle), low + 360.0 - high)
    out: Array = 360.0 - widest
    return out


#: Half the fan in which drift spreads about the mean wind of an hour (judgement). [degrees]
FAN_DEG = 60.0
#: Wind in which the air may move any way (judgement). [m/s]
CALM_MS = 0.5


def drift_towards(
    wind_dir_deg: ArrayLike,
    bearing_deg: ArrayLike,
    spread_deg: ArrayLike = 0.0,
    wind_10m_ms: ArrayLike = np.inf,
) -> Array:
    """Whether the air moves from a surface towards something that lies beside it.

    Parameters   wind_dir_deg : array. Where the wind comes from. [degrees]
                 bearing_deg : array. Where the edge lies from the surface. [degrees]
                 spread_deg : array. Arc of the hours' directions; half of it is allowed. [degrees]
                 wind_10m_ms : array. In a calm under 0.5 m/s the air may move any way. [m/s]
    Returns      array, broadcast shape. 1 towards the edge within 60 degrees and half the spread, else 0.
    Valid for    0 to 360 degrees; outside that NaN. Distance, height of the boom and drops are left out.
    Missing      NaN where the direction or its spread is not known, but 1 in a known calm
    Differs      none
    Source       own-drift (geometry; the fan of 60 degrees and the calm are judgement)
    Check        tests/indices/test_drift.py::test_wind_from_the_west_moves_towards_the_east
    """
    towards = within(wind_dir_deg, 0.0, 360.0) + 180.0
    away = np.abs((towards - within(bearing_deg, 0.0, 360.0) + 180.0) % 360.0 - 180.0)
    allowed = FAN_DEG + 0.5 * within(spread_deg, 0.0, 360.0)
    calm = np.asarray(wind_10m_ms, dtype=np.float64) < CALM_MS
    return flag(calm | (away <= allowed), ~np.isnan(away + allowed))


def drop_life_s(delta_t_k: ArrayLike, diameter_um: float = 100.0) -> Array:
    """Time in which a drop of plain water dries up in the air.

    Parameters   delta_t_k : array. Air less wet bulb. [K]
                 diameter_um : float. Diameter of the drop. [um]
    Returns      array, same shape; at most 3600. [s]
    Valid for    Delta T 0 to 40 K, drops 20 to 500 um; outside that NaN. A tank mix dries slower than water.
    Missing      NaN in, NaN out
    Differs      held at an hour in air that hardly dries
    Source       amsden-1962 (from memory)
    Check        tests/indices/test_drift.py::test_drop_life_falls_with_delta_t_and_rises_with_the_square
    """
    size = float(within(diameter_um, 20.0, 500.0))
    with np.errstate(divide="ignore", over="ignore"):
        life = size * size / (80.0 * within(delta_t_k, 0.0, 40.0))
    return np.minimum(life, 3600.0)
