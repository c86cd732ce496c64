"""Leaf wet or dry, hour by hour, on a wetness sensor among a crop, through the rows that a pass computes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from planner.indices import INDEX
from planner.indices.quantities import Quantities
from planner.indices.surface_temp import KELVIN, STEFAN_BOLTZMANN, longwave_down_wm2
from planner.site import Site
from planner.verification.base import BLOCK_DAYS, Row, blocks_of, kappa, kappa_gain
from planner.verification.data import (
    BONDVILLE_HOURS,
    column,
    grid_of,
    hours_since_1970,
    laid,
    merged,
    month_of,
    years_of,
)
from planner.weather import Array, HourlyWeather, Mask, Whole

#: Voltage of the sensor from which it is wet.
WET_V = 0.07
#: Thresholds of humidity that are tried, and the rain that makes wet beside it.
THRESHOLDS_PCT = tuple(range(80, 100))
RAIN_MM = 0.1
#: Where the record was made.
LATITUDE_DEG, LONGITUDE_DEG, ELEVATION_M, ZONE_H = 40.01, -88.37, 219.0, -6
#: Months that the constants of the leaf were looked at on: year and month.
LOOKED_AT = frozenset((1998, month) for month in range(5, 10))
#: Columns of a record that are read.
_READ = (
    "air_temp_c",
    "rel_humidity_pct",
    "wind_10m_ms",
    "shortwave_wm2",
    "rain_mm",
    "leaf_wetness_v",
    "pressure_hpa",
    "longwave_down_wm2",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """Hours with a sensor: what was told and measured, shape (hours,)."""

    hour: Whole
    wet: Mask
    told: Mask
    humidity_pct: Array
    rain_mm: Array

    @property
    def local_noon(self) -> Whole:
        """Number of the noon-to-noon span of each hour."""
        return (self.hour + ZONE_H - 12) // 24

    @property
    def month(self) -> Whole:
        """Months since 1970, local, of each hour."""
        return month_of((self.hour + ZONE_H) // 24)

    def cut(self, keep: Mask) -> Record:
        """These of the hours."""
        return Record(**{name: getattr(self, name)[keep] for name in self.__slots__})


def rows(folder: Path) -> list[Row]:
    """The leaf as a pass computes it, with and without cloud, against the humidity threshold that does best."""
    table = merged(folder, BONDVILLE_HOURS)
    if not len(table):
        return []
    found = []
    looked_at = [12 * (year - 1970) + month - 1 for year, month in LOOKED_AT]
    for with_sky in (True, False):
        record = record_of(table, with_sky=with_sky)
        seen = np.isin(record.month, looked_at)
        for part, fitted in ((seen, "these"), (~seen, "none")):
            if part.any():
                found.append(_row(record.cut(part), with_sky, fitted))
    return found


def _row(record: Record, with_sky: bool, fitted: str) -> Row:
    rival, threshold = _best_threshold(record)
    gain, low, high = kappa_gain(record.told, rival, record.wet, blocks_of(record.local_noon // BLOCK_DAYS))
    how = (
        "Cloud is taken from the longwave measured in the same hour, better than a forecast has it."
        if with_sky
        else "Longwave withheld, so that no cloud is known: then the shipped humidity rule tells dew."
    )
    return Row(
        quantity="leaf wetness",
        indices=("leaf_wet",),
        data=f"wetness sensor among a crop, Illinois, {years_of(record.hour // 24)}"
        + ("" if with_sky else ", cloud not known"),
        measure="kappa",
        cases=int(record.wet.size),
        of="hours",
        score=kappa(record.told, record.wet),
        baseline=f"humidity from a threshold fitted on {threshold}, or rain",
        baseline_score=kappa(rival, record.wet),
        gain=gain,
        gain_low=low,
        gain_high=high,
        fitted=fitted,
        says=f"{how} {_off_words(record)}".strip(),
    )


def record_of(table: pd.DataFrame, *, with_sky: bool = True) -> Record:
    """The hours of a table whose sensor and whose weather are known, and the leaf told for them.

    Without sky the measured longwave is withheld, and with it the cloud.
    """
    stamps = hours_since_1970(table, "time")
    hour = grid_of(stamps)
    row = {name: laid(stamps, column(table, name), hour) for name in _READ}
    air, humidity = row["air_temp_c"], np.minimum(row["rel_humidity_pct"], 100.0)
    longwave = row["longwave_down_wm2"] if with_sky else np.full(hour.size, np.nan)
    cloud = cloud_of_longwave(air, humidity, longwave)
    weather = HourlyWeather.from_columns(
        epoch_s=3600 * hour,
        columns={
            "air_temp_c": air,
            "rel_humidity_pct": humidity,
            "wind_10m_ms": row["wind_10m_ms"],
            "rain_mm": row["rain_mm"],
            "shortwave_wm2": np.maximum(row["shortwave_wm2"], 0.0),
            "cloud_pct": 100.0 * cloud,
            "pressure_hpa": _at_sea_level(row["pressure_hpa"], air),
        },
    )
    place = Site(
        name="sensor",
        latitude_deg=LATITUDE_DEG,
        longitude_deg=LONGITUDE_DEG,
        elevation_m=ELEVATION_M,
        timezone="Etc/GMT+6",
        surfaces=(),
    )
    leaf = Quantities(
        weather, place, INDEX, now=datetime.fromtimestamp(0, UTC) + timedelta(hours=int(hour[0]))
    )
    told, sensor = leaf["leaf_wet"][0], row["leaf_wetness_v"]
    known = ~np.isnan(told + sensor + humidity + row["rain_mm"])
    return Record(
        hour=hour[known],
        wet=sensor[known] > WET_V,
        told=told[known] == 1.0,
        humidity_pct=row["rel_humidity_pct"][known],
        rain_mm=row["rain_mm"][known],
    )


def cloud_of_longwave(air_c: Array, humidity_pct: Array, longwave_wm2: Array) -> Array:
    """Cloud, as a share of the sky, that makes the sky's measured longwave out of the clear sky's: it stands for the
    cloud of a forecast."""
    black = STEFAN_BOLTZMANN * (air_c + KELVIN) ** 4
    clear = longwave_down_wm2(air_c, humidity_pct, 0.0)
    return np.clip((longwave_wm2 - clear) / (0.84 * (black - clear)), 0.0, 1.0)


def _at_sea_level(pressure_hpa: Array, air_c: Array) -> Array:
    return pressure_hpa * np.exp(9.81 * ELEVATION_M / (287.05 * (air_c + KELVIN)))


def _best_threshold(record: Record) -> tuple[Mask, str]:
    """Each month told by the threshold that does best on the others; on a single month by the best of it."""
    tries = np.stack([(record.humidity_pct >= pct) | (record.rain_mm >= RAIN_MM) for pct in THRESHOLDS_PCT])
    told = np.zeros(record.wet.shape, dtype=bool)
    chosen = set()
    months = np.unique(record.month)
    for month in months:
        here = record.month == month
        others = ~here if months.size > 1 else here
        scores = [kappa(one[others], record.wet[others]) for one in tries]
        # Where the others are all wet, or all dry, no threshold is better than another.
        best = int(np.argmax(np.nan_to_num(scores, nan=-1.0)))
        told[here] = tries[best, here]
        chosen.add(THRESHOLDS_PCT[best])
    low, high = min(chosen), max(chosen)
    found = f"{low} %" if low == high else f"{low} to {high} %"
    return told, f"{'the other months' if months.size > 1 else 'these hours'} ({found})"


def onset_and_dry_off_h(record: Record, told: Mask) -> tuple[int, Array, Array]:
    """Nights without rain that are wet by both, and how many hours too late each was told wet, and dry again."""
    onset, dry_off = [], []
    for night in np.unique(record.local_noon):
        here = np.flatnonzero(record.local_noon == night)
        if here.size < 24 or record.rain_mm[here].sum() > 0.0:
            continue
        seen, said = np.flatnonzero(record.wet[here]), np.flatnonzero(told[here])
        if seen.size and said.size:
            onset.append(float(said[0] - seen[0]))
            dry_off.append(float(said[-1] - seen[-1]))
    return len(onset), np.array(onset), np.array(dry_off)


def _off_words(record: Record) -> str:
    nights, onset, dry_off = onset_and_dry_off_h(record, record.told)
    if not nights:
        return ""
    return (
        f"{nights} nights without rain: dew told {np.mean(onset):+.1f} h late (off by {np.mean(np.abs(onset)):.1f} h), "
        f"dry again {np.mean(dry_off):+.1f} h late (off by {np.mean(np.abs(dry_off)):.1f} h)."
    )
