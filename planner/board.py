"""Answers as plain text for a terminal 80 columns wide. Reads answers, computes nothing."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from datetime import datetime
from typing import Any

WIDTH = 80
#: Marks differ by shape, so that they read without colour.
MARKS = {"steady": "##", "narrow": "#-", "broken": "#/", "barred": "//", "unread": ".."}
BLANK = "-"
KINDS = ("spraying", "seeding", "fertilising", "mowing")


def _clock(text: str) -> datetime:
    return datetime.fromisoformat(text)


def head(answer: dict[str, Any]) -> list[str]:
    """Site, when it was made, and how old the forecast is; loud when it is stale."""
    zone_time = _clock(answer["made_at"])
    forecast = answer["forecast"]
    local = zone_time.astimezone(_zone(answer))
    lines = [f"{answer['site']['name']}   {local:%a %d %b %Y %H:%M}"]
    source = f"Forecast: {forecast['provider']}, {_old(forecast)}"
    if forecast["members"] > 1:
        source += f", {forecast['members']} members"
    lines.append(source + ".")
    if forecast["stale"]:
        lines += [
            "",
            f"!! STALE: this forecast is too old ({_old(forecast)}). Look at the sky before you trust it.",
        ]
    return lines


def _zone(answer: dict[str, Any]) -> Any:
    from zoneinfo import ZoneInfo

    return ZoneInfo(answer["site"]["timezone"])


def _old(forecast: dict[str, Any]) -> str:
    """How old it is, since its issue where that is told, else since it was fetched."""
    if forecast["age_h"] is None:
        return "age not known"
    if forecast["issued_at"] is None:
        return f"fetched {_age(forecast['age_h'])} ago, its issue not told"
    return f"{_age(forecast['age_h'])} old"


def _age(hours: float) -> str:
    if hours < 1:
        return f"{hours * 60:.0f} min"
    return f"{hours:.0f} h" if hours < 48 else f"{hours / 24:.0f} days"


def warnings(answer: dict[str, Any]) -> list[str]:
    """What is about to go wrong, what to do, and what cannot be told."""
    not_read = answer.get("not_read", [])
    if not answer["warnings"] and not not_read:
        return ["Weather to watch: nothing in sight."]
    lines = ["Weather to watch"]
    for row in answer["warnings"]:
        lead = row["lead_h"]
        ahead = f"in {lead:.0f} h" if lead >= 1 else "now"
        chance = "" if row["chance"] is None else f", chance {row['chance']:.0%}"
        lines += wrap(f"[{row['level']}, {ahead}{chance}] {row['says']}", "  ")
        for advice in row["advice"]:
            lines += wrap(f"- {advice}", "    ", "      ")
    for row in not_read:
        lines += wrap(f"[not read] {row['says']}", "  ")
    return lines


def days(answer: dict[str, Any], surface: str | None = None) -> list[str]:
    """A row per day; wash differs by surface, so the surface that is sown (or the first) is shown."""
    rows = answer["days"]
    names = list(dict.fromkeys(row["surface"] for row in rows))
    shown = [surface] if surface else names
    title = f"{'Day':<11}{'growth':>7}{'wash':>6}{'frost':>7}{'air':>9}{'turf':>6}{'rain':>7}{'wind':>7}{'soil':>6}"
    units = f"{'':<11}{'0-1':>7}{'0-1':>6}{'chance':>7}{'C':>9}{'C':>6}{'mm':>7}{'km/h':>7}{'C':>6}"
    lines = [title, units]
    merged = _merge(rows, shown)
    for row in merged:
        air = f"{_num(row['air_min_c'], 0)}..{_num(row['air_max_c'], 0)}"
        day = datetime.fromisoformat(row["date"])
        partial = "*" if row.get("hours_known", 24) < 23 else " "
        lines.append(
            f"{day:%a %d %b}{partial}{_num(row['growth_potential'], 2):>7}"
            f"{_num(row['rain_wash_risk'], 2):>6}{_num(row['frost_risk'], 2):>7}{air:>9}"
            f"{_num(row['surface_min_c'], 0):>6}{_num(row['rain_mm'], 1):>7}"
            f"{_num(row['wind_2m_max_kmh'], 0):>7}{_num(row['soil_temp_c'], 0):>6}"
        )
    where = surface or ("the surface most at risk" if len(names) > 1 else names[0] if names else "")
    lines += wrap(
        f"growth and wash: {where}. frost: ground frost in the night that ends that morning. turf: lowest "
        "temperature of the leaf. wash is an index, not a chance. * part of the day only.",
        "  ",
    )
    return lines


def _merge(rows: list[dict[str, Any]], shown: list[str]) -> list[dict[str, Any]]:
    by_day: dict[str, dict[str, Any]] = {}
    for row in rows:
        if row["surface"] not in shown:
            continue
        held = by_day.get(row["date"])
        if held is None:
            by_day[row["date"]] = dict(row)
            continue
        worst = [value for value in (held["rain_wash_risk"], row["rain_wash_risk"]) if value is not None]
        held["rain_wash_risk"] = max(worst) if worst else None
    return list(by_day.values())


def windows(answer: dict[str, Any], *, most: int = 2) -> list[str]:
    """Best windows by kind of job, each with its reason, then what is barred and until when."""
    lines: list[str] = []
    found = [row["kind"] for row in [*answer["windows"], *answer["barred"]]]
    kinds = sorted(dict.fromkeys(found), key=lambda kind: KINDS.index(kind) if kind in KINDS else len(KINDS))
    for kind in kinds:
        lines.append(kind.capitalize())
        rows = [row for row in answer["windows"] if row["kind"] == kind]
        lines += _windows_of_kind(rows, most)
        lines += _barred_of_kind([row for row in answer["barred"] if row["kind"] == kind])
        lines.append("")
    if not kinds:
        lines.append("No job is asked for here.")
    lines += ["## steady   #- narrow: holds, only just   // barred", ""]
    cautions = dict.fromkeys(
        caution for row in answer["windows"] if row["kind"] == "spraying" for caution in row["cautions"]
    )
    if cautions:
        lines.append("Cautions for spraying")
    for caution in cautions:
        lines += wrap(f"- {caution}", "  ", "    ")
    return lines


def _windows_of_kind(rows: list[dict[str, Any]], most: int) -> list[str]:
    """For each job and surface the soonest windows and the one of best rank, in order of time."""
    lines: list[str] = []
    by_pair: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for row in rows:
        by_pair.setdefault((row["job"], row["surface"]), []).append(row)
    kept = []
    for ranked in by_pair.values():
        soonest = sorted(ranked, key=lambda row: str(row["start"]))[: max(1, most - 1)]
        kept += [*soonest, *(row for row in ranked[:1] if row not in soonest and most > 1)]
    kept.sort(key=lambda row: (str(row["start"]), int(row["rank"])))
    for row, surfaces in _alike([{**row, "told": _told(row)} for row in kept], _SAME):
        lines += window(row, surfaces)
    return lines


def _alike(rows: list[dict[str, Any]], keys: tuple[str, ...]) -> list[tuple[dict[str, Any], str]]:
    """Rows that differ only in their surface, as one row with all the surfaces named."""
    groups: dict[tuple[str, ...], list[dict[str, Any]]] = {}
    for row in rows:
        groups.setdefault(tuple(str(row[key]) for key in keys), []).append(row)
    return [(group[0], ", ".join(row["surface"] for row in group)) for group in groups.values()]


def window(row: dict[str, Any], surfaces: str) -> list[str]:
    """One window in two or three lines."""
    start, end = _clock(row["start"]), _clock(row["end"])
    latest = _clock(row["latest_start"])
    chance = "" if row["chance"] is None else f", {row['chance']:.0%} of members"
    first = (
        f"  {MARKS[row['state']]} {start:%a %d %H:%M}-{end:%H:%M}  {row['label']}: {surfaces}"
        f" (start by {latest:%H:%M}{chance})"
    )
    lines = wrap(first, "", "       ")
    return lines + wrap(row["told"], "       ")


#: What windows of several surfaces must share to be told in one row.
_SAME = ("job", "start", "end", "state", "latest_start", "chance", "told")


def _told(row: dict[str, Any]) -> str:
    """What is said of a window: the need that limits it, the next chance, what is not read, what is to be done."""
    says = row["limiting"]["says"]
    if row["last_chance"]:
        until = row["next_start"]
        says += (
            f" Next chance {_clock(until):%a %d %H:%M}." if until else " No later chance in this forecast."
        )
    if row["not_read"]:
        says += f" Not read: {', '.join(row['not_read'])}."
    return " ".join([says, *row["tasks"]])


def _barred_of_kind(rows: list[dict[str, Any]]) -> list[str]:
    lines: list[str] = []
    told = [dict(row, says=row["because"]["says"], rest=str(row.get("if_it_cannot_wait"))) for row in rows]
    for row, surfaces in _alike(told, ("job", "next_window", "says", "rest")):
        until = row["next_window"]
        when = f"barred until {_clock(until):%a %d %H:%M}" if until else "barred for all of this forecast"
        lines += wrap(f"  // {row['label']}: {surfaces}; {when}", "", "       ")
        because = row["because"]
        hours = f" ({because['hours_lost']} h lost to it)" if because["hours_lost"] else ""
        lines += wrap(f"{because['says']}{hours}", "       ")
        if row.get("if_it_cannot_wait"):
            lines += _least_bad(row["if_it_cannot_wait"])
    return lines


def _least_bad(rest: dict[str, Any]) -> list[str]:
    lines = wrap(f"If it cannot wait: {rest['says']}", "       ")
    for hour in rest["hours"]:
        start = _clock(hour["start"])
        lines += wrap(f"{start:%a %d %H:%M} fails {'; '.join(f['says'] for f in hour['fails'])}", "         ")
    return lines


def explain(answer: dict[str, Any]) -> list[str]:
    """Each need at that hour: figure, limits, verdict, source."""
    time = _clock(answer["time"])
    lines = [f"{answer['label'].capitalize()}, {answer['surface']}, {time:%a %d %b %H:%M}: {answer['state']}"]
    lines += wrap(answer["limiting"]["says"], "  ")
    lines.append("")
    for row in answer["needs"]:
        value = _none(row) if row["value"] is None else _figure(row["value"], row["unit"])
        label, *more = textwrap.wrap(row["label"], 38) or [""]
        lines.append(f"  {row['verdict']:<12}{label:<39}{value:>10}  {_limits(row)}".rstrip())
        lines += [f"{'':<14}{part}" for part in more]
        mark = "guess" if row["confidence"] == "C" else f"confidence {row['confidence']}"
        lines += wrap(f"{row['when']}; {row['source']} ({mark})", "              ")
    if answer["would_have_to_change"]:
        lines += ["", "What would have to change"]
        for text in answer["would_have_to_change"]:
            lines += wrap(f"- {text}", "  ", "    ")
    if answer["cautions"]:
        lines += ["", "Cautions"]
        for caution in answer["cautions"]:
            lines += wrap(f"- {caution}", "  ", "    ")
    return lines


def _none(row: dict[str, Any]) -> str:
    return BLANK if row["room"] is None else "none"


def _figure(value: float, unit: str) -> str:
    if unit == "0/1":
        return "yes" if value >= 0.5 else "no"
    return f"{_num(value, 1)} {unit}".strip()


def _limits(row: dict[str, Any]) -> str:
    limits = row["limits"]
    hard = [limits["hard_min"], limits["hard_max"]]
    if row["unit"] == "0/1" or hard == [None, None]:
        return ""
    if None not in hard:
        return f"{hard[0]:g} to {hard[1]:g}"
    return f"at least {hard[0]:g}" if hard[0] is not None else f"at most {hard[1]:g}"


def credit(answer: dict[str, Any]) -> list[str]:
    """Whose data these are; always shown."""
    forecast = answer["forecast"]
    return wrap(f"{forecast['credit']} {forecast['credit_url']} ({forecast['licence']})", "")


def notes(answer: dict[str, Any]) -> list[str]:
    """What was odd about the forecast."""
    found = answer["forecast"]["notes"]
    lines: list[str] = []
    for note in found[:6]:
        lines += wrap(f"note: {note}", "")
    if len(found) > 6:
        lines.append(f"note: and {len(found) - 6} more (see --json)")
    return lines


def wrap(text: str, indent: str, following: str | None = None) -> list[str]:
    """Text broken at the width."""
    return textwrap.wrap(
        text, WIDTH, initial_indent=indent, subsequent_indent=indent if following is None else following
    ) or [indent.rstrip()]


def _num(value: float | None, digits: int) -> str:
    if value is None:
        return BLANK
    text = f"{value:.{digits}f}"
    return text[1:] if text.startswith("-") and float(text) == 0 else text


def together(blocks: Iterable[list[str]]) -> str:
    """Blocks with an empty line between them."""
    return "\n\n".join("\n".join(block).rstrip() for block in blocks if block)
