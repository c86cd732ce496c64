"""The weather of the days ahead as lines and bars, in the units of the drawing."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import ceil, floor

from planner.page.ribbon import Scale, Tick
from planner.page.rows import Hour
from planner.reports.rows import WindowRow
from planner.terms import KINDS_OF_JOB

#: Where a moment lies on the drawing.
Place = Callable[[datetime], float]


@dataclass(frozen=True, slots=True)
class Pane:
    """One strip of the drawing with its own scale: `low` to `high` between `top` and `bottom`."""

    top: float
    bottom: float
    low: float
    high: float
    ticks: tuple[float, ...]

    def y(self, value: float) -> float:
        """Where the figure lies."""
        share = (value - self.low) / (self.high - self.low)
        return round(self.bottom - share * (self.bottom - self.top), 1)


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle; height only where it is not the same for all."""

    x: float
    w: float
    y: float = 0.0
    h: float = 0.0


@dataclass(frozen=True, slots=True)
class Band:
    """Every window of one kind of job: narrow hours thin, steady ones thick."""

    kind: str
    y: float
    narrow: list[Box]
    steady: list[Box]


@dataclass(frozen=True, slots=True)
class Chart:
    """A drawing ready to be written out. Lengths in units of its view box."""

    width: float
    height: float
    left: float
    days: list[Tick]
    bands: list[Band]
    panes: dict[str, Pane]
    lines: dict[str, list[str]]
    bars: list[Box]


def pane(values: Iterable[float | None], top: float, bottom: float, *, floor_at: float | None = None) -> Pane:
    """A strip with round ticks around the figures that are known."""
    known = [value for value in values if value is not None] or [0.0]
    low = min(known) if floor_at is None else floor_at
    high = max(max(known), low + 1.0)
    step = next((s for s in (1, 2, 5, 10, 20, 50) if (high - low) / s <= 4), 100)
    first, last = floor(low / step) * step, ceil(high / step) * step
    ticks = tuple(float(tick) for tick in range(first, last + 1, step))
    return Pane(top, bottom, float(first), float(last), ticks)


def chart(
    rows: Sequence[Hour],
    windows: Sequence[WindowRow],
    scale: Scale,
    *,
    width: float,
    left: float = 78.0,
) -> Chart:
    """Bands of windows by kind of job, then temperature, rain and wind."""
    inner = width - left - 2
    found = [row.kind for row in windows]
    kinds = [kind for kind in KINDS_OF_JOB if kind in found] + sorted({*found} - {*KINDS_OF_JOB})
    head = 18.0 + 15.0 * len(kinds)
    shown = [row for row in rows if scale.start <= row.time < scale.end]
    temps = [row[name] for row in shown for name in ("air_temp_c", "grass_temp_c")]
    winds = [value for row in shown for value in (row["wind_2m_kmh"], _gust(row))]
    panes = {
        "temp": pane(temps, head + 16, head + 96),
        "rain": pane([row["rain_mm"] for row in shown], head + 118, head + 168, floor_at=0.0),
        "wind": pane(winds, head + 190, head + 250, floor_at=0.0),
    }

    def x(moment: datetime) -> float:
        return round(left + scale.x(moment) / 100 * inner, 1)

    lines = {
        "air": _line(shown, "temp", panes, x, lambda row: row["air_temp_c"]),
        "grass": _line(shown, "temp", panes, x, lambda row: row["grass_temp_c"]),
        "wind": _line(shown, "wind", panes, x, lambda row: row["wind_2m_kmh"]),
        "gust": _line(shown, "wind", panes, x, _gust),
    }
    hour = inner / max(1.0, (scale.end.timestamp() - scale.start.timestamp()) / 3600)
    bars = []
    for row in shown:
        rain = row["rain_mm"]
        if rain is not None and rain > 0:
            y = panes["rain"].y(rain)
            bars.append(
                Box(
                    x=x(row.time),
                    w=round(max(0.8, hour - 0.4), 1),
                    y=y,
                    h=round(max(0.8, panes["rain"].bottom - y), 1),
                )
            )
    return Chart(
        width=width,
        height=panes["wind"].bottom + 6,
        left=left,
        days=[
            Tick(x=round(left + tick.x / 100 * inner, 1), mid=left + tick.mid / 100 * inner, date=tick.date)
            for tick in scale.ticks()
        ],
        bands=[_band(kind, windows, scale, x, 20.0 + 15.0 * number) for number, kind in enumerate(kinds)],
        panes=panes,
        lines=lines,
        bars=bars,
    )


def _gust(row: Hour) -> float | None:
    """Gusts in km/h at 10 m, as the forecast gives them."""
    gust = row["gust_10m_ms"]
    return None if gust is None else gust * 3.6


def _band(kind: str, windows: Sequence[WindowRow], scale: Scale, x: Place, y: float) -> Band:
    """The hours of all windows of one kind, joined where they touch."""
    spans: dict[str, set[tuple[float, float]]] = {"narrow": set(), "steady": set()}
    for row in windows:
        if row.kind != kind:
            continue
        for hour in row.hours:
            if hour.state in spans and scale.start <= hour.start < scale.end:
                spans[hour.state].add((hour.start.timestamp(), hour.start.timestamp() + 3600))
    drawn = {
        state: [
            Box(x=(left := x(_moment(a, scale))), w=round(x(_moment(b, scale)) - left, 1))
            for a, b in _joined(found)
        ]
        for state, found in spans.items()
    }
    return Band(kind=kind, y=y, narrow=drawn["narrow"], steady=drawn["steady"])


def _moment(seconds: float, scale: Scale) -> datetime:
    return datetime.fromtimestamp(seconds, scale.start.tzinfo)


def _joined(spans: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
    joined: list[tuple[float, float]] = []
    for begin, end in sorted(spans):
        if joined and joined[-1][1] >= begin:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((begin, end))
    return joined


def _line(
    rows: Sequence[Hour],
    name: str,
    panes: Mapping[str, Pane],
    x: Place,
    value: Callable[[Hour], float | None],
) -> list[str]:
    """Points of a line, broken into pieces where a figure is unknown."""
    parts: list[list[str]] = [[]]
    for row in rows:
        figure = value(row)
        if figure is None:
            parts.append([])
            continue
        parts[-1].append(f"{x(row.time)},{panes[name].y(figure)}")
    return [" ".join(part) for part in parts if len(part) > 1]
