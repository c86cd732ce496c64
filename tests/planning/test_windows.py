"""Windows on invented hours: when they begin and end, which hour is best, and what shuts a job out."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import numpy as np
import pytest

from planner.margin import EPS
from planner.planning.conditions import attempt_of
from planner.planning.suitability import Suitability, judge
from planner.planning.windows import closed_by, find
from planner.rules.base import Attempt
from planner.rules.clock import Clock
from planner.rules.gap import Gap
from planner.rules.limit import Limit
from planner.site import WorkDone
from tests.made import config, ground, weather

START = datetime(2026, 5, 4, tzinfo=UTC)
H, MINUTE = timedelta(hours=1), timedelta(minutes=1)
STEADY, NARROW, BROKEN, BARRED, UNREAD = range(5)


def found(states, *, now=START, minutes=60.0, scores=None, margins=None, chances=None):
    """Windows of a job without needs whose verdicts are these, hour by hour from midnight."""
    hours = len(states)
    suitability = Suitability(
        job=SimpleNamespace(name="mow", duration_h=minutes / 60),
        surface=SimpleNamespace(name="green"),
        needs=(),
        readings=(),
        margin=np.array(margins if margins is not None else [[0.5] * hours], dtype=float),
        state=np.array(states, dtype=np.int8),
        score=np.array(scores if scores is not None else [0.5] * hours, dtype=float),
        limiting=np.zeros(hours, dtype=np.intp),
        chance=None if chances is None else np.array(chances, dtype=float),
    )
    laid = ground(weather(START, hours))
    attempt = Attempt(quantities=laid.surfaces["green"], duration_h=minutes / 60, shared=laid.shared)
    return find(suitability, attempt, now=now)


def test_a_window_is_a_run_of_hours_that_hold():
    windows = found([BARRED, STEADY, NARROW, BROKEN, UNREAD, STEADY, BARRED], minutes=90)
    # With nothing that changes within the hour the last start is five minutes before the next.
    assert [(w.start, w.latest_start) for w in windows] == [
        (START + 1 * H, START + 2 * H + 55 * MINUTE),
        (START + 5 * H, START + 5 * H + 55 * MINUTE),
    ]
    assert windows[0].end == windows[0].latest_start + 90 * MINUTE
    assert windows[0].next_start == windows[1].start
    assert windows[1].next_start is None
    assert {(w.job, w.surface) for w in windows} == {("mow", "green")}


def test_no_hour_that_holds_is_no_window():
    assert found([BARRED, BROKEN, UNREAD]) == ()


def test_a_run_up_to_the_end_of_the_weather_is_a_window():
    (window,) = found([STEADY, STEADY])
    assert (window.start, window.latest_start) == (START, START + H + 55 * MINUTE)


def test_the_best_hour_is_steady_then_that_of_the_most_room_then_of_the_best_score():
    (window,) = found(
        [NARROW, STEADY, NARROW, STEADY, BARRED],
        scores=[0.9, 0.4, 0.95, 0.95, 1.0],
        margins=[[0.9, 5.0, 0.7, 3.0, 0], [0.8, 2.0, 0.3, 2.0, 0]],
        chances=[0.1, 0.2, 0.6, 0.4, 0.0],
    )
    assert (window.best_hour, window.best_start) == (3, START + 3 * H)
    assert (window.state, window.score, window.margin, window.chance) == ("steady", 0.95, 1.0, 0.4)
    (narrow,) = found([NARROW] * 3, scores=[0.9, 0.5, 0.6], margins=[[0.9, 0.4, 0.4], [0.2, 0.4, 0.9]])
    # Many comfortable needs do not hide one that nearly fails.
    assert narrow.best_hour == 2


def test_a_window_says_from_when_to_when_it_is_steady():
    (window,) = found([NARROW, NARROW, STEADY, STEADY, NARROW, BARRED])
    assert (window.steady_from, window.steady_until) == (START + 2 * H, START + 4 * H)
    (narrow,) = found([NARROW, NARROW])
    assert (narrow.steady_from, narrow.steady_until) == (None, None)
    (whole,) = found([BARRED, STEADY, STEADY, STEADY, STEADY, BARRED], scores=[0, 0.5, 0.5, 0.9, 0.5, 0])
    assert (whole.steady_from, whole.steady_until) == (START + H, START + 5 * H)
    # A steady run of another window is none of this one's.
    first, second = found([STEADY, BARRED, STEADY])
    assert (first.steady_until, second.steady_from) == (START + H, START + 2 * H)
    # Of two steady runs the one with the best hour is told.
    (parted,) = found([STEADY, NARROW, STEADY], scores=[0.5, 0.5, 0.9])
    assert (parted.steady_from, parted.steady_until) == (START + 2 * H, START + 3 * H)


def test_the_margin_of_a_window_is_at_most_one_and_passes_over_what_is_unknown():
    (window,) = found([STEADY], margins=[[5.0], [np.nan]], chances=[np.nan])
    assert window.margin == 1.0
    assert window.chance is None
    assert found([STEADY])[0].chance is None


def test_hours_that_are_past_are_no_window_and_the_running_one_begins_in_five_minutes():
    states = [STEADY, STEADY, STEADY, BARRED]
    scores = [1.0, 0.2, 0.1, 0.0]
    (window,) = found(states, now=START + H + 2 * MINUTE, scores=scores)
    # The best hour is the running one, so the best start is now and not in the past.
    assert (window.start, window.best_start) == (START + H + 5 * MINUTE, START + H + 5 * MINUTE)
    assert window.best_hour == 1


@pytest.mark.parametrize(
    ("now", "start"),
    [
        ("01:00:00", "01:00"),
        ("01:05:00", "01:05"),
        ("01:05:01", "01:10"),
        ("01:00:30", "01:05"),
        ("01:04:59", "01:05"),
        ("01:11:00", "01:15"),
        ("00:57:10", "01:00"),
    ],
)
def test_a_start_is_said_in_whole_five_minutes(now, start):
    at = datetime.fromisoformat(f"2026-05-04T{now}+00:00")
    (window,) = found([BARRED, STEADY, STEADY], now=at)
    assert f"{window.start:%H:%M}" == start
    fine = at + timedelta(microseconds=1)
    assert found([BARRED, STEADY], now=fine)[0].start >= window.start


@pytest.mark.parametrize(("minute", "windows"), [(54, 1), (55, 1), (56, 0)])
def test_a_running_hour_counts_as_long_as_its_latest_start_is_ahead(minute, windows):
    assert len(found([STEADY, BARRED], now=START + minute * MINUTE)) == windows


def test_now_before_the_weather_counts_all_of_it():
    assert len(found([STEADY, BARRED, STEADY], now=START - 30 * H)) == 2


def real(*needs, hours=48, minutes=60.0, now=START, done=(), planned=(), **columns):
    """Windows of a job with these needs on the green."""
    laid = ground(weather(START, hours, **columns))
    surface = laid.site.surface("green")
    job = config().job("mow_green").model_copy(update={"needs": needs, "duration_min": minutes})
    attempt = attempt_of(laid, job, surface, done, planned)
    return find(judge(job, surface, attempt), attempt, now=now)


def warm(**changes):
    plain = {"id": "air", "label": "air", "quantity": "air_temp_c", "hard_min": 5.0, "low": "cold"}
    return Limit(**{**plain, **changes})


COLD_FROM_10 = {"air_temp_c": dict.fromkeys(range(10, 48), 2.0)}


@pytest.mark.parametrize(
    ("minutes", "latest"),
    [(60, "09:00"), (45, "09:15"), (90, "08:30"), (105, "08:15"), (20, "09:40"), (1, "09:59")],
)
def test_work_that_must_be_done_before_an_hour_fails_starts_in_time(minutes, latest):
    # It is warm until ten, and every hour of the work must be warm.
    window = real(warm(), minutes=minutes, **COLD_FROM_10)[0]
    assert f"{window.latest_start:%H:%M}" == latest


def test_each_window_has_its_own_latest_start():
    # The first ends with the cold at eight, the second an hour and the hour of work before the cut at 20:20.
    cut = WorkDone(job="m", kind="mowing", surface="green", at=START + 20 * H + 20 * MINUTE)
    gap = Gap(id="g", label="until", direction="until", other=("mowing",), hard_min=1, low="too near")
    windows = real(warm(), gap, planned=(cut,), air_temp_c={8: 2.0})
    assert [f"{window.latest_start:%H:%M}" for window in windows[:2]] == ["07:00", "18:20"]


def test_each_window_knows_the_next():
    windows = found([STEADY, BARRED, STEADY, BARRED, STEADY, STEADY])
    assert [window.next_start for window in windows] == [START + 2 * H, START + 4 * H, None]


def test_the_latest_start_ends_with_the_first_need_that_fails():
    # Four dry hours after the work as well as warmth during it: rain at 14 ends it earlier than the cold at 10.
    dry = Limit(
        id="dry", label="dry", quantity="rain_mm", when="after", hours=(0, 4), hard_max=0.2, high="rain"
    )
    window = real(warm(), dry, minutes=45, rain_mm={12: 3.0}, **COLD_FROM_10)[0]
    # Work to 08:00 and four hours to 12:00.
    assert f"{window.latest_start:%H:%M}" == "07:15"


def test_an_hour_that_fails_and_holds_again_within_the_hour_is_left_at_the_first_failure():
    # An hour's work in a clock that shuts from 9 to 9:30 would hold again at 9:30; the run ends before nine.
    morning = Clock(opens="00:00", closes="09:00")
    window = real(morning, minutes=30)[0]
    # Europe/London is an hour ahead of UTC in May.
    assert window.latest_start == START + 7.5 * H


def test_a_gap_opens_a_window_within_the_hour_and_other_needs_must_hold_by_then():
    cut = WorkDone(job="m", kind="mowing", surface="green", at=START + 8 * H + 20 * MINUTE)
    gap = Gap(id="g", label="since", direction="since", other=("mowing",), hard_min=2, low="too soon")
    window = real(gap, done=(cut,))[-1]
    assert window.start == START + 10 * H + 20 * MINUTE
    assert window.best_start == window.start
    # The work at 10:20 runs into a cold hour, so nothing opens before the full hour that is warm throughout.
    cold = {"air_temp_c": {11: 2.0}}
    assert real(gap, warm(), done=(cut,), **cold)[-1].start == START + 12 * H


@pytest.mark.parametrize("hour", [7, 8])
def test_an_opening_within_an_odd_hour_is_like_one_within_an_even(hour):
    cut = WorkDone(job="m", kind="mowing", surface="green", at=START + hour * H + 20 * MINUTE)
    gap = Gap(id="g", label="since", direction="since", other=("mowing",), hard_min=2, low="too soon")
    assert real(gap, done=(cut,))[-1].start == START + (hour + 2) * H + 20 * MINUTE


def test_the_first_hour_opens_early_too_where_all_else_holds():
    cut = WorkDone(job="m", kind="mowing", surface="green", at=START - 2 * H + 20 * MINUTE)
    gap = Gap(id="g", label="since", direction="since", other=("mowing",), hard_min=2, low="too soon")
    assert real(gap, done=(cut,))[0].start == START + 20 * MINUTE
    assert real(gap, warm(), done=(cut,), air_temp_c={0: 2.0})[0].start == START + H


def test_nothing_opens_before_the_weather():
    cut = WorkDone(job="m", kind="mowing", surface="green", at=START - 2 * H - 20 * MINUTE)
    gap = Gap(id="g", label="since", direction="since", other=("mowing",), hard_min=2, low="too soon")
    assert real(gap, done=(cut,), now=START - 10 * H)[0].start == START


def test_a_window_opens_early_only_from_now_on():
    cut = WorkDone(job="m", kind="mowing", surface="green", at=START + 8 * H + 20 * MINUTE)
    gap = Gap(id="g", label="since", direction="since", other=("mowing",), hard_min=2, low="too soon")
    # At 11:10 the part of the hour from 10:20 is past.
    assert real(gap, done=(cut,), now=START + 11 * H + 10 * MINUTE)[0].start == START + 11 * H + 10 * MINUTE
    assert real(gap, done=(cut,), now=START + 10 * H + 10 * MINUTE)[0].start == START + 10 * H + 20 * MINUTE


def test_of_two_openings_within_the_hour_the_later_one_counts():
    cut = WorkDone(job="m", kind="mowing", surface="green", at=START + 8 * H + 20 * MINUTE)
    feed = WorkDone(job="f", kind="feeding", surface="green", at=START + 8 * H + 40 * MINUTE)
    gaps = [
        Gap(id=kind, label=kind, direction="since", other=(kind,), hard_min=2, low="too soon")
        for kind in ("mowing", "feeding")
    ]
    assert real(*gaps, done=(cut, feed))[-1].start == START + 10 * H + 40 * MINUTE


CALENDAR, AIR, WIND = (
    SimpleNamespace(is_calendar=flag, harm=False, from_label=False) for flag in (True, False, False)
)


def closed(margins, *, states=None, now=START, hours=100, needs=(CALENDAR, AIR, WIND), kind="mowing"):
    table = np.array(margins, dtype=float)
    if states is None:
        states = np.where(
            np.isnan(table).any(axis=0), UNREAD, np.where((table < 0).any(axis=0), BARRED, STEADY)
        )
    suitability = SimpleNamespace(
        needs=needs,
        margin=table,
        state=np.array(states, dtype=np.int8),
        job=SimpleNamespace(has_label=False, kind=kind, duration_h=1.0),
    )
    return closed_by(suitability, weather(START, table.shape[1]), now=now, hours=hours)


NAN = np.nan


def test_what_shuts_a_job_is_counted_in_the_hours_that_clock_and_season_leave_open():
    why = closed(
        [
            [-1, 9, 9, 9, 9, -1],
            [-2, -0.5, -0.2, 1, -0.1, -3],
            [-2, 1, -0.3, -0.4, 1, -3],
        ]
    )
    assert why.lost == {1: 3, 2: 2}
    # The air comes nearest in the fifth hour, the wind in the third.
    assert why.nearest == {1: 4, 2: 2}
    # One miss is less than two; of single misses the smaller.
    assert why.least_bad == (4, 3)
    assert (why.hours_unread, why.unread_hour) == (0, None)


def test_of_two_misses_the_smaller_sum_is_less_bad():
    why = closed([[9, 9, 9], [-0.5, -0.1, -0.6], [-0.1, -0.6, -0.3]])
    assert why.least_bad == (0, 1)


def test_one_bad_miss_is_less_than_two_small_ones():
    why = closed([[9, 9], [-0.1, -0.9], [-0.2, 1]])
    assert why.least_bad == (1, 0)


def test_what_holds_well_does_not_make_up_for_a_miss():
    assert closed([[9, 9], [-0.5, -0.4], [0.9, 0.1]]).least_bad == (1, 0)


def test_an_hour_is_open_when_clock_and_season_both_are():
    why = closed([[-1, 9, 9], [9, -1, 9], [-0.5, -0.5, -0.5]], needs=(CALENDAR, CALENDAR, AIR))
    assert why.lost == {2: 1}


def test_a_miss_within_the_rounding_of_a_sum_is_none():
    why = closed([[9, 9], [-EPS, -5e-7], [1, 1]], states=[STEADY, BARRED])
    assert why.lost == {1: 1}
    assert why.least_bad == (1,)


def test_hours_that_are_not_read_are_counted_apart_from_what_is_known_to_close():
    why = closed([[9, 9, -1, 9, 9], [NAN, -1, NAN, NAN, NAN], [-1, NAN, 1, 1, 1]])
    # The third hour is shut by the clock, the first two by what is known of them; the last two are told by nothing.
    assert (why.hours_unread, why.unread_hour) == (2, 3)
    assert why.lost == {1: 1, 2: 1}
    assert why.least_bad == ()


def test_an_optional_need_that_is_not_known_neither_counts_nor_excuses():
    why = closed([[9, 9], [NAN, NAN], [-0.5, -0.2]], states=[BARRED, BARRED])
    assert why.lost == {2: 2}
    assert why.least_bad == (1, 0)


def test_an_hour_that_breaks_after_its_start_is_among_the_least_bad():
    why = closed([[9, 9, 9], [-0.5, 0.5, -0.2], [1, 1, 1]], states=[BROKEN, NARROW, BROKEN])
    assert why.least_bad == (2, 0)


def test_where_the_calendar_leaves_no_hour_it_is_the_cause():
    why = closed([[-1, -2, -1], [-1, 1, 1], [1, 1, 1]])
    assert why.lost == {0: 3, 1: 1}
    assert why.nearest == {0: 0, 1: 0}
    assert why.least_bad == ()


def test_only_the_hours_ahead_count():
    table = [[9] * 6, [-1, -1, -1, 1, -0.4, -0.3], [1] * 6]
    assert closed(table, now=START + H, hours=3).lost == {1: 2}
    assert closed(table, now=START + 2 * H + 40 * MINUTE, hours=100).lost == {1: 3}
    assert closed(table, now=START - 5 * H, hours=2).lost == {1: 2}
    assert closed(table, now=START + 3 * H, hours=2).least_bad == (4,)


def test_what_harms_what_a_label_sets_and_any_spray_have_no_least_bad_hour():
    # common practice, no source: frozen or soaked ground, seed that will wash and a label are not weighed.
    frozen = SimpleNamespace(is_calendar=False, harm=True, from_label=False)
    label = SimpleNamespace(is_calendar=False, harm=False, from_label=True)
    table = [[1.0, 1.0, 1.0], [-0.1, 1.0, 1.0], [1.0, -0.1, -0.5]]
    assert closed(table, needs=(CALENDAR, frozen, AIR)).least_bad == (1, 2)
    assert closed(table, needs=(CALENDAR, frozen, AIR)).harmful == (1,)
    assert closed(table, needs=(CALENDAR, label, AIR)).least_bad == (1, 2)
    assert closed(table, needs=(CALENDAR, AIR, AIR), kind="spraying").least_bad == ()


def test_hours_that_the_forecast_cannot_reach_are_no_reason():
    # Rain is looked at for four hours after an hour of work: of ten hours the last five cannot be read by anybody.
    rain = Limit(
        id="r",
        label="r",
        quantity="rain_mm",
        when="after",
        hours=(0, 4),
        sum_up="total",
        hard_max=1,
        high="x",
    )
    growth = Limit(
        id="g",
        label="g",
        quantity="air_temp_c",
        when="after",
        hours=(0, 72),
        sum_up="mean_ahead",
        hard_min=1,
        low="x",
    )
    table = np.full((3, 10), 1.0)
    table[1, 5:] = np.nan
    table[1, 1:3] = -0.5
    why = closed(table, needs=(CALENDAR, rain, growth))
    assert (why.hours_unread, why.unread_hour, why.lost) == (0, None, {1: 2})
    table[1, 4] = np.nan
    assert closed(table, needs=(CALENDAR, rain, growth)).unread_hour == 4
    # Where none can be reached, that is the reason.
    none = closed(table[:, 5:], needs=(CALENDAR, rain, growth))
    assert (none.hours_unread, none.is_past_end, why.is_past_end) == (5, True, False)


def test_harm_is_told_with_what_closes_most_first():
    frozen, soaked = (SimpleNamespace(is_calendar=False, harm=True, from_label=False) for _ in range(2))
    table = [[1.0] * 4, [-0.1, 1.0, 1.0, 1.0], [-0.1, -0.1, 1.0, 1.0]]
    assert closed(table, needs=(CALENDAR, frozen, soaked)).harmful == (2, 1)
