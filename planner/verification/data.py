"""Tables of measured data, found in a folder by the beginning of their names, whatever their case."""

from __future__ import annotations

from collections.abc import Iterator
from fnmatch import fnmatch
from pathlib import Path
from typing import NamedTuple
from warnings import warn

import numpy as np
import pandas as pd

from planner.errors import InputError
from planner.weather import Array, Whole

#: The measured data that the project carries: what is shipped was fitted on them.
CARRIED = Path(__file__).parents[2] / "fixtures"


class NotRead(UserWarning):
    """A table, or a figure of it, that is left out, and why."""


class Kind(NamedTuple):
    """A kind of table: what its name looks like in small letters, and its columns."""

    pattern: str
    needed: tuple[str, ...]
    optional: tuple[str, ...]
    """Without one of these less is told, or a usual value is taken."""


IRISH_HOURS = Kind(
    "ireland*hourly*",
    ("time", "station", "air_temp_c"),
    (
        "rel_humidity_pct",
        "wind_10m_ms",
        "wind_dir_deg",
        "pressure_station_hpa",
        "rain_hour_before_mm",
        "cloud_inferred_pct",
    ),
)
IRISH_DAYS = Kind("ireland*daily*", ("date", "station"), ("grass_min_09utc_to_09utc_c", "soil_10cm_mean_c"))
IRISH_PLACES = Kind("ireland*stations*", ("station", "latitude_deg", "longitude_deg"), ())
DE_BILT_DAYS = Kind(
    "debilt*daily*",
    ("date", "air_temp_min_c", "air_temp_mean_c", "grass_min_10cm_c", "wind_mean_ms", "cloud_okta"),
    ("rel_humidity_mean_pct", "pressure_msl_hpa"),
)
US_DAYS = Kind(
    "uscrn*daily*",
    ("wban", "date_local_standard", "latitude_deg", "air_mean_c"),
    (
        "air_max_c",
        "air_min_c",
        "rain_mm",
        "radiation_mj_m2",
        "rel_humidity_mean_pct",
        "soil_temp_10cm_c",
        "soil_moisture_5cm_m3m3",
        "soil_moisture_10cm_m3m3",
        "soil_moisture_20cm_m3m3",
    ),
)
_SURFACE_NEEDED = ("air_temp_c", "rel_humidity_pct", "wind_10m_ms", "shortwave_wm2")
_SKY = ("pressure_hpa", "longwave_down_wm2", "cloud_fraction", "cloud_pct")
PAYERNE_HOURS = Kind("payerne*hourly*", ("time_utc", *_SURFACE_NEEDED), ("grass_surface_temp_c", *_SKY))
BONDVILLE_HOURS = Kind(
    "bondville*hourly*",
    ("time", *_SURFACE_NEEDED),
    ("rain_mm", "leaf_wetness_v", "surface_temp_ir_c", *_SKY),
)
MEADOW_HOURS = Kind("meadow*hourly*", ("time", *_SURFACE_NEEDED), ("surface_temp_c", *_SKY))
#: Every kind that is read.
KINDS = (
    IRISH_HOURS,
    IRISH_DAYS,
    IRISH_PLACES,
    DE_BILT_DAYS,
    US_DAYS,
    PAYERNE_HOURS,
    BONDVILLE_HOURS,
    MEADOW_HOURS,
)
#: Other names of columns, as tables have them -> ours.
_OTHER_NAMES = {
    "time_utc": "time",
    "grass_surface_temp_c": "surface_temp_c",
    "surface_temp_ir_c": "surface_temp_c",
}


def tables(folder: Path, kind: Kind) -> Iterator[tuple[Path, pd.DataFrame]]:
    """The tables of the folder, and of the folders in it, that are of this kind.

    CSV, gzip where the name ends in .gz. A table that lacks a needed column, or cannot be read, is left out with a
    warning `NotRead`. Names of stations are in capitals.
    """
    for path in sorted(folder.rglob("*")):
        name = path.name.lower()
        if not (fnmatch(name, kind.pattern) and name.endswith((".csv", ".csv.gz"))):
            continue
        try:
            table = pd.read_csv(
                path,
                dtype={"wban": str, "station": str},
                compression="gzip" if name.endswith(".gz") else None,
            )
        except (OSError, ValueError, EOFError) as error:
            warn(NotRead(f"{path.name} cannot be read as a table: {error}"), stacklevel=2)
            continue
        table = table.rename(
            columns={key: own for key, own in _OTHER_NAMES.items() if key in table and own not in table}
        )
        lacking = [one for one in kind.needed if _OTHER_NAMES.get(one, one) not in table]
        if lacking:
            warn(NotRead(f"{path.name} has no column {', '.join(lacking)}."), stacklevel=2)
        elif len(table):
            if "station" in table:
                table["station"] = table["station"].str.strip().str.upper()
            yield path, table


def merged(folder: Path, kind: Kind) -> pd.DataFrame:
    """All tables of the kind as one; without a row, and with the needed columns alone, where there is none."""
    found = [table for _, table in tables(folder, kind)]
    return pd.concat(found, ignore_index=True) if found else pd.DataFrame(columns=list(kind.needed))


def column(table: pd.DataFrame, name: str) -> Array:
    """A column as floats, shape (rows,); all NaN where the table does not have it."""
    if name not in table:
        return np.full(len(table), np.nan)
    return np.asarray(pd.to_numeric(table[name], errors="coerce"), dtype=np.float64)


def days_since_1970(table: pd.DataFrame, name: str) -> Whole:
    """Whole days of a column of dates, shape (rows,)."""
    try:
        dates = pd.to_datetime(table[name].astype(str))
    except ValueError as error:
        raise InputError(f"The column {name} is not one of dates: {error}") from error
    return np.asarray(dates.to_numpy().astype("datetime64[D]").astype(np.int64))


def hours_since_1970(table: pd.DataFrame, name: str) -> Whole:
    """Whole hours, UTC, of a column of moments, shape (rows,)."""
    try:
        moments = pd.to_datetime(table[name], utc=True)
    except ValueError as error:
        raise InputError(f"The column {name} is not one of moments: {error}") from error
    return np.asarray(moments.dt.tz_localize(None).to_numpy().astype("datetime64[h]").astype(np.int64))


def laid(stamps: Whole, values: Array, grid: Whole) -> Array:
    """Values on consecutive numbers of days or hours; NaN where none is known, the last where there are several."""
    out = np.full(grid.size, np.nan)
    here = (stamps >= grid[0]) & (stamps <= grid[-1]) & ~np.isnan(values)
    out[stamps[here] - grid[0]] = values[here]
    return out


def grid_of(stamps: Whole) -> Whole:
    """Consecutive numbers from the first to the last."""
    return np.arange(stamps.min(), stamps.max() + 1)


def years_of(days: Whole) -> str:
    """First and last year of days since 1970, in words."""
    years = np.asarray([days.min(), days.max()]).astype("datetime64[D]").astype("datetime64[Y]").astype(str)
    return str(years[0]) if years[0] == years[1] else f"{years[0]} to {years[1]}"


def month_of(days: Whole) -> Whole:
    """Months since 1970 of days since 1970."""
    return np.asarray(days.astype("datetime64[D]").astype("datetime64[M]").astype(np.int64))


def tables_known() -> str:
    """Every kind of table that is read with its needed columns, a line each."""
    return "\n".join(f"  {kind.pattern}.csv[.gz]: {', '.join(kind.needed)}" for kind in KINDS)
