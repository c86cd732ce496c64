"""When work that is asked for may stand, and what a start is worth: by hand, on invented hours.

Tolerances, worth of days and order of the day are judgement: common practice, no source.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from planner.planning.apart import Apart, Away, HoursOfDays, pairs_of
from planner.planning.asks import Ask, Frame, starts_of
from planner.planning.one_tank import mixes_of
from planner.planning.week import order
from tests.made import DEMO, config
from tests.planning.test_week_order import HOURS, START, UTC_ZONE, H, gap, task

NOW = START + timedelta(hours=6)
TODAY = date(2026, 5, 4)
EVERY_HOUR = dict.fromkeys(range(HOURS), 0.5)
LONDON = ZoneInfo("Europe/London")


def day(number: int, hour: int = 12) -> datetime:
    """A moment of a day from the first on, UTC."""
    return START + timedelta(days=number, hours=hour)


def days_of(**settings) -> tuple[int, int]:
    """First and last day on which an ask may stand, from today on."""
    first, last = Ask(judged=task({}), **settings).days_of(TODAY, 7, UTC_ZONE)
    return (first - TODAY).days, (last - TODAY).days


@pytest.mark.parametrize(
    ("settings", "days"),
    [
        # Nothing is due on a day of its own: all of the days ahead.
        ({}, (0, 7)),
        ({"due": day(4), "is_by": True}, (0, 7)),
        # A fifth of the interval early, three days at most, and never in the past.
        ({"due": day(4), "every_d": 10.0}, (2, 7)),
        ({"due": day(4), "every_d": 4.0}, (4, 7)),
        ({"due": day(4), "every_d": 5.0}, (3, 7)),
        ({"due": day(4), "every_d": 30.0}, (1, 7)),
        ({"due": day(1), "every_d": 30.0}, (0, 7)),
        # Overdue is due today.
        ({"due": day(-3), "every_d": 4.0}, (0, 7)),
        # A turn that another follows is late by less than its interval.
        ({"due": day(2), "every_d": 4.0, "is_last": False}, (2, 5)),
        ({"due": day(2), "every_d": 1.0, "is_last": False}, (2, 2)),
        ({"due": day(2), "every_d": 2.0, "is_last": False}, (2, 3)),
        ({"due": day(2), "every_d": 0.5, "is_last": False}, (2, 2)),
        # Due by growth: a day early.
        ({"due": day(4)}, (3, 7)),
        # The morning of a play day is no other.
        ({"ends_by": day(5, 10), "every_d": 2.0}, (5, 5)),
    ],
)
def test_days_on_which_work_may_stand(settings, days):
    assert days_of(**settings) == days


def kept(at: datetime, **settings) -> float:
    """What is left of the worth at a moment."""
    return Ask(judged=task({}, **settings.pop("job", {})), **settings).kept_on(at.date(), at, NOW, UTC_ZONE)


def test_a_day_early_costs_a_fifth_and_a_day_late_a_tenth():
    on_day = kept(day(4), due=day(4), every_d=10.0)
    assert kept(day(3), due=day(4), every_d=10.0) == pytest.approx(0.8 * on_day, rel=0.01)
    assert kept(day(2), due=day(4), every_d=10.0) == pytest.approx(0.64 * on_day, rel=0.01)
    assert kept(day(5), due=day(4), every_d=10.0) == pytest.approx(0.9 * on_day, rel=0.01)
    assert kept(day(6), due=day(4), every_d=10.0) == pytest.approx(0.81 * on_day, rel=0.01)
    # Of two hours as good on one day the sooner is taken.
    assert kept(day(4, 8), due=day(4), every_d=10.0) > kept(day(4, 12), due=day(4), every_d=10.0)


def test_work_wanted_by_a_time_waits_the_less_willingly_the_nearer_that_is():
    # Wanted in four days: it presses by a fifth, is worth 1.04 today, and loses 0.97 to the power of 1.6 a day.
    by = {"due": day(4), "is_by": True}
    assert kept(NOW, **by) == pytest.approx(1.04)
    assert kept(NOW + timedelta(days=1), **by) == pytest.approx(1.04 * 0.97**1.6)
    assert kept(day(4, 12), **by) == pytest.approx(1.04 * 0.97 ** (1.6 * 4.25))
    # Once the time has gone half of it is left.
    assert kept(day(4, 13), **by) == pytest.approx(0.5 * 1.04 * 0.97 ** (1.6 * (4.25 + 1 / 24)))
    assert kept(NOW, due=day(1), is_by=True) > kept(NOW, **by)
    # Nothing is due: each day of waiting costs three parts in a hundred.
    assert kept(NOW + timedelta(days=2)) == pytest.approx(0.97**2)
    assert kept(NOW + timedelta(days=2), ends_by=day(2)) == pytest.approx(0.97**2)


def back(at: datetime, play: datetime, best=(2.0, 4.0), **settings) -> float:
    """What is left of the worth of work that is counted back from a play day."""
    made = task({})
    made.job.before_play_d = best
    return Ask(judged=made, play=play, **settings).kept_on(at.date(), at, NOW, UTC_ZONE)


def test_work_is_worth_most_on_its_best_days_before_play():
    play = day(6, 10)
    values = {number: back(day(number, 9), play, due=day(3), every_d=10.0) for number in range(6)}
    # Three days before, then the days beside it; the day before and a week before are worth little.
    assert max(values, key=lambda number: values[number]) == 3
    assert min(values[2], values[4]) > 0.9
    assert max(values[0], values[1], values[5]) < 0.62
    assert values[3] > values[2] > values[0]
    # Work after the play day, or of no such kind, goes by its own day.
    assert back(day(7, 9), play, due=day(7), every_d=10.0) == pytest.approx(
        kept(day(7, 9), due=day(7), every_d=10.0)
    )
    assert back(day(3, 9), play, best=None, due=day(3), every_d=10.0) == pytest.approx(
        kept(day(3, 9), due=day(3), every_d=10.0)
    )


def test_work_is_not_put_off_by_more_than_most_of_its_interval():
    # Best on day 7 for play on day 10: six tenths of ten days from day 1, not from day 0.
    play = day(10, 10)
    assert back(day(1, 9), play, due=day(1), every_d=10.0) < 0.7
    assert back(day(0, 9), play, due=day(0), every_d=10.0) == pytest.approx(
        kept(day(0, 9), due=day(0), every_d=10.0)
    )


def hours(*asks: Ask, mixes=(), **settings) -> list[tuple[tuple[int, ...], float]]:
    """The starts that are tried: asks and hours from START."""
    frame = Frame(**{"now": NOW, "zone": UTC_ZONE, "days": 7, **settings})
    first = START.timestamp() / 3600.0
    return [(start.asks, round(start.at_h - first, 6)) for start in starts_of(asks, frame, mixes)]


def test_work_is_not_placed_before_it_may_be():
    ask = Ask(judged=task(EVERY_HOUR, minutes=60), not_before=day(1, 9))
    assert min(at for _, at in hours(ask)) == 33
    morning = Ask(judged=task(EVERY_HOUR, minutes=90), ends_by=day(2, 10))
    # Ninety minutes before ten: not later than half past eight.
    assert {at for _, at in hours(morning)} <= set(range(48, 57))
    assert max(at for _, at in hours(morning)) <= 56


def test_the_best_starts_of_a_day_are_tried():
    one = dict.fromkeys(range(6, 24), 0.5) | {20: 0.9, 21: 0.95}
    found = [at for _, at in hours(Ask(judged=task(one)))]
    assert len(found) == 8
    assert {20, 21} <= set(found)


def test_two_jobs_may_share_a_tank_where_their_surface_says_so():
    feed, regulator = (
        task({8: 0.5, 9: 0.6}, "feed", "green"),
        task({9: 0.7}, "regulator", "green", minutes=90),
    )
    asks = (Ask(judged=feed), Ask(judged=regulator))
    mixes = frozenset({("green", frozenset({"feed", "regulator"}))})
    assert ((0, 1), 9.0) in hours(*asks, mixes=mixes)
    assert all(len(number) == 1 for number, _ in hours(*asks))
    assert all(
        len(number) == 1 for number, _ in hours(*asks, mixes={("tee", frozenset({"feed", "regulator"}))})
    )
    starts = starts_of(asks, Frame(now=NOW, zone=UTC_ZONE, days=7), mixes)
    both = next(start for start in starts if len(start.asks) == 2)
    # The longer of the two, and worth a little more than both apart.
    assert both.length_h == 1.5
    assert both.value == pytest.approx(
        1.05 * sum(s.value for s in starts if s.at_h == both.at_h and s is not both)
    )


def test_three_share_a_tank_only_where_each_two_may():
    jobs = [task({9: 0.5}, name, "green") for name in ("a", "b", "c")]
    asks = tuple(Ask(judged=one) for one in jobs)

    def pair(one, other):
        return ("green", frozenset({one, other}))

    every = {pair("a", "b"), pair("a", "c"), pair("b", "c")}
    assert ((0, 1, 2), 9.0) in hours(*asks, mixes=every)
    assert not any(len(number) == 3 for number, _ in hours(*asks, mixes=every - {pair("b", "c")}))


def test_materials_say_what_may_share_a_tank():
    made = config()
    by_name = {one.name: one for one in made.materials}
    from dataclasses import replace

    feed, regulator = by_name["foliar 10-0-4"], by_name["growth regulator, leaf"]
    friendly = replace(feed, mixes_with=(regulator.name,))
    named = {("foliar_feed", "green"): "", ("growth_regulator", "green"): "", ("foliar_feed", "collar"): ""}
    assert mixes_of(named, [friendly, regulator]) == {
        ("green", frozenset({"foliar_feed", "growth_regulator"}))
    }
    assert mixes_of(named, [feed, regulator]) == frozenset()
    # A named material stands before the job's first; one that nobody knows shares with none.
    named[("foliar_feed", "green")] = "urea 46-0-0"
    assert mixes_of(named, [friendly, regulator, by_name["urea 46-0-0"]]) == frozenset()
    assert mixes_of({("foliar_feed", "green"): ""}, [friendly]) == frozenset()
    assert DEMO.is_file()


def test_windows_that_open_or_close_within_an_hour_are_starts_too():
    from types import SimpleNamespace

    window = SimpleNamespace(start=START + 7.5 * H, latest_start=START + 9.25 * H)
    found = hours(Ask(judged=task({8: 0.5, 9: 0.6}, windows=(window,))))
    assert [at for _, at in found] == pytest.approx(
        sorted([8, 9, 7.5, 9.25], key=[at for _, at in found].index)
    )
    assert {at for _, at in found} == {8.0, 9.0, 7.5, 9.25}


def placed(*asks: Ask, **settings) -> list[tuple[str, float]]:
    found = order(asks, **{"now": NOW, "zone": UTC_ZONE, **settings})
    return [(each.judged.job.name, (each.start - START) / H) for each in found.placed]


@pytest.fixture(autouse=True)
def _fakes_stay_as_they_are(monkeypatch):
    from planner.planning import week

    monkeypatch.setattr(week, "in_plan", lambda placed, plan: placed)


def test_two_turns_of_the_same_work_lie_apart():
    # Every two days: 0.6 of 48 hours between two cuts, so not on one day nor on two that follow.
    cuts = [
        Ask(judged=task(EVERY_HOUR, "mow", "green"), due=day(number), every_d=2.0, is_last=number == 5)
        for number in (1, 3, 5)
    ]
    days = [at // 24 for _, at in placed(*cuts)]
    assert days == [1, 3, 5]
    late = [
        Ask(judged=task({50: 0.5, 60: 0.5, 79: 0.5}, "mow", "green"), due=day(n), every_d=2.0) for n in (1, 2)
    ]
    assert placed(*late) == [("mow", 50), ("mow", 79)]


def test_the_roller_comes_after_the_mower_where_both_fall_on_one_day():
    mow, roll = task({9: 0.9}, "mow", "green"), task({7: 0.9, 11: 0.4}, "roll", "green", kind="rolling")
    asks = [Ask(judged=mow), Ask(judged=roll)]
    assert placed(*asks) == [("roll", 7), ("mow", 9)]
    roll.job.same_day_after = ("mowing",)
    assert placed(*asks) == [("mow", 9), ("roll", 11)]
    assert placed(*reversed(asks)) == [("mow", 9), ("roll", 11)]
    # On another day or surface it may come first.
    mow_tomorrow = Ask(judged=task({33: 0.9}, "mow", "green"))
    assert placed(mow_tomorrow, Ask(judged=roll)) == [("roll", 7), ("mow", 33)]
    tee = task({9: 0.9}, "mow", "tee")
    assert placed(Ask(judged=tee), Ask(judged=roll)) == [("roll", 7), ("mow", 9)]


def test_a_shared_pass_takes_one_row_of_time_and_keeps_the_gaps_of_both():
    feed, regulator = task({9: 0.9}, "feed", "green"), task({9: 0.9}, "regulator", "green")
    cut = task({8: 0.9, 12: 0.5, 16: 0.4}, "mow", "green", needs=(gap("since", 4, "feed"),))
    asks = [Ask(judged=feed), Ask(judged=regulator), Ask(judged=cut)]
    mixes = {("green", frozenset({"feed", "regulator"}))}
    assert placed(*asks, mixes=mixes) == [("mow", 8), ("feed", 9), ("regulator", 9)]
    late = task({10: 0.9, 12: 0.5, 16: 0.4}, "mow", "green", needs=(gap("since", 4, "feed"),))
    assert placed(*asks[:2], Ask(judged=late), mixes=mixes)[-1] == ("mow", 16)
    found = order(asks, now=NOW, zone=UTC_ZONE, mixes=mixes)
    assert {each.judged.job.name: each.together for each in found.placed} == {
        "mow": (),
        "feed": ("regulator",),
        "regulator": ("feed",),
    }


def test_hours_of_a_day_are_counted_for_one_pass_once():
    feed, regulator = task({9: 0.9}, "feed", "green"), task({9: 0.9}, "regulator", "green")
    asks = [Ask(judged=feed), Ask(judged=regulator)]
    mixes = {("green", frozenset({"feed", "regulator"}))}
    assert len(placed(*asks, mixes=mixes, hours_a_day=1.0)) == 2
    assert len(placed(*asks, hours_a_day=1.0)) == 1


def test_starts_that_can_both_be():
    asks = [Ask(judged=task({8: 0.5, 9: 0.5}, name, name)) for name in ("a", "b")]
    starts = starts_of(asks, Frame(now=NOW, zone=UTC_ZONE, days=7))
    apart = Apart(pairs_of(asks), starts, HoursOfDays(UTC_ZONE, 8.0, ()))
    at = {(start.asks[0], (start.at - START) / H): start for start in starts}
    assert apart.both(at[0, 8.0], at[1, 9.0])
    assert not apart.both(at[0, 8.0], at[1, 8.0])
    assert not apart.both(at[0, 8.0], at[0, 9.0])


def test_what_took_the_hours_of_a_job_is_told_with_the_limit_that_closes_the_rest():
    one = task({9: 0.9}, "a", "green")
    other = task({9: 0.5}, "b", "green")
    found = order([Ask(judged=one), Ask(judged=other)], now=NOW, zone=UTC_ZONE)
    (left,) = found.left
    assert [rival.job.name for rival in left.taken_by] == ["a"]
    assert left.lost[0][0] == 0
    assert left.lost[0][1] == left.hours - 1
    assert not left.is_away
    gone = order(
        [Ask(judged=one)], now=NOW, zone=UTC_ZONE, away=[Away(start=START + 8 * H, end=START + 12 * H)]
    )
    assert gone.left[0].is_away
    nowhere = task({}, "c")
    nowhere.suitability.state[:] = 4
    nowhere.suitability.margin = np.full((1, HOURS), np.nan)
    assert order([Ask(judged=nowhere)], now=NOW, zone=UTC_ZONE).left[0].is_unread
    # What is known to close an hour is told before what is not known of it.
    need = nowhere.suitability.needs[0]
    nowhere.suitability.needs = (need, need)
    nowhere.suitability.margin = np.stack([np.full(HOURS, np.nan), np.full(HOURS, -0.5)])
    known = order([Ask(judged=nowhere)], now=NOW, zone=UTC_ZONE).left[0]
    assert (known.is_unread, known.lost[0][0]) == (False, 1)


def test_the_days_are_those_of_the_sites_clock():
    # 23:30 UTC on the 4th is half past midnight of the 5th in London.
    ask = Ask(judged=task({}), due=datetime(2026, 5, 4, 23, 30, tzinfo=UTC), every_d=4.0)
    assert ask.days_of(TODAY, 7, LONDON)[0] == date(2026, 5, 5)
    assert ask.days_of(TODAY, 7, UTC_ZONE)[0] == TODAY
