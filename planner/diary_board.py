"""The diary as plain text for a terminal 80 columns wide."""

from __future__ import annotations

import csv
import io
from datetime import datetime
from typing import Any

from planner.board import head, wrap
from planner.mix.words import amount


def entry(row: dict[str, Any]) -> str:
    """One entry in full."""
    begun, done = _clock(row["started"]), _clock(row["finished"])
    state = f" WITHDRAWN: {row['reason']}" if row["withdrawn"] else ""
    lines = wrap(
        f"{row['uuid'][:8]}  {begun:%a %d %b %Y %H:%M}-{done:%H:%M}  {row['job']}, {row['surface']}{state}",
        "",
    )
    if row["revision"] > 1 and not row["withdrawn"]:
        lines += wrap(f"revision {row['revision']}{': ' + row['reason'] if row['reason'] else ''}", "  ")
    lines += _materials(row)
    lines += _weather(row)
    for name, unit in _FIGURES:
        if row.get(name) is not None:
            lines += wrap(f"{name.rsplit('_', 1)[0].replace('_', ' ')} {row[name]:g} {unit}", "  ")
    if row.get("tackifier") is not None:
        lines += wrap("tackifier" if row["tackifier"] else "no tackifier", "  ")
    for name in ("target", "grass", "operator", "licence", "notes"):
        if row.get(name):
            lines += wrap(f"{name}: {row[name]}", "  ", "    ")
    for said in row.get("filled_in") or ():
        lines += wrap(f"filled in, {said}", "  ", "    ")
    return "\n".join(lines)


_FIGURES = (("water_l", "L"), ("cover_pct", "%"), ("cut_height_mm", "mm"), ("leaf_length_mm", "mm"))


def _clock(text: str) -> datetime:
    return datetime.fromisoformat(text)


def _materials(row: dict[str, Any]) -> list[str]:
    lines: list[str] = []
    for one in row.get("materials") or ():
        lines += wrap(
            f"{one['name']} {amount(one['amount'], one['unit'])} ({one['rate_per_ha']:.3g} {one['unit']}/ha)",
            "  ",
        )
    return lines


def _weather(row: dict[str, Any]) -> list[str]:
    lines: list[str] = []
    for name, source in (("measured", "measured"), ("weather", None)):
        told = row.get(name) or {}
        parts = [f"{label} {told[key]:g} {unit}" for key, label, unit in _SPOT if told.get(key) is not None]
        if parts:
            lines += wrap(f"{', '.join(parts)} ({source or told['source']})", "  ", "    ")
    return lines or ["  weather of the hour: not known"]


_SPOT = (
    ("wind_2m_kmh", "wind at 2 m", "km/h"),
    ("wind_dir_deg", "from", "degrees"),
    ("air_temp_c", "air", "C"),
    ("rel_humidity_pct", "humidity", "%"),
    ("delta_t_k", "Delta T", "K"),
    ("rain_mm", "rain", "mm"),
)


def listed(rows: list[dict[str, Any]], of_site_file: list[dict[str, Any]]) -> str:
    """Entries one below the other, and below them the work that the site file tells."""
    lines = [entry(row) for row in rows]
    if not lines:
        lines.append("Nothing is written down in the diary for that time.")
    if of_site_file:
        lines += ["", *wrap("Told by the site file (it counts as well; change it there):", "")]
    for row in of_site_file:
        lines += wrap(f"{_clock(row['at']):%a %d %b %Y %H:%M}  {row['job']}, {row['surface']}", "  ", "    ")
    return "\n".join(lines)


def as_csv(rows: list[dict[str, Any]]) -> str:
    """Rows as CSV: every column that any of them has; what is not known is empty."""
    names = list(dict.fromkeys(name for row in rows for name in row))
    out = io.StringIO()
    if names:
        writer = csv.DictWriter(out, fieldnames=names, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    return out.getvalue()


def sheets(found: list[dict[str, Any]]) -> str:
    """Record sheets, each field on its line, what is missing named."""
    if not found:
        return "No use of a pesticide is written down for that time."
    blocks = []
    for one in found:
        lines = [f"Record of pesticide use   {one['uuid'][:8]}, revision {one['revision']}"]
        for name, value in one["fields"].items():
            lines += wrap(f"{name:<26}{value if value is not None else 'MISSING'}", "  ", " " * 28)
        if one["missing"]:
            lines += wrap(f"Missing: {', '.join(one['missing'])}.", "  ", "    ")
        blocks.append("\n".join(lines))
    note = "\n".join(
        wrap(
            "Fields that regulators commonly ask for; yours may ask for more. The label and the law "
            "come first.",
            "",
        )
    )
    return "\n\n".join([*blocks, note])


def due(found: dict[str, Any]) -> str:
    """What is due, and how each surface stands."""
    lines = [*head(found), "", "Waiting work"]
    for row in found["due"]:
        when = "no time can be told" if row["due_at"] is None else f"{_clock(row['due_at']):%a %d %b %H:%M}"
        window = "" if row["next_start"] is None else f"; next window {_clock(row['next_start']):%a %d %H:%M}"
        lines += wrap(f"[{row['state']}] {row['label']}, {row['surface']}: {when}{window}", "  ", "    ")
        lines += wrap(row["because"], "      ")
    if not found["due"]:
        lines.append("  Nothing is wanted or on record.")
    for spray in found["sprays"]:
        rain = "rain not known" if spray["rain_mm"] is None else f"{spray['rain_mm']:g} mm of rain"
        until = f"{_clock(spray['dry_until']):%a %H:%M}"
        lines += wrap(
            f"{spray['material']}, {spray['surface']}: dry until {until} wanted; {rain}", "  ", "    "
        )
    for row in found["surfaces"]:
        lines += ["", row["surface"].capitalize(), *_stands(row)]
    return "\n".join(lines)


def _stands(row: dict[str, Any]) -> list[str]:
    lines: list[str] = []
    leaf, regulator, month = row["leaf"], row["regulator"], row["nitrogen"]["month"]
    if leaf is None:
        lines.append("  leaf: no cut is written down")
    else:
        length = "not known" if leaf["length_mm"] is None else f"{leaf['length_mm']:.1f} mm"
        third = (
            "" if leaf["one_third_at"] is None else f"; one third on {_clock(leaf['one_third_at']):%a %d %b}"
        )
        lines += wrap(
            f"leaf {length}{third} (pace {leaf['full_growth_mm_d']:g} mm a day: {leaf['full_growth_from']})",
            "  ",
        )
    if regulator is not None:
        so_far = "not known" if regulator["degree_days"] is None else f"{regulator['degree_days']:.0f}"
        lines += wrap(f"growth regulator: {so_far} of {regulator['lasts_degree_days']:.0f} degree days", "  ")
    if month is not None:
        demand = "not known" if month["demand_g_m2"] is None else f"{month['demand_g_m2']:.2f} g/m2"
        open_ = (
            f", {month['amounts_not_known']} feed(s) of unknown amount" if month["amounts_not_known"] else ""
        )
        lines += wrap(
            f"nitrogen this month: {month['given_g_m2']:.2f} given{open_}; growth can use {demand}", "  "
        )
    for seed in row["seed"]:
        way = (
            "not known" if seed["way_to_emergence"] is None else f"{min(seed['way_to_emergence'], 9.99):.0%}"
        )
        at = "" if seed["emerges_at"] is None else f", first seen about {_clock(seed['emerges_at']):%a %d %b}"
        lines += wrap(f"{seed['grass']} sown {_clock(seed['sown_at']):%a %d %b}: {way} of the way{at}", "  ")
    return lines
