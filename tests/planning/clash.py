"""Whether two starts of a week can both be, asked of what the week itself goes by."""

from __future__ import annotations

from datetime import date
from zoneinfo import ZoneInfo

from planner.planning.apart import Apart, HoursOfDays, pairs_of
from planner.planning.asks import Ask, Start
from planner.planning.plan import Judged


def clash(first: Judged, first_h: float, second: Judged, second_h: float) -> bool:
    """Whether they cannot: they overlap, or a gap between them on one surface is too short."""
    asks = [Ask(judged=first), Ask(judged=second)]
    # Days apart, so that the order of a day has no part in it.
    starts = [
        Start((number,), at_h, 0, ask.judged.job.duration_h, date(2026, 5, 4 + number), 1.0)
        for number, (ask, at_h) in enumerate(zip(asks, (first_h, second_h), strict=True))
    ]
    return not Apart(pairs_of(asks), starts, HoursOfDays(ZoneInfo("Etc/UTC"), 24.0, ())).both(*starts)
