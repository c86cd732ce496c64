"""The rows under the weather: how the ground bears feet, and one row for each job that is wanted."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from planner.page.axis import Axis
from planner.page.brief import coming_work, day_and_time, job_address
from planner.page.drawing import Drawing, box, number, width_of
from planner.reports.mine import pressing
from planner.reports.rows import JobRow, Report, RibbonRow, RunRow, WindowRow, WorkRow
from planner.reports.sentences import job_on
from planner.reports.surface_rows import DueRow, UnderfootRow
from planner.terms import CALENDAR_NEEDS, PLAY, STATE_WORDS, first_up

#: Height of a row, of its two lines of text on the wide picture, and where its bar lies.
ROW, CENTRE = 44.0, 31.0
#: Rows that are drawn; further ones without an hour are only counted.
MOST_ROWS = 8
_STATES = ("steady", "narrow", "broken", "barred", "unread")

Stretch = tuple[datetime, datetime, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class JobLine:
    """A wanted job on a surface: the hours that the week gave it, the state of every hour, how sure."""

    job: str
    label: str
    surface: str
    orders: list[WorkRow]
    runs: tuple[RunRow, ...]
    window: WindowRow | None
    """The window of its first ordered hour, else its first window."""
    due: DueRow | None
    says: str
    """Why it has no hour; empty where it has one."""

    @property
    def first(self) -> WorkRow | None:
        """The first ordered hour still to come."""
        return self.orders[0] if self.orders else None

    @property
    def name(self) -> str:
        """`Foliar feed, green`"""
        return first_up(job_on(self.label, self.surface))

    @property
    def sure(self) -> str:
        """How sure its first hour is: a chance that is calibrated, the share of members, else the state in words."""
        state = self.first.state if self.first is not None else None
        words = STATE_WORDS[state] if state else ""
        row = self.window
        if self.first is None or row is None:
            return words
        if row.chance is not None:
            return f"{words}, {row.chance * 100:.0f} %"
        return f"{words}, {row.share * 100:.0f} % of members" if row.share is not None else words


def job_lines(report: Report) -> list[JobLine]:
    """One row for each job that is wanted, due or placed; those with an hour first, in its order."""
    found = []
    pairs = pressing(report)
    wanted = [(row.job, row.surface) for row in report.wanted]
    ribbons = [row for row in report.ribbons if (row.job, row.surface) in pairs and row.kind != PLAY]
    ribbons.sort(key=lambda row: wanted.index(_pair(row)) if _pair(row) in wanted else len(wanted))
    for ribbon in ribbons:
        found.append(_line(report, ribbon))
    return sorted(
        found,
        key=lambda row: (row.first is None, row.first.start.timestamp() if row.first is not None else 0.0),
    )


def _pair(row: JobRow | DueRow) -> tuple[str, str]:
    return row.job, row.surface


def _line(report: Report, ribbon: RibbonRow) -> JobLine:
    pair = _pair(ribbon)
    orders = [row for row in coming_work(report) if _pair(row) == pair]
    windows = [row for row in report.windows if _pair(row) == pair]
    if orders:
        windows = [row for row in windows if row.start <= orders[0].start <= row.latest_start] or windows
    left = next((row for row in report.week.left if _pair(row) == pair), None)
    barred = next((row for row in report.barred if _pair(row) == pair), None)
    says = left.says if left is not None else barred.because.says if barred is not None else ""
    return JobLine(
        job=ribbon.job,
        label=ribbon.label,
        surface=ribbon.surface,
        orders=orders,
        runs=ribbon.runs,
        window=min(windows, key=lambda row: row.start.timestamp(), default=None),
        due=next((row for row in report.due if _pair(row) == pair), None),
        says="" if orders else says,
    )


def stretches_of(report: Report, runs: Iterable[RunRow], axis: Axis) -> list[Stretch]:
    """What is drawn of a job's hours: neighbours of one look as one, nothing where nobody works, dots where the
    forecast is too old or ends."""
    if report.forecast.stale:
        return [(axis.start, axis.end, "unread")]
    found: list[Stretch] = []
    last = axis.start
    for run in runs:
        last = max(last, run.end)
        if not axis.shows(run.start, run.end) or (run.state == "barred" and run.need in CALENDAR_NEEDS):
            continue
        if found and found[-1][1] >= run.start and found[-1][2] == run.state:
            found[-1] = (found[-1][0], run.end, run.state)
        else:
            found.append((run.start, run.end, run.state))
    if last < axis.end:
        found.append((last, axis.end, "unread"))
    return [(max(a, axis.start), min(b, axis.end), state) for a, b, state in found]


def by_day(stretches: Iterable[Stretch], dark: Iterable[tuple[datetime, datetime]]) -> list[Stretch]:
    """The same with the hours that are barred at night left out."""
    nights = list(dark)
    found: list[Stretch] = []
    for start, end, state in stretches:
        if state != "barred":
            found.append((start, end, state))
            continue
        pieces = [(start, end)]
        for a, b in nights:
            pieces = [
                part
                for low, high in pieces
                for part in ((low, min(high, a)), (max(low, b), high))
                if part[1] > part[0]
            ]
        found += [(low, high, state) for low, high in pieces if high - low > timedelta(minutes=10)]
    return found


def draw_stretches(drawing: Drawing, axis: Axis, stretches: Iterable[Stretch], centre: float) -> None:
    """Each state in its shape: a bar, a thin bar, slats, a hatch, dots."""
    shapes: dict[str, list[str]] = {state: [] for state in _STATES}
    for start, end, state in stretches:
        x0, x1 = axis.x(start), axis.x(end)
        if state == "steady":
            shapes[state].append(box(x0, centre - 6, x1 - x0, 12))
        elif state == "narrow":
            shapes[state].append(box(x0, centre - 2.5, x1 - x0, 5))
        elif state == "broken":
            count = max(2, round((x1 - x0) / 4.6))
            step = (x1 - x0) / count
            shapes[state] += [f"M{number(x0 + 1 + at * step)} {number(centre - 6)}v12" for at in range(count)]
        elif state == "barred":
            shapes[state].append(box(x0, centre - 4, x1 - x0, 8))
        else:
            shapes[state].append(f"M{number(x0 + 2)} {number(centre)}H{number(x1)}")
    for state, found in shapes.items():
        drawing.path(f"s-{state}", "".join(found))


def draw_orders(
    drawing: Drawing, axis: Axis, orders: Iterable[WorkRow], centre: float, *, with_time: bool
) -> None:
    """The hours that the week gave: an upright box from its start, as wide as the work takes."""
    outer, inner = [], []
    for row in orders:
        if not axis.shows(row.start, row.end):
            continue
        x = axis.x(row.start)
        width = max(9.0, axis.x(row.end) - x)
        outer.append(box(x - 1.3, centre - 10.3, width + 2.6, 20.6))
        inner.append(box(x + 1.2, centre - 7.8, width - 2.4, 15.6))
        if with_time:
            # Beside the block, at the height of the upper line of the row.
            said = f"{row.start.astimezone(axis.zone):%H:%M}"
            at = min(x - 1, axis.right - width_of(said, bold=True))
            drawing.text("b", at, centre - 14, said)
    drawing.path("paper", "".join(outer))
    drawing.path("order", "".join(inner))


def draw_job(
    drawing: Drawing,
    report: Report,
    axis: Axis,
    line: JobLine,
    dark: list[tuple[datetime, datetime]],
    y: float,
    *,
    gutter: float | None,
) -> None:
    """One row: its words, the state of its hours, its ordered hours. `gutter` is where the words stand on the wide
    picture; None puts them over the bar."""
    when = day_and_time(line.first.start, report) if line.first is not None else "no hour"
    if line.first is not None and axis.now is None:
        # Under other days a bare hour of today would be read as one of theirs.
        when = f"{line.first.start.astimezone(axis.zone):%a %H:%M}"
    sure = line.sure or (_due_words(line.due) if line.due is not None else "")
    ends = f", {sure}" if sure else ""
    # In the order in which it is read on the drawing.
    label = f"{when}: {line.name}{ends}" if gutter is None else f"{line.name}: {when}{ends}"
    with drawing.link(job_address(line.job), label):
        drawing.rect("hit", 0, y, drawing.width, ROW)
        if gutter is None:
            drawing.text("b", 5, y + 16, when)
            room = axis.right - 84
            if width_of(line.name) + width_of(sure) + 10 > room:
                sure = sure.partition(", ")[2]
            if width_of(line.name) + width_of(sure) + 10 > room:
                sure = ""
            drawing.text("u", 84, y + 16, fitted(line.name, room - (width_of(sure) + 10 if sure else 0)))
            if sure:
                drawing.text("m", axis.right, y + 16, sure, anchor="end")
        else:
            drawing.text("u b", gutter, y + 19, fitted(line.name, axis.left - gutter - 8, bold=True))
            drawing.text(
                "m", gutter, y + 36, fitted(f"{when}, {sure}" if sure else when, axis.left - gutter - 8)
            )
        draw_stretches(drawing, axis, by_day(stretches_of(report, line.runs, axis), dark), y + CENTRE)
        if line.first is not None and gutter is None and line.first.start >= axis.end:
            drawing.path("chevron", f"M{number(axis.right - 7)} {number(y + CENTRE - 6)}l6 6l-6 6")
        if line.first is not None and gutter is None and line.first.end <= axis.start:
            drawing.path("chevron", f"M{number(axis.left + 8)} {number(y + CENTRE - 6)}l-6 6l6 6")
    # Outside the link: its name would have to hold every one of these hours.
    draw_orders(drawing, axis, line.orders, y + CENTRE, with_time=gutter is not None)


def _due_words(due: DueRow) -> str:
    return {"not known": "due: not known", "overdue": "overdue", "due": "due", "coming": ""}[due.state]


def fitted(text: str, room: float, *, bold: bool = False) -> str:
    """The text, cut where it is wider than the room."""
    if width_of(text, bold=bold) <= room:
        return text
    while text and width_of(f"{text}…", bold=bold) > room:
        text = text[:-1]
    return f"{text.rstrip(' ,')}…"


#: How the ground bears feet, by state; wet leaf and seed have words of their own.
_BEARS = {"steady": "firm", "narrow": "firm, leaf wet", "barred": "keep off", "unread": "not known"}


def feet_words(report: Report) -> tuple[str, str]:
    """How the first surface of the site bears feet, and where not to walk now beside it."""
    if not report.ground:
        return "", ""
    first = report.ground[0]
    runs = [row for row in first.underfoot if row.end > report.as_of]
    if not runs or report.forecast.stale:
        return f"Feet on the {first.surface}: not known", ""
    here = runs[0]
    end = here.end
    for row in runs[1:]:
        if _bears(row) != _bears(here):
            break
        end = row.end
    until = f" till {day_and_time(end, report)}" if end < max(row.end for row in runs) else ""
    others: dict[str, list[str]] = {}
    for ground in report.ground[1:]:
        now = next((row for row in ground.underfoot if row.end > report.as_of), None)
        if now is not None and (now.state == "barred" or now.cause == "seed") and _bears(now) != _bears(here):
            others.setdefault(now.cause, []).append(ground.surface)
    beside = "; ".join(f"not on the {' and '.join(names)}: {cause}" for cause, names in others.items())
    return f"Feet on the {first.surface}: {_bears(here)}{until}", beside


def _bears(row: UnderfootRow) -> str:
    own = {"seed": "seed, walk round", "soil": "frozen, no wheels", "wet_unread": "firm"}.get(row.cause)
    if own is not None and row.state != "barred":
        return own
    return f"{_BEARS[row.state]}, {row.cause}" if row.state == "barred" else _BEARS[row.state]


def feet_stretches(report: Report, axis: Axis) -> list[Stretch]:
    """How the first surface bears feet hour by hour; dots beyond the hours it is worked out for."""
    if not report.ground or report.forecast.stale:
        return [(axis.start, axis.end, "unread")]
    found: list[Stretch] = []
    last = axis.start
    for row in report.ground[0].underfoot:
        if axis.shows(row.start, row.end):
            found.append((max(row.start, axis.start), min(row.end, axis.end), row.state))
            last = max(last, row.end)
    if last < axis.end:
        found.append((last, axis.end, "unread"))
    return found
