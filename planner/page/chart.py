"""The weather of the days ahead as lines and bars, in the units of the drawing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from math import ceil, floor
from typing import Any

from planner.page.ribbon import Scale

#: Kinds of job that get a band of their own, in this order; any other follows.
KINDS = ("spraying", "seeding", "fertilising", "mowing")


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
class Chart:
    """A drawing ready to be written out. Lengths in units of its view box."""

    width: float
    height: float
    left: float
    days: list[dict[str, Any]]
    bands: list[dict[str, Any]]
    panes: dict[str, Pane]
    lines: dict[str, list[str]]
    bars: list[dict[str, float]] = field(default_factory=list)


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
    rows: Sequence[Mapping[str, Any]],
    windows: Sequence[Mapping[str, Any]],
    scale: Scale,
    *,
    width: float,
    left: float = 78.0,
) -> Chart:
    """Bands of windows by kind of job, then temperature, rain and wind.

    `rows` are hours as the answer `hours` tells them, `windows` rows of the answer `windows`.
    """
    inner = width - left - 2
    found = [row["kind"] for row in windows]
    kinds = [kind for kind in KINDS if kind in found] + sorted({*found} - {*KINDS})
    head = 18.0 + 15.0 * len(kinds)
    shown = [row for row in rows if scale.start <= datetime.fromisoformat(row["time"]) < scale.end]
    temps = [row.get(name) for row in shown for name in ("air_temp_c", "surface_temp_c")]
    winds = [value for row in shown for value in (row.get("wind_2m_kmh"), _gust(row))]
    panes = {
        "temp": pane(temps, head + 16, head + 96),
        "rain": pane([row.get("rain_mm") for row in shown], head + 118, head + 168, floor_at=0.0),
        "wind": pane(winds, head + 190, head + 250, floor_at=0.0),
    }

    def x(moment: datetime) -> float:
        return round(left + scale.x(moment) / 100 * inner, 1)

    lines = {
        "air": _line(shown, "temp", panes, x, lambda row: row.get("air_temp_c")),
        "turf": _line(shown, "temp", panes, x, lambda row: row.get("surface_temp_c")),
        "wind": _line(shown, "wind", panes, x, lambda row: row.get("wind_2m_kmh")),
        "gust": _line(shown, "wind", panes, x, _gust),
    }
    hour = inner / max(1.0, (scale.end.timestamp() - scale.start.timestamp()) / 3600)
    bars = []
    for row in shown:
        rain = row.get("rain_mm")
        if rain is not None and rain > 0:
            y = panes["rain"].y(rain)
            bars.append(
                {
                    "x": x(datetime.fromisoformat(row["time"])),
                    "y": y,
                    "w": round(max(0.8, hour - 0.4), 1),
                    "h": round(max(0.8, panes["rain"].bottom - y), 1),
                }
            )
    return Chart(
        width=width,
        height=panes["wind"].bottom + 6,
        left=left,
        days=[
            {"x": round(left + tick["x"] / 100 * inner, 1), "mid": left + tick["mid"] / 100 * inner}
            | {"date": tick["date"]}
            for tick in scale.ticks()
        ],
        bands=[_band(kind, windows, scale, x, 20.0 + 15.0 * number) for number, kind in enumerate(kinds)],
        panes=panes,
        lines=lines,
        bars=bars,
    )


def _gust(row: Mapping[str, Any]) -> float | None:
    """Gusts in km/h at 10 m, as the forecast gives them."""
    gust = row.get("gust_10m_ms")
    return None if gust is None else float(gust) * 3.6


def _band(kind: str, windows: Sequence[Mapping[str, Any]], scale: Scale, x: Any, y: float) -> dict[str, Any]:
    """Every window of one kind of job: narrow hours thin, steady ones thick."""
    spans: dict[str, set[tuple[float, float]]] = {"narrow": set(), "steady": set()}
    for row in windows:
        if row["kind"] != kind:
            continue
        for hour in row["hours"]:
            start = datetime.fromisoformat(hour["start"])
            if hour["state"] in spans and scale.start <= start < scale.end:
                spans[hour["state"]].add((start.timestamp(), start.timestamp() + 3600))
    drawn = {}
    for state, found in spans.items():
        drawn[state] = [
            {"x": (left := x(_moment(a, scale))), "w": round(x(_moment(b, scale)) - left, 1)}
            for a, b in _joined(found)
        ]
    return {"kind": kind, "y": y, "spans": drawn}


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
    rows: Sequence[Mapping[str, Any]], name: str, panes: Mapping[str, Pane], x: Any, value: Any
) -> list[str]:
    """Points of a line, broken into pieces where a figure is unknown."""
    parts: list[list[str]] = [[]]
    for row in rows:
        figure = value(row)
        if figure is None:
            parts.append([])
            continue
        parts[-1].append(f"{x(datetime.fromisoformat(row['time']))},{panes[name].y(figure)}")
    return [" ".join(part) for part in parts if len(part) > 1]
