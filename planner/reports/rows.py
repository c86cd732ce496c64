"""The rows of a report: frozen, typed, the same for JSON, text, page, calendar, metrics and hub.

Times are aware: moments of the site on its own clock, `made_at` and moments of the forecast in UTC. What is not
known is None. A name ends in its unit where it has one. Loads no numerical or web library.
"""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from msgspec import Struct

from planner.margin import State
from planner.reports.surface_rows import DueRow, GroundRow, SprayRow, SurfaceRow

#: The number of this shape. A stored report of another number is not read; the next pass replaces it.
SCHEMA = 4


class SiteRow(Struct, frozen=True, kw_only=True):
    """The site by its key, its name, its clock and the units that its people read."""

    key: str
    name: str
    timezone: str
    units: Literal["metric", "imperial"] = "metric"
    """Of texts for people; every figure of an answer is metric."""


class Place(Struct, frozen=True, kw_only=True):
    """Where the forecast is asked for."""

    latitude_deg: float
    longitude_deg: float
    elevation_m: float


class ForecastRow(Struct, frozen=True, kw_only=True):
    """Whose forecast it is, and how old."""

    provider: str
    issued_at: datetime | None
    fetched_at: datetime | None
    age_h: float | None
    stale: bool
    stale_at: datetime
    members: int
    until: datetime
    credit: str
    credit_url: str
    licence: str
    notes: tuple[str, ...]


class Head(Struct, frozen=True, kw_only=True):
    """What stands at the head of every answer."""

    schema: int
    made_at: datetime
    """When the pass was made."""
    as_of: datetime
    """The moment that the rows are true of: the pass, or a later reading."""
    site: SiteRow
    place: Place
    forecast: ForecastRow


class JobRow(Struct, frozen=True, kw_only=True):
    """A job on a surface."""

    job: str
    label: str
    kind: str
    surface: str


class Limiting(Struct, frozen=True, kw_only=True):
    """The need that limits an hour: its figure and its sentence."""

    need: str
    label: str
    value: float | None
    unit: str
    says: str


class StartHour(Struct, frozen=True, kw_only=True):
    """One start hour of a window."""

    start: datetime
    state: State
    score: float | None


class WindowRow(JobRow, frozen=True, kw_only=True):
    """A run of start hours in which a job holds, in its rank."""

    rank: int
    start: datetime
    end: datetime
    """When work begun at the latest start is finished."""
    state: State
    latest_start: datetime
    best_start: datetime
    duration_min: float
    score: float | None
    chance: float | None
    """Calibrated chance that every hard limit is kept; None until one is calibrated."""
    chance_basis: str | None
    share: float | None
    """Share of the members in which every hard limit is kept; nobody has calibrated it."""
    limiting: Limiting
    next_start: datetime | None
    last_chance: bool
    hours: tuple[StartHour, ...]
    not_read: tuple[str, ...]
    tasks: tuple[str, ...]
    cautions: tuple[str, ...]
    steady_from: datetime | None = None
    """Where it is steady: from when, around the best start."""
    steady_until: datetime | None = None


class HoursLost(Struct, frozen=True, kw_only=True):
    """What a need takes from a job."""

    need: str
    label: str
    hours_lost: int


class Because(Struct, frozen=True, kw_only=True):
    """Why a job is barred."""

    need: str | None
    says: str
    hours_lost: int
    also: tuple[HoursLost, ...] = ()


class Failing(Struct, frozen=True, kw_only=True):
    """A need that a least-bad hour fails."""

    need: str
    says: str
    low: bool
    """Whether it is the lower limit that is missed."""


class LeastBadHour(Struct, frozen=True, kw_only=True):
    """An hour that misses by least."""

    start: datetime
    fails: tuple[Failing, ...]


class LeastBad(Struct, frozen=True, kw_only=True):
    """What is left if the work cannot wait."""

    says: str
    hours: tuple[LeastBadHour, ...] = ()


class BarredRow(JobRow, frozen=True, kw_only=True):
    """A job without a window soon: why, and until when."""

    next_window: datetime | None
    because: Because
    hours_unread: int
    if_it_cannot_wait: LeastBad | None = None


class WarningRow(Struct, frozen=True, kw_only=True):
    """What is about to go wrong, and what to do."""

    id: str
    kind: str
    surface: str | None
    begins: datetime
    ends: datetime | None
    lead_h: float
    level: str
    state: str | None
    """Where its life stands; None where nobody follows it (a file, the demo)."""
    since: datetime | None
    chance: float | None
    share: float | None
    says: str
    advice: tuple[str, ...]
    figures: dict[str, float | str | None]


class EndedRow(Struct, frozen=True, kw_only=True):
    """A warning that has ended, in words."""

    id: str
    says: str


class NotReadRow(Struct, frozen=True, kw_only=True):
    """A kind of warning that cannot be read from a moment on."""

    kind: str
    begins: datetime
    says: str


class DayRow(Struct, frozen=True, kw_only=True):
    """A local day on a surface. Frost is that of the night which ends on the day."""

    date: str
    surface: str
    hours_known: int
    air_min_c: float | None
    air_max_c: float | None
    rain_mm: float | None
    rain_hour_max_mm: float | None
    wind_2m_max_kmh: float | None
    growth_potential: float | None
    rain_wash_risk: float | None
    """Share of the seed at risk in the hardest hour of the day, with the ends of its band below."""
    wash_low: float | None
    wash_high: float | None
    wash_chance: float | None
    """Part of the ways rain may fall in which a quarter of bare seed goes, times the share that lies open; nobody
    has calibrated it."""
    soil_temp_c: float | None
    et0_mm: float | None
    storage_pct_fc: float | None
    dli_mol: float | None
    degree_days: float | None
    depletion_raw: float | None
    """Highest of the day: share of the readily available water that is used."""
    dollar_spot_chance: float | None
    brown_patch_index: float | None
    pythium_risk: float | None
    """Share of members whose day and night allow it; None of these is known outside the range of its paper."""
    frost_risk: float | None
    air_frost_risk: float | None
    grass_min_c: float | None
    """Lowest of the night at the tips of the grass: what ground frost is told by."""
    surface_min_c: float | None
    """Lowest of the surface as it radiates."""
    off_frost_at: datetime | None
    sunrise: datetime | None
    sunset: datetime | None


class HourColumns(Struct, frozen=True, kw_only=True):
    """Weather and indices hour by hour, as columns; means over members."""

    first: datetime
    count: int
    columns: dict[str, tuple[float | None, ...]]


class RunRow(Struct, frozen=True, kw_only=True):
    """A run of start hours with one state and one cause."""

    start: datetime
    end: datetime
    hours: int
    state: State
    need: str
    label: str
    says: str


class RibbonRow(JobRow, frozen=True, kw_only=True):
    """Every hour of a job on a surface, in runs."""

    why: str
    duration_min: float
    has_label: bool
    cautions: tuple[str, ...]
    runs: tuple[RunRow, ...]


class WorkRow(JobRow, frozen=True, kw_only=True):
    """A job in the hour that the week gives it, or that the keeper planned (then without a limiting need)."""

    start: datetime
    end: datetime
    state: State | None = None
    score: float | None = None
    limiting: Limiting | None = None
    because: str = ""
    cautions: tuple[str, ...] = ()
    together: tuple[str, ...] = ()
    """Labels of the jobs that share its tank."""
    tank: str = ""
    """How they are mixed; empty where it has its own tank."""


class LeftRow(JobRow, frozen=True, kw_only=True):
    """A job that found no hour."""

    says: str
    because: str


class ElsewhereRow(Struct, frozen=True, kw_only=True):
    """When the sprayer or keeper that sites share has work on another one."""

    what: str
    """The name of the sprayer or the keeper."""
    kind: str
    """The kind of work that it takes away here; empty for all work."""
    site: str
    start: datetime
    end: datetime


class WeekRow(Struct, frozen=True, kw_only=True):
    """The week's order."""

    days: int
    hours_a_day: float | None
    """None where the keeper's own hours decide alone."""
    method: str
    says: str
    work: tuple[WorkRow, ...]
    left: tuple[LeftRow, ...]
    planned: tuple[WorkRow, ...]
    done: tuple[LeftRow, ...] = ()
    """Work wanted once that counts as done."""
    elsewhere: tuple[ElsewhereRow, ...] = ()
    """The time of the shared sprayer or keeper on other sites, in order of time."""

    def coming(self, now: datetime) -> list[WorkRow]:
        """Work placed or planned that is not over."""
        return [row for row in (*self.work, *self.planned) if row.end > now]


class Report(Head, frozen=True, kw_only=True):
    """The one thing that a pass makes, keeps and shows."""

    windows: tuple[WindowRow, ...]
    barred: tuple[BarredRow, ...]
    warnings: tuple[WarningRow, ...]
    ended: tuple[EndedRow, ...]
    not_read: tuple[NotReadRow, ...]
    days: tuple[DayRow, ...]
    hours: HourColumns
    ribbons: tuple[RibbonRow, ...]
    ground: tuple[GroundRow, ...]
    due: tuple[DueRow, ...]
    wanted: tuple[JobRow, ...]
    """What the keeper wants, in the order of the site file."""
    keeper_jobs: tuple[str, ...]
    """The jobs this keeper does; all where the site file names none."""
    surfaces: tuple[SurfaceRow, ...]
    sprays: tuple[SprayRow, ...]
    week: WeekRow
    faults: tuple[str, ...]
    """What kept the services, the config or an output from working."""
