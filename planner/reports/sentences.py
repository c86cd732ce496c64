"""The sentence of a verdict, made from the row of the need that limits it, and dates in words."""

from __future__ import annotations

import math
import re
from datetime import date, datetime, time, timedelta
from typing import Protocol
from zoneinfo import ZoneInfo

from planner.errors import InputError
from planner.margin import STATES as STATES
from planner.margin import TIMES, YES_NO, Limits, lower_margin, upper_margin
from planner.reports.amounts import figure as figure
from planner.reports.amounts import plain, scale_of, signed, told_apart, with_unit
from planner.terms import WEEKDAYS, require_aware

_OFTEN = ("", "once", "twice")
#: Longest sentence of a verdict.
LONGEST_SAYS = 140
#: What stands beside every spray, wherever it is shown.
BESIDE_A_SPRAY = "The label comes first. Measure wind, temperature and humidity on the spot."


class NeedWords(Limits, Protocol):
    """What a sentence is made from: a need of the rules, or its row in a stored answer."""

    @property
    def label(self) -> str: ...
    @property
    def low(self) -> str: ...
    @property
    def high(self) -> str: ...


def limits(need: NeedWords) -> str:
    """The hard limits in words, the comfortable ones where there are no hard ones; empty where there are none."""
    is_hard = need.hard_min is not None or need.hard_max is not None
    sides = (need.hard_min, need.hard_max) if is_hard else (need.best_from, need.best_to)
    factor, unit = scale_of(need.unit, sides)
    low, high = (None if side is None else side * factor for side in sides)
    if low is not None and high is not None:
        return f"{plain(low)} to {_limit(high, unit)}"
    if low is not None:
        return f"{'at least' if is_hard else 'best from'} {_limit(low, unit)}"
    return "" if high is None else f"{'at most' if is_hard else 'best up to'} {_limit(high, unit)}"


def held_against(need: NeedWords, value: float) -> str:
    """The figure and the limit it is held against: `wind at 2 m 13 of 15 km/h`, `air temperature 2 °C, needs 4.4 °C`.

    A figure outside its comfortable range is shown with that side too.
    """
    label = signed(need.label)
    sides = (need.hard_min, need.best_from, need.best_to, need.hard_max)
    if need.unit == YES_NO or all(side is None for side in sides):
        return label
    if not math.isfinite(value):
        return f"{label}: none on record"
    low = is_low(need, value)
    hard, best = (need.hard_min, need.best_from) if low else (need.hard_max, need.best_to)
    factor, unit = scale_of(need.unit, (value, hard, best))
    hard, best = (None if side is None else side * factor for side in (hard, best))
    value *= factor
    beyond = _beyond(value, hard, low)
    parts = [_labelled(need, label, value, (hard, best), unit, is_of=not low and not beyond)]
    if hard is not None and (low or beyond or need.unit == TIMES or hard <= 0.0):
        parts.append(f"{'needs' if low else 'at most'} {_limit(hard, unit)}")
    if best is not None and best != hard and not beyond and (hard is None or _beyond(value, best, low)):
        parts.append(f"best {'from' if low else 'up to'} {_limit(best, unit)}")
    return ", ".join(parts)


def _labelled(
    need: NeedWords,
    label: str,
    value: float,
    limits: tuple[float | None, float | None],
    unit: str,
    *,
    is_of: bool,
) -> str:
    """The figure under its name: `wind at 2 m 13 of 15 km/h`, `rolled twice in the last 7 days`."""
    if need.unit == TIMES:
        done, within, days = label.partition(" in the last ")
        count = round(value)
        if count == 0:
            return f"not {label}"
        return f"{done} {_OFTEN[count] if 0 <= count < len(_OFTEN) else f'{count} times'}{within}{days}"
    number, hard = told_apart(value, limits, bare=need.unit == ""), limits[0]
    if is_of and hard is not None and hard > 0.0:
        return f"{label} {number} of {_limit(hard, unit)}"
    return f"{label} {with_unit(number, unit)}"


def _limit(value: float, unit: str) -> str:
    return with_unit(plain(value), unit)


def _beyond(value: float, hard: float | None, low: bool) -> bool:
    return hard is not None and (value < hard if low else value > hard)


def is_low(need: NeedWords, value: float) -> bool:
    """Whether the figure presses on the lower limit rather than the upper one."""
    if need.hard_max is None and need.best_to is None:
        return True
    if need.hard_min is None and need.best_from is None:
        return False
    return not roomier(need, value, value)


def roomier(need: NeedWords, low: float, high: float) -> bool:
    """Whether the lower figure has at least the room of the higher one: each is held against its own side."""
    return lower_margin(low, need) >= upper_margin(high, need)


def clause(need: NeedWords, value: float) -> str:
    """What is wrong, in trade words, as one clause without a colon."""
    words = need.low if is_low(need, value) else need.high
    return signed(words).replace(": ", ", ").replace("; ", ", ") or f"{signed(need.label)} does not hold"


def sentence(
    state: str,
    need: NeedWords | None,
    value: float,
    *,
    from_time: str = "",
    gone: str = "",
    held: str = "",
) -> str:
    """Why an hour or window is what it is. `from_time`: when it fails; `gone`: what is missing; `held`: figure
    and limit where other words tell more.

    Never longer than `LONGEST_SAYS`: where it would be, the reason is cut to its first part.
    """
    if need is None:
        return {"steady": "With room; no limit is near."}.get(state, "")
    if state == "unread":
        return f"Not known: {gone or signed(need.label) + ' is missing'}."
    held = held or held_against(need, value)
    if state == "steady":
        return f"With room; closest limit: {held}."
    if state == "narrow":
        return f"Only just: {held}."
    lead = (
        "Not now"
        if state == "barred"
        else f"Fine to start, fails {f'from {from_time}' if from_time else 'after'}"
    )
    why = clause(need, value)
    first = why.split(", ")[0]
    figures = "" if held == signed(need.label) else f" ({held})"
    bare = figures.split(", best ")[0].rstrip(")") + ")" if figures else ""
    says = ""
    for reason, detail in ((why, figures), (first, figures), (first, bare), (first, "")):
        says = f"{lead}: {reason}{detail}."
        if len(says) <= LONGEST_SAYS:
            break
    return says


def job_on(label: str, surface: str) -> str:
    """A job and its surface, without saying the surface twice: `mow the green`, `foliar feed, green`."""
    return label if label.endswith(surface) else f"{label}, {surface}"


_CLOCK = re.compile(r"^(?:(?P<day>\S+)\s+)?(?P<hour>\d{1,2}):(?P<minute>\d\d)$")


def read_day(text: str, now: datetime, zone: ZoneInfo) -> date:
    """`today`, `tomorrow`, a weekday or a date."""
    today = now.astimezone(zone).date()
    word = text.strip().lower()
    if word in ("today", "tomorrow"):
        return today + timedelta(days=word == "tomorrow")
    if word[:3] in WEEKDAYS and (word in WEEKDAYS or word.endswith("day")):
        return today + timedelta(days=(WEEKDAYS.index(word[:3]) - today.weekday()) % 7)
    try:
        return date.fromisoformat(text.strip())
    except ValueError as error:
        raise InputError(
            f'"{text}" is not a day: write today, tomorrow, a weekday or a date such as {today.isoformat()}.'
        ) from error


def read_time(text: str, now: datetime, zone: ZoneInfo) -> datetime:
    """`07:30`, `tomorrow 07:30`, `thu 07:30`, or an ISO 8601 time; local where no offset is given."""
    found = _CLOCK.match(text.strip())
    if found and int(found["hour"]) < 24 and int(found["minute"]) < 60:
        day = read_day(found["day"] or "today", now, zone)
        return datetime.combine(day, time(int(found["hour"]), int(found["minute"])), tzinfo=zone)
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise InputError(
            f'"{text}" is not a time: write 07:30, tomorrow 07:30, or a date and time such as '
            f"{now.astimezone(zone):%Y-%m-%dT07:30}."
        ) from error
    aware = moment if moment.tzinfo is not None else moment.replace(tzinfo=zone)
    return require_aware(aware, "the time")
