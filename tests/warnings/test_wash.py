"""Wash warnings on invented chances of wash: which spell is named, where it begins, how grave it is, what to do.

The thresholds are those of the shipped settings; levels are asked by their place, from the mildest up.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import numpy as np
import pytest

from planner.indices.grasses import GRASSES
from planner.site import Sowing
from planner.warnings.base import LEVELS, Scene
from planner.warnings.wash import wash
from tests.made import config, weather

START = datetime(2026, 4, 13, tzinfo=UTC)
NOW = START + timedelta(hours=6)
H, DAY = timedelta(hours=1), timedelta(days=1)
NOTE, CARE, ACT = LEVELS
SITE = replace(config().site, timezone="Etc/UTC")
HOURS = 96
NAN = np.nan


def row(changes, members=1):
    out = np.zeros((members, HOURS))
    for hour, figure in changes.items():
        out[:, hour] = figure
    return out


def seed(days_ago=4.0, surface="bank", **changes):
    return Sowing(surface=surface, at=NOW - days_ago * DAY, grass=GRASSES["fescue"], **changes)


class Ground:
    """Quantities of one surface, each a plain table of members and hours."""

    def __init__(self, sowings, slope_pct=7.0, **columns):
        self.weather = weather(START, HOURS)
        self.site = SITE
        self.sowings = sowings
        self.surface_here = replace(SITE.surfaces[0], name="bank", slope_pct=slope_pct)
        self._columns = columns

    def __getitem__(self, name):
        return self._columns[name]


DRY = np.zeros((1, HOURS))


def bank(chance, rain=None, *, sowings=None, slope_pct=7.0, seed_share=None, low=None, high=None, melt=None):
    """A bank whose chance of wash and rain are given by hour, and the share of seed at risk like the chance."""
    chances = chance if isinstance(chance, np.ndarray) else row(chance)
    fell = rain if isinstance(rain, np.ndarray) else row(rain or dict.fromkeys(chance, 5.0))
    return Ground(
        (seed(),) if sowings is None else sowings,
        slope_pct,
        wash_chance=chances,
        wash_risk=chances if seed_share is None else seed_share,
        rain_mm=fell,
        snow_mm=DRY,
        snow_melt_mm=DRY if melt is None else row(melt),
        wash_low=chances * 0.5 if low is None else low,
        wash_high=chances if high is None else high,
    )


def warned(chance, rain=None, *, now=NOW, members=None, given=(), **ground):
    """Warnings of that bank, `members` being the same bank under an ensemble; `given` are thresholds that differ."""
    plain = bank(chance, rain, **ground)
    scene = Scene(
        plan=SimpleNamespace(conditions=SimpleNamespace(surfaces={"bank": plain}, site=SITE)),
        now=now,
        sowings=plain.sowings,
        done=(),
        thresholds={**config().warnings.model_dump(), **dict(given)},
        members=None if members is None else SimpleNamespace(surfaces={"bank": members}),
    )
    return wash(scene)


STORM = {20: 0.8, 21: 0.8, 22: 0.8}


def test_an_event_is_said_with_its_hours_and_figures():
    (found,) = warned(STORM, {20: 4.0, 21: 10.4, 22: 2.0}, low=row({21: 0.55, 22: 0.6}), high=row({21: 0.93}))
    assert (found.kind, found.surface) == ("wash", "bank")
    assert (found.begins, found.ends) == (START + 20 * H, START + 23 * H)
    assert found.says == (
        "Rain from Mon 13 Apr 20:00 may wash seed off the bank: 16 mm, up to 10 mm in an hour "
        "(80% of the seed at risk, between 60% and 93%)."
    )
    assert found.strength == 0.8
    assert found.raised_from == 0.15
    assert found.chance is None
    assert found.figures == {
        "rain_mm": 16.4,
        "rain_hour_max_mm": 10.4,
        "melt_mm": 0.0,
        "wash_chance": 0.8,
        "seed_at_risk": 0.8,
        "seed_low": 0.6,
        "seed_high": 0.93,
        "days_since_sowing": 4.0,
    }


def test_figures_are_rounded_as_they_are_said():
    storm = {20: 0.4, 21: 0.8149}
    (found,) = warned(
        storm,
        {20: 4.249, 21: 2.0},
        seed_share=row({21: 0.7149}),
        low=row({20: 0.6149}),
        high=row({21: 0.9149}),
        sowings=(seed(4.049),),
    )
    assert found.strength == 0.8149
    assert found.figures == {
        "rain_mm": 6.2,
        "rain_hour_max_mm": 4.2,
        "melt_mm": 0.0,
        "wash_chance": 0.81,
        "seed_at_risk": 0.71,
        "seed_low": 0.61,
        "seed_high": 0.91,
        "days_since_sowing": 4.0,
    }


def test_without_seed_there_is_no_warning():
    assert warned(STORM, sowings=()) == []


def test_seed_to_be_sown_within_a_fortnight_counts_and_later_seed_does_not():
    assert len(warned(STORM, sowings=(seed(-14.0),))) == 1
    assert warned(STORM, sowings=(seed(-14.1),)) == []


@pytest.mark.parametrize(("chance", "named"), [(0.1, False), (0.109, False), (0.11, True), (0.15, True)])
def test_a_chance_is_a_warning_down_to_what_keeps_one_standing(chance, named):
    # Raised from 0.15; one that stands is kept down to 0.11.
    assert bool(warned({20: chance})) is named


def test_events_apart_are_warnings_apart_and_past_ones_are_none():
    found = warned({2: 0.6, 3: 0.6, 20: 0.6, 40: 0.7, 41: 0.7})
    assert [(one.begins, one.ends) for one in found] == [
        (START + 20 * H, START + 21 * H),
        (START + 40 * H, START + 42 * H),
    ]
    # An event that ends with this hour is past, one that runs on is not.
    assert warned({4: 0.6, 5: 0.6}) == []
    assert len(warned({5: 0.6, 6: 0.6})) == 1
    assert len(warned({0: 0.6}, now=START - 3 * H)) == 1


def test_it_begins_with_the_first_hour_of_real_rain():
    # A tenth of the hardest hour, and at least half a millimetre.
    storm = dict.fromkeys(range(20, 26), 0.8)
    light = {20: 0.2, 21: 0.4, 22: 0.9, 23: 1.0, 24: 10.0, 25: 3.0}
    assert warned(storm, light)[0].begins == START + 23 * H
    drizzle = {20: 0.3, 21: 0.49, 22: 0.5, 23: 2.0, 24: 3.0, 25: 1.0}
    assert warned(storm, drizzle)[0].begins == START + 22 * H
    assert warned(storm, {**light, 22: 1.0})[0].begins == START + 22 * H


@pytest.mark.parametrize(
    ("chance", "level"), [(0.2, NOTE), (0.39, NOTE), (0.4, CARE), (0.64, CARE), (0.65, ACT)]
)
def test_levels_at_hand(chance, level):
    assert warned({20: chance})[0].level == level


@pytest.mark.parametrize(
    ("hour", "level", "calm"),
    [(29, ACT, ACT), (30, ACT, ACT), (31, CARE, ACT), (36, CARE, ACT), (37, CARE, CARE)],
)
def test_rain_further_off_than_a_day_can_wait_till_morning(hour, level, calm):
    # Six in the morning: thirty hours from midnight is a day ahead, and six hours more leave the level as it was.
    (found,) = warned({hour: 0.9})
    assert (found.level, found.calm_level) == (level, calm)


@pytest.mark.parametrize(("chance", "calm"), [(0.29, NOTE), (0.31, CARE), (0.54, CARE), (0.56, ACT)])
def test_a_level_is_left_only_by_more_than_the_margin(chance, calm):
    assert warned({20: chance})[0].calm_level == calm


# Members ------------------------------------------------------------------------------------------------


def storms(count, of, chance=0.9, rain=20.0, hour=20, apart=0):
    """An ensemble of which `count` members bring a storm of two hours, each so many hours after the one before."""
    chances, fell = np.zeros((of, HOURS)), np.zeros((of, HOURS))
    for member in range(count):
        at = hour + apart * member
        chances[member, at : at + 2] = chance
        fell[member, at : at + 2] = rain
    return bank(chances, fell)


def test_twenty_of_thirty_one_members_warn_though_the_forecast_is_dry():
    (found,) = warned({}, {}, members=storms(20, 31))
    assert found.strength == pytest.approx(0.9 * 20 / 31)
    assert found.share == pytest.approx(20 / 31)
    assert (found.begins, found.ends) == (START + 20 * H, START + 22 * H)
    assert (
        "40 mm, up to 20 mm in an hour in the forecasts that bring it (90% of the seed at risk" in found.says
    )
    # The same where the ensemble is all there is.
    ensemble = storms(20, 31)
    scene = Scene(
        plan=SimpleNamespace(conditions=SimpleNamespace(surfaces={"bank": ensemble}, site=SITE)),
        now=NOW,
        sowings=ensemble.sowings,
        done=(),
        thresholds=config().warnings.model_dump(),
    )
    (alone,) = wash(scene)
    assert (alone.strength, alone.share, alone.says) == (found.strength, found.share, found.says)


def test_few_members_warn_of_nothing_and_the_forecast_alone_does():
    assert warned({}, {}, members=storms(3, 31)) == []
    (found,) = warned({20: 0.5, 21: 0.8, 22: 0.3}, members=storms(0, 31))
    assert (found.strength, found.share) == (0.8, 0.0)
    assert "in the forecasts that bring it" not in found.says


def test_members_that_bring_the_storm_at_different_hours_count_together():
    # Nine of fifteen members, an hour after one another: no hour has more than two of them.
    (found,) = warned({}, {}, members=storms(9, 15, apart=1))
    assert found.strength == pytest.approx(0.9 * 9 / 15)
    assert START + 20 * H <= found.begins <= START + 22 * H
    assert START + 28 * H <= found.ends <= START + 30 * H
    # A day apart they are so many storms, each of one member.
    assert warned({}, {}, members=storms(3, 31, apart=24)) == []


def test_a_member_that_is_not_known_is_not_counted():
    of = storms(2, 4)
    of["wash_chance"][3] = np.nan
    (found,) = warned({}, {}, members=of)
    assert (found.strength, found.share) == (pytest.approx(0.9 * 2 / 3), pytest.approx(2 / 3))
    nobody = storms(0, 4)
    nobody["wash_chance"][:] = np.nan
    (found,) = warned(STORM, members=nobody)
    assert (found.strength, found.share) == (0.8, None)
    # One hour that is not known leaves the rest of the spell.
    in_part = storms(2, 4)
    in_part["wash_chance"][0, 21] = np.nan
    assert warned({}, {}, members=in_part)[0].share == 0.5


EXACT = {"wash_note": 0.25, "hysteresis": 0.0}


def test_a_chance_at_its_threshold_counts():
    assert warned({20: 0.25}, given=EXACT)
    (found,) = warned({}, {}, members=storms(3, 3, chance=0.25), given=EXACT)
    assert (found.strength, found.share) == (0.25, 1.0)
    assert warned({}, {}, members=storms(3, 3, chance=0.24), given=EXACT) == []
    (found,) = warned({20: 0.25}, members=storms(0, 3), given=EXACT)
    assert (found.begins, found.ends) == (START + 20 * H, START + 21 * H)


def test_without_a_way_there_is_no_warning_whatever_the_threshold():
    open_wide = {"wash_note": 0.02, "hysteresis": 0.04}
    assert warned({}, {20: 3.0}, given=open_wide) == []
    assert warned({}, {20: 3.0}, members=storms(0, 4), given=open_wide) == []
    assert len(warned({20: 0.01}, given=open_wide)) == 1


def test_storms_up_to_twelve_hours_apart_are_one_to_the_hour_between_them():
    def two(hours_apart):
        chances, fell = np.zeros((4, HOURS)), np.zeros((4, HOURS))
        for member, hour in enumerate((20, 20 + hours_apart)):
            chances[member, hour], fell[member, hour] = 0.4, 20.0
        return warned({}, {}, members=bank(chances, fell))

    # Each by itself is a tenth of the chance, both are a fifth.
    assert [one.strength for one in two(12)] == [pytest.approx(0.2)]
    assert two(13) == []


def test_a_spell_reaches_over_the_hours_in_which_a_good_part_of_it_falls():
    chances = row({17: 0.15, 18: 0.2, 20: 0.8, 21: 0.2, 22: 0.19}, members=5)
    rain = row({17: 1.0, 18: 3.0, 19: 1.0, 20: 20.0, 21: 1.0, 22: 1.0}, members=5)
    (found,) = warned({}, {}, members=bank(chances, rain))
    assert (found.begins, found.ends) == (START + 18 * H, START + 22 * H)
    assert found.figures["rain_mm"] == 25.0


def test_rain_at_the_ends_of_the_forecast():
    ends = {0: 0.6, HOURS - 1: 0.7}
    early, late = warned(ends, now=START - 3 * H)
    assert (early.begins, early.ends) == (START, START + H)
    assert (late.begins, late.ends) == (START + (HOURS - 1) * H, START + HOURS * H)


def test_rain_that_all_members_share_is_read_as_one():
    shared = bank(row({20: 0.9, 21: 0.9}, members=5), row({20: 12.0, 21: 8.0}))
    assert warned({}, {}, members=shared)[0].figures["rain_mm"] == 20.0


def test_spells_that_rain_joins_are_one():
    # Two hours that wash, four hours apart, and hard rain all between them.
    rain = dict.fromkeys(range(19, 26), 6.0)
    (found,) = warned({20: 0.4, 24: 0.7}, rain)
    assert (found.begins, found.ends, found.strength) == (START + 19 * H, START + 26 * H, 0.7)
    assert len(warned({20: 0.4, 24: 0.7}, {20: 6.0, 24: 6.0})) == 2


def test_snow_that_melts_is_named_and_counts():
    (melt,) = warned(STORM, row({}), melt=dict.fromkeys(range(19, 23), 1.1), sowings=(seed(-0.5),))
    assert melt.says.startswith(
        "Snow melt from Mon 13 Apr 19:00 may wash seed off the bank: 4 mm, up to 1 mm in an hour"
    )
    assert (melt.figures["rain_mm"], melt.figures["melt_mm"]) == (0.0, 4.4)
    assert melt.advice[-1] == "Sow after this snow melt instead."
    (both,) = warned(STORM, {20: 3.0, 21: 5.0}, melt={20: 1.0, 21: 1.2, 22: 0.8})
    assert both.says.startswith(
        "Rain and snow melt from Mon 13 Apr 20:00 may wash seed off the bank: 11 mm, up to 6 mm"
    )
    # Less than a tenth of the water is not worth a word.
    assert warned(STORM, {20: 9.5, 21: 9.5}, melt={22: 1.0})[0].says.startswith("Rain from")


def advice(**changes):
    kept = {"chance": STORM, **changes}
    return warned(kept.pop("chance"), **kept)[0].advice


def test_bare_seed_wants_a_cover_before_the_rain_from_the_lower_edge():
    assert advice()[0] == (
        "Lay net, straw or fleece over the seed before Mon 13 Apr 20:00. Begin at the lower edge, where water gathers."
    )
    assert advice(slope_pct=3.0)[0].endswith("where water gathers.")
    assert advice(slope_pct=2.9)[0] == "Lay net, straw or fleece over the seed before Mon 13 Apr 20:00."


@pytest.mark.parametrize(("cover", "covered"), [(0, False), (49, False), (50, True), (80, True)])
def test_a_cover_that_lies_is_to_be_checked(cover, covered):
    first = advice(sowings=(seed(cover_pct=cover),))[0]
    assert (first == "Check that the cover is pegged down before Mon 13 Apr 20:00.") is covered


def test_a_tackifier_is_put_down_in_time_to_dry_or_not_at_all():
    assert advice()[1] == (
        "A tackifier needs 4 to 8 dry hours to hold: put it down by Mon 13 Apr 16:00 or not at all."
    )
    assert not any("tackifier" in one for one in advice(sowings=(seed(tackifier=True),)))
    # Four hours ahead it may still dry, three hours ahead no more.
    assert "by Mon 13 Apr 06:00" in advice(chance={10: 0.8})[1]
    assert not any("tackifier" in one for one in advice(chance={9: 0.8}))


def test_in_the_rain_the_cover_waits_for_a_pause():
    assert "as soon as the rain pauses" in advice(chance={6: 0.8, 7: 0.8})[0]
    assert "before Mon 13 Apr 07:00" in advice(chance={7: 0.8})[0]


def test_what_is_not_sown_yet_is_sown_after_the_rain():
    assert advice(sowings=(seed(-0.2),))[-1] == "Sow after this rain instead."
    assert advice()[-1] == "Put no more seed, feed or sand there until it has passed."
    assert advice(sowings=(seed(0.0),))[-1].startswith("Put no more seed")


def test_the_seed_spoken_of_is_the_last_that_lies_there_by_then():
    old, fresh, later = seed(9.0), seed(3.0, cover_pct=90.0), seed(-3.0)
    (found,) = warned(STORM, sowings=(later, fresh, old))
    assert found.figures["days_since_sowing"] == 3.0
    assert found.advice[0].startswith("Check that the cover")
    # Sown in the hour in which the rain ends: it lies there by then.
    just = Sowing(surface="bank", at=START + 23 * H, grass=GRASSES["fescue"])
    assert warned(STORM, sowings=(old, just))[0].figures["days_since_sowing"] == pytest.approx(-0.7)
    # What is all still to be sown: the first of it.
    assert warned(STORM, sowings=(seed(-5.0), later))[0].figures["days_since_sowing"] == -3.0


def test_each_surface_with_seed_has_its_own_warning():
    both = {
        name: bank(STORM, sowings=sowings)
        for name, sowings in (("bank", (seed(),)), ("tee", ()), ("green", (seed(surface="green"),)))
    }
    scene = Scene(
        plan=SimpleNamespace(conditions=SimpleNamespace(surfaces=both, site=SITE)),
        now=NOW,
        sowings=(),
        done=(),
        thresholds=config().warnings.model_dump(),
    )
    assert [one.surface for one in wash(scene)] == ["bank", "green"]


def test_unknown_rain_within_an_event_is_no_rain_and_ends_it():
    found = warned(row({20: 0.8, 21: NAN, 22: 0.8}), row({20: 3.0, 21: NAN, 22: 4.0}))
    assert [(one.begins, one.figures["rain_mm"]) for one in found] == [
        (START + 20 * H, 3.0),
        (START + 22 * H, 4.0),
    ]
