"""A report as plain text for a terminal 80 columns wide. Reads rows, computes nothing."""

from __future__ import annotations

import textwrap
from collections.abc import Collection, Iterable
from datetime import date
from typing import TYPE_CHECKING, TypeVar
from zoneinfo import ZoneInfo

from msgspec.structs import replace

from planner.cli.shown import as_read, unit_read
from planner.margin import YES_NO
from planner.reports.amounts import figure, plain, scale_of, short, signed, unit_sign, with_unit
from planner.reports.rows import (
    BarredRow,
    DayRow,
    ForecastRow,
    Head,
    JobRow,
    LeastBad,
    Report,
    WindowRow,
)
from planner.reports.stretches import as_sentence
from planner.terms import KINDS_OF_JOB, LABEL_CAUTION, STATE_WORDS, short_date

if TYPE_CHECKING:
    from planner.reports.explain import Explanation, NeedRow
    from planner.reports.shown_units import ShownUnit

Row = TypeVar("Row", bound=JobRow)

WIDTH = 80
#: Marks differ by shape, so that they read without colour.
MARKS = {"steady": "##", "narrow": "#-", "broken": "#/", "barred": "//", "unread": ".."}
BLANK = "-"
#: Verdicts of single needs as they are read.
VERDICTS = {"holds": "with room", "not read": "not known"}


def head(report: Head) -> list[str]:
    """Site, moment, and how old the forecast is; loud when it is stale."""
    forecast = report.forecast
    local = report.as_of.astimezone(ZoneInfo(report.site.timezone))
    lines = [f"{report.site.name}   {short_date(local)} {local:%Y %H:%M}"]
    source = f"Forecast: {forecast.provider}, {_old(forecast)}"
    if forecast.members > 1:
        source += f", {forecast.members} members"
    lines.append(source + ".")
    if forecast.stale:
        lines += [
            "",
            *wrap(
                f"!! STALE: this forecast is too old ({_old(forecast)}). Look at the sky before you trust it.",
                "",
                "   ",
            ),
        ]
    return lines


def _old(forecast: ForecastRow) -> str:
    """How old it is, since its issue where that is known, else since it was fetched."""
    if forecast.age_h is None:
        return "age not known"
    if forecast.issued_at is None:
        return f"fetched {_age(forecast.age_h)} ago, its issue not known"
    return f"{_age(forecast.age_h)} old"


def _age(hours: float) -> str:
    if hours < 1:
        return f"{hours * 60:.0f} min"
    return f"{hours:.0f} h" if hours < 48 else f"{hours / 24:.0f} days"


def warnings(report: Report) -> list[str]:
    """What is about to go wrong, what to do, and what is not known."""
    if not report.warnings and not report.not_read:
        return ["Warnings: none."]
    lines = ["Warnings"]
    for row in report.warnings:
        ahead = f"in {row.lead_h:.0f} h" if row.lead_h >= 1 else "now"
        chance = "" if row.chance is None else f", chance {row.chance:.0%}"
        share = "" if row.share is None else f", {row.share:.0%} of members"
        lines += wrap(f"[{row.level}, {ahead}{chance}{share}] {row.says}", "  ")
        for advice in row.advice:
            lines += wrap(f"- {advice}", "    ", "      ")
    for one in report.not_read:
        lines += wrap(f"[not known] {one.says}", "  ")
    return lines


def days(report: Report, surface: str | None = None) -> list[str]:
    """A row per day; wash differs by surface, so the surface that is sown (or the first) is shown."""
    names = list(dict.fromkeys(row.surface for row in report.days))
    title = f"{'Day':<11}{'growth':>7}{'wash':>6}{'frost':>7}{'air':>11}{'grass':>6}{'rain':>7}{'wind':>7}{'soil':>6}"
    warmth, water, wind = (unit_read(unit) for unit in ("°C", "mm", "km/h"))
    units = (
        f"{'':<11}{'0-1':>7}{'0-1':>6}{'chance':>7}{warmth.sign:>11}{warmth.sign:>6}{water.sign:>7}"
        f"{wind.sign:>7}{warmth.sign:>6}"
    )
    lines = [title, units]
    for row in _merged(report.days, [surface] if surface else names):
        air = f"{_num(warmth.of(row.air_min_c), 0)} to {_num(warmth.of(row.air_max_c), 0)}"
        partial = "*" if row.hours_known < 23 else ""
        lines.append(
            f"{short_date(date.fromisoformat(row.date)) + partial:<11}{_num(row.growth_potential, 2):>7}"
            f"{_num(row.rain_wash_risk, 2):>6}{_num(row.frost_risk, 2):>7}{air:>11}"
            f"{_num(warmth.of(row.grass_min_c), 0):>6}{_num(water.of(row.rain_mm), water.places):>7}"
            f"{_num(wind.of(row.wind_2m_max_kmh), 0):>7}{_num(warmth.of(row.soil_temp_c), 0):>6}"
        )
    where = surface or ("the surface most at risk" if len(names) > 1 else names[0] if names else "")
    lines += wrap(
        f"growth and wash: {where}. frost: ground frost in the night that ends that morning. grass: lowest "
        "temperature at its tips. wash: share of the seed at risk. * part of the day only.",
        "  ",
    )
    return lines


def _merged(rows: Iterable[DayRow], names: list[str]) -> list[DayRow]:
    """One row a day, with the wash of the surface most at risk."""
    by_day: dict[str, DayRow] = {}
    for row in rows:
        if row.surface not in names:
            continue
        held = by_day.setdefault(row.date, row)
        risks = [one for one in (held.rain_wash_risk, row.rain_wash_risk) if one is not None]
        by_day[row.date] = replace(held, rain_wash_risk=max(risks, default=None))
    return list(by_day.values())


def windows(
    windows: tuple[WindowRow, ...],
    barred: tuple[BarredRow, ...],
    *,
    most: int = 2,
    first: Collection[tuple[str, str]] = (),
) -> list[str]:
    """Best windows by kind of job, each with its reason, then what is barred and until when.

    `first`: jobs and surfaces of which is told before the others of their kind.
    """
    lines: list[str] = []
    every: list[JobRow] = [*windows, *barred]
    kinds = sorted(
        dict.fromkeys(row.kind for row in every),
        key=lambda kind: KINDS_OF_JOB.index(kind) if kind in KINDS_OF_JOB else len(KINDS_OF_JOB),
    )
    for kind in kinds:
        lines.append(kind.capitalize())
        open_ = [row for row in windows if row.kind == kind]
        closed = [row for row in barred if row.kind == kind]
        for told_first in (True, False):
            lines += _windows_of_kind(_of_pairs(open_, first, told_first), most)
            lines += _barred_of_kind(_of_pairs(closed, first, told_first))
        lines.append("")
    if not kinds:
        lines.append("No job is asked for here.")
    lines += ["## with room   #- only just   // not now", ""]
    cautions = dict.fromkeys(caution for row in windows if row.kind == "spraying" for caution in row.cautions)
    if not cautions and any(row.kind == "spraying" for row in barred):
        # With no window there is still a name of a product to be misread as advice.
        lines += wrap(LABEL_CAUTION, "")
    if cautions:
        lines.append("Cautions for spraying")
    for caution in cautions:
        lines += wrap(f"- {caution}", "  ", "    ")
    return lines


def _of_pairs(rows: list[Row], pairs: Collection[tuple[str, str]], inside: bool) -> list[Row]:
    """The rows whose job and surface are among these, or are not."""
    return [row for row in rows if ((row.job, row.surface) in pairs) is inside]


def _windows_of_kind(rows: list[WindowRow], most: int) -> list[str]:
    """For each job and surface the soonest windows and the one of best rank, in order of time."""
    by_pair: dict[tuple[str, str], list[WindowRow]] = {}
    for row in rows:
        by_pair.setdefault((row.job, row.surface), []).append(row)
    kept: list[WindowRow] = []
    for ranked in by_pair.values():
        soonest = sorted(ranked, key=lambda row: row.start)[: max(1, most - 1)]
        kept += [*soonest, *(row for row in ranked[:1] if row not in soonest and most > 1)]
    kept.sort(key=lambda row: (row.start, row.rank))
    lines: list[str] = []
    groups: dict[tuple[object, ...], list[WindowRow]] = {}
    for row in kept:
        alike = (row.job, row.start, row.end, row.state, row.latest_start, row.share, about(row))
        groups.setdefault(alike, []).append(row)
    for group in groups.values():
        lines += _window(group[0], ", ".join(row.surface for row in group))
    return lines


def _window(row: WindowRow, surfaces: str) -> list[str]:
    """One window in two or three lines."""
    share = "" if row.share is None else f", {row.share:.0%} of members"
    first = (
        f"  {MARKS[row.state]} {short_date(row.start)} {row.start:%H:%M}–{row.end:%H:%M}  {row.label}: {surfaces}"
        f" (start by {row.latest_start:%H:%M}{share})"
    )
    return wrap(first, "", "       ") + wrap(about(row), "       ")


def about(row: WindowRow) -> str:
    """The need that limits a window, the next window, what is not read, what is to be done."""
    says = " ".join(part for part in (as_sentence(row), row.limiting.says) if part)
    if row.last_chance:
        until = row.next_start
        says += (
            f" Next window {short_date(until)} {until:%H:%M}."
            if until
            else " No later window in this forecast."
        )
    if row.not_read:
        says += f" Not known: {', '.join(row.not_read)}."
    return " ".join([says, *row.tasks])


def _barred_of_kind(rows: list[BarredRow]) -> list[str]:
    groups: dict[tuple[object, ...], list[BarredRow]] = {}
    for row in rows:
        alike = (row.job, row.next_window, row.because.says, row.if_it_cannot_wait)
        groups.setdefault(alike, []).append(row)
    lines: list[str] = []
    for group in groups.values():
        row, until = group[0], group[0].next_window
        when = f"not before {short_date(until)} {until:%H:%M}" if until else "no hour in this forecast"
        surfaces = ", ".join(one.surface for one in group)
        lines += wrap(f"  // {row.label}: {surfaces}; {when}", "", "       ")
        lost = row.because.hours_lost
        hours = f" It closes {lost} h." if lost else ""
        lines += wrap(f"{row.because.says}{hours}", "       ")
        if row.if_it_cannot_wait is not None:
            lines += _least_bad(row.if_it_cannot_wait)
    return lines


def _least_bad(rest: LeastBad) -> list[str]:
    lines = wrap(f"If it cannot wait: {rest.says}", "       ")
    for hour in rest.hours:
        fails = "; ".join(one.says for one in hour.fails)
        lines += wrap(f"{short_date(hour.start)} {hour.start:%H:%M} fails {fails}", "         ")
    return lines


def explain(found: Explanation) -> list[str]:
    """Each need at that hour: figure, limits, verdict, source."""
    when = f"{short_date(found.time)} {found.time:%H:%M}"
    lines = [f"{found.label.capitalize()}, {found.surface}, {when}: {STATE_WORDS[found.state]}"]
    lines += wrap(found.limiting.says, "  ")
    lines.append("")
    for row in found.needs:
        value, limits = _figures(row)
        label, *more = textwrap.wrap(as_read(signed(row.label)), 38) or [""]
        verdict = VERDICTS.get(row.verdict, row.verdict)
        lines.append(f"  {verdict:<12}{label:<39}{value:>10}  {limits}".rstrip())
        lines += [f"{'':<14}{part}" for part in more]
        mark = "guess" if row.confidence == "C" else f"confidence {row.confidence}"
        lines += wrap(f"{row.when}; {signed(row.source)} ({mark})", "              ")
    lines += bullets("What would have to change", found.would_have_to_change)
    return lines + bullets("Cautions", found.cautions)


def bullets(title: str, rows: Iterable[str]) -> list[str]:
    """A list under its title, after an empty line; nothing where there are no rows."""
    lines = [line for row in rows for line in wrap(f"- {row}", "  ", "    ")]
    return ["", title, *lines] if lines else []


def _figures(row: NeedRow) -> tuple[str, str]:
    """The figure with its unit and the limits, both in the same unit."""
    low, high, value = row.limits.hard_min, row.limits.hard_max, row.value
    if (shown := unit_read(unit_sign(row.unit))).factor != 1.0 and row.unit != YES_NO:
        return _figures_in(shown, value, low, high, is_read=row.margin is None)
    factor, unit = scale_of(row.unit, (value, low, high))
    if value is None:
        told = BLANK if row.margin is None else "none"
    elif row.unit == YES_NO:
        told = figure(value, row.unit)
    else:
        told = with_unit(short(value * factor, bare=row.unit == ""), unit)
    if row.unit == YES_NO or (low is None and high is None):
        return told, ""
    if low is None or high is None:
        side = "at least" if high is None else "at most"
        return told, f"{side} {plain(((high if low is None else low) or 0.0) * factor)}"
    return told, f"{plain(low * factor)} to {plain(high * factor)}"


def _figures_in(
    shown: ShownUnit, value: float | None, low: float | None, high: float | None, *, is_read: bool
) -> tuple[str, str]:
    """The same in units that a keeper reads in place of those of the rules."""
    told = (BLANK if is_read else "none") if value is None else shown.text(value)
    if low is None and high is None:
        return told, ""
    if low is None or high is None:
        return (
            told,
            f"{'at least' if high is None else 'at most'} {shown.number(high if low is None else low)}",
        )
    return told, f"{shown.number(low)} to {shown.number(high)}"


def credit(report: Head) -> list[str]:
    """Whose data these are; always shown."""
    forecast = report.forecast
    return wrap(f"{forecast.credit} {forecast.credit_url} ({forecast.licence})", "")


def notes(report: Head) -> list[str]:
    """What was odd about the forecast."""
    found = report.forecast.notes
    lines = [line for note in found[:6] for line in wrap(f"note: {note}", "")]
    if len(found) > 6:
        lines.append(f"note: and {len(found) - 6} more (see --json)")
    return lines


def wrap(text: str, indent: str, following: str | None = None) -> list[str]:
    """Text broken at the width, its figures in the units of the site."""
    return as_written(as_read(text), indent, following)


def named_row(name: str, says: str) -> str:
    """A row of a list by name, its text set in beside the name; a path or an address stays whole."""
    set_in = " " * 20
    return textwrap.fill(
        f"{name:<19} {says}", WIDTH, subsequent_indent=set_in, break_long_words=False, break_on_hyphens=False
    )


def as_written(text: str, indent: str, following: str | None = None) -> list[str]:
    """Text broken at the width and not turned: a keeper's own words, and figures of the files."""
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=indent,
        subsequent_indent=indent if following is None else following,
    ) or [indent.rstrip()]


def _num(value: float | None, digits: int) -> str:
    if value is None:
        return BLANK
    text = f"{value:.{digits}f}"
    return text[1:] if text.startswith("-") and float(text) == 0 else text


def together(blocks: Iterable[list[str]]) -> str:
    """Blocks with an empty line between them."""
    return "\n\n".join("\n".join(block).rstrip() for block in blocks if block)
