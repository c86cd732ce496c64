"""One flat object for a home dashboard: short states, null where there is nothing, never a missing key."""

from __future__ import annotations

from typing import Any

from planner.answers.header import head, known, local, utc
from planner.answers.verdict import limiting
from planner.answers.week import week
from planner.briefing import Briefing
from planner.headline import cut, headline, summed_up
from planner.plan import Plan, Ranked
from planner.rules.job import KINDS_OF_JOB


def now(briefing: Briefing) -> dict[str, Any]:
    """The state of things at the pass, on one level."""
    top = head(briefing)
    forecast = top["forecast"]
    zone = briefing.plan.ground.site.zone
    flat: dict[str, Any] = {
        "site": top["site"]["name"],
        "made_at": top["made_at"],
        "issued_at": forecast["issued_at"],
        "fetched_at": forecast["fetched_at"],
        "forecast_age_h": forecast["age_h"],
        "stale": forecast["stale"],
        "stale_at": forecast["stale_at"],
        "provider": forecast["provider"],
        "credit": forecast["credit"],
        "headline": cut(_told(briefing, stale=forecast["stale"])),
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
        # A kind that cannot be read is not known to be absent.
        flat[f"{kind}_warning"] = (
            None if found is None and kind in briefing.unread_kinds else found is not None
        )
        flat[f"{kind}_level"] = None if found is None else found.level
        flat[f"{kind}_begins"] = None if found is None else local(found.begins, zone)
        flat[f"{kind}_says"] = None if found is None else cut(found.says)
    today = next(iter(briefing.days.values()), [])[:1]
    row = today[0] if today else {}
    for name in ("growth_potential", "frost_risk", "rain_mm", "soil_temp_c"):
        flat[f"today_{name}"] = _rounded(row.get(name))
    risks = [rows[0]["rain_wash_risk"] for rows in briefing.days.values() if rows]
    known_risks = [risk for risk in risks if risk is not None]
    flat["today_rain_wash_risk"] = _rounded(max(known_risks)) if known_risks else None
    flat["next_pass_by"] = utc(briefing.stale_at)
    flat["fault"] = cut("; ".join(briefing.faults)) or None
    return summed_up(flat, len(briefing.notices), briefing.notices[0].says if briefing.notices else None)


def _rounded(figure: float | None) -> float | None:
    return None if figure is None else known(figure, 3)


def _told(briefing: Briefing, *, stale: bool) -> str:
    zone = briefing.plan.ground.site.zone
    rows = [
        {
            "job": ranked.judged.job.name,
            "kind": ranked.judged.job.kind,
            "label": ranked.judged.job.label,
            "surface": ranked.window.surface,
            "state": ranked.window.state,
            "start": local(ranked.window.start, zone),
            "end": local(ranked.window.end, zone),
            "latest_start": local(ranked.window.latest_start, zone),
        }
        for ranked in briefing.plan.ranked
    ]
    warnings = [{"says": notice.says} for notice in briefing.notices]
    due = {
        (one.job, one.surface)
        for one in briefing.consequences.due
        if one.presses(briefing.made_at, briefing.week_days)
    }
    return headline(rows, warnings, briefing.made_at, zone, due, week(briefing)["work"], stale=stale)


def _first_of(plan: Plan, kind: str) -> Ranked | None:
    """The soonest window of any job of that kind, the better rank first where two begin together."""
    found = [ranked for ranked in plan.ranked if ranked.judged.job.kind == kind]
    return min(found, key=lambda ranked: (ranked.window.start, ranked.rank), default=None)
