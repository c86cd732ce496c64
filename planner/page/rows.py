"""Rows of the answers put together the way a page tells them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from planner.page.frame import Answers
from planner.page.ribbon import Scale, alike, drawn, pieces
from planner.page.times import Clock

#: Order of the kinds of job; any other follows by name.
KINDS = ("spraying", "seeding", "fertilising", "mowing")
#: Days from the pass up to which a day counts as near, and as likely; beyond it is faint. Judgement.
NEAR_DAYS, LIKELY_DAYS = 2, 5

Row = Mapping[str, Any]


def blocks(answers: Answers, scale: Scale, job: str | None = None) -> list[dict[str, Any]]:
    """One block for each job and the surfaces on which its hours are the same, sorted by kind."""
    windows, barred = answers["windows"]["windows"], answers["windows"]["barred"]
    made = []
    groups = [pair for pair in alike(answers["ribbons"]["ribbons"]) if job is None or pair[0]["job"] == job]
    for ribbon, surfaces in (pair for group in groups for pair in _told_alike(*group, windows)):
        mine = [row for row in windows if (row["job"], row["surface"]) == (ribbon["job"], surfaces[0])]
        by_time = sorted(mine, key=lambda row: str(row["start"]))
        first = by_time[0] if by_time else None
        best = mine[0] if mine and mine[0] is not first else None
        laid = pieces(ribbon["runs"], scale)
        made.append(
            {
                "ribbon": ribbon,
                "surfaces": surfaces,
                "first": first,
                "best": best if best is not None and (first is None or better(best, first)) else None,
                "windows": by_time,
                "placed": [
                    row
                    for row in (answers["week"]["work"] if "week" in answers else [])
                    if row["job"] == ribbon["job"] and row["surface"] in surfaces
                ],
                "barred": next(
                    (r for r in barred if (r["job"], r["surface"]) == (ribbon["job"], surfaces[0])), None
                ),
                "drawn": drawn(laid),
                "told": [piece for piece in laid if not piece.is_frame],
                "id": f"{ribbon['job']}-{'-'.join(surfaces)}".replace(" ", "_"),
            }
        )
    return sorted(made, key=lambda block: place(block["ribbon"]["kind"]))


def _told_alike(ribbon: Row, surfaces: list[str], windows: list[Row]) -> list[tuple[Row, list[str]]]:
    """The surfaces of one ribbon, apart where their windows say different things."""
    groups: dict[tuple[Any, ...], list[str]] = {}
    for surface in surfaces:
        mine = [row for row in windows if (row["job"], row["surface"]) == (ribbon["job"], surface)]
        groups.setdefault(tuple((row["start"], *told(row)) for row in mine), []).append(surface)
    return [(ribbon, names) for names in groups.values()]


def told(row: Row) -> tuple[str, ...]:
    """What is said of a window beside its hours."""
    chance = "" if row["chance"] is None else str(row["chance"])
    return (row["limiting"]["says"], chance, str(row["next_start"]), *row["not_read"], *row["tasks"])


def better(best: Row, first: Row) -> bool:
    """Whether the best window says more than the soonest: it is steady where the soonest is not."""
    return bool(best["state"] == "steady" and first["state"] != "steady")


def place(kind: str) -> tuple[int, str]:
    """Where a kind of job stands on the page."""
    return (KINDS.index(kind) if kind in KINDS else len(KINDS), kind)


def by_kind(found: Iterable[dict[str, Any]]) -> list[tuple[str, list[dict[str, Any]]]]:
    """Blocks under the kind of their job."""
    kinds: dict[str, list[dict[str, Any]]] = {}
    for block in found:
        kinds.setdefault(block["ribbon"]["kind"], []).append(block)
    return list(kinds.items())


def days(answers: Answers, clock: Clock) -> list[dict[str, Any]]:
    """One card a day: the sky once, growth as it spreads over the surfaces, wash where it is worst."""
    cards: dict[str, dict[str, Any]] = {}
    today = clock.now.date()
    for row in answers["days"]["days"]:
        if row["date"] < today.isoformat():
            continue
        ahead = (datetime.fromisoformat(row["date"]).date() - today).days
        card = cards.setdefault(
            row["date"],
            {
                **row,
                "growth": [],
                "wash_surface": None,
                "wash": None,
                "surfaces": [],
                "sureness": "near" if ahead < NEAR_DAYS else "likely" if ahead < LIKELY_DAYS else "faint",
            },
        )
        card["surfaces"].append(row)
        if row["growth_potential"] is not None:
            card["growth"].append(row["growth_potential"])
        wash = row["rain_wash_risk"]
        if wash is not None and (card["wash"] is None or wash > card["wash"]):
            card["wash"], card["wash_surface"] = wash, row["surface"]
    for date, card in cards.items():
        card["windows"] = on_day(answers, date, clock)
    return list(cards.values())


def on_day(answers: Answers, date: str, clock: Clock) -> list[dict[str, Any]]:
    """Windows that begin on the day, in order of time, alike surfaces together."""
    rows = [row for row in answers["windows"]["windows"] if clock.at(row["start"]).date().isoformat() == date]
    return together(sorted(rows, key=lambda row: (place(row["kind"]), str(row["start"]))))


def together(rows: Iterable[Row]) -> list[dict[str, Any]]:
    """Windows that differ only in their surface, as one row with `surfaces`."""
    groups: dict[tuple[str, ...], dict[str, Any]] = {}
    for row in rows:
        hours = tuple(str(row[name]) for name in ("job", "start", "end", "state", "latest_start"))
        key = (*hours, *told(row))
        groups.setdefault(key, {**row, "surfaces": []})["surfaces"].append(row["surface"])
    return list(groups.values())


def cautions(ribbons: Iterable[Row]) -> list[str]:
    """Every caution of the jobs, once."""
    return list(dict.fromkeys(caution for row in ribbons for caution in row["cautions"]))


def underfoot(answers: Answers, clock: Clock) -> list[dict[str, Any]]:
    """How the ground bears feet now and what comes next, alike surfaces together."""
    groups: dict[tuple[str, ...], dict[str, Any]] = {}
    for row in answers["ground"]["surfaces"]:
        runs = [run for run in row["underfoot"] if clock.at(run["end"]) > clock.now]
        if not runs:
            continue
        here, after = runs[0], runs[1] if len(runs) > 1 else None
        key = (here["state"], here["says"], here["end"], str(after and after["says"]))
        found = groups.setdefault(key, {"here": here, "after": after, "surfaces": []})
        found["surfaces"].append(row["surface"])
    order = ("barred", "narrow", "unread", "steady")
    return sorted(groups.values(), key=lambda row: order.index(row["here"]["state"]))
