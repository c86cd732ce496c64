"""The page a keeper opens in the morning."""

from __future__ import annotations

from typing import Any

from planner.page.chart import chart
from planner.page.frame import Answers, clock, write
from planner.page.ribbon import Scale
from planner.page.rows import blocks, by_kind, cautions, days, underfoot

#: Days on the ribbons and on the wide chart; the narrow chart shows the nearest.
RIBBON_DAYS, NARROW_DAYS = 7, 3


def home(answers: Answers) -> bytes:
    """The whole of it: sentence, warnings, next windows, ribbons, days, weather, seed, forecast, cautions."""
    now = clock(answers)
    seven = Scale.days(now.now.date(), RIBBON_DAYS, now.zone)
    near = Scale.days(now.now.date(), NARROW_DAYS, now.zone)
    hours, windows = answers["hours"], answers["windows"]["windows"]
    told = blocks(answers, seven)
    return write(
        "home.html.j2",
        answers,
        headline=answers["now"]["headline"],
        warnings=answers["warnings"]["warnings"],
        not_read=not_read(answers),
        answers_of_three=three(answers),
        kinds=by_kind(told),
        ticks=seven.ticks(),
        days=days(answers, now),
        charts=[
            ("wide", chart(hours, windows, seven, width=1040)),
            ("slim", chart(hours, windows, near, width=360)),
        ],
        rows=[row for row in hours[::3] if now.at(row["time"]) < seven.end],
        seed=seed(answers),
        due=due(answers),
        week=week(answers),
        standing=standing(answers),
        cautions=cautions(answers["ribbons"]["ribbons"]),
    )


def three(answers: Answers) -> dict[str, Any]:
    """The morning's three questions: when to spray, what threatens the seed, may I walk on it."""
    now = clock(answers)
    found = answers["warnings"]["warnings"]
    return {
        "spray": spray(answers),
        "wash": [row for row in found if row["kind"] == "wash"],
        "seed": seed(answers),
        "wash_not_read": next((row["says"] for row in not_read(answers) if row["kind"] == "wash"), None),
        "underfoot": underfoot(answers, now),
        "frost": next((row for row in found if row["kind"] == "frost"), None),
    }


def spray(answers: Answers) -> dict[str, Any]:
    """When to spray: what is due in its hour of the week, or why it has none; else what could be done."""
    now, told = clock(answers), week(answers)
    placed = [row for row in told["work"] if row["kind"] == "spraying" and now.at(row["end"]) > now.now]
    left = [row for row in told["left"] if row.get("kind") == "spraying"]
    could = sorted(
        (row for row in answers["windows"]["windows"] if row["kind"] == "spraying"),
        key=lambda row: (row["state"] != "steady", now.at(row["start"]), row["rank"]),
    )
    hours: dict[tuple[str, str, str], dict[str, Any]] = {}
    for row in could:
        labels = hours.setdefault((row["start"], row["end"], row["state"]), {**row, "labels": []})["labels"]
        if row["label"] not in labels:
            labels.append(row["label"])
    return {
        "placed": placed[:2],
        "left": left[: max(0, 2 - len(placed))],
        "could": [] if placed else list(hours.values())[:1],
        "is_set_up": any(row["kind"] == "spraying" for row in answers["ribbons"]["ribbons"]),
    }


def not_read(answers: Answers) -> list[dict[str, Any]]:
    """Kinds of warning that cannot be read; none when a pass of an older version does not tell it."""
    return list(answers["warnings"].get("not_read", []))


def seed(answers: Answers) -> list[dict[str, Any]]:
    """Every sowing with its surface."""
    rows = answers["ground"]["surfaces"]
    return [{"surface": row["surface"], **sowing} for row in rows for sowing in row["seed"]]


def due(answers: Answers) -> list[dict[str, Any]]:
    """What waits to be done; nothing when a pass of an older version does not tell it."""
    return list(answers["due"]["due"]) if "due" in answers else []


def week(answers: Answers) -> dict[str, Any]:
    """The week's work in order; empty when a pass of an older version does not tell it."""
    nothing: dict[str, Any] = {"work": [], "left": [], "planned": [], "says": ""}
    return {**nothing, **answers.get("week", {})}


def standing(answers: Answers) -> list[dict[str, Any]]:
    """Surfaces of which a cut or a feed is known."""
    rows = answers["due"]["surfaces"] if "due" in answers else []
    return [row for row in rows if row["leaf"] or (row["nitrogen"]["month"] or {}).get("given_g_m2")]
