"""The page of an installation with several sites: each with its three lines."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from planner.page.brief import BriefLine, needs_label, three_lines
from planner.page.layout import clock_of, environment, linked
from planner.reports.retold import for_people
from planner.reports.rows import Report


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteLine:
    """A site, and what is read first of it; no lines before its first pass."""

    key: str
    name: str
    lines: list[BriefLine]
    age: str
    is_stale: bool
    caution: str


def site_line(key: str, name: str, report: Report | None) -> SiteLine:
    """What is shown of a site."""
    if report is None:
        return SiteLine(key=key, name=name, lines=[], age="", is_stale=False, caution="")
    report = for_people(report, report.site.units)
    clock = clock_of(report)
    age_h = report.forecast.age_h
    age = "of unknown age" if age_h is None else f"{clock.age(age_h)} old"
    return SiteLine(
        key=key,
        name=name,
        lines=three_lines(report),
        age=f"{clock.now:%a %H:%M}, forecast {age}",
        is_stale=report.forecast.stale,
        caution=needs_label(report),
    )


def sites(lines: Iterable[SiteLine]) -> bytes:
    """All of them, one after the other."""
    return linked(environment().get_template("sites.html.j2").render(sites=list(lines)), "./").encode()
