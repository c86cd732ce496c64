"""Ribbons of hours: runs of one state along a scale of local days, in percent of its width."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from planner.reports.rows import RibbonRow, RunRow
from planner.terms import CALENDAR_NEEDS


@dataclass(frozen=True, slots=True)
class Tick:
    """Where a day begins on a scale, where its middle is, and its date."""

    x: float
    mid: float
    date: date


@dataclass(frozen=True, slots=True)
class Scale:
    """A stretch of local time and where its moments lie, 0..100."""

    start: datetime
    end: datetime

    @classmethod
    def days(cls, first: date, count: int, zone: ZoneInfo) -> Scale:
        """Whole local days, of 23, 24 or 25 hours."""
        last = first + timedelta(days=count)
        return cls(datetime.combine(first, time(0), zone), datetime.combine(last, time(0), zone))

    def x(self, moment: datetime) -> float:
        """Percent of the way, within 0..100. Counted in real time, so that a day of 25 hours is wider."""
        whole = self.end.timestamp() - self.start.timestamp()
        return round(min(100.0, max(0.0, (moment.timestamp() - self.start.timestamp()) / whole * 100)), 2)

    def ticks(self) -> list[Tick]:
        """One a day: where it begins, where its middle is, and its date."""
        found: list[Tick] = []
        day, zone = self.start.date(), self.start.tzinfo
        while (begin := datetime.combine(day, time(0), zone)) < self.end:
            after = datetime.combine(day + timedelta(days=1), time(0), zone)
            found.append(Tick(x=self.x(begin), mid=(self.x(begin) + self.x(after)) / 2, date=day))
            day += timedelta(days=1)
        return found


@dataclass(frozen=True, slots=True)
class Piece:
    """One run as it is drawn and listed."""

    x: float
    width: float
    state: str
    is_calendar: bool
    start: datetime
    end: datetime
    says: str


def pieces(runs: Iterable[RunRow], scale: Scale) -> list[Piece]:
    """The runs that fall on the scale."""
    found = []
    for run in runs:
        if run.end <= scale.start or run.start >= scale.end:
            continue
        x = scale.x(run.start)
        found.append(
            Piece(
                x=x,
                width=round(scale.x(run.end) - x, 2),
                state=run.state,
                is_calendar=run.state == "barred" and run.need in CALENDAR_NEEDS,
                start=run.start,
                end=run.end,
                says=run.says,
            )
        )
    return found


def drawn(found: Iterable[Piece]) -> list[Piece]:
    """Neighbours of one look and one cause as one; hours nobody works as one whatever closes them."""
    merged: list[Piece] = []
    for piece in found:
        last = merged[-1] if merged else None
        if (
            last is not None
            and (last.state, last.is_calendar, last.end) == (piece.state, piece.is_calendar, piece.start)
            and (piece.is_calendar or last.says == piece.says)
        ):
            merged[-1] = Piece(
                x=last.x,
                width=round(last.width + piece.width, 2),
                state=last.state,
                is_calendar=last.is_calendar,
                start=last.start,
                end=piece.end,
                says=last.says,
            )
        else:
            merged.append(piece)
    return merged


def alike(ribbons: Iterable[RibbonRow]) -> list[tuple[RibbonRow, list[str]]]:
    """Ribbons of one job that are and say the same on several surfaces, as one with all the surfaces."""
    groups: dict[tuple[str, tuple[RunRow, ...]], tuple[RibbonRow, list[str]]] = {}
    for ribbon in ribbons:
        groups.setdefault((ribbon.job, ribbon.runs), (ribbon, []))[1].append(ribbon.surface)
    return list(groups.values())
