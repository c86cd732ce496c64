"""One clock of the seed: days of soil on record, then the forecast's; what warms later brings nothing to the past."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from planner.actions.one_pass import assess
from planner.actions.pass_input import Record
from planner.indices import INDEX
from planner.indices.grasses import GRASSES
from planner.indices.past import Day
from planner.indices.quantities import Quantities
from planner.indices.seed_clock import SeedClock, seed_clock
from planner.site import Sowing
from tests.indices.made import site, weather
from tests.made import config, forecast
from tests.made import weather as plain_weather

#: Midnight at the made place, in summer time.
START = datetime(2025, 4, 21, 22, tzinfo=UTC)
D, H = timedelta(days=1), timedelta(hours=1)
#: 10 days at 20 C, nothing at 4 C: at 12 C half as fast, at 8 C a quarter.
GRASS = GRASSES["fescue"]
SITE = site(soil="loam", slope_pct=15.0)


def quantities(soil: object = 12.0, record: dict[date, float] | None = None, days: int = 6) -> Quantities:
    hours = weather(24 * days, soil_temp_6cm_c=soil, start=START)
    return Quantities(hours, SITE, INDEX, now=START, surface=SITE.surfaces[0], past=kept(record or {}))


def kept(soil: dict[date, float]) -> dict[date, Day]:
    return {day: Day(air_c=9.0, soil_c=figure, rain_mm=0.0, hours=24) for day, figure in soil.items()}


def clock(sown: datetime, **given: object) -> SeedClock:
    return seed_clock(quantities(**given), Sowing(surface="green", at=sown, grass=GRASS))  # type: ignore[arg-type]


def way(found: SeedClock, at: datetime) -> float:
    return float(found.at(np.array([at.timestamp()]))[0])


def past(*figures: float) -> dict[date, float]:
    """Days that end with the last before the forecast, 21 April."""
    return {date(2025, 4, 21) - (len(figures) - 1 - n) * D: figure for n, figure in enumerate(figures)}


def test_days_at_a_steady_soil_add_up() -> None:
    found = clock(START + D)
    assert way(found, START + D) == way(found, START) == 0.0
    assert way(found, START + 3 * D) == pytest.approx(2 * 0.05)
    assert way(found, START + 3.5 * D) == pytest.approx(2.5 * 0.05)
    # Held after the last day that is known.
    assert way(found, START + 60 * D) == pytest.approx(5 * 0.05)
    assert found.guessed_until is None
    assert found.pace(5) == pytest.approx(0.05)


def test_the_past_is_that_of_the_days_on_record() -> None:
    # Eight days at 8 C bring a quarter of 8 / 10.
    record = past(*[8.0] * 8)
    found = clock(START - 8 * D, soil=20.0, record=record)
    assert way(found, START) == pytest.approx(0.2)
    assert way(found, START + 2 * D) == pytest.approx(0.2 + 0.2)
    assert found.guessed_until is None


def test_soil_that_warms_later_brings_nothing_to_the_past() -> None:
    record = past(*[8.0] * 8)
    cold, warm = (clock(START - 8 * D, soil=soil, record=record) for soil in (8.0, 20.0))
    assert way(warm, START) == way(cold, START)


def test_a_day_nobody_knows_takes_the_soil_of_its_neighbours() -> None:
    # 6 and 10 C with two days between them that nobody has on record: 7.3 and 8.7 C.
    record = past(6.0, np.nan, np.nan, 10.0)
    found = clock(START - 4 * D, soil=10.0, record=record)
    assert way(found, START) == pytest.approx((2 + 6 + (2 + 4 / 3) + (2 + 8 / 3)) / 160.0)
    assert found.guessed_until == START - D
    # Before the first day that is known the soil is taken to have been as warm as then.
    lone = clock(START - 10 * D, soil=12.0)
    assert way(lone, START) == pytest.approx(10 * 0.05)
    assert lone.guessed_until == START


def test_a_cut_day_of_the_forecast_gives_way_to_the_day_on_record() -> None:
    # The forecast begins at noon with 20 C; the record knows the whole day at 8 C.
    hours = weather(60, soil_temp_6cm_c=20.0, start=START + 12 * H)
    record = kept({date(2025, 4, 22): 8.0})
    made = Quantities(hours, SITE, INDEX, now=START, surface=SITE.surfaces[0], past=record)
    found = seed_clock(made, Sowing(surface="green", at=START, grass=GRASS))
    assert way(found, START + D) == pytest.approx(0.025)
    assert way(found, START + 2 * D) == pytest.approx(0.125)


def test_the_hour_of_emergence_is_found_in_the_past_too() -> None:
    found = clock(START - 12 * D, soil=20.0, record=past(*[20.0] * 12))
    assert found.reaches(1.0) == START - 2 * D
    assert clock(START - 8 * D, soil=8.0).reaches(1.0) is None


def test_seed_still_to_be_sown_is_not_on_its_way() -> None:
    found = clock(START + 20 * D)
    assert way(found, START + 6 * D) == 0.0
    assert found.reaches(0.5) is None


def test_soil_that_is_not_known_at_all_leaves_the_way_unknown() -> None:
    hours = weather(48, soil_temp_6cm_c=None, air_temp_c=np.nan, start=START)
    made = Quantities(hours, SITE, INDEX, now=START, surface=SITE.surfaces[0])
    found = seed_clock(made, Sowing(surface="green", at=START - 9 * D, grass=GRASS))
    assert np.isnan(way(found, START))


def test_page_needs_and_warnings_read_the_same_clock() -> None:
    # Sown 20 days ago into soil at 10 C; a warm week is forecast. Rooting begins at emergence, so until then all of
    # the seed lies open for the page, the needs and the warning alike.
    now = datetime(2026, 4, 20, 9, tzinfo=UTC)
    ground = config()
    strip = ground.site.surface("apron strip")
    sowing = Sowing(surface=strip.name, at=now - 20 * D, grass=GRASSES["perennial_ryegrass"])
    record = Record(
        past={now.date() - n * D: Day(air_c=10.0, soil_c=10.0, rain_mm=0.0, hours=24) for n in range(1, 22)}
    )
    made = config(sowings=(sowing,))

    def passed(soil: float):
        hours = plain_weather(now - D, 24 * 8, soil_temp_6cm_c=soil, rain_mm={60: 24.0, 61: 8.0})
        return assess(made, forecast(hours, now), now=now, record=record)

    cold, warm = passed(10.0), passed(22.0)
    ways = [found.consequences.by_surface[strip.name].seed[0].way for found in (cold, warm)]
    # 6 of the 16 K to its best, 7 days there: 20 days of 10 C are 1.07 of the way, whatever the week brings.
    assert ways[0] == pytest.approx(20 * 6 / 16 / 7, abs=0.03)
    assert ways[1] == pytest.approx(ways[0], abs=0.1)
    for found, found_way in zip((cold, warm), ways, strict=True):
        q = found.plan.conditions.surfaces[strip.name]
        hour = q.weather.index(now)
        assert q["seed_exposure"][0, hour] == pytest.approx(1.0 - (found_way - 1.0) / 2.0, abs=0.01)
    storms = [next(one for one in found.notices if one.kind == "wash") for found in (cold, warm)]
    assert storms[0].figures["seed_at_risk"] > storms[1].figures["seed_at_risk"] > 0.1
