"""The sentence of the day: the week's first work, tomorrow's best spray, the gravest warning; old forecasts said so."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
from msgspec.structs import replace

from planner.reports.as_of import as_of
from planner.reports.headline import LONGEST, headline
from planner.reports.rows import Report, WorkRow
from tests.reports.made import (
    NOW,
    bare,
    demo,
    job_row,
    left_row,
    ribbon_row,
    warning_row,
    window_row,
    with_forecast,
    with_week,
    work_row,
)

WANTED = (job_row("feed"), job_row("mow", kind="mowing"))
NOTHING = "No work is wanted or due"


@pytest.mark.parametrize(
    ("figures", "keep_off"),
    [
        ({"off_frost_at": "2026-05-08T07:30:00+00:00"}, ", keep off until 08:30"),
        ({"off_frost_at": None}, ""),
        ({}, ""),
        # The leaf is free long before the soil is.
        ({"off_frost_at": "2026-05-08T07:30:00+00:00", "soil": "frozen"}, ""),
    ],
)
def test_until_when_frost_keeps_feet_off(figures: dict[str, str | None], keep_off: str) -> None:
    frost = replace(warning_row("frost", "08T02:00", says="Frost likely: -2 °C."), figures=figures)
    assert headline(bare(warnings=(frost,))) == f"{NOTHING}; frost likely{keep_off}."


@pytest.mark.parametrize(
    ("start", "end", "says"),
    [
        ("08T00:00", "08T02:00", "tomorrow's best spray: feed, bank, start 00:00–02:00"),
        ("08T23:15", "08T23:45", "tomorrow's best spray: feed, bank, start 23:15–23:45"),
        ("09T00:00", "09T05:00", "no spray hour tomorrow"),
        ("07T07:00", "07T23:45", "no spray hour tomorrow"),
        # A window that is open over midnight can be begun from midnight on.
        ("07T20:00", "08T03:00", "tomorrow's best spray: feed, bank, start 00:00–03:00"),
    ],
)
def test_all_of_tomorrow_counts_as_tomorrow(start: str, end: str, says: str) -> None:
    report = bare(windows=(window_row("feed", start, end),), wanted=WANTED)
    assert headline(report) == f"{NOTHING}; {says}."


def test_the_weeks_order_comes_before_any_window() -> None:
    report = bare(
        windows=(
            window_row("herbicide", "07T08:00", "07T12:00"),
            window_row("feed", "07T07:00", "07T12:00", surface="green"),
        ),
        warnings=(warning_row("wash", "07T09:00", says="Rain at nine: 3 mm."),),
        wanted=(job_row("mow", kind="mowing"),),
    )
    work = [
        work_row("feed", "08T18:00", "08T18:45", surface="green", state="narrow"),
        work_row("mow", "07T09:00", "07T10:00", kind="mowing"),
    ]
    assert headline(with_week(report, work=work)) == "Mow on the bank 09:00–10:00; rain at nine."
    assert (
        headline(with_week(report, work=work[:1]))
        == "Feed on the green tomorrow 18:00–18:45, only just; rain at nine."
    )


def test_what_the_keeper_planned_counts_as_work_of_the_week() -> None:
    placed = work_row("mow", "08T09:00", "08T10:00", kind="mowing")
    planned = work_row("coring", "07T14:00", "07T17:00", kind="coring", planned=True)
    assert headline(with_week(bare(), work=[placed], planned=[planned])) == "Coring on the bank 14:00–17:00."


def test_no_window_goes_against_what_is_placed_later_on_its_surface() -> None:
    """Only a wanted spray is named beside the week's order, and the best of them by rank."""
    windows = (
        window_row("fungicide", "08T08:00", "08T12:00", rank=1),
        window_row("feed", "08T09:00", "08T11:00", surface="green", rank=3, state="narrow"),
        window_row("iron", "08T15:00", "08T16:00", surface="green", rank=2),
    )
    work = [work_row("herbicide", "10T14:00", "10T14:45")]
    wanted = (job_row("herbicide"), job_row("feed", surface="green"), job_row("iron", surface="green"))
    found = headline(with_week(bare(windows=windows, wanted=wanted), work=work))
    assert (
        found
        == "Herbicide on the bank Sun 10 May 14:00–14:45; tomorrow's best spray: iron, green, start 15:00–16:00."
    )
    only_just = headline(with_week(bare(windows=windows[:2], wanted=wanted), work=work))
    assert only_just.endswith("tomorrow's best spray: feed, green, start 09:00–11:00, only just.")
    none = headline(with_week(bare(windows=windows[:1], wanted=wanted), work=work))
    assert none.endswith("no spray hour tomorrow.")


def test_the_spray_that_the_week_has_for_tomorrow_is_the_one_named() -> None:
    windows = (
        window_row("feed", "08T09:00", "08T11:00", rank=3),
        window_row("iron", "08T15:00", "08T16:00", rank=2),
    )
    report = bare(windows=windows, wanted=(job_row("feed"), job_row("iron")))
    assert "best spray: iron" in headline(report)
    placed = with_week(report, work=[work_row("feed", "08T09:00", "08T09:45")])
    assert headline(placed).endswith("tomorrow's best spray: feed, bank, start 09:00–11:00.")
    later = with_week(report, work=[work_row("feed", "09T09:00", "09T09:45")])
    assert "best spray: iron" in headline(later)


def test_that_there_is_no_spray_hour_tomorrow_is_said_with_what_takes_most_of_it() -> None:
    runs = [
        ("07T06:00", "08T00:00", "barred", "gusts"),
        ("08T00:00", "08T06:00", "barred", "light"),
        ("08T06:00", "08T11:00", "barred", "wind"),
        ("08T11:00", "08T19:00", "broken", "rain after"),
        ("08T19:00", "08T20:00", "narrow", "delta T"),
        ("08T20:00", "09T00:00", "barred", "light"),
    ]
    others = ribbon_row("mow", [("08T00:00", "09T00:00", "barred", "frost")], kind="mowing")
    report = bare(ribbons=(ribbon_row("feed", runs), others), wanted=WANTED)
    assert headline(report) == f"{NOTHING}; no spray hour tomorrow (rain after)."


def test_without_a_wanted_spray_nothing_is_said_of_spraying() -> None:
    report = bare(windows=(window_row("feed", "08T09:00", "08T11:00"),), wanted=WANTED[1:])
    assert headline(report) == f"{NOTHING}."


def test_work_that_is_over_is_no_longer_told() -> None:
    work = [
        work_row("feed", "07T08:00", "07T08:45"),
        work_row("mow", "07T13:00", "07T14:00", kind="mowing"),
    ]
    report = with_week(bare(), work=work)
    assert headline(as_of(report, NOW + timedelta(hours=4))) == "Mow on the bank 13:00–14:00."
    # Read without ageing, the rows themselves are looked at.
    assert headline(replace(report, as_of=NOW + timedelta(hours=4))) == "Mow on the bank 13:00–14:00."


def test_work_that_found_no_hour_is_counted() -> None:
    left = [left_row("feed", "no hour holds")]
    says = "No hour of this week is found for 1 job that should be done."
    assert headline(with_week(bare(), left=left)) == says
    assert "for 2 jobs that should be done" in headline(with_week(bare(), left=left * 2))


def test_an_old_forecast_says_so_first() -> None:
    report = with_forecast(
        with_week(bare(), work=[work_row("feed", "07T09:00", "07T11:00")]), stale=True, age_h=30.2
    )
    assert headline(report) == "Old forecast, 30 h: feed on the bank 09:00–11:00."
    not_known = with_forecast(report, age_h=None)
    assert headline(not_known) == "Old forecast: feed on the bank 09:00–11:00."


def test_the_same_work_on_two_surfaces_is_named_once() -> None:
    work = [work_row("mow", "07T09:00", "07T10:00", kind="mowing", surface=name) for name in ("tee", "green")]
    assert headline(with_week(bare(), work=work)) == "Mow on the tee and green 09:00–10:00."
    named = work_row("mow_green", "07T09:00", "07T10:00", label="mow the green", surface="green")
    assert headline(with_week(bare(), work=[named])) == "Mow the green 09:00–10:00."


def test_the_gravest_warning_is_the_first_row_and_only_its_first_clause_is_said() -> None:
    rows = (
        warning_row("frost", "08T03:00", says="Ground frost likely: turf about -2.7 C. Off from 08:00."),
        warning_row("wash", "07T21:00"),
    )
    assert headline(bare(warnings=rows)) == f"{NOTHING}; ground frost likely."


def test_no_sentence_is_longer_than_a_hub_keeps() -> None:
    # 255 characters: the longest state of the hub whose sensor documentation we read.
    assert LONGEST == 255
    rows = (warning_row("frost", "08T03:00", says="Frost" * 80),)
    found = headline(bare(warnings=rows))
    assert len(found) == LONGEST
    assert found.endswith("…")


def test_the_demo_tells_what_its_week_places() -> None:
    report = demo()
    first = min(report.week.work, key=lambda row: row.start)
    assert headline(report).lower().startswith(first.label)
    assert f"{first.start:%H:%M}–{first.end:%H:%M}" in headline(report)
    assert headline(as_of(report, NOW + timedelta(hours=1))) == headline(report)
    later = as_of(report, first.end)
    second = min(later.week.work, key=lambda row: row.start)
    assert headline(later).lower().startswith(second.label)


@pytest.mark.parametrize("local", [False, True])
def test_times_across_a_clock_change_are_compared_as_moments(local: bool) -> None:
    """The hour from 01:00 to 02:00 comes twice on 25 October: 01:45 GMT is after 01:55 BST."""
    from tests.reports.made import ZONE

    def at(text: str) -> datetime:
        moment = datetime.fromisoformat(text)
        return moment.astimezone(ZONE) if local else moment

    def row(job: str, start: str, end: str) -> WorkRow:
        return replace(work_row(job, "07T08:00", "07T09:00"), start=at(start), end=at(end))

    now = datetime.fromisoformat("2026-10-24T20:00:00+01:00")
    work = [
        row("feed", "2026-10-25T01:45:00+00:00", "2026-10-25T03:00:00+00:00"),
        row("iron", "2026-10-25T01:55:00+01:00", "2026-10-25T03:00:00+00:00"),
    ]
    report: Report = with_week(bare(now), work=work)
    assert headline(report).startswith("Iron on the bank tomorrow 01:55")
    passed = as_of(report, datetime.fromisoformat("2026-10-25T01:50:00+01:00"))
    assert headline(passed).startswith("Iron on the bank 01:55")
