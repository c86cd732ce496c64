"""What a keeper reads first, in a few words: three lines, and the words over the brackets of the picture."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from urllib.parse import quote
from zoneinfo import ZoneInfo

from planner.page.axis import local
from planner.reports.best import best_of, meanwhile, next_of, wanted_first, why_not
from planner.reports.cautions import short_caution
from planner.reports.headline import first_clause
from planner.reports.rows import Report, WarningRow, WindowRow, WorkRow
from planner.reports.sentences import job_on
from planner.terms import PLAY, SPRAYING, STATE_WORDS, first_up

#: Characters of a line that stand on a phone beside its mark and time.
_LONGEST = 30
_CUT = "…"
#: Kinds of warning that mean hours of weather; the others are about work and stand in the list alone.
_WEATHER = ("wash", "frost", "rainfast", "wilt", "disease", "seed_stress")


@dataclass(frozen=True, slots=True, kw_only=True)
class BriefLine:
    """A mark, a time and a few words that lead to the whole of it."""

    mark: str
    """`order`, a state, or the level of a warning."""
    when: str
    says: str
    more: str
    """The rest, where there is room."""
    href: str
    is_warning: bool = False

    @property
    def whole(self) -> str:
        """What it says, uncut, for a page on which the rest is not shown."""
        return self.more if self.says.endswith(_CUT) else self.says


def three_lines(report: Report) -> list[BriefLine]:
    """Today's first work still to come, tomorrow's best spray, the gravest warning."""
    lines = [_today(report), _tomorrow(report), _gravest(report)]
    return [line for line in lines if line is not None]


def needs_label(report: Report) -> str:
    """The line of caution for the work that the three lines and the rows name; empty where no label binds it."""
    jobs = [row.job for row in (*report.week.coming(report.as_of), *report.wanted)]
    jobs += [row.job for row in report.due]
    best = best_of(
        report, wanted_first(report, (one for one in report.ribbons if one.kind == SPRAYING)), None
    )
    if best is not None:
        jobs.append(best.job)
    return next((said for job in jobs if (said := short_caution(report, job))), "")


def job_address(job: str) -> str:
    """The page of a job, from the root of the service."""
    return f"/job/{quote(job)}"


def day_and_time(moment: datetime, report: Report) -> str:
    """`08:00` today, `Fri 18:00` within the week, else `Fri 15 May`."""
    zone = ZoneInfo(report.site.timezone)
    local, today = moment.astimezone(zone), report.as_of.astimezone(zone).date()
    ahead = (local.date() - today).days
    if ahead == 0:
        return f"{local:%H:%M}"
    return f"{local:%a %H:%M}" if 0 < ahead < 7 else f"{local:%a} {local.day} {local:%b}"


def coming_work(report: Report) -> list[WorkRow]:
    """Work placed or planned that is not over, in order of time; none where the forecast is too old to say so."""
    if report.forecast.stale:
        return [row for row in report.week.planned if row.kind != PLAY and row.end > report.as_of]
    rows = [row for row in report.week.coming(report.as_of) if row.kind != PLAY]
    return sorted(rows, key=lambda row: (row.start.timestamp(), row.job, row.surface))


def _today(report: Report) -> BriefLine:
    zone = ZoneInfo(report.site.timezone)
    today = report.as_of.astimezone(zone).date()
    coming = coming_work(report)
    first = [row for row in coming if row.start.astimezone(zone).date() == today]
    if first:
        row, then = first[0], first[1:]
        just = f": {STATE_WORDS['narrow']}" if row.state == "narrow" else ""
        then_said = ", ".join(
            f"{day_and_time(one.start, report)} {job_on(one.label, one.surface)}" for one in then
        )
        return BriefLine(
            mark="order",
            when=day_and_time(row.start, report),
            says=f"{_short(row.label, row.surface, just)}{just}",
            more=f"then {then_said}" if then_said else "",
            href=job_address(row.job),
        )
    if report.forecast.stale:
        return BriefLine(mark="unread", when="today", says="No hour: forecast too old", more="", href="#sky")
    if coming:
        row = coming[0]
        return BriefLine(
            mark="barred",
            when="today",
            says=f"No work. Next {day_and_time(row.start, report)}",
            more=job_on(row.label, row.surface),
            href=job_address(row.job),
        )
    left = len(report.week.left)
    says = f"No hour for {left} {'job' if left == 1 else 'jobs'} due" if left else "Nothing is wanted or due"
    more = report.week.left[0].says if left else ""
    return BriefLine(mark="barred" if left else "none", when="today", says=says, more=more, href="#due")


def _tomorrow(report: Report) -> BriefLine | None:
    zone = ZoneInfo(report.site.timezone)
    day = report.as_of.astimezone(zone).date() + timedelta(days=1)
    sprays = [row for row in report.ribbons if row.kind == SPRAYING]
    if not sprays:
        return None
    if report.forecast.stale:
        return BriefLine(
            mark="unread", when=f"{day:%A}", says="No spray: forecast too old", more="", href="#sky"
        )
    pairs = wanted_first(report, sprays)
    is_wanted = bool(set(pairs) & {(row.job, row.surface) for row in report.wanted})
    best = best_of(report, pairs, day)
    if best is None:
        after = next_of(report, pairs, local(day + timedelta(days=1), time(0), zone))
        why = why_not(report, pairs, day)
        following = (
            f". Next {day_and_time(after.start, report)}" if after is not None else " in this forecast"
        )
        what = f"{job_on(after.label, after.surface)}; " if after is not None else ""
        return BriefLine(
            mark="barred", when=f"{day:%A}", says=f"No spray{following}", more=f"{what}{why}", href="#picture"
        )
    start, by, state = _hours_on(report, best, day)
    just = f": {STATE_WORDS['narrow']}" if state == "narrow" else _sure(best)
    if not is_wanted:
        return BriefLine(
            mark=state,
            when=f"{day:%A}",
            says="No spray is wanted",
            more=f"kind hours for {job_on(best.label, best.surface)} from {start}",
            href=job_address(best.job),
        )
    return BriefLine(
        mark=state,
        when=start,
        says=f"{_short(best.label, best.surface, just)}{just}",
        more=f"start by {by}; {meanwhile(report, best) or best.limiting.says}",
        href=job_address(best.job),
    )


def _hours_on(report: Report, row: WindowRow, day: date) -> tuple[str, str, str]:
    """When to begin it, by when, and its state then: the hour of the week's order where that is on the day, else its
    best hour of the day."""
    zone = ZoneInfo(report.site.timezone)
    latest = f"{row.latest_start.astimezone(zone):%H:%M}"
    for one in report.week.work:
        if (one.job, one.surface) == (row.job, row.surface) and one.start.astimezone(zone).date() == day:
            return day_and_time(one.start, report), latest, one.state or row.state
    hours = [hour for hour in row.hours if hour.start.astimezone(zone).date() == day]
    if not hours:
        return day_and_time(row.start, report), latest, row.state
    best = max(hours, key=lambda hour: (hour.state == "steady", hour.score or 0.0))
    return day_and_time(best.start, report), latest, best.state


def _sure(row: WindowRow) -> str:
    """`, 76 %` where the chance is calibrated; empty else."""
    return f", {row.chance * 100:.0f} %" if row.chance is not None else ""


def _short(label: str, surface: str, after: str) -> str:
    """Job and surface; the surface goes where there is no room for both."""
    whole = first_up(job_on(label, surface))
    return whole if len(whole) + len(after) <= _LONGEST else first_up(label)


def _gravest(report: Report) -> BriefLine | None:
    if not report.warnings:
        return None
    gravest = report.warnings[0].level
    # What the weather does comes before what is late, where they are as grave.
    row = min(
        (one for one in report.warnings if one.level == gravest), key=lambda one: one.kind not in _WEATHER
    )
    when, says = _to_do(row, report)
    head = row.says.partition(". ")[0]
    return BriefLine(mark=row.level, when=when, says=says, more=head, href=f"#{row.id}", is_warning=True)


def _to_do(row: WarningRow, report: Report) -> tuple[str, str]:
    """The hour to act by and what to do, in a few words."""
    begins = day_and_time(row.begins, report)
    by = f"by {begins}" if row.begins > report.as_of else "now"
    if row.kind == "wash":
        return by, f"Cover the seed, {row.surface}" if len(row.surface or "") < 15 else "Cover the seed"
    if row.kind == "frost":
        if row.figures.get("soil"):
            # The leaf may be free sooner: the ground is not.
            return _until(row, report).replace(" till", ", leaf till"), "Soil frozen: keep off"
        return _until(row, report), "Keep off: ground frost"
    if row.kind == "rainfast":
        return by.replace("by ", ""), f"Rain on the spray, {row.surface}"
    if row.kind == "wilt":
        return by, f"Water before it wilts, {row.surface}"
    if row.kind == "seed_stress":
        return by, f"Water the seed, {row.surface}"
    says = first_clause(row.says)
    return by.replace("by ", ""), says if len(says) <= _LONGEST else f"{says[: _LONGEST - 1].rstrip()}{_CUT}"


def _until(row: WarningRow, report: Report) -> str:
    """`Sat till 08:00`: the night's day and when the frost is off."""
    off = _off(row)
    if off is None:
        return day_and_time(row.begins, report)
    zone = ZoneInfo(report.site.timezone)
    local, today = off.astimezone(zone), report.as_of.astimezone(zone).date()
    return f"till {local:%H:%M}" if local.date() == today else f"{local:%a} till {local:%H:%M}"


def _off(row: WarningRow) -> datetime | None:
    """When the frost is off, where it is known."""
    told = row.figures.get("off_frost_at")
    return datetime.fromisoformat(told) if isinstance(told, str) else row.ends


def over_bracket(row: WarningRow, report: Report) -> str | None:
    """The words over the hours that a warning means; None for one that means no hours of weather."""
    if row.kind not in _WEATHER:
        return None
    zone = ZoneInfo(report.site.timezone)
    if row.kind == "wash":
        return (
            f"cover seed by {row.begins.astimezone(zone):%H:%M}"
            if row.begins > report.as_of
            else "rain on seed"
        )
    if row.kind == "frost":
        off = _off(row)
        if row.figures.get("soil"):
            return "frost, soil frozen: keep off"
        return "frost" if off is None else f"frost till {day_and_time(off, report)}"
    if row.kind == "disease":
        return f"{row.figures.get('named') or 'disease'}".partition(",")[0]
    return {"rainfast": "rain on spray", "wilt": "turf may wilt", "seed_stress": "seed may dry"}[row.kind]
