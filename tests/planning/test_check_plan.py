"""The checker of a week's plan finds each fault that it is there to find, and none in a good plan."""

from __future__ import annotations

from datetime import datetime, timedelta
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest

from tests.casebook.sites import surface
from tests.made import ROOT
from tests.planning.check_plan import Keeper, Rules, Work, faults

ZONE = ZoneInfo("Europe/London")
RULES = Rules(ROOT / "config" / "rules.toml", (surface("green"), surface("surround", "bank")))
NOW = datetime(2026, 5, 11, 6, tzinfo=ZONE)
KEEPER = Keeper(
    zone=ZONE,
    hours={
        "mon": ["07:00", "12:00"],
        "tue": [["07:00", "10:00"], ["17:00", "19:00"]],
        "thu": ["07:00", "12:00"],
    },
    away=[(datetime(2026, 5, 14, 10, tzinfo=ZONE), datetime(2026, 5, 14, 11, tzinfo=ZONE))],
    play=[("green", datetime(2026, 5, 17, 9, tzinfo=ZONE))],
)


def row(job, surface, day, hour, minute=0, *, minutes=None):
    start = datetime(2026, 5, day, hour, minute, tzinfo=ZONE)
    lasts = RULES.length(job) if minutes is None else timedelta(minutes=minutes)
    return Work(job, surface, start, start + lasts)


def checked(*plan, keeper=KEEPER, others=()):
    windows = [
        SimpleNamespace(
            job=job,
            surface=surface,
            start=datetime(2026, 5, 11, 7, tzinfo=ZONE),
            latest_start=datetime(2026, 5, 16, 18, tzinfo=ZONE),
        )
        for job, surface in {(one.job, one.surface) for one in plan}
        if (job, surface) != ("wetting_agent", "green")
    ]
    return faults(plan, windows, RULES, keeper, now=NOW, days=7, others=others)


def test_a_good_plan_has_no_fault():
    plan = (
        row("mow_green", "green", 11, 8),
        row("rolling", "green", 11, 9),
        row("mow_surrounds", "bank", 11, 10),
    )
    assert checked(*plan) == []


@pytest.mark.parametrize(
    ("plan", "says"),
    [
        ([row("wetting_agent", "green", 11, 8)], "none of its windows"),
        ([row("mow_green", "green", 18, 8)], "outside the days"),
        ([row("mow_green", "green", 11, 8, minutes=20)], "does not take the time"),
        ([row("mow_green", "green", 11, 11, 30)], "keeper's hours"),
        ([row("mow_green", "green", 12, 9, 30)], "keeper's hours"),
        ([row("mow_green", "green", 13, 9)], "keeper's hours"),
        ([row("mow_green", "green", 14, 9, 30)], "time away"),
        ([row("hollow_coring", "green", 11, 8)], "still shows"),
        ([row("top_dressing", "green", 14, 8)], "still shows"),
        ([row("mow_green", "green", 11, 8), row("mow_surrounds", "bank", 11, 8, 30)], "at once"),
        ([row("mow_green", "green", 11, 8), row("foliar_feed", "green", 11, 8, 50)], "foliar_feed.since_cut"),
        ([row("foliar_feed", "green", 11, 8), row("rolling", "green", 11, 10)], "spray_roll"),
        ([row("foliar_feed", "green", 11, 8), row("mow_green", "green", 11, 10)], "since_spray|until_cut"),
        ([row("rolling", "green", 11, 8), row("mow_green", "green", 11, 9)], "before the cut"),
    ],
)
def test_each_fault_is_found(plan, says):
    found = "; ".join(checked(*plan))
    assert any(part in found for part in says.split("|")), found


def test_work_done_before_and_fixed_work_count():
    done = Work("mow_green", "green", NOW - timedelta(hours=5), NOW - timedelta(hours=5))
    assert "cut_cut" in "; ".join(checked(row("mow_green", "green", 11, 9), others=[done]))
    fixed = row("mow_surrounds", "bank", 11, 9)
    assert "at once" in "; ".join(checked(row("mow_green", "green", 11, 9, 30), others=[fixed]))


def test_one_tank_is_one_piece_of_work():
    plan = (row("foliar_feed", "green", 11, 8), row("growth_regulator", "green", 11, 8))
    assert checked(*plan)
    mixes = frozenset({frozenset({"foliar_feed", "growth_regulator"})})
    assert checked(*plan, keeper=Keeper(zone=ZONE, hours=KEEPER.hours, mixes=mixes)) == []
