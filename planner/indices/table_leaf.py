"""Rows of the leaf under the sky: temperature, dew and wetness."""

from __future__ import annotations

import numpy as np

from planner.indices import leaf_wetness, soil_temp
from planner.indices import surface_temp as surface
from planner.indices.quantities import Quantities
from planner.indices.table import Rows
from planner.weather import Array

rows = Rows()


def sunlight_at_label(q: Quantities) -> Array:
    """Sunlight at the start of each hour, half way between the means of the hours beside it."""
    here = q["sunlight_wm2"]
    before = np.concatenate([here[:, :1], here[:, :-1]], axis=-1)
    return np.where(np.isnan(before), here, 0.5 * (before + here))


def under_thatch_c(q: Quantities) -> Array:
    """Soil as forecast; else the day's mean air, with which the balance was fitted."""
    forecast = q["soil_temp_6cm_c"]
    if not np.isnan(forecast).any():
        return forecast
    return np.where(np.isnan(forecast), soil_temp.trailing_day_mean_c(q["air_temp_c"]), forecast)


@rows.sky(
    unit="C",
    says="Temperature of the leaf surface as it radiates: what inversion and hoar read",
    bounds=(-60, 80),
    needs=(
        "air_temp_c",
        "rel_humidity_pct",
        "wind_10m_ms",
        "cloud_pct",
        "soil_temp_6cm_c",
        "station_pressure_hpa",
        "sunlight_wm2",
    ),
    source="own-balance",
    valid="-50 to 50 C; not high basins",
    check="tests/indices/test_surface_temp.py::test_payerne_nights_better_than_air",
)
def surface_temp_c(q: Quantities) -> Array:
    return surface.surface_temp_c(
        q["air_temp_c"],
        q["rel_humidity_pct"],
        q["wind_10m_ms"],
        q["cloud_pct"] / 100.0,
        under_thatch_c(q),
        q["station_pressure_hpa"],
        sunlight_at_label(q),
    )


def _leaf_loss_mm(q: Quantities) -> Array:
    return leaf_wetness.leaf_loss_mm_per_h(
        q["air_temp_c"],
        q["rel_humidity_pct"],
        q["wind_10m_ms"],
        q["sunlight_wm2"],
        surface.longwave_down_wm2(q["air_temp_c"], q["rel_humidity_pct"], q["cloud_pct"] / 100.0),
        soil_temp.trailing_day_mean_c(q["air_temp_c"]),
        q["station_pressure_hpa"],
    )


@rows.sky(
    unit="mm",
    says="Dew that forms on the leaf in the hour",
    bounds=(0, 0.3),
    needs=("air_temp_c", "rel_humidity_pct", "wind_10m_ms", "sunlight_wm2", "cloud_pct"),
    source="penman-monteith",
    valid="-40 to 50 C",
    check="tests/indices/test_leaf_wetness.py::test_dew_falls_on_clear_humid_nights_only",
)
def dew_mm(q: Quantities) -> Array:
    return np.maximum(-_leaf_loss_mm(q), 0.0)


@rows.sky(
    unit="0/1",
    says="Leaf wet from dew or rain",
    needs=("rain_mm", "air_temp_c", "rel_humidity_pct", "wind_10m_ms", "sunlight_wm2", "cloud_pct"),
    source="own-leaf-store",
    valid="short turf",
    check="tests/indices/test_leaf_wetness.py::test_wet_nights_and_dry_days",
)
def leaf_wet(q: Quantities) -> Array:
    rule = leaf_wetness.wet_by_humidity(q["rel_humidity_pct"], q["rain_mm"])
    return leaf_wetness.wet_leaf(q["rain_mm"], _leaf_loss_mm(q), rule)


@rows.sky(
    unit="h",
    says="Hours until the leaf is dry",
    bounds=(0, 100000),
    needs=("leaf_wet",),
    source="own-drying",
    valid="short turf; known up to the end of the hours",
    check="tests/indices/test_drying.py::test_leaf_is_dry_again_some_hours_after_rain",
)
def leaf_dry_in_h(q: Quantities) -> Array:
    return leaf_wetness.hours_until(1.0 - q["leaf_wet"])
