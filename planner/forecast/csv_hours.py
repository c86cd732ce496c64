"""Reading a CSV of hours: a `time` column with offset or Z, the rest named as the weather columns."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from datetime import datetime
from difflib import get_close_matches

import numpy as np

from planner.errors import ForecastMalformed
from planner.forecast.hourly import FIRST_LABEL_S, LAST_LABEL_S
from planner.weather import HOUR_S, VARIABLE, Array, HourlyWeather

#: Hours of the native step the row was made from; may be left out.
STEP = "step_h"


def read_hours(text: str, *, name: str) -> HourlyWeather:
    """The hours in the text of the file called `name`. Empty cells are unknown; rows may stand in any order.

    Raises ForecastMalformed naming the line for a column, a time or a number that cannot be read.
    """
    reader = csv.reader(io.StringIO(text, newline=""))
    try:
        header = [cell.strip() for cell in next(reader, [])]
        _check_header(header, name)
        rows: list[tuple[int, list[str]]] = []
        for row in reader:
            if not row:
                continue
            if len(row) != len(header):
                raise ForecastMalformed(
                    f"{name}, line {reader.line_num}: {len(row)} cells, and the first line names "
                    f"{len(header)} columns. "
                    "Decimals are written with a point, unknown values as an empty cell."
                )
            rows.append((reader.line_num, row))
    except csv.Error as fault:
        raise ForecastMalformed(f"{name}, line {reader.line_num}: not readable as CSV ({fault}).") from None
    if not rows:
        raise ForecastMalformed(f"{name} names its columns and has no hour below them.")
    place = {column: index for index, column in enumerate(header)}
    labels = _labels(rows, place["time"], name)
    columns = {
        column: _cells(rows, index, column, name) for column, index in place.items() if column != "time"
    }
    step_h = columns.pop(STEP, None)
    if step_h is not None:
        step_h = np.where(np.isnan(step_h), 1.0, step_h)
    return HourlyWeather.from_columns(epoch_s=labels, columns=columns, step_h=step_h)


def _check_header(header: Sequence[str], name: str) -> None:
    if len(header) < 2 and any(";" in cell or "\t" in cell for cell in header):
        raise ForecastMalformed(
            f"{name}, line 1: the columns are parted by semicolons or tabs. Part them by commas."
        )
    if "time" not in header:
        found = ", ".join(header) or "none"
        raise ForecastMalformed(f'{name}, line 1: there is no column "time". Columns found: {found}.')
    known = ["time", STEP, *VARIABLE]
    for column in header:
        if column not in known:
            near = get_close_matches(column, known, n=1, cutoff=0.5)
            hint = f' Did you mean "{near[0]}"?' if near else ""
            raise ForecastMalformed(
                f'{name}, line 1: "{column}" is not a column of an hour of weather.{hint} Known: '
                f"{', '.join(known)}."
            )
        if header.count(column) > 1:
            raise ForecastMalformed(f'{name}, line 1: the column "{column}" is named twice.')


def _labels(rows: Sequence[tuple[int, list[str]]], index: int, name: str) -> list[int]:
    labels: list[int] = []
    seen: dict[int, int] = {}
    for line, row in rows:
        label = _label(row[index].strip(), f"{name}, line {line}")
        if label in seen:
            raise ForecastMalformed(
                f'{name}, line {line}: the hour "{row[index]}" was given in line {seen[label]} already.'
            )
        seen[label] = line
        labels.append(label)
    return labels


def _label(text: str, where: str) -> int:
    if not text:
        raise ForecastMalformed(
            f"{where}: the time is empty. Write the start of the hour, as in 2026-04-01T06:00Z."
        )
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise ForecastMalformed(
            f'{where}: "{text}" is not a time. Write it as in 2026-04-01T06:00Z.'
        ) from None
    if moment.tzinfo is None:
        raise ForecastMalformed(f'{where}: "{text}" has no zone. Write an offset or Z behind it.')
    label = moment.timestamp()
    if not FIRST_LABEL_S <= label <= LAST_LABEL_S:
        raise ForecastMalformed(f'{where}: "{text}" is not between 1850 and 2200.')
    if label % HOUR_S:
        raise ForecastMalformed(
            f'{where}: "{text}" is not on a full hour UTC. A row holds one hour, named by its start.'
        )
    return int(label)


def _cells(rows: Sequence[tuple[int, list[str]]], index: int, column: str, name: str) -> Array:
    try:
        # The whole column at once is fast; only a column with a fault is gone through again.
        return np.asarray([float(row[index] or "nan") for _, row in rows], dtype=np.float64)
    except ValueError:
        return np.asarray(
            [_number(row[index], column, f"{name}, line {line}") for line, row in rows], dtype=np.float64
        )


def _number(cell: str, column: str, where: str) -> float:
    if not cell.strip():
        return math.nan
    try:
        return float(cell)
    except ValueError:
        raise ForecastMalformed(
            f'{where}: "{cell}" in the column "{column}" is not a number. '
            "Write a decimal point, no unit, and an empty cell for unknown."
        ) from None
