"""Needs on the site's clock and calendar: allowed hours, and dates on which a job is barred."""

from __future__ import annotations

from datetime import date
from typing import Literal

import numpy as np
from pydantic import Field, field_validator

from planner.rules.base import MOST_ROOM, Mask, Need, Reading, Trial
from planner.weather import Array

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
NEVER = "never"


def clock_minutes(text: str) -> int:
    """Minutes after midnight of a time like 07:30; 24:00 is the end of the day."""
    parts = text.split(":")
    if len(parts) == 2 and parts[0].isdigit() and parts[1].isdigit():
        minutes = int(parts[0]) * 60 + int(parts[1])
        if int(parts[1]) < 60 and minutes <= 24 * 60:
            return minutes
    raise ValueError(f'"{text}" is not a time of day: write "07:30"')


class Clock(Need):
    """The whole job must lie between two local times of the day; days of the week may have their own."""

    kind: Literal["clock"] = "clock"
    id: str = "allowed_hours"
    label: str = "allowed hours"
    unit: str = "h"
    opens: str = Field(default="00:00", description='Local time from which the job may run, "07:30".')
    closes: str = Field(default="24:00", description="Local time by which it must be finished.")
    days: dict[str, tuple[str, str]] = Field(
        default={},
        description='Other hours on a weekday: sun = ["10:00", "16:00"]; ["never", "never"] bars it.',
    )
    low: str = "outside the hours allowed for this work"

    @property
    def is_frame(self) -> bool:
        return True

    @field_validator("opens", "closes")
    @classmethod
    def _is_time(cls, text: str) -> str:
        clock_minutes(text)
        return text

    @field_validator("days")
    @classmethod
    def _are_days(cls, days: dict[str, tuple[str, str]]) -> dict[str, tuple[str, str]]:
        for day, span in days.items():
            if day not in WEEKDAYS:
                raise ValueError(f'"{day}" is not a weekday: {", ".join(WEEKDAYS)}')
            for text in span:
                if text != NEVER:
                    clock_minutes(text)
        return days

    def _needs_limits(self) -> bool:
        return False

    def edges_h(self, trial: Trial) -> tuple[float, ...]:
        closing = [self.closes, *(span[1] for span in self.days.values() if span[1] != NEVER)]
        # Some clocks stand half or three quarters of an hour off the full hour of UTC.
        beside = _parts_of_hours(trial)
        edges = [trial.duration_h - clock_minutes(text) / 60.0 for text in closing]
        return tuple(edge + part for edge in edges for part in beside)

    def opens_h(self, trial: Trial) -> tuple[float, ...]:
        opening = [self.opens, *(span[0] for span in self.days.values() if span[0] != NEVER)]
        beside = _parts_of_hours(trial)
        return tuple(clock_minutes(text) / 60.0 - part for text in opening for part in beside)

    def reading(self, trial: Trial) -> Reading:
        """Hours inside the allowed span; negative outside. Elapsed hours, so clock-change days work."""
        key = ("clock", self.opens, self.closes, tuple(self.days.items()), trial.duration_h, trial.offset_h)
        figure = trial.spans.recall(key, lambda: self._inside(trial))
        return Reading(low=figure, high=figure)

    def _inside(self, trial: Trial) -> Array:
        """Hours to the nearer end of the allowed span; each end of the job is read on the clock of its own hour."""
        weather = trial.quantities.weather
        offsets = trial.quantities.local_offset_h
        starts = weather.epoch_s / 3600.0 + trial.offset_h
        ends = np.minimum(
            (np.arange(weather.hours) + trial.offset_h + trial.duration_h).astype(int), weather.hours - 1
        )
        begun, done = starts + offsets, starts + trial.duration_h + offsets[ends]
        day = np.floor(begun / 24.0)
        today = self._room_of_day(begun, done, day)
        # A span that closes after midnight still holds the small hours of the day after.
        return np.atleast_2d(np.maximum(today, self._room_of_day(begun, done, day - 1.0)))

    def _room_of_day(self, begun: Array, done: Array, day: Array) -> Array:
        """Hours to the nearer end of the span that opens on each given day (days since 1970, local)."""
        # 1 January 1970 was a Thursday.
        weekday = ((day + 3) % 7).astype(int)
        spans = [self.days.get(name, (self.opens, self.closes)) for name in WEEKDAYS]
        opens = np.array([_hours(span[0], np.inf) for span in spans])
        closes = np.array([_hours(span[1], -np.inf) for span in spans])
        closes = np.where(closes <= opens, closes + 24.0, closes)
        return np.asarray(
            np.minimum(begun - day * 24.0 - opens[weekday], closes[weekday] - (done - day * 24.0))
        )

    def room(self, reading: Reading, member: int | None = None) -> Array:
        figure = reading.low if member is None else reading.low[0]
        return np.where(figure >= -1e-9, MOST_ROOM, np.maximum(figure, -24.0) / 24.0 - 1.0)

    def holds(self, reading: Reading) -> Mask:
        held: Mask = reading.low >= -1e-9
        return held


class Season(Need):
    """Dates of the year on which the job is barred, by local rule or by custom."""

    kind: Literal["season"] = "season"
    label: str = "season"
    barred_from: str = Field(description='First barred date, month and day: "12-01".')
    barred_to: str = Field(description="Last barred date, month and day.")
    low: str = "out of season"

    @property
    def is_frame(self) -> bool:
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

    def reading(self, trial: Trial) -> Reading:
        days = trial.quantities.days
        barred = [self._bars(day) for day in days.dates]
        figure = np.atleast_2d(np.where(np.array(barred)[days.of_hour], -1.0, 1.0))
        return Reading(low=figure, high=figure)

    def _bars(self, day: date) -> bool:
        today = f"{day:%m-%d}"
        if self.barred_from <= self.barred_to:
            return self.barred_from <= today <= self.barred_to
        return today >= self.barred_from or today <= self.barred_to

    def room(self, reading: Reading, member: int | None = None) -> Array:
        figure = reading.low if member is None else reading.low[0]
        return np.where(figure > 0, MOST_ROOM, -1.0)

    def holds(self, reading: Reading) -> Mask:
        held: Mask = reading.low > 0
        return held


def _parts_of_hours(trial: Trial) -> frozenset[float]:
    """How far the site's clock stands off the full hours of UTC, in hours."""
    offsets = trial.quantities.local_offset_h
    return trial.spans.recall("parts of hours", lambda: frozenset(np.unique(offsets % 1.0).tolist()))


def _hours(text: str, never: float) -> float:
    return never if text == NEVER else clock_minutes(text) / 60.0
