"""How many hours of a measured season the wash of seed takes from sowing, and which rain it is."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from planner.config.load import load
from planner.planning.conditions import compute_figures, conditions_of, tasks_of
from tests.casebook.sites import surface, write_site
from tests.replay.past_years import YEARS

FRANKFURT = YEARS[0]


@pytest.mark.parametrize("grass", ["fescue", "smooth_stalked_meadow_grass", "perennial_ryegrass"])
def test_wash_takes_few_hours_of_a_season_from_a_steep_bank(tmp_path, grass):
    # Full seeding, barred for the week before each storm that may take half of the seed off 15 % of loam.
    bank = surface("surround", "bank", slope_pct=15, soil="loam", grass=grass)
    config = load(write_site(tmp_path, [bank], place=FRANKFURT.place))
    hours = FRANKFURT.read()
    conditions = conditions_of(hours, config.site, now=hours.start, constants=config.constants)
    job = next(job for job in config.jobs if job.name == "full_seeding")
    (task,) = tasks_of(conditions, job)
    compute_figures([task])
    judged = task.judged()
    need = next(number for number, need in enumerate(judged.needs) if need.id == "wash")
    season = slice(
        hours.index(datetime(2024, 4, 1, tzinfo=UTC)), hours.index(datetime(2024, 11, 1, tzinfo=UTC))
    )
    barred = float((np.nan_to_num(judged.margin[need, season]) < 0.0).mean())
    assert 0.02 < barred <= 0.15
    # Its worst hour is its hardest, 17 mm on dry ground.
    bare = conditions.surfaces["bank"]["wash_bare"][0]
    hardest = season.start + int(np.nanargmax(bare[season]))
    assert conditions.sky["rain_mm"][0, hardest] == np.nanmax(conditions.sky["rain_mm"][0, season])
