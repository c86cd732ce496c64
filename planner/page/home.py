"""The page a keeper opens in the morning."""

from __future__ import annotations

from typing import Any

from planner.headline import wanted
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
    windows = answers["windows"]["windows"]
    sprays = sorted((row for row in windows if row["kind"] == "spraying"), key=lambda row: str(row["start"]))
    # What is due comes before what could be done as well.
    sprays = wanted(sprays, {(row["job"], row["surface"]) for row in due(answers)})
    first = sprays[0] if sprays else None
    alike = [row for row in sprays if first and row["start"][:10] == first["start"][:10]]
    jobs: dict[tuple[str, str, str], dict[str, Any]] = {}
    for row in alike:
        key = (row["start"], row["end"], row["state"])
        jobs.setdefault(key, {**row, "labels": []})["labels"].append(row["label"])
    steady = [row for row in sprays if row["state"] == "steady"]
    roomy = {**steady[0], "labels": []} if steady and steady[0] not in alike else None
    if roomy is not None:
        same = [
            row["label"] for row in steady if (row["start"], row["end"]) == (roomy["start"], roomy["end"])
        ]
        roomy["labels"] = list(dict.fromkeys(same))
    return {
        "planned": [row for row in week(answers)["work"] if row["kind"] == "spraying"][:2],
        "sprays": [{**row, "labels": list(dict.fromkeys(row["labels"]))} for row in jobs.values()],
        "roomy": roomy,
        "can_spray": any(row["kind"] == "spraying" for row in answers["ribbons"]["ribbons"]),
        "wash": [row for row in answers["warnings"]["warnings"] if row["kind"] == "wash"],
        "seed": seed(answers),
        "underfoot": underfoot(answers, now),
        "frost": next((row for row in answers["warnings"]["warnings"] if row["kind"] == "frost"), None),
    }


def seed(answers: Answers) -> list[dict[str, Any]]:
    """Every sowing with its surface."""
    rows = answers["ground"]["surfaces"]
    return [{"surface": row["surface"], **sowing} for row in rows for sowing in row["seed"]]


def due(answers: Answers) -> list[dict[str, Any]]:
    """What waits to be done; nothing when a pass of an older version does not tell it."""
    return list(answers["due"]["due"]) if "due" in answers else []


def week(answers: Answers) -> dict[str, Any]:
    """The week's work in order; empty when a pass of an older version does not tell it."""
    return dict(answers["week"]) if "week" in answers else {"work": [], "left": [], "says": ""}


def standing(answers: Answers) -> list[dict[str, Any]]:
    """Surfaces of which a cut or a feed is known."""
    rows = answers["due"]["surfaces"] if "due" in answers else []
    return [row for row in rows if row["leaf"] or (row["nitrogen"]["month"] or {}).get("given_g_m2")]
