"""The weather of the picture: rain with its chance, gust and wind, temperature of the grass.

Each plot has one line of labels above it: its title first, then the figures, gravest first; one that finds no room
is left out, never laid over another.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from planner.page.axis import HOUR, Axis
from planner.page.drawing import Drawing, LabelLine, box, line, width_of
from planner.page.rows import Hour
from planner.reports.shown_units import METRIC, System, temperature
from planner.reports.shown_units import rain as rain_in
from planner.reports.shown_units import wind as wind_in
from planner.units import KMH_PER_MS, WIND_2M_PER_10M

#: Height of the line of labels over a plot, and of the lane of the chance of rain.
LABELS, CHANCE = 18.0, 19.0
#: Full height of the rain plot, mm in the hour; a taller bar is cut, its total says it.
_FULL_RAIN_MM = 10.0
#: A spell is told from so much on, and one ends after so many dry hours.
_SPELL_MM, _DRY_HOURS = 0.5, 3
_LEAST_MM = 0.05
#: Chances under this are not drawn, per cent.
_CHANCE_FROM = 20.0
_CHANCE_HEIGHT = 14.0
#: Scale of the turf, °C, where its figures stay within.
_TURF_LOW, _TURF_HIGH = -8.0, 12.0
_GUST_LEAST = 30.0

Of = Callable[[Hour], float | None]


def gust_2m_kmh(hour: Hour) -> float | None:
    """Gust brought to 2 m as the needs read it, so that it stands on the scale of their limit. [km/h]"""
    gust = hour["gust_10m_ms"]
    return None if gust is None else gust * WIND_2M_PER_10M * KMH_PER_MS


@dataclass(slots=True)
class Plots:
    """Draws one plot under the other on a drawing."""

    drawing: Drawing
    axis: Axis
    hours: Sequence[Hour]
    height: dict[str, float]
    """Height of the plots by name: rain, gust, turf."""
    title_x: float
    is_wide: bool
    bars: list[tuple[float, float]]
    """Top and bottom of what was drawn, for the lines of the hours."""
    system: System = METRIC
    """The units that the figures are told in; all is placed in metric ones."""

    def _label_line(self, title: str, unit: str, y: float) -> LabelLine:
        """The line over a plot, its title taken; on the wide picture the title stands beside the plot."""
        text = self.drawing.text
        labels = LabelLine(
            self.axis.left + (0 if self.is_wide else 2), self.axis.right + (20 if self.is_wide else 0)
        )
        at = y + LABELS / 2 + 24 if self.is_wide else y + 13
        text("b", self.title_x, at, title)
        width = width_of(title, bold=True) + 5
        text("m", self.title_x + width, at, unit)
        if not self.is_wide:
            labels.take(self.title_x, self.title_x + width + width_of(unit) + 8)
        return labels

    def _gaps(self, name: str) -> list[tuple[datetime, datetime]]:
        """Stretches of the axis for which the figure is not known: missing hours, and what lies past the last."""
        known = {hour.time for hour in self.hours if hour[name] is not None}
        found: list[tuple[datetime, datetime]] = []
        moment = self.axis.start.astimezone(UTC)
        while moment < self.axis.end:
            if moment not in known:
                if found and found[-1][1] == moment:
                    found[-1] = (found[-1][0], moment + HOUR)
                else:
                    found.append((moment, moment + HOUR))
            moment += HOUR
        return found

    def _reaches_all(self, name: str) -> bool:
        return not self._gaps(name)

    def _unread_dots(self, name: str, y: float) -> None:
        """Dots where nothing is known, so that an empty plot is never read as a dry or a calm one."""
        dots = "".join(f"M{self.axis.x(a) + 2:.1f} {y:.1f}H{self.axis.x(b):.1f}" for a, b in self._gaps(name))
        self.drawing.path("s-unread", dots)

    def _figure(self, labels: LabelLine, look: str, middle: float, y: float, text: str) -> None:
        at = labels.place(middle, width_of(text, bold="b" in look.split()))
        if at is not None:
            self.drawing.text(look, at, y + 13, text, anchor="middle")

    def rain(self, y: float) -> float:
        """Bars of rain and the lane of its chance; the bottom of both."""
        chances = [(hour.time, hour["rain_chance_pct"]) for hour in self.hours]
        known = [one for _, one in chances if one is not None]
        spells = _spells(self.hours)
        is_whole = self._reaches_all("rain_mm") and self._reaches_all("rain_chance_pct")
        if is_whole and not spells and known and max(known) < _CHANCE_FROM:
            self._label_line("Rain", "none, chance under 20 %", y)
            bottom = y + LABELS + (20 if self.is_wide else 4)
            self.drawing.path("axis", f"M{self.axis.left:.1f} {bottom:.1f}H{self.axis.right:.1f}")
            return bottom
        amount = rain_in(self.system)
        top = y + LABELS
        bottom = top + self.height["rain"]
        labels = self._label_line("Rain", _unread(self.hours, lambda hour: hour["rain_mm"]) or amount.sign, y)
        width = self.axis.px_an_hour
        bars = []
        for hour in self.hours:
            rain = hour["rain_mm"]
            if rain is not None and rain >= _LEAST_MM:
                tall = max(2.5, min(1.0, rain / _FULL_RAIN_MM) * self.height["rain"])
                bars.append(box(self.axis.x(hour.time) + 0.4, bottom - tall, max(1.0, width - 0.8), tall))
        self.drawing.path("rain", "".join(bars))
        self.drawing.path("axis", f"M{self.axis.left:.1f} {bottom:.1f}H{self.axis.right:.1f}")
        self._unread_dots("rain_mm", bottom - 8)
        self.bars.append((top, bottom))
        for start, end, total in sorted(spells, key=lambda one: -one[2]):
            if total >= _SPELL_MM:
                middle = (self.axis.x(start) + self.axis.x(end)) / 2
                said = amount.text(total, 0 if self.system == METRIC and total >= 9.5 else None)
                self._figure(labels, "b" if total >= 5 else "t", middle, y, said)
        return self._chance(bottom, chances)

    def _chance(self, y: float, chances: Sequence[tuple[datetime, float | None]]) -> float:
        """The lane of the chance of rain, from 20 % up."""
        bottom = y + CHANCE
        lane = LabelLine(self.axis.left, self.axis.right + (26 if self.is_wide else 0), clear=3)
        at = bottom - 4
        title = "chance" if any(one is not None for _, one in chances) else "chance not given"
        self.drawing.text("m", self.title_x, at, title)
        areas = _runs(
            [(when, one if one is not None and one >= _CHANCE_FROM else None) for when, one in chances]
        )
        drawn, labels = [], []
        for area in areas:
            x0, x1 = self.axis.x(area[0][0]), self.axis.x(area[-1][0] + HOUR)
            lane.take(x0, x1)
            steps: list[tuple[float, float]] = [(x0, bottom)]
            for when, value in area:
                height = bottom - value / 100 * _CHANCE_HEIGHT
                steps += [(self.axis.x(when), height), (self.axis.x(when + HOUR), height)]
            drawn.append(line([*steps, (x1, bottom)]) + "z")
            labels.append((max(value for _, value in area), x0, x1))
        if not self.is_wide:
            lane.take(self.title_x, self.title_x + width_of(title))
        self.drawing.path("chance", "".join(drawn))
        self.drawing.path("axis", f"M{self.axis.left:.1f} {bottom:.1f}H{self.axis.right:.1f}")
        for most, x0, x1 in sorted(labels, reverse=True):
            said = f"{most:.0f} %"
            look = "b" if most >= 70 else "t"
            width = width_of(said, bold=look == "b")
            for left in (x1 + 4, x0 - 4 - width):
                if lane.is_free(left, left + width):
                    lane.take(left, left + width)
                    self.drawing.text(look, left, at, said)
                    break
        return bottom

    def gust(self, y: float, limit: float | None) -> float:
        """Gust against the strictest limit of the sprays that are wanted, and the wind; the bottom of it."""
        top = y + LABELS
        bottom = top + self.height["gust"]
        speed = wind_in(self.system)
        has_gust = any(gust_2m_kmh(hour) is not None for hour in self.hours)
        main: Of = gust_2m_kmh if has_gust else lambda hour: hour["wind_2m_kmh"]
        values = [(hour.time, main(hour)) for hour in self.hours]
        known = [value for _, value in values if value is not None]
        high = max([1.5 * limit if limit is not None else _GUST_LEAST, *known])
        labels = self._label_line(
            "Gust" if has_gust else "Wind", _unread(self.hours, main) or f"{speed.sign} at 2 m", y
        )

        def place(value: float) -> float:
            return bottom - value / high * (self.height["gust"] - 2)

        runs = _runs(values)
        if limit is not None:
            over = "".join(self._over(run, limit, place) for run in runs)
            self.drawing.path("beyond", over)
        if has_gust:
            winds = _runs([(hour.time, hour["wind_2m_kmh"]) for hour in self.hours])
            self.drawing.path("thin", "".join(self._steps(run, place) for run in winds))
        self.drawing.path("line", "".join(self._steps(run, place) for run in runs))
        self.drawing.path("axis", f"M{self.axis.left:.1f} {bottom:.1f}H{self.axis.right:.1f}")
        self.bars.append((top, bottom))
        self._unread_dots("gust_10m_ms" if has_gust else "wind_2m_kmh", bottom - 8)
        if limit is None:
            for when, value in _peaks(values, 0.0)[:1]:
                self._figure(labels, "t", self.axis.x(when), y, _speed(value, self.system))
            return bottom
        self.drawing.path("limit", f"M{self.axis.left:.1f} {place(limit):.1f}H{self.axis.right:.1f}")
        for when, value in _peaks(values, limit):
            self._figure(labels, "b", self.axis.x(when), y, _speed(value, self.system))
        self._limit_words(limit, place(limit), values, labels, y)
        return bottom

    def _limit_words(
        self,
        limit: float,
        height: float,
        values: Sequence[tuple[datetime, float | None]],
        labels: LabelLine,
        y: float,
    ) -> None:
        """`limit 25` where there is room: at the edge of the wide picture, else over the line where it is calm,
        else beside the title."""
        if self.is_wide:
            self.drawing.text("w", self.axis.right + 5, height + 5, _speed(limit, self.system))
            return
        said = f"limit {_speed(limit, self.system)}"
        width = width_of(said)
        first = self.axis.left + 4
        walls = [self.axis.x(one) for one in self.axis.midnights]
        best: tuple[float, float] | None = None
        x = first
        while x + width < self.axis.right:
            below = [
                value
                for when, value in values
                if value is not None and self.axis.x(when) < x + width and self.axis.x(when + HOUR) > x
            ]
            clear = all(not x - 3 < wall < x + width + 3 for wall in walls)
            if (
                clear
                and below
                and max(below) <= limit * 0.97
                and (best is None or max(below) < best[0] - 0.5)
            ):
                best = (max(below), x)
            x += 6
        if best is not None:
            self.drawing.text("w", best[1], height - 3, said)
            return
        for left in range(int(labels.left), int(self.axis.right - width), 6):
            if labels.is_free(left, left + width):
                labels.take(left, left + width)
                self.drawing.text("w", left, y + 13, said)
                return

    def turf(self, y: float) -> float:
        """The temperature at the tips of the grass, frost hatched; the bottom of it."""
        top = y + LABELS
        bottom = top + self.height["turf"]
        warmth = temperature(self.system)
        values = [(hour.time, hour["grass_temp_c"]) for hour in self.hours]
        known = [value for _, value in values if value is not None]
        low, high = min([_TURF_LOW, *(one - 1 for one in known)]), max([_TURF_HIGH, *known])
        labels = self._label_line(
            "Grass", _unread(self.hours, lambda hour: hour["grass_temp_c"]) or warmth.sign, y
        )

        def place(value: float) -> float:
            return bottom - (value - low) / (high - low) * (bottom - top)

        zero = place(0.0)
        runs = _runs(values)
        frozen = _runs([(when, v if v is not None and v <= 0 else None) for when, v in values])
        self.drawing.path(
            "beyond",
            "".join(
                box(
                    self.axis.x(run[0][0]),
                    zero,
                    self.axis.x(run[-1][0] + HOUR) - self.axis.x(run[0][0]),
                    bottom - zero,
                )
                for run in frozen
            ),
        )
        self.drawing.path("limit", f"M{self.axis.left:.1f} {zero:.1f}H{self.axis.right:.1f}")
        self.drawing.path(
            "line",
            "".join(
                line((self.axis.x(when + HOUR / 2), place(value)) for when, value in run) for run in runs
            ),
        )
        self.bars.append((top, bottom))
        self._unread_dots("grass_temp_c", zero - 8)
        if self.is_wide:
            self.drawing.text("w", self.axis.right + 5, zero + 5, warmth.number(0.0, 0))
        for run in sorted(frozen, key=lambda one: min(value for _, value in one)):
            when, value = min(run, key=lambda one: one[1])
            self._figure(labels, "w b", self.axis.x(when), y, warmth.number(value, 1).replace("-", "−"))
        for when, value in self._warmest(values):
            self._figure(labels, "m", self.axis.x(when), y, warmth.number(value, 0).replace("-", "−"))
        return bottom

    def _warmest(self, values: Iterable[tuple[datetime, float | None]]) -> list[tuple[datetime, float]]:
        """The warmest hour of each local day that is there by day, the warmest first."""
        days: dict[object, tuple[datetime, float]] = {}
        for when, value in values:
            local = when.astimezone(self.axis.zone)
            if value is not None and 10 <= local.hour <= 18:
                day = local.date()
                if day not in days or value > days[day][1]:
                    days[day] = (when, value)
        return sorted(days.values(), key=lambda one: -one[1])

    def _steps(self, run: Sequence[tuple[datetime, float]], place: Callable[[float], float]) -> str:
        points: list[tuple[float, float]] = []
        for when, value in run:
            points += [(self.axis.x(when), place(value)), (self.axis.x(when + HOUR), place(value))]
        return line(_without_middles(points))

    def _over(
        self, run: Sequence[tuple[datetime, float]], limit: float, place: Callable[[float], float]
    ) -> str:
        """The room between limit and line where the line is over it."""
        parts = []
        for over in _runs([(when, value if value > limit else None) for when, value in run]):
            x0, x1 = self.axis.x(over[0][0]), self.axis.x(over[-1][0] + HOUR)
            points = [(x0, place(limit))]
            for when, value in over:
                points += [(self.axis.x(when), place(value)), (self.axis.x(when + HOUR), place(value))]
            parts.append(line([*points, (x1, place(limit))]) + "z")
        return "".join(parts)


def _speed(kmh: float, system: System) -> str:
    """A speed beside its limit: in whole km/h; in mph with a digit more, so that the two stay apart."""
    text = wind_in(system).number(kmh, 0 if system == METRIC else 1)
    return text.removesuffix(".0")


def _without_middles(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """The points without those that lie on a level line between their neighbours."""
    kept: list[tuple[float, float]] = []
    for at, point in enumerate(points):
        if 0 < at < len(points) - 1 and points[at - 1][1] == point[1] == points[at + 1][1]:
            continue
        kept.append(point)
    return kept


def _runs(values: Iterable[tuple[datetime, float | None]]) -> list[list[tuple[datetime, float]]]:
    """Hours in a row whose figure is known; a gap begins another run."""
    runs: list[list[tuple[datetime, float]]] = []
    for when, value in values:
        if value is None:
            continue
        if runs and when - runs[-1][-1][0] <= HOUR:
            runs[-1].append((when, value))
        else:
            runs.append([(when, value)])
    return runs


def _spells(hours: Sequence[Hour]) -> list[tuple[datetime, datetime, float]]:
    """Spells of rain: start, end and total in mm; hours less than three apart are one."""
    found: list[tuple[datetime, datetime, float]] = []
    for hour in hours:
        rain = hour["rain_mm"]
        if rain is None or rain < _LEAST_MM:
            continue
        if found and hour.time - found[-1][1] < timedelta(hours=_DRY_HOURS):
            found[-1] = (found[-1][0], hour.time + HOUR, found[-1][2] + rain)
        else:
            found.append((hour.time, hour.time + HOUR, rain))
    return found


def _peaks(values: Iterable[tuple[datetime, float | None]], limit: float) -> list[tuple[datetime, float]]:
    """The middle of the highest hours of each stretch over the limit, the highest first."""
    found = []
    for run in _runs(
        [(when, value if value is not None and value > limit else None) for when, value in values]
    ):
        most = max(value for _, value in run)
        level = [when for when, value in run if value >= most - 0.5]
        found.append((level[0] + (level[-1] + HOUR - level[0]) / 2, most))
    return sorted(found, key=lambda one: -one[1])


def _unread(hours: Sequence[Hour], of: Of) -> str:
    """`not read` where no hour has the figure; empty else."""
    return "not read" if all(of(hour) is None for hour in hours) else ""
