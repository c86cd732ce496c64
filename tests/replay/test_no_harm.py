"""Three measured years under the shipped rules: nothing is offered that harms turf, people or water.

Keep-off times are worked out here from the temperatures alone, hour by hour: turf frosted below 0 C until a
full hour above 0.5 C; soil frozen below 0 C (frost: a golf association's explainer; soil: Oregon State reports
2022-24). What the figures are worth where cloud is missing is told by the hours that could be read.
"""

from __future__ import annotations

from datetime import datetime, time, timedelta

import numpy as np
import pytest

from planner.actions.one_pass import assess, reported
from planner.margin import NARROW, STATES
from planner.planning.conditions import compute_figures, conditions_of, tasks_of
from tests.made import forecast
from tests.replay.past_years import YEARS

pytestmark = pytest.mark.replay

#: Frost is turf below 0 C; a figure of 0 may be off by its last digit.
FROST_C = -0.001
UNREAD = STATES.index("unread")
#: Of the hours of a year, the share that must have been read for a count to say something.
ENOUGH = 0.8
#: The hours of a keeper who has other work in the day.
HOURS = {day: ["07:00", "11:30"] for day in ("mon", "tue", "wed", "thu", "fri")} | {
    "sat": [["08:00", "12:00"], ["16:00", "19:00"]]
}
NAMES = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


class Judged:
    """A year judged in one replay, as `haysel hindcast` makes it: starts that hold, by job and surface."""

    def __init__(self, year, folder, **site):
        self.config, self.hours = year.config(folder, **site), year.read()
        self.conditions = conditions_of(
            self.hours, self.config.site, now=self.hours.start, constants=self.config.constants
        )
        tasks = [(job, tasks_of(self.conditions, job)) for job in self.config.jobs]
        compute_figures(task for _, each in tasks for task in each)
        #: A job, the name of its surface, and the state of each start hour.
        self.states = [
            (job, name, state)
            for job, each in tasks
            for task in each
            for state in [task.judged().state]
            for name in task.attempts
        ]

    def offered(self, *kinds):
        """Jobs of these kinds (all when none is named) on their surfaces, with the indices of starts that hold.

        A job of which too few hours could be read is left out.
        """
        for job, name, state in self.states:
            if kinds and job.kind not in kinds and job.name not in kinds:
                continue
            if (state == UNREAD).mean() <= 1.0 - ENOUGH:
                yield job, name, np.flatnonzero(state <= NARROW)

    def told(self, job, name, harm):
        """A line on the starts that do harm; nothing where there are none."""
        when = ", ".join(f"{self.hours.time(int(hour)):%d %b %H}" for hour in harm[:4])
        return [f"{job.name}, {name}: {len(harm)} h, as {when}"] if len(harm) else []

    def figure(self, surface, name):
        return self.conditions.surfaces[surface][name][0]


@pytest.fixture(scope="module", params=YEARS, ids=lambda year: year.name)
def year(request):
    return request.param


@pytest.fixture(scope="module")
def judged(year, tmp_path_factory):
    return Judged(year, tmp_path_factory.mktemp("year"))


def frosted(turf_c):
    """Hours in which turf carries frost or has not been off it for a full hour; unknown hours change nothing."""
    out, on = np.zeros(turf_c.size, dtype=bool), False
    for hour, value in enumerate(turf_c):
        if value < FROST_C:
            on = True
        elif on and hour and value > 0.5 and turf_c[hour - 1] > 0.5:
            on = False
        out[hour] = on
    return out


def test_nothing_is_offered_on_frosted_turf(judged, year):
    lines, read, offered = [], 0, 0
    for job, name, starts in judged.offered():
        read, offered = read + 1, offered + starts.size
        lines += judged.told(job, name, starts[frosted(judged.figure(name, "turf_least_c"))[starts]])
    assert lines == [], f"{year.name}, of {offered} h"
    assert read >= 20, f"of {len(judged.states)} jobs on their surfaces {read} could be read"
    assert offered > 5_000


def test_nothing_is_offered_on_frozen_soil(judged, year):
    lines = []
    for job, name, starts in judged.offered():
        lines += judged.told(job, name, starts[judged.figure(name, "soil_temp_c")[starts] < 0.0])
    assert lines == [], year.name


@pytest.mark.parametrize(
    ("what", "after_h"), [(("foliar_feed", "granular_feed"), 24), (("seeding",), 96)], ids=["feed", "seed"]
)
def test_no_frost_follows_a_feed_within_a_day_nor_seed_within_four(judged, year, what, after_h):
    # Common practice, no source.
    lines, offered = [], 0
    for job, name, starts in judged.offered(*what):
        offered += starts.size
        turf = judged.figure(name, "turf_least_c")
        ends = (starts + job.duration_h).astype(int)
        pairs = zip(starts, ends, strict=True)
        harm = [hour for hour, end in pairs if (turf[hour : end + after_h] < FROST_C).any()]
        lines += judged.told(job, name, harm)
    assert lines == [], f"{year.name}, of {offered} h"
    assert offered > 100


def test_cool_season_seed_finds_more_hours_in_september_than_in_july(judged, year):
    # Early autumn is the time to sow cool-season grass. Common practice, no source.
    zone = judged.config.site.zone
    months = np.array([judged.hours.time(n).astimezone(zone).month for n in range(judged.hours.hours)])
    lines, seen = [], 0
    for job, name, starts in judged.offered("seeding"):
        assert judged.config.site.surface(name).grass.season == "cool"
        july, september = (int((months[starts] == month).sum()) for month in (7, 9))
        seen += 1
        if september <= july:
            lines.append(f"{job.name}, {name}: {september} h in September, {july} h in July")
    assert lines == [], year.name
    assert seen >= 4


def test_nothing_is_offered_outside_the_keepers_hours(year, tmp_path):
    # The keeper's own rule: work begins and ends inside.
    judged = Judged(year, tmp_path / "hours", hours=HOURS)
    zone = judged.config.site.zone
    offered = 0
    for job, name, starts in judged.offered():
        lasts = timedelta(minutes=job.duration_min)
        offered += starts.size
        for hour in starts:
            begins = judged.hours.time(int(hour)).astimezone(zone)
            # Some start within the hour must be inside; the hour itself may be cut by the span.
            assert any(
                opens < begins + timedelta(hours=1) and begins + lasts <= closes
                for opens, closes in spans(begins)
            ), f"{year.name}: {job.name}, {name}: {begins}"
    assert offered > 1_000


def spans(moment: datetime):
    """The working hours of the moment's day, as aware times."""
    told = HOURS.get(NAMES[moment.weekday()], [])
    for opens, closes in [told] if told and isinstance(told[0], str) else told:
        yield tuple(
            datetime.combine(moment.date(), time.fromisoformat(text), moment.tzinfo)
            for text in (opens, closes)
        )


def test_no_spray_has_a_least_bad_hour_in_any_week(year, tmp_path):
    # Drift, run-off and burn are not weighed against haste; the label decides. The outside contract of an answer.
    config, hours = year.config(tmp_path / "weeks"), year.read()
    barred, lines = 0, {}
    for day in range(3, hours.hours // 24 - 9, 6):
        now = hours.start + timedelta(days=day, hours=6)
        week = forecast(hours.cut(now - timedelta(days=3), now + timedelta(days=9)), now)
        report, _ = reported(assess(config, week, now=now))
        for row in report.barred:
            if row.kind != "spraying":
                continue
            barred += 1
            if row.if_it_cannot_wait and row.if_it_cannot_wait.hours:
                lines.setdefault(f"{row.job}, {row.surface}", []).append(f"{now:%d %b}")
    assert lines == {}, year.name
    assert barred > 50
