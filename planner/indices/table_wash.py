"""Rows of the table of indices that tell of rain and seed."""

from __future__ import annotations

from planner.indices import rows_wash as rows
from planner.indices.frame import Index

WASH_ROWS: tuple[Index, ...] = (
    Index(
        name="wash_bare",
        unit="0-1",
        says="Index of the rain event washing fresh bare seed off this surface",
        low=0,
        high=1,
        scope="surface",
        needs=("rain_mm", "rain_event", "snow_melt_mm", "soil_frozen"),
        compute=rows.wash_bare,
        source="own-wash-index",
        valid="hourly rain; no probability",
        check="tests/indices/test_rain_wash.py::test_wash_index_worked_vectors",
    ),
    Index(
        name="seed_exposure",
        unit="0-1",
        says="Share of the sown seed that rain can still take",
        low=0,
        high=1,
        scope="surface",
        needs=("soil_temp_c",),
        compute=rows.seed_exposure,
        source="own-wash-index",
        valid="borrowed from soil loss",
        check="tests/indices/test_rain_wash.py::test_exposure_under_cover",
    ),
    Index(
        name="wash_risk",
        unit="0-1",
        says="Index of the rain event washing the seed that lies here",
        low=0,
        high=1,
        scope="surface",
        needs=("wash_bare", "seed_exposure"),
        compute=rows.wash_risk,
        source="own-wash-index",
        valid="hourly rain; no probability",
        check="tests/indices/test_rain_wash.py::test_wash_index_worked_vectors",
    ),
    Index(
        name="wash_low",
        unit="0-1",
        says="Low end of the wash index",
        low=0,
        high=1,
        scope="surface",
        needs=("rain_mm", "rain_event", "seed_exposure", "snow_melt_mm", "soil_frozen"),
        compute=rows.wash_low,
        source="own-wash-index",
        valid="hourly rain; no probability",
        check="tests/indices/test_rain_wash.py::test_band_holds_the_middle",
    ),
    Index(
        name="wash_high",
        unit="0-1",
        says="High end of the wash index",
        low=0,
        high=1,
        scope="surface",
        needs=("rain_mm", "rain_event", "seed_exposure", "snow_melt_mm", "soil_frozen"),
        compute=rows.wash_high,
        source="own-wash-index",
        valid="hourly rain; no probability",
        check="tests/indices/test_rain_wash.py::test_band_holds_the_middle",
    ),
)
