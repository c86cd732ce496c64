"""The sentence of the day, from rows of the week's work, windows and warnings as they are told."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

#: The kinds of job a keeper waits on first; mowing nearly always finds an hour, so it comes last.
_FIRST = ("spraying", "seeding", "fertilising")
#: Longest state a home hub keeps (255 characters in the one whose sensor page we read).
LONGEST = 255
#: Put before the sentence when the forecast is too old.
OLD = "old forecast: "
#: The days ahead in which work that is due counts as due, where the week does not tell.
_WEEK_DAYS = 7

Row = Mapping[str, Any]


def headline(
    windows: Iterable[Row],
    warnings: Iterable[Row],
    now: datetime,
    zone: ZoneInfo,
    due: Collection[tuple[str, str]] = (),
    work: Iterable[Row] = (),
    *,
    stale: bool = False,
) -> str:
    """What is to be done today or tomorrow that matters most, then the gravest warning.

    The week's order comes first: `work`, rows of placed jobs with `job`, `kind`, `label`, `surface`, `state`,
    `start` and `end` as ISO 8601 text. Where it places nothing on these two days, the best window of work that is
    `due` (pairs of job and surface) and does not go against it; then what is placed later; then any window: rows
    in order of rank with the same keys and `latest_start`. Rows of warnings, gravest first, with `says`.
    """
    placed = [row for row in work if _time(row["end"]) > now]
    soon = [row for row in placed if _near(row, now, zone)]
    rows = [row for row in windows if _near(row, now, zone) and not _against(row, placed)]
    is_due = [row for row in rows if (row["job"], row["surface"]) in due]
    if soon:
        first = min(soon, key=lambda row: (_place(str(row["kind"])), _time(row["start"])))
        parts = [_work(first, [first], now, zone)]
    elif placed and not is_due:
        parts = [_later(placed, now, zone)]
    elif rows:
        best = min(is_due or rows, key=lambda row: _place(str(row["kind"])))
        parts = [_work(best, is_due or rows, now, zone)]
    else:
        parts = ["No job has a window today or tomorrow"]
    parts += [_short(str(row["says"])) for row in list(warnings)[:1]]
    told = "; ".join(parts) + "."
    return f"{OLD[:1].upper()}{OLD[1:]}{told[:1].lower()}{told[1:]}" if stale else told


def pressing(due: Iterable[Row], now: datetime, days: float = _WEEK_DAYS) -> set[tuple[str, str]]:
    """Pairs of job and surface that are due within so many days, or wait, from rows of the answer `due`."""
    return {
        (row["job"], row["surface"])
        for row in due
        if (
            row["state"] == "due"
            if row["due_at"] is None
            else _time(row["due_at"]) - now <= timedelta(days=days)
        )
    }


def wanted(rows: list[Row], due: Collection[tuple[str, str]]) -> list[Row]:
    """The rows of work that is due; all of them where none is."""
    return [row for row in rows if (row["job"], row["surface"]) in due] or rows


def cut(text: str) -> str:
    """The text, cut to what a hub keeps."""
    return text if len(text) <= LONGEST else text[: LONGEST - 1].rstrip() + "…"


def summed_up(flat: dict[str, Any], warnings: int, first_warning: str | None) -> dict[str, Any]:
    """The flat object with the few keys that tell all kinds of job and of warning together.

    A stale forecast without a warning says nothing about frost or wash: these are then null, not false; and no
    hour of it is steady or narrow any more, but unread.
    """
    kinds = [key.removesuffix("_next_job") for key in flat if key.endswith("_next_job") and key != "next_job"]
    soonest = min(
        (kind for kind in kinds if flat[f"{kind}_next_start"] is not None),
        key=lambda kind: (_time(flat[f"{kind}_next_start"]), _place(kind)),
        default=None,
    )
    if flat["stale"]:
        for kind in kinds:
            if flat[f"{kind}_state"] is not None:
                flat[f"{kind}_state"] = "unread"
                flat[f"{kind}_reason"] = "Not read: the forecast is too old."
    for key in ("next_job", "next_surface", "next_start"):
        flat[key] = None if soonest is None else flat[f"{soonest}_{key}"]
    flat["next_latest_start"] = None if soonest is None else flat[f"{soonest}_latest_start"]
    flat["next_state"] = None if soonest is None else flat[f"{soonest}_state"]
    flat["warnings_count"] = warnings
    flat["warning"] = None if first_warning is None else cut(first_warning)
    for kind, key in (("frost", "frost"), ("wash", "rain_wash")):
        if flat["stale"] and not flat.get(f"{kind}_warning"):
            flat[f"{kind}_warning"] = None
        flat[key] = flat.get(f"{kind}_warning")
    return flat


def _near(row: Row, now: datetime, zone: ZoneInfo) -> bool:
    """Whether it begins by the end of tomorrow, on the site's clock."""
    return (_time(row["start"]).astimezone(zone).date() - now.astimezone(zone).date()).days <= 1


def _against(row: Row, placed: Iterable[Row]) -> bool:
    """Whether a window goes against the plan: its job is placed at another time, or other work on its surface is.

    Which gaps other work leaves cannot be told from rows, so any counts.
    """
    start, latest = _time(row["start"]), _time(row["latest_start"])
    return any(
        work["job"] != row["job"] or not start <= _time(work["start"]) <= latest
        for work in placed
        if work["surface"] == row["surface"]
    )


def _work(best: Row, rows: Iterable[Row], now: datetime, zone: ZoneInfo) -> str:
    alike = ("label", "start", "end", "state")
    surfaces = [row["surface"] for row in rows if all(row[key] == best[key] for key in alike)]
    start, end = (_time(best[key]).astimezone(zone) for key in ("start", "end"))
    only_just = ", only just" if best["state"] == "narrow" else ""
    hours = f"{_day(start, now, zone)}{start:%H:%M}-{end:%H:%M}{only_just}"
    if "latest_start" in best:
        hours += f", start by {_time(best['latest_start']).astimezone(zone):%H:%M}"
    return f"{_named(str(best['label']), ' and '.join(dict.fromkeys(surfaces)))} {hours}"


def _later(placed: Iterable[Row], now: datetime, zone: ZoneInfo) -> str:
    first = min(placed, key=lambda row: _time(row["start"]))
    start = _time(first["start"]).astimezone(zone)
    named = _named(str(first["label"]), str(first["surface"]))
    return f"Nothing is placed today or tomorrow; {named[:1].lower()}{named[1:]} {_day(start, now, zone)}{start:%H:%M}"


def _named(label: str, where: str) -> str:
    """The job and where, once."""
    place = "" if label.endswith(where) else f" on the {where}"
    return f"{label[:1].upper()}{label[1:]}{place}"


def _day(start: datetime, now: datetime, zone: ZoneInfo) -> str:
    ahead = (start.date() - now.astimezone(zone).date()).days
    return "" if ahead == 0 else "tomorrow " if ahead == 1 else f"{start:%a} "


def _place(kind: str) -> int:
    return _FIRST.index(kind) if kind in _FIRST else len(_FIRST)


def _short(says: str) -> str:
    """The first clause of a warning: what and when, without its figures."""
    head, _, rest = says.partition(": ")
    if rest and " " not in head:
        # One word alone, such as `Overdue`, tells nothing yet.
        head = f"{head} {rest.split(' (', 1)[0]}"
    clause = head.split(". ", 1)[0].rstrip(".")
    return clause[:1].lower() + clause[1:]


def _time(moment: str) -> datetime:
    return datetime.fromisoformat(moment)
