"""One picture of the coming days: weather above, work below, on one axis of time.

Two forms: narrow, two days at a time, for a phone; wide, seven days, for a desk. Shape tells the state, colour only
repeats it; no two texts meet.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from urllib.parse import quote

from markupsafe import Markup

from planner.page.axis import (
    HOUR,
    Axis,
    View,
    hour_lines,
    name_days,
    name_hours,
    narrow_axis,
    nights,
    wide_axis,
)
from planner.page.brief import over_bracket
from planner.page.drawing import Drawing, LabelLine, TextBox, number, width_of
from planner.page.job_lines import (
    CENTRE,
    MOST_ROWS,
    ROW,
    JobLine,
    draw_job,
    draw_stretches,
    feet_stretches,
    feet_words,
    fitted,
)
from planner.page.plots import Plots
from planner.page.rows import Hour, hours
from planner.reports.rows import Report, WarningRow
from planner.reports.workings import Workings
from planner.terms import PLAY, SPRAYING

NARROW_WIDTH, WIDE_WIDTH = 366.0, 1224.0
_GUTTER, _RIGHT = 236.0, 26.0
_LANE, _MOST_LANES = 30.0, 4
_BRACKET = {"act": 5.0, "care": 2.5, "note": 1.5}
#: A touch on the weather opens so many hours.
TOUCH_H = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A drawing ready to be written out, in units of its view box."""

    name: str
    width: float
    height: float
    markup: Markup
    says: str
    """What it shows, in a sentence."""
    texts: tuple[TextBox, ...]


def gust_limit(report: Report, workings: Workings | None) -> float | None:
    """The strictest gust limit of the wanted sprays, km/h at 2 m; None where none is wanted or has one."""
    if workings is None:
        return None
    limits = [
        need.hard_max
        for row in report.wanted
        if row.kind == SPRAYING and (job := workings.of(row.job, row.surface)) is not None
        for need in workings.needs_of(job)
        if need.id == "gust" and need.hard_max is not None
    ]
    return min(limits, default=None)


def narrow_picture(report: Report, lines: Sequence[JobLine], view: View, limit: float | None) -> Picture:
    """Two days for a phone."""
    axis = narrow_axis(report, view, 0.0, NARROW_WIDTH)
    return _picture("narrow", report, lines, axis, limit, NARROW_WIDTH, gutter=None)


def wide_picture(report: Report, lines: Sequence[JobLine], limit: float | None) -> Picture:
    """Seven days for a desk."""
    axis = wide_axis(report, _GUTTER, WIDE_WIDTH - _RIGHT)
    return _picture("wide", report, lines, axis, limit, WIDE_WIDTH, gutter=0.0)


def _picture(
    name: str,
    report: Report,
    lines: Sequence[JobLine],
    axis: Axis,
    limit: float | None,
    width: float,
    *,
    gutter: float | None,
) -> Picture:
    is_wide = gutter is not None
    drawing = Drawing(width)
    dark = nights(report, axis)
    shown = hours(report, axis.start, axis.end)
    back = Drawing(width)
    name_days(drawing, axis, 16)
    name_hours(drawing, axis, 37, with_now=True)
    y = 44.0 + _brackets(drawing, report, axis, 44.0) + 4
    weather_top = y
    height = (
        {"rain": 44.0, "gust": 50.0, "turf": 60.0} if is_wide else {"rain": 40.0, "gust": 40.0, "turf": 56.0}
    )
    plots = Plots(drawing, axis, shown, height, 0.0 if is_wide else 5.0, is_wide, [], report.site.units)
    y = plots.rain(y)
    y = plots.gust(y + 2, limit)
    y = plots.turf(y + 2) + 4
    weather_bottom = y
    name_hours(drawing, axis, y + 14, with_now=False)
    y += 20
    bars: list[tuple[float, float]] = []
    y, feet_bar = _feet(drawing, report, axis, y, gutter)
    bars.append(feet_bar)
    rows = _drawn(lines, axis)
    for line in rows:
        back.path("rule", f"M0 {number(y)}H{number(width)}")
        draw_job(drawing, report, axis, line, dark, y, gutter=gutter)
        bars.append((y + CENTRE - 6, y + CENTRE + 6))
        y += ROW
    left = len(lines) - len(rows)
    if left:
        drawing.text("m", 5, y + 18, f"{left} more: see Due")
        y += 26
    back.path("rule", f"M0 {number(y)}H{number(width)}")
    # Night lies behind all of it, from the row of hours to the foot.
    ground = Drawing(width)
    for a, b in dark:
        ground.rect("night", axis.x(a), 24, axis.x(b) - axis.x(a), y - 24)
    hour_lines(ground, axis, [*plots.bars, *bars])
    _touches(drawing, report, axis, shown, weather_top, weather_bottom)
    if axis.now is not None:
        drawing.path("now", f"M{number(axis.left + 0.5)} 24V{number(y)}")
    return Picture(
        name=name,
        width=width,
        height=y + 2,
        markup=Markup("\n").join([ground.markup, back.markup, drawing.markup]),
        says=_says(report, axis, lines),
        texts=tuple(drawing.texts),
    )


def _drawn(lines: Sequence[JobLine], axis: Axis) -> list[JobLine]:
    """The rows that are drawn: all where there are few, else those with an hour or a window in the view first."""
    if len(lines) <= MOST_ROWS:
        return list(lines)
    kept = [
        line
        for line in lines
        if line.first is not None
        or any(run.state in ("steady", "narrow") and axis.shows(run.start, run.end) for run in line.runs)
    ]
    return (kept or list(lines))[:MOST_ROWS]


def _says(report: Report, axis: Axis, lines: Sequence[JobLine]) -> str:
    """What is in the picture, for those who cannot see it."""
    first, last = axis.start.astimezone(axis.zone), (axis.end - timedelta(seconds=1)).astimezone(axis.zone)
    return (
        f"Weather and {len(lines)} {'job' if len(lines) == 1 else 'jobs'} hour by hour, "
        f"{first:%a} {first.day} {first:%b} {first:%H:%M} to {last:%a} {last.day} {last:%b}: rain, gust, grass "
        "temperature, warnings, the hours of each job. The same stands in the tables below."
    )


def _brackets(drawing: Drawing, report: Report, axis: Axis, y: float) -> float:
    """Warnings over the hours they mean, and play days; the height they took."""
    lanes: list[LabelLine] = []
    order = {"act": 0, "care": 1, "note": 2}
    rows = sorted(report.warnings, key=lambda row: (order.get(row.level, 3), row.begins.timestamp()))
    marks: list[tuple[str, datetime, datetime, str, WarningRow | None]] = []
    for row in rows:
        words = over_bracket(row, report)
        if words is not None:
            marks.append((row.level, row.begins, row.ends or row.begins + HOUR, words, row))
    for play in report.week.planned:
        if play.kind == PLAY:
            marks.append(("play", play.start, max(play.end, play.start + HOUR), play.label, None))
    seen: set[tuple[str, datetime]] = set()
    for level, begins, ends, words, warning in marks:
        if not axis.shows(begins, ends) or (words, begins) in seen:
            continue
        seen.add((words, begins))
        x0, x1 = axis.x(begins), max(axis.x(ends), axis.x(begins) + 6)
        width = width_of(words, bold=level == "act")
        left = x0 if x0 + width <= axis.right else max(axis.left, min(x1, axis.right) - width)
        low, high = min(x0, left), max(x1, left + width)
        lane = next((at for at, one in enumerate(lanes) if one.is_free(low, high)), None)
        if lane is None:
            if len(lanes) == _MOST_LANES:
                continue
            lanes.append(LabelLine(axis.left - 1, axis.right + 30, clear=8))
            lane = len(lanes) - 1
        lanes[lane].take(low, high)
        top = y + lane * _LANE
        if warning is None:
            _bracket(drawing, level, x0, x1, top, words, left)
        else:
            with drawing.link(f"#{warning.id}", f"{words}: {warning.says}"):
                _bracket(drawing, level, x0, x1, top, words, left)
                drawing.rect("hit", low, top, max(24.0, high - low), _LANE - 1)
    return len(lanes) * _LANE


def _bracket(drawing: Drawing, level: str, x0: float, x1: float, top: float, words: str, left: float) -> None:
    drawing.text({"act": "w b", "play": "m"}.get(level, "w"), left, top + 14, words)
    if level == "play":
        drawing.path("level", f"M{number(x0)} {number(top + 22)}H{number(x1)}")
        return
    drop = 8 if level == "act" else 7
    drawing.path(
        f"bracket k-{level}",
        f"M{number(x0 + 1)} {number(top + 20 + drop)}V{number(top + 20)}H{number(x1 - 1)}V{number(top + 20 + drop)}",
    )


def _feet(
    drawing: Drawing, report: Report, axis: Axis, y: float, gutter: float | None
) -> tuple[float, tuple[float, float]]:
    """How the ground bears feet; the bottom of the row, and where its bar lies."""
    says, beside = feet_words(report)
    if not says:
        return y, (y, y)
    if axis.now is None:
        # The words are of now; of later days the bar tells what is worked out.
        says, beside = says.partition(":")[0], ""
    drawing.path("rule", f"M0 {number(y)}H{number(drawing.width)}")
    top = y
    label = f"{says}{f'; {beside}' if beside else ''}. All surfaces"
    with drawing.link("/ground", label):
        where, _, how = says.partition(": ")
        if gutter is None:
            whole = width_of(says, bold=True) + 10 + width_of(beside) <= axis.right - 5
            more = 0.0 if not beside or whole else 18.0
            drawing.rect("hit", 0, top, drawing.width, ROW + more)
            drawing.text("b", 5, y + 16, fitted(says, axis.right - 10, bold=True))
            if beside and whole:
                drawing.text("m", axis.right, y + 16, beside, anchor="end")
            elif beside:
                drawing.text("m", 5, y + 34, fitted(beside, axis.right - 10))
            y += more
        else:
            more = 17.0 if beside else 0.0
            drawing.rect("hit", 0, top, drawing.width, ROW + more)
            drawing.text("b", gutter, y + 19, fitted(where, axis.left - gutter - 8, bold=True))
            drawing.text("m", gutter, y + 36, fitted(how, axis.left - gutter - 8))
            if beside:
                drawing.text("m", gutter, y + 53, fitted(beside, axis.left - gutter - 8))
        draw_stretches(drawing, axis, feet_stretches(report, axis), y + CENTRE)
    bottom = top + ROW + more
    return bottom, (y + CENTRE - 6, y + CENTRE + 6)


def _touches(
    drawing: Drawing, report: Report, axis: Axis, shown: Sequence[Hour], top: float, bottom: float
) -> None:
    """Over the weather: a target for every six hours, which opens those hours below the picture."""
    begins = [axis.start, *(one for one in axis.every(TOUCH_H) if one > axis.start)]
    for begin, end in zip(begins, [*begins[1:], axis.end], strict=True):
        rows = [row for row in shown if begin <= row.time < end]
        if not rows:
            continue
        local = begin.astimezone(axis.zone)
        with drawing.link(
            f"/?at={quote(local.isoformat(timespec='minutes'))}#hours",
            f"Hours from {local:%a} {local.day} {local:%b %H:%M}",
        ):
            drawing.rect("hit", axis.x(begin), top, axis.x(end) - axis.x(begin), bottom - top)
