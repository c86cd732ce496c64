"""The thirty decisions of expected.md, each on a weather told in a line. Trade facts: common practice, no source,
unless the row of the rules file that decides names one."""

from __future__ import annotations

import json
from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from planner.actions.one_pass import assess, reported
from planner.indices.grasses import GRASSES
from planner.margin import STATES
from planner.reports import answers
from planner.reports.answers import encode
from planner.reports.now import now as flat_now
from planner.site import Sowing, WorkDone
from tests.made import config, forecast, weather

LONDON = ZoneInfo("Europe/London")
DAY = 24
#: Answers by name, as they are read.
ANSWERS = {
    "windows": answers.windows,
    "days": answers.days,
    "warnings": answers.warnings,
    "week": answers.week,
    "now": flat_now,
}


class Day:
    """A pass on made weather, asked by local hours."""

    def __init__(self, start: datetime, hours: int, *, now: datetime, changes=None, fetched=None, **columns):
        self.start = start
        made = config(**(changes or {}))
        self.weather = weather(start.astimezone(UTC), hours, **columns)
        self.found = assess(made, forecast(self.weather, fetched or now), now=now)

    def judged(self, job, surface):
        return next(
            j for j in self.found.plan.judged if (j.job.name, j.surface.name) == (job, surface)
        ).suitability

    def state(self, job, surface, moment):
        return STATES[self.judged(job, surface).state[self.weather.index(moment)]]

    def limits(self, job, surface, moment):
        found = self.judged(job, surface)
        return found.needs[int(found.limiting[self.weather.index(moment)])].id

    def windows(self, job, surface):
        return next(
            j for j in self.found.plan.judged if (j.job.name, j.surface.name) == (job, surface)
        ).windows

    def answer(self, name):
        return json.loads(encode(ANSWERS[name](reported(self.found)[0])))


def local(day, hour, minute=0, month=5):
    return datetime(2026, month, day, hour, minute, tzinfo=LONDON)


def work(job, kind, surface, at):
    return WorkDone(job=job, kind=kind, surface=surface, at=at)


#: Thursday 7 May 2026, seen from 06:00; three days of past weather stand before it.
FIRST, NOW = local(4, 0), local(7, 6)


def hour(moment):
    """Index of a moment in weather that begins at FIRST."""
    return int((moment - FIRST) / timedelta(hours=1))


def plain(*, hours=DAY * 11, changes=None, **columns):
    return Day(FIRST, hours, now=NOW, changes=changes, **columns)


def at(moment, value, length=1):
    return {hour(moment) + step: value for step in range(length)}


def curve(values, hours=DAY * 11, base=None):
    """Local hour of the 7th -> value, over a base."""
    column = np.full(hours, base, dtype=float)
    for moment, value in values.items():
        column[hour(moment)] = value
    return column


def test_s2_storm_on_young_seed():
    sown = Sowing(surface="apron strip", at=local(3, 8), grass=GRASSES["smooth_stalked_meadow_grass"])
    rain = {hour(local(7, 22)): 10.0, hour(local(7, 23)): 8.0}
    found = Day(FIRST, DAY * 11, now=local(7, 8), changes={"sowings": (sown,)}, rain_mm=rain, wind_10m_ms=2.0)
    wash = [n for n in found.found.notices if n.kind == "wash"]
    assert [n.surface for n in wash] == ["apron strip"]
    assert (wash[0].begins - local(7, 8)) / timedelta(hours=1) == pytest.approx(14)
    # Two hours of burst or half-hour rain run off dry loam, an even one sinks in: about half the ways.
    assert wash[0].strength == pytest.approx(0.48, abs=0.08)
    assert "net" in wash[0].advice[0].lower()
    assert found.state("oversowing", "east bank", local(7, 9)) in ("broken", "barred")
    assert found.state("granular_feed", "green", local(7, 9)) == "broken"
    for clock in (9, 10, 11):
        assert found.state("foliar_feed", "green", local(7, clock)) == "narrow"
        assert found.limits("foliar_feed", "green", local(7, clock)) == "hard_rain_after"


def test_s5_ground_frost_without_air_frost():
    # The night of the 7th: screen falls to 1.2 C near 05:00; clear and calm; dry air.
    temp = np.full(DAY * 11, 9.0)
    night = {
        20: 5.0,
        21: 4.2,
        22: 3.5,
        23: 2.9,
        24: 2.4,
        25: 2.0,
        26: 1.7,
        27: 1.5,
        28: 1.3,
        29: 1.2,
        30: 1.8,
        31: 4.0,
    }
    for clock, value in night.items():
        temp[hour(local(7, 0)) + clock] = value
    dark = slice(hour(local(7, 19)), hour(local(8, 8)))
    cloud, wind = np.full(DAY * 11, 50.0), np.full(DAY * 11, 2.5)
    cloud[dark], wind[dark] = 0.0, 0.8
    found = Day(
        FIRST,
        DAY * 11,
        now=local(7, 18),
        air_temp_c=temp,
        dew_point_c=np.minimum(-1.5, temp - 0.3),
        rel_humidity_pct=np.nan,
        cloud_pct=cloud,
        wind_10m_ms=wind,
        soil_temp_6cm_c=5.0,
    )
    frost = next(n for n in found.found.notices if n.kind == "frost")
    assert "Ground frost likely tonight" in frost.says
    assert "Air frost unlikely" in frost.says
    assert "Off the frost from" in frost.says
    assert found.state("mow_green", "green", local(8, 6)) == "barred"
    assert found.judged("mow_green", "green").needs
    frozen = found.weather.index(local(8, 5))
    judged = found.judged("mow_green", "green")
    row = next(n for n, need in enumerate(judged.needs) if need.id == "keep_off")
    assert judged.margin[row, frozen] < 0


def test_s8_hot_dry_afternoon_then_inversion():
    # 20 April 2026 at the demo's latitude: sunset about 20:13. Wind told in km/h at 2 m.
    first = local(17, 0, month=4)

    def index(clock):
        return int((local(20, clock, month=4) - first) / timedelta(hours=1))

    temp, humidity, wind = np.full(DAY * 6, 16.0), np.full(DAY * 6, 60.0), np.full(DAY * 6, 8.0)
    told = {
        13: (30, 30, 9),
        14: (30, 30, 9),
        15: (29, 31, 9),
        16: (27.6, 33, 9),
        17: (26, 35, 9),
        18: (24, 45, 8),
    }
    told |= {19: (21, 48, 4), 20: (18, 55, 0.5), 21: (16, 60, 0.5), 22: (15, 65, 0.5)}
    for clock, (t, rh, kmh) in told.items():
        temp[index(clock)], humidity[index(clock)], wind[index(clock)] = t, rh, kmh
    found = Day(
        first,
        DAY * 6,
        now=local(20, 12, month=4),
        air_temp_c=temp,
        rel_humidity_pct=humidity,
        wind_10m_ms=wind / 3.6 / 0.748,
        gust_10m_ms=wind / 3.6,
        cloud_pct=0.0,
    )

    def state(job, clock, surface="green"):
        return found.state(job, surface, local(20, clock, month=4))

    assert [state("foliar_feed", clock) for clock in (14, 15, 16)] == ["barred"] * 3
    assert state("foliar_feed", 17) == "narrow"
    # Expected: limited by Delta T, 9.9 of 10. The engine names humidity: 35 % stands exactly on its hard limit of
    # 35, with no room at all, which the expectation left out of sight. The engine is right.
    assert found.limits("foliar_feed", "green", local(20, 17, month=4)) == "humidity"
    judged = found.judged("foliar_feed", "green")
    row = next(n for n, need in enumerate(judged.needs) if need.id == "delta_t")
    seventeen = found.weather.index(local(20, 17, month=4))
    assert judged.value(row, seventeen) == pytest.approx(9.9, abs=0.1)
    assert 0 < judged.margin[row, seventeen] < 1
    assert state("foliar_feed", 18) in ("narrow", "steady")
    assert [state("foliar_feed", clock) for clock in (19, 20)] == ["barred"] * 2
    assert state("systemic_herbicide", 17, "east bank") == "barred"
    assert state("systemic_herbicide", 18, "east bank") == "narrow"
    assert found.limits("systemic_herbicide", "east bank", local(20, 18, month=4)) == "delta_t"
    first_window = found.windows("systemic_herbicide", "east bank")[0]
    # Expected 18:25 (finished when the inversion begins at 19:10); told by whole hours it is 18:15.
    assert abs(first_window.latest_start - local(20, 18, 25, month=4)) <= timedelta(minutes=15)


def test_s10_gusts_bar_what_the_mean_would_open():
    found = plain(wind_10m_ms=12 / 3.6 / 0.748, gust_10m_ms=32 / 3.6)
    noon = local(7, 11)
    # 32 km/h at 10 m are 24 at 2 m by the loosest factor: only just; 38 are over the limit of 25.
    assert (found.state("foliar_feed", "green", noon), found.limits("foliar_feed", "green", noon)) == (
        "narrow",
        "gust",
    )
    hard = plain(wind_10m_ms=12 / 3.6 / 0.748, gust_10m_ms=38 / 3.6)
    assert (hard.state("foliar_feed", "green", noon), hard.limits("foliar_feed", "green", noon)) == (
        "barred",
        "gust",
    )
    assert hard.limits("granular_feed", "green", noon) == "gust"
    assert hard.state("mow_green", "green", noon) in ("steady", "narrow")


@pytest.mark.parametrize(
    ("next_cut", "state", "need"), [(14, "barred", "until_cut"), (16, "narrow", "since_cut")]
)
def test_s12_the_cut_decides_before_the_weather(next_cut, state, need):
    # Monday 11 May: the bank is cut; herbicide wanted Tuesday; Thursday is the 14th, Saturday the 16th.
    bank = "east bank"
    changes = {
        "done": (work("mow_surrounds", "mowing", bank, local(11, 9)),),
        "planned": (work("mow_surrounds", "mowing", bank, local(next_cut, 12)),),
    }
    found = Day(local(8, 0), DAY * 11, now=local(11, 12), changes=changes)
    tuesday, wednesday = local(12, 10), local(13, 10)
    assert found.state("systemic_herbicide", bank, tuesday) == "barred"
    assert found.limits("systemic_herbicide", bank, tuesday) in ("since_cut", "until_cut")
    assert found.state("systemic_herbicide", bank, wednesday) == state
    assert found.limits("systemic_herbicide", bank, wednesday) == need


def pre_emergent(rain=None, changes=None):
    return plain(changes=changes, rain_mm=rain or 0.0, soil_temp_6cm_c=10.0, air_temp_c=13.0, cloud_pct=60.0)


def test_s14_water_after_is_wanted_but_gently():
    moment = local(7, 10)
    gentle = {hour(moment) + 20 + step: 2.0 for step in range(6)}
    assert pre_emergent(gentle).state("pre_emergent", "mat tees", moment) in ("steady", "narrow")
    storm = {hour(moment) + 20: 18.0, hour(moment) + 21: 12.0}
    found = pre_emergent(storm)
    assert found.state("pre_emergent", "mat tees", moment) == "broken"
    assert found.limits("pre_emergent", "mat tees", moment) in ("water_in", "hard_rain")
    sowing = work("oversowing", "seeding", "mat tees", moment + timedelta(days=35))
    barred = pre_emergent(gentle, {"planned": (sowing,)})
    assert barred.state("pre_emergent", "mat tees", moment) == "barred"
    assert barred.limits("pre_emergent", "mat tees", moment) == "before_preemergent_sowing"


def test_s14_a_hose_stands_in_for_rain_with_a_task():
    made = config()
    jobs = []
    for job in made.jobs:
        if job.name == "pre_emergent":
            needs = tuple(
                need.model_copy(update={"hose_mm": 10.0, "task": "Water in by hose"})
                if need.id == "water_in"
                else need
                for need in job.needs
            )
            job = job.model_copy(update={"needs": needs})
        jobs.append(job)
    found = pre_emergent(changes={"jobs": tuple(jobs)})
    assert found.state("pre_emergent", "mat tees", local(7, 10)) == "steady"
    row = next(
        w
        for w in found.answer("windows")["windows"]
        if (w["job"], w["surface"]) == ("pre_emergent", "mat tees")
    )
    assert row["tasks"] == ["Water in by hose: 10 mm, as rain gives 0 mm (rain in the 48 h after)."]


def test_s16_a_week_without_a_dry_spell():
    hours = DAY * 11
    clock = (np.arange(hours) + 0) % 24
    rain = np.where(np.isin(clock, (3, 4, 9, 15, 16, 20)), 0.8, 0.0)
    humidity = np.where((clock >= 11) & (clock < 14), 88.0, 96.0)
    wind = np.full(hours, 9 / 3.6 / 0.748)
    found = plain(rain_mm=rain, rel_humidity_pct=humidity, wind_10m_ms=wind, cloud_pct=95.0)
    assert found.windows("foliar_feed", "green") == ()
    barred = {(row["job"], row["surface"]): row for row in found.answer("windows")["barred"]}
    foliar = barred[("foliar_feed", "green")]
    assert foliar["next_window"] is None
    # No least-bad hour for any spray, feed or not.
    assert foliar["if_it_cannot_wait"]["hours"] == []
    herbicide = barred[("systemic_herbicide", "east bank")]
    assert herbicide["if_it_cannot_wait"]["hours"] == []
    assert "No other hour is offered" in herbicide["if_it_cannot_wait"]["says"]


def test_s17_missing_humidity_is_unread_and_an_old_forecast_says_so():
    gone = dict.fromkeys(range(hour(NOW) + 48, DAY * 11), np.nan)
    found = Day(FIRST, DAY * 11, now=NOW, fetched=NOW - timedelta(hours=30), rel_humidity_pct={**gone})
    states = found.judged("foliar_feed", "green").state[hour(NOW) + 48 :]
    assert {STATES[code] for code in states} == {"unread"}
    for name in ("windows", "days", "warnings"):
        assert found.answer(name)["forecast"]["stale"] is True
    assert found.answer("now")["stale"] is True
    assert found.answer("windows")["forecast"]["age_h"] == pytest.approx(30)


def test_s21_surfaces_differ_under_one_sky():
    night = {hour(local(7, 0)) + step: 4.4 for step in range(5)}
    found = plain(rain_mm=night, shortwave_wm2=250.0)
    mown = [c for c in range(8, 13) if found.state("mow_green", "green", local(7, c)) in ("narrow", "steady")]
    assert mown
    bank = [found.state("mow_surrounds", "east bank", local(7, c)) for c in range(8, 18)]
    assert set(bank) == {"barred"}
    assert found.limits("mow_surrounds", "east bank", local(7, 12)) in ("firm", "bearing")


def test_s22_litres_for_this_area():
    from planner.mix.kit import Nozzle, Sprayer
    from planner.mix.plan import plan_mix

    made = config()
    material = made.materials[0].material
    sprayer = Sprayer(
        name="barrow",
        nozzle=Nozzle.iso("04"),
        nozzles=3,
        spacing_m=0.5,
        pressure_bar=3.0,
        speed_kmh=4.0,
        tank_l=60.0,
    )
    plan = plan_mix("foliar_feed", made.site.surface("green"), material, sprayer, typed_litres=20.0)
    text = json.dumps(asdict(plan))
    assert "16.3" in text
    assert "3.7" in text


def test_s27_fog_then_dry_then_rain():
    hours = DAY * 11
    humidity, temp, rain = np.full(hours, 65.0), np.full(hours, 15.0), np.zeros(hours)
    for clock in range(10):
        humidity[hour(local(7, clock))], temp[hour(local(7, clock))] = 98.0, 10.0
    humidity[hour(local(7, 10))], humidity[hour(local(7, 11))] = 90.0, 80.0
    temp[hour(local(7, 10))], temp[hour(local(7, 11))] = 12.0, 14.0
    humidity[hour(local(7, 12)) : hour(local(7, 17))] = 71.0
    rain[hour(local(7, 17)) : hour(local(7, 20))] = 2.0
    made = config()
    jobs = tuple(
        job.model_copy(update={"duration_min": 30.0}) if job.name == "foliar_feed" else job
        for job in made.jobs
    )
    found = plain(changes={"jobs": jobs}, rel_humidity_pct=humidity, air_temp_c=temp, rain_mm=rain)
    window = found.windows("foliar_feed", "green")[0]
    assert found.state("foliar_feed", "green", local(7, 12)) in ("steady", "narrow")
    # Finished at 13:00, and four dry hours to 17:00.
    assert window.latest_start == local(7, 12, 30)
    today = [w for w in found.windows("systemic_herbicide", "east bank") if w.start < local(7, 20)]
    assert today == []


def test_o1_to_o3_wind_is_too_little_too_much_and_only_just():
    noon = local(7, 12)
    for kmh, state in ((1.3, "barred"), (17.0, "barred"), (13.0, "narrow")):
        found = plain(wind_10m_ms=kmh / 3.6 / 0.748, gust_10m_ms=kmh / 3.6)
        assert (found.state("foliar_feed", "green", noon), found.limits("foliar_feed", "green", noon)) == (
            state,
            "wind",
        )


def test_o4_a_cold_night_before_stops_the_systemic_alone():
    found = plain(air_temp_c=at(local(7, 2), 3.0, 3))
    ten = local(7, 10)
    assert found.state("systemic_herbicide", "east bank", ten) == "barred"
    assert found.limits("systemic_herbicide", "east bank", ten) == "night_before"
    assert found.state("contact_herbicide", "east bank", ten) in ("steady", "narrow")


def test_o5_a_cold_night_after_breaks_the_systemic():
    found = plain(air_temp_c=at(local(8, 2), 3.0, 3))
    ten = local(7, 10)
    assert found.state("systemic_herbicide", "east bank", ten) == "broken"
    assert found.limits("systemic_herbicide", "east bank", ten) == "night_after"


def test_o6_rain_five_hours_on_breaks_six_dry_hours_but_not_four():
    ten = local(7, 10)
    found = plain(rain_mm={hour(ten) + 6: 2.0})
    assert found.state("systemic_herbicide", "east bank", ten) == "broken"
    assert found.limits("systemic_herbicide", "east bank", ten) == "rain_after"
    assert found.state("foliar_feed", "green", ten) in ("steady", "narrow")


def test_o7_leaf_that_still_carries_rain():
    ten = local(7, 10)
    found = plain(rain_mm={hour(ten) - 1: 1.0})
    assert found.state("foliar_feed", "green", ten) == "barred"
    assert found.limits("foliar_feed", "green", ten) in ("rain_before", "leaf_wet")


def test_o8_fed_too_lately():
    fed = work("foliar_feed", "spraying", "green", local(4, 10))
    found = plain(changes={"done": (fed,)})
    assert found.state("foliar_feed", "green", local(7, 10)) == "barred"
    assert found.limits("foliar_feed", "green", local(7, 10)) == "interval"


def test_o9_the_next_cut_comes_too_soon():
    cut = work("mow_green", "mowing", "green", local(7, 19))
    found = plain(changes={"planned": (cut,)})
    assert found.state("foliar_feed", "green", local(7, 10)) == "barred"
    assert found.limits("foliar_feed", "green", local(7, 10)) == "until_cut"


@pytest.mark.parametrize(("temp", "state"), [(34.0, "barred"), (28.0, "narrow")])
def test_o10_heat_bars_the_cut(temp, state):
    found = plain(air_temp_c=at(local(7, 10), temp, 3), rel_humidity_pct=45.0)
    assert found.state("mow_green", "green", local(7, 10)) == state
    assert found.limits("mow_green", "green", local(7, 10)) == "air_temp"


def test_o11_frozen_soil_bars_the_roller():
    found = plain(soil_temp_6cm_c=at(local(7, 0), -0.5, 9))
    assert found.state("rolling", "green", local(7, 10)) == "barred"
    assert found.limits("rolling", "green", local(7, 10)) in ("soil_temp", "frozen_soil")


def test_o12_a_downpour_sixty_hours_on_breaks_the_sowing():
    ten = local(7, 10)
    found = plain(rain_mm={hour(ten) + 60: 12.0})
    assert found.state("oversowing", "east bank", ten) == "broken"
    assert found.limits("oversowing", "east bank", ten) in ("hard_rain", "wash")


def test_o13_cold_soil_breaks_the_sowing():
    found = plain(soil_temp_6cm_c=8.0)
    assert found.state("oversowing", "east bank", local(7, 10)) == "broken"
    assert found.limits("oversowing", "east bank", local(7, 10)) == "soil_temp"


def test_o14_o15_granules_want_gentle_rain():
    ten = local(7, 10)
    gentle = {hour(ten) + 6 + step: 1.2 for step in range(5)}
    assert plain(rain_mm=gentle).state("granular_feed", "green", ten) == "steady"
    dry = plain()
    assert dry.state("granular_feed", "green", ten) == "narrow"
    assert dry.limits("granular_feed", "green", ten) == "water_in"


def test_o16_machines_rest_on_sunday_morning():
    found = plain()
    sunday, monday = local(10, 8), local(11, 8)
    assert found.state("mow_green", "green", sunday) == "barred"
    assert found.limits("mow_green", "green", sunday) == "allowed_hours"
    assert found.state("mow_green", "green", monday) in ("steady", "narrow")


def test_o17_the_clock_change_moves_the_hour_of_utc():
    # 29 March 2026: clocks in Europe/London go forward at 01:00 UTC. The 28th is a Saturday, the 30th a Monday.
    first = datetime(2026, 3, 26, tzinfo=UTC)
    found = Day(first, DAY * 8, now=first + timedelta(days=1), air_temp_c=12.0)
    before = datetime(2026, 3, 28, 7, tzinfo=UTC), datetime(2026, 3, 28, 8, tzinfo=UTC)
    after = datetime(2026, 3, 30, 6, tzinfo=UTC), datetime(2026, 3, 30, 7, tzinfo=UTC)
    for early, late in (before, after):
        assert found.state("mow_green", "green", early) == "barred"
        assert found.state("mow_green", "green", late) in ("steady", "narrow")


def test_o18_young_grass_is_kept_from_herbicide():
    sown = Sowing(surface="east bank", at=local(7, 10) - timedelta(days=20), grass=GRASSES["fescue"])
    found = plain(changes={"sowings": (sown,)})
    assert found.state("systemic_herbicide", "east bank", local(7, 10)) == "barred"
    assert found.limits("systemic_herbicide", "east bank", local(7, 10)) == "since_sowing"
