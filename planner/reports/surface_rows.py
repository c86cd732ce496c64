"""Rows of a report on the ground itself: how it bears feet, what was done to it, what is due there."""

from __future__ import annotations

from datetime import datetime, timedelta

from msgspec import Struct

from planner.margin import State

A_DAY = timedelta(hours=24)


class UnderfootRow(Struct, frozen=True, kw_only=True):
    """A run of hours in which the ground bears feet alike."""

    start: datetime
    end: datetime
    state: State
    cause: str
    says: str
    grass_temp_c: float | None
    storage_pct_fc: float | None


class SeedRow(Struct, frozen=True, kw_only=True):
    """Seed in the ground: its age, how far it is, and the hardest wash that is coming."""

    sown_at: datetime
    grass: str
    age_d: float
    cover_pct: float
    tackifier: bool
    way_to_emergence: float | None
    emerges_at: datetime | None
    is_estimate: bool
    wash_max: float | None
    wash_at: datetime | None


class GroundRow(Struct, frozen=True, kw_only=True):
    """A surface underfoot, and the seed in it."""

    surface: str
    underfoot: tuple[UnderfootRow, ...]
    seed: tuple[SeedRow, ...]
    water_guess: str
    """What the water of the root zone rests on where it is a guess; empty where the record settles it."""


class DueRow(Struct, frozen=True, kw_only=True):
    """Work that is wanted, when it is due, and its next window."""

    job: str
    label: str
    kind: str
    surface: str
    due_at: datetime | None
    last_at: datetime | None
    state: str
    """`overdue`, `due`, `coming` or `not known`."""
    overdue_h: float | None
    because: str
    next_start: datetime | None
    next_latest_start: datetime | None


class LeafRow(Struct, frozen=True, kw_only=True):
    """The leaf since the last cut on record."""

    last_cut: datetime
    length_mm: float | None
    height_ratio: float | None
    one_third_at: datetime | None
    full_growth_mm_d: float | None
    full_growth_from: str
    lengths_measured: int


class RegulatorRow(Struct, frozen=True, kw_only=True):
    """The last growth regulator on record and how much of it is left."""

    last: datetime
    degree_days: float | None
    lasts_degree_days: float
    due_at: datetime | None


class NitrogenMonth(Struct, frozen=True, kw_only=True):
    """Nitrogen given in a month, beside what growth can use."""

    month: str
    given_g_m2: float | None
    demand_g_m2: float | None
    amounts_not_known: int
    days_known: int


class NitrogenSeason(Struct, frozen=True, kw_only=True):
    """The same over the season."""

    since: str | None
    given_g_m2: float | None
    demand_g_m2: float | None
    amounts_not_known: int


class NitrogenPass(Struct, frozen=True, kw_only=True):
    """This month's nitrogen with one more pass of a job now, in g/m2; null where not known."""

    job: str
    given_g_m2: float | None
    planned_g_m2: float | None
    brings_g_m2: float | None
    demand_g_m2: float | None
    says: str
    """Empty where a figure is not known."""


class NitrogenRow(Struct, frozen=True, kw_only=True):
    """Nitrogen of this month, this season and the last months, and of this month with one more pass."""

    month: NitrogenMonth | None
    season: NitrogenSeason
    months: tuple[NitrogenMonth, ...]
    passes: tuple[NitrogenPass, ...]


class SurfaceRow(Struct, frozen=True, kw_only=True):
    """How a surface stands since what was done there."""

    surface: str
    leaf: LeafRow | None
    regulator: RegulatorRow | None
    nitrogen: NitrogenRow
    seed: tuple[SeedRow, ...]


class SprayRow(Struct, frozen=True, kw_only=True):
    """A spray on record and the rain within its rainfast hours."""

    job: str
    surface: str
    finished_at: datetime
    material: str
    rainfast_h: float
    dry_until: datetime
    rain_mm: float | None
    rain_from: datetime | None
    share: float | None


def state_of_due(due_at: datetime | None, waits: bool, now: datetime) -> str:
    """`overdue` a day after its time, `due` within a day of it, `coming` before; `not known` without a time."""
    if due_at is None:
        return "due" if waits else "not known"
    if now - due_at >= A_DAY:
        return "overdue"
    return "due" if due_at - now <= A_DAY else "coming"
