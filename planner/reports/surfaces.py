"""The ground and the diary as rows: what bears feet, how the seed is doing, what is due, how each surface stands."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from msgspec.structs import replace

from planner.diary.consequences import Fed, Leaf, OfSurface, RainOnSpray, Regulated
from planner.diary.due import Due
from planner.diary.growth import MonthOfFeed
from planner.diary.nitrogen import PassOfFeed
from planner.indices.frost import FROSTED_C, off_frost
from planner.indices.quantities import Quantities
from planner.indices.table_water import record_begins
from planner.margin import State
from planner.reports.assessment import Assessment
from planner.reports.nitrogen import in_grams
from planner.reports.surface_rows import (
    DueRow,
    GroundRow,
    LeafRow,
    NitrogenMonth,
    NitrogenPass,
    NitrogenRow,
    NitrogenSeason,
    RegulatorRow,
    SeedRow,
    SprayRow,
    SurfaceRow,
    UnderfootRow,
    state_of_due,
)
from planner.reports.verdicts import known
from planner.site import Sowing
from planner.terms import short_time
from planner.weather import mean_of_members

#: Above this share of field capacity feet leave marks, by soil. `guess`
_SOFT_PCT = {"sand": 105.0, "loam": 100.0, "clay": 95.0}
#: Share of the sown seed not yet rooted above which feet should keep to the edge. Judgement.
_SEED_LIES = 0.05
#: Hours looked ahead.
_HOURS = 48


def ground_rows(assessment: Assessment) -> tuple[GroundRow, ...]:
    """For each surface the runs of hours that do or do not bear feet, and the seed lying in it."""
    return tuple(
        GroundRow(
            surface=name,
            underfoot=_underfoot(quantities, assessment.made_at),
            seed=tuple(_seed(quantities, sowing, assessment) for sowing in quantities.sowings),
            water_guess=_water_guess(quantities, assessment.made_at),
        )
        for name, quantities in assessment.plan.conditions.surfaces.items()
    )


def _water_guess(q: Quantities, now: datetime) -> str:
    """Why the water of the root zone is a guess at a moment; empty where it is none."""
    hour = min(max(q.weather.index(now), 0), q.weather.hours - 1)
    if not mean_of_members(q["water_guess"])[hour] >= 0.5:
        return ""
    return f"Soil water is a guess: {record_begins(q)}."


def _underfoot(q: Quantities, now: datetime) -> tuple[UnderfootRow, ...]:
    """Runs of hours of one state, each with its reason, the hour of the pass first."""
    weather, zone = q.weather, q.site.zone
    first = max(0, weather.index(now))
    last = min(weather.hours, first + _HOURS)
    names = ("grass_temp_c", "soil_frozen", "storage_pct_fc", "leaf_wet", "seed_exposure")
    turf, soil_frozen, water, wet, seed = (mean_of_members(q[name][:, first:last]) for name in names)
    rows: list[UnderfootRow] = []
    off = None
    for hour in range(last - first):
        start = weather.time(first + hour)
        end = (start + timedelta(hours=1)).astimezone(zone)
        state, cause, says = _hour(q, turf[hour], soil_frozen[hour], water[hour], wet[hour], seed[hour])
        if off is not None and start < off:
            # Thawed, but not yet for the full hour that frost release asks for.
            state, cause = "barred", "frost"
        if rows and (rows[-1].state, rows[-1].cause) == (state, cause):
            rows[-1] = replace(rows[-1], end=end)
            continue
        if cause == "frost":
            off = off_frost(q, after=start)
            says += f" Off the frost from {short_time(off, zone)}." if off is not None else ""
        rows.append(
            UnderfootRow(
                start=start.astimezone(zone),
                end=end,
                state=state,
                cause=cause,
                says=says,
                grass_temp_c=known(turf[hour], 1),
                storage_pct_fc=known(water[hour], 0),
            )
        )
    return tuple(rows)


def _hour(
    q: Quantities, turf: float, frozen: float, water: float, wet: float, seed: float
) -> tuple[State, str, str]:
    """State, cause and sentence of one hour."""
    soil = q.surface_here.soil
    soft = _SOFT_PCT[q.surface_here.soil_class]
    not_read = "Not known: the forecast lacks what frost or wetness is worked out from."
    if np.isnan(turf):
        return "unread", "unread", not_read
    if turf < FROSTED_C:
        return "barred", "frost", f"Keep off: grass {turf:.1f} °C, frosted or close to it."
    if np.isnan(water) or np.isnan(frozen):
        return "unread", "unread", not_read
    if frozen >= 0.5:
        return "narrow", "soil", "Soil frozen: feet with care, no wheels, no rollers."
    if water > soft:
        wetness = f"{soil} at {water:.0f} % of field capacity"
        return "barred", "soft", f"Keep off: {wetness}, feet mark above {soft:.0f} %."
    if np.isnan(seed):
        return "narrow", "seed", "Whether seed lies open here is not known: walk round what was sown."
    if seed > _SEED_LIES:
        return "narrow", "seed", "Seed lies here: walk round it."
    stands = f"grass {turf:.0f} °C, {water:.0f} % of field capacity"
    if np.isnan(wet):
        says = f"Firm underfoot: {stands}; whether the leaf is wet is not known."
        return "narrow", "wet_unread", says
    if wet >= 0.5:
        return "narrow", "wet", f"Firm underfoot, leaf wet: {stands}."
    return "steady", "", f"Firm underfoot, leaf dry: {stands}."


def _seed(q: Quantities, sowing: Sowing, assessment: Assessment) -> SeedRow:
    """Age of the seed, how far it is on the way to emergence, and the hardest wash that is coming."""
    weather, zone, now = q.weather, q.site.zone, assessment.made_at
    on_record = assessment.consequences.by_surface.get(q.surface_here.name)
    found = next((one for one in on_record.seed if one.sowing == sowing), None) if on_record else None
    emerges = None if found is None else found.emerges_at
    first = max(0, weather.index(now))
    wash = mean_of_members(q["wash_risk"])[first:]
    worst = None if np.isnan(wash).all() else int(np.nanargmax(wash))
    return SeedRow(
        sown_at=sowing.at.astimezone(zone),
        grass=sowing.grass.name,
        age_d=round((now - sowing.at) / timedelta(days=1), 1),
        cover_pct=sowing.cover_pct,
        tackifier=sowing.tackifier,
        way_to_emergence=None if found is None or found.way is None else known(found.way),
        emerges_at=None if emerges is None else emerges.replace(microsecond=0).astimezone(zone),
        is_estimate=found is not None and found.is_estimate,
        wash_max=None if worst is None else known(float(wash[worst])),
        wash_at=None if worst is None else weather.time(first + worst).astimezone(zone),
    )


#: Months of nitrogen that are shown.
_MONTHS = 13


def due_rows(assessment: Assessment) -> tuple[DueRow, ...]:
    """Work that is wanted, the soonest due first, each with its next window."""
    return tuple(_due(one, assessment) for one in assessment.consequences.due)


def surface_rows(assessment: Assessment, seed: Mapping[str, tuple[SeedRow, ...]]) -> tuple[SurfaceRow, ...]:
    """How each surface stands since what was done there; `seed` by the name of the surface."""
    zone = assessment.plan.conditions.site.zone
    return tuple(
        _surface(one, seed.get(name, ()), zone, assessment.made_at)
        for name, one in assessment.consequences.by_surface.items()
    )


def spray_rows(assessment: Assessment) -> tuple[SprayRow, ...]:
    """Sprays on record and the rain within their rainfast hours."""
    zone = assessment.plan.conditions.site.zone
    return tuple(_spray(one, zone) for one in assessment.consequences.sprays)


def _at(moment: datetime | None, zone: ZoneInfo) -> datetime | None:
    return None if moment is None else moment.astimezone(zone)


def _due(one: Due, assessment: Assessment) -> DueRow:
    zone, now = assessment.plan.conditions.site.zone, assessment.made_at
    windows = [
        window
        for judged in assessment.plan.judged
        if (judged.job.name, judged.surface.name) == (one.job, one.surface)
        for window in judged.windows[:1]
    ]
    window = windows[0] if windows else None
    return DueRow(
        job=one.job,
        label=one.label,
        kind=assessment.kind_of(one.job),
        surface=one.surface,
        due_at=_at(one.due_at, zone),
        last_at=_at(one.last_at, zone),
        state=state_of_due(one.due_at, one.waits, now),
        overdue_h=known(max(0.0, one.overdue_h(now)), 1),
        because=one.because,
        next_start=_at(None if window is None else window.start, zone),
        next_latest_start=_at(None if window is None else window.latest_start, zone),
    )


def _surface(one: OfSurface, seed: tuple[SeedRow, ...], zone: ZoneInfo, now: datetime) -> SurfaceRow:
    return SurfaceRow(
        surface=one.surface.name,
        leaf=None if one.leaf is None else _leaf(one.leaf, zone),
        regulator=None if one.regulated is None else _regulator(one.regulated, zone),
        nitrogen=_nitrogen(one.fed, now.astimezone(zone)),
        seed=seed,
    )


def _leaf(leaf: Leaf, zone: ZoneInfo) -> LeafRow:
    return LeafRow(
        last_cut=leaf.last_cut.finished_at.astimezone(zone),
        length_mm=None if leaf.length_mm is None else known(leaf.length_mm),
        height_ratio=None if leaf.ratio is None else known(leaf.ratio),
        one_third_at=_at(leaf.third_at, zone),
        full_growth_mm_d=known(leaf.pace.full_growth_mm_d),
        full_growth_from=leaf.pace.source,
        lengths_measured=leaf.pace.lengths,
    )


def _regulator(regulated: Regulated, zone: ZoneInfo) -> RegulatorRow:
    return RegulatorRow(
        last=regulated.last.finished_at.astimezone(zone),
        degree_days=None if regulated.degree_days is None else known(regulated.degree_days, 0),
        lasts_degree_days=regulated.lasts,
        due_at=_at(regulated.due_at, zone),
    )


def _nitrogen(fed: Fed, now: datetime) -> NitrogenRow:
    month = fed.months.get(f"{now:%Y-%m}")
    return NitrogenRow(
        month=None if month is None else _month(month),
        season=NitrogenSeason(
            since=fed.season_from,
            given_g_m2=known(fed.season_given_g_m2),
            demand_g_m2=known(fed.season_demand_g_m2),
            amounts_not_known=fed.season_not_known,
        ),
        months=tuple(_month(one) for one in list(fed.months.values())[-_MONTHS:]),
        passes=tuple(_pass(one) for one in fed.passes),
    )


def _pass(one: PassOfFeed) -> NitrogenPass:
    figures = (one.given_g_m2, one.planned_g_m2, one.brings_g_m2, one.demand_g_m2)
    given, planned, brings, demand = (None if figure is None else known(figure) for figure in figures)
    return NitrogenPass(
        job=one.job,
        given_g_m2=given,
        planned_g_m2=planned,
        brings_g_m2=brings,
        demand_g_m2=demand,
        says=in_grams(*figures),
    )


def _month(month: MonthOfFeed) -> NitrogenMonth:
    return NitrogenMonth(
        month=month.month,
        given_g_m2=known(month.given_g_m2),
        demand_g_m2=None if month.demand_g_m2 is None else known(month.demand_g_m2),
        amounts_not_known=month.not_known,
        days_known=month.days_known,
    )


def _spray(spray: RainOnSpray, zone: ZoneInfo) -> SprayRow:
    return SprayRow(
        job=spray.work.job,
        surface=spray.work.surface,
        finished_at=spray.work.finished_at.astimezone(zone),
        material=spray.material,
        rainfast_h=spray.rainfast_h,
        dry_until=spray.dry_until.astimezone(zone),
        rain_mm=None if spray.rain_mm is None else known(spray.rain_mm, 1),
        rain_from=_at(spray.from_at, zone),
        share=spray.chance,
    )
