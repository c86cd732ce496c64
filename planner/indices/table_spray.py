"""Rows of the air to spray in."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from planner.indices import spray_air
from planner.indices.quantities import Index, Quantities
from planner.indices.table import Rows
from planner.site import Edge, Surface
from planner.weather import Array

rows = Rows()


@rows.sky(
    unit="1-7",
    says="Stability of the air: 4 neutral, 7 very stable",
    bounds=(1, 7),
    needs=("wind_10m_ms", "cloud_pct", "sun_altitude_deg"),
    source="epa-2000",
    valid="open ground",
    check="tests/indices/test_spray_air.py::test_turner_table",
)
def stability_class(q: Quantities) -> Array:
    return spray_air.stability_class(
        q["wind_10m_ms"], q["cloud_pct"] / 100.0, q["sun_altitude_deg"], q["near_night"] > 0.5
    )


@rows.sky(
    unit="0/1",
    says="Air layered near the ground, so that fine drops drift far",
    needs=(
        "stability_class",
        "wind_10m_ms",
        "cloud_pct",
        "sun_altitude_deg",
        "air_temp_c",
        "surface_temp_c",
        "warmer_aloft_k",
    ),
    source="own-inversion",
    valid="open ground",
    check="tests/indices/test_spray_air.py::test_inversion_in_the_evening_and_not_at_noon",
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


@rows.sky(
    unit="degrees",
    says="Arc that holds the wind directions of three hours",
    bounds=(0, 240),
    needs=("wind_dir_deg",),
    source="own-direction-spread",
    valid="says little in a calm",
    check="tests/indices/test_spray_air.py::test_direction_spread_across_north",
)
def wind_spread_deg(q: Quantities) -> Array:
    return spray_air.direction_spread_deg(q["wind_dir_deg"])


@rows.sky(
    unit="K",
    says="Temperature at 80 m less that at 2 m; above 0 the air is layered",
    bounds=(-50, 50),
    needs=("air_temp_80m_c", "air_temp_c"),
    source="own-inversion",
    valid="where the forecast carries 80 m",
    check="tests/indices/test_drift.py::test_warmer_air_aloft_is_an_inversion",
)
def warmer_aloft_k(q: Quantities) -> Array:
    return q["air_temp_80m_c"] - q["air_temp_c"]


@rows.sky(
    unit="s",
    says="Time in which a drop of 0.1 mm dries up in the air",
    bounds=(0, 3600),
    needs=("delta_t_k",),
    source="amsden-1962",
    valid="plain water, Delta T up to 40 K",
    check="tests/indices/test_drift.py::test_drop_life_falls_with_delta_t_and_rises_with_the_square",
)
def spray_drop_life_s(q: Quantities) -> Array:
    return spray_air.drop_life_s(q["delta_t_k"], q.constants.get("spray_drop_um", 100.0))


@rows.surface(
    unit="0/1",
    says="Air moves from this surface towards a named edge",
    needs=("wind_dir_deg", "wind_spread_deg", "wind_10m_ms"),
    source="own-drift",
    valid="edges named with their bearing",
    check="tests/indices/test_drift.py::test_wind_from_the_west_moves_towards_the_east",
)
def drift_to_edge(q: Quantities) -> Array:
    """1 where the air moves towards any named edge; 0 for all hours where no edge is named."""
    towards = np.zeros((1, q.weather.hours))
    for edge in q.surface_here.edges:
        towards = np.maximum(towards, _toward(q, edge))
    return towards


def _toward(q: Quantities, edge: Edge) -> Array:
    return spray_air.drift_towards(
        q["wind_dir_deg"], edge.bearing_deg, q["wind_spread_deg"], q["wind_10m_ms"]
    )


def edge_rows(surface: Surface) -> dict[str, Index]:
    """A row for each named edge of a surface, beside the one for all of them."""
    of_all = next(row for row in rows.made if row.name == drift_to_edge.__name__)
    return {
        f"{of_all.name}:{edge.name}": replace(
            of_all, name=f"{of_all.name}:{edge.name}", compute=partial(_toward, edge=edge)
        )
        for edge in surface.edges
    }
