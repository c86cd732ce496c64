"""Tables of measured data, found in a folder by the beginning of their names."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

from planner.errors import InputError
from planner.weather import Array, Whole


def tables(folder: Path, pattern: str, columns: tuple[str, ...]) -> Iterator[tuple[Path, pd.DataFrame]]:
    """The tables of the folder, and of the folders in it, whose name fits, each with at least these columns.

    CSV, gzip where the name ends in .gz. InputError where a table lacks a column or cannot be read.
    """
    for path in sorted(folder.rglob(pattern)):
        if not path.name.endswith((".csv", ".csv.gz")):
            continue
        try:
            table = pd.read_csv(path, dtype={"wban": str, "station": str})
        except (OSError, ValueError, EOFError) as error:
            raise InputError(f"{path.name} cannot be read as a table: {error}") from error
        lacking = [column for column in columns if column not in table]
        if lacking:
            raise InputError(f"{path.name} has no column {', '.join(lacking)}.")
        yield path, table


def column(table: pd.DataFrame, name: str) -> Array:
    """A column as floats, shape (rows,); all NaN where the table does not have it."""
    if name not in table:
        return np.full(len(table), np.nan)
    return np.asarray(pd.to_numeric(table[name], errors="coerce"), dtype=np.float64)


def days_since_1970(table: pd.DataFrame, name: str) -> Whole:
    """Whole days of a column of dates, shape (rows,)."""
    dates = pd.to_datetime(table[name].astype(str))
    return np.asarray(dates.to_numpy().astype("datetime64[D]").astype(np.int64))


def hours_since_1970(table: pd.DataFrame, name: str) -> Whole:
    """Whole hours, UTC, of a column of moments, shape (rows,)."""
    moments = pd.to_datetime(table[name], utc=True)
    return np.asarray(moments.dt.tz_localize(None).to_numpy().astype("datetime64[h]").astype(np.int64))
