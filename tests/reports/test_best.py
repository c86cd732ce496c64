"""The best line and the two lines of the morning: what is wanted comes first, and why there is nothing."""

from __future__ import annotations

from datetime import date

from msgspec.structs import replace

from planner.reports.best import best_line, morning_lines
from planner.terms import LABEL_CAUTION
from tests.reports.made import (
    bare,
    barred_row,
    demo,
    job_row,
    ribbon_row,
    window_row,
    with_forecast,
    with_week,
    work_row,
)

TOMORROW = date(2026, 5, 8)


def ribbons(*jobs: str, label: bool = False):
    return tuple(replace(ribbon_row(job, ()), has_label=label) for job in jobs)


def test_a_wanted_job_is_best_before_a_better_one_that_nobody_wants():
    windows = (
        window_row("herbicide", "08T08:00", "08T12:00"),
        window_row("feed", "08T13:00", "08T15:00"),
    )
    report = bare(
        windows=windows, ribbons=ribbons("herbicide", "feed"), wanted=(job_row("feed"),), keeper_jobs=()
    )
    line = best_line(report, "spraying", None, TOMORROW)
    assert line.startswith("Best: feed, bank, Fri 8 May 13:00–")
    assert ", start by 15:00." in line
    unwanted = replace(report, wanted=())
    assert best_line(unwanted, "spraying", None, TOMORROW).startswith("Best: herbicide, bank,")
    # Work that this keeper does not do is never the best.
    feeder = replace(unwanted, keeper_jobs=("feed",))
    assert best_line(feeder, "spraying", None, TOMORROW).startswith("Best: feed, bank,")


def test_where_there_is_none_it_says_so_and_why():
    report = bare(ribbons=ribbons("feed"), wanted=(job_row("feed"),))
    assert best_line(report, "feed", None, TOMORROW) == "Best: none on Fri 8 May."
    assert best_line(report, "feed", None, None) == "Best: none in this forecast."
    barred = replace(report, barred=(barred_row("feed", None), barred_row("other", None)))
    assert best_line(barred, "feed", None, None) == "Best: none in this forecast: wind."
    shut = demo()
    line = best_line(shut, "systemic_herbicide", "apron strip", TOMORROW)
    assert line.startswith("Best: none on Fri 8 May: ")
    assert "closest" not in line


def test_an_old_forecast_has_no_best():
    old = with_forecast(bare(ribbons=ribbons("feed")), stale=True)
    assert best_line(old, "feed", None, TOMORROW) == "Best: not known; the forecast is too old."
    assert morning_lines(old)[1] == "Tomorrow: not known; the forecast is too old."


def test_a_job_under_a_label_is_named_with_its_caution():
    windows = (window_row("herbicide", "08T08:00", "08T12:00"),)
    report = bare(windows=windows, ribbons=ribbons("herbicide", label=True), keeper_jobs=())
    assert best_line(report, "spraying", None, TOMORROW).endswith(LABEL_CAUTION)
    assert morning_lines(report)[1].endswith(LABEL_CAUTION)
    today = with_week(report, work=[work_row("herbicide", "07T08:00", "07T09:00")])
    assert morning_lines(today)[0] == f"Today: herbicide, bank 08:00–09:00. {LABEL_CAUTION}"


def test_the_morning_tells_todays_work_in_order_and_tomorrows_spray():
    windows = (window_row("feed", "08T08:00", "08T12:00"),)
    report = bare(windows=windows, ribbons=ribbons("feed"), wanted=(job_row("feed"),))
    work = [
        work_row("mow", "07T13:00", "07T14:00", kind="mowing", state="narrow"),
        work_row("roll", "07T09:00", "07T10:00", kind="rolling"),
        work_row("feed", "08T09:00", "08T10:00"),
    ]
    first, second = morning_lines(with_week(report, work=work))
    assert first == "Today: roll, bank 09:00–10:00; mow, bank 13:00–14:00, only just."
    assert second.startswith("Tomorrow's best spray: feed, bank, Fri 8 May 08:00–")
    assert morning_lines(report)[0] == "Today: nothing is placed."
    assert morning_lines(bare())[1] == "Tomorrow: no spray is set up."
