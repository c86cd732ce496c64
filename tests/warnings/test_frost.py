"""Frost warnings on invented nights: which night is named, how grave it is, and what is said of it.

The thresholds are those of the shipped settings; levels are asked by their place, from the mildest up.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import numpy as np
import pytest

from planner.indices.frost import keep_off
from planner.indices.quantities import local_days
from planner.warnings.base import LEVELS, Scene
from planner.warnings.frost import frost
from tests.made import config, weather

#: Noon on a Monday, so that the nights begin at hours 0, 24, 48 and 72.
START = datetime(2026, 4, 13, 12, tzinfo=UTC)
H = timedelta(hours=1)
NOTE, CARE, ACT = LEVELS
SITE = replace(config().site, timezone="Etc/UTC")
HOURS = 120
NAN = np.nan


class Sky:
    """Quantities of the sky, each a plain table of members and hours."""

    def __init__(self, columns):
        self.weather = weather(START, HOURS)
        self.nights = local_days(self.weather, SITE.zone, turn_h=12)
        self._columns = columns
        turf, air, sun = (columns[name] for name in ("grass_temp_c", "air_temp_c", "sun_altitude_deg"))
        self._columns["soil_frozen"] = np.zeros((1, HOURS))
        self._columns["frost_keep_off"] = keep_off(turf, air, sun)

    def __getitem__(self, name):
        return self._columns[name]


def table(value, changes=None, members=1):
    out = np.full((members, HOURS), float(value))
    for hour, figure in (changes or {}).items():
        out[:, hour] = figure
    return out


def warned(
    *,
    now=START,
    ground=0.0,
    air=0.0,
    turf=None,
    surface=None,
    screen=None,
    dew=-9.0,
    sun=None,
    members=1,
    beside=None,
    **thresholds,
):
    """Warnings of a sky whose chances, turf and screen are given by hour; where nothing is given it is mild.

    `surface` is the radiating surface, that of the grass where it is not given; `beside` the plain forecast's sky,
    where this one is an ensemble.
    """

    def columns(chance):
        return chance if isinstance(chance, np.ndarray) else table(chance, members=members)

    grass = table(8.0, turf) if not isinstance(turf, np.ndarray) else turf
    sky = Sky(
        {
            "frost_chance_ground": columns(ground),
            "frost_chance_air": columns(air),
            "grass_temp_c": grass,
            "surface_temp_c": grass if surface is None else table(8.0, surface),
            "air_temp_c": table(3.0, screen) if not isinstance(screen, np.ndarray) else screen,
            "dew_point_c": columns(dew),
            "sun_altitude_deg": table(-20.0, sun),
        }
    )
    here = SimpleNamespace(sky=sky, site=SITE)
    scene = Scene(
        plan=SimpleNamespace(conditions=here if beside is None else SimpleNamespace(sky=beside, site=SITE)),
        members=None if beside is None else here,
        now=now,
        sowings=(),
        done=(),
        thresholds={**config().warnings.model_dump(), **thresholds},
    )
    return frost(scene)


def nights(**chances):
    """Chances of the nights by number: n0 from noon to noon, and so on."""
    out = np.zeros((1, HOURS))
    for name, chance in chances.items():
        begin = 24 * int(name[1:])
        out[:, begin : begin + 24] = chance
    return out


#: Turf falls below freezing at 03:00 of the first night and is coldest at 05:00.
COLD = {14: 1.0, 15: 0.2, 16: -0.5, 17: -2.0, 18: -1.0, 19: 1.0}


def test_a_night_of_frost_is_said_with_its_hours_and_figures():
    (found,) = warned(
        ground=nights(n0=0.8), air=nights(n0=0.3), turf=COLD, screen={17: 0.8, 18: 1.4}, dew=-2.2
    )
    assert (found.kind, found.surface) == ("frost", None)
    # Frost begins where the turf falls below half a degree.
    assert found.begins == START + 15 * H
    # Nothing tells when it is off the frost: it ends with the first mild hour after the coldest.
    assert found.ends == START + 20 * H
    assert found.says == (
        "Ground frost likely tonight: grass about -2.0 °C near 05:00. Air frost possible: air lowest 0.8 °C."
    )
    assert (found.strength, found.chance) == (0.8, 0.8)
    assert found.raised_from == 0.3
    assert found.figures == {
        "grass_min_c": -2.0,
        "surface_min_c": -2.0,
        "air_min_c": 0.8,
        "ground_frost_chance": 0.8,
        "air_frost_chance": 0.3,
        "off_frost_at": None,
        "hoar": "likely",
        "soil": None,
    }
    assert found.advice[0].startswith("Keep feet, wheels and rollers off")


@pytest.mark.parametrize(("lowest", "level"), [(-3.9, ACT), (0.8, CARE)])
def test_an_air_frost_whose_chance_is_hidden_by_a_gap_is_not_called_unlikely(lowest, level):
    # One missing hour leaves the night without a chance; what was read still counts. Unread is never fine.
    (found,) = warned(
        ground=nights(n0=0.99), air=np.full((1, HOURS), NAN), turf=COLD, screen={16: NAN, 17: lowest}
    )
    assert f"Air frost not known: air lowest {lowest} °C" in found.says
    assert found.figures["air_frost_chance"] is None
    assert found.level == level


def test_the_hour_off_the_frost_ends_it():
    sun = dict.fromkeys(range(19, 24), 10.0)
    (found,) = warned(ground=nights(n0=0.8), turf={**COLD, 19: -0.2, 20: 1.0, 21: 3.0}, sun=sun)
    # The turf is above half a degree with the sun up for the hour from 08:00.
    assert found.ends == START + 21 * H
    assert found.says.endswith(" Off the frost from 09:00.")
    assert found.figures["off_frost_at"] == (START + 21 * H).isoformat()


@pytest.mark.parametrize(
    ("chance", "named"), [(0.2, False), (0.259, False), (0.26, True), (0.3, True), (0.9, True)]
)
def test_a_chance_is_a_warning_down_to_what_keeps_one_standing(chance, named):
    # Raised from 0.30; one that stands is kept down to 0.26.
    assert bool(warned(ground=nights(n0=chance), turf=COLD)) is named


def test_without_an_hour_below_freezing_it_begins_at_the_coldest():
    (found,) = warned(ground=nights(n0=0.6), turf={16: 1.5, 17: 0.9, 18: 0.5})
    assert found.begins == START + 18 * H
    (found,) = warned(ground=nights(n0=0.6), turf={16: 1.5, 17: 0.5, 18: 0.49, 19: 0.3})
    assert found.begins == START + 18 * H


def test_each_of_the_coming_nights_is_named_and_those_too_far_off_are_not():
    cold = {17 + 24 * night: -1.0 for night in range(5)}
    every = np.full((1, HOURS), 0.7)
    found = warned(ground=every, turf=cold)
    assert [n.begins for n in found] == [START + (17 + 24 * night) * H for night in range(4)]
    # A night that begins 72 hours from now is named, and not one that begins later.
    assert len(warned(ground=every, turf=cold, now=START - H)) == 3
    assert len(warned(ground=every, turf=cold, now=START + 23 * H)) == 3
    assert len(warned(ground=every, turf=cold, now=START + 24 * H)) == 4


@pytest.mark.parametrize(
    ("hour", "name"),
    [
        (-13, "in the night to Wed 15 Apr"),
        (0, "tomorrow night"),
        (12, "tonight"),
        (30, "tonight"),
        (37, "this morning"),
    ],
)
def test_a_night_has_one_name_at_a_time(hour, name):
    # The night from Tuesday noon, coldest at 05:00 on Wednesday. The names are ours.
    (found,) = warned(ground=nights(n1=0.7), turf={17 + 24: -1.0}, now=START + hour * H)
    assert found.says.startswith(f"Ground frost likely {name}: grass about -1.0 °C near 05:00.")


def test_at_five_the_night_that_ends_and_the_one_that_comes_are_told_apart():
    both = warned(ground=nights(n0=0.7, n1=0.7), turf={17: -1.0, 41: -1.0}, now=START + 17 * H)
    assert [found.says.split(":")[0] for found in both] == [
        "Ground frost likely this morning",
        "Ground frost likely tonight",
    ]


def test_a_night_that_is_over_is_not_named_again():
    assert warned(ground=nights(n0=0.7), turf=COLD, now=START + 24 * H) == []
    # Its coldest hour is past, and the turf is off the frost.
    assert warned(ground=nights(n0=0.7), turf=COLD, now=START + 19 * H) == []


def test_frost_that_still_lies_is_named_after_its_coldest_hour():
    (found,) = warned(ground=nights(n0=0.7), turf=COLD, now=START + 18 * H)
    assert found.begins == START + 15 * H
    assert warned(ground=nights(n0=0.7), turf={**COLD, 18: 0.5}, now=START + 18 * H) == []
    assert len(warned(ground=nights(n0=0.7), turf={**COLD, 18: 0.4}, now=START + 18 * H)) == 1
    late = {hour + 24: figure for hour, figure in COLD.items()}
    assert len(warned(ground=nights(n1=0.7), turf=late, now=START + 42 * H)) == 1
    assert warned(ground=nights(n1=0.7), turf=late, now=START + 43 * H) == []
    # At the coldest hour itself it is not past.
    assert len(warned(ground=nights(n0=0.7), turf={17: 1.5}, now=START + 17 * H)) == 1


def test_now_before_the_weather_names_its_nights():
    assert len(warned(ground=nights(n0=0.7), turf=COLD, now=START - 2 * H)) == 1
    assert len(warned(ground=nights(n0=0.7), turf={0: -1.0}, now=START - 2 * H)) == 1


@pytest.mark.parametrize(
    ("chance", "air", "level"),
    [(0.49, 0.9, NOTE), (0.5, 0.49, CARE), (0.8, 0.0, CARE), (0.5, 0.5, ACT), (0.9, 0.9, ACT)],
)
def test_air_frost_tonight_is_the_gravest(chance, air, level):
    assert warned(ground=nights(n0=chance), air=nights(n0=air), turf=COLD)[0].level == level


@pytest.mark.parametrize(("lead_h", "level"), [(23, ACT), (24, ACT), (24.5, CARE), (40, CARE)])
def test_a_night_further_off_than_a_day_can_wait_till_morning(lead_h, level):
    cold = {17 + 24: -1.0}
    now = START + (41 - lead_h) * H
    assert warned(ground=nights(n1=0.8), air=nights(n1=0.8), turf=cold, now=now)[0].level == level


def test_a_level_is_left_only_by_more_than_the_margin():
    # With the margin of 0.1 a chance of 0.42 keeps the level of 0.5, and air frost of 0.42 that of 0.5.
    (found,) = warned(ground=nights(n0=0.42), air=nights(n0=0.0), turf=COLD)
    assert (found.level, found.calm_level) == (NOTE, CARE)
    (found,) = warned(ground=nights(n0=0.39), air=nights(n0=0.0), turf=COLD)
    assert (found.level, found.calm_level) == (NOTE, NOTE)
    (found,) = warned(ground=nights(n0=0.6), air=nights(n0=0.42), turf=COLD)
    assert (found.level, found.calm_level) == (CARE, ACT)
    (found,) = warned(ground=nights(n0=0.6), air=nights(n0=0.39), turf=COLD)
    assert (found.level, found.calm_level) == (CARE, CARE)
    (found,) = warned(ground=nights(n0=0.6), air=nights(n0=0.4), turf=COLD, margin=0.1)
    assert found.calm_level == ACT


@pytest.mark.parametrize(("lead_h", "calm"), [(29, ACT), (30, ACT), (30.5, CARE)])
def test_an_onset_that_moves_by_some_hours_does_not_swing_the_level(lead_h, calm):
    cold = {17 + 24: -1.0}
    now = START + (41 - lead_h) * H
    (found,) = warned(ground=nights(n1=0.8), air=nights(n1=0.8), turf=cold, now=now)
    assert (found.level, found.calm_level) == (CARE, calm)


def test_the_chance_is_the_mean_over_members_of_the_worst_hour_of_each():
    ground, air = np.zeros((4, HOURS)), np.zeros((4, HOURS))
    ground[0, 15], ground[1, 18], ground[2, 16] = 1.0, 0.8, 0.2
    air[0, 15] = air[1, 20] = 0.6
    (found,) = warned(ground=ground, air=air, turf=COLD)
    assert found.strength == pytest.approx(0.5)
    assert found.figures["air_frost_chance"] == pytest.approx(0.3)
    ground[3] = NAN
    # A member that is not known is passed over: (1.0 + 0.8 + 0.2) / 3.
    (found,) = warned(ground=ground, air=air, turf=COLD)
    assert found.strength == pytest.approx(2 / 3)


def _ensemble(cold=20, of=31):
    """Grass, screen and chance of members of which so many freeze at 05:00 of the first night."""
    turf, screen, chance = np.full((of, HOURS), 6.0), np.full((of, HOURS), 8.0), np.zeros((of, HOURS))
    turf[of - cold :, 16:19] = [[0.2, -3.0, -1.0]]
    screen[of - cold :, 16:19] = 0.5
    chance[of - cold :, :24] = 0.95
    return turf, screen, chance


def test_cold_members_warn_though_the_plain_forecast_is_mild():
    turf, screen, chance = _ensemble()
    mild = Sky(
        {
            "frost_chance_ground": table(0.0),
            "frost_chance_air": table(0.0),
            "grass_temp_c": table(6.0),
            "surface_temp_c": table(6.0),
            "air_temp_c": table(8.0),
            "dew_point_c": table(2.0),
            "sun_altitude_deg": table(-20.0),
        }
    )
    for beside in (mild, None):
        (found,) = warned(ground=chance, turf=turf, screen=screen, beside=beside)
        assert found.strength == pytest.approx(0.95 * 20 / 31)
        # Members are not calibrated: what they say together is a share.
        assert (found.chance, found.share) == (None, 0.61)
        # The night is that of the members that freeze; the range is that of them all.
        assert found.begins == START + 16 * H
        assert found.says.startswith(
            "Ground frost likely tonight: grass -3.0 to 6.0 °C near 05:00, below 0 °C in 20 of 31 forecasts."
        )
        assert "air lowest 0.5 to 8.0 °C" in found.says
        assert found.figures["grass_min_c"] == pytest.approx((20 * -3.0 + 11 * 6.0) / 31, abs=0.05)


def test_few_cold_members_do_not_warn():
    turf, screen, chance = _ensemble(cold=7)
    assert warned(ground=chance, turf=turf, screen=screen) == []


def test_the_hour_off_the_frost_is_that_by_which_half_of_the_frozen_members_are_off_it():
    turf, screen, chance = _ensemble(cold=4, of=5)
    sun = dict.fromkeys(range(18, 26), 10.0)
    turf[1:, 19:26] = 3.0
    turf[1, 19:22] = -1.0
    (found,) = warned(ground=chance, turf=turf, screen=screen, sun=sun)
    assert found.ends == START + 20 * H


def test_columns_that_members_share_are_read_for_them_all():
    turf, _, chance = _ensemble()
    (found,) = warned(ground=chance, turf=turf, screen={17: 0.5}, dew=-3.2)
    assert found.figures["air_min_c"] == 0.5
    assert found.figures["hoar"] == "likely"


def test_where_the_ground_is_not_known_the_air_speaks_for_it():
    (found,) = warned(ground=np.full((1, HOURS), NAN), air=nights(n0=0.6), turf=COLD)
    assert found.strength == 0.6
    part = nights(n0=0.6)
    part[0, 5] = NAN
    assert len(warned(ground=np.full((1, HOURS), NAN), air=part, turf=COLD)) == 1
    both = np.full((1, HOURS), NAN)
    assert warned(ground=both, air=both, turf=COLD) == []


def test_a_night_without_any_grass_temperature_is_no_warning():
    assert warned(ground=nights(n0=0.6), turf=np.full((1, HOURS), NAN)) == []


def test_hoar_is_told_by_the_radiating_surface_and_frost_by_the_grass():
    (found,) = warned(ground=nights(n0=0.8), turf=COLD, surface={17: 0.4}, dew=-1.0)
    assert (found.figures["grass_min_c"], found.figures["surface_min_c"]) == (-2.0, 0.4)
    assert found.figures["hoar"] == "unlikely"


@pytest.mark.parametrize(("dew", "hoar"), [(-2.0, True), (-2.5, True), (-2.6, False), (-8.0, False)])
def test_dry_cold_freezes_without_turning_white(dew, hoar):
    (found,) = warned(ground=nights(n0=0.8), turf=COLD, dew=dew)
    assert (found.figures["hoar"] == "likely") is hoar
    assert ("without turning white" not in found.says) is hoar


@pytest.mark.parametrize(
    ("chance", "word"), [(0.6, "likely"), (0.599, "possible"), (0.59, "possible"), (0.3, "possible")]
)
def test_a_chance_in_words(chance, word):
    assert f"Ground frost {word}" in warned(ground=nights(n0=chance), turf=COLD)[0].says


@pytest.mark.parametrize(("chance", "word"), [(0.25, "possible"), (0.24, "unlikely"), (0.0, "unlikely")])
def test_a_small_chance_of_air_frost_in_words(chance, word):
    found = warned(ground=nights(n0=0.8), air=nights(n0=chance), turf=COLD)
    assert f"Air frost {word}" in found[0].says


def test_figures_are_rounded_as_they_are_said():
    (found,) = warned(
        ground=nights(n0=0.8149), air=nights(n0=0.3149), turf={17: -1.949}, screen={17: 0.849}, dew=-9
    )
    assert found.chance == 0.81
    assert found.strength == 0.8149
    assert found.figures["grass_min_c"] == -1.9
    assert found.figures["air_min_c"] == 0.8
    assert found.figures["ground_frost_chance"] == 0.81
    assert found.figures["air_frost_chance"] == 0.31
