"""The time axis of the picture: where a moment lies, where it is night, where days and hours are named."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from planner.page.drawing import Drawing, LabelLine, width_of
from planner.reports.rows import DayRow, Report

HOUR = timedelta(hours=1)
#: A view of two days ends at this hour after their second night.
_AFTER_THE_NIGHT = time(9)
#: Days of the wide picture.
WIDE_DAYS = 7
#: Pairs of days offered on a phone.
MOST_VIEWS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """A stretch of real time on a stretch of the drawing; a day of 25 hours is wider."""

    start: datetime
    end: datetime
    zone: ZoneInfo
    left: float
    right: float
    now: datetime | None
    """The left edge, where it is now; None on later days."""

    def x(self, moment: datetime) -> float:
        """Where the moment lies, within the axis."""
        share = (moment - self.start.astimezone(UTC)) / (
            self.end.astimezone(UTC) - self.start.astimezone(UTC)
        )
        return self.left + min(1.0, max(0.0, share)) * (self.right - self.left)

    def shows(self, start: datetime, end: datetime) -> bool:
        """Whether any of that stretch is on it."""
        return end > self.start and start < self.end

    @property
    def px_an_hour(self) -> float:
        """Width of an hour."""
        return (self.right - self.left) / ((self.end.astimezone(UTC) - self.start.astimezone(UTC)) / HOUR)

    @property
    def midnights(self) -> list[datetime]:
        """Every local midnight after its start."""
        day = self.start.astimezone(self.zone).date() + timedelta(days=1)
        found = []
        while (moment := local(day, time(0), self.zone)) < self.end:
            found.append(moment)
            day += timedelta(days=1)
        return found

    def every(self, hours: int) -> list[datetime]:
        """The local moments of 00:00, then so many hours on, within it."""
        day = self.start.astimezone(self.zone).date()
        found = []
        while local(day, time(0), self.zone) < self.end:
            found += [local(day, time(hour), self.zone) for hour in range(0, 24, hours)]
            day += timedelta(days=1)
        return [one for one in found if self.start <= one < self.end]


def local(day: date, at: time, zone: ZoneInfo) -> datetime:
    """A moment of a local day; where a clock change leaves it out, the one that takes its place."""
    return datetime.combine(day, at, zone).astimezone(UTC).astimezone(zone)


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """Two days on a phone, and the address that shows them."""

    first: date
    start: datetime
    end: datetime
    is_now: bool

    @property
    def label(self) -> str:
        """`Thu–Fri`"""
        return f"{self.first:%a}–{self.first + timedelta(days=1):%a}"


def views(report: Report) -> list[View]:
    """Pairs of days from today on, as far as the forecast reaches."""
    zone = ZoneInfo(report.site.timezone)
    begin = this_hour(report)
    today = begin.date()
    found = []
    for number in range(MOST_VIEWS):
        first = today + timedelta(days=2 * number)
        start = local(first, time(0), zone) if number else begin
        if number and start >= report.forecast.until:
            break
        end = local(first + timedelta(days=2), _AFTER_THE_NIGHT, zone)
        found.append(View(first=first, start=start, end=end, is_now=not number))
    return found


def this_hour(report: Report) -> datetime:
    """The full hour that the report is true of, on the site's clock."""
    zone = ZoneInfo(report.site.timezone)
    return report.as_of.astimezone(UTC).replace(minute=0, second=0, microsecond=0).astimezone(zone)


def wide_axis(report: Report, left: float, right: float) -> Axis:
    """From now to the end of the seventh day."""
    zone, begin = ZoneInfo(report.site.timezone), this_hour(report)
    end = local(begin.date() + timedelta(days=WIDE_DAYS), time(0), zone)
    return Axis(start=begin, end=end, zone=zone, left=left, right=right, now=begin)


def narrow_axis(report: Report, view: View, left: float, right: float) -> Axis:
    """Two days and their nights."""
    zone = ZoneInfo(report.site.timezone)
    return Axis(
        start=view.start,
        end=view.end,
        zone=zone,
        left=left,
        right=right,
        now=view.start if view.is_now else None,
    )


def nights(report: Report, axis: Axis) -> list[tuple[datetime, datetime]]:
    """Stretches with the sun below the horizon. A day on which it does not rise or set has none of its own."""
    rows: dict[str, DayRow] = {}
    for row in report.days:
        rows.setdefault(row.date, row)
    edges: list[tuple[datetime, bool]] = []
    for row in rows.values():
        if row.sunrise is not None:
            edges.append((row.sunrise, True))
        if row.sunset is not None:
            edges.append((row.sunset, False))
    edges.sort()
    found = []
    dark_from = axis.start if edges and edges[0][1] else None
    for moment, rises in edges:
        if rises and dark_from is not None:
            found.append((dark_from, moment))
            dark_from = None
        elif not rises:
            dark_from = moment
    if dark_from is not None:
        # The last night is drawn to the end: the sun rises after the last day that is known, or not at all.
        found.append((dark_from, axis.end))
    return [(max(a, axis.start), min(b, axis.end)) for a, b in found if axis.shows(a, b)]


def name_days(drawing: Drawing, axis: Axis, y: float) -> None:
    """The name of each day from its midnight on: the longest that has room."""
    begins = [axis.start, *axis.midnights]
    ends = [*begins[1:], axis.end]
    today = axis.now.date() if axis.now is not None else None
    for begin, end in zip(begins, ends, strict=True):
        day = begin.astimezone(axis.zone).date()
        x = axis.x(begin)
        room = axis.x(end) - x - 8
        ahead = (day - today).days if today is not None else 9
        word = {0: "today", 1: "tomorrow"}.get(ahead, "")
        short = f"{day:%a} {day.day}"
        tries = [f"{short} {day:%b}", short]
        if word:
            tries = [f"{word}, {short} {day:%b}", f"{word} {short}", *tries]
        name = next((one for one in tries if width_of(one, bold=True, size=15) <= room), None)
        if begin != axis.start:
            drawing.path("mid", f"M{x:.1f} {y - 14:.1f}v20")
        if name is not None and room >= 32:
            drawing.text("d", x + (5 if begin != axis.start else 0), y, name)


def name_hours(drawing: Drawing, axis: Axis, y: float, *, with_now: bool) -> None:
    """Every sixth hour."""
    line = LabelLine(axis.left - 12, axis.right + 12, clear=4)
    if with_now and axis.now is not None:
        drawing.text("b", axis.left + 5, y, "now")
        line.take(axis.left, axis.left + 40)
    for moment in axis.every(6):
        width = width_of("00")
        x = axis.x(moment)
        if line.is_free(x - width / 2, x + width / 2) and (x > axis.left + 4 or axis.now is None):
            line.take(x - width / 2, x + width / 2)
            x = min(max(x, axis.left + width / 2), axis.right - width / 2)
            drawing.text("m", x, y, f"{moment:%H}", anchor="middle")


def hour_lines(drawing: Drawing, axis: Axis, tops: Iterable[tuple[float, float]]) -> None:
    """Hairlines each six hours and full lines at midnight, only within these stretches from top to bottom."""
    plots = list(tops)
    midnights = set(axis.midnights)
    fine = [one for one in axis.every(6) if one not in midnights and one != axis.start]
    for look, moments in (("hair", fine), ("mid", sorted(midnights))):
        drawing.path(
            look,
            "".join(f"M{axis.x(one):.1f} {top:.1f}V{bottom:.1f}" for one in moments for top, bottom in plots),
        )
