"""Ribbons of hours: runs of one state laid along a scale of local days, in percent of its width."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

#: Needs that close the night and the hours nobody works: drawn paler, left out of the table twin.
FRAME = ("light", "clock", "season")


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

    def ticks(self) -> list[dict[str, Any]]:
        """One a day: where it begins, where its middle is, and its date."""
        found = []
        day, zone = self.start.date(), self.start.tzinfo
        while (begin := datetime.combine(day, time(0), zone)) < self.end:
            after = datetime.combine(day + timedelta(days=1), time(0), zone)
            found.append({"x": self.x(begin), "mid": (self.x(begin) + self.x(after)) / 2, "date": day})
            day += timedelta(days=1)
        return found


@dataclass(frozen=True, slots=True)
class Piece:
    """One run as it is drawn and told."""

    x: float
    width: float
    state: str
    is_frame: bool
    start: str
    end: str
    says: str


def pieces(runs: Iterable[Mapping[str, Any]], scale: Scale) -> list[Piece]:
    """The runs that fall on the scale."""
    laid = []
    for run in runs:
        start, end = (datetime.fromisoformat(run[key]) for key in ("start", "end"))
        if end <= scale.start or start >= scale.end:
            continue
        x = scale.x(start)
        laid.append(
            Piece(
                x=x,
                width=round(scale.x(end) - x, 2),
                state=run["state"],
                is_frame=run["state"] == "barred" and run["need"] in FRAME,
                start=run["start"],
                end=run["end"],
                says=run["says"],
            )
        )
    return laid


def drawn(laid: Iterable[Piece]) -> list[Piece]:
    """Neighbours of one look and one cause as one; hours nobody works as one whatever closes them."""
    merged: list[Piece] = []
    for piece in laid:
        last = merged[-1] if merged else None
        if (
            last is not None
            and (last.state, last.is_frame, last.end) == (piece.state, piece.is_frame, piece.start)
            and (piece.is_frame or last.says == piece.says)
        ):
            merged[-1] = Piece(
                x=last.x,
                width=round(last.width + piece.width, 2),
                state=last.state,
                is_frame=last.is_frame,
                start=last.start,
                end=piece.end,
                says=last.says,
            )
        else:
            merged.append(piece)
    return merged


def alike(ribbons: Iterable[Mapping[str, Any]]) -> list[tuple[Mapping[str, Any], list[str]]]:
    """Ribbons of one job that are and say the same on several surfaces, as one with all the surfaces."""
    groups: dict[tuple[Any, ...], tuple[Mapping[str, Any], list[str]]] = {}
    for ribbon in ribbons:
        runs = tuple((run["start"], run["state"], run["need"], run["says"]) for run in ribbon["runs"])
        key = (ribbon["job"], runs)
        groups.setdefault(key, (ribbon, []))[1].append(ribbon["surface"])
    return list(groups.values())
