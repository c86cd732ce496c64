"""One day: its figures, its windows, its hours."""

from __future__ import annotations

from datetime import date

from planner.page.frame import Answers, clock, write
from planner.page.ribbon import Scale
from planner.page.rows import blocks, by_kind, cautions, days


def day(answers: Answers, name: str) -> bytes:
    """The page of a local day, named as in the answer `days`. KeyError when the forecast lacks it."""
    now = clock(answers)
    cards = days(answers, now)
    dates = [card["date"] for card in cards]
    if name not in dates:
        raise KeyError(name)
    place = dates.index(name)
    scale = Scale.days(date.fromisoformat(name), 1, now.zone)
    found = [block for block in blocks(answers, scale) if block["drawn"]]
    return write(
        "day.html.j2",
        answers,
        card=cards[place],
        before=dates[place - 1] if place else None,
        after=dates[place + 1] if place + 1 < len(dates) else None,
        kinds=by_kind(found),
        hour_ticks=[
            {"x": scale.x(moment), "hour": moment.hour}
            for moment in (now.at(row["time"]) for row in answers["hours"])
            if scale.start <= moment < scale.end and moment.hour % 3 == 0
        ],
        rows=[row for row in answers["hours"] if scale.start <= now.at(row["time"]) < scale.end],
        warnings=[
            row
            for row in answers["warnings"]["warnings"]
            if now.at(row["begins"]) < scale.end
            and now.at(row["ends"] if row["ends"] is not None else row["begins"]) >= scale.start
        ],
        cautions=cautions(row["ribbon"] for row in found if row["windows"]),
    )
