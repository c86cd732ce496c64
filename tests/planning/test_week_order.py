"""The week's order on invented hours, with the solver and without it: hands, hours of the day, gaps and worth."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from planner.planning import week as week_module
from planner.planning.apart import Away, wait_h
from planner.planning.asks import Ask
from planner.planning.conditions import attempt_of
from planner.planning.plan import Judged
from planner.planning.solver import Choice
from planner.planning.suitability import judge
from planner.planning.week import Placed, in_plan
from planner.planning.week import order as order_of_asks
from planner.rules.gap import Gap
from planner.rules.limit import Limit
from planner.site import WorkDone
from tests.made import config, ground, weather
from tests.planning.clash import clash

START = datetime(2026, 5, 4, tzinfo=UTC)
NOW = START + timedelta(hours=6)
H, MINUTE = timedelta(hours=1), timedelta(minutes=1)
UTC_ZONE = ZoneInfo("Etc/UTC")
HOURS = 240
SKY = weather(START, HOURS)
STEADY, NARROW, BROKEN, BARRED = range(4)
OPEN = Limit(id="open", label="open", quantity="air_temp_c", hard_min=5, low="shut")


def order(tasks, *, pressing=None, **settings):
    """The order of tasks that are each wanted once, at any time; `pressing` gives some another worth."""
    worths = {} if pressing is None else pressing
    usual = 1.0 if pressing is None else 0.3
    asks = [Ask(judged=task, worth=worths.get((task.job.name, task.surface.name), usual)) for task in tasks]
    return order_of_asks(asks, **settings)


def why(left):
    """What took the hours of each ask that found none."""
    return [
        (
            one.ask.judged.job.name,
            "away"
            if one.is_away
            else [rival.job.name for rival in one.taken_by] or ("beside" if one.beside else "closed"),
        )
        for one in left
    ]


def task(
    open_hours, name="mow", surface=None, minutes=60.0, kind="mowing", needs=(), windows=(), state=STEADY
):
    """A job on its own surface that holds in these hours, given with their scores."""
    states, scores = np.full(HOURS, BARRED), np.zeros(HOURS)
    for hour, score in open_hours.items():
        states[hour], scores[hour] = state, score
    return Judged(
        job=SimpleNamespace(
            name=name,
            kind=kind,
            duration_h=minutes / 60.0,
            needs_on=lambda _: needs,
            before_play_d=None,
            same_day_after=(),
        ),
        surface=SimpleNamespace(name=surface or f"{name} ground"),
        attempt=SimpleNamespace(quantities=SimpleNamespace(weather=SKY), done=(), planned=()),
        suitability=SimpleNamespace(
            state=states,
            score=scores,
            needs=(OPEN,),
            tight=lambda hour: scores[hour],
            margin=np.where(states > NARROW, -1.0, 1.0)[None],
        ),
        windows=windows,
    )


@pytest.fixture(params=["solver", "by hand"])
def way(request, monkeypatch):
    """Every promise holds with the solver and where it is not installed."""
    if request.param == "by hand":

        def gone(*_):
            raise ImportError

        monkeypatch.setattr(week_module, "choose", gone)
    return request.param


def placed(tasks, **settings):
    """Hours from START of each job that is placed, in order of time."""
    found = order(tasks, **{"now": NOW, "zone": UTC_ZONE, **settings})
    return [(each.judged.job.name, (each.start - START) / H) for each in found.placed]


def test_a_job_gets_its_best_hour(way):
    found = order([task({8: 0.5, 9: 0.9, 10: 0.7}, minutes=90)], now=NOW, zone=UTC_ZONE)
    (each,) = found.placed
    assert (each.start, each.end) == (START + 9 * H, START + 10.5 * H)
    assert (each.score, each.hour) == (0.9, 9)
    assert each.judged.job.name == "mow"
    assert found.left == ()
    assert found.method == (
        "the best order there is" if way == "solver" else "placed one by one; the solver is not installed"
    )


@pytest.mark.parametrize(("tomorrow", "hour"), [(0.521, 6), (0.527, 30)])
def test_a_day_of_waiting_costs_three_parts_in_a_hundred(way, tomorrow, hour):
    # A score of a half is worth 0.2 + 0.8 * 0.5 = 0.6; tomorrow 0.97 of as much, which 0.5232 makes up for.
    assert placed([task({6: 0.5, 30: tomorrow})]) == [("mow", hour)]


def test_hours_of_one_day_differ_by_their_waiting_too(way):
    # Twelve hours cost 1.5 parts in a hundred: 0.6 against 0.985 * (0.2 + 0.8 * 0.51) = 0.599.
    assert placed([task({6: 0.5, 18: 0.51})]) == [("mow", 6)]
    assert placed([task({6: 0.5, 18: 0.52})]) == [("mow", 18)]


@pytest.mark.parametrize(("score", "wins"), [(0.2, "due"), (0.1, "wish")])
def test_what_presses_goes_before_what_is_only_wanted(way, score, wins):
    # One hour for two: worth 1 * (0.2 + 0.8 * 0.2) = 0.36 or 0.28, against 0.3 for work that is not due.
    tasks = [task({8: score}, "due"), task({8: 1.0}, "wish")]
    found = order(tasks, now=NOW, zone=UTC_ZONE, pressing={("due", "due ground"): 1.0})
    assert [each.judged.job.name for each in found.placed] == [wins]
    assert why(found.left) == [("wish" if wins == "due" else "due", [wins])]


def test_a_narrow_hour_will_do_and_a_broken_one_will_not(way):
    assert placed([task({8: 0.5}, state=NARROW)]) == [("mow", 8)]
    assert placed([task({8: 0.5}, state=BROKEN)]) == []


def test_only_the_days_ahead_count(way):
    # From the running hour 6 on: seven days reach to hour 173.
    assert placed([task({173: 0.5})]) == [("mow", 173)]
    assert placed([task({174: 0.5})]) == []
    assert placed([task({29: 0.5})], days=1) == [("mow", 29)]
    assert placed([task({30: 0.5})], days=1) == []
    assert placed([task({4: 0.9, 5: 0.9})]) == []
    assert placed([task({HOURS - 1: 0.5})], days=30) == [("mow", HOURS - 1)]
    # Weather that begins later than now is counted from its first hour.
    assert placed([task({0: 0.5, 230: 0.9, 239: 0.9})], now=START - 10 * H, days=3) == [("mow", 0)]


def test_the_running_hour_is_worked_in_where_its_window_begins(way, monkeypatch):
    # As fakes cannot be judged again, what the plan comes to is left as it is.
    monkeypatch.setattr(week_module, "in_plan", lambda placed, plan: placed)
    now = NOW + 20 * MINUTE
    running = task(
        {6: 0.9, 9: 0.5}, windows=(SimpleNamespace(start=NOW + 25 * MINUTE, latest_start=NOW + 50 * MINUTE),)
    )
    (name, at_h), *_ = placed([running], now=now)
    assert (name, at_h) == ("mow", pytest.approx(6 + 25 / 60))
    # Without a window the running hour is past; at the full hour it is not.
    assert placed([task({6: 0.9, 9: 0.5})], now=now) == [("mow", 9)]
    other = task(
        {6: 0.9, 9: 0.5}, windows=(SimpleNamespace(start=START + 11 * H, latest_start=START + 11 * H),)
    )
    assert placed([other], now=now) == [("mow", 9)]
    assert placed([task({6: 0.9, 9: 0.5})]) == [("mow", 6)]


def test_time_away_is_kept_free_to_the_minute(way):
    hour = {8: 0.5}

    def while_away(first, last):
        away = [Away(start=START + first * H, end=START + last * H)]
        return placed([task(hour)], away=away), placed([task(hour)], planned=away)

    assert while_away(9, 12) == while_away(5, 8) == ([("mow", 8)], [("mow", 8)])
    for first, last in ((8.5, 8.75), (8.9, 12), (5, 8.1), (7, 10)):
        assert while_away(first, last) == ([], [])


def test_one_pair_of_hands(way):
    tasks = [task({8: 0.9, 9: 0.8, 10: 0.7}, name, minutes=90) for name in ("a", "b")]
    found = placed(tasks)
    # Ninety minutes each: 8:00 and 10:00.
    assert [at for _, at in found] == [8, 10]
    # An hour each may follow at once.
    assert [at for _, at in placed([task({8: 0.9, 9: 0.8}, name) for name in ("a", "b")])] == [8, 9]


def test_no_more_than_the_hours_of_a_day(way):
    tasks = [task({8: 0.9, 10: 0.85, 32: 0.5, 34: 0.4}, name) for name in ("a", "b")]
    assert [at for _, at in placed(tasks, hours_a_day=2.0)] == [8, 10]
    assert [at for _, at in placed(tasks, hours_a_day=1.9)] == [8, 32]
    assert placed(tasks, hours_a_day=0.5) == []


def test_a_day_has_eight_hours_where_none_are_given(way):
    tasks = [task({8 + 2 * n: 0.9, 32 + 2 * n: 0.5}, f"job {n}", minutes=120) for n in range(5)]
    assert sum(at < 24 for _, at in placed(tasks)) == 4


def test_planned_work_takes_hours_of_its_own_day(way):
    tasks = [task({8: 0.9, 32: 0.5}, "a")]

    def beside(hours, day=0):
        begin = START + (12 + 24 * day) * H
        return placed(tasks, hours_a_day=3.0, planned=[Away(start=begin, end=begin + hours * H)])

    assert beside(2.0) == [("a", 8)]
    assert beside(2.5) == [("a", 32)]
    assert beside(5.0) == [("a", 32)]
    assert beside(5.0, day=1) == [("a", 8)]
    full = [Away(start=START + 12 * H, end=START + 17 * H)]
    found = order(tasks, now=NOW, zone=UTC_ZONE, hours_a_day=3.0, planned=full)
    assert found.method.startswith("the best order" if way == "solver" else "placed one by one")
    twice = [Away(start=START + h * H, end=START + (h + 1.25) * H) for h in (12, 15)]
    assert placed(tasks, hours_a_day=3.0, planned=twice) == [("a", 32)]


def test_the_day_is_that_of_the_sites_clock(way):
    # In Sydney the day turns at 14:00 UTC: 13:00 and 15:00 are two days there and one in London.
    tasks = [task({13: 0.9, 15: 0.8}, name) for name in ("a", "b")]
    assert len(placed(tasks, hours_a_day=1.0, zone=ZoneInfo("Australia/Sydney"))) == 2
    assert len(placed(tasks, hours_a_day=1.0)) == 1
    fixed = [Away(start=START + 16 * H, end=START + 18 * H)]
    sydney = {"hours_a_day": 2.0, "planned": fixed, "zone": ZoneInfo("Australia/Sydney")}
    assert placed(tasks[:1], **sydney) == [("a", 13)]


def test_what_finds_no_hour_is_said_with_the_reason(way):
    shut, free = task({}, "shut"), task({8: 0.5}, "free")
    found = order([shut, free], now=NOW, zone=UTC_ZONE)
    assert why(found.left) == [("shut", "closed")]
    assert found.left[0].lost[0][:2] == (0, found.left[0].hours)
    assert [each.judged.job.name for each in found.placed] == ["free"]
    nothing = order([shut], now=NOW, zone=UTC_ZONE)
    assert (nothing.placed, len(nothing.left), nothing.method) == ((), 1, "nothing to place")


def test_the_whole_is_worth_more_than_the_first_choice():
    # The solver gives up the best hour of one so that both are done.
    long, short = task({8: 0.9}, "long", minutes=180), task({9: 1.0, 20: 0.3}, "short")
    assert placed([long, short]) == [("long", 8), ("short", 20)]


def gap(direction, hours, *other, unit="h"):
    return Gap(
        id=f"{direction}{hours}",
        label="gap",
        direction=direction,
        other=other,
        hard_min=hours,
        unit=unit,
        low="x",
    )


def test_hours_that_must_lie_between_two_jobs_on_a_surface():
    mow = task({}, "mow", "green", kind="mowing")
    feed = task(
        {}, "feed", "green", kind="spraying", needs=(gap("since", 2, "mowing"), gap("until", 12, "mowing"))
    )
    assert wait_h(mow, feed) == 2.0
    assert wait_h(feed, mow) == 12.0
    elsewhere = task({}, "feed", "tee", kind="spraying", needs=feed.suitability.needs)
    assert wait_h(mow, elsewhere) == 0.0
    assert wait_h(mow, task({}, "roll", "green")) == 0.0


def test_a_gap_counts_by_name_or_kind_and_in_days_too():
    mow = task({}, "mow", "green", kind="mowing")
    by_name = task({}, "x", "green", kind="y", needs=(gap("since", 1.5, "mow", unit="d"),))
    assert wait_h(mow, by_name) == 36.0
    other = task({}, "x", "green", kind="y", needs=(gap("since", 3, "spraying"),))
    assert wait_h(mow, other) == 0.0
    longest = Gap(id="l", label="l", direction="since", other=("mowing",), hard_max=9, high="x")
    air = Limit(id="a", label="a", quantity="air_temp_c", hard_min=5, low="x")
    assert wait_h(mow, task({}, "x", "green", kind="y", needs=(longest, air))) == 0.0
    # Of two gaps the longer one holds, whoever asks for it.
    both = task({}, "x", "green", kind="y", needs=(gap("since", 3, "mowing"), gap("since", 5, "mow")))
    asked = task({}, "mow", "green", kind="mowing", needs=(gap("until", 4, "x"),))
    assert (wait_h(mow, both), wait_h(asked, both), wait_h(asked, other)) == (5.0, 5.0, 4.0)


def test_two_starts_clash_when_they_overlap_or_the_gap_is_too_short():
    mow = task({}, "mow", "green", minutes=90, kind="mowing")
    feed = task({}, "feed", "green", kind="spraying", needs=(gap("since", 2, "mowing"),))
    tee = task({}, "roll", "tee", minutes=30)
    # On two surfaces: from 8:00 to 9:30 the hands are taken.
    assert clash(mow, 8.0, tee, 9.4)
    assert not clash(mow, 8.0, tee, 9.5)
    assert not clash(mow, 8.0, tee, 7.5)
    assert clash(mow, 8.0, tee, 7.6)
    assert clash(tee, 8.0, mow, 8.0)
    # On one surface two hours more, whichever is named first.
    assert not clash(mow, 8.0, feed, 11.5)
    assert clash(mow, 8.0, feed, 11.4)
    assert clash(feed, 11.4, mow, 8.0)
    # The feed first asks for nothing after it.
    assert not clash(feed, 8.0, mow, 9.0)


def test_gaps_are_kept_in_the_order(way):
    mow = task({8: 0.9}, "mow", "green", kind="mowing")
    feed = task(
        {9: 0.9, 10: 0.8, 11: 0.7}, "feed", "green", kind="spraying", needs=(gap("since", 2, "mowing"),)
    )
    # As fakes cannot be judged again, what the plan comes to is left as it is.
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(week_module, "in_plan", lambda placed, plan: placed)
        assert placed([mow, feed]) == [("mow", 8), ("feed", 11)]
        before = task(
            {6: 0.5, 7: 0.6, 9: 0.9}, "feed", "green", kind="spraying", needs=(gap("until", 1, "mow"),)
        )
        assert placed([mow, before]) == [("mow", 8), ("feed", 9)]
        early = task({6: 0.5, 7: 0.6}, "feed", "green", kind="spraying", needs=(gap("until", 1, "mow"),))
        assert placed([mow, early]) == [("feed", 6), ("mow", 8)]
        # Named the other way round it is the same.
        assert placed([early, mow]) == [("feed", 6), ("mow", 8)]
        assert placed([feed, mow]) == [("mow", 8), ("feed", 11)]


def failing_at(*hours):
    """What judges a placed job beside the rest: these hours then fail."""

    def judged_again(each, plan):
        states = each.judged.suitability.state.copy()
        states[list(hours)] = BARRED
        suitability = SimpleNamespace(**{**vars(each.judged.suitability), "state": states})
        changed = SimpleNamespace(
            **{f: getattr(each.judged, f) for f in ("job", "surface", "attempt", "windows")}
        )
        changed.suitability = suitability
        return Placed(
            ask=each.ask, judged=changed, start=each.start, end=each.end, score=each.score, hour=each.hour
        )

    return judged_again


FALLING = {8: 0.9, 9: 0.8, 10: 0.7, 11: 0.6, 12: 0.5, 13: 0.4}


@pytest.mark.parametrize(
    ("failing", "hour"), [((), 8), ((8,), 9), ((8, 9), 10), ((8, 9, 10), 11), (tuple(range(8, 14)), None)]
)
def test_a_start_that_fails_beside_the_rest_is_tried_no_more(way, monkeypatch, failing, hour):
    monkeypatch.setattr(week_module, "in_plan", failing_at(*failing))
    # Six times the week is planned; then what still fails is left out, and said to have failed.
    found = order([task(FALLING)], now=NOW, zone=UTC_ZONE)
    assert [each.hour for each in found.placed] == ([] if hour is None else [hour])
    assert why(found.left) == ([] if hour else [("mow", "beside")])


def test_what_holds_stays_when_another_job_is_left_out(way, monkeypatch):
    monkeypatch.setattr(week_module, "in_plan", failing_at(*range(8, 14)))
    good = task({20: 0.5}, "good")
    found = order([task(FALLING, "bad"), good], now=NOW, zone=UTC_ZONE)
    assert [each.judged.job.name for each in found.placed] == ["good"]
    assert why(found.left) == [("bad", "beside")]


def test_the_plain_way_is_taken_where_the_solver_has_found_less(monkeypatch):
    tasks = [task({8: 0.9}, "a"), task({10: 0.8}, "b")]

    def method(items, is_best=False):
        monkeypatch.setattr(week_module, "choose", lambda values, rows: Choice(items, is_best))
        found = order(tasks, now=NOW, zone=UTC_ZONE)
        return len(found.placed), found.method.split(";")[0]

    assert method([0]) == (2, "placed one by one")
    assert method([0, 1]) == (2, "the best order found in the time there was")
    assert method([0], is_best=True) == (1, "the best order there is")
    monkeypatch.setattr(week_module, "choose", lambda values, rows: None)
    assert order(tasks, now=NOW, zone=UTC_ZONE).method == (
        "placed one by one; the solver found nothing better in its time"
    )


AIR = Limit(id="air", label="air", quantity="air_temp_c", hard_min=5, best_from=10, low="cold")
SINCE = Gap(
    id="since", label="since", direction="since", other=("mowing",), hard_min=1, best_from=5, low="too soon"
)
UNTIL = Gap(
    id="until", label="until", direction="until", other=("mowing",), hard_min=1, best_from=5, low="too near"
)


def real(name, kind, hour, *needs, surface="green", done=()):
    """A job judged for itself alone, placed at an hour."""
    laid = ground(SKY)
    made = laid.site.surface(surface)
    job = (
        config()
        .job("mow_green")
        .model_copy(update={"name": name, "kind": kind, "needs": needs, "duration_min": 60.0})
    )
    attempt = attempt_of(laid, job, made, done)
    suitability = judge(job, made, attempt)
    judged = Judged(job=job, surface=made, attempt=attempt, suitability=suitability, windows=())
    return Placed(
        ask=Ask(judged=judged),
        judged=judged,
        start=START + hour * H,
        end=START + (hour + 1) * H,
        score=float(suitability.score[hour]),
        hour=hour,
    )


def test_a_placed_job_is_judged_with_the_work_before_and_after_it():
    feed = real("feed", "spraying", 10, AIR, SINCE, UNTIL)
    assert [n.id for n in feed.judged.suitability.needs] == ["air"]
    before, after = real("mow", "mowing", 6, AIR), real("cut", "mowing", 14, AIR)
    found = in_plan(feed, [before, feed, after])
    needs = [n.id for n in found.judged.suitability.needs]
    # The mowing ends at seven: three hours before; the cut begins three hours after the feed is done.
    assert found.judged.suitability.value(needs.index("since"), 10) == 3.0
    assert found.judged.suitability.value(needs.index("until"), 10) == 3.0
    # Half of the way from one hour to five, twice of three needs: the cube root of a quarter.
    assert found.score == pytest.approx(0.25 ** (1 / 3))
    assert found.score == found.judged.suitability.score[10]
    assert (found.start, found.hour) == (feed.start, 10)
    assert [work.at for work in found.judged.attempt.done] == [before.end]
    assert [work.at for work in found.judged.attempt.planned] == [after.start]
    assert [(w.job, w.kind, w.surface) for w in found.judged.attempt.done] == [("mow", "mowing", "green")]


def test_work_that_ends_as_the_job_begins_is_done_before_it():
    feed, before = real("feed", "spraying", 10, AIR, SINCE), real("mow", "mowing", 9, AIR)
    found = in_plan(feed, [before, feed])
    assert [work.at for work in found.judged.attempt.done] == [before.end]
    assert found.judged.attempt.planned == ()
    assert found.judged.suitability.state[10] == BARRED


def test_work_on_record_is_kept_beside_that_of_the_plan():
    old = WorkDone(job="m", kind="mowing", surface="green", at=START)
    feed, before = real("feed", "spraying", 10, AIR, SINCE, done=(old,)), real("mow", "mowing", 6, AIR)
    assert [work.at for work in in_plan(feed, [before]).judged.attempt.done] == [START, before.end]


def test_work_elsewhere_the_job_itself_or_what_shares_its_tank_changes_nothing():
    feed = real("feed", "spraying", 10, AIR, SINCE)
    assert in_plan(feed, [feed, real("mow", "mowing", 9, AIR, surface="collar")]) is feed
    shared = replace(feed, together=("regulator",))
    assert in_plan(shared, [shared, real("regulator", "spraying", 10, AIR)]) is shared


def test_another_turn_of_the_same_work_counts():
    again = Gap(
        id="again",
        label="since the last",
        direction="since",
        other=("feed",),
        hard_min=1,
        best_from=5,
        low="soon",
    )
    feed = real("feed", "spraying", 10, AIR, again)
    found = in_plan(feed, [real("feed", "spraying", 6, AIR), feed])
    assert found.judged.suitability.state[10] == NARROW
