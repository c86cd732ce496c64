"""One flat object for a home dashboard: short states, null where there is nothing, never a missing key."""

from __future__ import annotations

from typing import Any

from planner.answers.header import head, known, local, utc
from planner.answers.verdict import limiting
from planner.briefing import Briefing
from planner.plan import Plan, Ranked
from planner.rules.job import KINDS_OF_JOB

#: Longest state a home hub keeps (255 characters in the one whose sensor page we read).
LONGEST = 255


def now(briefing: Briefing) -> dict[str, Any]:
    """The state of things at the pass, on one level."""
    top = head(briefing)
    forecast = top["forecast"]
    zone = briefing.plan.ground.site.zone
    flat: dict[str, Any] = {
        "site": top["site"]["name"],
        "made_at": top["made_at"],
        "issued_at": forecast["issued_at"],
        "forecast_age_h": forecast["age_h"],
        "stale": forecast["stale"],
        "stale_at": forecast["stale_at"],
        "provider": forecast["provider"],
        "credit": forecast["credit"],
        "headline": cut(headline(briefing)),
    }
    for kind in KINDS_OF_JOB:
        first = _first_of(briefing.plan, kind)
        window = None if first is None else first.window
        flat[f"{kind}_next_job"] = None if first is None else first.judged.job.name
        flat[f"{kind}_next_surface"] = None if window is None else window.surface
        flat[f"{kind}_next_start"] = None if window is None else local(window.start, zone)
        flat[f"{kind}_latest_start"] = None if window is None else local(window.latest_start, zone)
        flat[f"{kind}_state"] = None if window is None else window.state
        flat[f"{kind}_chance"] = None if window is None or window.chance is None else known(window.chance)
        flat[f"{kind}_reason"] = (
            None if first is None or window is None else cut(limiting(first.judged, window.best_hour)["says"])
        )
    for kind in ("wash", "frost"):
        found = next((notice for notice in briefing.notices if notice.kind == kind), None)
        flat[f"{kind}_warning"] = found is not None
        flat[f"{kind}_level"] = None if found is None else found.level
        flat[f"{kind}_begins"] = None if found is None else local(found.begins, zone)
        flat[f"{kind}_says"] = None if found is None else cut(found.says)
    today = next(iter(briefing.days.values()), [])[:1]
    row = today[0] if today else {}
    for name in ("growth_potential", "frost_risk", "rain_mm", "soil_temp_c"):
        flat[f"today_{name}"] = row.get(name)
    risks = [rows[0]["rain_wash_risk"] for rows in briefing.days.values() if rows]
    known_risks = [risk for risk in risks if risk is not None]
    flat["today_rain_wash_risk"] = max(known_risks) if known_risks else None
    flat["warnings"] = len(briefing.notices)
    flat["next_pass_by"] = utc(briefing.stale_at)
    return flat


def headline(briefing: Briefing) -> str:
    """The sentence of the day: the best window, then the gravest warning."""
    zone = briefing.plan.ground.site.zone
    parts = []
    soon = [
        r for r in briefing.plan.ranked if (r.window.start - briefing.made_at).total_seconds() < 30 * 3600
    ]
    if soon:
        best = soon[0]
        window = best.window
        day = _day_word(briefing, best)
        parts.append(
            f"{_capital(best.judged.job.label)} on the {window.surface} {day}"
            f"{window.start.astimezone(zone):%H:%M}-{window.end.astimezone(zone):%H:%M}"
        )
    else:
        parts.append("No job has a window today or tomorrow")
    parts += [notice.says.rstrip(".") for notice in briefing.notices[:1]]
    return "; ".join(parts) + "."


def _day_word(briefing: Briefing, ranked: Ranked) -> str:
    zone = briefing.plan.ground.site.zone
    today = briefing.made_at.astimezone(zone).date()
    day = ranked.window.start.astimezone(zone).date()
    ahead = (day - today).days
    return "" if ahead == 0 else "tomorrow " if ahead == 1 else f"{day:%a} "


def _first_of(plan: Plan, kind: str) -> Ranked | None:
    """The soonest window of any job of that kind, the better rank first where two begin together."""
    found = [ranked for ranked in plan.ranked if ranked.judged.job.kind == kind]
    return min(found, key=lambda ranked: (ranked.window.start, ranked.rank), default=None)


def cut(text: str) -> str:
    """The text, cut to what a hub keeps."""
    return text if len(text) <= LONGEST else text[: LONGEST - 1].rstrip() + "…"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
