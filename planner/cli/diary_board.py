"""The diary as plain text for a terminal 80 columns wide."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from planner.cli.board import as_written, head, wrap
from planner.mix.words import amount
from planner.reports.cautions import shared_caution
from planner.reports.rows import Report
from planner.reports.sentences import job_on
from planner.reports.surface_rows import LeafRow, SurfaceRow
from planner.terms import in_words, short_date

if TYPE_CHECKING:
    from planner.diary.showing import EntryRow, SprayRecord


def entry(row: EntryRow) -> str:
    """One entry in full."""
    begun, done = row["started"], row["finished"]
    state = f" WITHDRAWN: {row['reason']}" if row["withdrawn"] else ""
    lines = wrap(
        f"{row['uuid'][:8]}  {short_date(begun)} {begun:%Y %H:%M}–{done:%H:%M}  "
        f"{in_words(row['job'])}, {row['surface']}{state}",
        "",
    )
    if row["revision"] > 1 and not row["withdrawn"]:
        lines += wrap(f"revision {row['revision']}{': ' + row['reason'] if row['reason'] else ''}", "  ")
    lines += _materials(row)
    lines += _weather(row)
    figures = (
        ("water", row["water_l"], "L"),
        ("water", row["water_mm"], "mm"),
        ("cover", row["cover_pct"], "%"),
        ("cut height", row["cut_height_mm"], "mm"),
        ("leaf length", row["leaf_length_mm"], "mm"),
    )
    for name, figure, unit in figures:
        if figure is not None:
            lines += wrap(f"{name} {figure:g} {unit}", "  ")
    if row["tackifier"] is not None:
        lines += wrap("tackifier" if row["tackifier"] else "no tackifier", "  ")
    texts = (
        ("counts as", row["counts_as"]),
        ("target", row["target"]),
        ("grass", row["grass"]),
        ("operator", row["operator"]),
        ("licence", row["licence"]),
        ("notes", row["notes"]),
        ("outcome", row["outcome"]),
        ("of the outcome", row["outcome_note"]),
    )
    for name, text in texts:
        if text:
            lines += as_written(f"{name}: {text}", "  ", "    ")
    for mark in row["filled_in"] or ():
        lines += wrap(f"filled in, {mark}", "  ", "    ")
    return "\n".join(lines)


def _materials(row: EntryRow) -> list[str]:
    lines: list[str] = []
    for one in row["materials"] or ():
        lines += wrap(
            f"{one['name']} {amount(one['amount'], one['unit'])} ({one['rate_per_ha']:.3g} {one['unit']}/ha)",
            "  ",
        )
    return lines


def _weather(row: EntryRow) -> list[str]:
    forecast = row["weather"]
    lines = _figures(row["measured"], "measured")
    lines += _figures(forecast, "" if forecast is None else forecast["source"])
    return lines or ["  weather of the hour: not known"]


def _figures(figures: Mapping[str, object] | None, source: str) -> list[str]:
    parts = [
        f"{label} {value:g} {unit}"
        for key, label, unit in _WEATHER
        if isinstance(value := (figures or {}).get(key), int | float)
    ]
    return wrap(f"{', '.join(parts)} ({source})", "  ", "    ") if parts else []


_WEATHER = (
    ("wind_2m_kmh", "wind at 2 m", "km/h"),
    ("wind_dir_deg", "from", "°"),
    ("air_temp_c", "air", "°C"),
    ("rel_humidity_pct", "humidity", "%"),
    ("delta_t_k", "Delta T", "K"),
    ("rain_mm", "rain", "mm"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteFileWork:
    """Work or a sowing that the site file names."""

    table: str
    job: str
    surface: str
    at: datetime


def listed(rows: Sequence[EntryRow], of_site_file: Sequence[SiteFileWork]) -> str:
    """Entries one below the other, and below them the work that the site file names."""
    lines = [entry(row) for row in rows]
    if not lines:
        lines.append("Nothing is written down in the diary for that time.")
    if of_site_file:
        lines += ["", *wrap("From the site file (it counts as well; change it there):", "")]
    for row in of_site_file:
        lines += wrap(
            f"{short_date(row.at)} {row.at:%Y %H:%M}  {in_words(row.job)}, {row.surface}", "  ", "    "
        )
    return "\n".join(lines)


def sheets(found: Sequence[SprayRecord]) -> str:
    """Spray records, each field on its line, what is missing named."""
    if not found:
        return "No spray for the spray record is written down for that time."
    blocks = []
    for one in found:
        lines = [f"Spray record   {one['uuid'][:8]}, revision {one['revision']}"]
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


def due(report: Report) -> str:
    """What is due, and how each surface stands."""
    lines = [*head(report), "", "Due"]
    for row in report.due:
        when = "no time is known" if row.due_at is None else f"{short_date(row.due_at)} {row.due_at:%H:%M}"
        window = (
            ""
            if row.next_start is None
            else f"; next window {short_date(row.next_start)} {row.next_start:%H:%M}"
        )
        lines += wrap(f"[{row.state}] {job_on(row.label, row.surface)}: {when}{window}", "  ", "    ")
        lines += wrap(row.because, "      ")
    caution = shared_caution(report, (row.job for row in report.due))
    lines += wrap(caution, "  ") if caution else []
    if not report.due:
        lines.append("  Nothing is wanted or on record.")
    for spray in report.sprays:
        rain = "rain not known" if spray.rain_mm is None else f"{spray.rain_mm:g} mm of rain"
        until = f"{short_date(spray.dry_until)} {spray.dry_until:%H:%M}"
        lines += wrap(
            f"{spray.material}, {spray.surface}: dry until {until} wanted; {rain}",
            "  ",
            "    ",
        )
    for surface in report.surfaces:
        lines += ["", surface.surface.capitalize(), *_stands(surface)]
    return "\n".join(lines)


def _stands(row: SurfaceRow) -> list[str]:
    lines = _leaf(row.leaf)
    if row.regulator is not None:
        so_far = _or_unknown(row.regulator.degree_days, "{:.0f}")
        lines += wrap(f"growth regulator: {so_far} of {row.regulator.lasts_degree_days:.0f} °C d", "  ")
    month = row.nitrogen.month
    if month is not None:
        unknown = month.amounts_not_known
        open_ = f", {unknown} feed(s) of unknown amount" if unknown else ""
        demand = _or_unknown(month.demand_g_m2, "{:.2f} g/m²")
        lines += wrap(
            f"nitrogen this month: {month.given_g_m2:.2f} given{open_}; growth can use {demand}", "  "
        )
    for one in row.nitrogen.passes:
        if one.says and one.brings_g_m2:
            lines += wrap(f"with {in_words(one.job)}: {one.says}", "    ", "      ")
    for seed in row.seed:
        way = None if seed.way_to_emergence is None else min(seed.way_to_emergence, 9.99)
        at = "" if seed.emerges_at is None else f", first seen about {short_date(seed.emerges_at)}"
        lines += wrap(
            f"{in_words(seed.grass)} sown {short_date(seed.sown_at)}: {_or_unknown(way, '{:.0%}')} of the way{at}",
            "  ",
        )
    return lines


def _leaf(leaf: LeafRow | None) -> list[str]:
    if leaf is None:
        return ["  leaf: no cut is written down"]
    third = "" if leaf.one_third_at is None else f"; one third on {short_date(leaf.one_third_at)}"
    return wrap(
        f"leaf {_or_unknown(leaf.length_mm, '{:.1f} mm')}{third} "
        f"(pace {leaf.full_growth_mm_d:g} mm a day: {leaf.full_growth_from})",
        "  ",
    )


def _or_unknown(value: float | None, form: str) -> str:
    return "not known" if value is None else form.format(value)
