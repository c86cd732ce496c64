"""Rows of a report put together the way a page shows them, and times as it says them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from planner.page.ribbon import Piece, Scale, alike, drawn, pieces
from planner.reports.mine import is_mine, of_mine, pressing
from planner.reports.rows import BarredRow, DayRow, Report, RibbonRow, WindowRow
from planner.reports.surface_rows import UnderfootRow
from planner.terms import KINDS_OF_JOB

#: Days from the pass up to which a day counts as near, and as likely; beyond it is faint. Judgement.
NEAR_DAYS, LIKELY_DAYS = 2, 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Hour:
    """An hour of weather: its figures by name, None where one is unknown or the forecast lacks the column."""

    time: datetime
    figures: dict[str, float | None]

    def __getitem__(self, name: str) -> float | None:
        return self.figures.get(name)


def hours(report: Report, start: datetime, end: datetime) -> list[Hour]:
    """The hours of the report that begin from `start` up to `end`."""
    table = report.hours
    found = []
    for number in range(table.count):
        time = table.first + timedelta(hours=number)
        if start <= time < end:
            figures = {name: values[number] for name, values in table.columns.items()}
            found.append(Hour(time=time, figures=figures))
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """A job and the surfaces on which its hours are the same."""

    ribbon: RibbonRow
    surfaces: list[str]
    first: WindowRow | None
    windows: list[WindowRow]
    barred: BarredRow | None
    drawn: list[Piece]
    listed: list[Piece]

    @property
    def id(self) -> str:
        """What a link on the page jumps to."""
        return f"{self.ribbon.job}-{'-'.join(self.surfaces)}".replace(" ", "_")


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowGroup:
    """Windows that differ only in their surface."""

    row: WindowRow
    surfaces: list[str]


@dataclass(slots=True, kw_only=True)
class DayCard:
    """A day: the sky once, growth as it spreads over the surfaces, wash where it is worst."""

    date: date
    row: DayRow
    sureness: str
    surfaces: list[DayRow] = field(default_factory=list)
    windows: list[WindowGroup] = field(default_factory=list)

    @property
    def growth(self) -> float | None:
        """The growth potential of the surface that grows most."""
        known = [row.growth_potential for row in self.surfaces if row.growth_potential is not None]
        return max(known, default=None)

    @property
    def worst(self) -> DayRow | None:
        """The row of the surface most at risk of wash."""
        known = [row for row in self.surfaces if row.rain_wash_risk is not None]
        return max(known, key=lambda row: row.rain_wash_risk or 0.0, default=None)


def blocks(report: Report, scale: Scale, job: str | None = None) -> list[Block]:
    """One block for each job and the surfaces on which its hours are the same, sorted by kind."""
    groups = [pair for pair in alike(report.ribbons) if job is None or pair[0].job == job]
    pairs = [pair for group in groups for pair in _alike_windows(*group, report.windows)]
    return sorted(
        (_block(ribbon, surfaces, report, scale) for ribbon, surfaces in pairs),
        key=lambda block: place(block.ribbon.kind),
    )


def mine_and_others(report: Report, found: Iterable[Block]) -> tuple[list[Block], list[Block]]:
    """Blocks of the keeper's jobs, what is wanted, due or placed before the rest of its kind; and of other jobs."""
    first, rows = pressing(report), list(found)
    mine = [block for block in rows if is_mine(report, block.ribbon.job)]
    mine.sort(
        key=lambda block: (
            place(block.ribbon.kind),
            all((block.ribbon.job, surface) not in first for surface in block.surfaces),
        )
    )
    return mine, [block for block in rows if not is_mine(report, block.ribbon.job)]


def _block(ribbon: RibbonRow, surfaces: list[str], report: Report, scale: Scale) -> Block:
    pair = (ribbon.job, surfaces[0])
    mine = [row for row in report.windows if (row.job, row.surface) == pair]
    by_time = sorted(mine, key=lambda row: row.start)
    first = by_time[0] if by_time else None
    found = pieces(ribbon.runs, scale)
    return Block(
        ribbon=ribbon,
        surfaces=surfaces,
        first=first,
        windows=by_time,
        barred=next((row for row in report.barred if (row.job, row.surface) == pair), None),
        drawn=drawn(found),
        listed=[piece for piece in found if not piece.is_calendar],
    )


def _alike_windows(
    ribbon: RibbonRow, surfaces: list[str], windows: Iterable[WindowRow]
) -> list[tuple[RibbonRow, list[str]]]:
    """The surfaces of one ribbon, apart where their windows say different things."""
    groups: dict[tuple[object, ...], list[str]] = {}
    for surface in surfaces:
        mine = [row for row in windows if (row.job, row.surface) == (ribbon.job, surface)]
        groups.setdefault(tuple((row.start, *_words(row)) for row in mine), []).append(surface)
    return [(ribbon, names) for names in groups.values()]


def _words(row: WindowRow) -> tuple[object, ...]:
    """What is said of a window beside its hours."""
    return (
        row.steady_from,
        row.steady_until,
        row.limiting.says,
        row.share,
        row.next_start,
        row.not_read,
        row.tasks,
    )


def place(kind: str) -> tuple[int, str]:
    """Where a kind of job stands on the page."""
    return (KINDS_OF_JOB.index(kind) if kind in KINDS_OF_JOB else len(KINDS_OF_JOB), kind)


def by_kind(found: Iterable[Block]) -> list[tuple[str, list[Block]]]:
    """Blocks under the kind of their job."""
    kinds: dict[str, list[Block]] = {}
    for block in found:
        kinds.setdefault(block.ribbon.kind, []).append(block)
    return list(kinds.items())


def days(report: Report, clock: SiteClock) -> list[DayCard]:
    """One card a day, from today on."""
    cards: dict[str, DayCard] = {}
    today = clock.now.date()
    for row in report.days:
        day = date.fromisoformat(row.date)
        if day < today:
            continue
        ahead = (day - today).days
        sureness = "near" if ahead < NEAR_DAYS else "likely" if ahead < LIKELY_DAYS else "faint"
        card = cards.setdefault(row.date, DayCard(date=day, row=row, sureness=sureness))
        card.surfaces.append(row)
    for card in cards.values():
        card.windows = _on_day(report, card.date, clock)
    return list(cards.values())


def _on_day(report: Report, day: date, clock: SiteClock) -> list[WindowGroup]:
    """Windows of the keeper's jobs that begin on the day, in order of time, alike surfaces together."""
    rows = [row for row in of_mine(report, report.windows) if clock.at(row.start).date() == day]
    return together(sorted(rows, key=lambda row: (place(row.kind), row.start)))


def together(rows: Iterable[WindowRow]) -> list[WindowGroup]:
    """Windows that differ only in their surface, as one."""
    groups: dict[tuple[object, ...], WindowGroup] = {}
    for row in rows:
        key = (row.job, row.start, row.end, row.state, row.latest_start, *_words(row))
        groups.setdefault(key, WindowGroup(row=row, surfaces=[])).surfaces.append(row.surface)
    return list(groups.values())


def cautions(ribbons: Iterable[RibbonRow]) -> list[str]:
    """Every caution of the jobs, once."""
    return list(dict.fromkeys(caution for row in ribbons for caution in row.cautions))


@dataclass(frozen=True, slots=True, kw_only=True)
class Underfoot:
    """How the ground bears feet now and what comes next, on surfaces that are alike."""

    here: UnderfootRow
    after: UnderfootRow | None
    surfaces: list[str]


def underfoot(report: Report, clock: SiteClock) -> list[Underfoot]:
    """The ground now, the worst first, alike surfaces together."""
    groups: dict[tuple[object, ...], Underfoot] = {}
    for row in report.ground:
        runs = [run for run in row.underfoot if run.end > clock.now]
        if not runs:
            continue
        here, after = runs[0], runs[1] if len(runs) > 1 else None
        key = (here.state, here.says, here.end, after and after.says)
        groups.setdefault(key, Underfoot(here=here, after=after, surfaces=[])).surfaces.append(row.surface)
    order = ("barred", "narrow", "unread", "steady")
    return sorted(groups.values(), key=lambda found: order.index(found.here.state))


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """What soil water rests on where it is a guess, and on which surfaces."""

    says: str
    surfaces: list[str]


def guesses(report: Report) -> list[Guess]:
    """Surfaces whose soil water is a guess, those with the same reason together."""
    found: dict[str, Guess] = {}
    for row in report.ground:
        if row.water_guess:
            found.setdefault(row.water_guess, Guess(says=row.water_guess, surfaces=[])).surfaces.append(
                row.surface
            )
    return list(found.values())


class SiteClock:
    """Writes moments for one site at the moment that the page is true of."""

    def __init__(self, zone: ZoneInfo, now: datetime) -> None:
        self.zone = zone
        self.now = now.astimezone(zone)

    def at(self, moment: datetime) -> datetime:
        """The moment on the site's clock."""
        return moment.astimezone(self.zone)

    def _date(self, moment: datetime | date) -> date:
        return self.at(moment).date() if isinstance(moment, datetime) else moment

    def hm(self, moment: datetime) -> str:
        """07:30"""
        return f"{self.at(moment):%H:%M}"

    def day(self, moment: datetime | date) -> str:
        """Thu 7 May; also of a plain date."""
        found = self._date(moment)
        return f"{found:%a} {found.day} {found:%b}"

    def long_day(self, moment: datetime | date) -> str:
        """Thursday 7 May; also of a plain date."""
        found = self._date(moment)
        return f"{found:%A} {found.day} {found:%B}"

    def near_day(self, moment: datetime | date) -> str:
        """today, tomorrow, or Sat 9 May"""
        ahead = (self._date(moment) - self.now.date()).days
        return {0: "today", 1: "tomorrow"}.get(ahead, self.day(moment))

    def when(self, moment: datetime) -> str:
        """today 07:30"""
        return f"{self.near_day(moment)} {self.hm(moment)}"

    def span(self, start: datetime, end: datetime) -> str:
        """today 07:00–12:00; the second day is named where it is another one."""
        first, last = self.at(start), self.at(end)
        # Midnight still belongs to the day before.
        same = first.date() == (last - timedelta(seconds=1)).date()
        until = ("24:00" if last.date() != first.date() else f"{last:%H:%M}") if same else self.when(end)
        return f"{self.when(start)}–{until}"

    def hours(self, start: datetime, end: datetime) -> str:
        """07:00–12:00, or Thu 21:00–Fri 02:00"""
        first, last = self.at(start), self.at(end)
        if first.date() == (last - timedelta(seconds=1)).date():
            until = "24:00" if last.date() != first.date() else f"{last:%H:%M}"
            return f"{first:%H:%M}–{until}"
        return f"{first:%a %H:%M}–{last:%a %H:%M}"

    @staticmethod
    def age(hours: float | None) -> str:
        """40 min, 5 h, 3 days; or that it is not known"""
        if hours is None:
            return "age not known"
        if hours < 1:
            return f"{hours * 60:.0f} min"
        return f"{hours:.0f} h" if hours < 48 else f"{hours / 24:.0f} days"


def figure(value: float | None, digits: int = 0, unit: str = "") -> str:
    """A figure for people; a dash where it is unknown."""
    if value is None:
        return "–"
    text = f"{value:.{digits}f}"
    if text.startswith("-") and float(text) == 0:
        text = text[1:]
    return f"{text} {unit}".strip().replace("-", "−")
