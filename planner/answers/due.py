"""What the diary changes: what is due and by when, and how each surface stands since what was done there."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from planner.answers.header import head, known, local
from planner.briefing import Briefing
from planner.diary.consequences import Fed, Leaf, OfSurface, Regulated
from planner.diary.due import Due
from planner.diary.rainfast import RainOnSpray
from planner.diary.seed import SeedInGround


def due(briefing: Briefing) -> dict[str, Any]:
    """Work due, the soonest first, each with its next window; then surface by surface."""
    told, zone = briefing.consequences, briefing.plan.ground.site.zone
    return {
        **head(briefing),
        "due": [_due(one, briefing, zone) for one in told.due],
        "surfaces": [_surface(one, zone, briefing.made_at) for one in told.by_surface.values()],
        "sprays": [_spray(one, zone) for one in told.sprays],
    }


def _at(moment: datetime | None, zone: ZoneInfo) -> str | None:
    return None if moment is None else local(moment, zone)


def _due(one: Due, briefing: Briefing, zone: ZoneInfo) -> dict[str, Any]:
    judged = next(
        (
            each
            for each in briefing.plan.judged
            if each.job.name == one.job and each.surface.name == one.surface
        ),
        None,
    )
    window = judged.windows[0] if judged is not None and judged.windows else None
    overdue_h = one.overdue_h(briefing.made_at)
    return {
        "job": one.job,
        "label": one.label,
        "surface": one.surface,
        "due_at": _at(one.due_at, zone),
        "last_at": _at(one.last_at, zone),
        "state": _state(one, briefing.made_at),
        "overdue_h": known(max(0.0, overdue_h), 1),
        "because": one.because,
        "next_start": _at(None if window is None else window.start, zone),
        "next_latest_start": _at(None if window is None else window.latest_start, zone),
    }


def _state(one: Due, now: datetime) -> str:
    if one.due_at is None:
        return "due" if one.waits else "not known"
    if now - one.due_at >= timedelta(hours=24):
        return "overdue"
    return "due" if one.due_at - now <= timedelta(hours=24) else "coming"


def _surface(one: OfSurface, zone: ZoneInfo, now: datetime) -> dict[str, Any]:
    return {
        "surface": one.surface.name,
        "leaf": None if one.leaf is None else _leaf(one.leaf, zone),
        "regulator": None if one.regulated is None else _regulated(one.regulated, zone),
        "nitrogen": _fed(one.fed, now.astimezone(zone)),
        "seed": [_seed(seed, zone) for seed in one.seed],
    }


def _leaf(leaf: Leaf, zone: ZoneInfo) -> dict[str, Any]:
    return {
        "last_cut": local(leaf.last_cut.finished_at, zone),
        "length_mm": None if leaf.length_mm is None else known(leaf.length_mm),
        "height_ratio": None if leaf.ratio is None else known(leaf.ratio),
        "one_third_at": _at(leaf.third_at, zone),
        "full_growth_mm_d": known(leaf.pace.full_growth_mm_d),
        "full_growth_from": leaf.pace.source,
        "lengths_measured": leaf.pace.lengths,
    }


def _regulated(told: Regulated, zone: ZoneInfo) -> dict[str, Any]:
    return {
        "last": local(told.last.finished_at, zone),
        "degree_days": None if told.degree_days is None else known(told.degree_days, 0),
        "lasts_degree_days": told.lasts,
        "due_at": _at(told.due_at, zone),
    }


def _fed(fed: Fed, now: datetime) -> dict[str, Any]:
    month = fed.months.get(f"{now:%Y-%m}")
    return {
        "month": None
        if month is None
        else {
            "month": month.month,
            "given_g_m2": known(month.given_g_m2),
            "demand_g_m2": None if month.demand_g_m2 is None else known(month.demand_g_m2),
            "amounts_not_known": month.not_known,
            "days_known": month.days_known,
        },
        "season": {
            "since": fed.season_from,
            "given_g_m2": known(fed.season_given_g_m2),
            "demand_g_m2": known(fed.season_demand_g_m2),
            "amounts_not_known": fed.season_not_known,
        },
        "months": [
            {
                "month": one.month,
                "given_g_m2": known(one.given_g_m2),
                "demand_g_m2": None if one.demand_g_m2 is None else known(one.demand_g_m2),
            }
            for one in list(fed.months.values())[-13:]
        ],
    }


def _seed(seed: SeedInGround, zone: ZoneInfo) -> dict[str, Any]:
    return {
        "sown_at": local(seed.sowing.at, zone),
        "grass": seed.sowing.grass.name,
        "cover_pct": seed.sowing.cover_pct,
        "tackifier": seed.sowing.tackifier,
        "way_to_emergence": None if seed.way is None else known(seed.way),
        "emerges_at": _at(seed.emerges_at, zone),
        "is_estimate": seed.is_estimate,
    }


def _spray(spray: RainOnSpray, zone: ZoneInfo) -> dict[str, Any]:
    return {
        "job": spray.work.job,
        "surface": spray.work.surface,
        "finished_at": local(spray.work.finished_at, zone),
        "material": spray.material,
        "rainfast_h": spray.rainfast_h,
        "dry_until": local(spray.dry_until, zone),
        "rain_mm": None if spray.rain_mm is None else known(spray.rain_mm, 1),
        "rain_from": _at(spray.from_at, zone),
        "chance": spray.chance,
    }
