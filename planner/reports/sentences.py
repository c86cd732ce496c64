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
from planner.site import require_aware
from planner.terms import WEEKDAYS

_OFTEN = ("not once", "once", "twice")
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


def figure(value: float, unit: str) -> str:
    """A figure with its unit, as short as it can be read."""
    if unit == YES_NO:
        return "yes" if value >= 0.5 else "no"
    if not math.isfinite(value):
        return "none on record"
    size = abs(value)
    text = f"{value:.0f}" if size >= 20 else f"{value:.1f}" if size >= 1 else f"{value:.2f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    if text == "-0":
        text = "0"
    return f"{text} {unit}".strip()


def limits(need: NeedWords) -> str:
    """The hard limits in words; the comfortable ones where there are no hard ones."""
    low = need.hard_min if need.hard_min is not None else need.best_from
    high = need.hard_max if need.hard_max is not None else need.best_to
    if need.hard_min is None and need.hard_max is None:
        return _between(low, high, need.unit, soft=True)
    return _between(need.hard_min, need.hard_max, need.unit, soft=False)


def _between(low: float | None, high: float | None, unit: str, *, soft: bool) -> str:
    at_least, at_most = ("kinder from", "kinder up to") if soft else ("at least", "at most")
    if low is not None and high is not None:
        return f"{_limit(low, '')} to {_limit(high, unit)}"
    if low is not None:
        return f"{at_least} {_limit(low, unit)}"
    if high is not None:
        return f"{at_most} {_limit(high, unit)}"
    return ""


def held_against(need: NeedWords, value: float) -> str:
    """The figure and the limit it is held against: `wind at 2 m 17 km/h, at most 15 km/h`.

    A figure inside its limit but outside comfort is shown with the comfortable side too.
    """
    if need.unit == YES_NO or not limits(need):
        return need.label
    low = is_low(need, value)
    hard = need.hard_min if low else need.hard_max
    best = need.best_from if low else need.best_to
    parts = [_labelled(need, value, hard, best)]
    if hard is not None:
        parts.append(f"at {'least' if low else 'most'} {_limit(hard, need.unit)}")
    if best is not None and best != hard and not _beyond(value, hard, low):
        parts.append(f"kinder {'from' if low else 'up to'} {_limit(best, need.unit)}")
    return ", ".join(parts)


def _labelled(need: NeedWords, value: float, hard: float | None, best: float | None) -> str:
    """The figure under its name: `wind at 2 m 17 km/h`, `rolled twice in the last 7 days`."""
    if need.unit == TIMES and math.isfinite(value):
        done, within, days = need.label.partition(" in the last ")
        count = round(value)
        return f"{done} {_OFTEN[count] if 0 <= count < len(_OFTEN) else f'{count} times'}{within}{days}"
    return f"{need.label} {_precise(value, (hard, best), need.unit)}"


def _limit(value: float, unit: str) -> str:
    """A limit as it is written in the rules file."""
    return f"{value:g} {unit}".strip()


def _beyond(value: float, hard: float | None, low: bool) -> bool:
    return hard is not None and (value < hard if low else value > hard)


def _precise(value: float, limits: tuple[float | None, ...], unit: str) -> str:
    """The figure with as many digits as it takes to tell it from the limits beside it."""
    text = figure(value, unit) if unit or not math.isfinite(value) else f"{value:.2f}"
    if not math.isfinite(value):
        return text
    near = [limit for limit in limits if limit is not None and abs(value - limit) >= 1e-9]
    places = len(text.split(" ")[0].partition(".")[2])
    for digits in range(places + 1, places + 5):
        number = text.split(" ")[0]
        if not any(
            float(number) == limit or number == f"{limit:.{len(number.partition('.')[2])}f}" for limit in near
        ):
            break
        text = f"{value:.{digits}f} {unit}".strip()
    return text


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
    """What is wrong, in trade words."""
    words = need.low if is_low(need, value) else need.high
    return words or f"{need.label} does not hold"


def sentence(state: str, need: NeedWords | None, value: float, *, from_time: str = "", gone: str = "") -> str:
    """Why an hour or window is what it is. `from_time`: when it breaks; `gone`: what is missing."""
    if need is None:
        return {"steady": "Holds; nothing presses."}.get(state, "")
    if state == "unread":
        return f"Not read: {gone or 'no ' + need.label} for these hours."
    if state == "steady":
        link = ":" if need.unit == TIMES else " is"
        return f"Holds with room; tightest{link} {held_against(need, value)}."
    if state == "narrow":
        return f"Holds, only just: {held_against(need, value)}."
    detail = "" if need.unit == YES_NO or not limits(need) else f" ({held_against(need, value)})"
    if state == "broken":
        since = f" from {from_time}" if from_time else ""
        return f"Starts well, then breaks{since}: {clause(need, value)}{detail}."
    return f"Barred: {clause(need, value)}{detail}."


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
