"""Ground frost: the chance a pass tells, against measured grass minima of Irish hours and of daily means of De Bilt.

Nights that had a part in what is shipped are judged by a fit of the carried nights without their station or decade;
nights that had none, by what is shipped. The baselines are fitted on carried nights of other stations or decades, and
never on those that are judged.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from planner.indices.frost import frost_chance
from planner.indices.grass_min import DAILY, HOURLY, daily_ground_frost_chance
from planner.verification.base import BLOCK_DAYS, Row, bins_of, blocks_of, brier, loss_gain
from planner.verification.data import years_of
from planner.verification.evening import fit_radiation_frost
from planner.verification.grass_fit import Days, Nights, fitted_air_alone, fitted_daily, fitted_hourly
from planner.verification.measured_nights import carried_days, carried_nights, chance_of, days, nights
from planner.weather import Array, Mask, Whole

#: Stations that had a part in the shipped calibration; they are judged left out in turn.
FITTED_ON = (
    "ATHENRY",
    "CLAREMORRIS",
    "DUNSANY",
    "MACE HEAD",
    "MOORE PARK",
    "MULLINGAR",
    "VALENTIA OBSERVATORY",
)
#: Years of De Bilt that had a part in it; each decade is judged by the other.
FITTED_YEARS = (1980, 1999)
_QUANTITY = "ground frost"
#: Nights, or days, that a baseline is fitted on at the least.
_LEAST_FIT = 20
_AIR, _EVENING, _MONTH = "air minimum less a constant", "regression on the evening", "share of the month"


def rows(folder: Path) -> list[Row]:
    """Rows of the stations with hours, and of the record of daily means."""
    return [*_of_stations(folder), *_of_days(folder)]


def _of_stations(folder: Path) -> list[Row]:
    found = nights(folder)
    if found is None:
        return []
    had_part = np.isin(found.station, FITTED_ON)
    made: list[Row] = []
    for part, fitted in ((had_part, "left out in turn"), (~had_part, "none")):
        if part.any():
            made += _rows_of(found.cut(part), fitted)
    return made


def _rows_of(here: Nights, fitted: str) -> list[Row]:
    carried, of_days = carried_nights(), carried_days()
    learned = (here if carried is None else carried).known()
    chance, alone = here.chance.copy(), chance_of(here, HOURLY, with_balance=False)
    rivals = {name: np.full(here.day.size, np.nan) for name in (_AIR, _EVENING, _MONTH)}
    stations = np.unique(here.station)
    for station in stations:
        judged = here.station == station
        own, others = here.cut(judged), learned.cut(learned.station != station)
        if fitted != "none":
            if of_days is None or others.day.size < _LEAST_FIT:
                fitted = "these"
            else:
                air_alone = fitted_air_alone(others, of_days)
                chance[judged] = chance_of(own, fitted_hourly(others, of_days), air_alone)
                alone[judged] = chance_of(own, HOURLY, air_alone, with_balance=False)
        if others.day.size >= _LEAST_FIT:
            error = others.grass_min_c - others.air_min_c
            rivals[_AIR][judged] = frost_chance(own.air_min_c + error.mean(), error.std())
            rivals[_EVENING][judged] = _by_evening(others, own)
            rivals[_MONTH][judged] = _by_month(others, own)
    place = f"{stations.size} Irish stations" if stations.size > 1 else str(stations[0]).title()
    # A few nights of the years before and after belong to the turn of the year.
    place = f"{place}, {years_of(here.day)}, hours"
    week, happened = here.day // BLOCK_DAYS, here.grass_min_c < 0.0
    made: list[Row] = []
    for name, base in rivals.items():
        made += _row(place, chance, happened, (name, base), week, fitted, "nights")
    made += _row(f"{place}, cloud not known", alone, happened, (_AIR, rivals[_AIR]), week, fitted, "nights")
    return made


def _of_days(folder: Path) -> list[Row]:
    found = days(folder)
    if found is None:
        return []
    in_fit = (found.year >= FITTED_YEARS[0]) & (found.year <= FITTED_YEARS[1])
    made: list[Row] = []
    for part, fitted in ((in_fit, "left out in turn"), (~in_fit, "none")):
        if part.any():
            made += _rows_of_days(found.cut(part), found.cut(in_fit), fitted)
    return made


def _rows_of_days(here: Days, in_fit: Days, fitted: str) -> list[Row]:
    learned = carried_days() or in_fit
    chance, by_air, by_month = (np.full(here.day.size, np.nan) for _ in range(3))
    for decade in np.unique(here.year // 10):
        judged = here.year // 10 == decade
        own, others = here.cut(judged), learned.cut(learned.year // 10 != decade)
        enough = others.day.size >= _LEAST_FIT
        calibration = DAILY
        if fitted != "none":
            # The other decade where this one had a part in what is shipped.
            calibration = fitted_daily(others) if enough else DAILY
            fitted = fitted if enough else "these"
        inputs = (own.air_min_c, own.air_mean_c, own.wind_ms, own.cloud)
        chance[judged] = daily_ground_frost_chance(*inputs, calibration=calibration)
        if enough:
            error = others.grass_min_c - others.air_min_c
            by_air[judged] = frost_chance(own.air_min_c + error.mean(), error.std())
            by_month[judged] = _by_month(others, own)
    data, happened = f"De Bilt, {years_of(here.day)}, daily means", here.grass_min_c < 0.0
    made: list[Row] = []
    for name, base in ((_AIR, by_air), (_MONTH, by_month)):
        made += _row(data, chance, happened, (name, base), here.day // BLOCK_DAYS, fitted, "days", indices=())
    return made


def _row(
    data: str,
    chance: Array,
    happened: Mask,
    against: tuple[str, Array],
    block: Whole,
    fitted: str,
    of: str,
    indices: tuple[str, ...] = ("frost_chance_ground",),
) -> list[Row]:
    """A row, where there is a case of which both are known."""
    known = ~np.isnan(chance + against[1])
    if not known.any():
        return []
    loss, base = brier(chance, happened)[known], brier(against[1], happened)[known]
    gain, low, high = loss_gain(loss, base, blocks_of(block[known]))
    return [
        Row(
            quantity=_QUANTITY,
            indices=indices,
            data=data,
            measure="Brier",
            cases=int(known.sum()),
            of=of,
            score=float(loss.mean()),
            baseline=against[0],
            baseline_score=float(base.mean()),
            gain=gain,
            gain_low=low,
            gain_high=high,
            fitted=fitted,
            bins=bins_of(chance[known], happened[known]),
        )
    ]


def _by_evening(fit: Nights, judged: Nights) -> Array:
    regression = fit_radiation_frost(*fit.of_evening_c, fit.grass_min_c)
    spread = np.nanstd(fit.grass_min_c - regression.lowest_c(*fit.of_evening_c))
    return frost_chance(regression.lowest_c(*judged.of_evening_c), spread)


def _by_month(fit: Nights | Days, judged: Nights | Days) -> Array:
    happened = fit.grass_min_c < 0.0
    cases = np.bincount(fit.month, minlength=13)
    share = np.bincount(fit.month, weights=happened, minlength=13) / np.maximum(cases, 1)
    return np.asarray(np.where(cases > 0, share, happened.mean())[judged.month])
