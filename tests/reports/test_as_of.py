"""A report as it reads later: pure, the same by any way there, turned at the site's midnight, held until it changes."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from msgspec.structs import fields, replace

from planner.actions.one_pass import assess, reported
from planner.reports.answers import decode_report, encode_report
from planner.reports.as_of import as_of, holds_until
from planner.reports.headline import tomorrow_spray
from planner.reports.now import now as flat_now
from planner.reports.rows import JobRow, Report, WindowRow
from tests.made import config, forecast, weather
from tests.reports.made import NOW, ZONE, bare, demo, job_row, window_row, with_forecast, work_row

#: Further than the forecast of the demo reaches.
LATER_S = int(timedelta(days=9).total_seconds())
MOMENTS = st.integers(-3600, LATER_S).map(lambda seconds: NOW + timedelta(seconds=seconds))


def _pair(row: JobRow) -> tuple[str, str]:
    return row.job, row.surface


def _times(row: WindowRow) -> tuple[object, ...]:
    return row.rank, row.job, row.surface, row.start, row.latest_start, row.end


def _without_the_way(report: Report) -> Report:
    """The rows that do not depend on the readings between: see the test below."""
    week = report.week
    left = sorted(week.left, key=lambda row: (row.job, row.surface, row.says))
    return replace(report, barred=(), week=replace(week, left=tuple(left), says=""))


@settings(max_examples=60)
@given(MOMENTS, MOMENTS)
def test_a_reading_between_changes_nothing_of_a_later_one(one: datetime, other: datetime) -> None:
    """Beside the list of barred jobs, the order of what is left and the count in the week's sentence: a job whose
    next window has come and gone is barred again or not according to whether it was read in between."""
    first, second = sorted((one, other))
    twice, once = as_of(as_of(demo(), first), second), as_of(demo(), second)
    assert _without_the_way(twice) == _without_the_way(once)
    shown = [{_pair(row) for row in (*report.windows, *report.barred)} for report in (twice, once)]
    assert shown[0] == shown[1]


@settings(max_examples=30)
@given(MOMENTS)
def test_the_same_moment_gives_the_same_rows_and_leaves_the_report_alone(moment: datetime) -> None:
    kept = encode_report(demo())
    aged = as_of(demo(), moment)
    assert as_of(demo(), moment) == aged
    assert as_of(aged, moment) == aged
    assert as_of(aged, moment - timedelta(hours=5)) == aged
    assert as_of(demo(), moment.astimezone(ZONE)) == aged
    assert encode_report(demo()) == kept
    assert aged.as_of == max(moment, demo().as_of)
    assert aged.as_of.tzinfo is UTC
    assert aged.made_at == demo().made_at


@settings(max_examples=60)
@given(MOMENTS)
def test_nothing_that_is_over_is_left_and_nothing_new_comes(moment: datetime) -> None:
    aged = as_of(demo(), moment)
    now, today = aged.as_of, aged.as_of.astimezone(ZONE).date().isoformat()
    assert all(row.latest_start >= now for row in aged.windows)
    assert all(row.ends is None or row.ends > now for row in aged.warnings)
    assert all(row.date >= today for row in aged.days)
    assert all(row.end > now for row in (*aged.week.work, *aged.week.planned))
    assert all(run.end > now for row in aged.ribbons for run in row.runs)
    assert all(run.end > now for row in aged.ground for run in row.underfoot)
    assert all(
        row.wash_at is None or row.wash_at + timedelta(hours=1) > now
        for rows in (aged.ground, aged.surfaces)
        for surface in rows
        for row in surface.seed
    )
    assert all(row.next_window is None or row.next_window > now for row in aged.barred)
    assert aged.hours.count == 0 or aged.hours.first + timedelta(hours=1) > now
    assert all(len(values) == aged.hours.count for values in aged.hours.columns.values())
    # A window keeps its place and its times; what it is worth is that of the hours left of it.
    assert {_times(row) for row in aged.windows} <= {_times(row) for row in demo().windows}
    assert set(aged.days) <= set(demo().days)
    assert set(aged.week.work) <= set(demo().week.work)
    # What leaves the week is said to have left.
    assert len(aged.week.work) + len(aged.week.left) == len(demo().week.work) + len(demo().week.left)


def _but_for_ages(report: Report) -> Report:
    """Without the figures that run with the clock: ages, leads and hours overdue."""

    def rows(found: tuple, **changes: object) -> tuple:  # type: ignore[type-arg]
        return tuple(replace(row, **changes) for row in found)

    return replace(
        with_forecast(report, age_h=None),
        as_of=NOW,
        warnings=rows(report.warnings, lead_h=0.0),
        due=rows(report.due, overdue_h=None),
        ground=tuple(replace(row, seed=rows(row.seed, age_d=0.0)) for row in report.ground),
        surfaces=tuple(replace(row, seed=rows(row.seed, age_d=0.0)) for row in report.surfaces),
    )


@settings(max_examples=80)
# A stale report, read half a minute before the last start of a window.
@example(NOW + timedelta(seconds=44971), 0.5)
# A part of a second after the last start of a window.
@example(NOW + timedelta(seconds=355441), 0.984375)
@given(MOMENTS, st.floats(0, 1, exclude_max=True))
def test_until_it_no_longer_holds_a_report_differs_only_in_its_ages(moment: datetime, share: float) -> None:
    shown = as_of(demo(), moment)
    until = holds_until(shown)
    assert until > shown.as_of
    between = min(shown.as_of + (until - shown.as_of) * share, until - timedelta(microseconds=1))
    assert _but_for_ages(as_of(demo(), between)) == _but_for_ages(shown)


def test_a_whole_day_read_as_the_service_reads_it_never_shows_what_is_over() -> None:
    """Walks from change to change, as the cache does, and looks a moment before each."""
    shown, moment, steps = demo(), demo().as_of, 0
    end = NOW + timedelta(hours=30)
    while moment < end and not shown.forecast.stale:
        until = holds_until(shown)
        last = until - timedelta(microseconds=1)
        assert {_pair(row) for row in shown.windows} == {_pair(row) for row in as_of(demo(), last).windows}
        moment, shown, steps = until, as_of(demo(), until), steps + 1
    # The demo's forecast counts as stale six hours after it was fetched.
    assert moment == demo().forecast.stale_at
    assert steps >= 6
    assert holds_until(shown) == moment + timedelta(minutes=1)


#: Local days of 23, 24 and 25 hours: clocks change at 01:00 UTC on the last Sundays of March and October.
DAYS = [(date(2026, 3, 29), 23), (date(2026, 5, 7), 24), (date(2026, 10, 25), 25)]


def _pass_on(day: date, hour: int = 12) -> Report:
    """A pass at noon of the day before, of a sky without change."""
    noon = datetime.combine(day - timedelta(days=1), time(hour), ZONE).astimezone(UTC)
    sky = forecast(weather(noon - timedelta(days=3), 24 * 9), noon)
    return with_forecast(reported(assess(config(), sky, now=noon))[0], stale_at=noon + timedelta(days=9))


def _day_s(day: date) -> tuple[datetime, datetime]:
    """The moments at which a local day begins and ends."""
    first, last = (datetime.combine(one, time(0), ZONE) for one in (day, day + timedelta(days=1)))
    return first.astimezone(UTC), last.astimezone(UTC)


@pytest.mark.parametrize(("day", "hours"), DAYS)
def test_today_turns_at_the_midnight_of_the_site(day: date, hours: int) -> None:
    report = _pass_on(day)
    begins, ends = _day_s(day)
    assert ends - begins == timedelta(hours=hours)
    second = timedelta(seconds=1)
    for moment, first in (
        (begins - second, day - timedelta(days=1)),
        (begins, day),
        (ends - second, day),
        (ends, day + timedelta(days=1)),
    ):
        aged = as_of(report, moment)
        assert aged.days[0].date == first.isoformat(), moment
        figures = flat_now(aged)
        rain = next(row.rain_mm for row in report.days if row.date == first.isoformat())
        soil = next(row.soil_temp_c for row in report.days if row.date == first.isoformat())
        assert figures["today_rain_mm"] == rain
        assert figures["today_soil_temp_c"] == soil
        assert aged.hours.first == moment.replace(minute=0, second=0)
    for moment in (begins, ends):
        assert holds_until(as_of(report, moment - second)) == moment


@pytest.mark.parametrize(("day", "hours"), DAYS)
def test_tomorrow_turns_at_the_midnight_of_the_site(day: date, hours: int) -> None:
    begins, ends = _day_s(day)
    start = datetime.combine(day + timedelta(days=1), time(9), ZONE)
    row = replace(
        window_row("feed", "07T09:00", "07T11:00"),
        start=start,
        end=start + timedelta(hours=2),
        latest_start=start + timedelta(hours=1),
    )
    report = bare(begins - timedelta(hours=6), windows=(row,), wanted=(job_row("feed"),))
    second = timedelta(seconds=1)
    assert tomorrow_spray(as_of(report, begins - second)) == "no spray hour tomorrow"
    says = "tomorrow's best spray: feed, bank, start 09:00–10:00"
    assert tomorrow_spray(as_of(report, begins)) == says
    assert tomorrow_spray(as_of(report, ends - second)) == says
    assert tomorrow_spray(as_of(report, ends)) == "no spray hour tomorrow"


@pytest.mark.parametrize("decoded", [False, True])
def test_the_hour_that_comes_twice_counts_as_two(decoded: bool) -> None:
    """Of 01:00 BST to 01:00 GMT on 25 October, and a window that ends in the second of the two hours."""
    made = datetime(2026, 10, 24, 12, tzinfo=UTC)
    latest = datetime(2026, 10, 25, 1, 30, tzinfo=UTC).astimezone(ZONE)
    assert latest.fold == 1
    row = replace(
        window_row("feed", "07T09:00", "07T11:00"),
        start=datetime(2026, 10, 24, 23, tzinfo=UTC).astimezone(ZONE),
        latest_start=latest,
        end=(latest.astimezone(UTC) + timedelta(hours=1)).astimezone(ZONE),
    )
    report = bare(made, windows=(row,))
    if decoded:
        report = decode_report(encode_report(report))
    # 01:45 BST is 00:45 UTC: the window still holds, though its clock has shown 01:30 once.
    for hour, holds in ((0, True), (1, False)):
        moment = datetime(2026, 10, 25, hour, 45, tzinfo=UTC)
        for asked in (moment, moment.astimezone(ZONE)):
            assert bool(as_of(report, asked).windows) is holds
    assert holds_until(as_of(report, datetime(2026, 10, 25, 1, 15, tzinfo=UTC))) == datetime(
        2026, 10, 25, 1, 30, 1, tzinfo=UTC
    )


def test_every_part_of_a_report_is_looked_at_when_it_ages() -> None:
    """A part that is added must be thought of here: what stands still is named."""
    still = {"schema", "made_at", "site", "place", "not_read", "wanted", "sprays", "faults", "keeper_jobs"}
    aged = as_of(demo(), NOW + timedelta(days=30))
    same = {one.name for one in fields(Report) if getattr(aged, one.name) == getattr(demo(), one.name)}
    assert same <= still


def test_a_window_that_has_begun_is_as_good_as_the_hours_that_are_left_of_it() -> None:
    """No hour of a later state stands behind the verdict of an hour that is gone."""
    seen = 0
    for hours in range(1, 60):
        now = NOW + timedelta(hours=hours, minutes=10)
        aged = as_of(demo(), now)
        runs = {_pair(row): row.runs for row in aged.ribbons}
        for row in aged.windows:
            if not row.hours:
                continue
            assert all(now - hour.start < timedelta(hours=1) for hour in row.hours)
            assert row.score in [hour.score for hour in row.hours]
            before = next(one for one in demo().windows if one.rank == row.rank)
            if row.best_start == before.best_start:
                continue
            assert (row.best_start, row.state, row.score) in [
                (hour.start, hour.state, hour.score) for hour in row.hours
            ]
            held = next(run for run in runs[_pair(row)] if run.start <= row.best_start < run.end)
            assert (held.state, held.says) == (row.state, row.limiting.says)
            # The hours with room are those that are left, around the best of them.
            room = [hour.start for hour in row.hours if hour.state == "steady"]
            if row.state == "steady":
                assert row.steady_from is not None
                assert row.steady_from in room
                assert row.steady_from <= row.best_start < row.steady_until
            else:
                assert (row.steady_from, row.steady_until) == (None, None)
            seen += 1
    assert seen > 20


def test_what_ends_within_an_hour_ends_a_report_there() -> None:
    """A warning, work in order and the day before work is due, each at twenty past."""
    past = NOW.replace(minute=20) + timedelta(hours=2)
    before, second = past - timedelta(minutes=19), timedelta(seconds=1)
    warning = replace(demo().warnings[0], begins=NOW, ends=past)
    due = replace(demo().due[0], due_at=past + timedelta(days=1), state="coming")
    work = work_row("feed", "07T07:00", "07T08:20")
    work = replace(work, start=past - timedelta(hours=1), end=past)
    plain = bare(NOW)
    for report in (
        replace(plain, warnings=(warning,)),
        replace(plain, due=(due,)),
        replace(plain, week=replace(plain.week, work=(work,))),
    ):
        assert holds_until(as_of(report, before)) == past
        assert _but_for_ages(as_of(report, past - second)) == _but_for_ages(as_of(report, before))
        assert _but_for_ages(as_of(report, past)) != _but_for_ages(as_of(report, before))
    over = as_of(replace(plain, warnings=(warning,)), past)
    assert over.warnings == ()
    assert [(row.id, row.says) for row in over.ended] == [
        (warning.id, f"Its time has passed: {warning.says}")
    ]


@pytest.mark.parametrize(("day", "hours"), DAYS)
def test_a_warning_is_told_for_the_day_it_is_read_on(day: date, hours: int) -> None:
    """A frost of `tomorrow night` is one of `tonight` from the site's midnight on, however long the day is."""
    begins, ends = _day_s(day)
    second = timedelta(seconds=1)
    row = replace(
        demo().warnings[0],
        begins=ends + timedelta(hours=27),
        ends=ends + timedelta(hours=33),
        says="Ground frost likely tomorrow night: grass near 0 °C. Water it tomorrow 06:00–08:00.",
        advice=("Keep off this morning, not today.",),
    )
    far = replace(row, id="far", says="Ground frost possible in the night to {}: grass near 1 °C.")
    after = (day + timedelta(days=3)).strftime("%a %-d %b")
    far = replace(far, says=far.says.format(after))
    report = bare(begins + timedelta(hours=6), warnings=(row, far))
    same = as_of(report, ends - second)
    assert [one.says for one in same.warnings] == [row.says, far.says]
    next_day = as_of(report, ends)
    assert next_day.warnings[0].says == (
        "Ground frost likely tonight: grass near 0 °C. Water it today 06:00–08:00."
    )
    was = day.strftime("%a %-d %b")
    assert next_day.warnings[0].advice == (f"Keep off in the night to {was}, not {was}.",)
    assert next_day.warnings[1].says == "Ground frost possible tomorrow night: grass near 1 °C."
    over = as_of(report, ends + timedelta(hours=34))
    assert [one.id for one in over.ended][-2:] == [row.id, "far"]
    assert "Ground frost likely this morning" in over.ended[-2].says
    assert as_of(next_day, ends + timedelta(hours=34)).ended == over.ended
