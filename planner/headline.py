"""The sentence of the day, from rows of windows and warnings as they are told."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

#: The kinds of job a keeper waits on first; mowing nearly always finds an hour, so it comes last.
_FIRST = ("spraying", "seeding", "fertilising")
#: Longest state a home hub keeps (255 characters in the one whose sensor page we read).
LONGEST = 255
#: How far ahead the sentence looks.
_AHEAD = timedelta(hours=30)


def headline(
    windows: Iterable[Mapping[str, Any]],
    warnings: Iterable[Mapping[str, Any]],
    now: datetime,
    zone: ZoneInfo,
    due: Collection[tuple[str, str]] = (),
) -> str:
    """The next window that matters most, then the gravest warning.

    Rows of windows in order of rank with `job`, `kind`, `label`, `surface`, `state` and the times `start`, `end`
    and `latest_start` as ISO 8601 text; rows of warnings, gravest first, with `says`. Pairs of job and surface
    that are due come before all others.
    """
    soon = wanted([row for row in windows if _time(row["start"]) - now < _AHEAD], due)
    parts = [_work(soon, now, zone) if soon else "No job has a window today or tomorrow"]
    parts += [_short(str(row["says"])) for row in list(warnings)[:1]]
    return "; ".join(parts) + "."


def wanted(rows: list[Mapping[str, Any]], due: Collection[tuple[str, str]]) -> list[Mapping[str, Any]]:
    """The rows of work that is due; all of them where none is."""
    return [row for row in rows if (row["job"], row["surface"]) in due] or rows


def cut(text: str) -> str:
    """The text, cut to what a hub keeps."""
    return text if len(text) <= LONGEST else text[: LONGEST - 1].rstrip() + "…"


def summed_up(flat: dict[str, Any], warnings: int, first_warning: str | None) -> dict[str, Any]:
    """The flat object with the few keys that tell all kinds of job and of warning together.

    A stale forecast without a warning says nothing about frost or wash: these are then null, not false.
    """
    kinds = [key.removesuffix("_next_job") for key in flat if key.endswith("_next_job") and key != "next_job"]
    soonest = min(
        (kind for kind in kinds if flat[f"{kind}_next_start"] is not None),
        key=lambda kind: (_time(flat[f"{kind}_next_start"]), _place(kind)),
        default=None,
    )
    for key in ("next_job", "next_surface", "next_start"):
        flat[key] = None if soonest is None else flat[f"{soonest}_{key}"]
    flat["next_latest_start"] = None if soonest is None else flat[f"{soonest}_latest_start"]
    flat["next_state"] = None if soonest is None else flat[f"{soonest}_state"]
    flat["warnings_count"] = warnings
    flat["warning"] = None if first_warning is None else cut(first_warning)
    for kind, key in (("frost", "frost"), ("wash", "rain_wash")):
        found = flat.get(f"{kind}_warning")
        flat[key] = None if flat["stale"] and not found else found
    return flat


def _work(soon: list[Mapping[str, Any]], now: datetime, zone: ZoneInfo) -> str:
    best = min(soon, key=lambda row: _place(str(row["kind"])))
    alike = ("label", "start", "end", "state")
    surfaces = [row["surface"] for row in soon if all(row[key] == best[key] for key in alike)]
    start, end = (_time(best[key]).astimezone(zone) for key in ("start", "end"))
    ahead = (start.date() - now.astimezone(zone).date()).days
    day = "" if ahead == 0 else "tomorrow " if ahead == 1 else f"{start:%a} "
    where = " and ".join(dict.fromkeys(surfaces))
    label = str(best["label"])
    place = "" if label.endswith(where) else f" on the {where}"
    latest = _time(best["latest_start"]).astimezone(zone)
    only_just = ", only just" if best["state"] == "narrow" else ""
    hours = f"{day}{start:%H:%M}-{end:%H:%M}{only_just}, start by {latest:%H:%M}"
    return f"{label[:1].upper()}{label[1:]}{place} {hours}"


def _place(kind: str) -> int:
    return _FIRST.index(kind) if kind in _FIRST else len(_FIRST)


def _short(says: str) -> str:
    """The first clause of a warning: what and when, without its figures."""
    clause = says.split(": ", 1)[0].split(". ", 1)[0].rstrip(".")
    return clause[:1].lower() + clause[1:]


def _time(moment: str) -> datetime:
    return datetime.fromisoformat(moment)
