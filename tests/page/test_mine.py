"""Pages speak of the keeper's own work first, and say of a week what was shared, done and counted back from."""

from __future__ import annotations

import re

from msgspec.structs import replace

from planner import page
from planner.outputs.calendar import Asked, calendar
from planner.page.brief import three_lines
from planner.page.job_lines import job_lines
from planner.reports.rows import Report
from tests.reports.made import left_row, moment, with_week, work_row


def _home(report: Report) -> str:
    return page.home(report).decode()


def _folded(text: str) -> tuple[str, str]:
    """The page without what is folded away, and that."""
    head, rest = text.split('<details id="other-jobs">')
    return head, rest


def test_other_jobs_stand_behind_one_click(report: Report) -> None:
    others = {row.label for row in report.ribbons if row.job not in report.keeper_jobs}
    mine = {row.label for row in report.ribbons if row.job in report.keeper_jobs}
    assert others
    assert mine
    for text in (_home(report), page.day(report, "2026-05-09").decode()):
        shown, folded = _folded(text)
        for label in others:
            # Links and names of rows only: the label of one job may stand in the reason of another.
            assert f">{label.lower()}<" not in shown.lower(), label
            assert f">{label.lower()}<" in folded.lower(), label
        for label in mine:
            assert label.lower() in shown.lower(), label


def test_where_no_jobs_are_named_nothing_is_folded_away(report: Report) -> None:
    every = replace(report, keeper_jobs=())
    text = _home(every)
    assert 'id="other-jobs"' not in text
    for row in every.ribbons:
        assert f'href="./job/{row.job}"' in text


def test_the_picture_has_a_row_for_what_is_wanted_and_no_other(report: Report) -> None:
    """The green's foliar feed is wanted, the collar's is not; both are the keeper's."""
    names = [line.name for line in job_lines(report)]
    assert {"Foliar feed, green", "Systemic herbicide, east bank"} <= set(names)
    assert "Foliar feed, collar" not in names
    picture = _home(report).split('class="frame wide"')[1].split("</svg>")[0]
    assert "Foliar feed, green" in picture
    assert "collar" not in picture


def test_no_line_of_the_morning_names_a_spray_that_nobody_wants(report: Report) -> None:
    bare = with_week(report, work=(), left=(), planned=())
    said = " ".join(f"{line.says} {line.more}" for line in three_lines(bare))
    for row in report.ribbons:
        if row.kind == "spraying" and row.job not in report.keeper_jobs:
            assert row.label not in said
    assert "No spray. Next Sat 13:00 foliar feed, green" in said


def test_the_week_tells_the_tank_what_is_done_and_the_play_day(report: Report) -> None:
    shared = replace(
        work_row("foliar_feed", "08T08:00", "08T08:45", surface="green", label="foliar feed"),
        together=("growth regulator",),
        tank="One tank with growth regulator: try it in a jar first.",
    )
    play = work_row(
        "play", "10T13:05", "10T14:05", surface="green", label="play day", kind="play", planned=True
    )
    done = replace(
        left_row("rolling", "Done on Tue 5 May; nothing is left to do.", surface="green"),
        because="wanted by Fri 8 May",
    )
    made = with_week(report, work=(shared,), left=(), planned=(play,))
    made = replace(made, week=replace(made.week, done=(done,)))
    home = _home(made)
    assert "One tank with growth regulator: try it in a jar first." in home
    assert "Done on Tue 5 May; nothing is left to do. Wanted by Fri 8 May." in home
    assert "Work is counted back from it." in home
    assert home.count("play day") >= 3
    # A play day has no page of its own, and no end that anybody has told.
    assert "/job/play" not in home
    assert "13:05–14:05" not in home
    sheet = page.week_sheet(made).decode()
    assert "foliar feed, green + growth regulator (one tank)" in sheet
    assert "<b>Done already.</b> rolling, green: Done on Tue 5 May" in sheet
    assert "<b>13:05</b> play day, green" in sheet


def test_what_is_left_says_how_late_it_will_be(report: Report) -> None:
    left = left_row("rolling", "Its hours go to the cut. Next Tue 12 May, a day late.", surface="green")
    home = _home(with_week(report, work=(), left=(left,), planned=()))
    assert "Its hours go to the cut. Next Tue 12 May, a day late. It is wanted." in home
    assert "late.." not in home


def test_a_window_with_an_hour_to_spare_says_which(report: Report) -> None:
    first = next(row for row in report.windows if row.job in report.keeper_jobs and row.kind == "spraying")
    row = replace(
        first,
        start=moment("08T10:00"),
        latest_start=moment("08T16:15"),
        end=moment("08T17:00"),
        state="steady",
        steady_from=moment("08T14:00"),
        steady_until=moment("08T17:00"),
    )
    made = replace(
        report,
        windows=(row,),
        barred=tuple(one for one in report.barred if (one.job, one.surface) != (row.job, row.surface)),
    )
    says = "only just until 14:00, with room 14:00–17:00"
    assert f"{says[0].upper()}{says[1:]}." in page.day(made, "2026-05-08").decode()
    assert f"<small>{says}</small>" in page.week_sheet(made).decode()
    feed = calendar(made, asked=Asked(every=True)).decode().replace("\r\n ", "").replace("\\", "")
    assert f"{says[0].upper()}{says[1:]}." in feed


def test_the_calendar_has_the_keepers_jobs_unless_every_job_is_asked_for(report: Report) -> None:
    def kinds(feed: bytes) -> set[str]:
        return set(re.findall(r"CATEGORIES:(\w+)", feed.decode()))

    assert "watering" not in kinds(calendar(report))
    assert {"mowing", "warning"} <= kinds(calendar(report))
    assert "watering" in kinds(calendar(report, asked=Asked(every=True)))
