"""Pages behind the home page: a job with its windows, a day, and what explains: pieces to paste, and every address."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from planner.page.layout import clock_of, environment, linked, text_of, write
from planner.page.ribbon import Scale
from planner.page.rows import blocks, by_kind, cautions, days, figure, hours, mine_and_others
from planner.reports.amounts import signed, unit_sign
from planner.reports.retold import for_people, retell
from planner.reports.rows import Report, SiteRow
from planner.reports.shown_units import ShownUnit, System, shown_unit
from planner.reports.workings import NeedFacts, Workings
from planner.site import MAIN
from planner.terms import slug

_DAYS = 8
#: What stands in a piece to be filled in.
_FILLED = re.compile("SCHEME|ADDRESS|PREFIX|BASE|OWN|TURF")


@dataclass(frozen=True, slots=True, kw_only=True)
class NeedLine:
    """A need with its limits in words."""

    label: str
    unit: str
    when: str
    hard: str
    best: str
    source: str
    guess: bool
    label_limit: bool
    optional: bool


def job(report: Report, workings: Workings, name: str) -> bytes:
    """The page of a job, by its name in the rules. KeyError when there is no such job here."""
    report = for_people(report, report.site.units)
    now = clock_of(report)
    today = now.now.date()
    found = blocks(report, Scale.days(today, _DAYS, now.zone), name)
    if not found:
        raise KeyError(name)
    rows = []
    for number in range(_DAYS):
        date = today + timedelta(days=number)
        parts = blocks(report, Scale.days(date, 1, now.zone), name)
        if any(part.drawn for part in parts):
            rows.append({"date": date, "blocks": parts})
    first = found[0]
    shown = workings.of(name, first.surfaces[0])
    return write(
        "job.html.j2",
        report,
        up="../",
        job=first.ribbon,
        found=found,
        rows=rows,
        needs=[]
        if shown is None
        else [_line(facts, report.site.units) for facts in workings.needs_of(shown)],
        needs_surface=first.surfaces[0],
        cautions=cautions([first.ribbon]),
    )


def _line(need: NeedFacts, system: System) -> NeedLine:
    unit = shown_unit(unit_sign(need.unit), system)
    return NeedLine(
        label=retell(signed(need.label), system),
        unit="" if need.unit == "0/1" else unit.sign,
        when=need.when,
        hard=_side(need.hard_min, need.hard_max, need.unit, unit),
        best=_side(need.best_from, need.best_to, need.unit, unit),
        source=retell(signed(need.source), system),
        guess=need.confidence == "C",
        label_limit=need.from_label,
        optional=need.optional,
    )


def _side(low: float | None, high: float | None, kept_in: str, unit: ShownUnit) -> str:
    if low is None and high is None:
        return ""
    if kept_in == "0/1":
        return "no" if high == 0 else "yes"
    if low is None:
        return f"at most {_short(unit.of(high))}"
    return (
        f"at least {_short(unit.of(low))}"
        if high is None
        else f"{_short(unit.of(low))} to {_short(unit.of(high))}"
    )


def _short(value: float | None) -> str:
    return figure(value, 2).rstrip("0").rstrip(".") if value else "0"


def day(report: Report, name: str) -> bytes:
    """The page of a local day, named by its ISO date. KeyError when the forecast lacks it."""
    report = for_people(report, report.site.units)
    now = clock_of(report)
    cards = days(report, now)
    dates = [card.date for card in cards]
    chosen = date.fromisoformat(name)
    if chosen not in dates:
        raise KeyError(name)
    place = dates.index(chosen)
    scale = Scale.days(chosen, 1, now.zone)
    found = [block for block in blocks(report, scale) if block.drawn]
    mine, others = mine_and_others(report, found)
    rows = hours(report, scale.start, scale.end)
    return write(
        "day.html.j2",
        report,
        up="../",
        card=cards[place],
        before=dates[place - 1] if place else None,
        after=dates[place + 1] if place + 1 < len(dates) else None,
        kinds=by_kind(mine),
        other_kinds=by_kind(others),
        hour_ticks=[
            {"x": scale.x(moment), "hour": moment.hour}
            for moment in (now.at(row.time) for row in rows)
            if moment.hour % 3 == 0
        ],
        rows=rows,
        warnings=[
            row
            for row in report.warnings
            if row.begins < scale.end and (row.ends or row.begins) >= scale.start
        ],
        cautions=cautions(row.ribbon for row in found if row.windows),
    )


@dataclass(frozen=True, slots=True)
class Snippet:
    """One piece to paste: for what, in which syntax, and where it goes."""

    name: str
    title: str
    where: str
    syntax: str
    text: str


def snippets(base: str, site: SiteRow) -> list[Snippet]:
    """All pieces for an address such as http://turf.lan:8480 (no slash at the end).

    Ids and names are those of the site where it has a key of its own: a hub may show several.
    """
    scheme, _, rest = base.partition("://")
    address, slash, path = rest.partition("/")
    has_own_key = site.key != MAIN
    filled = {
        "SCHEME": scheme,
        "ADDRESS": address,
        "PREFIX": slash + path,
        "BASE": base,
        "OWN": f"_{slug(site.key)}" if has_own_key else "",
        "TURF": site.name.replace('"', "'").replace("\\", "/") if has_own_key else "Turf",
    }
    pieces: list[dict[str, str]] = tomllib.loads(text_of("pieces.toml"))["piece"]
    return [
        Snippet(
            **(piece | {part: _FILLED.sub(lambda m: filled[m[0]], piece[part]) for part in ("where", "text")})
        )
        for piece in pieces
    ]


def help_page(report: Report, base: str) -> bytes:
    """How to see this on a home dashboard."""
    return write("help.html.j2", report, snippets=snippets(base, report.site), base=base, reload=False)


def addresses(description: Mapping[str, Any]) -> bytes:
    """The page at /docs. It needs nothing from elsewhere and no script."""
    rows = []
    for path, methods in description["paths"].items():
        for method, operation in methods.items():
            rows.append(
                {
                    "path": path,
                    "method": method.upper(),
                    "summary": operation.get("summary", ""),
                    "parameters": [_parameter(one) for one in operation.get("parameters", [])],
                    "answers": [
                        {
                            "code": code,
                            "says": answer.get("description", ""),
                            "types": list(answer.get("content", {})),
                        }
                        for code, answer in operation.get("responses", {}).items()
                    ],
                    "can_try": method == "get" and "{" not in path,
                }
            )
    text = (
        environment()
        .get_template("addresses.html.j2")
        .render(title=description["info"]["title"], version=description["info"]["version"], rows=rows)
    )
    return linked(text, "./").encode()


def _parameter(one: Mapping[str, Any]) -> dict[str, Any]:
    schema = one.get("schema", {})
    choices = [part for part in schema.get("anyOf", [schema]) if part.get("type") != "null"]
    first = choices[0] if choices else {}
    return {
        "name": one["name"],
        "where": one["in"],
        "required": one.get("required", False),
        "says": one.get("description", ""),
        "type": first.get("type", ""),
        "allowed": first.get("enum", []),
        "example": (schema.get("examples") or [schema.get("default", "")])[0],
    }
