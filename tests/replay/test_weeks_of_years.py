"""A week planned every three or four days of three measured years, each held against what a plan promises.

What a plan has placed until the next is made counts as done then, so that gaps, growth and what is due go on from
week to week as they do for a keeper.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from planner.actions.one_pass import assess, reported
from planner.site import WorkDone
from tests.made import ROOT, forecast
from tests.planning.check_plan import Keeper, Rules, Work, faults
from tests.replay.past_years import SURFACES, YEARS

pytestmark = pytest.mark.replay

DAYS = 7
#: A keeper with other work in the middle of the day and none on Sunday.
HOURS = {day: [["07:00", "12:30"], ["16:00", "19:00"]] for day in ("mon", "tue", "wed", "thu", "fri")} | {
    "sat": ["08:00", "13:00"]
}
#: Days between two times of each job, by the surface it is wanted on.
EVERY_DAYS = {
    ("mow_green", "green"): 2,
    ("rolling", "green"): 3,
    ("foliar_feed", "green"): 12,
    ("top_dressing", "green"): 21,
    ("hollow_coring", "green"): 180,
    ("scarifying", "green"): 60,
    ("growth_regulator", "green"): 24,
    ("fungicide", "green"): 35,
    ("mow_collar", "collar"): 4,
    ("wetting_agent", "collar"): 30,
    ("root_fungicide", "collar"): 45,
    ("mow_collar", "apron"): 5,
    ("oversowing", "apron"): 200,
    ("granular_feed", "apron"): 60,
    ("mow_surrounds", "bank"): 7,
    ("systemic_herbicide", "bank"): 120,
    ("granular_feed", "bank"): 60,
    ("mow_tee", "tee"): 5,
    ("contact_herbicide", "tee"): 90,
    ("pre_emergent", "tee"): 180,
    ("mow_rough", "rough"): 14,
    ("full_seeding", "rough"): 250,
}
RULES = Rules(ROOT / "config" / "rules.toml", SURFACES)


def _local(moment: datetime) -> datetime:
    return moment.replace(tzinfo=None)


def keeper_of(year, hours, zone):
    """Play on the green every six weeks and a long week-end away every five, through the year."""
    first = hours.start.astimezone(zone).replace(hour=0)
    play = [("green", (first + timedelta(days=day)).replace(hour=14)) for day in range(40, 366, 42)]
    away = [
        (first + timedelta(days=day, hours=9), first + timedelta(days=day + 3)) for day in range(20, 366, 35)
    ]
    return Keeper(zone=zone, hours=HOURS, play=play, away=away)


@pytest.mark.parametrize("year", YEARS, ids=lambda year: year.name)
def test_every_plan_keeps_what_it_promises(year, tmp_path):
    hours = year.read()
    zone = year.config(tmp_path / "bare").site.zone
    keeper = keeper_of(year, hours, zone)
    config = year.config(
        tmp_path / "year",
        hours=HOURS,
        wanted=[{"job": job, "surface": on, "every_days": days} for (job, on), days in EVERY_DAYS.items()],
        play=[{"surface": on, "at": _local(at)} for on, at in keeper.play],
        away=[{"start": _local(start), "end": _local(end)} for start, end in keeper.away],
        tables={"growth.green": {"full_growth_mm_d": 1.2}},
    )
    kinds = {job.name: job.kind for job in config.jobs}
    done: list[WorkDone] = []
    lines: list[str] = []
    rows = plans = 0
    day, strides = 3.0, (3.0, 4.0)
    while (day + 9) * 24 < hours.hours:
        now = (hours.start + timedelta(days=day)).astimezone(zone).replace(hour=6, minute=0)
        week = forecast(hours.cut(now - timedelta(days=3), now + timedelta(days=9)), now)
        found = assess(replace(config, done=tuple(done)), week, now=now)
        report, _ = reported(found)
        before = [
            Work(one.job, one.surface, one.at, one.at) for one in done if now - one.at < timedelta(days=130)
        ]
        play = [Work("play", on, at, at) for on, at in keeper.play]
        lines += faults(
            report.week.work,
            report.windows,
            RULES,
            keeper,
            now=now,
            days=report.week.days,
            others=[*before, *play],
        )
        plans, rows = plans + 1, rows + len(report.week.work)
        stride = strides[plans % 2]
        done += [
            WorkDone(job=row.job, kind=kinds[row.job], surface=row.surface, at=row.end)
            for row in report.week.work
            if row.end <= now + timedelta(days=stride)
        ]
        day += stride
    told = "\n".join(lines[:25])
    assert lines == [], f"{year.name}: {len(lines)} faults in {rows} rows of {plans} plans\n{told}"
    assert plans > 90
    assert rows > 400
