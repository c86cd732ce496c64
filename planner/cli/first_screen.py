"""The first screen in a terminal: today, tomorrow's best spray, what threatens, and the week a line a turn.

It holds what the keeper wants, and what is due and placed; every other window stands behind a command.
"""

from __future__ import annotations

from planner.cli import board
from planner.reports.best import morning_lines
from planner.reports.cautions import shared_caution
from planner.reports.rows import Report, WarningRow, WorkRow
from planner.reports.sentences import job_on
from planner.terms import PLAY, short_date

#: Of each only so many; the rest is counted, and stands behind a command.
_WARNINGS, _TURNS, _LEFT = 3, 12, 2


def morning(report: Report) -> list[str]:
    """Today's work, and tomorrow's best spray with what would spoil it."""
    return [line for says in morning_lines(report) for line in board.wrap(says, "", "  ")]


def warnings(report: Report) -> list[str]:
    """The gravest warnings, each with the first thing to do; what is not known."""
    if not report.warnings and not report.not_read:
        return ["Warnings: none."]
    lines = ["Warnings"]
    for row in report.warnings[:_WARNINGS]:
        lines += _warning(row)
    for one in report.not_read[: max(0, _WARNINGS - len(report.warnings))]:
        lines += board.wrap(f"[not known] {one.says}", "  ", "    ")
    more = len(report.warnings) + len(report.not_read) - _WARNINGS
    return [*lines, f"  and {more} more: haysel warnings"] if more > 0 else lines


def _warning(row: WarningRow) -> list[str]:
    ahead = f"in {row.lead_h:.0f} h" if row.lead_h >= 1 else "now"
    lines = board.wrap(f"[{row.level}, {ahead}] {row.says}", "  ", "    ")
    return lines + (board.wrap(f"- {row.advice[0]}", "    ", "      ") if row.advice else [])


def week(report: Report) -> list[str]:
    """The week's order, a turn a line, and what found no hour."""
    order = report.week
    lines = [f"The week's order   {order.says}"]
    rows = sorted(order.coming(report.as_of), key=lambda row: row.start.timestamp())
    day = ""
    for row in rows[:_TURNS]:
        shown = short_date(row.start)
        lines += board.wrap(f"{'' if shown == day else shown:<11} {_turn(row)}", "  ", " " * 31)
        day = shown
    if len(rows) > _TURNS:
        lines.append(f"  and {len(rows) - _TURNS} more")
    for one in order.left[:_LEFT]:
        lines += board.wrap(f"no hour     {job_on(one.label, one.surface)}: {one.says}", "  ", " " * 14)
    if len(order.left) > _LEFT:
        lines.append(f"  and {len(order.left) - _LEFT} more without an hour: haysel week")
    caution = shared_caution(report, (row.job for row in rows))
    lines += board.wrap(caution, "  ") if caution else []
    return [*lines, "  ## with room   #- only just"] if rows else lines


def _turn(row: WorkRow) -> str:
    job = job_on(row.label, row.surface)
    if row.kind == PLAY:
        return f"{row.start:%H:%M}           {job}"
    mark = board.MARKS[row.state] if row.state is not None else "  "
    tank = f" (one tank with {' and '.join(row.together)})" if row.together else ""
    return f"{row.start:%H:%M}–{row.end:%H:%M}  {mark}  {job}{tank}"
