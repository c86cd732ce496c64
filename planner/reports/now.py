"""One flat object for a home dashboard: short states, null where there is nothing, never a missing key."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from msgspec import Struct
from msgspec.structs import replace

from planner.reports.ahead import highest
from planner.reports.cautions import shared_caution, short_caution
from planner.reports.headline import cut, headline
from planner.reports.mine import is_mine
from planner.reports.rows import DayRow, JobRow, Report, RunRow, WindowRow, WorkRow
from planner.reports.sentences import BESIDE_A_SPRAY
from planner.reports.stretches import as_sentence
from planner.reports.surface_rows import DueRow
from planner.terms import KINDS_OF_JOB, PLAY, SPRAYING

Value = str | float | int | bool | None
Now = dict[str, Value]
#: Kinds of warning that have keys of their own, and their shorter name for a yes or a no.
_WARNINGS = {"wash": "rain_wash", "frost": "frost"}
#: Wanted jobs that get keys, so that the object stays near 8 kB at most.
_MOST_WANTED = 12


class _Next(Struct, frozen=True, kw_only=True):
    """What comes next of a kind: a placed hour, a window of what is due or wanted, or any window."""

    job: str
    surface: str
    start: datetime
    latest_start: datetime
    state: str | None
    share: float | None
    says: str | None


def now(report: Report) -> Now:
    """The report as it reads at its moment, on one level."""
    forecast, stale = report.forecast, report.forecast.stale
    zone = ZoneInfo(report.site.timezone)

    def on_site(moment: datetime | None) -> str | None:
        """ISO 8601 on the site's clock, as every other time of the object."""
        return None if moment is None else moment.astimezone(zone).isoformat()

    placed, any_job = _placed_due_or_wanted(report), _soonest(report, report.windows)
    flat: Now = {
        "site": report.site.name,
        "made_at": on_site(report.made_at),
        "issued_at": on_site(forecast.issued_at),
        "fetched_at": on_site(forecast.fetched_at),
        "forecast_age_h": forecast.age_h,
        "stale": stale,
        "stale_at": on_site(forecast.stale_at),
        "forecast_until": on_site(forecast.until),
        "provider": forecast.provider,
        "credit": forecast.credit,
        "headline": headline(report),
    }
    for prefix, found in (("", placed), ("any_", any_job)):
        flat |= _next_keys(f"{prefix}next", f"{prefix}next", found(None), stale)
        for kind in KINDS_OF_JOB:
            flat |= _next_keys(f"{prefix}{kind}_next", f"{prefix}{kind}", found(kind), stale)
    for row in wanted_jobs(report):
        flat |= _wanted_keys(row, report)
    flat |= _warning_keys(report)
    flat |= _today_keys(report)
    flat["next_pass_by"] = on_site(forecast.stale_at)
    sprays = (row.job for row in report.ribbons if row.kind == SPRAYING)
    flat["spray_caution"] = shared_caution(report, sprays) or BESIDE_A_SPRAY
    coming = placed(None)
    flat["next_caution"] = None if coming is None else short_caution(report, coming.job) or None
    flat["fault"] = cut("; ".join(report.faults)) or None
    return flat


def wanted_jobs(report: Report) -> tuple[JobRow, ...]:
    """The wanted jobs that have keys of their own, each once."""
    rows = {key_of(row.job, row.surface): row for row in reversed(report.wanted)}
    return tuple(reversed(rows.values()))[:_MOST_WANTED]


def key_of(job: str, surface: str) -> str:
    """A job on a surface as the piece of a key."""
    return re.sub(r"[^a-z0-9]+", "_", f"{job} {surface}".lower()).strip("_")


def _next_keys(name: str, kind: str, found: _Next | None, stale: bool) -> Now:
    """Keys of what comes next. No hour of a stale forecast is steady or narrow any more, but unread."""
    state = None if found is None else found.state
    reason = None if found is None or found.says is None else cut(found.says)
    if stale and found is not None:
        state = None if state is None else "unread"
        reason = "Not known: the forecast is too old."
    return {
        f"{name}_job": None if found is None else found.job,
        f"{name}_surface": None if found is None else found.surface,
        f"{name}_start": None if found is None else found.start.isoformat(),
        f"{kind}_latest_start": None if found is None else found.latest_start.isoformat(),
        f"{kind}_state": state,
        # No chance is calibrated yet; the share of the members has a key of its own.
        f"{kind}_chance": None,
        f"{kind}_share": None if found is None else found.share,
        f"{kind}_reason": reason,
    }


def _placed_due_or_wanted(report: Report) -> Callable[[str | None], _Next | None]:
    """What comes next of a kind (None: of any): the week's order first, else what is due, else what is wanted."""
    coming = [row for row in report.week.coming(report.as_of) if row.kind != PLAY]
    # By the moment: two times of one clock are compared by what it shows, and in autumn an hour is shown twice.
    coming.sort(key=lambda row: (row.start.timestamp(), row.job, row.surface))
    due = [row for row in report.due if row.next_start is not None and is_mine(report, row.job)]

    def found(kind: str | None) -> _Next | None:
        for work in coming:
            if kind in (None, work.kind):
                return _not_today(_of_work(work, report), report)
        for rows in (due, report.wanted):
            for row in rows:
                window = _first(report.windows, row) if kind in (None, row.kind) else None
                if window is not None:
                    return _not_today(_of_window(window), report)
        return None

    return found


def _not_today(found: _Next, report: Report) -> _Next:
    """With why not now, where it comes on a later day and this hour is closed to it."""
    zone = ZoneInfo(report.site.timezone)
    today = report.as_of.astimezone(zone).date()
    run = _run_now(found.job, found.surface, report)
    if run is None or run.state not in ("barred", "broken") or found.start.astimezone(zone).date() <= today:
        return found
    return replace(found, says=" ".join(part for part in (found.says, run.says) if part))


def _run_now(job: str, surface: str, report: Report) -> RunRow | None:
    """The run of a job's hours that holds the moment of the report."""
    now = report.as_of.timestamp()
    runs = (run for one in report.ribbons if (one.job, one.surface) == (job, surface) for run in one.runs)
    return next((one for one in runs if one.start.timestamp() <= now < one.end.timestamp()), None)


def _soonest(report: Report, windows: Iterable[WindowRow]) -> Callable[[str | None], _Next | None]:
    """The soonest window of any job of a kind, wanted or not; the better rank first."""
    rows = sorted(windows, key=lambda row: (row.start.timestamp(), row.rank))

    def found(kind: str | None) -> _Next | None:
        return next((_of_window(row) for row in rows if kind in (None, row.kind)), None)

    return found


def _first(windows: Iterable[WindowRow], row: JobRow | DueRow) -> WindowRow | None:
    mine = (one for one in windows if (one.job, one.surface) == (row.job, row.surface))
    return min(mine, key=lambda one: one.start.timestamp(), default=None)


def _of_window(row: WindowRow) -> _Next:
    return _Next(
        job=row.job,
        surface=row.surface,
        start=row.start,
        latest_start=row.latest_start,
        state=row.state,
        share=row.share,
        says=" ".join(part for part in (as_sentence(row), row.limiting.says) if part),
    )


def _of_work(row: WorkRow, report: Report) -> _Next:
    """Placed work may begin as late as its window lets it; planned work stands where the keeper put it."""
    window = next(
        (
            one
            for one in report.windows
            if (one.job, one.surface) == (row.job, row.surface) and one.start <= row.start <= one.latest_start
        ),
        None,
    )
    return _Next(
        job=row.job,
        surface=row.surface,
        start=row.start,
        latest_start=row.start if window is None else window.latest_start,
        state=row.state,
        share=None if window is None else window.share,
        says="Planned by you." if row.limiting is None else row.limiting.says,
    )


def _wanted_keys(row: JobRow, report: Report) -> Now:
    """State, start, hours until and chance of a wanted job, in the week's hour, else in its first window; holds now."""
    works = [work for work in report.week.work if (work.job, work.surface) == (row.job, row.surface)]
    work = min(works, key=lambda one: one.start.timestamp(), default=None)
    window = _first(report.windows, row)
    found = _of_work(work, report) if work is not None else None if window is None else _of_window(window)
    name = f"wanted_{key_of(row.job, row.surface)}"
    barred = any((one.job, one.surface) == (row.job, row.surface) for one in report.barred)
    state = "barred" if barred and found is None else None if found is None else found.state
    hours = None if found is None else max(0.0, (found.start - report.as_of) / timedelta(hours=1))
    return {
        f"{name}_state": "unread" if report.forecast.stale and state is not None else state,
        f"{name}_start": None if found is None else found.start.isoformat(),
        f"{name}_hours_until": None if hours is None else round(hours, 1),
        f"{name}_chance": None,
        f"{name}_share": None if found is None else found.share,
        f"{name}_holds": _holds(row, report),
    }


def _holds(row: JobRow, report: Report) -> bool | None:
    """Whether work begun at the moment of the report holds; None where nobody can tell."""
    now, pair = report.as_of.timestamp(), (row.job, row.surface)
    run = _run_now(row.job, row.surface, report)
    if report.forecast.stale or run is None or run.state == "unread":
        return None
    # The hour may hold and its latest start be past: the window decides, not the hour.
    windows = (one for one in report.windows if (one.job, one.surface) == pair)
    return any(one.start.timestamp() <= now <= one.latest_start.timestamp() for one in windows)


def _warning_keys(report: Report) -> Now:
    """Warnings by kind. A kind that cannot be read, or of a stale forecast, is not known to be absent."""
    not_read = {row.kind for row in report.not_read}
    flat: Now = {}
    for kind, short in _WARNINGS.items():
        first = next((row for row in report.warnings if row.kind == kind), None)
        unknown = first is None and (kind in not_read or report.forecast.stale)
        flat[f"{kind}_warning"] = None if unknown else first is not None
        flat[f"{kind}_level"] = None if first is None else first.level
        flat[f"{kind}_begins"] = None if first is None else first.begins.isoformat()
        flat[f"{kind}_says"] = None if first is None else cut(first.says)
        flat[short] = flat[f"{kind}_warning"]
    not_known = not report.warnings and (bool(not_read) or report.forecast.stale)
    flat["warnings_count"] = None if not_known else len(report.warnings)
    flat["warning"] = cut(report.warnings[0].says) if report.warnings else None
    return flat


def _today_keys(report: Report) -> Now:
    """Figures of the site's day at the moment of the report; the wash is that of the surface most at risk."""
    today = report.as_of.astimezone(ZoneInfo(report.site.timezone)).date()
    rows, after = _day(report, today), _day(report, today + timedelta(days=1))

    def of_first(found: list[DayRow], figure: Callable[[DayRow], float | None]) -> float | None:
        value = figure(found[0]) if found else None
        return None if value is None else round(value, 3)

    wash = highest(row.rain_wash_risk for row in rows)
    return {
        "today_growth_potential": of_first(rows, lambda row: row.growth_potential),
        "today_frost_risk": of_first(rows, lambda row: row.frost_risk),
        "today_rain_mm": of_first(rows, lambda row: row.rain_mm),
        "today_soil_temp_c": of_first(rows, lambda row: row.soil_temp_c),
        "today_rain_wash_risk": None if wash is None else round(wash, 3),
        # Frost is that of the night which ends on the day: tonight's is told with tomorrow.
        "tomorrow_frost_risk": of_first(after, lambda row: row.frost_risk),
    }


def _day(report: Report, day: date) -> list[DayRow]:
    return [row for row in report.days if row.date == day.isoformat()]


#: Keys that are never missing; every wanted job adds its own.
FIXED_KEYS: tuple[str, ...] = (
    *("site", "made_at", "issued_at", "fetched_at", "forecast_age_h", "stale", "stale_at", "provider"),
    *("credit", "headline"),
    *(
        key
        for prefix in ("", "any_")
        for name, kind in (("next", "next"), *((f"{kind}_next", kind) for kind in KINDS_OF_JOB))
        for key in _next_keys(f"{prefix}{name}", f"{prefix}{kind}", None, False)
    ),
    *(f"{kind}_{key}" for kind in _WARNINGS for key in ("warning", "level", "begins", "says")),
    *_WARNINGS.values(),
    *("warnings_count", "warning"),
    *(
        f"today_{key}"
        for key in ("growth_potential", "frost_risk", "rain_mm", "soil_temp_c", "rain_wash_risk")
    ),
    *("tomorrow_frost_risk", "forecast_until", "next_pass_by", "spray_caution", "next_caution", "fault"),
)
