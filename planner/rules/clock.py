"""Needs on the site's clock and calendar: allowed hours, and dates on which a job is barred."""

from __future__ import annotations

from datetime import date
from functools import lru_cache
from typing import Annotated, Literal

import numpy as np
from pydantic import AfterValidator, BeforeValidator, Field, field_validator

from planner.margin import MOST_MARGIN
from planner.rules.base import Attempt, Need, Reading, ResultKey
from planner.terms import WEEKDAYS
from planner.weather import Array, Mask

NEVER = "never"
#: A start at a minute of the clock may miss it by the rounding of an hour to millionths.
_ROUNDING_H = 2e-6


def clock_minutes(text: str) -> int:
    """Minutes after midnight of a time like 07:30; 24:00 is the end of the day."""
    parts = text.split(":")
    if len(parts) == 2 and parts[0].isdigit() and parts[1].isdigit():
        minutes = int(parts[0]) * 60 + int(parts[1])
        if int(parts[1]) < 60 and minutes <= 24 * 60:
            return minutes
    raise ValueError(f'"{text}" is not a time of day: write "07:30"')


def _is_time(text: str) -> str:
    clock_minutes(text)
    return text


def _is_time_or_never(text: str) -> str:
    return text if text == NEVER else _is_time(text)


def _as_spans(written: object) -> object:
    """One span may be written without the brackets of a list of spans, or as a text: "07:00-09:30"."""
    if isinstance(written, str):
        return [
            [part.strip() for part in span.replace("\N{EN DASH}", "-").split("-")]
            for span in written.split(",")
        ]
    is_one = isinstance(written, list | tuple) and written and all(isinstance(part, str) for part in written)
    return [written] if is_one else written


TimeOfDay = Annotated[str, AfterValidator(_is_time)]
_TimeOrNever = Annotated[str, AfterValidator(_is_time_or_never)]
#: Open spans of a day: `["07:00", "09:30"]`, or a list of such.
Spans = Annotated[
    Annotated[tuple[tuple[_TimeOrNever, _TimeOrNever], ...], Field(min_length=1)], BeforeValidator(_as_spans)
]


class Clock(Need):
    """The whole job must lie between two local times of the day; days of the week may have their own."""

    kind: Literal["clock"] = "clock"
    id: str = "allowed_hours"
    label: str = "allowed hours"
    unit: str = "h"
    opens: TimeOfDay = Field(default="00:00", description='Local time from which the job may run, "07:30".')
    closes: TimeOfDay = Field(default="24:00", description="Local time by which it must be finished.")
    days: dict[str, Spans] = Field(
        default={},
        description='Other hours on a weekday: sun = ["10:00", "16:00"], or a list of such spans; '
        '["never", "never"] bars it.',
    )
    low: str = "outside the hours allowed for this work"

    @property
    def is_calendar(self) -> bool:
        return True

    @field_validator("days")
    @classmethod
    def _are_days(cls, days: dict[str, Spans]) -> dict[str, Spans]:
        for day in days:
            if day not in WEEKDAYS:
                raise ValueError(f'"{day}" is not a weekday: {", ".join(WEEKDAYS)}')
        return days

    def _spans(self) -> list[tuple[tuple[str, str], ...]]:
        """The open spans of each weekday."""
        return [self.days.get(name, ((self.opens, self.closes),)) for name in WEEKDAYS]

    def _needs_limits(self) -> bool:
        return False

    def edges_h(self, attempt: Attempt) -> tuple[float, ...]:
        closing = {span[1] for spans in self._spans() for span in spans} - {NEVER}
        # Some clocks stand half or three quarters of an hour off the full hour of UTC.
        beside = attempt.quantities.parts_of_hours
        edges = [attempt.duration_h - clock_minutes(text) / 60.0 for text in closing]
        return tuple(edge + part for edge in edges for part in beside)

    def opens_h(self, attempt: Attempt) -> tuple[float, ...]:
        opening = {span[0] for spans in self._spans() for span in spans} - {NEVER}
        beside = attempt.quantities.parts_of_hours
        return tuple(clock_minutes(text) / 60.0 - part for text in opening for part in beside)

    def key(self, attempt: Attempt) -> ResultKey:
        days = [
            part for day, spans in self.days.items() for part in (day, *(t for span in spans for t in span))
        ]
        settings: tuple[float | str, ...] = (self.opens, self.closes, *days, self.optional)
        settings += (attempt.duration_h, attempt.offset_h)
        return ResultKey(self.kind, settings=settings)

    def reading(self, attempt: Attempt, key: ResultKey) -> Reading:
        """Hours inside the allowed span; negative outside. Elapsed hours, so clock-change days work."""
        figure = self._inside(attempt)
        return Reading(low=figure, high=figure)

    def _inside(self, attempt: Attempt) -> Array:
        """Hours to the nearer end of the allowed span; each end of the job is read on the clock of its own hour."""
        weather = attempt.quantities.weather
        offsets = attempt.quantities.local_offset_h
        starts = weather.epoch_s / 3600.0 + attempt.offset_h
        ends = np.minimum(
            (np.arange(weather.hours) + attempt.offset_h + attempt.duration_h).astype(int), weather.hours - 1
        )
        begun, done = starts + offsets, starts + attempt.duration_h + offsets[ends]
        day = np.floor(begun / 24.0)
        today = self._margin_of_day(begun, done, day)
        # A span that closes after midnight still holds the small hours of the day after.
        return np.atleast_2d(np.maximum(today, self._margin_of_day(begun, done, day - 1.0)))

    def _margin_of_day(self, begun: Array, done: Array, day: Array) -> Array:
        """Hours to the nearer end of the best of the spans that open on each given day (days since 1970, local)."""
        # 1 January 1970 was a Thursday.
        weekday = ((day + 3) % 7).astype(int)
        inside = np.full(begun.shape, -np.inf)
        for opens, closes in _edges_of(tuple(self._spans())):
            here = np.minimum(begun - day * 24.0 - opens[weekday], closes[weekday] - (done - day * 24.0))
            inside = np.maximum(inside, here)
        return inside

    def margin(self, reading: Reading) -> Array:
        figure = reading.low
        return np.where(figure >= -_ROUNDING_H, MOST_MARGIN, np.maximum(figure, -24.0) / 24.0 - 1.0)

    def holds(self, reading: Reading) -> Mask:
        return reading.low >= -_ROUNDING_H


class Season(Need):
    """Dates of the year on which the job is barred, by local rule or by custom."""

    kind: Literal["season"] = "season"
    label: str = "season"
    barred_from: str = Field(description='First barred date, month and day: "12-01".')
    barred_to: str = Field(description="Last barred date, month and day.")
    low: str = "out of season"

    @property
    def is_calendar(self) -> bool:
        return True

    @field_validator("barred_from", "barred_to")
    @classmethod
    def _is_a_date(cls, text: str) -> str:
        try:
            # A leap year, so that 02-29 can be barred.
            date.fromisoformat(f"2024-{text}")
        except ValueError:
            raise ValueError(f'"{text}" is not a date of the year: write month and day, "12-01"') from None
        return text

    def _needs_limits(self) -> bool:
        return False

    def key(self, attempt: Attempt) -> ResultKey:
        return ResultKey(self.kind, settings=(self.barred_from, self.barred_to))

    def reading(self, attempt: Attempt, key: ResultKey) -> Reading:
        days = attempt.quantities.days
        barred = [self._bars(day) for day in days.dates]
        figure = np.atleast_2d(np.where(np.array(barred)[days.of_hour], -1.0, 1.0))
        return Reading(low=figure, high=figure)

    def _bars(self, day: date) -> bool:
        today = f"{day:%m-%d}"
        if self.barred_from <= self.barred_to:
            return self.barred_from <= today <= self.barred_to
        return today >= self.barred_from or today <= self.barred_to

    def margin(self, reading: Reading) -> Array:
        return np.where(reading.low > 0, MOST_MARGIN, -1.0)

    def holds(self, reading: Reading) -> Mask:
        return reading.low > 0


@lru_cache(maxsize=256)
def _edges_of(of_days: tuple[tuple[tuple[str, str], ...], ...]) -> tuple[tuple[Array, Array], ...]:
    """When the spans of the weekdays open and close, in hours of the day: the first of each day, the second, ..."""
    edges = []
    for number in range(max(len(spans) for spans in of_days)):
        # A day with fewer spans has its last once more.
        spans = [spans[min(number, len(spans) - 1)] for spans in of_days]
        opens = np.array([_hours(span[0], np.inf) for span in spans])
        closes = np.array([_hours(span[1], -np.inf) for span in spans])
        edges.append((opens, np.where(closes <= opens, closes + 24.0, closes)))
    return tuple(edges)


def _hours(text: str, never: float) -> float:
    return never if text == NEVER else clock_minutes(text) / 60.0
