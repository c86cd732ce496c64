"""What the air does to a spray: adapters to the formulas."""

from __future__ import annotations

import numpy as np

from planner.indices import spray_air
from planner.indices.frame import Quantities
from planner.weather import Array


def stability_class(q: Quantities) -> Array:
    return spray_air.stability_class(
        q["wind_10m_ms"], q["cloud_pct"] / 100.0, q["sun_altitude_deg"], q["near_night"] > 0.5
    )


def inversion_likely(q: Quantities) -> Array:
    return spray_air.inversion_likely(
        q["stability_class"],
        q["wind_10m_ms"],
        q["cloud_pct"] / 100.0,
        q["sun_altitude_deg"],
        q["near_night"] > 0.5,
        q["air_temp_c"] - q["surface_temp_c"],
        q["warmer_aloft_k"],
    )


def wind_spread_deg(q: Quantities) -> Array:
    return spray_air.direction_spread_deg(q["wind_dir_deg"])


def warmer_aloft_k(q: Quantities) -> Array:
    return q["air_temp_80m_c"] - q["air_temp_c"]


def spray_drop_life_s(q: Quantities) -> Array:
    return spray_air.drop_life_s(q["delta_t_k"], q.constants.get("spray_drop_um", 100.0))


def drift_to_edge(q: Quantities) -> Array:
    """1 where the air moves towards any named edge; 0 for all hours where no edge is named."""
    towards = np.zeros((1, q.weather.hours))
    for edge in q.ground.edges:
        towards = np.maximum(
            towards,
            spray_air.drift_towards(
                q["wind_dir_deg"], edge.bearing_deg, q["wind_spread_deg"], q["wind_10m_ms"]
            ),
        )
    return towards
