"""A window whose hours differ says which are only just and which have room; checked by hand on invented windows."""

from __future__ import annotations

from datetime import datetime

import pytest
from msgspec.structs import replace

from planner.reports.best import best_line
from planner.reports.headline import headline
from planner.reports.now import now as flat_now
from planner.reports.rows import JobRow, Report, WindowRow
from planner.reports.stretches import as_sentence, stretches
from tests.reports.made import demo, moment, window_row


def parted(room: tuple[str, str] | None, *, latest: str = "08T16:15", **more: str) -> WindowRow:
    """A window from 10:00 to 17:00 with room between two moments."""
    row = window_row(
        more.pop("job", "foliar_feed"),
        "08T10:00",
        "08T17:00",
        latest=latest,
        kind="spraying",
        surface="green",
    )
    first, last = (None, None) if room is None else (moment(room[0]), moment(room[1]))
    return replace(row, steady_from=first, steady_until=last)


@pytest.mark.parametrize(
    ("room", "says"),
    [
        # The last hour with room is that of the latest start: it has room to the end of the work.
        (("08T14:00", "08T17:00"), "only just until 14:00, with room 14:00–17:00"),
        (
            ("08T12:00", "08T14:00"),
            "only just until 12:00, with room 12:00–14:00, then only just",
        ),
        (("08T10:00", "08T14:00"), "with room 10:00–14:00, then only just"),
        (("08T10:00", "08T17:00"), ""),
        (None, ""),
    ],
)
def test_the_stretches_of_a_window(room, says):
    row = parted(room)
    assert stretches(row) == says
    assert as_sentence(row) == (f"{says[0].upper()}{says[1:]}." if says else "")


def test_another_day_than_that_of_the_start_is_named():
    row = replace(
        parted(("09T01:00", "09T03:00"), latest="09T04:00"),
        end=moment("09T05:00"),
    )
    assert (
        stretches(row) == "only just until Sat 9 May 01:00, with room Sat 9 May 01:00–03:00, then only just"
    )


def one_window() -> Report:
    """The demo, where tomorrow holds one window of one wanted spray and the week is empty."""
    row = parted(("08T14:00", "08T17:00"))
    wanted = JobRow(job=row.job, label=row.label, kind=row.kind, surface=row.surface)
    found = demo()
    empty = replace(found.week, work=(), planned=(), left=())
    return replace(found, windows=(row,), wanted=(wanted,), due=(), week=empty)


def test_it_is_said_in_the_best_line_the_headline_and_the_keys_of_the_hub():
    report, says = one_window(), "only just until 14:00, with room 14:00–17:00"
    assert f"{says[0].upper()}{says[1:]}." in best_line(report, "foliar_feed", None, None)
    assert says in headline(report)
    reason = flat_now(report)["next_reason"]
    assert isinstance(reason, str)
    assert reason.startswith("Only just until 14:00, with room 14:00–17:00.")


def test_a_window_of_one_state_says_nothing_of_stretches():
    report = one_window()
    whole = replace(report.windows[0], steady_from=report.windows[0].start)
    assert "until" not in best_line(replace(report, windows=(whole,)), "foliar_feed", None, None)
    assert isinstance(whole.start, datetime)
