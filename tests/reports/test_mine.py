"""Only what the keeper wants stands first: jobs that the site file does not name are shown on request alone."""

from __future__ import annotations

from msgspec.structs import replace

from planner.reports import answers
from planner.reports.best import best_line, morning_lines
from planner.reports.headline import headline
from planner.reports.mine import is_mine, of_mine, pressing
from planner.reports.now import now as flat_now
from planner.reports.rows import Report
from tests.reports.made import demo, due_row, work_row


def bare(**more: object) -> Report:
    """The demo without a wish, a week or a due job; only rolling is the keeper's."""
    found = demo()
    empty = replace(found.week, work=(), planned=(), left=(), done=())
    return replace(found, wanted=(), due=(), week=empty, keeper_jobs=("rolling",), **more)


def test_without_named_jobs_every_job_is_the_keepers():
    report = replace(bare(), keeper_jobs=())
    assert of_mine(report, report.windows) == report.windows


def test_a_wanted_or_planned_job_is_the_keepers_though_it_is_not_named():
    report = bare()
    assert not is_mine(report, "mow_green")
    assert is_mine(replace(report, wanted=demo().wanted), "mow_green")
    planned = work_row("mow_green", "08T08:00", "08T09:00", surface="green", planned=True)
    assert is_mine(replace(report, week=replace(report.week, planned=(planned,))), "mow_green")


def test_windows_hold_the_keepers_jobs_unless_a_job_or_kind_is_named():
    report = bare()
    mine = answers.windows(report, mine=True)
    assert {row.job for row in (*mine.windows, *mine.barred)} == {"rolling"}
    named = answers.windows(report, job="top_dressing", mine=True)
    assert {row.job for row in (*named.windows, *named.barred)} == {"top_dressing"}
    kind = answers.windows(report, job="mowing", mine=True)
    assert {"mow_green", "mow_surrounds"} <= {row.job for row in (*kind.windows, *kind.barred)}
    assert answers.windows(report).windows == report.windows


def test_next_is_never_a_job_that_nobody_wants():
    """Windows of every job are there, and work on record falls due; none of it is this keeper's."""
    report = bare()
    assert report.windows
    flat = flat_now(report)
    assert [key for key, value in flat.items() if key.endswith("next_job") and value is not None] == [
        key for key in flat if key.startswith("any_") and key.endswith("next_job") and flat[key] is not None
    ]
    assert flat["any_next_job"] is not None
    other = next(row for row in report.windows if row.job != "rolling")
    due = replace(
        due_row(other.job, due_at="07T08:00", kind=other.kind, surface=other.surface),
        next_start=other.start,
    )
    assert flat_now(replace(report, due=(due,)))["next_job"] is None
    assert flat_now(replace(report, due=(due,), keeper_jobs=()))["next_job"] == other.job


def test_a_play_day_is_no_work_that_comes_next():
    report = bare()
    play = work_row("play", "07T09:00", "07T10:00", surface="green", kind="play")
    work = work_row("rolling", "07T11:00", "07T12:00", surface="green", kind="rolling")
    alone = replace(report, week=replace(report.week, planned=(play,)))
    assert flat_now(alone)["next_job"] is None
    assert headline(alone).startswith("No work is wanted or due")
    both = replace(report, week=replace(report.week, planned=(play,), work=(work,)))
    assert flat_now(both)["next_job"] == "rolling"
    # Today is told whole, and nobody has told when play ends.
    assert "from 09:00" in morning_lines(alone)[0]
    assert "10:00" not in morning_lines(alone)[0]


def test_what_presses_is_wanted_due_placed_planned_or_left():
    report = demo()
    pairs = pressing(report)
    for rows in (report.wanted, report.due, report.week.work, report.week.planned, report.week.left):
        assert {(row.job, row.surface) for row in rows} <= pairs
    assert ("top_dressing", "green") not in pairs


def test_the_best_line_of_a_named_job_is_told_though_it_is_not_the_keepers():
    report = bare()
    window = next(row for row in report.windows if row.job == "top_dressing")
    line = best_line(report, "top_dressing", window.surface, None)
    assert line.startswith("Best: ")
    assert "none" not in line.split(".")[0]
